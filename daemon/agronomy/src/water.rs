//! Water: how much weather, crop and pot ask for, and how much is left in the root zone.
//!
//! Sun, dryness and wind together lift water from leaf and soil; warmth alone says little. A humid heat wave
//! asks for less than a dry one of the same temperature. So the reckoning begins with the *reference*: what
//! well-watered short grass would give off in this weather ([`Day`], [`Hour`]; [`hargreaves()`] where only
//! temperatures are known). A crop takes its own multiple of it ([`Coefficients`]), bare wet soil another
//! ([`EvaporableLayer`]), and a house, where wind is still and the cover takes part of the sun, has equations
//! of its own ([`greenhouse`]).
//!
//! What the crop has taken is missing from the soil: the *depletion* of the [`RootZone`], or what a
//! [`Container`] no longer holds. Up to a share of what the roots can reach nothing happens; beyond it the
//! stress coefficient falls from one, and the crop slows. [`by_hand`] turns depths into litres, minutes of
//! drip, and cans. The whole is reckoned and advised; the grower's finger in the soil has the last word.

pub mod by_hand;
mod container;
mod crop_coefficient;
pub mod evaporation;
pub mod greenhouse;
mod hargreaves;
pub mod moisture;
pub mod net_radiation;
mod penman_monteith;
mod root_zone;
mod soil;
mod weather;
pub mod wind;

pub use container::{Container, Refill};
pub use crop_coefficient::{Coefficients, Progress, StageLengths, climate_adjusted, sparse};
pub use evaporation::EvaporableLayer;
pub use hargreaves::hargreaves;
pub use penman_monteith::{Day, DayReference, Hour, HourReference, Surface};
pub use root_zone::{RootZone, depletion_share, stress_coefficient};
pub use soil::{NoSoil, SoilWater, Texture};
pub use weather::WeatherError;
