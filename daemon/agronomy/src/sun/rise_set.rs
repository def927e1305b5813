//! Sunrise, sunset and how long the sun is up.

use super::position::{HORIZON, hour_angle_deg, position};
use crate::series::{MS_PER_DAY, MS_PER_HOUR};
use crate::units::{Latitude, Longitude};

const HALF_DAY_MS: i64 = MS_PER_DAY / 2;

/// What the sun does around one noon.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RiseSet {
    /// It rises before that noon and sets after it.
    RisesAndSets {
        /// Its upper rim appears.
        rise_ms_utc: i64,
        /// Its upper rim is gone.
        set_ms_utc: i64,
    },
    /// It does not set.
    PolarDay,
    /// It does not rise.
    PolarNight,
}

impl RiseSet {
    /// From sunrise to sunset: a whole day in polar day, nothing in polar night.
    pub const fn day_length_ms(&self) -> i64 {
        match *self {
            Self::RisesAndSets { rise_ms_utc, set_ms_utc } => set_ms_utc.saturating_sub(rise_ms_utc),
            Self::PolarDay => MS_PER_DAY,
            Self::PolarNight => 0,
        }
    }
}

/// Sunrise and sunset of a calendar day, numbered from 1970-01-01 as 0, by the sun's own time at the place.
///
/// Where the site's clock runs more than half a day from the sun (a date line bent around an island), its dates
/// are a day off these: ask [`rise_set_around`] for the site's own noon.
///
/// # Domain
///
/// Within 60 s of almanac times up to 60° of latitude, 10 minutes in polar regions (`tests/sun.rs`). A level
/// horizon at sea level and average air.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// See [`position`]; the moments are found by bisection.
pub fn rise_set(day_since_1970: i64, latitude: Latitude, longitude: Longitude) -> RiseSet {
    rise_set_around(mean_noon(day_since_1970, longitude), latitude, longitude)
}

/// Noon of a calendar day in mean solar time at the place, UTC ms: up to 17 minutes from the true one.
pub fn mean_noon(day_since_1970: i64, longitude: Longitude) -> i64 {
    let past_midnight = (0.5 - longitude.get() / 360.0) * MS_PER_DAY as f64;
    day_since_1970.saturating_mul(MS_PER_DAY).saturating_add(past_midnight as i64)
}

/// Sunrise before and sunset after the true noon nearest to `noon_ms_utc`.
///
/// On the few nights between midnight sun and ordinary nights the sun may rise but not set, or set though it
/// never rose; the missing moment is then given as the midnight on that side.
pub fn rise_set_around(noon_ms_utc: i64, latitude: Latitude, longitude: Longitude) -> RiseSet {
    let day = sun_day(noon_ms_utc, latitude, longitude);
    match (day.rise_ms_utc, day.set_ms_utc) {
        (None, None) if day.up_ms == 0 => RiseSet::PolarNight,
        (None, None) => RiseSet::PolarDay,
        (rise, set) => RiseSet::RisesAndSets {
            rise_ms_utc: rise.unwrap_or(day.noon_ms_utc.saturating_sub(HALF_DAY_MS)),
            set_ms_utc: set.unwrap_or(day.noon_ms_utc.saturating_add(HALF_DAY_MS)),
        },
    }
}

/// The half day before and the half day after one true noon.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SunDay {
    /// The sun crosses the meridian.
    pub noon_ms_utc: i64,
    /// Its upper rim appears; `None` where it does not within that half day.
    pub rise_ms_utc: Option<i64>,
    /// Its upper rim is gone; `None` where it does not go within that half day.
    pub set_ms_utc: Option<i64>,
    /// How long it is up from midnight to midnight, ms: 0 to a whole day.
    pub up_ms: i64,
}

/// What the sun does from midnight to midnight around the true noon nearest to `noon_ms_utc`, with no moment
/// made up.
///
/// Domain, errors and source are those of [`rise_set`].
pub fn sun_day(noon_ms_utc: i64, latitude: Latitude, longitude: Longitude) -> SunDay {
    day_above(HORIZON, noon_ms_utc, latitude, longitude)
}

/// Hours of light around the true noon nearest to `noon_ms_utc`, as flowering answers to it: civil twilight counts.
///
/// Onion, spinach and strawberry go by this; growth goes by the sun itself ([`sun_day`]).
///
/// # Domain
///
/// 0 to 24; within 2 minutes up to 60° of latitude.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// The sun's centre 6° below the horizon, the convention of almanacs; that twilight counts: general horticultural
/// literature, from memory.
pub fn photoperiod_h(noon_ms_utc: i64, latitude: Latitude, longitude: Longitude) -> f64 {
    const CIVIL_TWILIGHT: f64 = -6.0;
    let light = day_above(CIVIL_TWILIGHT, noon_ms_utc, latitude, longitude);
    light.up_ms as f64 / MS_PER_HOUR as f64
}

/// The day of a sun that is up above a given altitude, degrees.
fn day_above(horizon: f64, noon_ms_utc: i64, latitude: Latitude, longitude: Longitude) -> SunDay {
    let noon_ms_utc = true_noon(noon_ms_utc, longitude);
    let before = noon_ms_utc.saturating_sub(HALF_DAY_MS);
    let after = noon_ms_utc.saturating_add(HALF_DAY_MS);
    let up = |ms| position(ms, latitude, longitude).altitude_deg > horizon;
    if !up(noon_ms_utc) {
        return SunDay { noon_ms_utc, rise_ms_utc: None, set_ms_utc: None, up_ms: 0 };
    }
    let rise_ms_utc = (!up(before)).then(|| turn(before, noon_ms_utc, up));
    let set_ms_utc = (!up(after)).then(|| turn(noon_ms_utc, after, |ms| !up(ms)));
    let up_ms = set_ms_utc.unwrap_or(after).saturating_sub(rise_ms_utc.unwrap_or(before));
    SunDay { noon_ms_utc, rise_ms_utc, set_ms_utc, up_ms }
}

/// Whether any of the sun is over a level horizon.
pub fn is_up(ms_utc: i64, latitude: Latitude, longitude: Longitude) -> bool {
    position(ms_utc, latitude, longitude).altitude_deg > HORIZON
}

/// The first millisecond in `from..to` at which `begun` holds, which it does at `to` and not at `from`.
fn turn(mut from: i64, mut to: i64, begun: impl Fn(i64) -> bool) -> i64 {
    while to.saturating_sub(from) > 1 {
        let middle = i64::midpoint(from, to);
        if begun(middle) {
            to = middle;
        } else {
            from = middle;
        }
    }
    to
}

/// The moment the sun crosses the meridian, nearest to `ms`.
fn true_noon(ms: i64, longitude: Longitude) -> i64 {
    let mut noon = ms;
    // The hour angle grows by 360° in very nearly a day: the second step corrects by under a second.
    for _ in 0..3 {
        let past_noon = hour_angle_deg(noon, longitude) / 360.0;
        noon = noon.saturating_sub((past_noon * MS_PER_DAY as f64) as i64);
    }
    noon
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_time_and_no_place_breaks_it() {
        for ms in [i64::MIN, 0, i64::MAX] {
            for (lat, lon) in [(-90.0, -180.0), (0.0, 0.0), (90.0, 180.0)] {
                let (lat, lon) = (Latitude::try_new(lat).unwrap(), Longitude::try_new(lon).unwrap());
                let _ = rise_set(ms, lat, lon).day_length_ms();
                let _ = sun_day(ms, lat, lon);
            }
        }
    }
}
