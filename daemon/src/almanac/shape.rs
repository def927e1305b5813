//! The place's own day shape, and what it lets one expect of the rest of the day.
//!
//! A house warms and cools along much the same curve each day; what changes is how high. Each of the last
//! days is kept as its half-hour means between that day's lowest and highest. If today stands at 60 % of its
//! way by ten o'clock on such a curve, today's height can be reckoned; each past day gives one such reckoning
//! and their spread is the range (own method; AGRONOMY-style references call the idea a mean normalised shape).

use std::collections::VecDeque;
use std::ops::Range;

use agronomy::series::{self, Held, MS_PER_DAY};

/// Half hours in a day.
const SLOTS: usize = 48;
/// How many past days are kept.
const KEPT: usize = 10;
/// Fewest days that make a shape.
const FEWEST: usize = 3;
/// Share of the way up below which a day's height cannot be told, as the guess would be mostly noise.
const FROM_SHARE: f64 = 0.5;

/// One past day: share of the way from its lowest to its highest, by half hour.
#[derive(Clone, Debug, PartialEq)]
struct Past([f64; SLOTS]);

/// The last days' shapes of one place.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Shapes(VecDeque<Past>);

/// A value expected at a moment: lower, middle and upper of the past days' reckonings, °C.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expected {
    /// When, UTC ms.
    pub at_ms: i64,
    /// Lower, °C.
    pub low_c: f64,
    /// Middle, °C.
    pub middle_c: f64,
    /// Upper, °C.
    pub high_c: f64,
}

impl Shapes {
    /// Keeps a closed day's shape, if all its half hours were held and it swung by at least 3 °C.
    pub fn keep(&mut self, air: &[Held], day: &Range<i64>) {
        let mut means = [0.0; SLOTS];
        for (slot, mean) in means.iter_mut().enumerate() {
            let start = day.start + slot as i64 * (MS_PER_DAY / SLOTS as i64);
            let window = start..start + MS_PER_DAY / SLOTS as i64;
            match series::time_weighted_mean(air.iter().filter_map(|held| held.within(&window))) {
                Some(value) => *mean = value,
                None => return,
            }
        }
        let low = means.iter().copied().fold(f64::INFINITY, f64::min);
        let high = means.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        if high - low < 3.0 {
            return;
        }
        self.0.push_back(Past(means.map(|mean| (mean - low) / (high - low))));
        if self.0.len() > KEPT {
            self.0.pop_front();
        }
    }

    /// Expects the rest of the day, half hour by half hour, from the lowest of this morning and the air now.
    ///
    /// Empty while too few days are known, before the day is on its way, and once it has turned.
    pub fn expect(&self, day_start_ms: i64, now_ms: i64, lowest_c: f64, now_c: f64) -> Vec<Expected> {
        let slot = slot_of(day_start_ms, now_ms);
        let heights: Vec<(f64, &Past)> = self
            .0
            .iter()
            .filter(|past| past.0[slot] >= FROM_SHARE)
            .map(|past| ((now_c - lowest_c) / past.0[slot], past))
            .collect();
        if heights.len() < FEWEST || now_c <= lowest_c {
            return Vec::new();
        }
        let step = MS_PER_DAY / SLOTS as i64;
        (slot + 1..SLOTS)
            .map(|later| {
                let mut values: Vec<f64> =
                    heights.iter().map(|(height, past)| lowest_c + height * past.0[later]).collect();
                values.sort_by(f64::total_cmp);
                Expected {
                    at_ms: day_start_ms + later as i64 * step + step / 2,
                    low_c: quantile(&values, 0.2),
                    middle_c: quantile(&values, 0.5),
                    high_c: quantile(&values, 0.8),
                }
            })
            .collect()
    }
}

fn slot_of(day_start_ms: i64, now_ms: i64) -> usize {
    ((now_ms - day_start_ms).clamp(0, MS_PER_DAY - 1) / (MS_PER_DAY / SLOTS as i64)) as usize
}

/// Linear between order statistics (type 7 of Hyndman and Fan 1996); 0 for no values.
pub fn quantile(sorted: &[f64], share: f64) -> f64 {
    let Some(last) = sorted.len().checked_sub(1) else { return 0.0 };
    let position = share * last as f64;
    let below = libm::floor(position) as usize;
    let above = (below + 1).min(last);
    sorted[below] + (sorted[above] - sorted[below]) * (position - below as f64)
}

/// The median; `None` for no values.
pub fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    (!values.is_empty()).then(|| quantile(values, 0.5))
}

/// When the middle of what is expected first reaches a limit: straight line from now through the half hours.
pub fn passes_at(now_ms: i64, now_c: f64, expected: &[Expected], limit_c: f64) -> Option<i64> {
    let mut before = (now_ms, now_c);
    for later in expected {
        if later.middle_c >= limit_c {
            return series::crossing_ms(before.0, before.1, later.at_ms, later.middle_c, limit_c);
        }
        before = (later.at_ms, later.middle_c);
    }
    None
}

/// Highest middle expected, with its lower and upper, and when.
pub fn peak(expected: &[Expected]) -> Option<Expected> {
    expected.iter().copied().max_by(|a, b| a.middle_c.total_cmp(&b.middle_c))
}

/// Whether the highest middle expected reaches a line, °C; none where nothing is expected or there is no line.
pub fn reaches(expected: &[Expected], line_c: Option<f64>) -> Option<bool> {
    peak(expected).zip(line_c).map(|(peak, line_c)| peak.middle_c >= line_c)
}
