//! What of a message concerns the garden: heat and frost, here, meant for everybody.
//!
//! Whether an event is heat or frost is told by the words and codes that the site file lists, held against the event's
//! own name and codes, and never guessed from headline or description.

use std::collections::{BTreeMap, BTreeSet};

use super::area::covers;
use super::cap::{Alert, Info, MessageKind, Response, Scope, Status, Urgency};
use crate::entry::{Hazard, PublicWarning, Reference, Said};

/// The longest text that is kept, bytes.
const LONGEST_TEXT: usize = 4096;
/// What stands at the end of a text that was longer.
const CUT: &str = " […]";
/// The longest name of a sender or message, bytes: it is kept whole or not at all.
const LONGEST_NAME: usize = 512;
/// The most warnings kept of one message.
const MOST_SAID: usize = 8;
/// The most references kept of one message, the newest ones.
const MOST_REFERENCES: usize = 200;

/// Where the garden is, and what is listened for.
#[derive(Clone, Debug, PartialEq)]
pub struct Listening {
    /// ° north, ° east.
    pub place: (f64, f64),
    /// The codes of areas that mean the place: list, codes of it.
    pub geocodes: BTreeMap<String, Vec<String>>,
    /// The grower's language, as a tag; the sender's first where absent.
    pub language: Option<String>,
    /// Which events are heat.
    pub heat: Events,
    /// Which events are frost.
    pub frost: Events,
}

/// Which events are meant.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Events {
    /// Words, each as a list of its parts in lower case.
    words: BTreeSet<Vec<String>>,
    /// Codes: list, code.
    codes: BTreeSet<(String, String)>,
}

impl Events {
    /// From lines as the site file has them: `LIST=CODE` is a code of a list, anything else are words.
    pub fn of<'a>(lines: impl IntoIterator<Item = &'a str>) -> Self {
        let mut events = Self::default();
        for line in lines {
            match line.split_once('=') {
                Some((list, code)) => {
                    _ = events.codes.insert((list.trim().to_owned(), code.trim().to_owned()));
                }
                None => _ = events.words.insert(parts(line)),
            }
        }
        events.words.remove(&Vec::new());
        events
    }

    /// Whether an event is meant: some of the words stand in its name, whole and in order, whatever their case; or it
    /// has one of the codes.
    pub fn mean(&self, info: &Info) -> bool {
        let named = parts(&info.event);
        let words = self.words.iter().any(|words| named.windows(words.len()).any(|some| some == words));
        words || info.event_codes.iter().any(|code| self.codes.contains(code))
    }
}

/// The words of a text in lower case; what is neither letter nor digit stands between words.
fn parts(text: &str) -> Vec<String> {
    let words = text.split(|sign: char| !sign.is_alphanumeric()).filter(|word| !word.is_empty());
    words.map(str::to_lowercase).collect()
}

/// What of a message is to be kept; none where it is not meant, not for everybody, or an Alert that says nothing of heat
/// or frost here. An Update or a Cancel may concern the garden by what it is about, which the ledger knows.
pub fn concerning(alert: &Alert, listening: &Listening, heard_from: &str) -> Option<PublicWarning> {
    let about_others = matches!(alert.kind, MessageKind::Update | MessageKind::Cancel);
    let meant = alert.status == Status::Actual && alert.scope == Scope::Public;
    let kept_whole = |name: &Reference| name.sender.len().max(name.identifier.len()) <= LONGEST_NAME;
    if !meant || !(about_others || alert.kind == MessageKind::Alert) || !kept_whole(&alert.name) {
        return None;
    }
    let says = said(&alert.infos, listening);
    if says.is_empty() && !about_others {
        return None;
    }
    let mut references: Vec<_> = alert.references.iter().filter(|name| kept_whole(name)).cloned().collect();
    references.sort_by_key(|name| std::cmp::Reverse(name.sent_ms));
    references.truncate(MOST_REFERENCES);
    Some(PublicWarning {
        name: alert.name.clone(),
        kind: alert.kind,
        references,
        bare: alert.infos.is_empty(),
        says,
        heard_from: cut(heard_from),
    })
}

/// The warnings of a message's blocks, each once, in the grower's language where it is there.
fn said(infos: &[Info], listening: &Listening) -> Vec<Said> {
    let hazard = |info: &Info| {
        let heat = listening.heat.mean(info).then_some(Hazard::Heat);
        heat.or_else(|| listening.frost.mean(info).then_some(Hazard::Frost))
    };
    let here = |info: &&Info| {
        info.areas.iter().any(|area| covers(area, listening.place, &listening.geocodes)) && warns(info)
    };
    let mut kept: Vec<(Hazard, &Info)> = Vec::new();
    for info in infos.iter().filter(here) {
        let Some(hazard) = hazard(info).or_else(|| translations(infos, info).find_map(hazard)) else {
            continue;
        };
        if kept.len() < MOST_SAID && !kept.iter().any(|(_, other)| is_translation(other, info)) {
            kept.push((hazard, info));
        }
    }
    kept.into_iter()
        .map(|(hazard, info)| {
            let all = std::iter::once(info).chain(translations(infos, info));
            let best = all.min_by_key(|one| strangeness(&one.language, listening.language.as_deref()));
            one(hazard, info, best.unwrap_or(info))
        })
        .collect()
}

/// Whether a block says that something is to come or there, not that it is over.
fn warns(info: &Info) -> bool {
    !info.responses.contains(&Response::AllClear) && info.urgency != Urgency::Past
}

/// The same block in other languages.
fn translations<'a>(infos: &'a [Info], of: &'a Info) -> impl Iterator<Item = &'a Info> {
    infos.iter().filter(|info| is_translation(info, of))
}

/// Two blocks in different languages that are equally bad and end together say the same (practice: the standard has one
/// block for each language, and no mark by which they belong together; 3.2.2).
fn is_translation(a: &Info, b: &Info) -> bool {
    !a.language.eq_ignore_ascii_case(&b.language)
        && (a.severity, a.urgency, a.certainty, a.expires_ms)
            == (b.severity, b.urgency, b.certainty, b.expires_ms)
}

/// How far a language is from the wanted one: 0 the same, 1 the same but for the country, 2 another. Of equals the first
/// is taken (`min_by_key` keeps it).
fn strangeness(language: &str, wanted: Option<&str>) -> u8 {
    let main = |tag: &str| tag.split('-').next().unwrap_or_default().to_lowercase();
    match wanted {
        Some(wanted) if wanted.eq_ignore_ascii_case(language) => 0,
        Some(wanted) if main(wanted) == main(language) => 1,
        _ => 2,
    }
}

/// A block with the words of its best translation.
fn one(hazard: Hazard, info: &Info, words: &Info) -> Said {
    let text = |text: &Option<String>| text.as_deref().filter(|text| !text.is_empty()).map(cut);
    let areas = |info: &Info| info.areas.iter().map(|area| area.words.clone()).collect::<Vec<_>>().join("; ");
    Said {
        hazard,
        event: cut(&words.event),
        severity: info.severity,
        urgency: info.urgency,
        certainty: info.certainty,
        effective_ms: info.effective_ms,
        onset_ms: info.onset_ms,
        expires_ms: info.expires_ms,
        language: cut(&words.language),
        sender_name: text(&words.sender_name).or_else(|| text(&info.sender_name)),
        headline: text(&words.headline),
        description: text(&words.description),
        instruction: text(&words.instruction),
        web: text(&words.web),
        area: cut(&if words.areas.is_empty() { areas(info) } else { areas(words) }),
    }
}

/// A text, cut with a mark where it is longer than what is kept.
fn cut(text: &str) -> String {
    if text.len() <= LONGEST_TEXT {
        return text.to_owned();
    }
    let most = LONGEST_TEXT - CUT.len();
    let end = (0..=most).rev().find(|at| text.is_char_boundary(*at)).unwrap_or(0);
    format!("{}{CUT}", &text[..end])
}

#[cfg(test)]
#[path = "taken_tests.rs"]
mod tests;
