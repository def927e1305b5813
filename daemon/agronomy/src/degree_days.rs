//! Degree days: warmth as a plant counts it.
//!
//! A crop develops with the warmth above its base temperature, and no faster above its upper one. How that
//! area is estimated from a day's lowest and highest, or taken from the readings themselves, is the
//! *method*, and on a hot day under glass the methods differ by more than a third. **A sum belongs to its
//! method**: [`Rule`] is method, base, upper and cutoff together, and adding sums of unlike rules is an
//! error value.
//!
//! With readings through the day use [`Method::Integral`]
//! ([`series::integral_degree_days`](crate::series::integral_degree_days)); with a lowest and a highest only,
//! [`daily`].

mod curve;
mod daily;
mod rule;
mod sum;

pub use daily::{Daily, DailyError, StoodIn, daily};
pub use rule::{Cutoff, Method, Rule, RuleError, UnknownCutoff, UnknownMethod};
pub use sum::{Sum, UnlikeSums};
