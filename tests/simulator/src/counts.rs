//! What happened how often: a night whose counters hold a zero has failed.

use std::collections::BTreeMap;
use std::fmt;

/// Counters of event kinds and of branches of recovery, by name.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Counts(BTreeMap<&'static str, u64>);

impl Counts {
    pub(crate) fn add(&mut self, what: &'static str) {
        self.add_many(what, 1);
    }

    pub(crate) fn add_many(&mut self, what: &'static str, times: u64) {
        *self.0.entry(what).or_default() += times;
    }

    /// Adds those of another run.
    pub fn join(&mut self, other: &Self) {
        for (what, times) in &other.0 {
            self.add_many(what, *times);
        }
    }

    /// How often it happened.
    pub fn of(&self, what: &str) -> u64 {
        self.0.get(what).copied().unwrap_or(0)
    }

    /// Of these, the ones that never happened.
    pub fn missing<'a>(&self, wanted: impl IntoIterator<Item = &'a str>) -> Vec<&'a str> {
        wanted.into_iter().filter(|what| self.of(what) == 0).collect()
    }
}

impl fmt::Display for Counts {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (what, times) in &self.0 {
            writeln!(out, "  {times:>9}  {what}")?;
        }
        Ok(())
    }
}
