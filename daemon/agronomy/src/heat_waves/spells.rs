//! Spells: days in a row beyond a line.
//!
//! Each day is judged against its own line, which may move with the season; a spell is a run of days beyond it,
//! long enough to be named. Beyond means above: a day on its line is not in the spell.

use crate::units::Celsius;

use super::excess_heat::ExcessHeat;

/// Least days of a warm spell, each above the 90th percentile of its calendar day.
///
/// # Source
///
/// Index WSDI of the expert team on climate change detection and indices (ETCCDI), from memory.
pub const WARM_SPELL_DAYS: usize = 6;

/// Least days of the former duration index: more than five, each over 5 °C above the normal maximum
/// ([`CalendarLines::duration_lines`](super::CalendarLines::duration_lines)).
///
/// # Source
///
/// Older wording of the World Meteorological Organization; it misses short killers.
pub const DURATION_DAYS: usize = 6;

/// Least days above a 90th or 95th percentile that make a heat wave (common practice).
pub const HOT_DAYS: usize = 3;

/// Least nights above such a percentile (common practice).
pub const HOT_NIGHTS: usize = 2;

/// A day beside its line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Judged {
    /// What was judged: °C, or K² for an excess heat factor.
    pub value: f64,
    /// By how much it lies above the line, in the same unit; negative below.
    pub excess: f64,
}

impl Judged {
    /// A temperature against a line.
    pub fn over(temperature: Celsius, line: Celsius) -> Self {
        Self { value: temperature.get(), excess: temperature.get() - line.get() }
    }

    /// The excess heat factor against nought.
    pub fn excess_heat(heat: &ExcessHeat) -> Self {
        Self { value: heat.factor, excess: heat.factor }
    }

    /// Both must be beyond their lines: a hot day and its warm night. The value stays that of the first; the excess
    /// is the smaller one.
    #[must_use]
    pub fn and(self, other: Self) -> Self {
        Self { excess: self.excess.min(other.excess), ..self }
    }

    /// Whether it lies beyond its line.
    pub fn is_hot(&self) -> bool {
        self.excess > 0.0
    }
}

/// Days in a row beyond their lines. Places are counted from 0 at the first day of the record.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spell {
    /// Its first day.
    pub first: usize,
    /// Its last day.
    pub last: usize,
    /// The highest value in it.
    pub peak: f64,
    /// The excesses of all its days, summed.
    pub excess: f64,
    /// A day that nobody knows stands before or after it, missing or outside the record.
    pub may_be_longer: bool,
}

impl Spell {
    /// How many days it has.
    pub const fn days(&self) -> usize {
        self.last - self.first + 1
    }
}

/// Finds the spells of at least `least` days; a missing day (`None`) ends a spell.
///
/// # Domain
///
/// The days must be consecutive. To count by calendar year, give each year by itself; a spell over its end is
/// then counted on either side as far as it is long enough there.
///
/// # Errors
///
/// None. Nothing is allocated.
///
/// # Source
///
/// The run rule of the ETCCDI indices; checked against independent code in `tests/heat_waves.rs`.
pub fn spells(days: impl Iterator<Item = Option<Judged>>, least: usize) -> impl Iterator<Item = Spell> {
    let mut days = days.fuse().enumerate();
    let mut known_before = false;
    std::iter::from_fn(move || {
        let mut open: Option<Spell> = None;
        loop {
            let next = days.next();
            let judged = next.and_then(|(place, day)| Some((place, day?)));
            let hot = judged.filter(|(_, day)| day.is_hot());
            if let Some((place, day)) = hot {
                let spell = open.get_or_insert(Spell {
                    first: place,
                    last: place,
                    peak: day.value,
                    excess: 0.0,
                    may_be_longer: !known_before,
                });
                spell.last = place;
                spell.peak = spell.peak.max(day.value);
                spell.excess += day.excess;
            }
            known_before = judged.is_some();
            if hot.is_none()
                && let Some(mut spell) = open.take()
                && spell.days() >= least
            {
                spell.may_be_longer |= judged.is_none();
                return Some(spell);
            }
            next?;
        }
    })
}

/// How many days lie in spells.
pub fn days_in(spells: impl Iterator<Item = Spell>) -> usize {
    spells.map(|spell| spell.days()).sum()
}

/// Warm spell duration: how many days of a year lie in warm spells.
///
/// # Equation
///
/// Days in runs of at least [`WARM_SPELL_DAYS`] with the highest temperature above the line of the day.
///
/// # Source
///
/// Index WSDI of ETCCDI; lines by [`CalendarLines::learn`](super::CalendarLines::learn) with the 90th percentile and
/// two days on either side.
pub fn warm_spell_days(days: impl Iterator<Item = Option<Judged>>) -> usize {
    days_in(spells(days, WARM_SPELL_DAYS))
}
