//! The minders: each looks after one place (or probe) all the time and tells the grower when it matters.
//!
//! A minder never asks what time it is. It is judged at moments that are handed to it: after readings, and at
//! the moments it asked to be woken. So how often the clock ticks changes nothing.

pub mod air;
pub mod book;
pub mod demand;
pub mod dome;
pub mod heat;
pub mod ladder;
pub mod night;
pub mod place_now;
pub mod silent;
pub mod teller;
pub mod word;
pub mod words;
