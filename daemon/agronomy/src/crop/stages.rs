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

/// What is known of the day a stage opens or closes. Days are numbered from 1970-01-01 as 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Known {
    /// On this day: noted, or reckoned without doubt.
    On(i64),
    /// Somewhere from the first of these days to the second.
    Between(i64, i64),
    /// Nobody has noted it and no milestone dates it.
    Unknown,
}

impl Known {
    /// Whether the day has come: certainly, possibly, or not at all.
    const fn come(self, today: i64) -> Option<Certainty> {
        match self {
            Self::On(day) if day <= today => Some(Certainty::Certain),
            Self::Between(_, latest) if latest <= today => Some(Certainty::Certain),
            Self::Between(earliest, _) if earliest <= today => Some(Certainty::Possible),
            Self::Unknown => Some(Certainty::Possible),
            Self::On(_) | Self::Between(..) => None,
        }
    }
}

impl Stages {
    /// The stages of a planting today, from what is known of the opening and the closing of each.
    ///
    /// A stage is active once it has certainly opened, until its closing has come; in the range of either it is
    /// possible. A closing that nobody knows of has not come. A stage that is not named is neither.
    ///
    /// # Errors
    ///
    /// None.
    ///
    /// # Source
    ///
    /// Common practice. The grower's note goes before the milestone's range, and the range before the
    /// calendar: whoever asks gives the surest [`Known`] there is.
    pub fn on(today: i64, spans: &[(Stage, Known, Known)]) -> Self {
        let mut stages = Self::default();
        for &(stage, opens, closes) in spans {
            let closed = if closes == Known::Unknown { None } else { closes.come(today) };
            match (opens.come(today), closed) {
                (Some(Certainty::Certain), None) => _ = stages.active.insert(stage),
                (Some(_), None | Some(Certainty::Possible)) => _ = stages.possible.insert(stage),
                (None, _) | (_, Some(Certainty::Certain)) => {}
            }
        }
        stages
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stage_opens_becomes_certain_and_closes() {
        let spans = [(Stage::Flowering, Known::Between(100, 110), Known::Between(150, 160))];
        let at = |today| {
            let stages = Stages::on(today, &spans);
            (stages.active.contains(&Stage::Flowering), stages.possible.contains(&Stage::Flowering))
        };
        assert_eq!(at(99), (false, false));
        assert_eq!(at(100), (false, true));
        assert_eq!(at(110), (true, false));
        assert_eq!(at(149), (true, false));
        assert_eq!(at(150), (false, true));
        assert_eq!(at(160), (false, false));
    }

    #[test]
    fn what_nobody_noted_is_possible_and_several_stages_run_at_once() {
        let spans = [
            (Stage::Flowering, Known::On(100), Known::Unknown),
            (Stage::Ripening, Known::On(140), Known::Unknown),
            (Stage::Picking, Known::Unknown, Known::On(200)),
        ];
        let stages = Stages::on(150, &spans);
        assert_eq!(stages.active, [Stage::Flowering, Stage::Ripening].into());
        assert_eq!(stages.possible, [Stage::Picking].into());
        assert!(Stages::on(200, &spans).possible.is_empty());
    }
}
