//! A forecast as the ledger keeps it: even hours, in whole tenths.

use agronomy::series::MS_PER_HOUR;
use serde::{Deserialize, Serialize};

/// A forecast that was taken in. Values are tenths of the quantity's canonical unit, one for each step; an empty list is
/// a quantity that was not told.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Forecast {
    /// When it was issued, UTC ms.
    pub issued_ms: i64,
    /// Its first moment, UTC ms.
    pub start_ms: i64,
    /// From one moment to the next, min.
    pub step_min: u32,
    /// Air temperature, 0.1 °C.
    pub air: Vec<i16>,
    /// Relative humidity, 0.1 %.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub humidity: Vec<Option<i16>>,
    /// Wind, 0.1 m/s.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub wind: Vec<Option<i16>>,
    /// Sunlight on a level surface, 0.1 W/m².
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub light: Vec<Option<i16>>,
    /// Rain until the next moment, 0.1 mm.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub rain: Vec<Option<i16>>,
}

impl Forecast {
    /// From one moment to the next, ms.
    pub fn step_ms(&self) -> i64 {
        i64::from(self.step_min.max(1)) * 60_000
    }

    /// Its last moment, UTC ms.
    pub fn last_ms(&self) -> i64 {
        self.start_ms.saturating_add((self.air.len() as i64 - 1).max(0) * self.step_ms())
    }

    /// Air temperature at its moments: (UTC ms, °C).
    pub fn air_c(&self) -> impl Iterator<Item = (i64, f64)> {
        let moment = |at: usize| self.start_ms.saturating_add(at as i64 * self.step_ms());
        self.air.iter().enumerate().map(move |(at, tenths)| (moment(at), f64::from(*tenths) / 10.0))
    }

    /// Air temperature at any moment, on the straight line between its own, °C; none outside of it.
    pub fn air_at(&self, at_ms: i64) -> Option<f64> {
        let within = at_ms.checked_sub(self.start_ms).filter(|within| *within >= 0)?;
        let (at, rest) = ((within / self.step_ms()) as usize, within % self.step_ms());
        let from = f64::from(*self.air.get(at)?) / 10.0;
        if rest == 0 {
            return Some(from);
        }
        let to = f64::from(*self.air.get(at + 1)?) / 10.0;
        Some(from + (to - from) * rest as f64 / self.step_ms() as f64)
    }

    /// The largest difference of air temperature to another one over a stretch of time, by the hour, °C. None where one
    /// of them does not tell all of it that the other does.
    pub fn furthest_from(&self, other: &Self, from_ms: i64, until_ms: i64) -> Option<f64> {
        let until_ms = until_ms.min(self.last_ms().max(other.last_ms()));
        let mut furthest = 0.0;
        let mut at_ms = from_ms;
        while at_ms <= until_ms {
            furthest = f64::max(furthest, (self.air_at(at_ms)? - other.air_at(at_ms)?).abs());
            at_ms += MS_PER_HOUR;
        }
        Some(furthest)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_air_between_two_moments_lies_on_the_line_and_outside_it_is_not_told() {
        let told =
            Forecast { start_ms: MS_PER_HOUR, step_min: 60, air: vec![200, 230, 215], ..Forecast::default() };
        assert_eq!(told.air_at(MS_PER_HOUR), Some(20.0));
        assert_eq!(told.air_at(MS_PER_HOUR * 3 / 2), Some(21.5));
        assert_eq!(told.air_at(3 * MS_PER_HOUR), Some(21.5));
        assert_eq!((told.air_at(0), told.air_at(3 * MS_PER_HOUR + 1)), (None, None));
        assert_eq!(told.air_c().last(), Some((told.last_ms(), 21.5)));
    }

    #[test]
    fn two_forecasts_are_as_far_apart_as_at_their_worst_hour() {
        let one = Forecast { step_min: 60, air: vec![200, 230, 215], ..Forecast::default() };
        let other = Forecast { air: vec![201, 218, 215], ..one.clone() };
        assert_eq!(one.furthest_from(&other, 0, 2 * MS_PER_HOUR), Some(1.1999999999999993));
        let shorter = Forecast { air: vec![200, 230], ..one.clone() };
        assert_eq!(one.furthest_from(&shorter, 0, 2 * MS_PER_HOUR), None);
    }
}
