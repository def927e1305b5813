//! The heat dome: heat that is coming opens a plan, day by day, and closes once it is over.
//!
//! A house cannot be shaded, mulched and watered in the hour in which it gets hot; it takes days. So the one notice of
//! the site that looks days ahead is told as soon as a forecast, an authority or the grower says that heat comes, each
//! by name. The own estimate of the next days dies away towards what is usual and cannot see it: it has no say here.

pub mod after;
pub mod foretold;
pub mod plan;
pub mod seen;

use agronomy::crop::Severity;

use super::word::{Verdict, Word};
use super::words::limit;
use crate::calendar::{Calendar, Day};
use crate::warnings::HeatWarning;
use foretold::{HeatWave, PlaceWave};
pub use plan::{FIRST_DAY, Garden, NOON_H, Pot, first_line, order, task};
use seen::{DAWN_H, Heat, Sight, Source, Told};
pub use seen::{Warning, in_force};

/// The name of the minder.
pub const HEAT_DOME: &str = "heat-dome";

/// Judges the site at a moment, after how its notice stands. The notice's place is the site (an empty name). `garden` is
/// asked where heat is told of, and not else: to reckon its water takes a look at days of readings.
pub fn judge(
    sight: &Sight,
    told: Told,
    garden: &dyn Fn() -> Garden,
    calendar: &Calendar,
    now_ms: i64,
) -> Verdict {
    let today = calendar.day_of(now_ms);
    let Some(heat) = sight.heat(told, calendar, now_ms) else {
        return if told.begun {
            Verdict::clear(HEAT_DOME, "", "The heat wave is over.", OVER)
        } else {
            Verdict::clear(HEAT_DOME, "", "No heat wave is to be expected any more.", WITHDRAWN)
        };
    };
    // At dawn, when watering is due, not at midnight: nobody is to be woken for it.
    let dawn = told.begun || calendar.civil_hour_of(now_ms) >= DAWN_H;
    let begun = today > heat.from || (today == heat.from && dawn);
    let garden = garden();
    let said: Vec<String> = heat.sources.iter().map(|source| says(source, &heat, today, calendar)).collect();
    let word = Word {
        planting: planting_of(&heat.sources),
        severity: if begun { Severity::Extreme } else { Severity::Severe },
        push: heat.sources.iter().any(is_worth_a_buzz),
        joins_heat: false,
        title: order(heat.from - today, !garden.pots.is_empty(), calendar.civil_hour_of(now_ms) >= NOON_H)
            .to_owned(),
        text: format!(
            "{} {} Limits inside are passed sooner than outside; what is not done by then will scorch, bolt or drop its \
             flowers.",
            said.join(" "),
            plan::plan(heat.from, heat.to, today, &garden, calendar),
        ),
        caution: super::words::IN_THE_OPEN,
    };
    Verdict::word(HEAT_DOME, "", word)
}

/// Whether a source may buzz a phone: a warning does; a forecast where it is out of the ordinary for this place.
fn is_worth_a_buzz(source: &Source) -> bool {
    match source {
        Source::Heard(_) | Source::Public(_) => true,
        Source::Forecast(wave) => wave.out_of_the_ordinary,
    }
}

/// The tenderest planting that the forecast's heat touches.
fn planting_of(sources: &[Source]) -> Option<String> {
    let wave = sources.iter().find_map(|source| match source {
        Source::Forecast(wave) => Some(wave),
        _ => None,
    })?;
    let touched = wave.places.iter().filter_map(|place| place.tenderest.as_ref());
    touched.min_by(|a, b| a.2.total_cmp(&b.2)).map(|(planting, ..)| planting.clone())
}

/// What a source says, by its name.
fn says(source: &Source, heat: &Heat, today: Day, calendar: &Calendar) -> String {
    match source {
        Source::Heard(warning) => {
            let said = warning.said_by.as_deref().map_or_else(String::new, |who| format!(", said by {who}"));
            let span = span(warning.from, warning.to, calendar);
            format!("Heat of about {:.0} °C outside, {span}{said}.", warning.about_c)
        }
        Source::Public(warning) => says_public(warning, calendar),
        Source::Forecast(wave) => says_forecast(wave, heat, today, calendar),
    }
}

/// An authority's warning in its own words, and from when to when it holds.
fn says_public(warning: &HeatWarning, calendar: &Calendar) -> String {
    let words = warning.headline.as_ref().unwrap_or(&warning.event);
    let at = |ms: i64| calendar.civil_format(ms, "%A %-d %B, %H:%M");
    format!("{}: “{words}”, from {} to {}.", warning.sender_name, at(warning.from_ms), at(warning.to_ms))
}

fn says_forecast(wave: &HeatWave, heat: &Heat, today: Day, calendar: &Calendar) -> String {
    let outside = heat.about_c.map_or_else(String::new, |high| format!(" (outside about {high:.0})"));
    let mut parts: Vec<String> = wave.places.iter().map(says_place).collect();
    if let Some(excess) = &wave.excess {
        let relative = excess.relative_to.as_ref().map_or_else(String::new, |words| format!(", {words}"));
        let hot = "times a grave heat wave of this place by the excess heat factor";
        parts.push(format!("{:.1} {hot}{relative}", excess.times));
    }
    // A wave that has begun is told by what is left of it.
    let span = span(wave.from.max(today), wave.to, calendar);
    format!("By the forecast, {span}{outside}: {}.", parts.join("; "))
}

fn says_place(place: &PlaceWave) -> String {
    let bears = place
        .tenderest
        .as_ref()
        .map(|(_, words, line_c, condition)| format!("; {words} bear {}{condition}", limit(*line_c)));
    let line = place
        .place_line_c
        .map(|line| format!("; no place under cover should pass {} for two days", limit(line)));
    let peak = if place.of_outside {
        format!(
            "Nobody measures {}, so how hot it gets inside cannot be said; outside alone has up to about {:.0} °C, and a shut \
             house in the sun is hotter",
            place.name, place.peak_c
        )
    } else {
        format!("{} up to about {:.0} °C", place.name, place.peak_c)
    };
    let poor = place.poor.as_ref().map(|words| format!("; {words}"));
    format!("{peak}{}{}{}", or_none(bears), or_none(line), or_none(poor))
}

fn or_none(words: Option<String>) -> String {
    words.unwrap_or_default()
}

/// `4 to 6 June`.
fn span(from: Day, to: Day, calendar: &Calendar) -> String {
    let named =
        |day: Day, pattern: &str| calendar.civil_format(calendar.start_of(day) + 12 * 3_600_000, pattern);
    let last = named(to, "%-d %B");
    if from >= to {
        last
    } else if named(from, "%B") == named(to, "%B") {
        format!("{} to {last}", named(from, "%-d"))
    } else {
        format!("{} to {last}", named(from, "%-d %B"))
    }
}

const OVER: &str = "Water steadily, no flood; take off scorched fruit, not leaves; sow again in the evening what bolted or \
    failed; hold hard pruning until three days stay below the crops' moderate lines; expect a gap in picking two to six \
    weeks from now.";
const WITHDRAWN: &str = "The warning was taken back, or the last two forecasts do not tell of it. Mulch, full butts and \
    mended drip are not lost; take shade off again if it stays dull.";

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calendar::day;
    use crate::entry::{Entry, Note};
    use crate::minders::book::{Book, Telling};
    use crate::minders::place_now::Foretold;
    use crate::minders::teller::tell;

    fn warning() -> Vec<Entry> {
        let note = Note::HeatWarning {
            from: "2026-07-15".into(),
            to: "2026-07-19".into(),
            about_c: 42.0,
            said_by: None,
        };
        vec![Entry { id: 1, at_ms: 0, from_ms: 0, note }]
    }

    #[test]
    fn it_opens_with_the_plan_worsens_on_the_first_day_and_closes_with_the_list_for_after() {
        let calendar = Calendar::fixed(0);
        let at = |date: &str, hour: i64| calendar.start_of(day(date).unwrap()) + hour * 3_600_000;
        let mut book = Book::default();
        let mut told = |date: &str, hour: i64| {
            let now_ms = at(date, hour);
            let heard = in_force(&warning(), day(date).unwrap(), now_ms);
            let sight = Sight { heard, ..Sight::default() };
            let open = book.get("", HEAT_DOME);
            let stands = Told {
                open: open.is_some(),
                begun: open.is_some_and(|open| open.severity == Severity::Extreme),
            };
            let verdict = judge(&sight, stands, &Garden::default, &calendar, now_ms);
            tell(&mut book, Telling { at_ms: now_ms, date, left: 6 }, vec![verdict]).pop()
        };
        let opened = told("2026-07-13", 9).unwrap();
        assert!(opened.text.contains("pick everything pickable"), "{}", opened.text);
        assert!(!opened.text.contains("mend leaks"), "the time for that is over");
        assert_eq!(told("2026-07-14", 9), None);
        let begun = told("2026-07-15", 5).unwrap();
        assert_eq!(begun.severity, Severity::Extreme);
        assert_eq!(told("2026-07-19", 20), None);
        let over = told("2026-07-19", 21).unwrap();
        assert!(over.text.contains("hold hard pruning"));
    }

    #[test]
    fn an_authority_is_named_and_quoted_and_the_forecast_names_planting_number_and_limit() {
        let calendar = Calendar::fixed(0);
        let today = day("2026-07-13").unwrap();
        let now_ms = calendar.start_of(today) + 9 * 3_600_000;
        let (from, to) = (today + 2, today + 4);
        let public = HeatWarning {
            from_ms: calendar.start_of(from) + 11 * 3_600_000,
            to_ms: calendar.start_of(to) + 20 * 3_600_000,
            severity: Some(Severity::Severe),
            sender_name: "The valley's weather office".into(),
            event: "Extreme heat".into(),
            headline: None,
            area: "The valley".into(),
            sent_ms: now_ms,
        };
        let place = PlaceWave {
            name: "Big house".into(),
            from,
            to,
            peak_c: 41.3,
            of_outside: false,
            poor: Foretold { missed_lately: (3, 5), ..Foretold::default() }.poor(),
            tenderest: Some(("red".into(), "tomatoes".into(), 35.0, ", if in flower".into())),
            place_line_c: Some(40.0),
        };
        let wave = HeatWave { from, to, places: vec![place], excess: None, out_of_the_ordinary: false };
        let sight = Sight {
            public: vec![public],
            newest: Some(wave),
            fresh: true,
            outside: vec![(from, 33.6)],
            ..Sight::default()
        };
        let verdict = judge(&sight, Told::default(), &Garden::default, &calendar, now_ms);
        let super::super::word::Says::Word(word) = verdict.says else { panic!("{verdict:?}") };
        for part in [
            "By the forecast, 15 to 17 July (outside about 34): Big house up to about 41 °C; tomatoes bear 35, if in \
             flower; no place under cover should pass 40 for two days; the forecast missed 3 of the last 5 days there by \
             more than 3 °C, so go by the thermometer.",
            "The valley's weather office: “Extreme heat”, from Wednesday 15 July, 11:00 to Friday 17 July, 20:00.",
        ] {
            assert!(word.text.contains(part), "{part:?} is missing in {:?}", word.text);
        }
        assert!(word.push && word.severity == Severity::Severe && word.planting.as_deref() == Some("red"));
    }
}
