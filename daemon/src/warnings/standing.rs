//! Which public warnings are in force at a moment, from all messages that were taken in.
//!
//! A message is taken back or replaced only by its own sender, and only where the later message names it by sender,
//! identifier and time; whoever else says "cancel" changes nothing. What was taken back stays so, in whatever order the
//! messages came and however often they come again.

use std::collections::BTreeSet;

use agronomy::crop::Severity;

use crate::entry::{Entry, Hazard, MessageKind, Note, PublicWarning, Reference, Said};

/// So far may a sender's clock be ahead of ours, ms: an hour (practice).
const AHEAD_MS: i64 = 3_600_000;

/// Whether a message is to be kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Admission {
    /// It is, and is not there yet.
    New,
    /// It is there, as this entry.
    Held(i64),
    /// It is not, and why.
    Not(&'static str),
}

/// Whether a message is to be kept beside those that are, at a moment (UTC ms).
pub fn admission(entries: &[Entry], warning: &PublicWarning, now_ms: i64) -> Admission {
    if let Some((id, _)) = messages(entries, i64::MAX).find(|(_, held)| held.name == warning.name) {
        return Admission::Held(id);
    }
    let sent_ms = warning.name.sent_ms;
    let over = |said: &Said| said.to_ms(sent_ms) <= now_ms;
    let about_held = || messages(entries, i64::MAX).any(|(_, held)| replaces(warning, &held.name));
    if sent_ms > now_ms.saturating_add(AHEAD_MS) {
        Admission::Not("it says that it was sent at a time to come")
    } else if about_held() {
        Admission::New
    } else if warning.kind == MessageKind::Alert && warning.says.iter().all(over) {
        Admission::Not("it is over")
    } else if warning.says.is_empty() && !warning.bare {
        Admission::Not("it concerns neither this place nor a warning that is held")
    } else {
        Admission::New
    }
}

/// A warning that is in force or to come.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Standing<'a> {
    /// The message.
    pub message: &'a PublicWarning,
    /// What it says.
    pub said: &'a Said,
    /// From when, UTC ms.
    pub from_ms: i64,
    /// Until when, UTC ms.
    pub to_ms: i64,
}

/// The warnings in force or to come at a moment (UTC ms), by what was taken in until then: the earliest first, and of
/// those that begin together the worst.
pub fn in_force(entries: &[Entry], now_ms: i64) -> Vec<Standing<'_>> {
    let held: Vec<&PublicWarning> = messages(entries, now_ms).map(|(_, message)| message).collect();
    let replaced: BTreeSet<&Reference> =
        held.iter().flat_map(|later| later.references.iter().filter(|name| replaces(later, name))).collect();
    let mut standing: Vec<Standing<'_>> = held
        .iter()
        .filter(|message| message.kind != MessageKind::Cancel && !replaced.contains(&message.name))
        .filter(|message| !held.iter().any(|later| overtakes(later, message)))
        .flat_map(|message| message.says.iter().map(|said| stands(message, said)))
        .filter(|standing| standing.to_ms > now_ms)
        .collect();
    standing.sort_by_key(|it| (it.from_ms, std::cmp::Reverse(it.said.severity)));
    standing
}

fn stands<'a>(message: &'a PublicWarning, said: &'a Said) -> Standing<'a> {
    let sent_ms = message.name.sent_ms;
    Standing { message, said, from_ms: said.from_ms(sent_ms), to_ms: said.to_ms(sent_ms) }
}

/// The messages that were taken in until a moment, with their numbers.
fn messages(entries: &[Entry], now_ms: i64) -> impl Iterator<Item = (i64, &PublicWarning)> {
    entries.iter().filter(move |entry| entry.at_ms <= now_ms).filter_map(|entry| match &entry.note {
        Note::PublicWarning(message) => Some((entry.id, message)),
        _ => None,
    })
}

/// Whether a message takes the place of another, or takes it back.
fn replaces(later: &PublicWarning, earlier: &Reference) -> bool {
    matches!(later.kind, MessageKind::Update | MessageKind::Cancel)
        && later.name.sender == earlier.sender
        && later.references.contains(earlier)
}

/// Whether a message came to nothing by a newer one about the same earlier message: an old Update that comes late, after
/// the next Update or the Cancel. An Update that says nothing here may have split the area, and overtakes none.
fn overtakes(later: &PublicWarning, message: &PublicWarning) -> bool {
    let about_the_same = |earlier: &&Reference| replaces(message, earlier) && replaces(later, earlier);
    later.name.sent_ms > message.name.sent_ms
        && later.name.sender == message.name.sender
        && (later.kind == MessageKind::Cancel || !later.says.is_empty())
        && message.references.iter().any(|earlier| about_the_same(&earlier))
}

/// A public heat warning, for whoever plans for heat.
#[derive(Clone, Debug, PartialEq)]
pub struct HeatWarning {
    /// From when the heat is expected, UTC ms; may lie in the future.
    pub from_ms: i64,
    /// Until when, UTC ms.
    pub to_ms: i64,
    /// How bad, by the authority; none where it does not say.
    pub severity: Option<Severity>,
    /// Who warns.
    pub sender_name: String,
    /// The event in the authority's words.
    pub event: String,
    /// Its headline, where it has one.
    pub headline: Option<String>,
    /// The area in the authority's words.
    pub area: String,
    /// When it was sent, UTC ms.
    pub sent_ms: i64,
}

/// The heat warnings in force or to come at a moment (UTC ms), in the order of [`in_force`].
pub fn heat_in_force(entries: &[Entry], now_ms: i64) -> Vec<HeatWarning> {
    let heat = in_force(entries, now_ms).into_iter().filter(|it| it.said.hazard == Hazard::Heat);
    heat.map(|it| HeatWarning {
        from_ms: it.from_ms,
        to_ms: it.to_ms,
        severity: it.said.severity,
        sender_name: it.said.sender_name.clone().unwrap_or_else(|| it.message.name.sender.clone()),
        event: it.said.event.clone(),
        headline: it.said.headline.clone(),
        area: it.said.area.clone(),
        sent_ms: it.message.name.sent_ms,
    })
    .collect()
}

#[cfg(test)]
#[path = "standing_tests.rs"]
mod tests;
