//! Random numbers that can be had again from the seed printed by a failing test.

/// Splitmix64. Prints its seed if the test that holds it panics.
pub struct Dice {
    seed: u64,
    state: u64,
}

impl Dice {
    pub fn new(seed: u64) -> Self {
        Self { seed, state: seed.wrapping_mul(0x2545_f491_4f6c_dd1d) }
    }

    fn roll(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number below `end`.
    pub fn below(&mut self, end: usize) -> usize {
        usize::try_from(self.roll() % u64::try_from(end).unwrap()).unwrap()
    }

    pub fn one_in(&mut self, chances: usize) -> bool {
        self.below(chances) == 0
    }

    /// A mass of up to ten kilograms in milligrams; one in ten is nothing at all.
    pub fn mass(&mut self) -> i64 {
        if self.one_in(10) { 0 } else { i64::try_from(self.below(10_000_000)).unwrap() }
    }

    /// One of the numbers below `end`, half the time one of the last ten.
    pub fn recent(&mut self, end: usize) -> usize {
        if self.one_in(2) { self.below(end) } else { end - 1 - self.below(end.min(10)) }
    }
}

impl Drop for Dice {
    fn drop(&mut self) {
        if std::thread::panicking() {
            eprintln!("the dice began with seed {}", self.seed);
        }
    }
}
