//! A place's day brought to hours: what was measured, what happened, what is expected.

use super::cloth::tenth_or_whole;
use super::figures::{Civil, HOUR_MS, range};
use super::placing::Rank;
use super::threads;
use crate::glance::{Glance, PlaceGlance};

/// Hours on a cloth.
pub(crate) const HOURS: f64 = 24.0;

/// One event with its words.
#[derive(Clone, Debug)]
pub(crate) struct Event {
    pub(crate) hour: f64,
    pub(crate) clock: String,
    pub(crate) words: String,
    pub(crate) t_c: Option<f64>,
    pub(crate) rank: Rank,
    pub(crate) by_hand: bool,
    pub(crate) expected: bool,
}

/// A place's day, brought to hours from its top.
pub(crate) struct Day {
    pub(crate) start_ms: i64,
    pub(crate) civil: Civil,
    /// Now, hours from the top.
    pub(crate) now: f64,
    pub(crate) curve: Vec<(f64, f64)>,
    pub(crate) holes: Vec<(f64, f64)>,
    pub(crate) expected: Vec<(f64, f64, f64, f64)>,
    /// What happened and what is expected to, by hour.
    pub(crate) events: Vec<Event>,
}

impl Day {
    /// The day of a place: from 04:00 of the site's standard time, 24 hours.
    pub(crate) fn of(place: &PlaceGlance, glance: &Glance) -> Self {
        let offset = i64::from(glance.standard_offset_s) * 1000 - 4 * HOUR_MS;
        let start_ms = (glance.at_ms + offset).div_euclid(24 * HOUR_MS) * 24 * HOUR_MS - offset;
        let hour = |ms: i64| (ms - start_ms) as f64 / HOUR_MS as f64;
        let mut day = Self {
            start_ms,
            civil: Civil(glance.civil_offset_s),
            now: hour(glance.at_ms).clamp(0.0, HOURS),
            curve: place.curve.iter().map(|&(ms, t)| (hour(ms), t)).collect(),
            holes: place.holes.iter().map(|&(from, to)| (hour(from), hour(to))).collect(),
            expected: place.expected.iter().map(|&(ms, low, mid, high)| (hour(ms), low, mid, high)).collect(),
            events: Vec::new(),
        };
        day.curve.retain(|&(at, _)| (0.0..=day.now + 0.01).contains(&at));
        if let (Some(t_c), Some(ms)) = (place.t_c, place.heard_ms) {
            let at = hour(ms).min(day.now);
            if day.curve.last().is_some_and(|last| last.0 < at) {
                day.curve.push((at, t_c));
            }
        }
        day.expected.retain(|&(at, ..)| at >= day.now - 1.0 && at <= HOURS + 0.01);
        day.events = day.happened(place);
        day.events.extend(day.foretold(place));
        day
    }

    /// The moment of an hour, UTC ms.
    pub(crate) fn ms(&self, hour: f64) -> i64 {
        self.start_ms + (hour * HOUR_MS as f64) as i64
    }

    fn happened(&self, place: &PlaceGlance) -> Vec<Event> {
        let known = place.knots.iter().map(|knot| Event {
            hour: (knot.at_ms - self.start_ms) as f64 / HOUR_MS as f64,
            clock: self.civil.clock(knot.at_ms),
            words: knot.words.clone(),
            t_c: knot.t_c,
            rank: rank(&knot.words, knot.by_hand),
            by_hand: knot.by_hand,
            expected: false,
        });
        known.filter(|event| (0.0..=self.now).contains(&event.hour)).collect()
    }

    /// The peak, the limits passed on the way to it and the low of the coming night, as far as they are expected.
    fn foretold(&self, place: &PlaceGlance) -> Vec<Event> {
        let ahead: Vec<_> = self.expected.iter().filter(|point| point.0 > self.now).copied().collect();
        let Some(peak) = ahead.iter().max_by(|a, b| a.2.total_cmp(&b.2)).copied() else { return Vec::new() };
        let event = |hour: f64, words: String, t_c: f64, rank: Rank| Event {
            hour,
            clock: self.civil.clock(self.ms(hour)),
            words,
            t_c: Some(t_c),
            rank,
            by_hand: false,
            expected: true,
        };
        let mut events = Vec::new();
        let here = threads::range_at(&self.expected, self.now);
        let start = place.t_c.map(|t| (t, t, t)).or(here).map(|(low, mid, high)| (self.now, low, mid, high));
        let way: Vec<_> = start.into_iter().chain(ahead.iter().copied()).collect();
        let rising = place.t_c.is_none_or(|t| peak.2 > t) && peak.0 > self.now + 0.25;
        if rising {
            let guess = if place.t_c.is_none() { "a guess: peak" } else { "peak" };
            events.push(event(peak.0, format!("{guess} {}", range(peak.1, peak.3)), peak.2, Rank::Peak));
            for line in &place.lines {
                let passes =
                    way.windows(2).find(|pair| pair[0].2 < line.limit_c && pair[1].2 >= line.limit_c);
                if let Some([a, b]) = passes {
                    let hour = a.0 + (b.0 - a.0) * (line.limit_c - a.2) / (b.2 - a.2);
                    let words = format!("{} pass {}", line.whose, tenth_or_whole(line.limit_c));
                    events.push(event(hour, words, line.limit_c, Rank::Limit));
                }
            }
        }
        let low = ahead.iter().filter(|point| point.0 > 12.0).min_by(|a, b| a.2.total_cmp(&b.2));
        if let Some(low) = low.filter(|low| low.0 > self.now + 0.5) {
            events.push(event(low.0, format!("low {}", range(low.1, low.3)), low.2, Rank::Low));
        }
        events
    }
}

fn rank(words: &str, by_hand: bool) -> Rank {
    let starts = |word: &str| words.starts_with(word);
    if by_hand {
        Rank::Act
    } else if starts("peak") || starts("high") {
        Rank::Peak
    } else if starts("low") {
        Rank::Low
    } else if words.contains("clear") {
        Rank::Release
    } else {
        Rank::Limit
    }
}

#[cfg(test)]
mod tests {
    use super::super::fixtures;
    use super::*;

    #[test]
    fn the_day_starts_at_four_of_standard_time_and_its_hours_are_civil() {
        let glance = fixtures::heat();
        let day = Day::of(&glance.places[0], &glance);
        assert_eq!(day.civil.clock(day.start_ms), "05:00", "summer time is an hour ahead");
        assert!((day.now - 8.17).abs() < 0.01, "13:10 is {} h after 05:00", day.now);
    }

    #[test]
    fn the_expected_peak_and_night_are_foretold_as_ranges() {
        let glance = fixtures::heat();
        let day = Day::of(&glance.places[0], &glance);
        let foretold: Vec<_> =
            day.events.iter().filter(|event| event.expected).map(|e| e.words.as_str()).collect();
        assert!(foretold.contains(&"peak 38 to 41") && foretold.contains(&"low 21 to 23"), "{foretold:?}");
        assert!(foretold.contains(&"cucumbers pass 38"), "{foretold:?}");
    }

    #[test]
    fn nothing_is_foretold_without_an_expectation() {
        let mut glance = fixtures::heat();
        glance.places[0].expected.clear();
        assert!(Day::of(&glance.places[0], &glance).events.iter().all(|event| !event.expected));
    }
}
