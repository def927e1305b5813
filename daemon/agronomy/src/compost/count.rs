//! Counting a heap's hot days and turns against the rule.

use super::{HeapDay, HeapRule};

/// Days a turned heap has to come back to heat before its count is lost (common practice: one to three).
const REHEATS_WITHIN: u32 = 3;

/// A heap's count, day by day. It starts at nothing when the heap is built. A rule once met stays met.
///
/// # Rule
///
/// A *hot day* is one on which no probe was below the rule's heat and none above its limit.
///
/// - In a vessel: hot days in a row.
/// - In a windrow: hot days since the count began. A turn counts once the heap has had a hot day after it; turns with
///   no hot day between them are one. After a turn the heap may cool for up to three days, which are not counted and
///   do not end the count; any other day that is not hot ends it, and so does a fourth.
///
/// # Source
///
/// The figures: [`HeapRule::of_book`]. The days a turned heap may take to come back: common practice.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeapCount {
    rule: HeapRule,
    in_a_row: u32,
    windrow_days: u32,
    turns: u32,
    /// Days since a turn that waits for its hot day.
    cooling: Option<u32>,
    vessel_met: bool,
    windrow_met: bool,
}

impl HeapCount {
    /// A count for a heap that was just built.
    pub fn new(rule: HeapRule) -> Self {
        Self {
            rule,
            in_a_row: 0,
            windrow_days: 0,
            turns: 0,
            cooling: None,
            vessel_met: false,
            windrow_met: false,
        }
    }

    /// Takes the next day; `None` for one that is not known.
    ///
    /// # Errors
    ///
    /// None.
    pub fn step(&mut self, day: Option<HeapDay>) {
        let Some(day) = day else {
            let (vessel_met, windrow_met) = (self.vessel_met, self.windrow_met);
            *self = Self { vessel_met, windrow_met, ..Self::new(self.rule) };
            return;
        };
        let hot = day.coldest >= self.rule.from && day.hottest <= self.rule.to;
        self.in_a_row = if hot { self.in_a_row.saturating_add(1) } else { 0 };
        // A turn before the first hot day has nothing inside to bring out.
        if day.turned && self.windrow_days > 0 {
            self.windrow_days = self.windrow_days.saturating_add(u32::from(hot));
            self.cooling = Some(0);
        } else if hot {
            self.windrow_days = self.windrow_days.saturating_add(1);
            self.turns = self.turns.saturating_add(u32::from(self.cooling.take().is_some()));
        } else {
            self.cooling = self.cooling.map(|days| days + 1).filter(|days| *days <= REHEATS_WITHIN);
            if self.cooling.is_none() {
                (self.windrow_days, self.turns) = (0, 0);
            }
        }
        self.vessel_met |= self.in_a_row >= self.rule.vessel_days;
        self.windrow_met |=
            self.windrow_days >= self.rule.windrow_days && self.turns >= self.rule.windrow_turns;
    }

    /// The rule it counts by.
    pub fn rule(&self) -> &HeapRule {
        &self.rule
    }

    /// Hot days in a row.
    pub fn vessel_days(&self) -> u32 {
        self.in_a_row
    }

    /// Hot days of a windrow since its count began.
    pub fn windrow_days(&self) -> u32 {
        self.windrow_days
    }

    /// Turns of a windrow that count.
    pub fn turns(&self) -> u32 {
        self.turns
    }

    /// Whether the rule for a vessel or an aerated pile has been met.
    pub fn vessel_met(&self) -> bool {
        self.vessel_met
    }

    /// Whether the rule for a windrow has been met.
    pub fn windrow_met(&self) -> bool {
        self.windrow_met
    }
}
