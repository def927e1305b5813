//! Infection by hours of wet leaf: one rule for many leaf diseases, each with its own temperatures.
//!
//! A spore needs water on the leaf until its germ tube is inside. How long that takes goes by the warmth: shortest at
//! the best temperature, longer to both sides, for ever at the coldest and the hottest. Three temperatures and the
//! shortest time make the rule for a disease. It was held against laboratory work on 53 pathogens; the figures of the
//! four that stand here are from memory, so it is a reason to look and no more.

use std::ops::Range;

use super::wetness::{Air, counts, hours, wet_air};
use crate::series::{Held, MS_PER_DAY, MS_PER_HOUR};
use crate::units::{Celsius, HoursOfDay, RelativeHumidity};

/// A dry break of up to this ends no wet spell, ms: a probe that flickers about its limit is no dry leaf (own choice; the
/// paper has a limit for each pathogen, which is not known for these).
const BREAK_MS: i64 = MS_PER_HOUR;

/// A stretch of wet leaf.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WetSpell {
    /// How long the leaf was wet, breaks not counted.
    pub wet: HoursOfDay,
    /// Mean of the air while it was wet.
    pub mean: Celsius,
}

/// The wet spells that reach into a day, from held readings of air, °C, and humidity, %; `None` where less than 18
/// hours of the day are known of both at once.
///
/// Nights run past midnight, so a spell is followed back for a day before the day begins. `wet_from`: humidity from
/// which the leaf is taken as wet. Hours not known are not wet: the figure is "at least".
///
/// # Errors
///
/// None. Values that no probe can mean are passed over.
pub fn wet_spells(
    air: impl Iterator<Item = Held>,
    humidity: impl Iterator<Item = Held>,
    wet_from: RelativeHumidity,
    day: &Range<i64>,
) -> Option<Vec<WetSpell>> {
    let window = day.start.saturating_sub(MS_PER_DAY)..day.end;
    let (mut known_ms, mut spells) = (0_i64, Vec::new());
    let mut running = Running::default();
    for (held, state) in wet_air(air, humidity, wet_from, &window) {
        known_ms = known_ms.saturating_add(held.within(day).map_or(0, |it| it.ms()));
        let Air::Wet(t) = state else { continue };
        if held.start_ms.saturating_sub(running.end_ms) > BREAK_MS {
            spells.extend(running.spell(day.start));
            running = Running::default();
        }
        running.wet_ms = running.wet_ms.saturating_add(held.ms());
        running.warmth += t.get() * held.ms() as f64;
        running.end_ms = held.end_ms;
    }
    spells.extend(running.spell(day.start));
    counts(known_ms).then_some(spells)
}

/// A spell that may go on.
struct Running {
    wet_ms: i64,
    /// °C times ms.
    warmth: f64,
    end_ms: i64,
}

impl Default for Running {
    fn default() -> Self {
        Self { wet_ms: 0, warmth: 0.0, end_ms: i64::MIN }
    }
}

impl Running {
    /// The spell, where it reached past a moment, UTC ms.
    fn spell(&self, past_ms: i64) -> Option<WetSpell> {
        let mean = || Celsius::reckoned(self.warmth / self.wet_ms as f64);
        (self.wet_ms > 0 && self.end_ms > past_ms).then(|| WetSpell { wet: hours(self.wet_ms), mean: mean() })
    }
}

/// What a pathogen asks of a wet leaf.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cardinals {
    /// At or below this nothing is infected, °C.
    pub coldest_c: f64,
    /// Here it is quickest, °C; between the other two.
    pub best_c: f64,
    /// At or above this nothing is infected, °C.
    pub hottest_c: f64,
    /// Hours of wet leaf at the best temperature, h; above 0.
    pub least_h: f64,
    /// So many hours are enough wherever infection is possible, h; `None` where no such limit is known.
    pub enough_h: Option<f64>,
}

impl Cardinals {
    /// How well a temperature suits it, 0 to 1.
    ///
    /// # Equation
    ///
    /// ```text
    /// f = (Tmax − T)/(Tmax − Topt) · ((T − Tmin)/(Topt − Tmin))^((Topt − Tmin)/(Tmax − Topt))
    /// ```
    ///
    /// # Domain
    ///
    /// Between the coldest and the hottest; 0 at both and beyond.
    ///
    /// # Errors
    ///
    /// None.
    ///
    /// # Source
    ///
    /// Magarey, Sutton and Russo (2005), after Yan and Hunt (1999): S86 of the source list.
    pub fn suits(&self, air: Celsius) -> f64 {
        let t = air.get();
        if t <= self.coldest_c || t >= self.hottest_c {
            return 0.0;
        }
        let (below, above) = (self.best_c - self.coldest_c, self.hottest_c - self.best_c);
        (self.hottest_c - t) / above * libm::pow((t - self.coldest_c) / below, below / above)
    }

    /// Hours of wet leaf that an infection needs at a temperature: the least over how well it suits, no more than are
    /// enough; `None` where it is too cold or too hot.
    ///
    /// # Errors
    ///
    /// None.
    ///
    /// # Source
    ///
    /// As [`suits`](Self::suits).
    ///
    /// # Example
    ///
    /// ```
    /// use agronomy::signs::infection::Infection;
    /// use agronomy::units::{Celsius, OutOfRange};
    ///
    /// let lettuce = Infection::DownyMildewOfLettuce.cardinals();
    /// assert_eq!(lettuce.needed_h(Celsius::try_new(15.0)?), Some(4.0));
    /// assert_eq!(lettuce.needed_h(Celsius::try_new(25.0)?), None);
    /// # Ok::<(), OutOfRange>(())
    /// ```
    pub fn needed_h(&self, air: Celsius) -> Option<f64> {
        let suits = self.suits(air);
        let needed = self.least_h / suits;
        (suits > 0.0).then(|| self.enough_h.map_or(needed, |enough| needed.min(enough)))
    }

    /// Whether a wet spell was long enough at its mean temperature; the edge counts.
    ///
    /// # Errors
    ///
    /// None.
    pub fn met_by(&self, spell: WetSpell) -> bool {
        self.needed_h(spell.mean).is_some_and(|needed| spell.wet.get() >= needed)
    }
}

/// The diseases whose temperatures are known well enough to look by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Infection {
    /// *Botrytis cinerea*, of flowers, fruit and wounds.
    GreyMould,
    /// *Bremia lactucae*.
    DownyMildewOfLettuce,
    /// *Pseudoperonospora cubensis*, which lives on melons too.
    DownyMildewOfCucumber,
    /// *Peronospora belbahrii*.
    DownyMildewOfBasil,
}

impl Infection {
    /// Its temperatures and shortest time. No limit that is enough is known for any of them, so cold nights ask for
    /// more hours than they have.
    ///
    /// # Source
    ///
    /// All from memory. Grey mould is told as 6 to 8 h: the longer stands here, so as not to speak of every dew.
    pub const fn cardinals(self) -> Cardinals {
        let (coldest_c, best_c, hottest_c, least_h) = match self {
            Self::GreyMould => (1.0, 20.0, 30.0, 8.0),
            Self::DownyMildewOfLettuce => (1.0, 15.0, 25.0, 4.0),
            Self::DownyMildewOfCucumber => (5.0, 18.0, 28.0, 4.0),
            Self::DownyMildewOfBasil => (5.0, 20.0, 27.0, 6.0),
        };
        Cardinals { coldest_c, best_c, hottest_c, least_h, enough_h: None }
    }
}
