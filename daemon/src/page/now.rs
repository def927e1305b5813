//! Now: the sentence, the day of each place as a cloth, crop by crop, the air, cautions, and how well it is known.

use maud::{Markup, html};

use super::cloth::{cloth, tenth_or_whole};
use super::day::Day;
use super::entries::plants;
use super::figures::{Civil, degree_days, share, tenth, warm_nights, water_words, whole};
use super::forms::Fields;
use super::frame::{self, Did, Lintel, View, page};
use super::now_lintel::{beneath, first_figures, folded_plan, in_order, main_notice, state_words};
use super::rungs::ladder;
use super::warnings;
use super::{cautions, closed};
use crate::clock::trust::{Refusal, span};
use crate::figure_words::capital;
use crate::glance::{Glance, PlaceGlance, PlantingGlance, old_unsent};
use crate::minders::dome::HEAT_DOME;

/// The page Now.
pub(crate) fn view(glance: &Glance, did: Did) -> Markup {
    let places = in_order(glance);
    let first = places.first().copied();
    let leads = main_notice(glance).is_some_and(|notice| notice.minder == HEAT_DOME);
    let plan = folded_plan(glance).filter(|_| leads);
    let (why, plan) = plan.unwrap_or_else(|| (glance.sentence.why.clone(), html! {}));
    let lintel = Lintel {
        tone: glance.sentence.tone,
        place: first.map_or(glance.site.clone(), |place| format!("{}, {}", glance.site, place.name)),
        order: glance.sentence.order.clone(),
        why,
        more: html! { (plan) (beneath(glance, first)) },
    };
    let main = html! {
        @for (index, place) in places.iter().enumerate() { (place_section(place, glance, index)) }
        @if places.is_empty() {
            section.pg { h2 { "No place yet" } p { a.big href="/ground" { "Add a place on the page Ground" } } }
        }
        (warnings::section(glance))
        (crops(glance))
        (cautions::section(glance))
        (air(glance))
        (closed::section(glance))
        (known(glance))
        p.pg { a href="/letter" { "The letter as it would go out now" } }
    };
    page(View::Now, glance, did, &lintel, &main)
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
                div.table role="region" tabindex="0" aria-label="Figures crop by crop" {
                    table {
                        thead { tr {
                            th scope="col" { "crop" }
                            th scope="col" { "degrees from what it bears" }
                            th scope="col" { "hours past that today, season" }
                            th scope="col" { "degree days" }
                        } }
                        tbody { @for planting in &glance.plantings { (crop_row(planting, holed(planting, glance))) } }
                    }
                }
            }
        }
    }
}

/// Whether today's account of a planting has a hole: its hours are then a least figure.
fn holed(planting: &PlantingGlance, glance: &Glance) -> bool {
    glance.places.iter().any(|place| place.place == planting.place && !place.holes.is_empty())
}

fn crop_row(planting: &PlantingGlance, holed: bool) -> Markup {
    let (word, class) = state_words(planting.state);
    html! {
        tr.crop {
            th scope="row" {
                a href={ "/season/" (planting.planting) } { (planting.name) }
                i.state.(class) { (word) }
            }
            td {
                @match planting.past_line_c {
                    Some(past) if past > 0.0 => { b { (tenth(past)) } " past" },
                    Some(past) => { b { (tenth(-past)) } " under" },
                    None => { b { "?" } },
                }
                small { "bears " (tenth_or_whole(planting.line_c)) "°" }
            }
            td { b { (tenth(planting.stress_today_h)) }
                @if holed { small { "or more" } }
                small { (tenth(planting.stress_season_h)) } }
            td { b { (whole(planting.degree_days)) } }
        }
        tr {
            td.more colspan="4" {
                @if let Some(water) = &planting.litres_today { (water_words(planting.count, water)) "; " }
                @if let Some(count) = planting.count { (plants(count)) "; " }
                @if !planting.stages.is_empty() { (planting.stages) "; " }
                @if planting.filled_days > 0 || planting.missing_days > 0 { (degree_days(planting)) "; " }
                @if let Some(worst) = &planting.worst { "worst heat this season: " (worst.severity.as_str()) "; " }
                (planting.rule) ", " (share(planting.measured_share)) " measured; "
                (warm_nights(planting.warm_nights))
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
                        "That is the deficit of its vapour pressure"
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

/// What is to be said of the clock, and this phone's word on it.
fn clock(glance: &Glance) -> Markup {
    let civil = Civil(glance.civil_offset_s);
    let clock = &glance.board.clock;
    html! {
        @if let Some(doubt) = &clock.doubt { li { strong { (doubt) "." } " Time goes on from before the jump. Is this phone's time right?" } }
        @if let Some(ms) = clock.dated_back_ms { li { "Dated back to " (civil.when(ms, glance.at_ms)) "." } }
        @for boot in &clock.undated_boots {
            li { (span(boot.span_ms)) " undated: " (boot.readings) " readings of start " (boot.boot) ". If you know when it was: glasshour clock boot " (boot.boot) " TIME." }
        }
        @if glance.board.clock_vouched_by.is_none() || clock.doubt.is_some() {
            li {
                form method="post" action="/clock" {
                    input type="hidden" name="now_ms" data-now="" value="";
                    input type="datetime-local" name="now" aria-label="The time now";
                    button { "take this phone's time" }
                }
            }
        }
    }
}

/// The page for a word on the time that was not taken: it asks again where that helps.
pub(super) fn not_taken(glance: &Glance, refusal: &Refusal, fields: &Fields) -> Markup {
    let said = |name| fields.get(name).map_or("", String::as_str);
    let again = html! {
        @if refusal.again {
            form.pg method="post" action="/clock" {
                p { "Look at the day, the month and the year once more. If that time is right all the same, say so." }
                input type="hidden" name="now" value=(said("now"));
                // Only this phone's own time goes on while somebody looks.
                @if said("now").is_empty() { input type="hidden" name="now_ms" data-now="" value=(said("now_ms")); }
                input type="hidden" name="sure" value="yes";
                button { "that time is right" }
            }
        }
    };
    frame::other_with(glance, "That time was not taken.", &capital(&refusal.why), "/", &again)
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
                            ": " (tenth(*value)) " " (unit)
                            @if let Some(ms) = ms { ", read " (civil.when(*ms, glance.at_ms)) }
                        }
                        @if probe.malformed > 0 { "; " (probe.malformed) (if probe.malformed == 1 { " message" } else { " messages" }) " could not be read" }
                        "."
                    }
                }
                @if !glance.probes.is_empty() { li { (sound) " of " (glance.probes.len()) " probes are sound." } }
                li {
                    @match &glance.board.clock_vouched_by {
                        Some(voucher) => { "The clock is vouched for by " (voucher) "." },
                        None => { strong { "The clock is not trusted yet." } " Heat is watched; dates follow." },
                    }
                }
                (clock(glance))
                @if glance.board.undated > 0 { li { (glance.board.undated) " readings bear no date and are not counted." } }
                @if let Some(days) = glance.board.still_to_reckon { li { (super::season::being_reckoned(days)) } }
                @for damage in &glance.board.damaged { li { strong { (damage) } } }
                @if let Some(restored) = &glance.board.restored { li { (restored) } }
                @for lately in &glance.board.lately { li { (lately) } }
                @if let Some(figures) = &glance.board.figures { li { "The board: " (figures) "." } }
                @if let Some(growth) = &glance.board.growth { li { "The ledger: " (growth) "." } }
                @if glance.board.not_kept > 0 { li { (glance.board.not_kept) " readings were judged and not kept: nothing could be stored, and memory for them was full." } }
                @if let Some((seconds, ms)) = glance.board.slow_write { li { "The card took " (seconds) " s for one write (" (civil.when(ms, glance.at_ms)) "). If that comes again, replace it." } }
                @for away in &glance.board.away { li { (capital(away)) "." } }
                @for stranger in &glance.board.strangers { li { "Of no probe here (" (stranger.name) "): " (stranger.count) " could not be read, the last: " code { (stranger.sample) } } }
                @for (courier, count) in &glance.board.unsent { li { (capital(courier)) ": " (old_unsent(*count)) " in the last week." } }
                @if let Some(mirror) = &glance.board.mirror { li { (capital(&mirror.words())) "." } }
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
            ["1,143", "mean-capped 7/28", "99 % measured", "bears 35°", "<b>1.4</b> past", "<b>1.6</b> under"]
        {
            assert!(html.contains(wanted), "{wanted} missing");
        }
    }

    #[test]
    fn each_planting_says_its_litres_of_today_and_what_they_rest_on() {
        let mut glance = fixtures::heat();
        let html = shown(&glance);
        assert!(
            html.contains("3 litres each today, 34 in all, reckoned from the span of temperatures"),
            "{html}"
        );
        glance.plantings.iter_mut().for_each(|it| it.litres_today = None);
        assert!(!shown(&glance).contains("each today"), "what cannot be reckoned is not said");
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
        assert!(html.contains("or more"), "hours of a day with a hole are a least figure");
    }

    #[test]
    fn after_a_hole_the_page_says_since_when_it_is_heard_again() {
        let mut glance = fixtures::heat();
        glance.places[0].holes = vec![(fixtures::at(9, 0), fixtures::at(10, 30))];
        assert!(shown(&glance).contains("without a break since 10:30"));
    }

    #[test]
    fn figures_read_by_hand_say_so() {
        let html = shown(&fixtures::by_hand());
        assert!(html.contains("highest, by hand") && html.contains("now: not known"));
    }

    #[test]
    fn a_time_that_was_not_taken_is_asked_for_again_only_where_that_helps() {
        let (glance, why) = (fixtures::calm(), "something was stored 3 h after that time".to_owned());
        let typed = Fields::from([("now".to_owned(), "2026-07-15T12:00".to_owned())]);
        let page = |again, fields: &Fields| {
            not_taken(&glance, &Refusal { why: why.clone(), again }, fields).into_string()
        };
        let asked = page(true, &typed);
        assert!(asked.contains("Something was stored 3 h") && !asked.contains("--sure"), "{asked}");
        assert!(asked.contains(r#"name="sure""#) && asked.contains(r#"name="now" value="2026-07-15T12:00""#));
        assert!(!asked.contains("data-now"), "a time that was typed stays as it is");
        assert!(page(true, &Fields::new()).contains("data-now"));
        assert!(!page(false, &typed).contains(r#"action="/clock""#));
    }

    #[test]
    fn a_refusing_disk_and_an_untrusted_clock_are_said() {
        let html = shown(&fixtures::storage_refused());
        assert!(html.contains("Nothing can be stored since 12:00: the disk is full."));
        assert!(html.contains("The clock is not trusted yet.") && html.contains("take this phone's time"));
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
