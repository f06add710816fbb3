//! How long someone who keeps giving a wrong password has to wait.

use chrono::Duration;

/// Wrong passwords in a row that cost no waiting.
const FREE: u32 = 5;
/// The first wait; each further failure doubles it.
const FIRST_SECONDS: i64 = 30;
/// The longest wait.
const LONGEST_SECONDS: i64 = 15 * 60;

/// The wait after so many wrong passwords in a row, before another is so much as looked at.
///
/// Common practice, no source for the figures: NIST SP 800-63B section 5.2.2 asks for a limit on failures and names waits
/// that grow from 30 seconds.
pub fn wait_after(failures: u32) -> Duration {
    if failures < FREE {
        return Duration::zero();
    }
    // Beyond five doublings the longest wait is reached anyway.
    let seconds = FIRST_SECONDS << (failures - FREE).min(5);
    Duration::seconds(seconds.min(LONGEST_SECONDS))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_wait_doubles_up_to_a_quarter_of_an_hour() {
        let seconds = |failures| wait_after(failures).num_seconds();
        assert_eq!([0, 1, 4].map(seconds), [0, 0, 0]);
        assert_eq!([5, 6, 7, 8, 9].map(seconds), [30, 60, 120, 240, 480]);
        assert_eq!([10, 11, 1000, u32::MAX].map(seconds), [900, 900, 900, 900]);
    }
}
