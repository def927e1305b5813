//! The teller: makes of what all minders say now the next steps of their notices. A place's heat is told before what
//! else is said of the place.
//!
//! Several minders may speak of one cause. While a heat notice of a place stands, what else the heat does there (the
//! air's pull, pots running empty, a line that comes into sight) is said inside it: one notice, one buzz, one answer.
//! Whatever joins it later is told by one more step of it. So is a planting that joins a word of several.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use agronomy::crop::Severity;

use super::book::{Book, Telling};
use super::dome::HEAT_DOME;
use super::heat::{ON_COURSE, TOO_HOT};
use super::word::{Says, Spoken, Verdict, Word};
use crate::entry::Step;

/// Minders in whose notice others are heard. Their words of now, and those of a course, are remembered while the notice
/// stands: what was told goes out of date within hours.
const SPEAK_ON: [&str; 2] = [TOO_HOT, HEAT_DOME];

/// Words inside heat notices, by place.
type Inside = BTreeMap<String, Vec<(&'static str, Word)>>;

/// Tells what changed at a moment.
pub fn tell(book: &mut Book, mut now: Telling<'_>, verdicts: Vec<Verdict>) -> Vec<Step> {
    let at_ms = now.at_ms;
    let mut inside = gather(&verdicts);
    let mut steps = Vec::new();
    for Verdict { minder, place, says, each } in verdicts {
        let key = (place.as_str(), minder);
        let step = match says {
            Says::Unknown => {
                book.forget_spoken(key);
                None
            }
            Says::Word(word) if SPEAK_ON.contains(&minder) => {
                let leads = word.severity >= Severity::Moderate;
                let inside = inside.remove(&place).filter(|_| leads).unwrap_or_default();
                let spoken = Spoken { own: word, inside };
                let step = book.tell(&mut now, key, spoken.whole(), &spoken.inside);
                book.speak(key, spoken);
                step
            }
            Says::Clear { title, text } if SPEAK_ON.contains(&minder) => {
                let said = book.get(&place, minder).map(|open| open.joined.clone()).unwrap_or_default();
                let stands = inside.remove(&place).unwrap_or_default().into_iter();
                let handed = stands.map(|(minder, _)| minder.to_owned()).filter(|it| said.contains(it));
                book.close(at_ms, key, (title, text), handed.collect())
            }
            Says::Clear { title, text } => book.close(at_ms, key, (title, text), Vec::new()),
            Says::Came { title, text } => silently(book.close(at_ms, key, (title, text), Vec::new())),
            Says::Word(word) | Says::Meanwhile(word) if word.joins_heat && heat_leads(book, &place) => {
                let title = "The heat notice says this as well.".to_owned();
                silently(book.close(at_ms, key, (title, word.text), Vec::new()))
            }
            Says::Meanwhile(own) => {
                book.speak(key, Spoken { own, inside: Vec::new() });
                None
            }
            Says::Word(word) => {
                let of = |severity| Word { severity, push: false, ..word.clone() };
                let each: Vec<_> = each.iter().map(|(planting, bad)| (planting.as_str(), of(*bad))).collect();
                let step = book.tell(&mut now, key, word.clone(), &each);
                if minder == ON_COURSE {
                    book.speak(key, Spoken { own: word, inside: Vec::new() });
                } else {
                    // What was said meanwhile is over.
                    book.forget_spoken(key);
                }
                step
            }
        };
        steps.extend(step);
    }
    steps
}

/// The end of a notice that another goes on from: that one has the buzz.
fn silently(closed: Option<Step>) -> Option<Step> {
    closed.map(|step| Step { push: false, ..step })
}

/// Words that a heat notice of their place would say: what buzzes first, then what is worse.
fn gather(verdicts: &[Verdict]) -> Inside {
    let mut inside = Inside::new();
    for it in verdicts {
        if let Says::Word(word) = &it.says
            && word.joins_heat
        {
            inside.entry(it.place.clone()).or_default().push((it.minder, word.clone()));
        }
    }
    for words in inside.values_mut() {
        words.sort_by_key(|(_, word)| Reverse((word.push, word.severity)));
    }
    inside
}

fn heat_leads(book: &Book, place: &str) -> bool {
    book.get(place, TOO_HOT).is_some_and(|open| open.severity >= Severity::Moderate)
}
