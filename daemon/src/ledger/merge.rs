//! One rule for the readings of a series, wherever they lie: chunks, batches or both.
//!
//! Measured order; repeats dropped; same time and value is one reading; same time and another value are two, the
//! later of them doubtful. The rule folds arrivals one after another, so merging what was merged with what came since
//! gives the same as merging everything at once: compaction changes no answer.

use crate::reading::{Grade, Reason};

/// One reading of a series.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Kept {
    /// UTC ms; monotonic ms of the boot while undated.
    pub(super) at_ms: i64,
    /// Value in ticks of the series; 0 where it is missing.
    pub(super) ticks: i32,
    /// Why it has its grade.
    pub(super) reason: Reason,
    /// When it arrived, UTC ms, if that was more than one commit late; known after compaction only.
    pub(super) late: Option<i64>,
}

impl Kept {
    fn refused(&self) -> bool {
        self.reason.grade() == Grade::Refused
    }

    /// Whether it says what another of the same time has said.
    pub(super) fn repeats(&self, other: &Self) -> bool {
        let missing = |kept: &Self| kept.reason == Reason::Missing;
        self.ticks == other.ticks && self.refused() == other.refused() && missing(self) == missing(other)
    }
}

/// Readings in measured order out of readings in order of arrival.
pub(super) fn merge(mut arrivals: Vec<Kept>) -> Vec<Kept> {
    // Nearly always there is nothing to do.
    let plain = |two: &[Kept]| two[0].at_ms < two[1].at_ms;
    if arrivals.windows(2).all(plain) && arrivals.iter().all(|kept| kept.reason != Reason::Repeated) {
        return arrivals;
    }
    arrivals.retain(|kept| kept.reason != Reason::Repeated);
    // Stable: of the same time, the order of arrival stays.
    arrivals.sort_by_key(|kept| kept.at_ms);
    let mut merged: Vec<Kept> = Vec::with_capacity(arrivals.len());
    let mut since = 0;
    for mut kept in arrivals {
        if merged.last().is_some_and(|last| last.at_ms != kept.at_ms) {
            since = merged.len();
        }
        let before = &merged[since..];
        if before.iter().any(|other| kept.repeats(other)) {
            continue;
        }
        if kept.reason.grade() == Grade::Sound && before.iter().any(|other| !other.refused()) {
            kept.reason = Reason::SameTimeOtherValue;
        }
        merged.push(kept);
    }
    merged
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn kept(at_ms: i64, ticks: i32, reason: Reason) -> Kept {
        Kept { at_ms, ticks, reason, late: None }
    }

    #[test]
    fn repeats_vanish_and_a_second_value_of_the_same_time_is_doubtful() {
        let merged = merge(vec![
            kept(9, 2_100, Reason::None),
            kept(5, 2_000, Reason::None),
            kept(5, 2_000, Reason::None),
            kept(5, 2_050, Reason::None),
            kept(9, 2_100, Reason::Repeated),
        ]);
        let expected = [
            kept(5, 2_000, Reason::None),
            kept(5, 2_050, Reason::SameTimeOtherValue),
            kept(9, 2_100, Reason::None),
        ];
        assert_eq!(merged, expected);
    }

    #[test]
    fn a_refused_reading_casts_no_doubt_on_one_of_the_same_time() {
        let both = [kept(5, 0, Reason::Missing), kept(5, 0, Reason::None)];
        assert_eq!(merge(both.to_vec()), both);
    }

    proptest! {
        #[test]
        fn merging_again_what_is_in_already_changes_nothing(all in prop::collection::vec((0_i64..6, 0_i32..4, 0_u8..9), 0..40), cut in 0_usize..40) {
            let all: Vec<Kept> = all.into_iter()
                .map(|(at, ticks, code)| kept(at, ticks, Reason::from_code(code).unwrap())).collect();
            let mut twice = merge(all[..cut.min(all.len())].to_vec());
            twice.extend_from_slice(&all);
            prop_assert_eq!(merge(twice), merge(all));
        }

        #[test]
        fn merging_in_parts_is_merging_at_once(all in prop::collection::vec((0_i64..6, 0_i32..4, 0_u8..9), 0..40), cut in 0_usize..40) {
            let all: Vec<Kept> = all.into_iter()
                .map(|(at, ticks, code)| kept(at, ticks, Reason::from_code(code).unwrap())).collect();
            let cut = cut.min(all.len());
            let mut parts = merge(all[..cut].to_vec());
            parts.extend_from_slice(&all[cut..]);
            prop_assert_eq!(merge(parts), merge(all));
        }
    }
}
