//! The demo's garden: a glasshouse, two beds, five plantings, four probes, and the diary of its season.

use super::calendar::Calendar;
use super::weather::{SEASON_DAYS, Weather};
use crate::entry::{Began, Note, PlaceKind};

/// The site's name.
pub const NAME: &str = "Quince Corner";
/// When the story begins unless told otherwise: 2026-07-13, a Monday, 05:00 by the site's clock; UTC ms.
pub const DEFAULT_START_MS: i64 = 1_783_915_200_000;
/// The usual interval between two readings of every probe, s.
pub const INTERVAL_S: u32 = 300;

/// The house.
pub const HOUSE: &str = "pear-house";
/// The bed by the gate.
pub const GATE_BED: &str = "gate-bed";
/// The bed by the ditch.
pub const DITCH_BED: &str = "ditch-bed";

/// The places: identifier, name, kind.
pub const PLACES: [(&str, &str, PlaceKind); 3] = [
    (HOUSE, "Pear House", PlaceKind::House),
    (GATE_BED, "Gate Bed", PlaceKind::Bed),
    (DITCH_BED, "Ditch Bed", PlaceKind::Bed),
];

/// The SHT4x-class instrument at crop height in the house.
pub const POST: &str = "post";
/// The BME280-class instrument under the ridge of the house.
pub const RIDGE: &str = "ridge";

/// An instrument that publishes by itself, over MQTT.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BedProbe {
    /// Its name, and the client identifier it connects with.
    pub probe: &'static str,
    /// Where it hangs.
    pub place: &'static str,
    /// Where it publishes. The payload is JSON: the time of measuring at [`TIME_POINTER`] (RFC 3339), the figures at
    /// [`TEMPERATURE_POINTER`] and [`HUMIDITY_POINTER`].
    pub topic: &'static str,
}

/// The probes in the beds, in the order of [`super::Truth::beds`].
pub const BED_PROBES: [BedProbe; 2] = [
    BedProbe { probe: "gate", place: GATE_BED, topic: "quince/gate/air" },
    BedProbe { probe: "ditch", place: DITCH_BED, topic: "quince/ditch/air" },
];
/// Where a bed probe's payload has the time (RFC 6901).
pub const TIME_POINTER: &str = "/at";
/// Where a bed probe's payload has the air temperature, °C (RFC 6901).
pub const TEMPERATURE_POINTER: &str = "/air/celsius";
/// Where a bed probe's payload has the relative humidity, % (RFC 6901).
pub const HUMIDITY_POINTER: &str = "/air/humidity";

/// A planting of the demo; days are counted from the day on which the story begins.
struct Planting {
    key: &'static str,
    crop: &'static str,
    place: &'static str,
    variety: &'static str,
    count: u32,
    began: Began,
    day: i64,
    first_flower: Option<i64>,
    first_ripe: Option<i64>,
}

/// What stands where. Varieties are invented; dates are common practice for 45° N.
const PLANTINGS: [Planting; 5] = [
    Planting {
        key: "tomatoes",
        crop: "tomato",
        place: HOUSE,
        variety: "Old Copper",
        count: 8,
        began: Began::PlantedOut,
        day: -74,
        first_flower: Some(-57),
        first_ripe: Some(-8),
    },
    Planting {
        key: "peppers",
        crop: "sweet_pepper",
        place: HOUSE,
        variety: "Lantern Hill",
        count: 6,
        began: Began::PlantedOut,
        day: -66,
        first_flower: Some(-41),
        first_ripe: None,
    },
    Planting {
        key: "cucumbers",
        crop: "cucumber",
        place: HOUSE,
        variety: "Long Patience",
        count: 3,
        began: Began::PlantedOut,
        day: -60,
        first_flower: Some(-38),
        first_ripe: Some(-20),
    },
    Planting {
        key: "lettuce",
        crop: "lettuce",
        place: DITCH_BED,
        variety: "Frog's Ear",
        count: 24,
        began: Began::PlantedOut,
        day: -30,
        first_flower: None,
        first_ripe: None,
    },
    Planting {
        key: "beans",
        crop: "bean_green",
        place: GATE_BED,
        variety: "Grey Heron",
        count: 40,
        began: Began::Sown,
        day: -62,
        first_flower: Some(-17),
        first_ripe: Some(-3),
    },
];

/// Leaf area over floor area of what stands in the house on a day: bare pots in April, a full canopy in July.
pub fn leaf_area(day: f64) -> f64 {
    // The full canopy of the reference case (AGRONOMY 3.6: 2, seedlings 0.3), reached in early July.
    (0.2 + 1.8 * (day + 78.0) / 70.0).clamp(0.2, 2.0)
}

/// Everything noted from the beginning of the season until the story begins, oldest first: `(UTC ms, note)`.
pub fn season_notes(calendar: Calendar, weather: &Weather) -> Vec<(i64, Note)> {
    let mut notes = ground(calendar);
    for planting in &PLANTINGS {
        notes.extend(milestones(calendar, planting));
    }
    for day in -SEASON_DAYS..0 {
        notes.extend(vents_of(calendar, weather, day));
        notes.extend(watering_of(calendar, weather, day));
    }
    notes.sort_by_key(|(at_ms, _)| *at_ms);
    notes
}

/// Places and probes, on the first morning of the season.
fn ground(calendar: Calendar) -> Vec<(i64, Note)> {
    let first_ms = calendar.at(-SEASON_DAYS, 0, 0);
    let places =
        PLACES.map(|(place, name, kind)| Note::Place { place: place.into(), name: name.into(), kind });
    let hang = |probe: &str, place: &str, height_m, shelter: &str| Note::Hang {
        probe: probe.into(),
        place: place.into(),
        height_m: Some(height_m),
        shelter: Some(shelter.into()),
        usual_interval_s: INTERVAL_S,
    };
    let mut notes: Vec<_> = places.into_iter().collect();
    notes.push(hang(POST, HOUSE, 1.4, "screened"));
    notes.push(hang(RIDGE, HOUSE, 2.1, "shaded"));
    for bed in BED_PROBES {
        notes.push(hang(bed.probe, bed.place, 0.6, "screened"));
    }
    notes.into_iter().map(|note| (first_ms, note)).collect()
}

fn milestones(calendar: Calendar, planting: &Planting) -> Vec<(i64, Note)> {
    let name = || planting.key.to_owned();
    let began = Note::Planting {
        planting: name(),
        crop: planting.crop.into(),
        place: planting.place.into(),
        variety: Some(planting.variety.into()),
        count: Some(planting.count),
        began: planting.began,
        container_l: None,
    };
    let mut notes = vec![(calendar.at(planting.day, 17, 0), began)];
    if let Some(day) = planting.first_flower {
        notes.push((calendar.at(day, 7, 40), Note::FirstFlower { planting: name() }));
    }
    if let Some(day) = planting.first_ripe {
        notes.push((calendar.at(day, 18, 20), Note::FirstRipe { planting: name() }));
    }
    notes
}

/// The grower's habit: open in the morning of a day that will not stay cold, shut in the evening.
fn vents_of(calendar: Calendar, weather: &Weather, day: i64) -> Vec<(i64, Note)> {
    let expected = weather.day(day);
    // A shut house in full sun is some 14 °C warmer than outside (AGRONOMY 3.6), under full cloud 2 or 3.
    let shut_peak_c = expected.high_c + 14.0 * (1.0 - expected.cloud);
    if shut_peak_c < 20.0 {
        return Vec::new();
    }
    // The longer the days and the warmer, the earlier.
    let minutes = (8 * 60 + 30 - (expected.high_c.clamp(10.0, 30.0) - 10.0) as i64 * 6).max(6 * 60 + 20);
    let vents = |open| Note::Vents { place: HOUSE.into(), open };
    let evening = if expected.low_c > 14.0 { 20 } else { 18 };
    vec![
        (calendar.at(day, 0, minutes), vents(true)),
        (calendar.at(day, evening, 10 + day.rem_euclid(4) * 10), vents(false)),
    ]
}

/// Water for the house every other day once something stands there, daily in July; for the beds on dry days.
fn watering_of(calendar: Calendar, weather: &Weather, day: i64) -> Vec<(i64, Note)> {
    let mut notes = Vec::new();
    let water = |subject: &str, litres| Note::Watered { subject: subject.into(), litres };
    if day >= -74 && (day % 2 == 0 || day > -14) {
        // About 4 L per m² and day at full canopy (common practice), rounded to half a watering can.
        let litres = libm::round(leaf_area(day as f64) * 7.2 * if day > -14 { 2.0 } else { 4.0 } / 5.0) * 5.0;
        notes.push((calendar.at(day, 7, 15), water(HOUSE, litres.max(5.0))));
    }
    if day >= -62 && day % 3 == 0 && weather.day(day).cloud < 0.7 {
        notes.push((calendar.at(day, 19, 30), water(GATE_BED, 30.0)));
        if day >= -30 {
            notes.push((calendar.at(day, 19, 45), water(DITCH_BED, 20.0)));
        }
    }
    notes
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::calendar::local;
    use std::collections::{BTreeMap, BTreeSet};

    fn season() -> Vec<(i64, Note)> {
        let calendar = Calendar::new(DEFAULT_START_MS);
        season_notes(calendar, &Weather::new(1, calendar))
    }

    #[test]
    fn the_story_begins_on_a_monday_in_the_middle_of_july_at_five() {
        assert_eq!(local(DEFAULT_START_MS).to_rfc3339(), "2026-07-13T05:00:00+01:00");
        assert_eq!(local(DEFAULT_START_MS).format("%A").to_string(), "Monday");
    }

    #[test]
    fn every_note_speaks_of_something_that_stands_there_by_then() {
        let mut places = BTreeSet::new();
        let mut plantings = BTreeSet::new();
        let mut before_ms = i64::MIN;
        for (at_ms, note) in season() {
            assert!(at_ms >= before_ms && at_ms < DEFAULT_START_MS);
            before_ms = at_ms;
            match &note {
                Note::Place { place, .. } => assert!(places.insert(place.clone())),
                Note::Planting { planting, place, .. } => {
                    assert!(places.contains(place));
                    assert!(plantings.insert(planting.clone()));
                }
                Note::Hang { place, .. } | Note::Vents { place, .. } => assert!(places.contains(place)),
                Note::Watered { subject, litres } => {
                    assert!(places.contains(subject) && *litres >= 5.0 && *litres <= 60.0);
                }
                Note::FirstFlower { planting } | Note::FirstRipe { planting } => {
                    assert!(plantings.contains(planting));
                }
                other => panic!("not expected in the season: {other:?}"),
            }
        }
        assert_eq!((places.len(), plantings.len()), (3, 5));
    }

    #[test]
    fn vents_are_opened_and_shut_by_turns_and_are_shut_when_the_story_begins() {
        let mut open = false;
        let mut by_month = BTreeMap::new();
        for (at_ms, note) in season() {
            if let Note::Vents { open: now, .. } = note {
                assert_ne!(now, open, "twice the same on {}", local(at_ms));
                open = now;
                *by_month.entry(local(at_ms).format("%m").to_string()).or_insert(0) += 1;
            }
        }
        assert!(!open);
        assert!(by_month["06"] >= 40, "hardly a June day stays shut: {by_month:?}");
    }
}
