//! Steps for tests.

use std::collections::BTreeMap;

use agronomy::crop::Severity;

use super::{Step, Turn};

/// The first step of a notice of heat in the house, which may buzz. A test changes what it is about by struct update.
pub(crate) fn step(at_ms: i64, severity: Severity, title: &str) -> Step {
    Step {
        notice: "a".to_owned(),
        number: 1,
        minder: "too-hot".to_owned(),
        place: "house".to_owned(),
        planting: None,
        at_ms,
        turn: Turn::Opened,
        severity,
        push: true,
        held: false,
        joined: Vec::new(),
        inside: BTreeMap::new(),
        title: title.to_owned(),
        text: String::new(),
        caution: String::new(),
    }
}
