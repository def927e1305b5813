//! Probe silent: blind is not calm.
//!
//! Told once twice the usual interval has passed without a reading, with a minute of grace for one that is on its way:
//! the next but one falls due just then, and one lost message is no blindness. A probe that speaks often is given longer,
//! but not where a limit was near, for there each minute counts. Probes that fall silent together, because
//! their broker or bus went away or a whole place is dark, are one thing to go and look at: one notice, not ten.
//!
//! Nobody is sent into a house that was too hot for people when it was last read: from the door, or once it is cooler.
//!
//! One that is heard again is believed once it was heard ten minutes long: a loose plug is one notice, not twenty.

use std::collections::{BTreeMap, BTreeSet};

use agronomy::crop::Severity;
use agronomy::people::caution::IN_THE_HOUSE;
use agronomy::series::MS_PER_HOUR;

use super::word::{Verdict, Word};
use crate::calendar::Calendar;

/// The name of the minder.
pub const SILENT: &str = "probe-silent";
const MINUTE: i64 = 60_000;
/// Shortest silence that is told, ms: a probe that speaks each second may be busy for a while.
const SHORTEST_MS: i64 = 10 * MINUTE;
/// The same where a limit is near.
const SHORTEST_NEAR_MS: i64 = 3 * MINUTE;
/// How long a probe must be heard again before its silence is over, ms (own choice).
pub const SETTLED_MS: i64 = 10 * MINUTE;
/// Silence longer than this is no news any more, ms.
const NEWS_MS: i64 = 2 * 86_400_000;
/// How to look at a house that nobody should go into.
const FROM_THE_DOOR: &str = "Look from the door, or once it is cooler.";
/// Most probes named in one sentence.
const NAMED: usize = 4;

/// A probe at a moment.
#[derive(Clone, Debug)]
pub struct ProbeNow<'a> {
    /// The moment, UTC ms.
    pub now_ms: i64,
    /// Its name.
    pub probe: &'a str,
    /// Where it hangs: identifier.
    pub place: &'a str,
    /// Where it hangs, as the grower calls it.
    pub place_name: &'a str,
    /// Its usual interval, ms.
    pub usual_interval_ms: i64,
    /// When it last said anything at all, UTC ms; none if never since it was hung.
    pub heard_ms: Option<i64>,
    /// When it had said anything last [`SETTLED_MS`] ago, UTC ms.
    pub heard_before_ms: Option<i64>,
    /// Its last air temperature, °C.
    pub last_c: Option<f64>,
    /// Its air is not to be believed.
    pub in_doubt: bool,
    /// Within 3 °C of a severe line of heat or of a tender crop's line of frost when last heard: blindness may push.
    pub limit_near: bool,
    /// It hangs under cover, and when last heard it was too hot there for anybody to go in.
    pub stay_out: bool,
    /// Another probe still gives the place sound air.
    pub place_still_seen: bool,
    /// The source whose going away made it fall silent, as far as is known.
    pub away: Option<&'a str>,
}

impl ProbeNow<'_> {
    /// When the silence is long enough to be told, UTC ms.
    pub fn told_from(&self) -> Option<i64> {
        Some(self.heard_ms? + self.patience_ms())
    }

    fn patience_ms(&self) -> i64 {
        let shortest_ms = if self.is_pressing() { SHORTEST_NEAR_MS } else { SHORTEST_MS };
        (2 * self.usual_interval_ms + MINUTE).max(shortest_ms)
    }

    /// It is heard, and was so before already: by another reading than its newest, for a single one is no sign of life.
    fn is_settled(&self) -> bool {
        let before_ms = self.now_ms - SETTLED_MS;
        let before = self.heard_before_ms.filter(|at| before_ms < at + self.patience_ms());
        !self.is_silent() && before.is_some() && before < self.heard_ms
    }

    /// It is heard, and it is not known yet whether that lasts.
    fn is_unsettled(&self) -> bool {
        !self.is_silent() && !self.is_settled()
    }

    fn is_pressing(&self) -> bool {
        self.limit_near && !self.place_still_seen
    }

    fn is_silent(&self) -> bool {
        self.told_from().is_some_and(|from| self.now_ms >= from)
    }

    /// It should have spoken.
    fn is_late(&self) -> bool {
        self.heard_ms.is_some_and(|heard| self.now_ms - heard > self.usual_interval_ms + MINUTE)
    }

    /// What was last heard days ago says nothing of a limit now: a record taken in wakes nobody.
    fn pushes(&self) -> bool {
        self.is_pressing() && self.heard_ms.is_some_and(|heard| self.now_ms - heard < NEWS_MS)
    }
}

/// Judges all probes that hang somewhere. A notice's place is the probe's name; that of several is the source that went
/// away, or the place that is dark. `sources`: all that ever went away.
pub fn judge<'a>(
    probes: &[ProbeNow<'a>],
    sources: impl Iterator<Item = &'a str>,
    calendar: &Calendar,
) -> Vec<Verdict> {
    let mut together: BTreeMap<Cause<'a>, Vec<&ProbeNow<'a>>> = BTreeMap::new();
    for probe in probes.iter().filter(|probe| probe.is_silent() || fell_with_others(probe, probes)) {
        together.entry(cause(probe)).or_default().push(probe);
    }
    together.retain(|_, probes| probes.len() > 1);
    let mut said: BTreeMap<&str, Verdict> = BTreeMap::new();
    for (cause, probes) in &together {
        let (Cause::Place(key) | Cause::Source(key)) = *cause;
        said.insert(key, Verdict::word(SILENT, key, several(probes, *cause, calendar)));
    }
    for probe in probes {
        let others = together.get(&cause(probe));
        let joined = others.is_some_and(|others| others.iter().any(|it| it.probe == probe.probe));
        if let Some(verdict) = one(probe, joined, calendar) {
            said.entry(probe.probe).or_insert(verdict);
        }
    }
    let places: BTreeSet<&str> = probes.iter().map(|probe| probe.place).collect();
    for place in places {
        let here = probes.iter().filter(|it| it.place == place);
        let name = here.clone().next().map_or(place, |probe| probe.place_name);
        said.entry(place).or_insert_with(|| over((place, name), here, calendar));
    }
    // Which probes spoke by a source is not known any more once it is back: it may be any.
    for source in sources {
        let name = format!("The {}", line_words(source));
        said.entry(source).or_insert_with(|| over((source, &name), probes.iter(), calendar));
    }
    said.into_values().collect()
}

/// That several which were silent together are heard again; not before each of these is for good.
fn over<'a>(
    (key, name): (&str, &str),
    probes: impl Iterator<Item = &'a ProbeNow<'a>>,
    calendar: &Calendar,
) -> Verdict {
    match probes.filter(|probe| probe.is_unsettled()).max_by_key(|probe| probe.heard_ms) {
        Some(newest) => heard_again(key, &format!("{name}: its probes are heard again"), newest, calendar),
        None => Verdict::clear(SILENT, key, "Heard again.", format!("{name}: its probes are heard again.")),
    }
}

/// What was told reads by now like this: heard again, and not yet for long enough to be believed.
fn heard_again(key: &str, what: &str, newest: &ProbeNow<'_>, calendar: &Calendar) -> Verdict {
    let Some(heard_ms) = newest.heard_ms else { return Verdict::unknown(SILENT, key) };
    let word = Word {
        planting: None,
        severity: Severity::Minor,
        push: false,
        joins_heat: false,
        title: "Heard again; see whether it lasts.".to_owned(),
        text: format!(
            "{what}, last at {}. Once that has lasted for {} minutes it is over.",
            calendar.clock(heard_ms),
            SETTLED_MS / MINUTE
        ),
        caution: "",
    };
    Verdict::meanwhile(SILENT, key, word)
}

/// What makes several fall silent together.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Cause<'a> {
    /// The place is dark.
    Place(&'a str),
    /// The source that went away.
    Source(&'a str),
}

/// By what it is told with others: the source that went away, or else its place.
fn cause<'a>(probe: &ProbeNow<'a>) -> Cause<'a> {
    probe.away.map_or(Cause::Place(probe.place), Cause::Source)
}

/// Whether a probe that is late spoke last when one that is silent did: it will not speak again, and is told of with it.
fn fell_with_others(probe: &ProbeNow<'_>, probes: &[ProbeNow<'_>]) -> bool {
    let with = |other: &ProbeNow<'_>| {
        let near_ms = probe.usual_interval_ms.max(other.usual_interval_ms) + MINUTE;
        let apart_ms = other.heard_ms.zip(probe.heard_ms).map(|(a, b)| (a - b).abs());
        other.is_silent() && cause(other) == cause(probe) && apart_ms.is_some_and(|apart| apart <= near_ms)
    };
    probe.is_late() && probes.iter().any(with)
}

/// A line of the board in words.
fn line_words(source: &str) -> String {
    if source.starts_with('/') { format!("bus {source}") } else { source.to_owned() }
}

/// What is said of one probe by itself.
fn one(now: &ProbeNow<'_>, joined: bool, calendar: &Calendar) -> Option<Verdict> {
    let heard_ms = now.heard_ms?;
    let name = format!("{} in {}", now.probe, now.place_name);
    if joined {
        let text = format!("{name}: told of with the others that fell silent.");
        return Some(Verdict::clear(SILENT, now.probe, "Others are silent too.", text));
    }
    if now.is_unsettled() {
        return Some(heard_again(now.probe, &format!("{name}: heard again"), now, calendar));
    }
    if !now.is_silent() {
        let text = format!("{name}: heard again at {}.", calendar.clock(heard_ms));
        return Some(Verdict::clear(SILENT, now.probe, "Heard again.", text));
    }
    let since = since(heard_ms, now.now_ms, calendar);
    let word = Word {
        planting: None,
        severity: if now.place_still_seen { Severity::Minor } else { Severity::Moderate },
        push: now.pushes(),
        joins_heat: false,
        title: if now.stay_out {
            format!("Do not go into {} to look. {FROM_THE_DOOR}", now.place_name)
        } else {
            format!("Go and look at {}.", now.place_name)
        },
        text: format!(
            "{name}: nothing heard since {since}{}{}. Battery, cable, shade on the probe? What is not measured is not \
             known.",
            last(now),
            now.away.map_or_else(String::new, |source| format!(", the {} went away", line_words(source)))
        ),
        caution: if now.stay_out { IN_THE_HOUSE } else { "" },
    };
    Some(Verdict::word(SILENT, now.probe, word))
}

/// What is said of several as one.
fn several(probes: &[&ProbeNow<'_>], cause: Cause<'_>, calendar: &Calendar) -> Word {
    let pressing = |probe: &&&ProbeNow<'_>| probe.is_pressing();
    // What is in doubt speaks for a place only where nothing else does.
    let first = probes.iter().min_by_key(|it| (!it.is_pressing(), it.in_doubt)).unwrap_or(&probes[0]);
    let seen = probes.iter().all(|probe| probe.place_still_seen);
    let mut places: Vec<&str> = probes.iter().filter(pressing).map(|probe| probe.place_name).collect();
    if places.is_empty() {
        places = probes.iter().map(|probe| probe.place_name).collect();
    }
    places.dedup();
    let more = places.len().saturating_sub(NAMED);
    places.truncate(NAMED);
    let mut wheres = places.join(", ");
    if more > 0 {
        wheres.push_str(&format!(" and {more} more"));
    }
    let mut names: Vec<&str> = probes.iter().take(NAMED).map(|probe| probe.probe).collect();
    let others = format!("{} more", probes.len().saturating_sub(NAMED));
    if probes.len() > NAMED {
        names.push(&others);
    }
    let heard_ms = probes.iter().filter_map(|probe| probe.heard_ms).min().unwrap_or(first.now_ms);
    let since = since(heard_ms, first.now_ms, calendar);
    let (head, look) = match cause {
        Cause::Source(source) => {
            (format!("{wheres}: the {} went away", line_words(source)), "Plug, network, supply of it?")
        }
        Cause::Place(_) => (wheres.clone(), "Supply, network, or what they hang on?"),
    };
    let mut hot: Vec<&str> = probes.iter().filter(|it| it.stay_out).map(|probe| probe.place_name).collect();
    hot.dedup();
    Word {
        planting: None,
        severity: if seen { Severity::Minor } else { Severity::Moderate },
        push: probes.iter().any(|probe| probe.pushes()),
        joins_heat: false,
        title: if hot.is_empty() {
            format!("Go and look at {wheres}: {} probes are silent.", probes.len())
        } else {
            let (hot, count) = (hot.join(" or "), probes.len());
            format!("Do not go into {hot} to look: {count} probes are silent. {FROM_THE_DOOR}")
        },
        text: format!(
            "{head}; nothing heard since {since} of {}{}. {look} What is not measured is not known.",
            names.join(", "),
            last(first)
        ),
        caution: if hot.is_empty() { "" } else { IN_THE_HOUSE },
    }
}

fn last(now: &ProbeNow<'_>) -> String {
    let doubt = if now.in_doubt { ", which was in doubt" } else { "" };
    now.last_c.map_or_else(String::new, |t_c| format!("; last {t_c:.1} °C{doubt}"))
}

/// A clock time alone says nothing once it is not today's or last night's.
fn since(heard_ms: i64, now_ms: i64, calendar: &Calendar) -> String {
    if now_ms - heard_ms < 20 * MS_PER_HOUR {
        calendar.clock(heard_ms)
    } else {
        calendar.civil_format(heard_ms, "%a %-d %B, %H:%M")
    }
}
