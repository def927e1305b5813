//! What a heap's figures say to the grower, and the caution that goes with every word to go near it.

use std::fmt;

use super::{HeapAdvice, HeapCount};

/// The caution that stands beside any advice to turn, open or spread compost.
///
/// # Source
///
/// Health cautions about compost, potting mix and mouldy straw (S103 of the source list); masks by common practice.
pub const DUST_CAUTION: &str = "Dust of compost and mouldy straw can make people ill. Damp it first, stand upwind, \
     keep your face away when you open it, wear gloves and a well-fitting P2 or N95 mask, wash afterwards. Neither \
     turn nor sieve it in a closed house. Fever or a cough within ten days: tell a doctor about the compost. Local \
     rules come first.";

impl HeapAdvice {
    /// What to do, in a sentence or two; `None` where nothing is asked.
    pub const fn words(self) -> Option<&'static str> {
        match self {
            Self::Leave => None,
            Self::Stalled => Some(
                "It has not risen for four days. Is it as damp as a wrung cloth, loose enough for air, and is there \
                 enough green in it?",
            ),
            Self::TurnCooled => {
                Some("It has fallen more than 5 °C from its peak. Turn it, outside to the inside.")
            }
            Self::TurnTooHot => Some("Above 65 °C it slows down. Turn it, and damp it where it is dry."),
            Self::OutsideRule => Some("Above 77 °C its days do not count. Open it up, turn it, and damp it."),
            Self::Inspect => Some(
                "Above 80 °C a heap can begin to smoulder. Look at it from upwind, with water at hand; if it smells \
                 of smoke, keep away and call the fire service.",
            ),
        }
    }
}

/// How far the count has come, in a sentence; plainly, where the rule is not met.
impl fmt::Display for HeapCount {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let rule = self.rule();
        let (from, to) = (rule.from.get(), rule.to.get());
        if self.vessel_met() || self.windrow_met() {
            let how = if self.vessel_met() { "in a vessel or an aerated pile" } else { "in a windrow" };
            return write!(
                out,
                "The rule {how} is met, by the coldest probe: {from} to {to} °C for long enough. Where compost is \
                 sold or given away, local rules decide."
            );
        }
        write!(
            out,
            "Not hygienic by the rule so far: {} of {} days in a row from {from} to {to} °C in a vessel, {} of {} in \
             a windrow with {} of {} turns, by the coldest probe.",
            self.vessel_days(),
            rule.vessel_days,
            self.windrow_days(),
            rule.windrow_days,
            self.turns(),
            rule.windrow_turns,
        )
    }
}
