//! A place whose thermometer is read by hand: one rung a day, from the low to the high.

use maud::{Markup, html};

use super::cloth::tenth_or_whole;
use super::figures::{Civil, tenth};
use super::threads::percent;
use crate::entry::{Entry, Note};
use crate::glance::{Glance, PlaceGlance};

/// Height of a day, px.
const DAY_PX: f64 = 30.0;
/// Height of the head that carries the tags, px.
const HEAD_PX: f64 = 54.0;
/// Days shown.
const DAYS: usize = 9;

/// One day's reading.
struct Rung {
    at_ms: i64,
    low: Option<f64>,
    high: Option<f64>,
}

/// The newest reading of each day, oldest first.
fn rungs(entries: &[Entry], place: &str, civil: Civil) -> Vec<Rung> {
    let mut rungs: Vec<Rung> = Vec::new();
    let mut sorted: Vec<&Entry> = entries.iter().collect();
    sorted.sort_by_key(|entry| (entry.from_ms, entry.id));
    for entry in sorted {
        let Note::Thermometer { place: at, low_c, high_c, .. } = &entry.note else { continue };
        if at != place || (low_c.is_none() && high_c.is_none()) {
            continue;
        }
        let rung = Rung { at_ms: entry.from_ms, low: *low_c, high: *high_c };
        match rungs.last_mut() {
            Some(last) if civil.iso_day(last.at_ms) == civil.iso_day(rung.at_ms) => *last = rung,
            _ => rungs.push(rung),
        }
    }
    let spare = rungs.len().saturating_sub(DAYS);
    rungs.split_off(spare)
}

/// The ladder of a place read by hand, with "now: not known" where the live figure usually stands.
pub(crate) fn ladder(place: &PlaceGlance, glance: &Glance, id: &str) -> Markup {
    let civil = Civil(glance.civil_offset_s);
    let rungs = rungs(&glance.entries, &place.place, civil);
    let foot = HEAD_PX + rungs.len() as f64 * DAY_PX;
    let height = foot + 40.0;
    let pct = |t: f64| format!("{:.2}%", percent(t));
    html! {
        svg.cloth width="100%" height=(height) role="img" aria-labelledby={ (id) "-title " (id) "-words" } {
            title id={ (id) "-title" } { (place.name) ", read by hand, day by day" }
            desc id={ (id) "-words" } {
                "Now: not known. "
                @for rung in &rungs {
                    (civil.day(rung.at_ms)) ": "
                    @if let Some(low) = rung.low { "low " (tenth(low)) " " }
                    @if let Some(high) = rung.high { "high " (tenth(high)) }
                    ". "
                }
            }
            @for (index, line) in place.lines.iter().take(3).enumerate() {
                @let y = 14.0 + index as f64 * 17.0;
                line.string.wide[line.of_place] x1=(pct(line.limit_c)) x2=(pct(line.limit_c)) y1="0" y2=(height) {}
                @if line.of_place { line.gap x1=(pct(line.limit_c)) x2=(pct(line.limit_c)) y1="0" y2=(height) {} }
                text.tag-words x=(pct(line.limit_c)) dx="-6" y=(y) {
                    (line.whose) " " tspan.strong { (tenth_or_whole(line.limit_c)) "°" }
                }
            }
            @for (index, rung) in rungs.iter().enumerate() {
                @let y = HEAD_PX + (index as f64 + 0.5) * DAY_PX;
                text.day x="8" y=(y) dy="5" { (civil.day(rung.at_ms).split_whitespace().take(2).collect::<Vec<_>>().join(" ")) }
                @if let (Some(low), Some(high)) = (rung.low, rung.high) {
                    line.rung-edge x1=(pct(low)) x2=(pct(high)) y1=(y) y2=(y) {}
                    line.rung x1=(pct(low)) x2=(pct(high)) y1=(y) y2=(y) {}
                }
                @if let Some(low) = rung.low {
                    circle.knot cx=(pct(low)) cy=(y) r="5.5" {}
                    text.end.cased x=(pct(low)) dx="-11" y=(y) dy="5" { (tenth(low)) }
                }
                @if let Some(high) = rung.high {
                    circle.knot cx=(pct(high)) cy=(y) r="5.5" {}
                    text.start.cased x=(pct(high)) dx="11" y=(y) dy="5" { (tenth(high)) }
                }
            }
            line.now-line x1="0" x2="100%" y1=(foot) y2=(foot) {}
            text.now-figure.small.cased x="100%" dx="-12" y=(foot + 28.0) { "now: not known" }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::fixtures;
    use super::*;

    #[test]
    fn each_day_read_is_one_rung_and_now_is_said_to_be_unknown() {
        let glance = fixtures::by_hand();
        let drawn = ladder(&glance.places[0], &glance, "p0").into_string();
        assert_eq!(drawn.matches("class=\"rung\"").count(), 3);
        assert!(drawn.contains("now: not known") && drawn.contains("20.5") && drawn.contains("36.0"));
    }

    #[test]
    fn the_last_reading_of_a_day_counts() {
        let glance = fixtures::by_hand();
        let rungs = rungs(&glance.entries, "lean-to", Civil(7200));
        assert_eq!(rungs.len(), 3);
        assert_eq!(rungs.last().unwrap().high, Some(36.0));
    }
}
