//! The stages a planting is in, and those it may be in.

use std::collections::BTreeSet;

use serde::Serialize;

use super::{HeatRule, Stage};

/// Whether something is known or only not excluded.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Certainty {
    /// Noted by the grower, or dated by a milestone.
    Certain,
    /// Nobody has noted it and nothing speaks against it: "if it is in flower".
    Possible,
}

/// The stages of a planting at one moment. They are a set: a tomato flowers, swells and ripens at once.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Stages {
    /// Noted by the grower, or dated by a milestone.
    pub active: BTreeSet<Stage>,
    /// Neither noted nor excluded.
    pub possible: BTreeSet<Stage>,
}

impl Stages {
    /// Stages that are certain, and no others.
    pub fn certain(stages: impl IntoIterator<Item = Stage>) -> Self {
        Self { active: stages.into_iter().collect(), possible: BTreeSet::new() }
    }

    /// Whether a rule runs in these stages, and how surely; `None` where it does not.
    ///
    /// A rule for [`Stage::Any`] always runs, and certainly.
    pub fn certainty(&self, rule: &HeatRule) -> Option<Certainty> {
        let certain = |stage: &Stage| *stage == Stage::Any || self.active.contains(stage);
        if rule.stages.iter().any(certain) {
            Some(Certainty::Certain)
        } else if rule.stages.iter().any(|stage| self.possible.contains(stage)) {
            Some(Certainty::Possible)
        } else {
            None
        }
    }
}
