//! Many clients on one thread: each asks again as soon as it was answered. On threads of their own, as many again would be woken and
//! put to sleep beside the server, on its processors.

use std::time::{Duration, Instant};

use rustix::event::{PollFd, PollFlags, poll};

use super::Failure;
use super::wire::Wire;

/// How often a second so many clients get something done over HTTP: what `ask` begins to ask, answered with this status.
pub fn per_second(
    turn: Duration,
    wires: &mut [Wire],
    status: u16,
    ask: impl Fn(&mut Wire) -> Result<(), Failure>,
) -> Result<f64, Failure> {
    let began = Instant::now();
    wires.iter_mut().try_for_each(&ask)?;
    let mut done = 0_u32;
    let mut asking: Vec<usize> = (0..wires.len()).collect();
    while !asking.is_empty() {
        for at in answered(wires, &asking)? {
            wires[at].answer(status)?;
            done += 1;
            if began.elapsed() < turn {
                ask(&mut wires[at])?;
            } else {
                asking.retain(|other| *other != at);
            }
        }
    }
    // Until the last has its answer, all of which count.
    Ok(f64::from(done) / began.elapsed().as_secs_f64())
}

/// Waits until some of those that asked are being answered: which.
fn answered(wires: &[Wire], asking: &[usize]) -> Result<Vec<usize>, Failure> {
    let mut polled: Vec<PollFd<'_>> = asking.iter().map(|at| PollFd::new(&wires[*at], PollFlags::IN)).collect();
    poll(&mut polled, None)?;
    let is_answered = |one: &PollFd<'_>| !one.revents().is_empty();
    Ok(asking.iter().zip(&polled).filter(|(_, one)| is_answered(one)).map(|(at, _)| *at).collect())
}
