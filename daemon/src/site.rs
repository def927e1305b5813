//! What the core knows of the site and the crop book; neither changes while the program runs.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::ops::Range;

use agronomy::crop::{Crop, CropBook};
use agronomy::own_estimate::Usual;
use agronomy::quantity::Quantity;
use agronomy::series::MS_PER_HOUR;
use agronomy::sun::{RiseSet, rise_set};
use agronomy::units::{Latitude, Longitude};

use crate::calendar::{Calendar, Day};
use crate::ground::Planting;
use crate::reading::ProbeName;

/// What probes can measure at all: by probe and quantity, low and high in the quantity's unit. Values outside are in
/// no sum.
pub type Limits = BTreeMap<(ProbeName, Quantity), (f64, f64)>;

/// Version of our own rules. A change of any rule that a reckoned figure rests on raises it.
pub const RULES: u32 = 3;

/// The fixed facts every reckoning rests on.
#[derive(Clone)]
pub struct Site {
    /// What the grower calls it.
    pub name: String,
    /// Where it lies.
    pub latitude: Latitude,
    /// Where it lies.
    pub longitude: Longitude,
    /// Days and clock.
    pub calendar: Calendar,
    /// The crop book.
    pub book: CropBook,
    /// The probes' own limits.
    pub limits: Limits,
    /// What is usual outdoors, from a climate table.
    pub usual: Option<UsualTable>,
}

/// What is usual through the year outdoors.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UsualTable {
    /// The day's highest.
    pub high: Usual,
    /// The day's lowest.
    pub low: Usual,
}

impl Site {
    /// The edition that reckoned figures belong to, by name: everything but readings and ground that can change a day
    /// page. `BOOK+RULES+POSITION`, and `+LIMITS` where probes have limits of their own.
    ///
    /// Book, position and limits stand as checksums. The position enters by the night, which goes from sunset to
    /// sunrise, and by the standard offset, which fixes the days; the civil zone only dresses clock times and does not
    /// enter.
    pub fn edition(&self) -> String {
        let (north, east, offset_ms) = (self.latitude.get(), self.longitude.get(), self.calendar.offset_ms());
        let position = crc32fast::hash(format!("{north:?} {east:?} {offset_ms}").as_bytes());
        let name = format!("{}+{RULES}+{position:08x}", self.book.edition);
        if self.limits.is_empty() {
            return name;
        }
        let mut limits = crc32fast::Hasher::new();
        for ((probe, quantity), (low, high)) in &self.limits {
            limits.update(format!("{probe} {} {low:?} {high:?}\n", quantity.as_str()).as_bytes());
        }
        format!("{name}+{:08x}", limits.finalize())
    }

    /// A probe's own limits for a quantity.
    pub fn limits_of(&self, probe: &ProbeName, quantity: Quantity) -> Option<(f64, f64)> {
        // Most sites have none, and the key of a look-up is a copy.
        if self.limits.is_empty() { None } else { self.limits.get(&(probe.clone(), quantity)).copied() }
    }

    /// A planting's crop: that of the book, with the grower's own figures in it; none when it is not in the book.
    pub fn crop_of(&self, planting: &Planting) -> Option<Cow<'_, Crop>> {
        let crop = self.book.crops.get(&planting.crop)?;
        // Most plantings have none, and with them the crop is a copy.
        let own = &planting.figures;
        Some(if own.is_empty() { Cow::Borrowed(crop) } else { Cow::Owned(crop.with_own(own).0) })
    }

    /// The heat line of every place under cover, °C.
    pub fn place_line_c(&self) -> f64 {
        self.book.global.place_heat_c.middle()
    }

    /// How long the place line must be held, ms.
    pub fn place_line_ms(&self) -> i64 {
        (self.book.global.place_heat_minutes.middle() * 60_000.0) as i64
    }

    /// Sunrise and sunset of a day, UTC ms; none in polar day and night.
    pub fn sun(&self, day: Day) -> Option<(i64, i64)> {
        match rise_set(day, self.latitude, self.longitude) {
            RiseSet::RisesAndSets { rise_ms_utc, set_ms_utc } => Some((rise_ms_utc, set_ms_utc)),
            _ => None,
        }
    }

    /// The night that ends in the morning of a day: sunset to sunrise, UTC ms; 21:00 to 06:00 of standard
    /// time where the sun does not set or rise.
    pub fn night_before(&self, day: Day) -> Range<i64> {
        match (self.sun(day - 1), self.sun(day)) {
            (Some((_, set)), Some((rise, _))) if set < rise => set..rise,
            _ => {
                let start = self.calendar.start_of(day);
                start - 3 * MS_PER_HOUR..start + 6 * MS_PER_HOUR
            }
        }
    }

    /// The light of a day.
    pub fn light(&self, day: Day) -> Light {
        Light { day, night_before: self.night_before(day), up: self.sun(day).map(|(rise, set)| rise..set) }
    }
}

/// The light of one day. Each sunrise costs a search along the sun's path, so the keeper reckons a day's once.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Light {
    /// Which day.
    pub day: Day,
    /// The night that ends in its morning, UTC ms.
    pub night_before: Range<i64>,
    up: Option<Range<i64>>,
}

impl Light {
    /// The night that begins in its evening, UTC ms: until the same sunrise a day later, which is within a few minutes.
    pub fn next_night(&self) -> Range<i64> {
        match &self.up {
            Some(up) => up.end..up.start + 24 * MS_PER_HOUR,
            None => self.night_before.start + 24 * MS_PER_HOUR..self.night_before.end + 24 * MS_PER_HOUR,
        }
    }

    /// Whether the sun is above the horizon at a moment of the day; 06:00 to 21:00 of standard time where it does
    /// not set or rise.
    pub fn is_daylight(&self, at_ms: i64, calendar: &Calendar) -> bool {
        match &self.up {
            Some(up) => up.contains(&at_ms),
            None => (6.0..21.0).contains(&calendar.hour_of(at_ms)),
        }
    }
}
