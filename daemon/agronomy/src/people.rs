//! How hot it is for the person who has to go in.
//!
//! A body at work makes heat and loses it mostly by drying sweat. In warm, damp, still air it cannot, and warms
//! up until it fails; people new to the heat fail first. Three published figures say how near that is: the
//! *heat index* and the *humidex* put warmth and dampness into one apparent temperature, and the *wet-bulb
//! globe temperature* is what limits for work in heat are written in.
//!
//! All three are reckoned here for shade. Full sun can add 8 °C to the first, and the still air of a closed
//! house should be taken as full sun. Six of fourteen deaths at outdoor work that were looked into came at a
//! heat index below 32.8 °C (Tustin et al. 2018, MMWR 67), so no figure below a limit is ever called safe.
//! [`caution`] has the bands, the limits and the words: cautions, not medical advice; local rules for work in
//! heat go first.

pub mod caution;
mod heat_index;
mod humidex;
mod wet_bulb_globe;

pub use heat_index::{Branch, HeatIndex, heat_index};
pub use humidex::humidex;
pub use wet_bulb_globe::{wet_bulb_globe_in_shade, wet_bulb_globe_in_sun, wet_bulb_globe_no_sun};
