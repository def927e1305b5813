//! The book of notices: what is open, under which id, every step told, and what the grower answered.
//!
//! One notice per decision: its key is the place and the minder. A notice opens, may worsen, eases, closes. An answer
//! holds for a while: "on it" for three quarters of an hour, "later" for as long as was said. What still stands then is
//! told again, whoever meant to see to it (common practice: an act against heat shows within half an hour).

use std::collections::{BTreeMap, BTreeSet};

use agronomy::crop::Severity;

use super::word::Word;
use crate::entry::{Reply, Step, Turn};

/// How long "on it" is believed, ms.
pub const ON_IT_MS: i64 = 45 * 60_000;

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
    /// Minders whose pushing words were said inside it.
    pub joined: BTreeSet<String>,
    /// The grower's answer, while it holds.
    pub answer: Option<Reply>,
    /// The last step that an earlier answer does not outlive: it eased, or was told again. UTC ms.
    settled_ms: i64,
}

impl Open {
    /// Until when the answer holds, UTC ms.
    pub fn answered_until_ms(&self) -> Option<i64> {
        self.answer.as_ref().map(|reply| reply.until_ms.unwrap_or(reply.at_ms + ON_IT_MS))
    }

    fn take(&mut self, step: &Step) {
        self.steps = step.number;
        self.severity = step.severity;
        self.pushed |= step.push;
        self.joined.extend(step.joined.iter().cloned());
        if matches!(step.turn, Turn::Eased | Turn::Again) {
            self.settled_ms = step.at_ms;
            self.answer = None;
        }
    }
}

type Key = (String, String);

/// The open notices, and how many ids each day, place and minder has used.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Book {
    open: BTreeMap<Key, Open>,
    used: BTreeMap<String, u32>,
    /// What a heat notice had said for another minder when it closed: that minder's own notice need not buzz again.
    said: BTreeSet<Key>,
}

impl Book {
    /// The book as the told steps and the grower's answers leave it.
    pub fn of<'a>(steps: impl Iterator<Item = &'a Step>, replies: impl Iterator<Item = Reply>) -> Self {
        let mut book = Self::default();
        for step in steps {
            book.take(step);
        }
        for reply in replies {
            book.answer(reply);
        }
        book
    }

    fn take(&mut self, step: &Step) {
        let key = (step.place.clone(), step.minder.clone());
        if step.turn == Turn::Opened {
            let stem = step.notice.rsplit_once('~').map_or(step.notice.as_str(), |(stem, _)| stem);
            *self.used.entry(stem.to_owned()).or_default() += 1;
        }
        if step.turn == Turn::Closed {
            self.open.remove(&key);
            self.hand_over(&step.place, step.joined.iter().cloned());
            return;
        }
        let said = self.said.remove(&key);
        let open = self.open.entry(key).or_insert_with(|| new(step.notice.clone(), step, said));
        open.take(step);
    }

    /// Takes the grower's answer; one to a notice that is closed, or told again since, changes nothing.
    pub fn answer(&mut self, reply: Reply) {
        let open = self.open.values_mut().find(|open| open.id == reply.notice);
        if let Some(open) = open.filter(|open| reply.at_ms >= open.settled_ms) {
            open.answer = Some(reply);
        }
    }

    /// The open notice of a place and minder.
    pub fn get(&self, place: &str, minder: &str) -> Option<&Open> {
        self.open.get(&(place.to_owned(), minder.to_owned()))
    }

    /// Every open notice with its place and minder.
    pub fn open(&self) -> impl Iterator<Item = (&str, &str, &Open)> {
        self.open.iter().map(|((place, minder), open)| (place.as_str(), minder.as_str(), open))
    }

    /// When an answer runs out next after a moment, UTC ms.
    pub fn wake(&self, now_ms: i64) -> Option<i64> {
        self.open.values().filter_map(Open::answered_until_ms).filter(|until| *until > now_ms).min()
    }

    pub(super) fn hand_over(&mut self, place: &str, minders: impl Iterator<Item = String>) {
        self.said.extend(minders.map(|minder| (place.to_owned(), minder)));
    }

    /// Opens a notice, or tells its next step where severity or push went up, severity went down, something new that
    /// buzzes joined it, or an answer ran out. Nothing where nothing changed.
    ///
    /// `joined`: minders whose pushing words stand inside this one.
    pub fn tell(
        &mut self,
        at_ms: i64,
        date: &str,
        (place, minder): (&str, &'static str),
        word: Word,
        joined: &[&'static str],
    ) -> Option<Step> {
        let key = (place.to_owned(), minder.to_owned());
        let (turn, push) = match self.open.get(&key) {
            None => (Turn::Opened, word.push && !self.said.contains(&key)),
            Some(open) => next(open, at_ms, &word, joined)?,
        };
        let (id, number) = match self.open.get(&key) {
            Some(open) => (open.id.clone(), open.steps + 1),
            None => (self.new_id(format!("{date}.{place}.{minder}")), 1),
        };
        let step = Step {
            notice: id,
            number,
            minder: minder.to_owned(),
            place: place.to_owned(),
            planting: word.planting,
            at_ms,
            turn,
            severity: word.severity,
            push,
            joined: joined.iter().map(|minder| (*minder).to_owned()).collect(),
            title: word.title,
            text: if turn == Turn::Again { format!("It still stands. {}", word.text) } else { word.text },
            caution: word.caution.to_owned(),
        };
        self.take(&step);
        Some(step)
    }

    /// The first id of a day, place and minder is free of a number. [`take`](Self::take) counts it.
    fn new_id(&self, stem: String) -> String {
        match self.used.get(&stem) {
            None | Some(0) => stem,
            Some(used) => format!("{stem}~{}", used + 1),
        }
    }

    /// Closes a notice; nothing where none is open. `handed`: minders whose words were said inside it and still stand.
    pub fn close(
        &mut self,
        at_ms: i64,
        (place, minder): (&str, &'static str),
        (title, text): (String, String),
        handed: Vec<String>,
    ) -> Option<Step> {
        let open = self.get(place, minder)?;
        let step = Step {
            notice: open.id.clone(),
            number: open.steps + 1,
            minder: minder.to_owned(),
            place: place.to_owned(),
            planting: open.planting.clone(),
            at_ms,
            turn: Turn::Closed,
            severity: open.severity,
            // An all-clear goes where the alarm went.
            push: open.pushed,
            joined: handed,
            title,
            text,
            caution: String::new(),
        };
        self.take(&step);
        Some(step)
    }
}

fn new(id: String, step: &Step, said: bool) -> Open {
    Open {
        id,
        steps: 0,
        severity: step.severity,
        pushed: said,
        planting: step.planting.clone(),
        opened_ms: step.at_ms,
        joined: BTreeSet::new(),
        answer: None,
        settled_ms: i64::MIN,
    }
}

/// What happens to an open notice about which this is said now, and whether it may buzz.
fn next(open: &Open, at_ms: i64, word: &Word, joined: &[&'static str]) -> Option<(Turn, bool)> {
    let joins = joined.iter().any(|minder| !open.joined.contains(*minder));
    let wants = word.push || joins;
    let put_off = open.answer.as_ref().and_then(|reply| reply.until_ms).is_some_and(|until| at_ms < until);
    // "Later" holds back all but what became severe meanwhile.
    let muted = put_off && (word.severity < Severity::Severe || word.severity <= open.severity);
    let push = wants && !muted;
    if word.severity > open.severity || (push && (!open.pushed || joins)) {
        return Some((Turn::Worsened, push));
    }
    if word.severity < open.severity {
        return Some((Turn::Eased, word.push && !muted));
    }
    let over = open.answered_until_ms().is_some_and(|until| at_ms >= until);
    (over && (open.pushed || word.push)).then_some((Turn::Again, true))
}

#[cfg(test)]
#[path = "book_tests.rs"]
mod tests;
