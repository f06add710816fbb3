//! A set of small numbers, one bit each.

use std::ops::Range;

/// Grows to the highest number it has held.
#[derive(Clone, Default, Debug)]
pub(crate) struct Bits {
    words: Vec<u64>,
}

impl Bits {
    pub(crate) fn holds(&self, number: u32) -> bool {
        let (word, bit) = place(number);
        self.words.get(word).is_some_and(|word| word & bit != 0)
    }

    /// Puts `number` in; true if it is new.
    pub(crate) fn insert(&mut self, number: u32) -> bool {
        let (word, bit) = place(number);
        if word >= self.words.len() {
            self.words.resize(word + 1, 0);
        }
        let word = &mut self.words[word];
        let new = *word & bit == 0;
        *word |= bit;
        new
    }

    /// Those of the `numbers` that it holds, in ascending order.
    pub(crate) fn among(&self, numbers: Range<u32>) -> impl Iterator<Item = u32> {
        let Range { mut start, end } = numbers;
        std::iter::from_fn(move || {
            while start < end {
                let word = self.words.get(start as usize / 64)?;
                let rest = word >> (start % 64);
                if rest != 0 {
                    let found = start + rest.trailing_zeros();
                    start = found + 1;
                    return Some(found).filter(|found| *found < end);
                }
                start = (start / 64 + 1).saturating_mul(64);
            }
            None
        })
    }

    /// All of them, in ascending order.
    pub(crate) fn iter(&self) -> impl Iterator<Item = u32> {
        (0_u32..).step_by(64).zip(&self.words).flat_map(|(first, &word)| {
            let some = |rest: u64| Some(rest).filter(|rest| *rest != 0);
            let rests = std::iter::successors(some(word), move |rest| some(rest & (rest - 1)));
            rests.map(move |rest| first + rest.trailing_zeros())
        })
    }
}

impl FromIterator<u32> for Bits {
    fn from_iter<I: IntoIterator<Item = u32>>(numbers: I) -> Self {
        let mut bits = Self::default();
        for number in numbers {
            bits.insert(number);
        }
        bits
    }
}

fn place(number: u32) -> (usize, u64) {
    (number as usize / 64, 1 << (number % 64))
}

#[cfg(test)]
mod tests {
    use super::Bits;

    #[test]
    fn numbers_come_back_once_and_in_order() {
        let mut bits = Bits::default();
        let numbers = [700, 0, 63, 64, 1, 127, 128, 700, 64];
        let new: Vec<bool> = numbers.iter().map(|number| bits.insert(*number)).collect();
        assert_eq!(new, [true, true, true, true, true, true, true, false, false]);
        assert_eq!(bits.iter().collect::<Vec<_>>(), [0, 1, 63, 64, 127, 128, 700]);
        for (range, held) in
            [(0..700, &[0, 1, 63, 64, 127, 128][..]), (2..63, &[]), (63..65, &[63, 64]), (700..9999, &[700])]
        {
            assert_eq!(bits.among(range.clone()).collect::<Vec<_>>(), held, "{range:?}");
        }
        assert_eq!(bits.among(128..128).next(), None);
        assert_eq!(bits.among(701..u32::MAX).next(), None);
        assert!(bits.holds(127) && !bits.holds(126) && !bits.holds(1_000_000));
    }
}
