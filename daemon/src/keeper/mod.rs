//! The keeper: one thread that grades, commits, advances time, judges and tells.
//!
//! `engine` is the pure part: a value that is fed graded readings, notes and moments, and gives back the steps
//! of notices. `thread` is the shell around it: the queue, the ledger, the clock. Live running, replay, a
//! restart and the demo all drive the same engine.

mod absence;
pub mod backtest;
pub mod core;
pub mod counts;
mod earlier;
pub mod editions;
pub mod engine;
pub mod event;
pub mod export;
pub mod grading;
pub mod handle;
mod judge;
mod moment;
pub mod news;
mod outlook;
pub mod past;
pub mod start;
pub mod stored;
mod tending;
pub mod thread;
mod touched;
pub mod tracks;
mod unread;
pub mod view;
