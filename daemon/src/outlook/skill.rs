//! How often the outlook was right here.
//!
//! Each past day is told as it would have been told the evening before: with the correction that its own past allowed
//! then, and no more. What is said of the skill is therefore what one could have relied on.

use serde::{Deserialize, Serialize};

use super::correct::{ByDay, FEWEST_DAYS, Ranged};
use super::past::DayPair;
use crate::calendar::date;

/// A highest that lies further off than this was missed, °C: the width at which a day changes its class (practice).
const MISSED_C: f64 = 3.0;
/// Days that "of the last five" looks at.
const LATELY: usize = 5;
/// So many misses of them must be said (AGRONOMY 4.3).
pub const POOR: usize = 3;

/// A past day as it was told the evening before, and as it came.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PastDay {
    /// Calendar day.
    pub date: String,
    /// Its highest as told, corrected.
    pub told: Ranged,
    /// Its highest as it came, °C.
    pub came_c: f64,
}

impl PastDay {
    /// Whether it lay further off than 3 °C.
    pub fn missed(&self) -> bool {
        (self.came_c - self.told.middle_c).abs() > MISSED_C
    }
}

/// How right it was.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Skill {
    /// Days that were told and came.
    pub days: usize,
    /// Mean distance of the highest from what was told, °C.
    pub mean_miss_c: f64,
    /// Mean of came less told, °C.
    pub lean_c: f64,
    /// The line it is held against, °C.
    pub line_c: f64,
    /// Days that were told to pass the line.
    #[serde(default)]
    pub told_past: usize,
    /// Those of them that did.
    #[serde(default)]
    pub hits: usize,
    /// Days that passed it and had not been told to.
    #[serde(default)]
    pub untold: usize,
    /// Days missed by more than 3 °C of the last so many.
    pub missed_lately: (usize, usize),
}

impl Skill {
    /// Whether three of the last five were missed: then it must be said before anything else.
    pub fn is_poor(&self) -> bool {
        self.missed_lately.0 >= POOR
    }

    /// In words, two sentences.
    pub fn words(&self) -> String {
        let (missed, of) = self.missed_lately;
        let lately = match missed {
            0 => String::new(),
            _ if self.is_poor() => format!(
                "It has missed {missed} of the last {of} days by more than 3 °C: go by the thermometer. "
            ),
            1 => format!("It missed 1 of the last {of} days by more than 3 °C. "),
            _ => format!("It missed {missed} of the last {of} days by more than 3 °C. "),
        };
        let days = if self.days == 1 { "day" } else { "days" };
        format!(
            "{lately}Over {} {days} the highest was off by {:.1} °C in the mean. {}.",
            self.days,
            self.mean_miss_c,
            self.hit_words()
        )
    }

    /// How often "will pass the line" was right, and how often it was not said where it should have been.
    fn hit_words(&self) -> String {
        let passing = format!("forecast to pass {:.0} °C", self.line_c);
        let told = match (self.told_past, self.hits) {
            (0, _) => format!("On none was it {passing}"),
            (1, 0) => format!("On 1 day it was {passing} and it did not"),
            (1, _) => format!("On 1 day it was {passing} and it did"),
            (told, 0) => format!("On {told} days it was {passing} and on none did it"),
            (told, hits) => format!("On {told} days it was {passing} and on {hits} it did"),
        };
        match self.untold {
            0 if self.told_past == 0 => format!("{told}, and on none did it"),
            0 => told,
            untold => format!("{told}; on {untold} it passed without being forecast"),
        }
    }
}

/// Past days as they would have been told, oldest first. `under_cover`: without a past of its own nothing is told of a
/// house.
pub fn past(pairs: &[DayPair], under_cover: bool) -> Vec<PastDay> {
    let first = if under_cover { FEWEST_DAYS } else { 0 };
    (first..pairs.len()).map(|at| told(&pairs[..at], &pairs[at], under_cover)).collect()
}

fn told(before: &[DayPair], day: &DayPair, under_cover: bool) -> PastDay {
    let made = ByDay::of(before, before, 1, under_cover);
    PastDay { date: date(day.day), told: made.of_told(day.told).0, came_c: day.came.high_c }
}

/// The skill over past days against a line; `None` where there are none.
pub fn skill(past: &[PastDay], line_c: f64) -> Option<Skill> {
    if past.is_empty() {
        return None;
    }
    let days = past.len() as f64;
    let miss = |day: &PastDay| day.came_c - day.told.middle_c;
    let beside = |told: bool, came: bool| {
        let days = past.iter().filter(|day| (day.told.middle_c >= line_c) == told);
        days.filter(|day| (day.came_c >= line_c) == came).count()
    };
    let hits = beside(true, true);
    Some(Skill {
        days: past.len(),
        mean_miss_c: past.iter().map(|day| miss(day).abs()).sum::<f64>() / days,
        lean_c: past.iter().map(miss).sum::<f64>() / days,
        line_c,
        told_past: hits + beside(true, false),
        hits,
        untold: beside(false, true),
        missed_lately: missed_lately(past),
    })
}

/// Days missed by more than 3 °C of the last five, and how many those are.
pub fn missed_lately(past: &[PastDay]) -> (usize, usize) {
    let lately = &past[past.len().saturating_sub(LATELY)..];
    (lately.iter().filter(|day| day.missed()).count(), lately.len())
}

#[cfg(test)]
mod tests {
    use super::super::past::Extremes;
    use super::*;
    use crate::calendar::Day;

    fn pair(day: Day, told_c: f64, came_c: f64) -> DayPair {
        let day_of = |high_c: f64| Extremes { low_c: 10.0, high_c };
        DayPair { day, lead: 1, told: day_of(told_c), came: day_of(came_c) }
    }

    #[test]
    fn days_are_told_with_what_was_known_before_them_and_counted_by_hand() {
        let pairs: Vec<_> = (0..6).map(|day| pair(day, 30.0, 34.0)).collect();
        let outside = past(&pairs, false);
        let middles: Vec<f64> = outside.iter().map(|day| day.told.middle_c).collect();
        assert_eq!(middles, [30.0, 30.0, 30.0, 34.0, 34.0, 34.0], "corrected once three days are known");
        let skill = skill(&outside, 32.0).unwrap();
        assert_eq!((skill.days, skill.mean_miss_c, skill.lean_c), (6, 2.0, 2.0));
        assert_eq!((skill.told_past, skill.hits, skill.untold), (3, 3, 3));
        assert_eq!(skill.missed_lately, (2, 5));
        assert_eq!(past(&pairs, true).len(), 3, "of a house nothing is told before its own way is known");
        assert_eq!(super::skill(&[], 32.0), None);
    }

    #[test]
    fn three_misses_of_the_last_five_are_said_first() {
        let pairs = [
            pair(0, 30.0, 30.0),
            pair(1, 30.0, 37.0),
            pair(2, 30.0, 23.0),
            pair(3, 30.0, 36.5),
            pair(4, 30.0, 32.0),
        ];
        let skill = skill(&past(&pairs, false), 35.0).unwrap();
        assert!(skill.is_poor());
        let words = skill.words();
        assert!(words.starts_with("It has missed 3 of the last 5 days by more than 3 °C"), "{words}");
        assert!(words.contains("Over 5 days"), "{words}");
    }

    #[test]
    fn how_often_it_was_right_that_a_line_will_be_passed_is_said_with_what_it_did_not_see() {
        let words = |days: &[(f64, f64)]| {
            let pairs: Vec<_> = days.iter().map(|(told, came)| pair(0, *told, *came)).collect();
            let as_told = pairs.iter().map(|it| PastDay {
                date: String::new(),
                told: Ranged::about(it.told.high_c, 2.0),
                came_c: it.came.high_c,
            });
            skill(&as_told.collect::<Vec<_>>(), 35.0).unwrap().words()
        };
        // Counted by hand; a day on the line has passed it.
        let both = words(&[(36.0, 36.0), (36.0, 34.0), (35.0, 35.0), (34.0, 36.0), (30.0, 30.0)]);
        assert!(both.ends_with(". On 3 days it was forecast to pass 35 °C and on 2 it did; on 1 it passed without being forecast."), "{both}");
        let easy = words(&[(30.0, 31.0), (29.0, 30.0)]);
        assert!(
            easy.ends_with("in the mean. On none was it forecast to pass 35 °C, and on none did it."),
            "{easy}"
        );
        assert!(words(&[(36.0, 34.0)]).ends_with("On 1 day it was forecast to pass 35 °C and it did not."));
        assert!(
            words(&[(34.0, 36.0)])
                .ends_with("On none was it forecast to pass 35 °C; on 1 it passed without being forecast.")
        );
    }
}
