//! Heat waves: days in a row that are too hot for the place, for the season, for a crop or for a house.
//!
//! There is no one definition. Climate services compare a day with what the place knows: a high percentile of
//! the same time of year ([`CalendarLines`], [`spells`]), or normal warmth plus 5 °C. The *excess heat factor*
//! ([`ExcessHeat`]) multiplies how hot three days are for the place by how much hotter they are than the month
//! before, because whoever has not got used to heat suffers most. Both judge the air outdoors, and both were
//! made for people.
//!
//! A crop asks something else: two days running at a line where it loses its flowers ([`Streak`], of
//! [`DayAtLine`]), nights included, and only while it has flowers to lose. A house asks whether its own peak, with
//! its usual venting, will pass such a line two days running. These two are what a grower is told first.
//!
//! A day that nobody measured is `None` everywhere. It is never taken for a cool one: it ends a climate spell,
//! which then says that it may be longer, and a crop's streak waits for it.

mod calendar_day;
mod excess_heat;
mod percentile;
mod spells;
mod streak;

pub use crate::heat_stress::DayAtLine;
pub use calendar_day::{CalendarLines, DayWithoutValue};
pub use excess_heat::{Excess, ExcessHeat, Grade, Looking, Reference, ReferenceError, day_mean};
pub use percentile::{Definition, NoSample, Ordered};
pub use spells::{
    DURATION_DAYS, HOT_DAYS, HOT_NIGHTS, Judged, Spell, WARM_SPELL_DAYS, days_in, spells, warm_spell_days,
};
pub use streak::{Streak, Wave};
