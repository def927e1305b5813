//! The keeper, the almanac and the minders as one: driven with moments of the tests' own, on a real ledger.

mod air;
mod clock_and_disk;
mod clock_trust;
mod day_pages;
mod days;
mod editions;
mod garden;
mod heat;
mod keeper;
mod nights_and_silence;
mod no_ledger;
mod notes;
mod order;
mod own_figures;
mod past;
mod reckoned;
mod restart;
mod season;
mod senders_clock;
mod summer_time;
mod turned_up;
mod water;
mod week;
