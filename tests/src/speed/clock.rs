//! Measuring: by turns, so that whatever else the machine does falls on all alike; the median, so that once does not count.

use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use super::Failure;

/// Something that is done once a turn.
pub type Turn<'t> = &'t mut dyn FnMut() -> Result<(), Failure>;

/// What each took, turn by turn, in seconds; or the count a second.
#[derive(Debug)]
pub struct Turns(Vec<Vec<f64>>);

impl Turns {
    /// The median of one of them.
    pub fn median(&self, of: usize) -> f64 {
        median(self.0[of].clone())
    }

    /// Adds what was measured in turns of their own.
    pub fn extend(&mut self, others: Self) {
        self.0.extend(others.0);
    }

    /// The median of the ratios of two of them, turn by turn.
    pub fn ratio(&self, of: usize, to: usize) -> f64 {
        median(self.0[of].iter().zip(&self.0[to]).map(|(of, to)| of / to).collect())
    }
}

/// Lets each do its work in turn, after one turn that does not count; how many seconds it took.
pub fn seconds_by_turns(rounds: usize, all: &mut [Turn<'_>]) -> Result<Turns, Failure> {
    all.iter_mut().try_for_each(|work| work())?;
    figures_by_turns(rounds, all.len(), |which| {
        let began = Instant::now();
        all[which]()?;
        Ok(began.elapsed().as_secs_f64())
    })
}

/// Takes a figure of each in turn.
pub fn figures_by_turns(
    rounds: usize,
    contenders: usize,
    mut figure: impl FnMut(usize) -> Result<f64, Failure>,
) -> Result<Turns, Failure> {
    let mut turns = vec![Vec::with_capacity(rounds); contenders];
    for round in 0..rounds {
        // Forth and back, so that none always comes after the same other.
        for at in 0..contenders {
            let which = if round % 2 == 0 { at } else { contenders - 1 - at };
            turns[which].push(figure(which)?);
        }
    }
    Ok(Turns(turns))
}

/// How often a second several clients at once get something done, each on a thread of its own, one after the other.
pub fn per_second<C: Send>(
    turn: Duration,
    clients: &mut [C],
    done_once: impl Fn(&mut C) -> Result<(), Failure> + Sync,
) -> Result<f64, Failure> {
    let over = AtomicBool::new(false);
    let began = Instant::now();
    let work = |client: &mut C| -> Result<u32, Failure> {
        let mut times = 0;
        while !over.load(Ordering::Relaxed) {
            done_once(client)?;
            times += 1;
        }
        Ok(times)
    };
    let done: Result<Vec<u32>, Failure> = std::thread::scope(|scope| {
        let threads: Vec<_> = clients.iter_mut().map(|client| scope.spawn(|| work(client))).collect();
        std::thread::sleep(turn);
        over.store(true, Ordering::Relaxed);
        threads.into_iter().map(|thread| thread.join().map_err(|_| "a client panicked")?).collect()
    });
    // Until the last has its answer, all of which count.
    Ok(f64::from(done?.into_iter().sum::<u32>()) / began.elapsed().as_secs_f64())
}

/// The middle one.
pub fn median(mut figures: Vec<f64>) -> f64 {
    figures.sort_by(f64::total_cmp);
    let half = figures.len() / 2;
    match figures.len() {
        0 => f64::NAN,
        even if even % 2 == 0 => f64::midpoint(figures[half - 1], figures[half]),
        _ => figures[half],
    }
}
