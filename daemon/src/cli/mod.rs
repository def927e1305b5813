//! The commands, one file each.
//!
//! Each takes its arguments, where it reads from and where it writes, and gives the exit code, so that tests
//! run it without a process: 0 when all is well, 2 when something in the input was refused.

pub mod air;
pub mod check;
pub mod degree_days;
mod sheet;
mod summary;
