//! Now: the sentence, the day of each place as a cloth, crop by crop, the air, cautions, and how well it is known.

use maud::{Markup, html};

use super::cautions;
use super::cloth::{Day, cloth, tenth_or_whole};
use super::entries::capital;
use super::figures::{Civil, share, span, tenth, whole};
use super::frame::{Did, Lintel, View, page};
use super::rungs::ladder;
use crate::glance::{Glance, NoticeView, PlaceGlance, PlantingGlance, State};

/// Notices told one by one on the lintel before "and 2 more".
const FOLDED: usize = 2;

/// The page Now.
pub(crate) fn view(glance: &Glance, did: Did) -> Markup {
    let places = in_order(glance);
    let first = places.first().copied();
    let lintel = Lintel {
        tone: glance.sentence.tone,
        place: first.map_or(glance.site.clone(), |place| format!("{}, {}", glance.site, place.name)),
        order: glance.sentence.order.clone(),
        why: glance.sentence.why.clone(),
        more: html! {
            @if let Some(notice) = main_notice(glance) { (answers(notice, glance)) }
            @if let Some(place) = first { (first_figures(place, glance)) }
            (states(glance))
            (others(glance))
            (heard_warning(glance))
        },
    };
    let main = html! {
        @for (index, place) in places.iter().enumerate() { (place_section(place, glance, index)) }
        @if places.is_empty() {
            section.pg { h2 { "No place yet" } p { a.big href="/ground" { "Add a place on the page Ground" } } }
        }
        (crops(glance))
        (cautions::section(glance))
        (air(glance))
        (closed(glance))
        (known(glance))
        p.pg { a href="/letter" { "The letter as it would go out now" } }
    };
    page(View::Now, glance, did, &lintel, &main)
}

/// The place the sentence speaks of first, then ground order.
fn in_order(glance: &Glance) -> Vec<&PlaceGlance> {
    let spoken = main_notice(glance).map(|notice| notice.place.as_str());
    let mut places: Vec<_> = glance.places.iter().collect();
    places.sort_by_key(|place| Some(place.place.as_str()) != spoken);
    places
}

fn main_notice(glance: &Glance) -> Option<&NoticeView> {
    let id = glance.sentence.notice.as_ref()?;
    glance.open.iter().find(|notice| &notice.id == id)
}

fn answers(notice: &NoticeView, glance: &Glance) -> Markup {
    let civil = Civil(glance.civil_offset_s);
    html! {
        @if let Some(since) = notice.on_it_ms {
            p.done { "on it since " (civil.when(since, glance.at_ms)) }
        } @else {
            form.answers method="post" action="/reply" {
                input type="hidden" name="notice" value=(notice.id);
                button.first name="answer" value="on-it" { "on it" }
                button name="answer" value="later" { "later" }
                @if let Some(until) = notice.later_until_ms { span { "put off until " (civil.when(until, glance.at_ms)) } }
            }
        }
    }
}

/// Highest today and lowest last night.
fn first_figures(place: &PlaceGlance, glance: &Glance) -> Markup {
    let civil = Civil(glance.civil_offset_s);
    let figure = |value: Option<(f64, i64)>, words: &str| {
        html! {
            @if let Some((t, ms)) = value {
                span { b { (tenth(t)) } " " (words) " " small { (civil.clock(ms)) } }
            }
        }
    };
    html! {
        p.two {
            @if let Some(hand) = place.by_hand.as_ref().filter(|_| place.heard_ms.is_none()) {
                @if let Some(high) = hand.high_c { span { b { (tenth(high)) } " highest, by hand" } }
                @if let Some(low) = hand.low_c { span { b { (tenth(low)) } " lowest, by hand" } }
                span { small { "read " (civil.when(hand.at_ms, glance.at_ms)) } }
            } @else {
                (figure(place.high_today, "highest today"))
                (figure(place.low_last_night, "lowest last night"))
                @if let Some(ms) = place.heard_ms { (age(place, ms, glance)) }
            }
        }
    }
}

/// "read 13:09, sound", with its age for the page's own timer.
fn age(place: &PlaceGlance, heard_ms: i64, glance: &Glance) -> Markup {
    let civil = Civil(glance.civil_offset_s);
    let old = glance.at_ms - heard_ms;
    html! {
        span.age data-age=(old.max(0) / 1000) {
            @if place.t_c.is_some() { "read " (civil.when(heard_ms, glance.at_ms)) ", sound" }
            @else { "nothing heard for " (span(old)) }
            small data-ago="" {}
        }
    }
}

fn state_words(state: State) -> (&'static str, &'static str) {
    match state {
        State::AtEase => ("at ease", "ease"),
        State::Pressed => ("pressed", "pressed"),
        State::Suffering => ("suffering", "suffering"),
        State::NotKnown => ("not known", "unknown"),
    }
}

/// How each crop is doing, in a word each, on the first screen.
fn states(glance: &Glance) -> Markup {
    html! {
        @if !glance.plantings.is_empty() {
            ul.states {
                @for planting in &glance.plantings {
                    @let (word, class) = state_words(planting.state);
                    li { (planting.name) " " i.state.(class) { (word) } }
                }
            }
        }
    }
}

/// The notices that are not the sentence's own, folded.
fn others(glance: &Glance) -> Markup {
    let main = main_notice(glance).map(|notice| notice.id.as_str());
    let others: Vec<_> = glance.open.iter().filter(|notice| Some(notice.id.as_str()) != main).collect();
    html! {
        @for notice in others.iter().take(FOLDED) { (folded(notice, glance)) }
        @if others.len() > FOLDED {
            details.fold id="more-notices" {
                summary { "and " (others.len() - FOLDED) " more" }
                @for notice in others.iter().skip(FOLDED) { (folded(notice, glance)) }
            }
        }
    }
}

fn folded(notice: &NoticeView, glance: &Glance) -> Markup {
    let civil = Civil(glance.civil_offset_s);
    let step = notice.steps.last();
    html! {
        details.fold id={ "notice-" (notice.id) } name="notices" {
            summary.answered[notice.on_it_ms.is_some()] { (step.map_or(notice.minder.as_str(), |step| step.title.as_str())) }
            p { @if let Some(step) = step { (step.text) " " } "Open since " (civil.when(notice.opened_ms, glance.at_ms)) ", " (notice.severity.as_str()) "." }
            @for line in &notice.undelivered { p { "Not delivered: " (line) } }
            (answers(notice, glance))
        }
    }
}

/// The form for a warning heard elsewhere.
fn heard_warning(glance: &Glance) -> Markup {
    let today = Civil(glance.civil_offset_s).iso_day(glance.at_ms);
    html! {
        details.fold id="heard-warning" {
            summary { "I heard a heat warning" }
            form.fields method="post" action="/heard-warning" {
                label { "from" input type="date" name="from" value=(today) required; }
                label { "until" input type="date" name="to" value=(today) required; }
                label { "about how hot, °C" input name="about" inputmode="decimal" placeholder="42" required; }
                label { "said by" input.wide name="said_by" maxlength="80"; }
                button { "note it" }
            }
        }
    }
}

fn place_section(place: &PlaceGlance, glance: &Glance, index: usize) -> Markup {
    let id = format!("place-{index}");
    let day = Day::of(place, glance);
    let drawn = !place.curve.is_empty() || !place.holes.is_empty() || place.t_c.is_some();
    html! {
        section aria-labelledby={ (id) "-name" } {
            @if index == 0 {
                h2.unseen id={ (id) "-name" } { (place.name) }
            } @else {
                div.pg.beam { h2 id={ (id) "-name" } { (place.name) } (first_figures(place, glance)) }
            }
            @if drawn {
                div.drawing data-age=[place.heard_ms.map(|ms| (glance.at_ms - ms).max(0) / 1000)] { (cloth(place, &day, &id)) }
                (key_line())
                (in_words(&day, &id))
            } @else if place.by_hand.is_some() {
                div.drawing { (ladder(place, glance, &id)) }
            } @else {
                p.pg { "Nothing measures here: crops here are watched by the calendar only." }
            }
            (as_noted(place))
        }
    }
}

/// One short line beneath the drawing, for the first few times.
fn key_line() -> Markup {
    html! { p.key { "Woven: measured. Loose threads: expected, as far as they stray. Strings: what each crop can bear." } }
}

/// The words of the drawing as a list: for those who cannot see it, and for very large type.
fn in_words(day: &Day, id: &str) -> Markup {
    let mut events: Vec<_> = day.events.iter().collect();
    events.sort_by(|a, b| a.hour.total_cmp(&b.hour));
    html! {
        @if !events.is_empty() {
            details.words id={ (id) "-list" } {
                summary { "The day in words" }
                ol { @for event in events { li { time { (event.clock) } " " (event.words) } } }
            }
        }
    }
}

fn as_noted(place: &PlaceGlance) -> Markup {
    let vents = place.vents_open.map(|open| if open { "vents open" } else { "vents closed" });
    let shade = place.shade_on.map(|on| if on { "shade on" } else { "shade off" });
    let words: Vec<_> = [vents, shade].into_iter().flatten().collect();
    html! { @if place.kind.under_cover() && !words.is_empty() { p.key { "As last noted: " (words.join(", ")) "." } } }
}

fn crops(glance: &Glance) -> Markup {
    html! {
        @if !glance.plantings.is_empty() {
            section.pg aria-labelledby="crops" {
                h2 id="crops" { "Crop by crop" }
                div.table role="region" tabindex="0" aria-labelledby="crops" {
                    table {
                        thead { tr {
                            th scope="col" { "crop" }
                            th scope="col" { "degrees from its line" }
                            th scope="col" { "hours past it" }
                            th scope="col" { "degree days" }
                        } }
                        tbody { @for planting in &glance.plantings { (crop_row(planting)) } }
                    }
                }
                p.source { "Hours are today's, then the season's. Degree days carry their rule and the share of time that was measured." }
            }
        }
    }
}

fn crop_row(planting: &PlantingGlance) -> Markup {
    let (word, class) = state_words(planting.state);
    html! {
        tr {
            th scope="row" {
                a href={ "/season/" (planting.planting) } { (planting.name) }
                i.state.(class) { (word) }
                small {
                    @if let Some(count) = planting.count { (count) ", " }
                    (planting.stages)
                }
            }
            td {
                @match planting.past_line_c {
                    Some(past) if past > 0.0 => { b { (tenth(past)) } " past" },
                    Some(past) => { b { (tenth(-past)) } " under" },
                    None => { b { "?" } },
                }
                small { "line " (tenth_or_whole(planting.line_c)) "°" }
            }
            td {
                b { (tenth(planting.stress_today_h)) }
                small { (tenth(planting.stress_season_h)) " season" }
                small { (planting.warm_nights) @if planting.warm_nights == 1 { " warm night" } @else { " warm nights" } }
            }
            td {
                b { (whole(planting.degree_days)) }
                small { (planting.rule) }
                small { (share(planting.measured_share)) " measured" }
            }
        }
    }
}

/// The air, in words first.
fn air(glance: &Glance) -> Markup {
    html! {
        @for place in &glance.places {
            @if let (Some(vpd), Some(dryness)) = (place.vpd_kpa, &place.dryness) {
                section.pg {
                    h2 { (capital(dryness)) " air in " (place.name) ": " (tenth(vpd)) " kPa" }
                    p {
                        "Vapour-pressure deficit " (tenth(vpd)) " kPa"
                        @if let Some(dew) = place.dew_point_c { "; dew point " (tenth(dew)) " °C" }
                        @if place.saturated { "; saturated" }
                        @else if let Some(rh) = place.rh_pct { "; humidity " (format!("{rh:.0}")) " %" }
                        "."
                        @if let Some(trend) = place.trend_c_per_h {
                            " The air is "
                            @if trend >= 0.05 { "rising " (tenth(trend)) " °C an hour." }
                            @else if trend <= -0.05 { "falling " (tenth(-trend)) " °C an hour." }
                            @else { "steady." }
                        }
                    }
                }
            }
        }
    }
}

fn closed(glance: &Glance) -> Markup {
    let civil = Civil(glance.civil_offset_s);
    html! {
        @if !glance.closed_lately.is_empty() {
            section.pg {
                h2 { "Closed in the last day" }
                ul.list {
                    @for notice in &glance.closed_lately {
                        li {
                            time { (civil.when(notice.closed_ms.unwrap_or(notice.opened_ms), glance.at_ms)) } " "
                            (notice.steps.last().map_or(notice.minder.as_str(), |step| step.title.as_str()))
                        }
                    }
                }
            }
        }
    }
}

/// Probes, doubts, the clock, the board.
fn known(glance: &Glance) -> Markup {
    let civil = Civil(glance.civil_offset_s);
    let sound = glance.probes.iter().filter(|probe| !probe.silent && !probe.doubtful).count();
    html! {
        section.pg aria-labelledby="known" {
            h2 id="known" { "How well this is known" }
            ul.list {
                @for probe in &glance.probes {
                    li {
                        strong { (probe.probe) } ", " (probe.condition)
                        @if let Some((_, value, unit, ms)) = probe.newest.first() {
                            ": " (tenth(*value)) " " (unit) ", read " (civil.when(*ms, glance.at_ms))
                        }
                        @if probe.malformed > 0 { "; " (probe.malformed) " messages could not be read" }
                        "."
                    }
                }
                @if !glance.probes.is_empty() { li { (sound) " of " (glance.probes.len()) " probes are sound." } }
                li {
                    @match &glance.board.clock_vouched_by {
                        Some(voucher) => { "The clock is vouched for by " (voucher) "." },
                        None => { strong { "The clock cannot be trusted yet." } " Readings wait for their date." },
                    }
                }
                @if glance.board.undated > 0 { li { (glance.board.undated) " readings bear no date and are not counted." } }
                @for away in &glance.board.away { li { (capital(away)) "." } }
                @if !glance.board.listening.is_empty() { li { "This page: " (glance.board.listening) "." } }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::fixtures;
    use super::*;

    fn shown(glance: &Glance) -> String {
        view(glance, Did::default()).into_string()
    }

    #[test]
    fn a_hot_day_leads_with_the_order_its_answers_and_the_two_first_figures() {
        let html = shown(&fixtures::heat());
        let at = |needle: &str| html.find(needle).unwrap_or_else(|| panic!("{needle} missing"));
        assert!(at("From outside, open the far door now.") < at("on it"));
        assert!(at("on it") < at("highest today") && at("highest today") < at("lowest last night"));
        assert!(at("suffering") < at("<main"), "the state of the crops stands on the first screen");
        assert!(html.contains("Look at the heap probe by 18:00.") && html.contains("class=\"lintel past\""));
    }

    #[test]
    fn figures_of_a_crop_carry_rule_share_and_line() {
        let html = shown(&fixtures::heat());
        for wanted in
            ["1,143", "mean-capped 7/28", "99 % measured", "line 35°", "<b>1.4</b> past", "<b>1.6</b> under"]
        {
            assert!(html.contains(wanted), "{wanted} missing");
        }
    }

    #[test]
    fn the_air_is_said_in_words_before_kilopascals() {
        let html = shown(&fixtures::heat());
        assert!(html.contains("Harsh air in Long House: 4.1 kPa") && html.contains("dew point 17.6 °C"));
    }

    #[test]
    fn blindness_shows_no_figure_as_if_it_were_now() {
        let html = shown(&fixtures::blind());
        assert!(html.contains("nothing heard for 80 minutes") && html.contains("not known"));
        assert!(!html.contains("read 11:20, sound"));
    }

    #[test]
    fn figures_read_by_hand_say_so() {
        let html = shown(&fixtures::by_hand());
        assert!(html.contains("highest, by hand") && html.contains("now: not known"));
    }

    #[test]
    fn a_refusing_disk_and_an_untrusted_clock_are_said() {
        let html = shown(&fixtures::storage_refused());
        assert!(html.contains("Nothing can be stored since 12:00: the disk is full."));
        assert!(html.contains("The clock cannot be trusted yet."));
    }

    #[test]
    fn who_can_reach_the_page_is_said() {
        assert!(shown(&fixtures::calm()).contains("open to this board only (loopback)"));
    }

    #[test]
    fn hostile_names_stay_text() {
        let html = shown(&fixtures::hostile());
        assert!(html.contains("&lt;script&gt;"));
        assert!(!html.contains("<script>alert"));
    }

    #[test]
    fn nothing_on_the_page_needs_an_inline_style_or_script() {
        for glance in [fixtures::calm(), fixtures::heat(), fixtures::blind(), fixtures::by_hand()] {
            let html = shown(&glance);
            assert!(!html.contains(" style=") && !html.contains("<style") && !html.contains(" onclick"));
        }
    }
}
