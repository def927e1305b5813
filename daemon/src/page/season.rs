//! Season: the account of one planting, and the list of plantings.

use maud::{Markup, html};

use super::figures::{Civil, day_words, degree_days, not_measured, share, tenth, whole};
use super::frame::{Did, Lintel, View, page};
use super::{milestones, sums};
use crate::entry::Cause;
use crate::figure_words::capital;
use crate::glance::{Glance, PlantingGlance, Tone, WorstGlance};
use crate::keeper::handle::Season;

/// The plantings that stand now, each a way to its season.
pub(crate) fn list(glance: &Glance) -> Markup {
    let civil = Civil(glance.civil_offset_s);
    let lintel = Lintel {
        tone: Tone::Well,
        place: glance.site.clone(),
        order: if glance.plantings.is_empty() { "Nothing is planted yet." } else { "Choose a planting." }
            .to_owned(),
        why: "Its degree days, milestones, and hours past its line.".to_owned(),
        more: html! {},
    };
    let main = html! {
        div.pg {
            @if glance.plantings.is_empty() { p { a.big href="/ground" { "Plant something on the page Ground" } } }
            ul.list {
                @for planting in &glance.plantings {
                    li {
                        a.big href={ "/season/" (planting.planting) } { (planting.name) }
                        small {
                            "since " (civil.date(planting.since_ms, glance.at_ms)) "; "
                            (degree_days(planting)) " (" (planting.rule) "); "
                            (tenth(planting.stress_season_h)) " h past its line"
                        }
                    }
                }
            }
        }
    };
    page(View::Season, glance, Did::default(), &lintel, &main)
}

/// The season of one planting.
pub(crate) fn one(glance: &Glance, season: &Season) -> Markup {
    let planting = &season.planting;
    let civil = Civil(glance.civil_offset_s);
    let count = planting.count.map(|count| format!(", {count}")).unwrap_or_default();
    let lintel = Lintel {
        tone: Tone::Well,
        place: format!("{}{count}", planting.name),
        order: sentence(season),
        why: format!(
            "{} ({}), {} of the time measured; {} h past {}° so far.",
            degree_days(planting),
            planting.rule,
            share(planting.measured_share),
            tenth(planting.stress_season_h),
            super::cloth::tenth_or_whole(planting.line_c),
        ),
        more: html! {},
    };
    let main = html! {
        section aria-labelledby="sums-head" {
            h2.unseen id="sums-head" { "Degree days, day by day" }
            (sums::sums(season))
        }
        section.pg aria-labelledby="account" {
            h2 id="account" { "The account" }
            (account(season, civil, glance))
            (own(season))
            (anew(season))
            (by_hand(season))
            (sums::figures(season))
            p { a href="/season" { "All plantings" } }
        }
    };
    page(View::Season, glance, Did::default(), &lintel, &main)
}

/// What the season says in one sentence: the milestone last seen or reached, or the next one.
fn sentence(season: &Season) -> String {
    if season.planting.ended_ms.is_some() {
        return "This planting has ended.".to_owned();
    }
    let came =
        season.milestones.iter().filter_map(|it| Some((it.noted.as_ref().or(it.reached.as_ref())?, it)));
    if let Some((day, milestone)) = came.max_by_key(|(day, _)| *day) {
        let (what, day) = (capital(&milestones::words(&milestone.what)), day_words(day));
        return if milestone.noted.is_some() {
            format!("{what} on {day}.")
        } else {
            format!("{what} about {day}, by its degree days.")
        };
    }
    let dated = season.milestones.iter().filter(|it| it.earliest.is_some()).min_by_key(|it| &it.earliest);
    match dated.or(season.milestones.first()) {
        Some(next) => match milestones::expected(next) {
            Some(when) => format!("{} {when}.", capital(&milestones::words(&next.what))),
            None => {
                let what = capital(&milestones::words(&next.what));
                format!("{what} at about {} degree days.", whole(next.from_dd))
            }
        },
        None => "The sum so far.".to_owned(),
    }
}

fn account(season: &Season, civil: Civil, glance: &Glance) -> Markup {
    let planting = &season.planting;
    let highs = season.days.iter().filter_map(|day| Some((day.t_max_c?, &day.date)));
    let hottest = highs.max_by(|a, b| a.0.total_cmp(&b.0));
    html! {
        table.account {
            tbody {
                tr { th scope="row" { "Stands since" } td { b { (civil.date(planting.since_ms, glance.at_ms)) } } }
                @if let Some(ended) = planting.ended_ms {
                    tr { th scope="row" { "Ended" } td { b { (civil.date(ended, glance.at_ms)) } } }
                }
                (milestones::rows(season))
                tr {
                    th scope="row" { "Degree days" small { (planting.rule) } }
                    td { b { (whole(planting.degree_days)) } @if let Some(words) = not_measured(planting) { small { (words) } } @if planting.filled_days > 0 { small { (share(filled_share(planting))) " filled" } } }
                }
                tr { th scope="row" { "Hours past its line" } td { b { (tenth(planting.stress_season_h)) } } }
                @if let Some(worst) = &planting.worst { (worst_row(worst)) }
                tr { th scope="row" { "Warm nights" } td { b { (planting.warm_nights) } } }
                @if let Some((t, day)) = hottest { tr { th scope="row" { "Hottest" } td { b { (tenth(t)) } small { (day_words(day)) } } } }
                tr { th scope="row" { "Share of time measured" } td { b { (share(planting.measured_share)) } } }
            }
        }
    }
}

/// The share of the sum that was filled, 0..1.
fn filled_share(planting: &PlantingGlance) -> f64 {
    if planting.degree_days > 0.0 { (planting.filled / planting.degree_days).clamp(0.0, 1.0) } else { 0.0 }
}

/// The worst that heat did: how bad, when, what it does.
fn worst_row(worst: &WorstGlance) -> Markup {
    html! {
        tr {
            th scope="row" { "Worst heat" small { (worst.effect) } }
            td {
                b { (worst.severity.as_str()) }
                small { (worst_when(worst)) }
                @if let Some(stage) = &worst.only_if { small { "if it was " (stage) " then" } }
            }
        }
    }
}

/// When a rule of that severity spoke.
fn worst_when(worst: &WorstGlance) -> String {
    let (first, last) = (day_words(&worst.first), day_words(&worst.last));
    match worst.days {
        1 => format!("on {first}"),
        days => format!("on {days} days, {first} to {last}"),
    }
}

/// The grower's own figures beside the book's.
fn own(season: &Season) -> Markup {
    html! {
        @if !season.planting.own.is_empty() {
            h2 id="own" { "Your own figures" }
            table.account aria-labelledby="own" {
                tbody {
                    @for one in &season.planting.own {
                        tr {
                            th scope="row" { (capital(&one.words)) small { (one.figure) } }
                            td {
                                b { (one.own) }
                                small {
                                    "your own figure; "
                                    @match &one.book { Some(book) => { "book: " (book) }, None => { "not in the book" } }
                                }
                                @if !one.read { small { "nothing is reckoned from it yet" } }
                                @if let Some(wrong) = &one.wrong { small { (wrong) } }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// What another edition made of the sums, and that one is being reckoned.
fn anew(season: &Season) -> Markup {
    html! {
        @if let Some(days) = season.still_to_reckon { p.source { (being_reckoned(days)) } }
        @if let Some(anew) = &season.anew {
            p.source {
                strong { "Reckoned anew on " (day_words(&anew.date)) ", was " (whole(anew.sums.was.degree_days)) "." }
                " " (changed(&anew.because)) " The same days now come to " (whole(anew.sums.came_to.degree_days))
                " degree days, and to " (tenth(anew.sums.came_to.stress_h)) " h past the line (was "
                (tenth(anew.sums.was.stress_h)) "). Edition " (anew.edition) "."
            }
        }
    }
}

/// That all days are being reckoned by another edition, while the figures shown are those of the one before.
pub(crate) fn being_reckoned(days: u64) -> String {
    let left = match days {
        0 => "nearly done".to_owned(),
        1 => "1 day to go".to_owned(),
        days => format!("{} days to go", whole(days as f64)),
    };
    format!("All days are being reckoned anew, {left}. Until then sums are those of before, without today.")
}

/// Why, in a sentence.
fn changed(because: &[Cause]) -> String {
    let what = |cause: &Cause| match cause {
        Cause::Book => "the crop book",
        Cause::Rules => "the program’s rules",
        Cause::Position => "the site’s position",
        Cause::Limits => "the probes’ limits",
    };
    match because {
        [] => String::new(),
        [one] => format!("Changed: {}.", what(one)),
        [first @ .., last] => {
            let first: Vec<_> = first.iter().map(what).collect();
            format!("Changed: {} and {}.", first.join(", "), what(last))
        }
    }
}

fn by_hand(season: &Season) -> Markup {
    let hand = season.days.iter().filter(|day| day.by_hand).count();
    let (filled, missing) = (season.planting.filled_days, season.planting.missing_days);
    html! {
        @if hand > 0 { p.source { (hand) @if hand == 1 { " day is" } @else { " days are" } " made from lows and highs read by hand: they say how hot it was, not for how long." } }
        @if filled > 0 { p.source { "Of " (filled) @if filled == 1 { " day" } @else { " days" } " too little was measured: filled with the mean of three days before and after." } }
        @if missing > 0 { p.source { (missing) @if missing == 1 { " day is" } @else { " days are" } " not in the sum: too little was measured, and nothing near to fill it from." } }
    }
}

#[cfg(test)]
mod tests {
    use agronomy::crop::Severity;

    use super::super::fixtures;
    use super::*;
    use crate::entry::{Anew, Sums};
    use crate::glance::OwnGlance;
    use crate::keeper::handle::SeasonAnew;

    /// The season of the tomatoes after the crop book and a probe's limits changed.
    fn reckoned_anew() -> Season {
        let sums = |degree_days, stress_h| Sums { degree_days, stress_h, warm_nights: 3 };
        let anew = SeasonAnew {
            date: "2026-06-03".to_owned(),
            edition: "1-5f3a9c20+1+0b3c77d1".to_owned(),
            because: vec![Cause::Book, Cause::Limits],
            sums: Anew { was: sums(1104.2, 10.0), came_to: sums(1091.6, 12.5) },
        };
        Season { anew: Some(anew), ..fixtures::season() }
    }

    #[test]
    fn the_season_says_what_is_measured_by_hand_and_missing() {
        let html = one(&fixtures::calm(), &fixtures::season()).into_string();
        for wanted in [
            "First ripe about 1 July, by its degree days.",
            "1 day is made from lows",
            "16 of them filled in for 1 day",
            "Of 1 day too little was measured",
            "31.5",
        ] {
            assert!(html.contains(wanted), "{wanted} missing");
        }
    }

    #[test]
    fn the_worst_heat_has_its_days_and_days_nothing_could_fill_are_told() {
        let mut season = fixtures::season();
        season.planting.missing_days = 2;
        assert!(!one(&fixtures::calm(), &season).into_string().contains("Worst heat"));
        season.planting.worst = Some(WorstGlance {
            severity: Severity::Extreme,
            first: "2026-07-03".to_owned(),
            last: "2026-07-09".to_owned(),
            days: 4,
            effect: "can fail the set".to_owned(),
            only_if: Some("in flower".to_owned()),
        });
        let html = one(&fixtures::calm(), &season).into_string();
        for wanted in [
            "<b>extreme</b>",
            "on 4 days, 3 July to 9 July",
            "can fail the set",
            ", 2 days could not be reckoned",
            "if it was in flower then",
        ] {
            assert!(html.contains(wanted), "{wanted} missing in {html}");
        }
    }

    #[test]
    fn an_own_figure_stands_beside_the_books_and_says_when_it_no_longer_fits() {
        let mut season = fixtures::season();
        assert!(!one(&fixtures::calm(), &season).into_string().contains("Your own figures"));
        season.planting.own = vec![OwnGlance {
            figure: "heat_rule.<b>.threshold".to_owned(),
            words: "heat rule day severe, from".to_owned(),
            own: "37 °C".to_owned(),
            book: None,
            read: false,
            wrong: Some("tomato has no figure of this name".to_owned()),
        }];
        let html = one(&fixtures::calm(), &season).into_string();
        for wanted in [
            "Your own figures",
            "Heat rule day severe, from",
            "37 °C",
            "not in the book",
            "nothing is reckoned from it yet",
            "tomato has no figure",
        ] {
            assert!(html.contains(wanted), "{wanted} missing in {html}");
        }
        assert!(!html.contains("<b>.threshold"));
    }

    #[test]
    fn the_season_says_what_it_was_before_it_was_reckoned_anew_and_why() {
        let html = one(&fixtures::calm(), &reckoned_anew()).into_string();
        for wanted in [
            "<strong>Reckoned anew on 3 June, was 1,104.</strong>",
            "Changed: the crop book and the probes’ limits.",
            "The same days now come to 1,092 degree days, and to 12.5 h past the line (was 10.0).",
        ] {
            assert!(html.contains(wanted), "{wanted} missing in {html}");
        }
        assert!(!one(&fixtures::calm(), &fixtures::season()).into_string().contains("anew"));
    }

    #[test]
    fn while_another_edition_is_being_reckoned_the_page_says_whose_the_sums_are() {
        let mut season = fixtures::season();
        season.still_to_reckon = Some(1_412);
        let html = one(&fixtures::calm(), &season).into_string();
        assert!(html.contains("All days are being reckoned anew, 1,412 days to go."));
        assert!(html.contains("sums are those of before, without today"));
        assert!(being_reckoned(1).contains("1 day to go"));
        assert!(being_reckoned(0).contains("nearly done"));
    }

    #[test]
    fn the_list_leads_to_each_planting_and_an_empty_one_to_the_ground() {
        let mut glance = fixtures::calm();
        assert!(list(&glance).into_string().contains("href=\"/season/tomato-1\""));
        glance.plantings.clear();
        assert!(list(&glance).into_string().contains("Nothing is planted yet."));
    }
}
