//! The keeper, the almanac and the minders as one: driven with moments of the tests' own, on a real ledger.

mod air;
mod board;
mod clock_and_disk;
mod clock_trust;
mod day_pages;
mod editions;
mod frost;
mod garden;
mod heat;
mod keeper;
mod nights_and_silence;
mod no_ledger;
mod notes;
mod order;
mod outlook;
mod own_figures;
mod past;
mod people;
mod reckoned;
mod restart;
mod season;
mod senders_clock;
mod summer_time;
mod turned_up;
mod week;
