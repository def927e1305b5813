//! Ahead: the next days of each place, the form "I heard a heat warning", and how far any of it is to be believed.

pub(super) mod heard;
mod untold;

use maud::{Markup, html};

use super::figures::{Civil, range, tenth};
use super::five_days::{date_words, five_days, foretold};
use super::frame::{Did, Lintel, View, page};
use super::now_lintel::{folded_plan, heard_warning};
use super::said::said;
use crate::calendar::date;
use crate::figure_words::capital;
use crate::glance::{Glance, PlaceOutlook, Tone};
use crate::minders::dome::HEAT_DOME;
use crate::outlook::ahead::{DayAhead, Origin};
use untold::{not_told, untold};

/// What is said where nothing is known of the days ahead.
const NO_FORECAST: &str = "No forecast: this board cannot see a heat wave coming.";

/// The page Ahead.
pub(crate) fn view(glance: &Glance, did: Did) -> Markup {
    let places = in_order(glance);
    let lintel = lintel(glance, places.first().copied());
    let main = html! {
        @for (index, place) in places.iter().enumerate() { (place_section(place, glance, index)) }
        @if places.is_empty() {
            section.pg { h2 { "Nothing to go by yet" } p { "Once a place has been measured for a day, its days are drawn here." } }
        }
        (not_told(glance))
        (without(glance))
        (known(glance))
    };
    page(View::Ahead, glance, did, &lintel, &main)
}

/// Places under cover first: there crops stand closest to their limits.
fn in_order(glance: &Glance) -> Vec<&PlaceOutlook> {
    let mut places: Vec<&PlaceOutlook> = glance.outlook.places.iter().collect();
    places.sort_by_key(|place| !place.kind.under_cover());
    places
}

fn lintel(glance: &Glance, first: Option<&PlaceOutlook>) -> Lintel {
    let fresh = glance.outlook.fresh;
    let place = first.map_or(glance.site.clone(), |place| format!("{}, {}", glance.site, place.name));
    let dome = glance.open.iter().find(|notice| notice.minder == HEAT_DOME);
    let mut plan = html! {};
    let (tone, order, why) = if let Some(dome) = dome {
        let why = match folded_plan(glance) {
            Some((line, fold)) => {
                plan = fold;
                line
            }
            None => said(dome, glance),
        };
        (Tone::Soon, dome.order().to_owned(), why)
    } else if !fresh && heard::heard(glance).is_none() {
        (Tone::Blind, NO_FORECAST.to_owned(), why_blind(glance))
    } else {
        let (tone, order, why) = worst(glance, first);
        let skill = first.and_then(|place| place.skill.as_ref()).filter(|skill| skill.is_poor());
        let why = skill.map_or(why.clone(), |skill| format!("{} {why}", skill.words()));
        (tone, order, why)
    };
    // Where somebody has said that heat comes, what the days bring is looked for, not the form.
    let asks = !fresh && dome.is_none();
    Lintel { tone, place, order, why, more: html! { (plan) (heard_warning(glance, asks)) } }
}

fn why_blind(glance: &Glance) -> String {
    let civil = Civil(glance.civil_offset_s);
    let listen = "Listen to the radio; if you hear a warning, say so here.";
    match glance.outlook.forecast {
        None => format!("No outlook is fed in and no public warning has come. {listen}"),
        Some((issued, _)) => {
            format!(
                "The last forecast is of {}, too old to go by. {listen}",
                civil.when(issued, glance.at_ms)
            )
        }
    }
}

/// The days in a sentence: which is the worst, and against which line.
fn worst(glance: &Glance, place: Option<&PlaceOutlook>) -> (Tone, String, String) {
    let days = place.map_or(&glance.outlook.outside, |place| &place.days);
    let told = days.iter().filter(|day| day.origin == Origin::Forecast);
    let Some(day) = told.clone().max_by(|a, b| a.high.to_c.total_cmp(&b.high.to_c)) else {
        let why = "Of this place too little is known yet to say what the forecast means for it.".to_owned();
        return (Tone::Blind, "Ask again in a few days.".to_owned(), why);
    };
    let civil = Civil(glance.civil_offset_s);
    let name = capital(&day_name(day, civil, glance));
    let highest = range(day.high.from_c, day.high.to_c);
    let whose = place.map_or_else(|| "outside".to_owned(), |place| format!("in {}", place.name));
    let line = place.and_then(|place| {
        glance.places.iter().find(|it| it.place == place.place).and_then(|it| it.lines.first())
    });
    let passing = |line_c: f64| told.clone().filter(|day| day.high.middle_c >= line_c).count();
    match line {
        Some(line) if day.high.to_c >= line.limit_c => {
            let limit = super::cloth::tenth_or_whole(line.limit_c);
            let may = if day.high.middle_c >= line.limit_c { "passes" } else { "may pass" };
            let days = match passing(line.limit_c) {
                0 => String::new(),
                1 => format!(" Only that day passes {limit}."),
                count if count == days.len() => format!(" All the days ahead pass {limit}."),
                count => format!(" {count} of the days ahead pass {limit}."),
            };
            let order = format!("{name} {may} {limit}: shade and water before it.");
            (
                Tone::Soon,
                order,
                format!("{name} reaches {highest} °C {whose}; {} bear {limit}.{days}", line.whose),
            )
        }
        // Outside alone says nothing of limits inside.
        None if untold(glance).next().is_some() => {
            let names: Vec<&str> = untold(glance).map(|place| place.name.as_str()).collect();
            let order = format!("Look into {} by noon: no forecast tells of it.", names.join(" and "));
            let why = format!(
                "The hottest is {name}, {highest} °C {whose}; under cover it gets hotter in the sun."
            );
            (Tone::Blind, order, why)
        }
        _ => {
            let nights = told.map(|day| day.low.to_c).fold(f64::NEG_INFINITY, f64::max);
            let order = "No limit is passed in the days ahead.".to_owned();
            (
                Tone::Well,
                order,
                format!("The hottest is {name}, {highest} °C {whose}; nights stay below {}.", tenth(nights)),
            )
        }
    }
}

/// "today", "tomorrow", or the day's name.
fn day_name(day: &DayAhead, civil: Civil, glance: &Glance) -> String {
    let offset_ms = i64::from(glance.standard_offset_s) * 1000;
    let today = (glance.at_ms + offset_ms).div_euclid(agronomy::series::MS_PER_DAY);
    match day.day - today {
        0 => "today".to_owned(),
        1 => "tomorrow".to_owned(),
        _ => civil
            .weekday(day.day * agronomy::series::MS_PER_DAY - offset_ms + agronomy::series::MS_PER_DAY / 2),
    }
}

fn place_section(place: &PlaceOutlook, glance: &Glance, index: usize) -> Markup {
    let id = format!("ahead-{index}");
    html! {
        section aria-labelledby={ (id) "-name" } {
            @if index == 0 { h2.unseen id={ (id) "-name" } { (place.name) } }
            @else { div.pg.beam { h2 id={ (id) "-name" } { (place.name) } } }
            div.drawing { (five_days(place, glance, &id)) }
            (key_line(place, glance))
            @if !place.past.is_empty() {
                div.pg {
                    h3 { "Foretold, and what came" }
                    p.source { "The highest in " (place.name) " as foretold the evening before, and as it came." }
                    (foretold(place))
                    @if let Some(skill) = &place.skill { p { (skill.words()) } }
                }
            }
            @if !place.days.is_empty() { (in_figures(place, glance)) }
        }
    }
}

fn key_line(place: &PlaceOutlook, glance: &Glance) -> Markup {
    let heard = heard::heard(glance).is_some();
    let told = place.days.iter().any(|day| day.origin == Origin::Forecast);
    html! {
        p.key {
            @if told { "Woven: measured. Loose threads: the forecast, moved to this place, as far as it strays." }
            @else if place.days.is_empty() { "The band is the last fourteen days, nothing more." }
            @else { "The band is this place’s own estimate: today, on its way back to what is usual." }
            @if heard && !told { " On days of the warning that was heard it reaches what was said for outside." }
        }
    }
}

fn in_figures(place: &PlaceOutlook, glance: &Glance) -> Markup {
    let civil = Civil(glance.civil_offset_s);
    let warned = heard::warned(glance);
    html! {
        details.pg {
            summary { "In figures" }
            div.table role="region" tabindex="0" aria-label={ "The next days in " (place.name) } {
                table.narrow {
                    thead { tr { th scope="col" { "day" } th scope="col" { "lowest" } th scope="col" { "highest" } th scope="col" { "by" } } }
                    tbody {
                        @for day in &place.days {
                            tr {
                                th scope="row" { (date_words(&date(day.day), civil, glance.standard_offset_s)) }
                                td { (range(day.low.from_c, day.low.to_c)) }
                                td { b { (range(day.high.from_c, day.high.to_c)) } }
                                td {
                                    (origin_words(day.origin))
                                    @if let Some(it) = heard::on_day(&warned, day.day) { "; " (it.words()) }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn origin_words(origin: Origin) -> &'static str {
    match origin {
        Origin::Forecast => "forecast",
        Origin::OwnEstimate => "own estimate",
        Origin::Climatology => "what is usual",
    }
}

/// What the board still does when it cannot look ahead.
fn without(glance: &Glance) -> Markup {
    html! {
        @if !glance.outlook.fresh {
            section.pg {
                h2 { "What the board still does" }
                ul.list {
                    li { "It tells you when a limit is passed, and when a place is on course for one in the next hour or two." }
                    li { "It cannot tell you to fit the net a day ahead. A day much hotter than these weeks it would see only that morning." }
                    li { "A forecast is an address or a topic that the board is told of when it is set up: [outlook] in the site file." }
                }
            }
        }
    }
}

fn known(glance: &Glance) -> Markup {
    let civil = Civil(glance.civil_offset_s);
    html! {
        section.pg aria-labelledby="known" {
            h2 id="known" { "How well this is known" }
            ul.list {
                @match glance.outlook.forecast {
                    None => li { "No forecast was ever taken in." },
                    Some((issued, told)) => li {
                        "Forecast of " (civil.when(issued, glance.at_ms)) ", taken in " (civil.when(told, glance.at_ms))
                        @if glance.outlook.fresh { "; moved to each measured place by what it missed there in the last month." } @else { ": too old to go by." }
                    },
                }
                @for away in glance.board.away.iter().filter(|away| away.starts_with("outlook")) { li { strong { (capital(away)) "." } } }
                @if glance.outlook.fresh {
                    li { "Eight days in ten should end within the range; it is never narrower than 1.5 °C either way." }
                }
                @if glance.outlook.places.iter().any(|place| place.days.iter().any(|day| day.origin != Origin::Forecast)) {
                    li { "The own estimate knows today and what is usual. It always goes back to the usual, and sees no heat wave coming." }
                }
            }
        }
    }
}

#[cfg(test)]
#[path = "ahead_tests.rs"]
mod tests;
