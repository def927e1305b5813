//! The almanac: everything reckoned from the ledger.
//!
//! A day page is a pure function of that day's readings in measured order, the value carried in, the ground
//! in force and the edition. It is never folded: a late reading or a back-dated entry marks the days it
//! touches, and they are made afresh. A planting's account is a sum over its day pages, its
//! worst heat a walk over them.

pub mod account;
pub mod day_page;
pub mod days_seen;
pub mod figures_read;
pub mod heat_course;
pub mod heat_day;
pub mod humid_nights;
pub mod lines;
pub mod milestones;
pub mod pages;
pub mod planting_page;
pub mod shape;
pub mod stages;
