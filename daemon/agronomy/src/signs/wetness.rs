//! Whether a leaf is wet, when there is only air to go by.
//!
//! Two ways, both borrowed from work on leaf wetness without leaf probes. The plain one calls a leaf wet while the
//! air is at 90 % or above. The other goes by how far the air is above its dew point, with two limits, so that a
//! leaf that has dewed over stays wet until the air has clearly left the dew point. Rain and water from a hose are
//! in neither.

use std::ops::Range;

use crate::series::{COUNTS_IN_FULL_MS, Held, MS_PER_DAY, MS_PER_HOUR, together};
use crate::units::{Celsius, HoursOfDay, RelativeHumidity};
use crate::vapour::dew_point;

/// Humidity from which a leaf is taken as wet: 90 %, the usual one of several limits in use.
///
/// # Source
///
/// From memory, after Sentelhas and others (2008), who compare such limits.
pub const WET_FROM: RelativeHumidity = match RelativeHumidity::try_new(90.0) {
    Ok(limit) => limit,
    Err(_) => RelativeHumidity::MAX,
};

/// A leaf dews over when the air comes this near its dew point, K.
const DEWS_OVER_K: f64 = 1.8;
/// A wet leaf dries when the air is this far from its dew point again, K.
const DRIES_K: f64 = 2.2;

/// Whether a leaf in this air is wet by the plain rule: at the limit or above.
///
/// # Errors
///
/// None.
pub fn is_wet(humidity: RelativeHumidity, limit: RelativeHumidity) -> bool {
    humidity >= limit
}

/// A leaf watched by the distance of the air from its dew point. It starts dry.
///
/// # Equation
///
/// ```text
/// dry → wet   T − Td ≤ 1.8 K
/// wet → dry   T − Td ≥ 2.2 K
/// ```
///
/// # Domain
///
/// Steps of about an hour. Air so dry that it has no dew point dries the leaf.
///
/// # Source
///
/// From memory, after Rao, Gillespie and Schaafsma (1998); dew point by FAO-56 eq. 11 solved for temperature.
///
/// # Example
///
/// ```
/// use agronomy::signs::wetness::DewedLeaf;
/// use agronomy::units::{Celsius, OutOfRange, RelativeHumidity};
///
/// let mut leaf = DewedLeaf::default();
/// assert!(leaf.step(Celsius::try_new(12.0)?, RelativeHumidity::MAX));
/// assert!(!leaf.step(Celsius::try_new(20.0)?, RelativeHumidity::try_new(60.0)?));
/// # Ok::<(), OutOfRange>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct DewedLeaf {
    wet: bool,
}

impl DewedLeaf {
    /// Takes the air of the next step and says whether the leaf is wet now.
    ///
    /// # Errors
    ///
    /// None.
    pub fn step(&mut self, air: Celsius, humidity: RelativeHumidity) -> bool {
        self.wet = depression(air, humidity)
            .is_some_and(|kelvin| if self.wet { kelvin < DRIES_K } else { kelvin <= DEWS_OVER_K });
        self.wet
    }
}

/// How far the air is above its dew point, T − Td, K; `None` for air without vapour to speak of.
///
/// # Errors
///
/// None.
pub fn depression(air: Celsius, humidity: RelativeHumidity) -> Option<f64> {
    dew_point(air, humidity).map(|dew| air.get() - dew.get())
}

/// The wet hours of a day by the plain rule, from what a probe said of its humidity, %, over the day's stretch of
/// time (UTC ms).
///
/// 100 to 105 % is a wetted probe in saturated air and counts as wet; what no probe can mean is passed over.
/// `None` where less than 18 hours are known. Hours not known are not counted: the figure is "at least".
///
/// # Errors
///
/// None.
pub fn wet_hours(humidity: impl Iterator<Item = Held>, day: &Range<i64>) -> Option<HoursOfDay> {
    let (mut known_ms, mut wet_ms) = (0_i64, 0_i64);
    for held in humidity.filter_map(|held| held.within(day)) {
        let Ok(share) = RelativeHumidity::from_probe(held.value) else { continue };
        known_ms = known_ms.saturating_add(held.ms());
        if is_wet(share, WET_FROM) {
            wet_ms = wet_ms.saturating_add(held.ms());
        }
    }
    counts(known_ms).then(|| hours(wet_ms))
}

/// Air about a leaf, by the plain rule.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Air {
    /// The leaf is wet, in air of this temperature.
    Wet(Celsius),
    /// It is dry.
    Dry,
}

/// Where both are held within a window: whether the leaf was wet, and how warm the air. What no probe can mean is
/// passed over.
pub(super) fn wet_air(
    air: impl Iterator<Item = Held>,
    humidity: impl Iterator<Item = Held>,
    wet_from: RelativeHumidity,
    window: &Range<i64>,
) -> impl Iterator<Item = (Held, Air)> {
    let inside = |held: Held| held.within(window);
    // Wet air comes through as its temperature, dry air as none.
    let dry = f64::INFINITY;
    let read = move |t: f64, rh: f64| match (Celsius::try_new(t), RelativeHumidity::from_probe(rh)) {
        (Ok(air), Ok(share)) if is_wet(share, wet_from) => air.get(),
        (Ok(_), Ok(_)) => dry,
        _ => f64::NAN,
    };
    together(air.filter_map(inside), humidity.filter_map(inside), read)
        .filter(|held| !held.value.is_nan())
        .map(|held| (held, Celsius::try_new(held.value).map_or(Air::Dry, Air::Wet)))
}

/// Whether so much of a day is known that the day counts.
pub(super) fn counts(known_ms: i64) -> bool {
    known_ms >= COUNTS_IN_FULL_MS
}

/// Milliseconds of a day as hours.
pub(super) fn hours(ms: i64) -> HoursOfDay {
    HoursOfDay::reckoned(ms.min(MS_PER_DAY) as f64 / MS_PER_HOUR as f64)
}
