//! The minders: each looks after one place (or probe) all the time and tells the grower when it matters.
//!
//! A minder never asks what time it is. It is judged at moments that are handed to it: after readings, and at
//! the moments it asked to be woken. So how often the clock ticks changes nothing.

pub mod air;
pub mod battery;
pub mod board;
pub mod bolting;
pub mod book;
pub mod chill;
pub mod demand;
pub mod disk;
pub mod dome;
pub mod doubtful;
pub mod drill;
pub mod frost;
pub mod frost_ahead;
pub mod heap;
pub mod heat;
pub mod heat_rules;
pub mod ladder;
pub mod light;
pub mod night;
pub mod night_now;
pub mod people;
pub mod place_now;
pub mod pots;
pub mod root_hot;
pub mod seedbed;
pub mod signs;
pub mod silent;
pub mod soil_dry;
pub mod soil_now;
pub mod soil_wet;
pub mod teller;
pub mod warm_spell;
pub mod word;
pub mod words;
