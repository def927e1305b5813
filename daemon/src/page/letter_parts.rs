//! The paragraphs of the letter: what needs doing, by when, before what is known and how well.
//!
//! Text, mailed HTML and page are all made of these, so that no figure can differ between them.

use std::collections::BTreeSet;

use agronomy::people::caution::LAST;

use super::cloth::tenth_or_whole;
use super::day::{Day, Event};
use super::figures::{Civil, litres_words, span, tenth};
use super::letter_watch::{Said, brief, for_people, nights, of_minder, watch};
use super::{missed, warnings};
use crate::calendar_out::happening::{heat_days, today};
use crate::figure_words::capital;
use crate::glance::{Delivered, Glance, LitresGlance, PlaceGlance, PlantingGlance, ProbeGlance, State};
use crate::minders::dome;
use crate::minders::signs::SIGNS;

/// Most words of the reason beside the letter's sentence, beyond its first.
const WHY_WORDS: usize = 20;

/// A head with its lines.
pub(super) struct Part {
    pub(super) head: String,
    pub(super) lines: Vec<String>,
}

/// All parts that have something to say, in the order in which they are of use; no sentence twice, nor one that stands
/// above them.
pub(super) fn parts(glance: &Glance) -> Vec<Part> {
    let mut parts = Vec::new();
    let mut said = Said::default();
    for above in [&glance.sentence.order, &why(glance), LAST] {
        said.fresh(above);
    }
    let mut add = |head: &str, lines: Vec<String>| {
        let lines = lines.iter().map(|line| said.fresh(line)).filter(|line| !line.is_empty());
        let lines: Vec<String> = lines.collect();
        if !lines.is_empty() {
            parts.push(Part { head: head.to_owned(), lines });
        }
    };
    add(warnings::heading(&glance.warnings), warnings::lines(glance));
    let missed = missed::words(glance).map(|said| format!("{}.", capital(&said)));
    add("Missed while away", missed.into_iter().collect());
    add("Crops and their water today", crops(glance));
    add("What to watch for today", watch(glance));
    add("The heat plan for today", heat_plan(glance));
    add("The night", nights(glance));
    add("Signs of disease", of_minder(glance, SIGNS));
    if let Some((head, lines)) = for_people(glance) {
        add(&head, lines);
    }
    add("Place by place", glance.places.iter().map(|place| place_line(place, glance)).collect());
    add("Not delivered", undelivered(glance));
    add("How well this is known", known(glance));
    parts
}

/// Why the letter's sentence is so, in brief.
pub(super) fn why(glance: &Glance) -> String {
    brief(&glance.sentence.why, WHY_WORDS)
}

/// The last line of all that was sent: what silence means; none where no letter goes out by itself.
pub(super) fn silence(glance: &Glance) -> Option<String> {
    let by = glance.board.letter_by.as_ref()?;
    Some(format!("No letter by {by} means the board is down."))
}

/// Who tells of the heat, and what the plan wants today. From the second day on it is the same each day, and its order is
/// enough: all of it stands on the page Now.
fn heat_plan(glance: &Glance) -> Vec<String> {
    let mut lines = of_minder(glance, dome::HEAT_DOME);
    let heat = heat_days(glance).map(|heat| ((heat.from - today(glance)).num_days(), heat.pots));
    lines.extend(heat.filter(|(ahead, _)| *ahead >= 0).and_then(|(ahead, pots)| dome::task(ahead, pots)));
    lines
}

/// What did not arrive, and why: also of notices that have closed since.
fn undelivered(glance: &Glance) -> Vec<String> {
    let notices = glance.open.iter().chain(&glance.closed_lately);
    let lines = notices.flat_map(|notice| {
        let title = notice.order().trim_end_matches('.');
        let old = notice.deliveries.iter().filter_map(Delivered::old_words);
        notice.undelivered.iter().cloned().chain(old).map(move |why| format!("“{title}”: {why}."))
    });
    lines.collect()
}

/// A place in one sentence, so that what is true of two places is said of both.
fn place_line(place: &PlaceGlance, glance: &Glance) -> String {
    let civil = Civil(glance.civil_offset_s);
    let when = |ms| civil.when(ms, glance.at_ms);
    let mut said = Vec::new();
    said.push(match (place.t_c, place.heard_ms) {
        (Some(t), Some(heard)) => {
            let doubt = if place.in_doubt { ", in doubt" } else { "" };
            format!("{} °C, read {}{doubt}", tenth(t), when(heard))
        }
        (None, Some(heard)) => format!("now not known, last heard {}", when(heard)),
        _ if place.by_hand.is_none() => "nothing measures its air".to_owned(),
        _ => "now not known".to_owned(),
    });
    if let Some(hand) = &place.by_hand {
        let part = |word: &str, value: Option<f64>| value.map(|t| format!("{word} {} °C", tenth(t)));
        let figures = [part("now", hand.now_c), part("lowest", hand.low_c), part("highest", hand.high_c)];
        let figures = figures.into_iter().flatten().collect::<Vec<_>>().join(", ");
        said.push(format!("by hand, {}: {figures}", when(hand.at_ms)));
    }
    let mut events = Day::of(place, glance).events;
    events.sort_by(|a, b| a.hour.total_cmp(&b.hour));
    // While it rises, the highest is the reading that was just named.
    if let Some((t, ms)) =
        place.high_today.filter(|(_, ms)| place.t_c.is_none() || place.heard_ms != Some(*ms))
    {
        said.push(format!("highest today {} at {}", tenth(t), civil.clock(ms)));
    }
    if let Some((t, ms)) = place.low_last_night {
        said.push(format!("low {} at {}", tenth(t), civil.clock(ms)));
        let again = |event: &Event| event.clock == civil.clock(ms) && event.words.starts_with("low ");
        events.retain(|event| event.expected || !again(event));
    }
    if let (Some(dryness), Some(vpd)) = (&place.dryness, place.vpd_kpa) {
        said.push(format!("air {dryness}, {} kPa", tenth(vpd)));
    }
    said.extend(course(place, &events));
    format!("{}: {}.", place.name, said.join("; "))
}

/// What the day brought and is expected to bring, by the clock, and the place's own limit: with the limits of the crops,
/// all that the picture shows.
fn course(place: &PlaceGlance, events: &[Event]) -> Vec<String> {
    let told = |expected: bool| {
        let told = events.iter().filter(|event| event.expected == expected);
        told.map(|event| format!("{} {}", event.clock, event.words)).collect::<Vec<_>>()
    };
    let mut words = Vec::new();
    for (head, told) in [("today", told(false)), ("expected", told(true))] {
        if !told.is_empty() {
            words.push(format!("{head}: {}", told.join(", ")));
        }
    }
    let own = place.lines.iter().filter(|line| line.of_place);
    words.extend(own.map(|line| format!("limit of {} {}", line.whose, tenth_or_whole(line.limit_c))));
    words.extend(place.holes.iter().map(|(from, to)| format!("nothing heard for {}", span(to - from))));
    words
}

/// Each crop in one sentence; what their litres rest on is said once.
fn crops(glance: &Glance) -> Vec<String> {
    let mut lines: Vec<String> = glance.plantings.iter().map(crop_line).collect();
    let rests = || glance.plantings.iter().filter_map(|it| it.litres_today.as_ref()).map(clauses);
    let shared =
        |a: Vec<_>, b: Vec<_>| a.into_iter().zip(b).map_while(|(a, b)| (a == b).then_some(a)).collect();
    let shared: Vec<&str> = rests().reduce(shared).unwrap_or_default();
    let own: BTreeSet<&str> = rests().flat_map(|it| it.into_iter().skip(shared.len())).collect();
    let own: Vec<&str> = own.into_iter().collect();
    let said = [(String::new(), shared), ("for some: ".to_owned(), own)];
    let said = said.into_iter().filter(|(_, clauses)| !clauses.is_empty());
    let said: Vec<String> = said.map(|(whose, clauses)| whose + &clauses.join(", ")).collect();
    if !said.is_empty() {
        lines.push(format!("Litres: {}.", said.join("; ")));
    }
    lines
}

/// What litres rest on, clause by clause.
fn clauses(water: &LitresGlance) -> Vec<&str> {
    water.assumption.split(", ").collect()
}

fn crop_line(planting: &PlantingGlance) -> String {
    let state = match planting.state {
        State::AtEase => "",
        State::Pressed => "pressed, ",
        State::Suffering => "suffering, ",
        State::NotKnown => "not known, ",
    };
    let line = tenth_or_whole(planting.line_c);
    let distance = match planting.past_line_c {
        Some(past) if past > 0.0 => format!("{} past {line}", tenth(past)),
        Some(past) => format!("{} under {line}", tenth(-past)),
        None => format!("its line is {line}"),
    };
    let hours = planting.stress_today_h;
    let hours = if hours > 0.0 { format!(" ({} h past it today)", tenth(hours)) } else { String::new() };
    let water = planting.litres_today.as_ref();
    let water = water.map(|water| format!("; {}", litres_words(planting.count, water, "")));
    format!("{}: {state}{distance}{hours}{}.", planting.name, water.unwrap_or_default())
}

/// What is not as it should be with what measures and tells.
fn known(glance: &Glance) -> Vec<String> {
    let civil = Civil(glance.civil_offset_s);
    let mut lines: Vec<String> = Vec::new();
    if let Some((why, since)) = &glance.board.storage_refused {
        lines.push(format!("Nothing can be stored since {}: {why}.", civil.when(*since, glance.at_ms)));
    }
    let (sound, other): (Vec<_>, Vec<_>) = glance.probes.iter().partition(|probe| is_well(probe));
    let other: Vec<String> =
        other.iter().map(|probe| format!("{} {}", probe.probe, probe.condition)).collect();
    if !other.is_empty() {
        lines.push(format!("{} of {} probes sound; {}.", sound.len(), glance.probes.len(), other.join("; ")));
    }
    if glance.board.clock_vouched_by.is_none() {
        lines.push("The clock is not trusted yet; heat is watched, dates follow.".to_owned());
    }
    lines.extend(glance.board.away.iter().map(|away| format!("{away}.")));
    lines.extend(glance.board.mirror.iter().map(|mirror| format!("{}.", mirror.words())));
    lines
}

/// Sound, and nothing else to be said of it.
fn is_well(probe: &ProbeGlance) -> bool {
    probe.condition.starts_with("sound") && !probe.condition.contains(';')
}

#[cfg(test)]
pub(super) mod tests {
    use super::super::fixtures;
    use super::*;

    pub(in crate::page) fn lines(glance: &Glance, head: &str) -> Vec<String> {
        parts(glance).into_iter().find(|part| part.head == head).map_or_else(Vec::new, |part| part.lines)
    }

    #[test]
    fn air_by_a_probe_in_doubt_is_called_so() {
        let mut glance = fixtures::heat();
        let said = |glance: &Glance| place_line(&glance.places[0], glance);
        assert!(!said(&glance).contains("in doubt"));
        glance.places[0].in_doubt = true;
        assert!(said(&glance).contains("°C, read 13:09, in doubt"), "{}", said(&glance));
    }

    #[test]
    fn the_heat_plan_gives_todays_task_only() {
        let mut glance = fixtures::heat();
        assert_eq!(lines(&glance, "The heat plan for today"), [""; 0], "nobody told of it yet");
        glance.heat = Some(crate::glance::HeatAhead {
            notice: "heat-dome..2026-07-15".to_owned(),
            from: "2026-07-16".to_owned(),
            to: "2026-07-19".to_owned(),
            about_c: None,
            pots: true,
        });
        assert!(lines(&glance, "The heat plan for today")[0].starts_with("The day before: pots to"));
    }

    #[test]
    fn what_did_not_arrive_is_said_with_its_reason() {
        let mut glance = fixtures::heat();
        glance.open[0].undelivered = vec!["e-mail: 550 no such reader".to_owned()];
        assert_eq!(
            lines(&glance, "Not delivered"),
            ["“From outside, open the far door now”: e-mail: 550 no such reader."]
        );
    }

    #[test]
    fn a_board_that_sends_no_letter_does_not_promise_one() {
        let mut glance = fixtures::calm();
        assert_eq!(silence(&glance).as_deref(), Some("No letter by 06:30 means the board is down."));
        glance.board.letter_by = None;
        assert_eq!(silence(&glance), None);
    }
}
