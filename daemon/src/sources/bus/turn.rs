//! Whose turn it is: the schedule of one instrument, as plain arithmetic on the wall clock.
//!
//! Slots are the whole multiples of the interval, so that all readings of an instrument bear even times. A clock
//! that is set back or forward moves the schedule with it and never makes an instrument wait longer than its
//! interval.

use std::time::Duration;

use crate::sources::pause::Pause;

/// The schedule of one instrument.
#[derive(Clone, Debug)]
pub(super) struct Turn {
    every_ms: i64,
    due_ms: i64,
    /// The stamp given last.
    last_ms: Option<i64>,
    pause: Pause,
}

impl Turn {
    /// Due at once, then at each multiple of `every` (at least 1 s, whole seconds).
    pub(super) fn new(every: Duration, now_ms: i64) -> Self {
        Self {
            every_ms: every.as_secs().max(1) as i64 * 1000,
            due_ms: whole_second(now_ms),
            last_ms: None,
            pause: Pause::default(),
        }
    }

    /// The time to stamp the reading with if it is the instrument's turn now; whole seconds.
    pub(super) fn stamp(&mut self, now_ms: i64) -> Option<i64> {
        if self.due_ms - now_ms > self.every_ms.max(self.pause.longest().as_millis() as i64) {
            // The clock was set back.
            self.due_ms = self.next_slot(now_ms);
        }
        if self.due_ms > now_ms {
            return None;
        }
        // Late by a slot or more, by a jump of the clock or a bus that was held up: the slot that is now.
        if now_ms - self.due_ms >= self.every_ms { Some(self.slot(now_ms)) } else { Some(self.due_ms) }
    }

    /// When it is due, UTC ms.
    pub(super) fn due_ms(&self) -> i64 {
        self.due_ms
    }

    /// It gave a reading, stamped so.
    pub(super) fn went_well(&mut self, stamp_ms: i64, now_ms: i64) {
        self.last_ms = Some(stamp_ms);
        self.pause.reset();
        self.due_ms = self.next_slot(now_ms);
    }

    /// It gave none: try again after 1 s, then 2, up to 60.
    pub(super) fn went_wrong(&mut self, now_ms: i64) {
        self.due_ms = whole_second(now_ms) + self.pause.next(1.0).as_millis() as i64;
    }

    fn slot(&self, now_ms: i64) -> i64 {
        now_ms.div_euclid(self.every_ms) * self.every_ms
    }

    fn next_slot(&self, now_ms: i64) -> i64 {
        let next = self.slot(now_ms) + self.every_ms;
        // A clock that was set back by a little would give the same stamp twice.
        if self.last_ms == Some(next) { next + self.every_ms } else { next }
    }
}

fn whole_second(ms: i64) -> i64 {
    ms.div_euclid(1000) * 1000
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const MINUTE: Duration = Duration::from_secs(60);

    #[test]
    fn readings_are_stamped_with_the_even_times_of_the_schedule() {
        let mut turn = Turn::new(MINUTE, 1_000_000_012_345);
        let first = turn.stamp(1_000_000_012_345);
        assert_eq!(first, Some(1_000_000_012_000));
        turn.went_well(1_000_000_012_000, 1_000_000_012_400);
        // 10^12 ms is 40 s past a whole minute (10^9 = 60 * 16,666,666 + 40).
        assert_eq!(turn.due_ms(), 1_000_000_020_000);
        assert_eq!(turn.stamp(1_000_000_019_999), None);
        assert_eq!(turn.stamp(1_000_000_020_070), Some(1_000_000_020_000));
    }

    #[test]
    fn a_silent_instrument_is_asked_after_one_two_and_up_to_sixty_seconds() {
        let mut turn = Turn::new(MINUTE, 0);
        let mut now = 0;
        let mut gaps = Vec::new();
        for _ in 0..8 {
            turn.went_wrong(now);
            gaps.push((turn.due_ms() - now) / 1000);
            now = turn.due_ms();
        }
        assert_eq!(gaps, [1, 2, 4, 8, 16, 32, 60, 60]);
    }

    #[test]
    fn a_clock_that_jumps_takes_the_schedule_with_it() {
        let mut turn = Turn::new(MINUTE, 600_000);
        turn.went_well(600_000, 600_000);
        // Forward by a year: the slot that is now, not the one of a year ago.
        assert_eq!(turn.stamp(31_536_660_500), Some(31_536_660_000));
        turn.went_well(31_536_660_000, 31_536_660_500);
        // Back again: due within a minute.
        assert_eq!(turn.stamp(630_000), None);
        assert_eq!(turn.due_ms(), 660_000);
    }

    #[test]
    fn a_clock_set_back_by_a_second_gives_no_stamp_twice() {
        let mut turn = Turn::new(MINUTE, 0);
        turn.went_well(60_000, 59_500);
        assert_eq!(turn.due_ms(), 120_000);
    }

    proptest! {
        #[test]
        fn whatever_the_clock_does_it_is_asked_again_within_a_minute_or_its_interval(
            every in 1_u64..4000, nows in prop::collection::vec(0_i64..4_000_000_000_000, 1..20), good: bool
        ) {
            let mut turn = Turn::new(Duration::from_secs(every), nows[0]);
            for now in nows {
                if let Some(stamp) = turn.stamp(now) {
                    prop_assert!(stamp <= now && now - stamp < every as i64 * 1000 + 1000 && stamp % 1000 == 0);
                    if good { turn.went_well(stamp, now) } else { turn.went_wrong(now) }
                }
                prop_assert!(turn.due_ms() - now <= 2_000 * every.max(60) as i64);
            }
        }
    }
}
