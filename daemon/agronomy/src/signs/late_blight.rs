//! Late blight of potato and tomato: two days in a row, mild at night and damp for hours.
//!
//! Both rules have one form and differ in the hours. The Hutton criteria replaced the Smith period in Great
//! Britain in 2017 because outbreaks came ahead of it. They were fitted to potatoes in the field; the service that
//! publishes them says nothing of glass, and a fact sheet warns that they do not hold under covers. Under cover a
//! rule that is met still means what it says of the air: two such days are a reason to look.

use std::ops::Range;

use super::wetness::{counts, wet_hours};
use crate::series::Held;
use crate::units::{Celsius, HoursOfDay};

/// No day counts whose night was colder, °C.
const LOWEST_C: f64 = 10.0;

/// What late blight asks of a day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BlightDay {
    /// The lowest air temperature of the day.
    pub lowest: Celsius,
    /// Hours at 90 % humidity or above, in a row or not.
    pub humid: HoursOfDay,
}

impl BlightDay {
    /// A day from held readings of air, °C, and humidity, %; `None` where less than 18 hours of either are known.
    ///
    /// # Errors
    ///
    /// None. Values that no probe can mean are passed over.
    pub fn of(
        air: impl Iterator<Item = Held>,
        humidity: impl Iterator<Item = Held>,
        day: &Range<i64>,
    ) -> Option<Self> {
        let (mut known_ms, mut lowest) = (0_i64, Celsius::MAX);
        for held in air.filter_map(|held| held.within(day)) {
            let Ok(value) = Celsius::try_new(held.value) else { continue };
            known_ms = known_ms.saturating_add(held.ms());
            lowest = if value < lowest { value } else { lowest };
        }
        let humid = wet_hours(humidity, day)?;
        counts(known_ms).then_some(Self { lowest, humid })
    }
}

/// The published rules for late blight.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BlightRule {
    /// Hutton criteria: 6 humid hours on each of two days.
    ///
    /// # Source
    ///
    /// Hutton criteria (2017), as told on the pages of the body that runs the service: S83 of the source list.
    Hutton,
    /// Smith period: 11 humid hours on each of two days.
    ///
    /// # Source
    ///
    /// Smith (1956), by a page that describes it: S84. A trade manual tells it as 10 hours on the first day and 11 on
    /// the second; the usual form stands here, from memory.
    Smith,
}

impl BlightRule {
    /// Fewest humid hours of a day, h.
    pub const fn humid_hours(self) -> f64 {
        match self {
            Self::Hutton => 6.0,
            Self::Smith => 11.0,
        }
    }

    /// Whether a day meets the rule: lowest of 10 °C or more, and enough humid hours; the edges count.
    ///
    /// # Errors
    ///
    /// None.
    pub fn met_by(self, day: BlightDay) -> bool {
        day.lowest.get() >= LOWEST_C && day.humid.get() >= self.humid_hours()
    }

    /// Whether today completes a period: yesterday and today both meet the rule. Days not known meet nothing.
    ///
    /// # Errors
    ///
    /// None.
    ///
    /// # Example
    ///
    /// ```
    /// use agronomy::signs::late_blight::{BlightDay, BlightRule};
    /// use agronomy::units::{Celsius, HoursOfDay, OutOfRange};
    ///
    /// let day = BlightDay { lowest: Celsius::try_new(12.0)?, humid: HoursOfDay::try_new(7.0)? };
    /// assert!(BlightRule::Hutton.completed_by(Some(day), Some(day)));
    /// assert!(!BlightRule::Smith.completed_by(Some(day), Some(day)));
    /// # Ok::<(), OutOfRange>(())
    /// ```
    pub fn completed_by(self, yesterday: Option<BlightDay>, today: Option<BlightDay>) -> bool {
        [yesterday, today].into_iter().all(|day| day.is_some_and(|day| self.met_by(day)))
    }
}
