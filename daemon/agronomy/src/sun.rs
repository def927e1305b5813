//! Where the sun stands, when it rises and sets, and how much of it arrives.
//!
//! Night and day of a place are the sun's, not the clock's: a warm night lasts from sunset to the next
//! sunrise, and dryness is averaged while the sun is up. The low-accuracy theory of Meeus serves: a hundredth
//! of a degree, some seconds at sunrise, while hills and weather move the real one by minutes.
//!
//! Above the air the sun's power on a level square metre follows from its height and the earth's distance
//! alone ([`beam`], [`extraterrestrial`]; its sums over an hour and a day in [`fao56`]). What a cloudless sky lets
//! through is a matter of haze and water vapour: [`ClearSky`] has four published answers, which differ by 5 to
//! 15 %. Either is what a light sensor is held against; neither is what a crop under a cover receives.
//!
//! What plants count of it, photons, is in [`light`](crate::light).
//!
//! Times are milliseconds since 1970 in UTC.

mod clear_sky;
mod day_of_year;
mod extraterrestrial;
pub mod fao56;
mod position;
mod rise_set;

pub use clear_sky::{ClearSky, MEAN_BEAM, UnknownClearSky};
pub use day_of_year::{DayOfYear, NoDayOfYear};
pub use extraterrestrial::{beam, extraterrestrial};
pub use position::{Position, apparent_altitude_deg, position};
pub use rise_set::{RiseSet, SunDay, is_up, mean_noon, photoperiod_h, rise_set, rise_set_around, sun_day};
