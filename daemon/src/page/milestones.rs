//! The milestones of a season in words: seen, reached by the sum, or between which days to expect them.

use maud::{Markup, html};

use super::figures::{day_words, whole};
use crate::figure_words::capital;
use crate::keeper::handle::{Season, SeasonMilestone};

/// A row of the account for each milestone.
pub(crate) fn rows(season: &Season) -> Markup {
    html! {
        @for milestone in &season.milestones {
            tr {
                th scope="row" { (capital(&words(&milestone.what))) small { (book(milestone, season)) } }
                td { (came(milestone, season.planting.ended_ms.is_some())) }
            }
        }
    }
}

/// A milestone of the crop book in plain words.
pub(crate) fn words(what: &str) -> String {
    let plain = match what {
        "end initial stage" => "leaves cover a tenth of the ground",
        "full cover" | "full cover mid season" => "leaves cover the ground",
        "end of crop" => "end of the crop",
        "bulbing start" => "bulbs begin to swell",
        "tops down" => "tops fall over",
        "silking" => "silks show",
        "first coloured" => "first coloured fruit",
        "first full husk" => "first full husks",
        "early harvest immature" => "early harvest, not yet ripe",
        "fresh harvest jubilee" => "harvest to eat fresh",
        "harvest autumn" => "autumn harvest",
        "harvest early" => "early harvest",
        "harvest head" => "heads to cut",
        "harvest late" => "late harvest",
        "harvest main" => "main harvest",
        other => other,
    };
    plain.to_owned()
}

/// What the book says, with its method where it is not the one of the sum.
fn book(milestone: &SeasonMilestone, season: &Season) -> String {
    let (from, to) = (whole(milestone.from_dd), whole(milestone.to_dd));
    let span = if from == to { format!("book: {from}") } else { format!("book: {from} to {to}") };
    if milestone.rule == season.planting.rule { span } else { format!("{span} by {}", milestone.rule) }
}

fn came(milestone: &SeasonMilestone, ended: bool) -> Markup {
    html! {
        @if let Some(day) = &milestone.noted { b { (day_words(day)) } small { "seen" } }
        @if let Some(day) = &milestone.reached {
            b { (day_words(day)) }
            small {
                "by its degree days"
                @if let Some(latest) = milestone.latest.as_ref().filter(|latest| *latest != day) { ", at the latest " (day_words(latest)) }
            }
        } @else if milestone.too_little_measured {
            small { "no date: too little of the sum was measured" }
        } @else if milestone.noted.is_none() {
            @match expected(milestone) {
                Some(when) => { b { (when) } small { "if days go on like these" } },
                None => { @if ended { "not reached" } @else { "to come" } },
            }
        }
    }
}

/// Between which days a milestone is expected; none where its early end is not in sight.
pub(crate) fn expected(milestone: &SeasonMilestone) -> Option<String> {
    let earliest = milestone.earliest.as_ref()?;
    Some(match &milestone.latest {
        Some(latest) if latest == earliest => format!("about {}", day_words(earliest)),
        Some(latest) => format!("between {} and {}", day_words(earliest), day_words(latest)),
        None => format!("from {} on", day_words(earliest)),
    })
}

#[cfg(test)]
mod tests {
    use super::super::fixtures;
    use super::*;

    fn row(milestone: SeasonMilestone) -> String {
        rows(&Season { milestones: vec![milestone], ..fixtures::season() }).into_string()
    }

    fn ripe() -> SeasonMilestone {
        SeasonMilestone {
            what: "first ripe".to_owned(),
            rule: "integral 10/30".to_owned(),
            from_dd: 650.0,
            to_dd: 950.0,
            ..SeasonMilestone::default()
        }
    }

    #[test]
    fn a_milestone_to_come_has_its_range_and_the_method_of_its_sum() {
        let day = |day: &str| Some(day.to_owned());
        let html = row(SeasonMilestone { earliest: day("2026-07-03"), latest: day("2026-08-12"), ..ripe() });
        for wanted in ["between 3 July and 12 August", "book: 650 to 950 by integral 10/30", "if days go on"]
        {
            assert!(html.contains(wanted), "{wanted} missing in {html}");
        }
        let html = row(SeasonMilestone { earliest: day("2026-07-03"), ..ripe() });
        assert!(html.contains("from 3 July on"), "{html}");
        assert!(row(ripe()).contains("to come"));
    }

    #[test]
    fn every_milestone_of_the_book_is_said_in_words_of_the_garden() {
        let book = config::crop_book().unwrap();
        let milestones = book.crops.values().flat_map(|crop| &crop.gdd.milestones);
        for what in milestones.map(|it| it.to.trim_end_matches("_ontario_units").replace('_', " ")) {
            let said = words(&what);
            for cryptic in ["stage", "season", "jubilee", "immature", "_"] {
                assert!(!said.contains(cryptic), "{what}: {said}");
            }
        }
        assert_eq!(words("full cover mid season"), "leaves cover the ground");
    }

    #[test]
    fn a_sum_with_holes_gives_no_date_and_says_why() {
        let html = row(SeasonMilestone { too_little_measured: true, ..ripe() });
        assert!(html.contains("no date: too little of the sum was measured"), "{html}");
        let seen =
            SeasonMilestone { noted: Some("2026-07-01".to_owned()), too_little_measured: true, ..ripe() };
        assert!(row(seen).contains("1 July"));
    }
}
