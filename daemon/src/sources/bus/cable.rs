//! How many answers of an instrument come damaged. One now and then is asked for again and forgotten; more than that,
//! for an hour, is a cable: too long, loose, or beside a motor.

use agronomy::series::MS_PER_HOUR;

/// More damaged answers in an hour than this are told, % (practice).
const BAD_PCT: u32 = 5;

/// The answers of one instrument in this hour.
#[derive(Debug, Default)]
pub(super) struct Cable {
    since_ms: Option<i64>,
    answers: u32,
    damaged: u32,
    bad: bool,
}

impl Cable {
    /// Counts an answer. At the end of an hour that was bad: the share of damaged ones, %; of the first good one after
    /// it: nought.
    pub(super) fn count(&mut self, damaged: bool, now_ms: i64) -> Option<u32> {
        let since_ms = *self.since_ms.get_or_insert(now_ms);
        let (answers, bad) = (self.answers, self.bad);
        let hour_over = now_ms - since_ms >= MS_PER_HOUR;
        let share_pct = 100 * self.damaged / answers.max(1);
        if hour_over {
            *self = Self { since_ms: Some(now_ms), bad: share_pct > BAD_PCT, ..Self::default() };
        }
        self.answers += 1;
        self.damaged += u32::from(damaged);
        (hour_over && (self.bad || bad)).then_some(if self.bad { share_pct } else { 0 })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Counts an hour of answers, one a minute, every nth of them damaged.
    fn hour(cable: &mut Cable, hour: i64, nth: i64) -> Vec<u32> {
        (0..60).filter_map(|minute| cable.count(minute % nth == 1, (hour * 60 + minute) * 60_000)).collect()
    }

    #[test]
    fn b4_a_word_now_and_then_is_nothing_and_a_bad_hour_is_told_until_a_good_one() {
        let mut cable = Cable::default();
        assert!(hour(&mut cable, 0, 30).is_empty(), "2 of 60");
        assert!(hour(&mut cable, 1, 10).is_empty(), "6 of 60, told when the hour is over");
        assert_eq!(hour(&mut cable, 2, 60), [10]);
        assert_eq!(hour(&mut cable, 3, 60), [0], "and taken back after a good one");
        assert!(hour(&mut cable, 4, 60).is_empty());
    }
}
