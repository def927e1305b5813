//! What a seed stands for: the garden's habits, which kinds of fault are on and how often, and each fault with its hour.

use std::fmt;

use glasshour::calendar::Calendar;

use crate::chance::Chance;
use crate::faults::{Fault, KINDS};
use crate::garden::OFFSET_MS;
use crate::weather::{DAY, HOUR, MINUTE};

/// Of the kinds of fault, the share that a seed turns on: few at high rates find more than all at low ones.
const ON: f64 = 0.3;

/// The whole choice of a seed.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// The seed.
    pub seed: u64,
    /// When the run begins, UTC ms.
    pub start_ms: i64,
    /// How long anything may fail, ms; then everything is healed but what stays broken for good.
    pub safety_ms: i64,
    /// How long the healed garden is watched, ms.
    pub liveness_ms: i64,
    /// Interval between two readings of each probe, ms.
    pub intervals_ms: [i64; 4],
    /// Longest time from the first waiting reading to its commit, ms.
    pub commit_every_ms: i64,
    /// The faults, in order: ms since the start, what.
    pub faults: Vec<(i64, Fault)>,
    /// The probe that stays dead in the liveness phase.
    pub dead_probe: usize,
    /// The courier that stays away in the liveness phase.
    pub dead_courier: Option<usize>,
}

impl Plan {
    /// Draws a seed's choice.
    pub fn draw(seed: u64) -> Self {
        let mut chance = Chance::new(seed, "plan");
        let date = *chance.pick(&["2026-06-18", "2026-07-09", "2026-08-01", "2026-03-27", "2026-10-23"]);
        let midnight =
            Calendar::fixed(OFFSET_MS).start_of(glasshour::calendar::day(date).unwrap_or_default());
        let safety_ms = chance.between(30, 72) * HOUR;
        let mut interval = || *chance.pick(&[MINUTE, 2 * MINUTE, 5 * MINUTE, 10 * MINUTE]);
        let intervals_ms = [interval(), interval(), interval(), interval()];
        let commit_every_ms = *chance.pick(&[5_000, MINUTE, MINUTE]);
        let mut faults = Vec::new();
        let mut kinds = Chance::new(seed, "kinds");
        for (number, draw) in KINDS.iter().enumerate() {
            let mut chance = Chance::new(seed, &format!("fault {number}"));
            if !kinds.happens(ON) {
                continue;
            }
            let gap_ms = *chance.pick(&[HOUR, 4 * HOUR, 16 * HOUR]);
            let mut at_ms = chance.between(0, gap_ms);
            while at_ms < safety_ms {
                faults.push((at_ms, draw(&mut chance)));
                at_ms += chance.between(gap_ms / 4, gap_ms * 7 / 4);
            }
        }
        faults.sort_by_key(|(at_ms, _)| *at_ms);
        let mut rest = Chance::new(seed, "for good");
        let dead_probe = rest.below(4) as usize;
        let dead_courier = rest.happens(0.5).then(|| rest.below(crate::far::NAMES.len() as u64) as usize);
        Self {
            seed,
            start_ms: midnight + chance.between(0, 23) * HOUR,
            safety_ms,
            liveness_ms: DAY + 12 * HOUR,
            intervals_ms,
            commit_every_ms,
            faults,
            dead_probe,
            dead_courier,
        }
    }

    /// The same garden, and nothing goes wrong.
    pub fn without_faults(seed: u64) -> Self {
        Self { faults: Vec::new(), dead_probe: usize::MAX, dead_courier: None, ..Self::draw(seed) }
    }

    /// The names of all kinds of fault there are.
    pub fn all_kinds() -> std::collections::BTreeSet<&'static str> {
        let mut chance = Chance::new(0, "names");
        KINDS.iter().map(|draw| draw(&mut chance).kind()).collect()
    }

    /// Simulated days.
    pub fn days(&self) -> f64 {
        (self.safety_ms + self.liveness_ms) as f64 / DAY as f64
    }
}

impl fmt::Display for Plan {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            out,
            "seed {}: from {}, {} h in which anything fails, {} h healed; intervals {:?} s, a commit after {} s; for good: \
             probe {}, courier {:?}",
            self.seed,
            glasshour::calendar::iso(self.start_ms),
            self.safety_ms / HOUR,
            self.liveness_ms / HOUR,
            self.intervals_ms.map(|it| it / 1000),
            self.commit_every_ms / 1000,
            self.dead_probe,
            self.dead_courier,
        )?;
        for (at_ms, fault) in &self.faults {
            writeln!(out, "  after {:>7.3} h: {}: {fault:?}", *at_ms as f64 / HOUR as f64, fault.kind())?;
        }
        Ok(())
    }
}
