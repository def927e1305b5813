//! The line of a place under cover, whatever grows there.
//!
//! Most crops have heat rules for their flowers alone, and a tray of seedlings in a shut house in May has none.
//! So every place under cover has a line of its own, all year: 40 °C held for half an hour, or on course for
//! it. On course is at most a degree below, rising, and there within half an hour (common practice).

use super::course::Slope;
use crate::crop::Global;
use crate::series::{MS_PER_HOUR, crossing_ms};
use crate::units::{Celsius, OutOfRange};

const MS_PER_MINUTE: i64 = 60_000;
/// The place line and how long it must hold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlaceLine {
    /// The line.
    pub heat: Celsius,
    /// How long it must hold, ms.
    pub held_ms: i64,
}

/// What the place line says at a moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PlaceHeat {
    /// At or above the line for long enough, since this moment, ms UTC.
    Held {
        /// When the line was crossed.
        since_ms: i64,
    },
    /// Rising and close: it reaches the line about this moment, ms UTC.
    OnCourse {
        /// When it is there.
        at_ms: i64,
    },
}

impl PlaceLine {
    /// How far below the line "on course" begins, °C (common practice).
    pub const NEAR_C: f64 = 1.0;
    /// How soon it must be reached to be on course, ms (common practice).
    pub const SOON_MS: i64 = 30 * MS_PER_MINUTE;

    /// The line of the crop book.
    ///
    /// # Errors
    ///
    /// [`OutOfRange`] when the book's line is no temperature.
    pub fn of(global: &Global) -> Result<Self, OutOfRange> {
        let heat = Celsius::try_new(global.place_heat_c.lo)?;
        Ok(Self { heat, held_ms: (global.place_heat_minutes.lo * MS_PER_MINUTE as f64) as i64 })
    }

    /// Judges the course of the air up to now; `rate` is the present rise in °C per hour.
    ///
    /// `None` where neither holds, and where the air at `now_ms` is not known: that a place has gone blind is
    /// another notice.
    ///
    /// # Errors
    ///
    /// None: a rate that is not finite is no rise.
    ///
    /// # Source
    ///
    /// Common practice.
    pub fn judge(&self, course: &[Slope], now_ms: i64, rate: f64) -> Option<PlaceHeat> {
        let line = self.heat.get();
        let mut known = course.iter().rev().filter_map(|slope| slope.within(&(i64::MIN..now_ms)));
        let last = known.next().filter(|slope| slope.end_ms == now_ms && slope.to.is_finite())?;
        if last.to < line {
            return self.on_course(last.to, now_ms, rate);
        }
        let (mut since_ms, mut begins_ms) = (crossing(&last, line), last.start_ms);
        for slope in known {
            if since_ms != begins_ms || slope.end_ms != begins_ms || slope.to < line {
                break;
            }
            (since_ms, begins_ms) = (crossing(&slope, line), slope.start_ms);
        }
        (now_ms.saturating_sub(since_ms) >= self.held_ms).then_some(PlaceHeat::Held { since_ms })
    }

    fn on_course(&self, air: f64, now_ms: i64, rate: f64) -> Option<PlaceHeat> {
        let short = self.heat.get() - air;
        let wait_ms = libm::round(short / rate * MS_PER_HOUR as f64);
        (short <= Self::NEAR_C && rate > 0.0 && rate.is_finite() && wait_ms <= Self::SOON_MS as f64)
            .then(|| PlaceHeat::OnCourse { at_ms: now_ms.saturating_add(wait_ms as i64) })
    }
}

/// Where a piece that ends at or above the line came to it; its beginning, where it began there.
fn crossing(slope: &Slope, line: f64) -> i64 {
    crossing_ms(slope.start_ms, slope.from, slope.end_ms, slope.to, line)
        .filter(|_| slope.from < line)
        .unwrap_or(slope.start_ms)
}

#[cfg(test)]
mod tests {
    use super::*;

    const MINUTE: i64 = MS_PER_MINUTE;

    fn line() -> PlaceLine {
        PlaceLine { heat: Celsius::try_new(40.0).unwrap(), held_ms: 30 * MINUTE }
    }

    /// Straight lines through these points of minute and temperature.
    fn through(points: &[(i64, f64)]) -> Vec<Slope> {
        let piece = |pair: &[(i64, f64)]| Slope {
            start_ms: pair[0].0 * MINUTE,
            end_ms: pair[1].0 * MINUTE,
            from: pair[0].1,
            to: pair[1].1,
        };
        points.windows(2).map(piece).collect()
    }

    #[test]
    fn forty_degrees_for_half_an_hour_is_past_the_line_and_29_minutes_are_not() {
        // 38 to 42 in 20 minutes crosses 40 after ten.
        let course = through(&[(0, 38.0), (20, 42.0), (60, 41.0)]);
        assert_eq!(line().judge(&course, 39 * MINUTE, 0.0), None);
        let held = Some(PlaceHeat::Held { since_ms: 10 * MINUTE });
        assert_eq!(line().judge(&course, 40 * MINUTE, 0.0), held);
        assert_eq!(line().judge(&course, 60 * MINUTE, 0.0), held);
    }

    #[test]
    fn a_dip_below_the_line_starts_the_half_hour_anew() {
        let course = through(&[(0, 41.0), (20, 39.0), (30, 41.0), (55, 41.0)]);
        // Past it again since minute 25.
        assert_eq!(line().judge(&course, 54 * MINUTE, 0.0), None);
        let held = Some(PlaceHeat::Held { since_ms: 25 * MINUTE });
        assert_eq!(line().judge(&course, 55 * MINUTE, 0.0), held);
    }

    #[test]
    fn on_course_is_close_rising_and_soon() {
        let course = through(&[(0, 38.0), (15, 39.2)]);
        let judged = |rate| line().judge(&course, 15 * MINUTE, rate);
        // 0.8 °C at 3.2 °C an hour is a quarter of an hour.
        assert_eq!(judged(3.2), Some(PlaceHeat::OnCourse { at_ms: 30 * MINUTE }));
        assert_eq!(judged(1.5), None, "32 minutes");
        for no_rise in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(judged(no_rise), None);
        }
        let far = through(&[(0, 36.0), (15, 38.9)]);
        assert_eq!(line().judge(&far, 15 * MINUTE, 12.0), None);
    }

    #[test]
    fn a_place_that_has_gone_blind_says_nothing() {
        let course = through(&[(0, 41.0), (60, 41.0)]);
        assert_eq!(line().judge(&course, 90 * MINUTE, 0.0), None);
        assert_eq!(line().judge(&[], 0, 1.0), None);
    }
}
