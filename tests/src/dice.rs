//! Chance that can be repeated.

use std::ops::{Deref, DerefMut};

/// A seeded source of random numbers that prints its seed, which the runner shows when the test fails.
#[derive(Debug)]
pub struct Dice {
    rng: fastrand::Rng,
    seed: u64,
}

impl Dice {
    /// Seeded with `TUBTRAIL_SEED` where that is set, else by chance.
    ///
    /// # Panics
    /// If `TUBTRAIL_SEED` is no number.
    pub fn roll() -> Self {
        let seed = match std::env::var("TUBTRAIL_SEED") {
            Ok(text) => text.parse().expect("TUBTRAIL_SEED must be a whole number"),
            Err(_) => fastrand::u64(..),
        };
        eprintln!("to repeat this run: TUBTRAIL_SEED={seed}");
        Self { rng: fastrand::Rng::with_seed(seed), seed }
    }

    /// Another source, the same for the same seed and number: one for each thread.
    #[must_use]
    pub fn fork(&self, number: u64) -> fastrand::Rng {
        fastrand::Rng::with_seed(self.seed.wrapping_add(number.wrapping_mul(0x9E37_79B9_7F4A_7C15)))
    }
}

impl Deref for Dice {
    type Target = fastrand::Rng;

    fn deref(&self) -> &fastrand::Rng {
        &self.rng
    }
}

impl DerefMut for Dice {
    fn deref_mut(&mut self) -> &mut fastrand::Rng {
        &mut self.rng
    }
}
