//! Bolting: the cold that turns a leaf or root crop into a flowering one.
//!
//! Cabbage, carrot, beet, celery and onion live two years. Weeks of cool weather on a plant past its juvenile
//! size are its winter (vernalisation), and with the long days that follow it sends up a stalk. Garlic needs
//! those weeks, or it makes a single clove. Napa has no juvenile stage at all: it counts from the germinating
//! seed, and a week of cool days is enough.
//!
//! [`Vernalisation`] counts the hours in the crop's window. Warmth soon after undoes them, hour for hour.
//! [`CoolRun`] counts the cool days in a row that turn a Napa seedling. Neither says *when* a stalk comes, only
//! that the cold for it has been had: advice is to raise the next sowing warmer or later, and to pick early.

use crate::crop::Cold;
use crate::series::{Held, MS_PER_DAY};
use crate::units::Celsius;

const MS_PER_WEEK: f64 = 7.0 * MS_PER_DAY as f64;

/// Warmth above which an hour undoes an hour, °C: the lower end of 20 to 25 (from memory).
const UNDONE_ABOVE: f64 = 20.0;

/// Why there is no window of cold.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error("a window of cold from {low} °C to {high} °C, undone above {undone_above} °C, does not ascend")]
pub struct NoWindow {
    /// Lower end given.
    pub low: f64,
    /// Upper end given.
    pub high: f64,
    /// Where undoing was to begin.
    pub undone_above: f64,
}

/// The temperatures that count towards flowering, and those that undo.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ColdWindow {
    low: Celsius,
    high: Celsius,
    undone_above: Celsius,
}

impl ColdWindow {
    /// A window from `low` to `high`, both with it; an hour above `undone_above` undoes one.
    ///
    /// # Errors
    ///
    /// [`NoWindow`] where the three do not ascend; the last two may be equal.
    pub fn try_new(low: Celsius, high: Celsius, undone_above: Celsius) -> Result<Self, NoWindow> {
        if low < high && high <= undone_above {
            Ok(Self { low, high, undone_above })
        } else {
            Err(NoWindow { low: low.get(), high: high.get(), undone_above: undone_above.get() })
        }
    }

    /// What the book says of a crop (`bolt_vernalise_c`, or `vernalise_c` where it is wanted); `None` where it
    /// says nothing. Undone above 20 °C.
    ///
    /// # Source
    ///
    /// The crop's own in the book; the warmth that undoes: from memory.
    pub fn of(cold: &Cold) -> Option<Self> {
        let figure = cold.other.get("bolt_vernalise_c").or_else(|| cold.other.get("vernalise_c"))?;
        let end = |value| Celsius::try_new(value).ok();
        Self::try_new(end(figure.lo)?, end(figure.hi)?, Celsius::reckoned(UNDONE_ABOVE)).ok()
    }
}

/// Whether a plant can feel the cold yet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Size {
    /// Too small: cold does not count. Napa is never so.
    Juvenile,
    /// Past its juvenile size: a stem of 6 mm in cabbage, a neck thicker than a pencil in onion, eight leaves in
    /// carrot (from memory).
    Grown,
}

/// Running count of the cold a planting has had.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Vernalisation {
    window: ColdWindow,
    ms: i64,
}

/// How far a planting is on the way to flowering.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Turned {
    /// Less cold than the least that turns it.
    No,
    /// Some plants may have turned.
    Some,
    /// As much as turns the crop.
    Yes,
}

impl Vernalisation {
    /// Nothing yet, from sowing or planting.
    pub const fn new(window: ColdWindow) -> Self {
        Self { window, ms: 0 }
    }

    /// Counts a stretch of air temperature, °C, at the plant.
    ///
    /// Inside the window it adds its length, above the warm line it takes as much off, not below nought; in
    /// between, and for a juvenile plant, nothing changes. A value that is no number counts nothing.
    ///
    /// # Source
    ///
    /// Common practice; that an hour undoes an hour: from memory.
    pub fn take(&mut self, held: Held, size: Size) {
        let ms = held.ms().max(0);
        if size == Size::Juvenile {
            return;
        }
        if held.value >= self.window.low.get() && held.value <= self.window.high.get() {
            self.ms = self.ms.saturating_add(ms);
        } else if held.value > self.window.undone_above.get() {
            self.ms = self.ms.saturating_sub(ms).max(0);
        }
    }

    /// The cold that stands, in weeks of 168 hours.
    pub fn weeks(&self) -> f64 {
        self.ms as f64 / MS_PER_WEEK
    }

    /// How that compares with the weeks a crop needs, from the least to the surest (ends may be equal).
    pub fn against(&self, least_weeks: f64, surest_weeks: f64) -> Turned {
        let weeks = self.weeks();
        if weeks >= surest_weeks.max(least_weeks) {
            Turned::Yes
        } else if weeks >= least_weeks {
            Turned::Some
        } else {
            Turned::No
        }
    }
}

/// Days in a row whose mean lay below a line: the rule for Napa.
///
/// # Source
///
/// That Napa turns from the seed on and raising below 18 °C risks it: Wurr et al. (1996); Guttormsen & Moe
/// (1985), the figure of about a week below 13 °C from memory.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CoolRun {
    line: Celsius,
    days: u32,
    longest: u32,
}

impl CoolRun {
    /// Nothing yet, from germination.
    pub const fn new(line: Celsius) -> Self {
        Self { line, days: 0, longest: 0 }
    }

    /// The line the book gives a crop (`bolt_mean_below_c`); `None` where it gives none.
    pub fn of(cold: &Cold) -> Option<Self> {
        let figure = cold.other.get("bolt_mean_below_c")?;
        Celsius::try_new(figure.middle()).ok().map(Self::new)
    }

    /// Counts a day by its mean. A day nobody measured (`None`) neither adds to the run nor ends it: what is
    /// not known must not pass for warm.
    pub fn take_day(&mut self, mean: Option<Celsius>) {
        let Some(mean) = mean else { return };
        self.days = if mean < self.line { self.days.saturating_add(1) } else { 0 };
        self.longest = self.longest.max(self.days);
    }

    /// Cool days in a row up to the last one.
    pub const fn days(&self) -> u32 {
        self.days
    }

    /// The longest run so far: once a plant has turned, warmth does not turn it back.
    pub const fn longest(&self) -> u32 {
        self.longest
    }
}
