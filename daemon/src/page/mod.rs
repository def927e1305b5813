//! The page: what a phone sees, the forms behind it, and the JSON interface for the command line.
//!
//! Everything is rendered here from the newest glance, which the keeper publishes; only seasons, exports and notes
//! go to the keeper itself. Six views hang from one frame: Now, Ahead, Season, Ground, Diary and the letter. They work
//! without script; a few lines of it fetch the page again whenever `/live` says that the glance changed.
//!
//! Files: `figures` writes numbers and clock times; `frame` is the sheet with the lintel; `day`, `cloth`, `threads`,
//! `placing`, `rungs`, `five_days` and `sums` draw; `now` (with `now_lintel`), `ahead`, `season`, `ground` (with `phones`, `drill`), `diary`
//! and `letter` are the views (`letter_parts` the letter's paragraphs, `letter_watch` its notices, `picture` its picture, `answer` one notice with
//! its answers, `calendar` the feed); `cautions` the words on people's safety; `entries` notes in words; `forms` turns filled-in forms into
//! notes; `guard` says who may ask; `routes`, `interface` and `live` answer; `serve` keeps the connections.

mod ahead;
mod answer;
mod calendar;
mod cautions;
mod closed;
mod cloth;
mod cloth_words;
mod day;
mod diary;
mod drill;
mod entries;
mod figure_now;
mod figures;
mod five_days;
mod forms;
mod frame;
mod ground;
mod guard;
mod interface;
mod letter;
mod letter_parts;
mod letter_watch;
mod live;
mod milestones;
mod missed;
mod now;
mod now_lintel;
mod phones;
mod picture;
mod placing;
mod routes;
mod rungs;
mod said;
mod season;
mod seats;
mod serve;
mod sums;
mod tending;
mod threads;
mod warnings;

#[cfg(test)]
pub(crate) mod fixtures;
#[cfg(test)]
mod service_tests;

pub use guard::Listening;
pub use letter::{told, written as letter};
pub use picture::picture;
pub use routes::router;
pub use serve::{serve, serve_unix};
