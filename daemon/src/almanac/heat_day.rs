//! A place's day as the heat rules of its crops look at it.
//!
//! Air is taken as it is held, in level steps like every figure of the page, so that a rule that wants three hours
//! counts the hours the page shows. What a rule makes of the day is [`agronomy::heat_stress`]'s to say: a day of which
//! too little is known meets nothing.

use std::ops::Range;

use agronomy::crop::HeatRule;
use agronomy::heat_stress::course::Slope;
use agronomy::heat_stress::{Curve, Day, DayAtLine, met};
use agronomy::series::{Held, MS_PER_DAY};

/// The air of a day, of the night before it, and of the day before that.
#[derive(Clone, Debug)]
pub struct HeatDay {
    before: Vec<Slope>,
    night: Vec<Slope>,
    night_ms: i64,
    air: Vec<Slope>,
    by_hand: Option<Curve<'static>>,
}

impl HeatDay {
    /// Cuts a day and the night before it out of the air as it is held from a day before; a curve read by hand stands
    /// for the day where there is one.
    pub fn cut(air: &[Held], day: &Range<i64>, night: &Range<i64>, by_hand: Option<Curve<'static>>) -> Self {
        Self {
            before: steps(air, &(day.start - MS_PER_DAY..day.start)),
            night: steps(air, night),
            night_ms: night.end - night.start,
            air: steps(air, day),
            by_hand,
        }
    }

    /// What this day by itself says to a rule; days in a row are counted by [`heat_course`](super::heat_course).
    pub fn says(&self, rule: &HeatRule) -> DayAtLine {
        let before = Day { air: Curve::Read(&self.before), ..Day::default() };
        met(rule, Some(&before), &self.day())
    }

    /// Whether enough of the night that ended this morning was measured for its lowest to count.
    pub fn night_counts(&self) -> bool {
        self.day().night_counts()
    }

    fn day(&self) -> Day<'_> {
        Day {
            air: self.by_hand.unwrap_or(Curve::Read(&self.air)),
            night: Curve::Read(&self.night),
            night_ms: self.night_ms,
            ..Day::default()
        }
    }
}

fn steps(air: &[Held], window: &Range<i64>) -> Vec<Slope> {
    let level = |Held { start_ms, end_ms, value }| Slope { start_ms, end_ms, from: value, to: value };
    air.iter().filter_map(|held| held.within(window)).map(level).collect()
}

#[cfg(test)]
mod tests {
    use agronomy::series::MS_PER_HOUR;
    use agronomy::units::Celsius;

    use super::*;

    const DAY: Range<i64> = MS_PER_DAY..2 * MS_PER_DAY;
    const NIGHT: Range<i64> = MS_PER_DAY - 3 * MS_PER_HOUR..MS_PER_DAY + 5 * MS_PER_HOUR;

    fn rule(id: &str) -> HeatRule {
        let book = config::crop_book().unwrap();
        book.crops["tomato"].heat_rules.iter().find(|rule| rule.id == id).unwrap().clone()
    }

    /// Two days by the hour: `noon` from ten to four, else `night`.
    fn two_days(noon: [f64; 2], night: f64) -> Vec<Held> {
        let at = |hour: i64| {
            let hot = (10..16).contains(&(hour % 24));
            let value = if hot { noon[(hour / 24) as usize] } else { night };
            Held { start_ms: hour * MS_PER_HOUR, end_ms: (hour + 1) * MS_PER_HOUR, value }
        };
        (0..48).map(at).collect()
    }

    #[test]
    fn a_hot_day_is_paired_with_the_night_that_followed_it() {
        // Crop book: a day of 32 and a night of 26 °C.
        let chronic = rule("chronic_32_26");
        let meets = |air: &[Held]| HeatDay::cut(air, &DAY, &NIGHT, None).says(&chronic) == DayAtLine::Met;
        assert!(meets(&two_days([33.0, 29.0], 26.5)));
        assert!(!meets(&two_days([29.0, 33.0], 26.5)), "today's heat has its night before it");
        assert!(!meets(&two_days([33.0, 33.0], 24.0)));
        assert!(!meets(&two_days([33.0, 33.0], 26.5)[24..]), "nothing is known of yesterday");
    }

    #[test]
    fn a_night_counts_from_half_of_it() {
        let air = two_days([33.0, 33.0], 26.5);
        let of = |air: &[Held]| HeatDay::cut(air, &DAY, &NIGHT, None);
        assert!(of(&air).night_counts());
        assert!(!of(&air[26..]).night_counts(), "three hours of a night of eight");
    }

    #[test]
    fn a_day_read_by_hand_is_judged_by_its_sine() {
        let celsius = |value| Celsius::try_new(value).unwrap();
        let severe = rule("day_severe");
        let of = |high| {
            let curve = Curve::Extremes { low: celsius(20.0), high: celsius(high) };
            HeatDay::cut(&[], &DAY, &NIGHT, Some(curve)).says(&severe) == DayAtLine::Met
        };
        // Crop book: 35 °C for three hours. A sine from 20 to 36 °C lies above 35 for 3.86 h: 24 acos(7/8) / π.
        assert!(of(36.0));
        assert!(!of(35.1), "1.2 h: 24 acos(0.987) / π");
    }
}
