//! The one sentence: chosen by rank. Safety and heat first, then blindness, then what comes, then all is well. Of two of
//! one rank the worse stands first, then the hotter place.

use std::cmp::Reverse;

use crate::glance::{NoticeView, PlaceGlance, ProbeGlance, Sentence, Tone};
use crate::keeper::engine::Engine;
use crate::minders::air::AIR;
use crate::minders::dome::HEAT_DOME;
use crate::minders::frost::FROST;
use crate::minders::frost_ahead::FROST_AHEAD;
use crate::minders::heap::HEAP;
use crate::minders::heat::{ON_COURSE, TOO_HOT};
use crate::minders::night::WARM_NIGHT;
use crate::minders::people::PEOPLE;
use crate::minders::pots::POTS;
use crate::minders::root_hot::ROOT_HOT;
use crate::minders::seedbed::SEEDBED;
use crate::minders::silent::SILENT;
use crate::minders::soil_dry::SOIL_DRY;
use crate::minders::soil_wet::SOIL_WET;
use crate::minders::warm_spell::WARM_SPELL;
use crate::minders::words::limit;

/// What is minor and presses nobody stands under the sentence, not in it.
const ASIDE: u8 = 11;

/// Rank of a minder on the lintel; lower stands first. A severe heat notice stands before all.
fn rank(notice: &NoticeView) -> u8 {
    use agronomy::crop::Severity;
    match notice.minder.as_str() {
        TOO_HOT if notice.severity >= Severity::Severe => 0,
        ON_COURSE => 1,
        FROST | PEOPLE if notice.severity >= Severity::Severe => 1,
        // Heard again, and it remains to be seen whether that lasts.
        SILENT if notice.now.is_some() => 7,
        SILENT if notice.severity >= Severity::Moderate => 2,
        // Of nights and days that are over: it stands under the sentence.
        WARM_SPELL => ASIDE,
        // What presses now before what comes in days.
        TOO_HOT => 3,
        HEAT_DOME => 4,
        POTS | SEEDBED if notice.severity >= Severity::Moderate => 5,
        HEAP if notice.severity >= Severity::Severe => 5,
        FROST | FROST_AHEAD | WARM_NIGHT => 6,
        SILENT => 7,
        SOIL_DRY | SOIL_WET | ROOT_HOT | POTS => 8,
        AIR => 9,
        _ if notice.severity >= Severity::Moderate => 10,
        _ => ASIDE,
    }
}

fn tone(notice: &NoticeView) -> Tone {
    match notice.minder.as_str() {
        TOO_HOT => Tone::Past,
        SILENT if notice.now.is_some() => Tone::Soon,
        SILENT => Tone::Blind,
        PEOPLE if notice.severity >= agronomy::crop::Severity::Severe => Tone::Past,
        ON_COURSE | HEAT_DOME | FROST | FROST_AHEAD => Tone::Soon,
        POTS | SEEDBED | SOIL_DRY | SOIL_WET | ROOT_HOT
            if notice.severity >= agronomy::crop::Severity::Moderate =>
        {
            Tone::Soon
        }
        HEAP if notice.severity >= agronomy::crop::Severity::Severe => Tone::Soon,
        _ => Tone::Well,
    }
}

/// Chooses the sentence.
pub(super) fn sentence(
    engine: &Engine,
    open: &[NoticeView],
    places: &[PlaceGlance],
    probes: &[ProbeGlance],
) -> Sentence {
    let now_ms = engine.now_ms();
    let free = |notice: &&NoticeView| notice.later_until_ms.is_none_or(|until| until <= now_ms);
    // A heat notice of a place that has fallen silent is old news: that nothing is known comes first.
    let blind = |notice: &NoticeView| {
        let place = places.iter().find(|place| place.place == notice.place);
        matches!(notice.minder.as_str(), TOO_HOT | ON_COURSE)
            && place.is_some_and(|place| place.t_c.is_none())
    };
    let of = |notice: &NoticeView, tone| {
        notice.steps.last().map(|step| Sentence {
            tone,
            order: notice.order().to_owned(),
            why: refreshed(engine, notice, places).unwrap_or_else(|| step.text.clone()),
            notice: Some(notice.id.clone()),
        })
    };
    let leads = |notice: &&NoticeView| rank(notice) < ASIDE;
    let tenths = |notice: &NoticeView| {
        let place = places.iter().find(|place| place.place == notice.place);
        place.and_then(|place| place.t_c).map(|t_c| (t_c * 10.0) as i64)
    };
    let first = open.iter().filter(free).filter(leads).min_by_key(|notice| {
        let rank = if blind(notice) { 7 } else { rank(notice) };
        (rank, Reverse(notice.severity), Reverse(tenths(notice)))
    });
    let first = first.and_then(|notice| of(notice, tone(notice)));
    // "Later" puts a notice off; it does not make well what nobody sees.
    let unseen = |notice: &&NoticeView| notice.minder == SILENT && !is_seen(engine, notice, places);
    let unseen = || open.iter().find(unseen).and_then(|notice| of(notice, Tone::Blind));
    let seen = places.iter().any(|place| place.t_c.is_some());
    let told = match first {
        Some(first) if first.tone != Tone::Well => Some(first),
        first => unseen().or_else(|| dark(places, probes).filter(|_| seen)).or(first),
    };
    if let Some(told) = told {
        return told;
    }
    if !seen && !probes.is_empty() {
        return Sentence {
            tone: Tone::Blind,
            order: "Go and look: nothing is heard.".to_owned(),
            why: "No probe gives a sound air temperature now. What is not measured is not known.".to_owned(),
            notice: None,
        };
    }
    if places.iter().all(|place| place.t_c.is_none() && place.by_hand.is_none()) {
        return Sentence {
            tone: Tone::Well,
            order: "Say what stands where.".to_owned(),
            why: "Add a place and a planting under Ground; hang a probe, or note a thermometer by hand."
                .to_owned(),
            notice: None,
        };
    }
    calm(engine, places)
}

/// A place whose probes have not said a word yet: no notice tells of them.
fn dark(places: &[PlaceGlance], probes: &[ProbeGlance]) -> Option<Sentence> {
    let mute = |place: &&PlaceGlance| {
        let mut here = probes.iter().filter(|probe| probe.place.as_ref() == Some(&place.place)).peekable();
        here.peek().is_some() && here.all(|probe| probe.newest.is_empty())
    };
    let is_dark = |place: &&PlaceGlance| place.t_c.is_none() && place.by_hand.is_none() && mute(place);
    let place = places.iter().find(is_dark)?;
    Some(Sentence {
        tone: Tone::Blind,
        order: format!("Go and look at {}: nothing is heard there.", place.name),
        why: "No probe there has said anything yet. What is not measured is not known.".to_owned(),
        notice: None,
    })
}

/// Whether what a notice of silence is about is seen by others. Its own place is a probe's name, a place, or the source
/// that went away: then any dark place with a probe counts.
fn is_seen(engine: &Engine, notice: &NoticeView, places: &[PlaceGlance]) -> bool {
    let now_ms = engine.now_ms();
    let hang = engine.ground.hang_at(&notice.place, now_ms);
    let id = hang.map_or(notice.place.as_str(), |hang| hang.place.as_str());
    let lit = |place: &PlaceGlance| place.t_c.is_some();
    places.iter().find(|place| place.place == id).map_or_else(
        || {
            let hung = |place: &PlaceGlance| {
                engine.ground.hangs_in(&place.place, now_ms, now_ms + 1).next().is_some()
            };
            hang.is_some() || places.iter().all(|place| lit(place) || !hung(place))
        },
        lit,
    )
}

/// The first numbers of a heat notice, as they are now rather than as they were when it was told.
fn refreshed(engine: &Engine, notice: &NoticeView, places: &[PlaceGlance]) -> Option<String> {
    if notice.now.is_some() {
        return Some(notice.reason().to_owned());
    }
    let place = places.iter().find(|place| place.place == notice.place)?;
    let t_c = place.t_c.filter(|_| notice.minder == TOO_HOT)?;
    let told = notice.steps.last()?;
    let pace = crate::minders::words::pace(place.trend_c_per_h);
    let rest = told.text.split_once("; ").map_or("", |(_, rest)| rest);
    let clock = engine.site.calendar.clock(place.heard_ms?);
    Some(format!("{}: {t_c:.1} at {clock}{pace}; {rest}", place.name))
}

/// All well: how far the nearest limit is, and what is expected.
fn calm(engine: &Engine, places: &[PlaceGlance]) -> Sentence {
    let nearest = places
        .iter()
        .filter_map(|place| {
            let line = place.lines.first()?;
            Some((place, line, line.limit_c - place.t_c?))
        })
        .min_by(|a, b| a.2.total_cmp(&b.2));
    let peak = places
        .iter()
        .filter_map(|place| {
            let peak = place.expected.iter().max_by(|a, b| a.2.total_cmp(&b.2))?;
            Some((place, *peak))
        })
        .max_by(|a, b| a.1.2.total_cmp(&b.1.2));
    let mut why = String::new();
    if let Some((place, line, left)) = nearest {
        if left < 0.05 {
            // Past a line, and not for long enough yet for a notice.
            let past = format!(
                "{}: {:.1} °C past what {} bear ({})",
                place.name,
                left.abs(),
                line.whose,
                limit(line.limit_c)
            );
            return Sentence {
                tone: Tone::Soon,
                order: format!("Keep an eye on {}.", place.name),
                why: format!("{past}. If that lasts, a notice says what to do."),
                notice: None,
            };
        }
        why = format!(
            "{}: {:.1} °C below what {} bear ({}).",
            place.name,
            left,
            line.whose,
            limit(line.limit_c)
        );
    }
    if let Some((place, (at, low, _, high))) = peak {
        let clock = engine.site.calendar.clock(at);
        why.push_str(&format!(
            " {} is expected to reach {low:.0} to {high:.0} about {clock}, a guess from its last days.",
            place.name
        ));
    }
    if why.is_empty() {
        why = "Nothing is past a limit and nothing is on its way.".to_owned();
    }
    Sentence { tone: Tone::Well, order: "All well for now.".to_owned(), why, notice: None }
}
