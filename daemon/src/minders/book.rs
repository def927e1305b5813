//! The book of notices: what is open, under which id, and every step told.
//!
//! One notice per decision: its key is the place and the minder. A notice opens, may worsen, eases, closes.

use std::collections::BTreeMap;

use agronomy::crop::Severity;

use crate::entry::{Step, Turn};

/// What a minder wants told.
#[derive(Clone, Debug, PartialEq)]
pub struct Word {
    /// Which minder.
    pub minder: &'static str,
    /// Which place.
    pub place: String,
    /// Which planting.
    pub planting: Option<String>,
    /// How bad.
    pub severity: Severity,
    /// Whether it may buzz a phone.
    pub push: bool,
    /// The order.
    pub title: String,
    /// The reason.
    pub text: String,
    /// The caution that stands beside it; empty where none is needed.
    pub caution: &'static str,
}

/// An open notice.
#[derive(Clone, Debug, PartialEq)]
pub struct Open {
    /// Its id.
    pub id: String,
    /// Steps told so far.
    pub steps: u32,
    /// How bad.
    pub severity: Severity,
    /// Whether any step pushed.
    pub pushed: bool,
    /// Which planting it is about.
    pub planting: Option<String>,
    /// When it opened, UTC ms.
    pub opened_ms: i64,
}

/// The open notices, and how many ids each day, place and minder has used.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Book {
    open: BTreeMap<(String, String), Open>,
    used: BTreeMap<String, u32>,
}

impl Book {
    /// The book as the told steps leave it.
    pub fn of<'a>(steps: impl Iterator<Item = &'a Step>) -> Self {
        let mut book = Self::default();
        for step in steps {
            let key = (step.place.clone(), step.minder.clone());
            if step.turn == Turn::Opened {
                let stem = step.notice.rsplit_once('~').map_or(step.notice.as_str(), |(stem, _)| stem);
                *book.used.entry(stem.to_owned()).or_default() += 1;
            }
            if step.turn == Turn::Closed {
                book.open.remove(&key);
                continue;
            }
            let open = book.open.entry(key).or_insert_with(|| Open {
                id: step.notice.clone(),
                steps: 0,
                severity: step.severity,
                pushed: false,
                planting: step.planting.clone(),
                opened_ms: step.at_ms,
            });
            open.steps = step.number;
            open.severity = step.severity;
            open.pushed |= step.push;
        }
        book
    }

    /// The open notice of a place and minder.
    pub fn get(&self, place: &str, minder: &str) -> Option<&Open> {
        self.open.get(&(place.to_owned(), minder.to_owned()))
    }

    /// Opens a notice, or tells its next step where severity or push went up, or severity went down.
    /// Nothing where nothing changed.
    pub fn tell(&mut self, at_ms: i64, date: &str, word: Word) -> Option<Step> {
        let key = (word.place.clone(), word.minder.to_owned());
        let turn = match self.open.get(&key) {
            None => Turn::Opened,
            Some(open) if word.severity > open.severity || (word.push && !open.pushed) => Turn::Worsened,
            Some(open) if word.severity < open.severity => Turn::Eased,
            Some(_) => return None,
        };
        let new_id = || {
            let stem = format!("{date}.{}.{}", word.place, word.minder);
            (stem.clone(), stem)
        };
        let open = match self.open.entry(key) {
            std::collections::btree_map::Entry::Occupied(open) => open.into_mut(),
            std::collections::btree_map::Entry::Vacant(free) => {
                let (stem, mut id) = new_id();
                let used = self.used.entry(stem).or_default();
                *used += 1;
                if *used > 1 {
                    id = format!("{id}~{used}");
                }
                free.insert(Open {
                    id,
                    steps: 0,
                    severity: word.severity,
                    pushed: false,
                    planting: word.planting.clone(),
                    opened_ms: at_ms,
                })
            }
        };
        open.steps += 1;
        open.severity = word.severity;
        open.pushed |= word.push;
        Some(step(open, at_ms, turn, word))
    }

    /// Closes a notice; nothing where none is open.
    pub fn close(
        &mut self,
        at_ms: i64,
        place: &str,
        minder: &'static str,
        title: String,
        text: String,
    ) -> Option<Step> {
        let mut open = self.open.remove(&(place.to_owned(), minder.to_owned()))?;
        open.steps += 1;
        let word = Word {
            minder,
            place: place.to_owned(),
            planting: open.planting.clone(),
            severity: open.severity,
            // An all-clear goes where the alarm went.
            push: open.pushed,
            title,
            text,
            caution: "",
        };
        Some(step(&open, at_ms, Turn::Closed, word))
    }
}

fn step(open: &Open, at_ms: i64, turn: Turn, word: Word) -> Step {
    Step {
        notice: open.id.clone(),
        number: open.steps,
        minder: word.minder.to_owned(),
        place: word.place,
        planting: word.planting,
        at_ms,
        turn,
        severity: word.severity,
        push: word.push,
        title: word.title,
        text: word.text,
        caution: word.caution.to_owned(),
    }
}
