//! The book of notices: what is open, under which id, every step told, and what the grower answered.
//!
//! One notice per decision: its key is the place and the minder. A notice opens, may worsen, eases, closes. An answer
//! holds for a while: "on it" for three quarters of an hour, "later" for as long as was said. What still stands then is
//! told again, whoever meant to see to it (common practice: an act against heat shows within half an hour).

use std::collections::{BTreeMap, BTreeSet};

use agronomy::crop::Severity;

use super::dome::HEAT_DOME;
use super::drill::DRILL;
use super::frost_ahead::FROST_AHEAD;
use super::signs::SIGNS;
use super::warm_spell::WARM_SPELL;
use super::word::{Spoken, Word};
use crate::entry::{Reply, Step, Turn};

/// Minders of what is days away: three quarters of an hour ease none of it, so "on it" is believed to its next step.
const OF_DAYS: [&str; 4] = [HEAT_DOME, FROST_AHEAD, SIGNS, WARM_SPELL];

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
    /// Whether a phone buzzed about it: by one of its steps, or by the notice in which it was told before.
    pub pushed: bool,
    /// The same, or would have on another day.
    pub wanted: bool,
    /// The worst it was, with what buzzed inside it.
    pub worst: Severity,
    /// Which planting it is about.
    pub planting: Option<String>,
    /// When it opened, UTC ms.
    pub opened_ms: i64,
    /// Minders whose pushing words were said inside it.
    pub joined: BTreeSet<String>,
    /// All minders whose words were said inside it, or the plantings it spoke of, and the worst that was said of each.
    pub inside: BTreeMap<String, Severity>,
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
        self.wanted |= step.push || step.held;
        self.worst = self.worst.max(step.weight());
        self.joined.extend(step.joined.iter().cloned());
        for (minder, severity) in &step.inside {
            let worst = self.inside.entry(minder.clone()).or_insert(*severity);
            *worst = (*worst).max(*severity);
        }
        if matches!(step.turn, Turn::Eased | Turn::Again) {
            self.settled_ms = step.at_ms;
            self.answer = None;
        }
    }
}

type Key = (String, String);

/// When something is told, and how much may still buzz that day.
#[derive(Clone, Copy, Debug)]
pub struct Telling<'a> {
    /// The moment, UTC ms.
    pub at_ms: i64,
    /// Its day, `YYYY-MM-DD`: a new notice's id begins with it.
    pub date: &'a str,
    /// How many more steps that are not severe may buzz a phone today.
    pub left: usize,
}

/// Whether a step counts against what may buzz in a day.
pub fn counts(step: &Step) -> bool {
    step.push && step.weight() < Severity::Severe && step.minder != DRILL
}

/// The open notices, and how many ids each day, place and minder has used.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Book {
    open: BTreeMap<Key, Open>,
    used: BTreeMap<String, u32>,
    /// What a heat notice had said for another minder when it closed: that minder's own notice need not buzz again.
    said: BTreeSet<Key>,
    /// When a minder's words were last said inside another's step, UTC ms.
    said_inside: BTreeMap<Key, i64>,
    /// What the open heat notice and the course of each place, and that of coming heat (the site's), say by now. It is not
    /// kept: the next look says it anew.
    spoken: BTreeMap<Key, Spoken>,
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
            self.spoken.remove(&key);
            self.hand_over(&step.place, step.joined.iter().cloned());
            return;
        }
        for minder in step.inside.keys() {
            self.said_inside.insert((step.place.clone(), minder.clone()), step.at_ms);
        }
        // Whoever was told of it alone is told of its end with the notice that says it now.
        let told_alone = step.joined.iter().any(|it| self.get(&step.place, it).is_some_and(|it| it.pushed));
        let said = self.said.remove(&key);
        let open = self.open.entry(key).or_insert_with(|| new(step.notice.clone(), step, said));
        open.take(step);
        open.pushed |= told_alone;
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

    /// When a minder's words were last said inside another's step, UTC ms.
    pub fn said_inside_ms(&self, place: &str, minder: &str) -> Option<i64> {
        self.said_inside.get(&(place.to_owned(), minder.to_owned())).copied()
    }

    /// What the open notice of a place and minder says by now, where that is remembered.
    pub fn spoken(&self, place: &str, minder: &str) -> Option<&Spoken> {
        self.spoken.get(&(place.to_owned(), minder.to_owned()))
    }

    /// Remembers what an open notice says by now.
    pub(super) fn speak(&mut self, (place, minder): (&str, &str), spoken: Spoken) {
        let key = (place.to_owned(), minder.to_owned());
        if self.open.contains_key(&key) {
            self.spoken.insert(key, spoken);
        }
    }

    /// Nobody knows what an open notice says by now: it is read as it was told.
    pub(super) fn forget_spoken(&mut self, (place, minder): (&str, &str)) {
        self.spoken.remove(&(place.to_owned(), minder.to_owned()));
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

    /// Opens a notice, or tells its next step where severity or push went up, severity went down, something new is said
    /// inside it, or an answer ran out. Nothing where nothing changed.
    ///
    /// `inside`: what of other minders, or of each of several plantings, `word` says.
    pub fn tell(
        &mut self,
        now: &mut Telling<'_>,
        (place, minder): (&str, &'static str),
        word: Word,
        inside: &[(&str, Word)],
    ) -> Option<Step> {
        let key = (place.to_owned(), minder.to_owned());
        let news = self.news(&key, inside);
        let (turn, push) = match self.open.get(&key) {
            None => (Turn::Opened, news.buzzing.is_some() || word.push && !self.said.contains(&key)),
            Some(open) => next(open, minder, now.at_ms, &word, &news)?,
        };
        let (id, number) = match self.open.get(&key) {
            Some(open) => (open.id.clone(), open.steps + 1),
            None => (self.new_id(format!("{}.{place}.{minder}", now.date)), 1),
        };
        // What "later" holds back has not buzzed: it will when that is over.
        let buzzed = |minder: &&str| push || !news.waits.contains(minder);
        let joined = inside.iter().filter(|(_, it)| it.push).map(|(minder, _)| *minder).filter(buzzed);
        let mut step = Step {
            notice: id,
            number,
            minder: minder.to_owned(),
            place: place.to_owned(),
            planting: word.planting,
            at_ms: now.at_ms,
            turn,
            severity: word.severity,
            push,
            held: false,
            joined: joined.map(str::to_owned).collect(),
            inside: inside.iter().map(|(minder, it)| ((*minder).to_owned(), it.severity)).collect(),
            title: word.title,
            text: if turn == Turn::Again { format!("It still stands. {}", word.text) } else { word.text },
            caution: word.caution.to_owned(),
        };
        if counts(&step) {
            step.held = now.left == 0;
            step.push = !step.held;
            now.left = now.left.saturating_sub(1);
        }
        self.take(&step);
        Some(step)
    }

    /// What of the words inside a notice it has not told in this life, alone or inside.
    fn news<'i>(&self, key: &Key, inside: &'i [(&'i str, Word)]) -> News<'i> {
        let open = self.open.get(key);
        let alone = |minder: &str| self.get(&key.0, minder).is_some_and(|it| it.wanted);
        let told = |minder: &str| open.is_some_and(|open| open.joined.contains(minder));
        let worst = |minder: &str| open.and_then(|open| open.inside.get(minder));
        let rose = |minder: &str, word: &Word| worst(minder).is_some_and(|worst| *worst < word.severity);
        let waits = |(minder, word): &&(&str, Word)| {
            word.push && (rose(minder, word) || !told(minder) && !alone(minder))
        };
        let waits = || inside.iter().filter(waits);
        News {
            any: inside.iter().any(|(minder, word)| worst(minder).is_none() || rose(minder, word)),
            buzzing: waits().map(|(_, word)| word.severity).max(),
            waits: waits().map(|(minder, _)| *minder).collect(),
        }
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
            // An all-clear goes where the alarm went, when it was serious.
            push: open.pushed && open.worst >= Severity::Severe,
            held: false,
            joined: handed,
            inside: BTreeMap::new(),
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
        wanted: said,
        worst: step.severity,
        planting: step.planting.clone(),
        opened_ms: step.at_ms,
        joined: BTreeSet::new(),
        inside: BTreeMap::new(),
        answer: None,
        settled_ms: i64::MIN,
    }
}

/// What is new of the words inside a notice.
struct News<'i> {
    /// A minder speaks that had not spoken inside it, or one says worse than it had.
    any: bool,
    /// The worst of the words that are to buzz and have not.
    buzzing: Option<Severity>,
    /// Whose they are.
    waits: Vec<&'i str>,
}

/// What happens to an open notice about which this is said now, and whether it may buzz.
fn next(open: &Open, minder: &str, at_ms: i64, word: &Word, news: &News<'_>) -> Option<(Turn, bool)> {
    let rises = word.severity > open.severity;
    let put_off = open.answer.as_ref().and_then(|reply| reply.until_ms).is_some_and(|until| at_ms < until);
    // "Later" holds back all but what became severe meanwhile.
    let became_severe = rises && word.severity >= Severity::Severe || news.buzzing >= Some(Severity::Severe);
    let muted = put_off && !became_severe;
    let wants = news.buzzing.is_some() || word.push && (rises || !open.wanted);
    if rises || wants && !muted {
        return Some((Turn::Worsened, wants && !muted));
    }
    if word.severity < open.severity {
        return Some((Turn::Eased, word.push && !muted));
    }
    if news.any {
        return Some((Turn::Worsened, false));
    }
    let over = open.answered_until_ms().is_some_and(|until| at_ms >= until);
    let on_it = open.answer.as_ref().is_some_and(|reply| reply.until_ms.is_none());
    let over = over && !(on_it && OF_DAYS.contains(&minder));
    (over && (open.wanted || word.push)).then_some((Turn::Again, true))
}

#[cfg(test)]
#[path = "book_tests.rs"]
mod tests;
