//! Readings over time, and the one rule for what lies between them.
//!
//! A probe speaks every few minutes; a grower asks about the day. In between, **a reading holds until the
//! next one, at most twice its probe's usual interval**; after that nothing is known, and the gap stays a
//! gap. Every figure of a day or a season is reckoned over the same held segments, so that hours, means and
//! degree days of one day agree with each other and with the share that was measured.
//!
//! Held steps, not straight lines, are used for all bookkeeping: one rule for every figure, no invented
//! values across a gap, and over a day the two differ by less than a probe's own error. Straight lines
//! serve one purpose, saying at what clock time a line was crossed: [`crossing_ms`].
//!
//! Times are milliseconds since 1970 in UTC.

use std::ops::Range;

/// Milliseconds in an hour.
pub const MS_PER_HOUR: i64 = 3_600_000;
/// Milliseconds in a day: every day has 24 hours of the site's standard time.
pub const MS_PER_DAY: i64 = 24 * MS_PER_HOUR;
/// From this much held time a day counts in full; a shorter one says its share (common practice).
pub const COUNTS_IN_FULL_MS: i64 = 18 * MS_PER_HOUR;

/// A value over a stretch of time, from `start_ms` up to but not including `end_ms`; never empty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Held {
    /// When the value begins to hold.
    pub start_ms: i64,
    /// When it holds no longer.
    pub end_ms: i64,
    /// The value, in the quantity's canonical unit.
    pub value: f64,
}

impl Held {
    /// How long the value holds.
    pub const fn ms(&self) -> i64 {
        self.end_ms.saturating_sub(self.start_ms)
    }

    /// The part of it that lies in a window; `None` where none does.
    pub fn within(&self, window: &Range<i64>) -> Option<Self> {
        let (start_ms, end_ms) = (self.start_ms.max(window.start), self.end_ms.min(window.end));
        (start_ms < end_ms).then_some(Self { start_ms, end_ms, value: self.value })
    }
}

/// Applies the gap rule to readings `(time, value)` in measured order.
///
/// Each reading holds until the next one, at most twice `usual_interval_ms`, clipped to `window`. Readings
/// from before the window are wanted too: the last of them is carried in. Of two readings with the same
/// time the later given counts. A value that is not finite, or a time before that of the reading before it,
/// is no reading and is passed over. An interval of nought or less holds nothing.
pub fn hold(
    readings: impl Iterator<Item = (i64, f64)>,
    usual_interval_ms: i64,
    window: Range<i64>,
) -> impl Iterator<Item = Held> {
    let longest_ms = usual_interval_ms.saturating_mul(2);
    let mut readings = readings.filter(|(_, value)| value.is_finite()).fuse();
    let mut current = readings.next();
    std::iter::from_fn(move || {
        while let Some((at, value)) = current {
            if at >= window.end {
                break;
            }
            current = readings.by_ref().find(|&(next, _)| next >= at);
            let until = current.map_or(i64::MAX, |(next, _)| next).min(at.saturating_add(longest_ms));
            let held = Held { start_ms: at.max(window.start), end_ms: until.min(window.end), value };
            if held.start_ms < held.end_ms {
                return Some(held);
            }
        }
        None
    })
}

/// The stretches where both series hold, with the two values combined: deficit from temperature and humidity.
///
/// Both must be in order and without overlap, as [`hold`] gives them.
pub fn together(
    left: impl Iterator<Item = Held>,
    right: impl Iterator<Item = Held>,
    mut combine: impl FnMut(f64, f64) -> f64,
) -> impl Iterator<Item = Held> {
    let (mut left, mut right) = (left.fuse().peekable(), right.fuse().peekable());
    std::iter::from_fn(move || {
        while let (Some(&a), Some(&b)) = (left.peek(), right.peek()) {
            if a.end_ms <= b.end_ms {
                left.next();
            } else {
                right.next();
            }
            let (start_ms, end_ms) = (a.start_ms.max(b.start_ms), a.end_ms.min(b.end_ms));
            if start_ms < end_ms {
                return Some(Held { start_ms, end_ms, value: combine(a.value, b.value) });
            }
        }
        None
    })
}

/// Fills the gaps of one series with what another holds there: a second probe takes over where the first is silent.
///
/// Both must be in order and without overlap, as [`hold`] gives them; so is what comes back.
pub fn fill(first: &[Held], second: impl Iterator<Item = Held>) -> Vec<Held> {
    if first.is_empty() {
        return second.collect();
    }
    let mut filled = first.to_vec();
    for held in second {
        let mut from = held.start_ms;
        let met = first.partition_point(|it| it.end_ms <= from);
        for it in first[met..].iter().take_while(|it| it.start_ms < held.end_ms) {
            filled.extend(held.within(&(from..it.start_ms)));
            from = it.end_ms;
        }
        filled.extend(held.within(&(from..held.end_ms)));
    }
    filled.sort_by_key(|held| held.start_ms);
    filled
}

/// How long anything was known, ms.
pub fn held_ms(segments: impl Iterator<Item = Held>) -> i64 {
    segments.map(|held| held.ms()).sum()
}

/// The mean over held time; `None` when nothing was held.
pub fn time_weighted_mean(segments: impl Iterator<Item = Held>) -> Option<f64> {
    mean_of(segments, |value| value)
}

/// How long the held value was strictly above `threshold`, ms: of any quantity, and by held steps like all bookkeeping.
/// Heat stress goes by straight lines and counts degree hours too ([`above`](crate::heat_stress::above)).
pub fn ms_above(segments: impl Iterator<Item = Held>, threshold: f64) -> i64 {
    segments.filter(|held| held.value > threshold).map(|held| held.ms()).sum()
}

/// The mean over held time of a figure of the value; `None` when nothing was held.
pub(crate) fn mean_of(segments: impl Iterator<Item = Held>, figure: impl Fn(f64) -> f64) -> Option<f64> {
    let (mut sum, mut total_ms) = (0.0, 0_i64);
    for held in segments {
        sum += figure(held.value) * held.ms() as f64;
        total_ms += held.ms();
    }
    (total_ms > 0).then(|| sum / total_ms as f64)
}

/// The moment at which a straight line between two readings meets `threshold`, rising or falling.
///
/// `None` when both lie on the same side, when the line is level, when a value is not finite, or when the
/// second is not later than the first. A reading exactly on the threshold is the moment itself.
pub fn crossing_ms(t0: i64, v0: f64, t1: i64, v1: f64, threshold: f64) -> Option<i64> {
    let (before, after) = (threshold - v0, v1 - threshold);
    let step = v1 - v0;
    let reached = (before >= 0.0 && after >= 0.0) || (before <= 0.0 && after <= 0.0);
    if t1 <= t0 || step == 0.0 || !step.is_finite() || !reached {
        return None;
    }
    let share = before / step;
    Some(t0.saturating_add(libm::round(share * t1.saturating_sub(t0) as f64) as i64).min(t1))
}

#[cfg(test)]
mod tests {
    use super::*;

    const MINUTE: i64 = 60_000;

    fn held(readings: &[(i64, f64)], window: Range<i64>) -> Vec<(i64, i64, f64)> {
        let minutes = readings.iter().map(|&(at, value)| (at * MINUTE, value));
        hold(minutes, 15 * MINUTE, window.start * MINUTE..window.end * MINUTE)
            .map(|held| (held.start_ms / MINUTE, held.end_ms / MINUTE, held.value))
            .collect()
    }

    fn segments() -> impl Iterator<Item = Held> {
        let steps = [(0, 10.0), (60, 20.0), (120, 35.0), (180, 20.0)];
        hold(steps.into_iter().map(|(at, value)| (at * MINUTE, value)), 60 * MINUTE, 0..240 * MINUTE)
    }

    #[test]
    fn a_reading_holds_until_the_next_and_no_longer_than_twice_its_interval() {
        let readings = [(0, 20.0), (15, 21.0), (90, 22.0)];
        assert_eq!(held(&readings, 0..1440), [(0, 15, 20.0), (15, 45, 21.0), (90, 120, 22.0)]);
    }

    #[test]
    fn the_value_carried_in_counts_from_the_start_of_the_window() {
        assert_eq!(held(&[(-20, 18.0), (5, 19.0)], 0..1440), [(0, 5, 18.0), (5, 35, 19.0)]);
    }

    #[test]
    fn a_value_too_old_is_not_carried_in() {
        assert_eq!(held(&[(-30, 18.0), (5, 19.0)], 0..1440), [(5, 35, 19.0)]);
    }

    #[test]
    fn the_last_reading_ends_with_the_window_and_later_ones_do_not_count() {
        assert_eq!(held(&[(1430, 18.0), (1440, 19.0)], 0..1440), [(1430, 1440, 18.0)]);
        assert_eq!(held(&[(1430, 18.0)], 0..1440), [(1430, 1440, 18.0)]);
    }

    #[test]
    fn of_two_readings_at_one_time_the_later_given_counts() {
        assert_eq!(held(&[(0, 18.0), (0, 19.0), (10, 20.0)], 0..20), [(0, 10, 19.0), (10, 20, 20.0)]);
    }

    #[test]
    fn what_is_no_reading_is_passed_over() {
        let readings = [(0, 18.0), (5, f64::NAN), (10, 20.0), (4, 99.0), (20, 21.0)];
        assert_eq!(held(&readings, 0..30), [(0, 10, 18.0), (10, 20, 20.0), (20, 30, 21.0)]);
        assert_eq!(hold([(0, 1.0)].into_iter(), 0, 0..10).count(), 0);
        assert_eq!(hold([(i64::MIN, 1.0), (i64::MAX, 2.0)].into_iter(), i64::MAX, 0..10).count(), 0);
    }

    #[test]
    fn figures_of_four_steps_are_those_worked_by_hand() {
        // Four hours at 10, 20, 35 and 20 °C.
        assert_eq!(held_ms(segments()), 4 * MS_PER_HOUR);
        assert_eq!(time_weighted_mean(segments()), Some(21.25));
        assert_eq!(ms_above(segments(), 30.0), MS_PER_HOUR);
    }

    #[test]
    fn a_value_on_the_line_is_not_above_it() {
        assert_eq!(ms_above(segments(), 35.0), 0);
        assert_eq!(ms_above(segments(), 20.0), MS_PER_HOUR);
    }

    #[test]
    fn nothing_held_has_no_mean() {
        assert_eq!(time_weighted_mean(std::iter::empty()), None);
    }

    #[test]
    fn two_series_meet_where_both_hold() {
        let one = |start_ms, end_ms, value| Held { start_ms, end_ms, value };
        let left = [one(0, 10, 1.0), one(10, 30, 2.0), one(50, 60, 3.0)];
        let right = [one(5, 20, 10.0), one(25, 55, 20.0)];
        let both: Vec<_> = together(left.into_iter(), right.into_iter(), |a, b| a + b).collect();
        assert_eq!(both, [one(5, 10, 11.0), one(10, 20, 12.0), one(25, 30, 22.0), one(50, 55, 23.0)]);
    }

    #[test]
    fn a_second_series_fills_the_gaps_of_the_first_and_nothing_else() {
        let one = |start_ms, end_ms, value| Held { start_ms, end_ms, value };
        let first = vec![one(0, 10, 1.0), one(20, 30, 1.5)];
        let second = [one(5, 25, 2.0), one(25, 40, 3.0), one(50, 60, 4.0)];
        let filled = fill(&first, second.into_iter());
        let wanted =
            [one(0, 10, 1.0), one(10, 20, 2.0), one(20, 30, 1.5), one(30, 40, 3.0), one(50, 60, 4.0)];
        assert_eq!(filled, wanted);
        assert_eq!(fill(&[], second.into_iter()), second);
        assert_eq!(fill(&first, std::iter::empty()), first);
    }

    #[test]
    fn a_line_is_crossed_in_proportion_up_and_down() {
        assert_eq!(crossing_ms(0, 30.0, 1000, 40.0, 35.0), Some(500));
        assert_eq!(crossing_ms(0, 40.0, 1000, 30.0, 32.5), Some(750));
        assert_eq!(crossing_ms(0, 35.0, 1000, 40.0, 35.0), Some(0));
        assert_eq!(crossing_ms(0, 30.0, 1000, 35.0, 35.0), Some(1000));
    }

    #[test]
    fn a_line_that_is_not_reached_has_no_crossing() {
        assert_eq!(crossing_ms(0, 30.0, 1000, 34.0, 35.0), None);
        assert_eq!(crossing_ms(0, 35.0, 1000, 35.0, 35.0), None);
        assert_eq!(crossing_ms(0, f64::NAN, 1000, 40.0, 35.0), None);
        assert_eq!(crossing_ms(0, 30.0, 1000, 40.0, f64::NAN), None);
        assert_eq!(crossing_ms(1000, 30.0, 0, 40.0, 35.0), None);
    }
}
