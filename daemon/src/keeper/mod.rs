//! The keeper: one thread that grades, commits, advances time, judges and tells.

pub mod event;
pub mod handle;
