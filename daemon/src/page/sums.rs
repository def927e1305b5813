//! The season's drawing: days run down, the sum of degree days reaches out from the left, stress hours from the right.

use std::fmt::Write;

use maud::{Markup, html};

use super::figures::{day_words, tenth, whole};
use super::milestones;
use crate::keeper::handle::{Season, SeasonMilestone};

/// Height of a day, px.
const DAY_PX: f64 = 4.0;
/// Height of a line of words, px.
const LINE_PX: f64 = 18.0;
/// Share of the width that 24 hours past the line would take, from the right.
const STRESS_SHARE: f64 = 0.5;
/// Width of a letter of a tag, px, on the safe side.
const LETTER_PX: f64 = 6.9;
/// Narrowest phone, px: decides on which side of a string its tag stands.
const NARROW_PX: f64 = 280.0;

/// The scale of the drawing.
struct Scale {
    days: usize,
    top: f64,
    head_px: f64,
}

impl Scale {
    fn of(season: &Season) -> Self {
        let sum = season.days.last().map_or(0.0, |day| day.total).max(100.0);
        let of_rule = season.milestones.iter().filter(|milestone| milestone.rule == season.planting.rule);
        let next = of_rule.map(|milestone| milestone.to_dd).find(|&to| to > sum);
        let top = next.map_or(sum * 1.15, |next| next.min(sum * 2.0) * 1.08).max(sum * 1.15);
        Self { days: season.days.len(), top, head_px: 10.0 + LINE_PX * shown(season, top).len() as f64 }
    }

    fn height(&self) -> f64 {
        self.head_px + (self.days as f64 * DAY_PX).max(120.0) + 54.0
    }

    fn across(&self, sum: f64) -> String {
        format!("{:.2}%", (sum / self.top * 100.0).min(100.0))
    }

    fn down(&self, day: usize) -> f64 {
        self.head_px + (day + 1) as f64 * DAY_PX
    }
}

/// The milestones within the drawing, by degree days. A sum of another rule has no place on this scale.
fn shown(season: &Season, top: f64) -> Vec<&SeasonMilestone> {
    let of_rule = season.milestones.iter().filter(|milestone| milestone.rule == season.planting.rule);
    of_rule.filter(|milestone| milestone.from_dd <= top).collect()
}

/// The drawing of a season; none before the first day is closed.
pub(crate) fn sums(season: &Season) -> Markup {
    let scale = Scale::of(season);
    let Some(last) = season.days.last() else {
        return html! { p.pg { "The first day closes tonight: sums begin then." } };
    };
    let foot = scale.down(scale.days - 1);
    html! {
        div.drawing {
            svg.cloth width="100%" height=(scale.height()) role="img" aria-labelledby="sums-title sums-words" {
                title id="sums-title" { "Degree days of " (season.planting.name) ", day by day" }
                desc id="sums-words" { (description(season)) }
                svg x="0" y=(scale.head_px) width="100%" height=(scale.days as f64 * DAY_PX)
                    viewBox={ "0 0 " (format!("{:.0}", scale.top)) " " (scale.days) } preserveAspectRatio="none" {
                    path.woven d=(area(season)) {}
                    path.edge d=(edge(season)) {}
                }
                (bars(season, &scale))
                (strings(season, &scale))
                (months(season, &scale))
                (tied(season, &scale, foot))
                line.now-line x1="0" x2="100%" y1=(foot) y2=(foot) {}
                text.now-clock.cased x="100%" dx="-12" y=(foot + 16.0) { "degree days" }
                text.now-figure.cased x="100%" dx="-12" y=(foot + 46.0) { (whole(last.total)) }
            }
        }
        p.key { "Days run down, the sum grows to the right. Strings: milestones of the crop book. Bars at the right: hours past the line that day." }
    }
}

fn description(season: &Season) -> String {
    let mut words = String::new();
    for milestone in &season.milestones {
        let _ = write!(words, "{} at {}", milestones::words(&milestone.what), whole(milestone.from_dd));
        if milestone.rule != season.planting.rule {
            let _ = write!(words, " by {}", milestone.rule);
        }
        if let Some(day) = &milestone.reached {
            let _ = write!(words, ", reached {}", day_words(day));
        }
        if let Some(day) = &milestone.noted {
            let _ = write!(words, ", seen {}", day_words(day));
        }
        words.push_str(". ");
    }
    if let Some(last) = season.days.last() {
        let _ = write!(words, "{} by {}.", whole(last.total), day_words(&last.date));
    }
    words
}

fn edge(season: &Season) -> String {
    let mut path = "M0 0".to_owned();
    for (index, day) in season.days.iter().enumerate() {
        let _ = write!(path, "L{:.1} {}", day.total, index + 1);
    }
    path
}

fn area(season: &Season) -> String {
    format!("{}L0 {}Z", edge(season), season.days.len())
}

fn bars(season: &Season, scale: &Scale) -> Markup {
    html! {
        @for (index, day) in season.days.iter().enumerate() {
            @if day.stress_h > 0.0 {
                @let left = 100.0 - (day.stress_h / 24.0 * STRESS_SHARE * 100.0).min(100.0);
                line.stress x1=(format!("{left:.2}%")) x2="100%" y1=(scale.down(index) - 2.0) y2=(scale.down(index) - 2.0) {}
            }
        }
    }
}

fn strings(season: &Season, scale: &Scale) -> Markup {
    let foot = scale.down(scale.days.saturating_sub(1));
    let shown = shown(season, scale.top);
    let row = |index: usize| 14.0 + index as f64 * LINE_PX;
    html! {
        // Each string hangs from its own row, so that none runs through the words of a row above.
        @for (index, milestone) in shown.iter().enumerate() {
            @let x = scale.across(milestone.from_dd);
            line.casing x1=(x) x2=(x) y1=(row(index) - 12.0) y2=(foot) {}
            line.string x1=(x) x2=(x) y1=(row(index) - 12.0) y2=(foot) {}
        }
        @for (index, milestone) in shown.iter().enumerate() {
            @let (what, figure, y) = (milestones::words(&milestone.what), whole(milestone.from_dd), row(index));
            @let at = scale.across(milestone.from_dd);
            @let (x, dx, side) = beside(milestone.from_dd / scale.top, what.chars().count() + figure.len() + 1, &at);
            line.tag x1=(at) x2=(at) y1=(y - 12.0) y2=(y + 4.0) {}
            text.tag-words.start[side] x=(x) dx=(dx) y=(y) { (what) " " tspan.strong { (figure) } }
        }
    }
}

/// Where the words of a string stand, so that the narrowest phone shows all of them: right of it (`true`), left of it, or,
/// where neither side has room, from the left edge on, over the string.
fn beside(share: f64, letters: usize, at: &str) -> (String, &'static str, bool) {
    let (across, width) = (share.min(1.0) * NARROW_PX, letters as f64 * LETTER_PX + 6.0);
    if across + width <= NARROW_PX {
        (at.to_owned(), "6", true)
    } else if width <= across {
        (at.to_owned(), "-6", false)
    } else {
        ("0".to_owned(), "6", true)
    }
}

fn months(season: &Season, scale: &Scale) -> Markup {
    html! {
        @for (index, day) in season.days.iter().enumerate() {
            @if day.date.ends_with("-01") && day.stress_h == 0.0 {
                text.hour x="100%" dx="-6" y=(scale.down(index)) dy="4" {
                    (day_words(&day.date).trim_start_matches("1 "))
                }
            }
        }
    }
}

/// Where the sum came to a milestone, or the grower saw it.
struct Knot {
    /// Across, as a share of the drawing.
    share: f64,
    /// Of the day, px down.
    y: f64,
    /// A lozenge: seen, not reckoned.
    seen: bool,
    /// The day, and how it is known; empty where another knot of that day says it.
    words: String,
}

impl Knot {
    /// Whether its words stand at the left edge; else right of it.
    fn at_the_edge(&self) -> bool {
        self.share * NARROW_PX > 130.0
    }
}

/// All knots of a season, from the foot of the drawing upwards.
fn knots(season: &Season, scale: &Scale) -> Vec<Knot> {
    let knot = |milestone: &SeasonMilestone, date: &Option<String>, seen: bool| {
        let date = date.as_ref()?;
        let index = season.days.iter().position(|day| &day.date == date)?;
        let words = format!("{} {}", day_words(date), if seen { "seen" } else { "reached" });
        Some(Knot { share: milestone.from_dd / scale.top, y: scale.down(index), seen, words })
    };
    let of = |it: &SeasonMilestone| [knot(it, &it.reached, false), knot(it, &it.noted, true)];
    let mut knots: Vec<Knot> = shown(season, scale.top).into_iter().flat_map(of).flatten().collect();
    knots.sort_by(|a, b| b.y.total_cmp(&a.y).then_with(|| a.words.cmp(&b.words)));
    for later in (1..knots.len()).rev() {
        if knots[later].words == knots[later - 1].words {
            knots[later].words.clear();
        }
    }
    knots
}

/// The foot of each knot's words, px down, none lying over others of its side nor over the line at the foot.
fn feet(knots: &[Knot], foot: f64) -> Vec<f64> {
    let mut free = [foot - 6.0; 2];
    let foot = |knot: &Knot| {
        if knot.words.is_empty() {
            return knot.y;
        }
        let free = &mut free[usize::from(knot.at_the_edge())];
        let at = (knot.y + if knot.at_the_edge() { -4.0 } else { 5.0 }).min(*free);
        *free = at - LINE_PX;
        at
    };
    knots.iter().map(foot).collect()
}

/// A round knot where the sum came to the milestone, a lozenge where the grower saw it, each with its day.
fn tied(season: &Season, scale: &Scale, foot: f64) -> Markup {
    let knots = knots(season, scale);
    let feet = feet(&knots, foot);
    let across = |knot: &Knot| scale.across(knot.share * scale.top);
    html! {
        @for knot in &knots {
            @if knot.at_the_edge() { line.thin x1="0" x2=(across(knot)) y1=(knot.y) y2=(knot.y) {} }
        }
        @for (knot, at) in knots.iter().zip(feet) {
            @if knot.at_the_edge() { text.word.cased y=(at) { (knot.words) } }
            @else { text.beside.cased x=(across(knot)) dx="12" y=(at) { (knot.words) } }
        }
        @for knot in &knots {
            @if knot.seen { svg x=(across(knot)) y=(knot.y) overflow="visible" { path.knot d="M0-6L6 0L0 6L-6 0Z" {} } }
            @else { circle.knot cx=(across(knot)) cy=(knot.y) r="4.5" {} }
        }
    }
}

/// The figures of the drawing, newest first.
pub(crate) fn figures(season: &Season) -> Markup {
    html! {
        details.figures id="in-figures" {
            summary { "In figures" }
            div.table role="region" tabindex="0" aria-label="The season day by day" {
                table.narrow {
                    thead { tr {
                        th scope="col" { "day" }
                        th scope="col" { "degree days" }
                        th scope="col" { "sum" }
                        th scope="col" { "low, high °C" }
                        th scope="col" { "hours past" }
                        th scope="col" { "measured" }
                    } }
                    tbody { @for day in season.days.iter().rev() {
                        tr {
                            th scope="row" { (day_words(&day.date)) @if day.by_hand { small { "by hand" } } @if day.warm_night { small { "warm night" } } }
                            td { @if let Some(sum) = day.degree_days { (tenth(sum)) } @else { "not known" }
                                @if let Some(filled) = day.filled { small { (tenth(filled)) " filled" } } }
                            td { (whole(day.total)) }
                            td { (pair(day.t_min_c, day.t_max_c)) }
                            td { (tenth(day.stress_h)) }
                            td { (super::figures::share(day.measured_share)) }
                        }
                    } }
                }
            }
        }
    }
}

fn pair(low: Option<f64>, high: Option<f64>) -> String {
    match (low, high) {
        (Some(low), Some(high)) => format!("{}, {}", tenth(low), tenth(high)),
        _ => "not known".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::fixtures;
    use super::*;

    #[test]
    fn the_drawing_carries_milestones_their_dates_and_the_bars_of_hot_days() {
        let drawn = sums(&fixtures::season()).into_string();
        assert!(drawn.contains("first flower") && drawn.contains("1 July reached"));
        assert_eq!(drawn.matches("class=\"stress\"").count(), 13);
        assert!(!drawn.contains("style="));
    }

    #[test]
    fn the_words_of_a_string_stand_whole_on_the_narrowest_phone_and_no_string_runs_through_a_row_above() {
        for letters in [8, 20, 38] {
            for percent in 0..=100 {
                let share = f64::from(percent) / 100.0;
                let (x, dx, right) = beside(share, letters, "at");
                let from = if x == "at" { share * NARROW_PX } else { 0.0 } + dx.parse::<f64>().unwrap();
                let width = letters as f64 * LETTER_PX;
                let (left, end) = if right { (from, from + width) } else { (from - width, from) };
                assert!(left >= 0.0 && end <= NARROW_PX, "{letters} letters at {percent} %: {left} to {end}");
            }
        }
        let season = fixtures::season();
        let drawn = strings(&season, &Scale::of(&season)).into_string();
        let rows = shown(&season, Scale::of(&season).top).len();
        assert!(rows > 1 && drawn.matches("class=\"string\"").count() == rows);
        assert_eq!(drawn.matches(" y1=\"2\"").count(), 3, "only the first hangs from the top: {drawn}");
    }

    #[test]
    fn days_of_milestones_never_lie_over_each_other_nor_over_the_foot() {
        let knot = |share, y| Knot { share, y, seen: false, words: "8 July reached".to_owned() };
        let knots =
            [knot(0.9, 398.0), knot(0.3, 396.0), knot(0.8, 390.0), knot(0.7, 388.0), knot(0.2, 100.0)];
        let feet = feet(&knots, 400.0);
        assert_eq!(feet, [394.0, 394.0, 376.0, 358.0, 105.0]);
        let mut twice = fixtures::season();
        let reached = twice.milestones.iter().find(|it| it.reached.is_some()).unwrap().clone();
        twice.milestones.push(reached);
        let drawn = tied(&twice, &Scale::of(&twice), 400.0).into_string();
        assert_eq!(drawn.matches("1 July reached").count(), 1, "one day is said once: {drawn}");
        let season = fixtures::season();
        assert!(tied(&season, &Scale::of(&season), 400.0).into_string().contains("1 July reached"));
    }

    #[test]
    fn a_day_without_enough_readings_is_not_known_in_the_table() {
        let table = figures(&fixtures::season()).into_string();
        assert!(table.contains("not known") && table.contains("by hand") && table.contains("warm night"));
    }

    #[test]
    fn a_season_without_days_says_when_it_begins() {
        let mut season = fixtures::season();
        season.days.clear();
        assert!(sums(&season).into_string().contains("first day closes tonight"));
    }
}
