//! How many readings of each grade and reason each probe has given: never forgotten, never re-derived twice.

use std::collections::BTreeMap;

use agronomy::quantity::Quantity;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use crate::reading::{Reading, Reason};

/// Counts by probe, quantity and reason.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Counts {
    counts: BTreeMap<String, BTreeMap<Quantity, BTreeMap<Reason, u64>>>,
}

impl Counts {
    /// Counts one reading.
    pub fn take(&mut self, reading: &Reading) {
        self.add(&reading.probe, reading.quantity, reading.reason, 1);
    }

    /// Counts many.
    pub fn add(&mut self, probe: &str, quantity: Quantity, reason: Reason, count: u64) {
        let probe = self.counts.entry(probe.to_owned()).or_default();
        *probe.entry(quantity).or_default().entry(reason).or_default() += count;
    }

    /// All readings counted.
    pub fn total(&self) -> u64 {
        self.counts.values().flat_map(BTreeMap::values).flat_map(BTreeMap::values).sum()
    }

    /// `{probe: {quantity: {"sound": n, "doubtful": n, "refused": n, "reasons": {reason: n}}}}`.
    pub fn json(&self) -> Value {
        let mut probes = serde_json::Map::new();
        for (probe, quantities) in &self.counts {
            let mut by_quantity = serde_json::Map::new();
            for (quantity, reasons) in quantities {
                by_quantity.insert(quantity.as_str().to_owned(), one(reasons));
            }
            probes.insert(probe.clone(), Value::Object(by_quantity));
        }
        Value::Object(probes)
    }
}

fn one(reasons: &BTreeMap<Reason, u64>) -> Value {
    use crate::reading::Grade;
    let graded = |grade: Grade| -> u64 {
        reasons.iter().filter(|(reason, _)| reason.grade() == grade).map(|(_, count)| count).sum()
    };
    let named: BTreeMap<&Reason, &u64> =
        reasons.iter().filter(|(reason, _)| **reason != Reason::None).collect();
    json!({
        "sound": graded(Grade::Sound),
        "doubtful": graded(Grade::Doubtful),
        "refused": graded(Grade::Refused),
        "reasons": named,
    })
}
