//! Text to checked data: the site file, the crop book, field maps for records and outlooks, and the zone files.
//!
//! Everything a person writes for Glasshour is TOML, and every reader here tells *all* that is wrong in
//! one go, with line and column and what to write instead ([`Faults`]). What comes out is plain data
//! with public fields that needs no further checking. Nothing here keeps state or reads a clock; only
//! [`zone`] opens files, and only those of the system's zone list.

pub mod book;
pub mod duration;
pub mod faults;
pub mod ground;
pub mod outlook;
mod pointer;
pub mod position;
pub mod quantity;
mod reader;
pub mod record;
pub mod site;
mod words;
pub mod zone;

pub use book::{crop_book, read_crop_book};
pub use faults::{Fault, Faults};
pub use ground::{Ground, read_ground};
pub use outlook::{OutlookMap, read_outlook_map, shipped_outlook_map};
pub use record::{Record, read_record};
pub use site::{Site, read_site};
pub use words::{instead, nearest};
pub use zone::{Zone, Zones};
