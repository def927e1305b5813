//! The calendar that leaves the house: what is to come, as entries of the grower's own calendar (RFC 5545).
//!
//! A calendar is the one place that a busy grower looks at for next week. So the days of a heat plan, the watering
//! before sunrise, the ranges of the milestones and the spring drill go there, as an attachment of the morning letter
//! and as a feed of the page. It repeats what page and letter say and is never the first to say it: phones fetch a
//! feed when they like.
//!
//! An entry of a calendar is known by its UID for ever. When it changes, its SEQUENCE grows by one, and when it will not be, it
//! is said to be CANCELLED (RFC 5545, 3.8.7.4 and 3.8.1.11), for a calendar that got it by mail keeps it otherwise.
//!
//! - [`happening`] makes the entries from the glance: pure.
//! - [`known`] remembers what was told and counts its changes: pure.
//! - [`ics`] writes them; the library escapes and folds.
//! - [`desk`] keeps what was told, and the secret of the feed's address, in a file of the data folder.

pub mod desk;
pub mod happening;
pub mod ics;
pub mod known;

pub use desk::Desk;
