//! The keeper, the almanac and the minders as one: driven with moments of the tests' own, on a real ledger.

mod air;
mod clock_trust;
mod day_pages;
mod garden;
mod heat;
mod keeper;
mod nights_and_silence;
mod notes;
mod order;
mod past;
mod restart;
