//! Heat stress: how hot, how long, in which stage, and what it will cost.
//!
//! A crop is not hurt by a temperature but by hours of it, by nights that do not cool, by days in a row; and
//! a flower more than a leaf. So the course of the air ([`course`]) is looked at in several ways: hours and
//! degree hours past a line ([`Exposure`]), a day's highest, a night's lowest, a day's mean ([`Day`]). A crop's
//! heat rules are all answered by one function ([`judge`]), which counts days in a row and holds its count
//! over days nobody measured: missing is never safe.
//!
//! Degree hours compare seasons, hours give alarm: near the peak hours hardly grow any more, and a probe that
//! reads 2.5 °C too high doubles the degree hours. What a hot spell did shows weeks later ([`damage`]): the
//! flowers it touched, and the gap in the picking. It is over after three cooler days and two cooler nights
//! ([`recovery`]). Cold has its lines too ([`cold`]).

mod at_line;
pub mod cold;
pub mod course;
pub mod damage;
mod day;
mod exposure;
mod place;
mod record;
mod recovery;
mod rules;

pub use at_line::DayAtLine;
pub use day::{Curve, Day, NightWarmth};
pub use exposure::{Exposure, above, below};
pub use place::{PlaceHeat, PlaceLine};
pub use record::StressRecord;
pub use recovery::{Recovery, recovery};
pub use rules::{Finding, Run, Verdict, findings, judge, met, worst};
