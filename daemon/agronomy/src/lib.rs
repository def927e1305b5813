//! Air, degree days, heat stress and sun: pure functions with their sources.

pub mod crop;
