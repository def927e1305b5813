//! The invented world of `glasshour demo`: a site, its weather, its house, its season, and five days of a heat dome.
//!
//! Everything is a pure function of a seed, a starting moment and the time asked for, so that two runs tell the
//! same story and every test can ask about any minute. Nothing here knows the daemon: the world only hangs
//! instruments on a simulated bus, publishes from simulated probes, and says what the grower does when.
//!
//! | module | what it holds |
//! |---|---|
//! | [`calendar`] | days counted from the day on which the story begins |
//! | [`chance`] | chance that depends on nothing but the seed and the place where it is asked for |
//! | [`weather`] | the air outside, the sun on it, and the heat dome |
//! | [`house`] | a small glasshouse: air and mass, vents and shade, a canopy that gives water |
//! | [`site`] | the places, probes and plantings, and the diary of the season |
//! | [`world`] | what is true everywhere at a given time |
//! | [`history`] | what the probes said from spring until the story begins |
//! | [`story`] | what happens while one looks on |
//! | [`probes`] | the live instruments: on the simulated bus and over MQTT |

pub mod calendar;
pub mod chance;
pub mod history;
pub mod house;
pub mod probes;
pub mod site;
pub mod story;
pub mod weather;
pub mod world;

pub use world::{Air, Truth, World};
