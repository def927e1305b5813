//! The invented garden: what stands where, which probes hang there, and how they speak.

use std::collections::BTreeMap;
use std::sync::Arc;

use agronomy::crop::CropBook;
use agronomy::quantity::Quantity;
use agronomy::units::{Latitude, Longitude};
use glasshour::calendar::Calendar;
use glasshour::entry::{Began, Note, PlaceKind};
use glasshour::site::Site;
use glasshour::sources::payload::{Field, Shape, Stamp, TopicRule};
use glasshour::sources::stamp::TimeFormat;

use crate::weather::{DAY, HOUR};

pub(crate) const HOUSE: &str = "house";
pub(crate) const BED: &str = "bed";
/// The standard offset of the garden's days, ms east of UTC.
pub(crate) const OFFSET_MS: i64 = HOUR;
/// What the board itself publishes lies under this topic.
pub(crate) const OWN_PREFIX: &str = "glasshour/garden";

/// How a probe reaches the keeper.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Way {
    /// Through the broker, with the time of measuring: the broker keeps it for us.
    Stamped,
    /// Through the broker, a bare number.
    Bare,
    /// A bare number that the broker retains.
    Retained,
    /// On the board's own bus.
    Bus,
}

/// One instrument.
#[derive(Clone, Debug)]
pub(crate) struct Probe {
    pub(crate) name: &'static str,
    pub(crate) place: &'static str,
    pub(crate) way: Way,
    pub(crate) interval_ms: i64,
}

impl Probe {
    pub(crate) fn topic(&self) -> String {
        format!("garden/{}/air", self.name)
    }

    /// What it measures.
    pub(crate) fn quantities(&self) -> &'static [Quantity] {
        match self.way {
            Way::Stamped | Way::Bus => &[Quantity::AirTemperature, Quantity::RelativeHumidity],
            Way::Bare | Way::Retained => &[Quantity::AirTemperature],
        }
    }
}

/// The garden's probes, with these intervals between two readings, ms.
pub(crate) fn probes(intervals_ms: [i64; 4]) -> Vec<Probe> {
    let all = [
        ("post", HOUSE, Way::Stamped),
        ("gate", BED, Way::Bare),
        ("sill", BED, Way::Retained),
        ("ridge", HOUSE, Way::Bus),
    ];
    let made = |((name, place, way), interval_ms)| Probe { name, place, way, interval_ms };
    all.into_iter().zip(intervals_ms).map(made).collect()
}

/// What the topics mean.
pub(crate) fn rules(probes: &[Probe]) -> Vec<TopicRule> {
    let celsius = || "°C".to_owned();
    let rule = |probe: &Probe| {
        let field = |pointer: &str, unit: String| Field { pointer: pointer.to_owned(), unit };
        let shape = match probe.way {
            Way::Stamped => Shape::Fields {
                quantities: BTreeMap::from([
                    (Quantity::AirTemperature, field("/t", celsius())),
                    (Quantity::RelativeHumidity, field("/rh", "%".to_owned())),
                ]),
                time: Some(Stamp { pointer: "/at".to_owned(), format: TimeFormat::UnixMilliseconds }),
                number: None,
            },
            _ => Shape::Bare { quantity: Quantity::AirTemperature, unit: celsius() },
        };
        let usual_interval_s = (probe.interval_ms / 1000) as u32;
        TopicRule { filter: probe.topic(), probe: probe.name.into(), shape, usual_interval_s }
    };
    probes.iter().filter(|probe| probe.way != Way::Bus).map(rule).collect()
}

/// What is noted when the ledger is founded, all of it valid from forty days before.
pub(crate) fn notes(probes: &[Probe], start_ms: i64) -> Vec<(i64, Note)> {
    let place = |id: &str, kind| Note::Place { place: id.to_owned(), name: id.to_owned(), kind };
    let mut notes = vec![place(HOUSE, PlaceKind::House), place(BED, PlaceKind::Bed)];
    notes.push(planting("red", "tomato", HOUSE));
    notes.push(planting("green", "lettuce", BED));
    notes.extend(probes.iter().map(|probe| Note::Hang {
        probe: probe.name.to_owned(),
        place: probe.place.to_owned(),
        height_m: None,
        shelter: None,
        usual_interval_s: (probe.interval_ms / 1000) as u32,
    }));
    notes.into_iter().map(|note| (start_ms - 40 * DAY, note)).collect()
}

fn planting(id: &str, crop: &str, place: &str) -> Note {
    Note::Planting {
        planting: id.to_owned(),
        crop: crop.to_owned(),
        place: place.to_owned(),
        variety: None,
        count: None,
        began: Began::PlantedOut,
        container_l: None,
    }
}

/// Seconds that civil time is ahead of UTC: an hour, two in summer (EU directive 2000/84/EC: last Sundays of March and
/// October, 01:00 UTC; in 2026 the 29th and the 25th).
pub(crate) fn civil_offset_s(at_ms: i64) -> i32 {
    const SUMMER_2026_MS: std::ops::Range<i64> = 1_774_746_000_000..1_792_890_000_000;
    if SUMMER_2026_MS.contains(&at_ms) { 7_200 } else { 3_600 }
}

/// The site.
pub(crate) fn site(book: &CropBook) -> Site {
    Site {
        limits: glasshour::site::Limits::new(),
        usual: None,
        name: "invented".to_owned(),
        latitude: Latitude::try_new(45.0).expect("a latitude on Earth"),
        longitude: Longitude::try_new(13.0).expect("a longitude on Earth"),
        calendar: Calendar::new(OFFSET_MS, Arc::new(civil_offset_s)),
        book: book.clone(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn summer_time_begins_and_ends_where_the_directive_says() {
        let ms = |text: &str| chrono::DateTime::parse_from_rfc3339(text).unwrap().timestamp_millis();
        assert_eq!(civil_offset_s(ms("2026-03-29T00:59:59Z")), 3_600);
        assert_eq!(civil_offset_s(ms("2026-03-29T01:00:00Z")), 7_200);
        assert_eq!(civil_offset_s(ms("2026-10-25T00:59:59Z")), 7_200);
        assert_eq!(civil_offset_s(ms("2026-10-25T01:00:00Z")), 3_600);
    }
}
