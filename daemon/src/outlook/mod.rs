//! Outlook: what is expected, and how far it is to be believed.
//!
//! A forecast is for a square of some kilometres; a garden is a yard, and a house is hotter still. So a forecast that is
//! fed in is read (`parse`, `stamp`; `sample` tries a map), laid out in even hours (`even`), kept in the ledger where it is news (`keep`), and compared
//! with what then came (`past`). From those pairs it is corrected to the place's own `way` by the hour of the
//! day (`correct`), its highs and lows get a range, and how often it was right is said beside it (`skill`). `ahead` puts the next seven days
//! together, with the own estimate where there is no forecast. All of it is a function of ledger entries, readings and
//! moments; only `fetch` and `topic` speak with the world, and hand in by `intake`.

pub mod ahead;
pub mod blend;
pub mod correct;
pub mod even;
pub mod fetch;
pub mod intake;
pub mod keep;
pub mod parse;
pub mod past;
pub mod sample;
pub mod skill;
pub mod stamp;
pub mod topic;
pub mod way;
