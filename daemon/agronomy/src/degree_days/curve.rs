//! The two curves drawn between a day's lowest and highest, and the area they leave above a threshold.
//!
//! Both curves are the same forwards and backwards, so the mean over a half day from lowest to highest
//! equals that over the whole day; a double method is the mean of its two halves.

use std::f64::consts::{FRAC_PI_2, PI};

use super::method::Cutoff;

/// How the temperature is taken to run between lowest and highest.
#[derive(Clone, Copy)]
pub(super) enum Curve {
    Sine,
    Triangle,
}

impl Curve {
    /// Degree days of a day, or the mean rate over a half day, between `low` and `high`.
    ///
    /// With A(L) the area above a threshold and F(U) the share of time above the upper one:
    /// horizontal A(base) − A(upper), intermediate A(base) − 2 A(upper), vertical
    /// A(base) − A(upper) − (upper − base) F(upper).
    pub(super) fn degree_days(
        self,
        low: f64,
        high: f64,
        base: f64,
        upper: Option<f64>,
        cutoff: Cutoff,
    ) -> f64 {
        let above_base = self.above(low, high, base);
        let Some(upper) = upper else { return above_base.area };
        let above_upper = self.above(low, high, upper);
        match cutoff {
            Cutoff::Horizontal => above_base.area - above_upper.area,
            Cutoff::Intermediate => above_base.area - 2.0 * above_upper.area,
            Cutoff::Vertical => above_base.area - above_upper.area - (upper - base) * above_upper.share,
        }
    }

    fn above(self, low: f64, high: f64, threshold: f64) -> Above {
        if high <= threshold {
            return Above { area: 0.0, share: 0.0 };
        }
        let mean = f64::midpoint(low, high);
        if low >= threshold {
            return Above { area: mean - threshold, share: 1.0 };
        }
        match self {
            Self::Sine => {
                let half_swing = (high - low) / 2.0;
                let crossed = libm::asin((threshold - mean) / half_swing);
                let area = (mean - threshold) * (FRAC_PI_2 - crossed) + half_swing * libm::cos(crossed);
                Above { area: area / PI, share: (FRAC_PI_2 - crossed) / PI }
            }
            Self::Triangle => {
                let share = (high - threshold) / (high - low);
                Above { area: share * (high - threshold) / 2.0, share }
            }
        }
    }
}

/// What a day's sine between `low` and `high` leaves above `threshold`.
pub(crate) fn sine_above(low: f64, high: f64, threshold: f64) -> Above {
    Curve::Sine.above(low, high, threshold)
}

/// What a curve leaves above a threshold.
pub(crate) struct Above {
    /// Mean of the excess, °C d per day.
    pub(crate) area: f64,
    /// Share of the time, 0 to 1.
    pub(crate) share: f64,
}
