//! Weather in which a disease is worth looking for: once a day, to page and letter, one notice for a place.
//!
//! A rule of the weather has seen no leaf. What follows from it is to look and to let the leaves dry, never to spray; for
//! anything put on a crop the label and local rules come first. Humidity is measured where the probe hangs, and in the
//! leaves it is higher: the hours are "at least".
//!
//! Which rules are looked at goes by what stands there ([`rules`]). The notice says all that are met. Where others are
//! met than the day before, it ends with the day and a new one says which, so that what is read is what stands.

mod rules;

use agronomy::crop::Severity;
use agronomy::series::MS_PER_HOUR;
use agronomy::signs::words::Sign;

use self::rules::Looked;
use super::place_now::{PlaceNow, Standing};
use super::soil_now::SoilNow;
use super::word::{Verdict, Word};
use super::words::planting;

/// The name of the minder.
pub const SIGNS: &str = "signs";

/// Where the probe that measures humidity hangs, m above ground; above this the leaves are damper than it says.
const HIGH_M: f64 = 1.5;
/// Most plantings that are named for one sign.
const NAMED: usize = 3;
/// The ground is judged each quarter of an hour: in the first one of a day a notice ends that has other signs to name.
const QUARTER_MS: i64 = MS_PER_HOUR / 4;

/// Judges a place by its closed days. `height_m`: of its probe. None where nothing that stands there gets any of it.
pub fn judge(now: &PlaceNow<'_>, soil: &SoilNow<'_>, height_m: Option<f64>, told: bool) -> Option<Verdict> {
    let looked = rules::look(now, soil, soil.yesterday);
    let clear =
        |title: &str, why: &str| Verdict::clear(SIGNS, now.place, title, format!("{}: {why}", now.name));
    if looked.is_empty() {
        return told.then(|| clear("No sign to look for.", "nothing stands here that is watched for it."));
    }
    let found = met(&looked);
    if found.is_empty() {
        let some = looked.iter().any(|it| it.met.is_some());
        let all = looked.iter().all(|it| it.met.is_some() || !it.known_lately);
        return if some && all {
            Some(clear("No sign to look for.", "the weather of the last days gives no reason to look."))
        } else {
            told.then(|| Verdict::unknown(SIGNS, now.place))
        };
    }
    if told && soil.at_ms < now.day.start + QUARTER_MS && differs(&looked, now, soil) {
        return Some(clear("Other signs to look for from today.", "the next notice says which."));
    }
    Some(Verdict::word(SIGNS, now.place, word(now, soil, &found, height_m)?))
}

/// What is met, each disease once: the first of two reasons to look for it is enough.
fn met<'a, 'b>(looked: &'b [Looked<'a>]) -> Vec<&'b Looked<'a>> {
    let mut found: Vec<&Looked<'_>> = Vec::new();
    for it in looked.iter().filter(|it| it.met == Some(true)) {
        if found.iter().all(|other| other.sign.name() != it.sign.name()) {
            found.push(it);
        }
    }
    found
}

/// Whether the day before another set was met. What is not known now stays as it was.
fn differs(looked: &[Looked<'_>], now: &PlaceNow<'_>, soil: &SoilNow<'_>) -> bool {
    let before = rules::look(now, soil, soil.yesterday - 1);
    let names = |looked: &[Looked<'_>]| -> Vec<&'static str> {
        met(looked).into_iter().map(|it| it.sign.name()).collect()
    };
    let (said, stands) = (names(&before), names(looked));
    let unknown = |name: &str| looked.iter().any(|it| it.sign.name() == name && it.met.is_none());
    let new = stands.iter().any(|name| !said.contains(name));
    let gone = said.iter().any(|name| !stands.contains(name) && !unknown(name));
    !said.is_empty() && (new || gone)
}

fn word(
    now: &PlaceNow<'_>,
    soil: &SoilNow<'_>,
    found: &[&Looked<'_>],
    height_m: Option<f64>,
) -> Option<Word> {
    let first = found.first()?;
    let mut signs: Vec<&str> = Vec::new();
    let mut said = Vec::new();
    let mut meanwhile: Vec<&str> = Vec::new();
    for it in found {
        let words = it.sign.scouting();
        said.push(format!("{}: {} ({} {})", names(&it.who), words.look_for, words.rule, words.bounds));
        signs.push(it.sign.name());
        if !meanwhile.contains(&words.meanwhile) {
            meanwhile.push(words.meanwhile);
        }
    }
    said.extend(meanwhile.into_iter().map(str::to_owned));
    if found.iter().any(|it| it.sign.goes_by_damp()) {
        said.extend(at_least(soil, height_m));
    }
    let mites_only = found.iter().all(|it| it.sign == Sign::SpiderMites);
    let dry = if mites_only { "" } else { ", and let the leaves dry" };
    Some(Word {
        planting: first.who.first().map(|it| it.planting.id.clone()),
        severity: Severity::Minor,
        push: false,
        joins_heat: false,
        title: format!("{}: look for {}{dry}.", now.name, listed(&signs)),
        text: format!("{}: {}", now.name, said.join(" ")),
        caution: first.sign.scouting().defer,
    })
}

/// "tomatoes ‘Brindle’, basil and others".
fn names(who: &[&Standing<'_>]) -> String {
    let mut names: Vec<String> = Vec::new();
    for standing in who {
        let name = planting(standing);
        if !names.contains(&name) {
            names.push(name);
        }
    }
    if names.len() > NAMED {
        names.truncate(NAMED);
        names.push("others".to_owned());
    }
    listed(&names.iter().map(String::as_str).collect::<Vec<_>>())
}

/// "one, two and three".
fn listed(words: &[&str]) -> String {
    match words {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

/// Why the hours of damp air are a least figure.
fn at_least(soil: &SoilNow<'_>, height_m: Option<f64>) -> Option<String> {
    if soil.of_yesterday().is_some_and(|it| it.wet_film) {
        return Some("The humidity probe may be wet itself: dry it and look again.".to_owned());
    }
    let height = height_m.filter(|height| *height > HIGH_M)?;
    Some(format!("The probe hangs {height:.1} m up; between the leaves it was damp for longer."))
}

#[cfg(test)]
mod tests {
    use super::listed;

    #[test]
    fn what_is_looked_for_is_listed_with_an_and() {
        assert_eq!(listed(&["late blight"]), "late blight");
        assert_eq!(listed(&["late blight", "grey mould", "mites"]), "late blight, grey mould and mites");
    }
}
