//! Public warnings: what an authority says of heat and frost to come, in its own words.
//!
//! Authorities publish warnings in the Common Alerting Protocol: one XML document for each message, which names who
//! says it, of what, how bad, when and where. A later message may update or cancel an earlier one. Anybody can write
//! such a document, so nothing here is taken for granted: [`xml`] refuses what a stranger could harm us with, [`cap`]
//! what breaks the standard, [`area`] asks whether the site is meant, [`taken`] keeps of a message what concerns the
//! site, and [`standing`] says what is in force at a moment.
//!
//! A warning is shown as it was written and closes no notice of ours: a false all-clear must not hide what a probe
//! measures.

pub mod area;
pub mod cap;
pub mod feed;
pub mod standing;
pub mod taken;
pub mod xml;

pub use standing::{HeatWarning, heat_in_force};
