//! The teller: makes of what all minders say now the next steps of their notices. A place's heat is told before what
//! else is said of the place.
//!
//! Several minders may speak of one cause. While a heat notice of a place stands, what else the heat does there (the
//! air's pull, pots running empty) is said inside it: one notice, one buzz, one answer.

use std::collections::BTreeMap;

use agronomy::crop::Severity;

use super::book::{Book, Telling};
use super::heat::TOO_HOT;
use super::word::{Says, Verdict, Word};
use crate::entry::Step;

/// Tells what changed at a moment.
pub fn tell(book: &mut Book, mut now: Telling<'_>, verdicts: Vec<Verdict>) -> Vec<Step> {
    let at_ms = now.at_ms;
    let mut inside = gather(book, &verdicts);
    let mut steps = Vec::new();
    for Verdict { minder, place, says } in verdicts {
        let key = (place.as_str(), minder);
        let joined = (minder == TOO_HOT).then(|| inside.remove(&place)).flatten();
        let step = match says {
            Says::Unknown => None,
            Says::Clear { title, text } => {
                let stands = joined.unwrap_or_default();
                let said = book.get(&place, minder).map(|open| open.joined.clone()).unwrap_or_default();
                let handed = stands.into_iter().map(|(minder, _)| minder.to_owned());
                let handed = handed.filter(|minder| said.contains(minder)).collect();
                book.close(at_ms, key, (title, text), handed)
            }
            Says::Came { title, text } => {
                let closed = book.close(at_ms, key, (title, text), Vec::new());
                closed.map(|step| Step { push: false, ..step })
            }
            Says::Word(word) if minder != TOO_HOT && word.joins_heat && heat_leads(book, &place) => {
                let (title, text) = ("The heat notice says this as well.", word.text);
                book.close(at_ms, key, (title.to_owned(), text), Vec::new())
            }
            Says::Word(word) => {
                let joined = joined.unwrap_or_default();
                let pushing: Vec<_> =
                    joined.iter().filter(|(_, it)| it.push).map(|(minder, _)| *minder).collect();
                let word = with(word, &joined);
                book.tell(&mut now, key, word, &pushing)
            }
        };
        steps.extend(step);
    }
    steps
}

/// Words that a heat notice of their place would say, by place.
fn gather(book: &Book, verdicts: &[Verdict]) -> BTreeMap<String, Vec<(&'static str, Word)>> {
    let mut inside: BTreeMap<String, Vec<(&'static str, Word)>> = BTreeMap::new();
    let hot = |place: &str| {
        verdicts.iter().any(|it| {
            it.minder == TOO_HOT
                && it.place == place
                && match &it.says {
                    Says::Word(word) => word.severity >= Severity::Moderate,
                    Says::Clear { .. } | Says::Came { .. } => true,
                    Says::Unknown => heat_leads(book, place),
                }
        })
    };
    for it in verdicts {
        if let Says::Word(word) = &it.says
            && word.joins_heat
            && hot(&it.place)
        {
            inside.entry(it.place.clone()).or_default().push((it.minder, word.clone()));
        }
    }
    inside
}

fn heat_leads(book: &Book, place: &str) -> bool {
    book.get(place, TOO_HOT).is_some_and(|open| open.severity >= Severity::Moderate)
}

/// A heat word with what others have to add. Each begins with the place's name, which need not be said twice.
fn with(mut word: Word, joined: &[(&'static str, Word)]) -> Word {
    for (_, other) in joined {
        let said = other.text.split_once(": ").map_or(other.text.as_str(), |(_, said)| said);
        let mut letters = said.chars();
        let first = letters.next().map(|first| first.to_uppercase().to_string()).unwrap_or_default();
        word.text.push_str(&format!(" {first}{}", letters.as_str()));
    }
    word
}
