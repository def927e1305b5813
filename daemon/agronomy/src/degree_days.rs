//! Degree days: warmth as a plant counts it.
//!
//! A crop develops with the warmth above its base temperature, and no faster above its upper one. How that
//! area is estimated from a day's lowest and highest, or taken from the readings themselves, is the
//! *method*, and on a hot day under glass the methods differ by more than a third. **A sum belongs to its
//! method**: [`Rule`] is method, base, upper and cutoff together, and adding sums of unlike rules is an
//! error value, in a file too ([`LikeSums`]).
//!
//! With readings through the day use [`Method::Integral`] ([`by_readings`]); with a lowest and a highest only,
//! [`daily`]. A day that was not measured is filled from its neighbours and **declared** ([`Season`]). A
//! published sum is a [`Target`], read with the method it was published by; what it comes to by another is
//! learned on the site's own seasons ([`Ratio`]), and [`Target::dates`] says when it is reached, as a range.

mod curve;
mod daily;
mod date;
mod method;
mod ratio;
mod readings;
mod rule;
mod season;
mod sum;
mod target;

pub(crate) use curve::sine_above;
pub use daily::{Daily, DailyError, StoodIn, daily};
pub use date::{Dated, Dates, DatesError, Outlook, SoFar};
pub use method::{Cutoff, Method, UnknownCutoff, UnknownMethod};
pub use ratio::{Ratio, RatioError};
pub use readings::{ReadingsError, by_readings};
pub use rule::{Rule, RuleError};
pub use season::{Day, Season, SeasonError, fill};
pub use sum::{LikeSums, NoNumber, Sum, UnlikeSums};
pub use target::{Target, TargetError};
