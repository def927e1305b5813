//! The paragraphs of the letter: what needs doing, by when, before what is known and how well.
//!
//! Text, mailed HTML and page are all made of these, so that no figure can differ between them.

use std::fmt::Write;

use agronomy::crop::Severity;

use super::cautions;
use super::cloth::tenth_or_whole;
use super::day::Day;
use super::figures::{Civil, degree_days, share, span, tenth, warm_nights, water_words};
use super::said::said;
use super::{missed, warnings};
use crate::calendar_out::happening::{heat_days, today};
use crate::figure_words::capital;
use crate::glance::{Delivered, Glance, Line, NoticeView, PlaceGlance, PlantingGlance, State};
use crate::minders::dome;
use crate::minders::night::WARM_NIGHT;
use crate::minders::signs::SIGNS;

/// A head with its lines.
pub(super) struct Part {
    pub(super) head: String,
    pub(super) lines: Vec<String>,
}

/// All parts that have something to say, in the order in which they are of use.
pub(super) fn parts(glance: &Glance) -> Vec<Part> {
    let mut parts = Vec::new();
    let mut add = |head: &str, lines: Vec<String>| {
        if !lines.is_empty() {
            parts.push(Part { head: head.to_owned(), lines });
        }
    };
    add(warnings::heading(&glance.warnings), warnings::lines(glance));
    let missed = missed::words(glance).map(|said| format!("{}.", capital(&said)));
    add("Missed while away", missed.into_iter().collect());
    add("What to watch for today", watch(glance));
    add("The heat plan for today", heat_plan(glance));
    add("The night", of_minder(glance, WARM_NIGHT));
    add("Signs of disease", of_minder(glance, SIGNS));
    add("Place by place", glance.places.iter().map(|place| place_line(place, glance)).collect());
    add("Crop by crop", glance.plantings.iter().map(crop_line).collect());
    if let Some((head, lines)) = cautions::stay_out(glance) {
        add(&head, lines);
    }
    add("Not delivered", undelivered(glance));
    add("How well this is known", known(glance));
    parts
}

/// The last line of all that was sent: what silence means; none where no letter goes out by itself.
pub(super) fn silence(glance: &Glance) -> Option<String> {
    let by = glance.board.letter_by.as_ref()?;
    Some(format!("No letter by {by} means the board is down."))
}

/// Open notices in the order of their deadlines, those that never buzzed a phone among them.
fn watch(glance: &Glance) -> Vec<String> {
    let apart = [WARM_NIGHT, SIGNS];
    let mut open: Vec<&NoticeView> =
        glance.open.iter().filter(|notice| !apart.contains(&notice.minder.as_str())).collect();
    open.sort_by_key(|notice| {
        (deadline(notice, glance), std::cmp::Reverse(notice.severity), notice.opened_ms)
    });
    open.into_iter().map(|notice| notice_line(notice, glance)).collect()
}

/// Minutes from now to the clock time that a notice's order names. Without one: what is severe is due now, the rest last.
fn deadline(notice: &NoticeView, glance: &Glance) -> i64 {
    const DAY_MIN: i64 = 24 * 60;
    let order = notice.order();
    let now_min = (Civil(glance.civil_offset_s).hour_of_day(glance.at_ms) * 60.0) as i64;
    let mut orders = std::iter::once(order).chain(notice.inside().iter().map(|it| it.title.as_str()));
    match orders.find_map(clock_in) {
        // A time of this morning that is past is overdue rather than tomorrow's.
        Some(minute) => (minute - now_min).max(0),
        None if notice.severity >= Severity::Severe => 0,
        None => DAY_MIN,
    }
}

/// The first clock time in words, as `13:40`, in minutes after midnight.
fn clock_in(words: &str) -> Option<i64> {
    words.split(|c: char| !(c.is_ascii_digit() || c == ':')).find_map(|word| {
        let (hour, minute) = word.split_once(':')?;
        let (hour, minute): (i64, i64) = (hour.parse().ok()?, minute.parse().ok()?);
        (hour < 24 && minute < 60).then_some(hour * 60 + minute)
    })
}

fn notice_line(notice: &NoticeView, glance: &Glance) -> String {
    let civil = Civil(glance.civil_offset_s);
    let mut line = format!("{} {}", notice.order(), said(notice, glance));
    for it in notice.inside() {
        _ = write!(line, " {} {}", it.title, it.text);
    }
    if notice.closed_ms.is_none() {
        _ = write!(line, " Since {}.", civil.when(notice.opened_ms, glance.at_ms));
    }
    if let Some(ms) = notice.on_it_ms {
        _ = write!(line, " On it since {}.", civil.when(ms, glance.at_ms));
    }
    line
}

/// What a minder says now, or said last before its notice closed within the last day.
fn of_minder(glance: &Glance, minder: &str) -> Vec<String> {
    let notices = glance.open.iter().chain(&glance.closed_lately).filter(|notice| notice.minder == minder);
    notices.map(|notice| notice_line(notice, glance)).collect()
}

/// What the plan for coming heat wants today.
fn heat_plan(glance: &Glance) -> Vec<String> {
    let Some(heat) = heat_days(glance) else { return Vec::new() };
    let ahead = (heat.from - today(glance)).num_days();
    dome::task(ahead).into_iter().collect()
}

/// What did not arrive, and why: also of notices that have closed since.
fn undelivered(glance: &Glance) -> Vec<String> {
    let notices = glance.open.iter().chain(&glance.closed_lately);
    let lines = notices.flat_map(|notice| {
        let title = notice.order();
        let old = notice.deliveries.iter().filter_map(Delivered::old_words);
        notice.undelivered.iter().cloned().chain(old).map(move |why| format!("{title} {why}."))
    });
    lines.collect()
}

fn place_line(place: &PlaceGlance, glance: &Glance) -> String {
    let civil = Civil(glance.civil_offset_s);
    let mut line = format!("{}:", place.name);
    match (place.t_c, place.heard_ms) {
        (Some(t), Some(heard)) => {
            let _ = write!(line, " {} °C, read {}, sound.", tenth(t), civil.when(heard, glance.at_ms));
        }
        (None, Some(heard)) => {
            let _ = write!(line, " now not known; last heard {}.", civil.when(heard, glance.at_ms));
        }
        _ if place.by_hand.is_none() => line.push_str(" nothing measures here."),
        _ => line.push_str(" now not known."),
    }
    if let Some(hand) = &place.by_hand {
        let part = |word: &str, value: Option<f64>| value.map(|t| format!("{word} {} °C", tenth(t)));
        let figures: Vec<_> =
            [part("now", hand.now_c), part("lowest", hand.low_c), part("highest", hand.high_c)]
                .into_iter()
                .flatten()
                .collect();
        let _ = write!(line, " By hand, {}: {}.", civil.when(hand.at_ms, glance.at_ms), figures.join(", "));
    }
    if let Some((t, ms)) = place.high_today {
        let _ = write!(line, " Highest today {} at {}.", tenth(t), civil.clock(ms));
    }
    if let Some((t, ms)) = place.low_last_night {
        let _ = write!(line, " Lowest last night {} at {}.", tenth(t), civil.clock(ms));
    }
    if let (Some(dryness), Some(vpd)) = (&place.dryness, place.vpd_kpa) {
        let _ = write!(line, " Air {dryness}, {} kPa", tenth(vpd));
        if let Some(dew) = place.dew_point_c {
            let _ = write!(line, ", dew point {}", tenth(dew));
        }
        line.push('.');
    }
    line.push_str(&course(place, glance));
    line
}

/// What the day brought and is expected to bring, by the clock, and the limits of what stands there: all that the
/// picture shows.
fn course(place: &PlaceGlance, glance: &Glance) -> String {
    let mut words = String::new();
    let mut events = Day::of(place, glance).events;
    events.sort_by(|a, b| a.hour.total_cmp(&b.hour));
    let told = |expected: bool| {
        let told = events.iter().filter(|event| event.expected == expected);
        told.map(|event| format!("{} {}", event.clock, event.words)).collect::<Vec<_>>()
    };
    for (head, told) in [("Today", told(false)), ("Expected", told(true))] {
        if !told.is_empty() {
            let _ = write!(words, " {head}: {}.", told.join("; "));
        }
    }
    if !place.lines.is_empty() {
        let line = |line: &Line| format!("{} {}", line.whose, tenth_or_whole(line.limit_c));
        let _ = write!(words, " Limits: {}.", place.lines.iter().map(line).collect::<Vec<_>>().join(", "));
    }
    for &(from, to) in &place.holes {
        let _ = write!(words, " Nothing heard for {}.", span(to - from));
    }
    words
}

fn crop_line(planting: &PlantingGlance) -> String {
    let state = match planting.state {
        State::AtEase => "at ease",
        State::Pressed => "pressed",
        State::Suffering => "suffering",
        State::NotKnown => "not known",
    };
    let line = tenth_or_whole(planting.line_c);
    let distance = match planting.past_line_c {
        Some(past) if past > 0.0 => format!("{} past its line of {line}", tenth(past)),
        Some(past) => format!("{} under its line of {line}", tenth(-past)),
        None => format!("its line is {line}"),
    };
    let water = planting.litres_today.as_ref();
    let water =
        water.map_or_else(String::new, |water| format!(" Water: {}.", water_words(planting.count, water)));
    format!(
        "{}: {state}, {distance}; {} h past it today, {} h this season.{water} {} ({}), {} measured; {}.",
        planting.name,
        tenth(planting.stress_today_h),
        tenth(planting.stress_season_h),
        degree_days(planting),
        planting.rule,
        share(planting.measured_share),
        warm_nights(planting.warm_nights)
    )
}

fn known(glance: &Glance) -> Vec<String> {
    let civil = Civil(glance.civil_offset_s);
    let mut lines: Vec<String> = Vec::new();
    if let Some((why, since)) = &glance.board.storage_refused {
        lines.push(format!("Nothing can be stored since {}: {why}.", civil.when(*since, glance.at_ms)));
    }
    lines.extend(glance.probes.iter().map(|probe| format!("Probe {}: {}.", probe.probe, probe.condition)));
    lines.push(match &glance.board.clock_vouched_by {
        Some(voucher) => format!("The clock is vouched for by {voucher}."),
        None => "The clock is not trusted yet; heat is watched, dates follow.".to_owned(),
    });
    lines.extend(glance.board.away.iter().map(|away| format!("{away}.")));
    lines.extend(glance.board.mirror.iter().map(|mirror| format!("{}.", mirror.words())));
    lines
}

#[cfg(test)]
mod tests {
    use super::super::fixtures;
    use super::*;

    fn lines(glance: &Glance, head: &str) -> Vec<String> {
        parts(glance).into_iter().find(|part| part.head == head).map_or_else(Vec::new, |part| part.lines)
    }

    fn named(glance: &Glance, minder: &str, title: &str, severity: Severity) -> NoticeView {
        let mut notice = glance.open[0].clone();
        (notice.minder, notice.severity) = (minder.to_owned(), severity);
        title.clone_into(&mut notice.steps[0].title);
        notice
    }

    #[test]
    fn notices_stand_in_the_order_of_their_deadlines() {
        let mut glance = fixtures::heat();
        let of = |title, severity| named(&glance, "too-hot", title, severity);
        let open = vec![
            of("Turn the heap when you pass.", Severity::Minor),
            of("Look at the heap probe by 18:00.", Severity::Moderate),
            of("By 13:40 the house passes 35.", Severity::Minor),
            of("From outside, open the far door now.", Severity::Severe),
        ];
        glance.open = open;
        let first_words: Vec<_> =
            lines(&glance, "What to watch for today").iter().map(|line| line[..12].to_owned()).collect();
        assert_eq!(first_words, ["From outside", "By 13:40 the", "Look at the ", "Turn the hea"]);
    }

    #[test]
    fn a_clock_time_in_words_is_found_and_nothing_else_is_taken_for_one() {
        assert_eq!(clock_in("By 13:40 the house passes 35."), Some(13 * 60 + 40));
        assert_eq!(clock_in("mean-capped 7/28, ratio 3:99, at 25:10, 12"), None);
    }

    #[test]
    fn the_night_and_the_signs_have_their_own_place_also_after_they_closed() {
        let mut glance = fixtures::heat();
        let mut night = named(&glance, WARM_NIGHT, "The night is over.", Severity::Minor);
        night.closed_ms = Some(glance.at_ms - 3_600_000);
        night.steps[0].text = "Long House: lowest of the night 21.2 °C.".to_owned();
        glance.open.push(named(&glance, SIGNS, "Look under the leaves of the tomatoes.", Severity::Minor));
        glance.closed_lately = vec![night];
        assert_eq!(
            lines(&glance, "The night"),
            ["The night is over. Long House: lowest of the night 21.2 °C."]
        );
        assert!(lines(&glance, "Signs of disease")[0].starts_with("Look under the leaves"));
        assert_eq!(lines(&glance, "What to watch for today").len(), 2);
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
        });
        assert!(lines(&glance, "The heat plan for today")[0].starts_with("The day before: pots to"));
    }

    #[test]
    fn what_did_not_arrive_is_said_with_its_reason() {
        let mut glance = fixtures::heat();
        glance.open[0].undelivered = vec!["e-mail: 550 no such reader".to_owned()];
        assert_eq!(
            lines(&glance, "Not delivered"),
            ["From outside, open the far door now. e-mail: 550 no such reader."]
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
