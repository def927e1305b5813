//! What the calendar has told: each entry as it was last said, how often it changed, and what went by mail.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::happening::Happening;

/// How long what has been stays in the feed, ms: a month, so that a look back finds it.
const KEPT_MS: i64 = 31 * 86_400_000;

/// An entry as it was told.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Told {
    /// What it says.
    pub happening: Happening,
    /// How often it changed since it was first told (RFC 5545, 3.8.7.4).
    pub sequence: u32,
    /// When it last changed, UTC ms.
    pub changed_ms: i64,
    /// It will not be.
    pub gone: bool,
    /// The sequence that went by mail; none where none did.
    pub mailed: Option<u32>,
}

impl Told {
    /// Whether the mail readers have not got it as it stands. What went before they heard of it is no news to them.
    pub fn is_unmailed(&self) -> bool {
        if self.gone && self.mailed.is_none() { false } else { self.mailed != Some(self.sequence) }
    }
}

/// All that was told, by key.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Known {
    /// By key.
    pub told: BTreeMap<String, Told>,
}

impl Known {
    /// Takes in what is to come now. `today` and `now_ms` (UTC ms) are the present. Whether anything changed.
    ///
    /// What is not spoken of any more is gone, unless it has been already: the past is not called off.
    pub fn renew(&mut self, happenings: &[Happening], today: NaiveDate, now_ms: i64) -> bool {
        let before = self.clone();
        for happening in happenings {
            match self.told.get_mut(&happening.key) {
                None => {
                    let told = Told {
                        happening: happening.clone(),
                        sequence: 0,
                        changed_ms: now_ms,
                        gone: false,
                        mailed: None,
                    };
                    self.told.insert(happening.key.clone(), told);
                }
                Some(told) if told.gone || happening.is_news(&told.happening) => {
                    told.happening = happening.clone();
                    told.gone = false;
                    changed(told, now_ms);
                }
                Some(_) => {}
            }
        }
        let spoken = |key: &String| happenings.iter().any(|happening| happening.key == *key);
        for (key, told) in &mut self.told {
            let over =
                told.happening.done || told.happening.is_past(today, now_ms) || is_under_way(told, today);
            if !told.gone && !over && !spoken(key) {
                told.gone = true;
                changed(told, now_ms);
            }
        }
        let kept = |told: &Told| {
            let over = told.gone || told.happening.done || told.happening.is_past(today, now_ms);
            !over || now_ms - told.changed_ms.max(ends_ms(told)) < KEPT_MS
        };
        self.told.retain(|key, told| spoken(key) || kept(told));
        *self != before
    }

    /// Remembers what went by mail: keys with their sequences.
    pub fn mailed(&mut self, went: &[(String, u32)]) {
        for (key, sequence) in went {
            if let Some(told) = self.told.get_mut(key) {
                told.mailed = Some(*sequence);
            }
        }
    }
}

fn changed(told: &mut Told, now_ms: i64) {
    told.sequence = told.sequence.saturating_add(1);
    told.changed_ms = now_ms;
}

/// Whether today is its last day: what ends this evening is not called off in the evening.
fn is_under_way(told: &Told, today: NaiveDate) -> bool {
    matches!(told.happening.span, super::happening::Span::Days { to, .. } if to == today)
}

/// When it ends, UTC ms; for whole days the end of the last in UTC, which is near enough for a month.
fn ends_ms(told: &Told) -> i64 {
    match told.happening.span {
        super::happening::Span::Days { to, .. } => {
            to.and_time(chrono::NaiveTime::MIN).and_utc().timestamp_millis().saturating_add(86_400_000)
        }
        super::happening::Span::Hours { to_ms, .. } => to_ms,
    }
}

#[cfg(test)]
mod tests {
    use super::super::happening::Span;
    use super::*;

    const DAY_MS: i64 = 86_400_000;
    /// 15 July 2026, 12:00 UTC (by `date -u -d @1784116800`).
    const NOON: i64 = 1_784_116_800_000;

    fn today() -> NaiveDate {
        "2026-07-15".parse().unwrap()
    }

    fn on(key: &str, day: &str, summary: &str) -> Happening {
        let day: NaiveDate = day.parse().unwrap();
        Happening {
            key: key.to_owned(),
            span: Span::Days { from: day, to: day },
            summary: summary.to_owned(),
            text: String::new(),
            foretold: false,
            done: false,
        }
    }

    fn sequences(known: &Known) -> Vec<(&str, u32, bool)> {
        known.told.iter().map(|(key, told)| (key.as_str(), told.sequence, told.gone)).collect()
    }

    #[test]
    fn a_sequence_grows_when_something_changes_and_only_then() {
        let mut known = Known::default();
        assert!(known.renew(&[on("a", "2026-07-20", "one")], today(), NOON));
        assert!(!known.renew(&[on("a", "2026-07-20", "one")], today(), NOON + 60_000));
        assert_eq!(sequences(&known), [("a", 0, false)]);
        assert!(known.renew(&[on("a", "2026-07-21", "one")], today(), NOON + 120_000));
        assert_eq!(sequences(&known), [("a", 1, false)]);
        assert_eq!(known.told["a"].changed_ms, NOON + 120_000);
    }

    #[test]
    fn what_will_not_be_is_called_off_and_may_come_back() {
        let mut known = Known::default();
        known.renew(&[on("a", "2026-07-20", "one")], today(), NOON);
        known.renew(&[], today(), NOON + 1);
        assert_eq!(sequences(&known), [("a", 1, true)]);
        assert!(!known.renew(&[], today(), NOON + 2), "called off once");
        known.renew(&[on("a", "2026-07-20", "one")], today(), NOON + 3);
        assert_eq!(sequences(&known), [("a", 2, false)]);
    }

    #[test]
    fn what_has_been_is_not_called_off_and_leaves_after_a_month() {
        let mut known = Known::default();
        known.renew(&[on("a", "2026-07-14", "one"), on("b", "2026-07-15", "two")], today(), NOON);
        known.renew(&[], today(), NOON + 1);
        assert_eq!(sequences(&known), [("a", 0, false), ("b", 0, false)]);
        let later = |days: u64| today().checked_add_days(chrono::Days::new(days)).unwrap();
        known.renew(&[], later(30), NOON + 30 * DAY_MS);
        assert_eq!(known.told.len(), 2);
        assert!(known.renew(&[], later(40), NOON + 40 * DAY_MS));
        assert_eq!(known.told.len(), 0);
    }

    #[test]
    fn only_what_the_mail_readers_have_not_got_is_unmailed() {
        let mut known = Known::default();
        known.renew(&[on("a", "2026-07-20", "one"), on("b", "2026-07-21", "two")], today(), NOON);
        assert!(known.told.values().all(Told::is_unmailed));
        known.mailed(&[("a".to_owned(), 0)]);
        assert!(!known.told["a"].is_unmailed());
        known.renew(&[], today(), NOON + 1);
        assert!(known.told["a"].is_unmailed(), "they hold it: it must be called off");
        assert!(!known.told["b"].is_unmailed(), "they never heard of it");
    }
}
