//! A forecast in even hours.
//!
//! Services give every hour for two days and every third or sixth after that, or every quarter of an hour. Everything
//! after this has whole steps of an hour: between two moments at most six hours apart the values lie on a straight
//! line (rain is shared out evenly), and where the gap is larger the outlook ends.

use agronomy::series::MS_PER_HOUR;

/// The widest step that is drawn through, ms.
const WIDEST_MS: i64 = 6 * MS_PER_HOUR;

/// What is expected at a moment. Units are the canonical ones; what is not told is none.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Hour {
    /// When, UTC ms.
    pub at_ms: i64,
    /// Air temperature, °C.
    pub air_c: f64,
    /// Relative humidity, %.
    pub humidity_pct: Option<f64>,
    /// Wind, m/s.
    pub wind_m_s: Option<f64>,
    /// Sunlight on a level surface, W/m².
    pub light_w_m2: Option<f64>,
    /// Rain from this moment to the next, mm.
    pub rain_mm: Option<f64>,
}

/// The same course at whole hours after the first moment, up to the first gap that lies after `now_ms`; a gap before
/// it cuts off what comes before. `hours` ascend. Nothing is told beyond the last moment.
pub fn even(hours: &[Hour], now_ms: i64) -> Vec<Hour> {
    let mut part = 0..hours.len();
    for (at, pair) in hours.windows(2).enumerate() {
        if pair[1].at_ms - pair[0].at_ms <= WIDEST_MS {
            continue;
        }
        if pair[1].at_ms <= now_ms {
            part.start = at + 1;
        } else {
            part.end = at + 1;
            break;
        }
    }
    let hours = &hours[part];
    let (Some(first), Some(last)) = (hours.first(), hours.last()) else { return Vec::new() };
    let count = (last.at_ms - first.at_ms) / MS_PER_HOUR;
    let mut pair = 0;
    (0..=count)
        .map(|step| {
            let at_ms = first.at_ms + step * MS_PER_HOUR;
            while pair + 2 < hours.len() && hours[pair + 1].at_ms <= at_ms {
                pair += 1;
            }
            match hours.get(pair + 1) {
                Some(after) => Hour { rain_mm: rain(hours, at_ms), ..between(&hours[pair], after, at_ms) },
                None => hours[pair],
            }
        })
        .collect()
}

/// On the straight line between two moments.
fn between(before: &Hour, after: &Hour, at_ms: i64) -> Hour {
    let share = (at_ms - before.at_ms) as f64 / (after.at_ms - before.at_ms) as f64;
    let line = |from: f64, to: f64| from + (to - from) * share;
    let both = |from: Option<f64>, to: Option<f64>| match (from, to) {
        _ if at_ms == before.at_ms => from,
        _ if at_ms == after.at_ms => to,
        (Some(from), Some(to)) => Some(line(from, to)),
        _ => None,
    };
    Hour {
        at_ms,
        air_c: line(before.air_c, after.air_c),
        humidity_pct: both(before.humidity_pct, after.humidity_pct),
        wind_m_s: both(before.wind_m_s, after.wind_m_s),
        light_w_m2: both(before.light_w_m2, after.light_w_m2),
        rain_mm: None,
    }
}

/// Rain of the hour that begins at a moment: its share of each step it lies in. The last step is as long as the one
/// before.
fn rain(hours: &[Hour], at_ms: i64) -> Option<f64> {
    let step_of = |at: usize| {
        let (from, to) = if at + 1 < hours.len() { (at, at + 1) } else { (at.checked_sub(1)?, at) };
        Some(hours[to].at_ms - hours[from].at_ms)
    };
    let first = hours.partition_point(|hour| hour.at_ms <= at_ms).saturating_sub(1);
    let mut sum = 0.0;
    for (at, hour) in
        hours.iter().enumerate().skip(first).take_while(|(_, hour)| hour.at_ms < at_ms + MS_PER_HOUR)
    {
        let step = step_of(at)?;
        let shared = (hour.at_ms + step).min(at_ms + MS_PER_HOUR) - hour.at_ms.max(at_ms);
        sum += hour.rain_mm? * shared.max(0) as f64 / step as f64;
    }
    Some(sum)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn hours(steps_h: &[(f64, f64, f64)]) -> Vec<Hour> {
        let hour = |(at, air_c, rain): &(f64, f64, f64)| Hour {
            at_ms: (at * MS_PER_HOUR as f64) as i64,
            air_c: *air_c,
            rain_mm: Some(*rain),
            ..Hour::default()
        };
        steps_h.iter().map(hour).collect()
    }

    #[test]
    fn hours_stay_as_they_are_and_wider_steps_are_drawn_through() {
        let three = hours(&[(0.0, 20.0, 0.5), (1.0, 21.0, 0.0), (4.0, 27.0, 3.0), (7.0, 24.0, 0.0)]);
        let evened = even(&three, 0);
        let air: Vec<f64> = evened.iter().map(|hour| hour.air_c).collect();
        assert_eq!(air, [20.0, 21.0, 23.0, 25.0, 27.0, 26.0, 25.0, 24.0]);
        let rain: Vec<f64> = evened.iter().map(|hour| hour.rain_mm.unwrap()).collect();
        assert_eq!(rain, [0.5, 0.0, 0.0, 0.0, 1.0, 1.0, 1.0, 0.0]);
    }

    #[test]
    fn quarters_of_an_hour_give_the_hours_and_all_their_rain() {
        let quarters: Vec<_> = (0..9).map(|at| (f64::from(at) / 4.0, 20.0 + f64::from(at), 0.25)).collect();
        let evened = even(&hours(&quarters), 0);
        assert_eq!(evened.iter().map(|hour| hour.air_c).collect::<Vec<_>>(), [20.0, 24.0, 28.0]);
        assert_eq!(evened[0].rain_mm, Some(1.0));
    }

    #[test]
    fn an_outlook_ends_at_a_gap_and_begins_after_one_that_is_past() {
        let gap = hours(&[
            (0.0, 10.0, 0.0),
            (1.0, 11.0, 0.0),
            (9.0, 12.0, 0.0),
            (10.0, 13.0, 0.0),
            (17.0, 9.0, 0.0),
        ]);
        assert_eq!(even(&gap, 0).iter().map(|hour| hour.air_c).collect::<Vec<_>>(), [10.0, 11.0]);
        let late = even(&gap, 9 * MS_PER_HOUR);
        assert_eq!(late.iter().map(|hour| hour.air_c).collect::<Vec<_>>(), [12.0, 13.0]);
        assert!(even(&[], 0).is_empty());
        assert_eq!(even(&gap[..1], 0).len(), 1);
    }

    proptest! {
        #[test]
        fn even_hours_lie_within_what_was_told_and_no_rain_is_made(
            steps in proptest::collection::vec((1_i64..=24, -20.0_f64..45.0, 0.0_f64..20.0), 2..60),
        ) {
            let mut at_ms = 0;
            let told: Vec<Hour> = steps.iter().map(|(quarters, air_c, rain)| {
                at_ms += quarters * MS_PER_HOUR / 4;
                Hour { at_ms, air_c: *air_c, rain_mm: Some(*rain), ..Hour::default() }
            }).collect();
            let evened = even(&told, 0);
            let (low, high) = told.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), hour| (low.min(hour.air_c), high.max(hour.air_c)));
            for (step, hour) in evened.iter().enumerate() {
                prop_assert_eq!(hour.at_ms, told[0].at_ms + step as i64 * MS_PER_HOUR);
                prop_assert!(hour.air_c >= low - 1e-9 && hour.air_c <= high + 1e-9);
            }
            prop_assert!(evened.last().unwrap().at_ms <= told.last().unwrap().at_ms);
            let fell: f64 = told.iter().map(|hour| hour.rain_mm.unwrap()).sum();
            let shared: f64 = evened.iter().filter_map(|hour| hour.rain_mm).sum();
            prop_assert!(shared <= fell + 1e-6);
        }
    }
}
