//! A day page against the readings of its 24 hours, reckoned a second time by another way: piece by piece between all
//! moments at which any probe of the place begins or ends to hold.

use std::collections::BTreeMap;

use agronomy::quantity::Quantity;
use glasshour::almanac::day_page::DayPage;
use glasshour::calendar::day;
use glasshour::keeper::engine::Engine;

use super::Violation;
use super::kept::Kept;
use crate::garden::{OFFSET_MS, Probe};
use crate::weather::DAY;

/// Half of the last digit a page keeps, and a little for the order of summation.
const LAST_DIGIT: f64 = 0.0051;

/// Checks every page that is not marked to be made afresh.
pub(crate) fn check(engine: &Engine, kept: &Kept, probes: &[Probe], now_ms: i64) -> Result<(), Violation> {
    let air = sound_air(kept, probes.len());
    for page in engine.pages().places.values() {
        let wrong = |what: String| Err(Violation::new("I4", now_ms, what));
        let Some(number) = day(&page.date) else { return wrong(format!("no date: {}", page.date)) };
        let start_ms = number * DAY - OFFSET_MS;
        let calendar = &engine.site().calendar;
        let ends =
            (calendar.day_of(start_ms), calendar.day_of(start_ms + DAY - 1), calendar.start_of(number));
        if ends != (number, number, start_ms) {
            return wrong(format!("{} is not 24 h of the frozen offset: {ends:?}", page.date));
        }
        if page.read_by_hand {
            continue;
        }
        let here = probes.iter().zip(&air).filter(|(probe, _)| probe.place == page.place);
        let held: Vec<_> = here.map(|(probe, air)| segments(air, probe.interval_ms)).collect();
        let (share, mean) = reckon(&held, start_ms);
        let mean_off = page.t_mean_c.zip(mean).map_or(0.0, |(page, ours)| (page - ours).abs());
        let same_kind = page.t_mean_c.is_some() == mean.is_some();
        if (page.measured_share - share).abs() > 0.0001 || mean_off > LAST_DIGIT || !same_kind {
            return wrong(differs(page, share, mean));
        }
    }
    Ok(())
}

fn differs(page: &DayPage, share: f64, mean: Option<f64>) -> String {
    format!(
        "the page of {} on {} says {} of the day at {:?}, its sound readings {share:.4} at {mean:?}",
        page.place, page.date, page.measured_share, page.t_mean_c
    )
}

/// Sound air of each probe by time, hundredths of a degree.
fn sound_air(kept: &Kept, probes: usize) -> Vec<BTreeMap<i64, i64>> {
    let mut air = vec![BTreeMap::new(); probes];
    for ((probe, quantity, at_ms), rows) in &kept.stored {
        if *quantity == Quantity::AirTemperature
            && let Some((value, _)) = rows.iter().find(|(_, sound)| *sound)
        {
            air[*probe].insert(*at_ms, *value);
        }
    }
    air
}

/// From, until, value: each reading holds until the next, and for twice the usual interval at most.
fn segments(air: &BTreeMap<i64, i64>, interval_ms: i64) -> Vec<(i64, i64, i64)> {
    let mut segments: Vec<(i64, i64, i64)> =
        air.iter().map(|(at_ms, value)| (*at_ms, at_ms + 2 * interval_ms, *value)).collect();
    for next in 1..segments.len() {
        segments[next - 1].1 = segments[next - 1].1.min(segments[next].0);
    }
    segments
}

/// Share of the day for which something was held, and its mean: the first probe counts, the next in its gaps.
fn reckon(held: &[Vec<(i64, i64, i64)>], start_ms: i64) -> (f64, Option<f64>) {
    let day = start_ms..start_ms + DAY;
    let mut moments: Vec<i64> = held.iter().flatten().flat_map(|(from, until, _)| [*from, *until]).collect();
    moments.extend([day.start, day.end]);
    moments.retain(|at| day.contains(at) || *at == day.end);
    moments.sort_unstable();
    moments.dedup();
    let (mut ms, mut sum) = (0_i64, 0_i128);
    for piece in moments.windows(2) {
        let value = held.iter().find_map(|segments| {
            let next = segments.partition_point(|(from, ..)| *from <= piece[0]);
            let (_, until, value) = segments.get(next.checked_sub(1)?)?;
            (*until > piece[0]).then_some(*value)
        });
        if let Some(value) = value {
            ms += piece[1] - piece[0];
            sum += i128::from(value) * i128::from(piece[1] - piece[0]);
        }
    }
    let mean = (ms > 0).then(|| sum as f64 / ms as f64 / 100.0);
    (ms as f64 / DAY as f64, mean)
}
