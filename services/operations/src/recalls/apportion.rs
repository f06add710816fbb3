//! Whole milligrams out of shares, so that nothing is lost or made by rounding.

/// Divides a whole among parts in proportion to their weights, by largest remainder: each gets its share rounded down, and
/// those that lost most by that get one more, the first of equal ones first. The parts add up to the whole exactly; where
/// nothing weighs anything, nobody gets any.
#[expect(clippy::cast_possible_truncation, clippy::cast_precision_loss, reason = "milligrams are far below 2^53")]
pub(super) fn apportion(whole: i64, weights: &[f64]) -> Vec<i64> {
    let sum: f64 = weights.iter().sum();
    if sum <= 0.0 || whole <= 0 {
        return vec![0; weights.len()];
    }
    let exact: Vec<f64> = weights.iter().map(|weight| whole as f64 * weight / sum).collect();
    let mut parts: Vec<i64> = exact.iter().map(|share| share.floor() as i64).collect();
    let rest = whole - parts.iter().sum::<i64>();
    let mut order: Vec<usize> = (0..weights.len()).filter(|at| weights[*at] > 0.0).collect();
    let lost = |at: usize| exact[at] - exact[at].floor();
    order.sort_by(|one, other| lost(*other).total_cmp(&lost(*one)).then(one.cmp(other)));
    // Sums of doubles may be off by more than one for each part, in worlds of millions of them.
    let step = rest.signum();
    for at in order.iter().cycle().take(usize::try_from(rest.unsigned_abs()).unwrap_or(0)) {
        parts[*at] += step;
    }
    parts
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 100 mg among three alike: 33.3 each, and the first gets the odd one.
    #[test]
    fn the_odd_milligram_goes_to_the_first_of_equals() {
        assert_eq!(apportion(100, &[1.0, 1.0, 1.0]), [34, 33, 33]);
    }

    /// 10 mg as 1 to 2 to 4: 1.43, 2.86, 5.71; rounded down 1, 2, 5; the two left go to .86 and .71.
    #[test]
    fn the_largest_remainders_get_what_is_left() {
        assert_eq!(apportion(10, &[1.0, 2.0, 4.0]), [1, 3, 6]);
    }

    #[test]
    fn what_weighs_nothing_gets_nothing() {
        assert_eq!(apportion(7, &[0.0, 3.0, 0.0]), [0, 7, 0]);
        assert_eq!(apportion(7, &[0.0, 0.0]), [0, 0]);
        assert_eq!(apportion(0, &[1.0, 2.0]), [0, 0]);
        assert_eq!(apportion(7, &[]), [0_i64; 0]);
    }
}
