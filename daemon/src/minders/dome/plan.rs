//! What is to be done on which day of coming heat.
//!
//! Lead times of common practice: storage for water takes three to five days to get, shade and repairs one to three,
//! picking ahead one to two, pots a day, watering half of one, vents an hour.

use std::fmt::Write as _;

use crate::calendar::{Calendar, Day};

/// Days ahead from which the plan begins.
const FIRST_DAY: i64 = 5;

/// What stands here that the plan names.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Garden {
    /// Plantings in pots.
    pub pots: Vec<String>,
    /// Plantings that bear already.
    pub bearing: Vec<String>,
}

/// The order of a day so many days before the heat (0 and below: in it), in about ten words.
pub fn order(days_ahead: i64) -> &'static str {
    match days_ahead {
        3.. => "Mend the drip, mulch, fill the butts, fit the shade.",
        2 => "Water deep and pick all that can be picked.",
        1 => "Shade the pots, check the drip, set an early alarm.",
        _ => "Water before sunrise; open all; shade on before ten.",
    }
}

/// What is to be done: the least days before the heat, how that day is called, and the words. Common practice.
const PLAN: [(i64, &str, &str); 4] = [
    (
        3,
        "Up to three days before",
        "mend leaks and emitters, mulch 5-8 cm, fill the butts, fit shade or whitewash, sow nothing small.",
    ),
    (2, "Two days before", "water deep, pick everything pickable, no strong feed, no pruning."),
    (1, "The day before", "pots to afternoon shade with saucers, drip and alarm checked."),
    (
        0,
        "Each day",
        "water before sunrise; open everything once outside is cooler than inside; shade on by 9 or 10; more water for \
         pots at 11 and 15; no sprays, no transplanting; pots again in the early evening, not the leaves; leave vents \
         open all night if it stays warm.",
    ),
];

/// What the plan says for one day, so many days before the heat (0 and below: in it); none for days too early for it.
pub fn task(days_ahead: i64) -> Option<String> {
    let ahead = days_ahead.max(0);
    let (_, when, what) = PLAN.iter().find(|(least, ..)| *least <= ahead && ahead <= FIRST_DAY)?;
    Some(format!("{when}: {what}"))
}

/// A day's name beside today: "today", "tomorrow", "Friday", or its date where it is a week away or more.
pub fn day_name(day: Day, today: Day, calendar: &Calendar) -> String {
    let noon = calendar.start_of(day) + 12 * 3_600_000;
    match day - today {
        0 => "today".to_owned(),
        1 => "tomorrow".to_owned(),
        -6..=6 => calendar.civil_format(noon, "%A"),
        _ => calendar.civil_format(noon, "%-d %B"),
    }
}

/// What is left to do from today on, by day.
pub fn plan(from: Day, to: Day, today: Day, garden: &Garden, calendar: &Calendar) -> String {
    let name = |day: Day| day_name(day, today, calendar);
    let ahead = (from - today).max(0);
    let mut words = String::new();
    for (least, _, what) in PLAN.iter().filter(|(least, ..)| *least <= ahead) {
        let when = match *least {
            3 if ahead > 3 => format!("By {}", name(from - 3)),
            0 if from.max(today) >= to => name(to),
            0 => format!("Each day until {}", name(to)),
            _ => name(from - least),
        };
        let when = match *least {
            0 if ahead > 0 && from < to => format!("Each day from {} to {}", name(from), name(to)),
            _ => crate::minders::words::capital(&when),
        };
        let what = match (*least, garden.bearing.is_empty(), garden.pots.is_empty()) {
            (2, false, _) => what.replace(
                "pick everything pickable",
                &format!("pick everything pickable ({})", garden.bearing.join(", ")),
            ),
            (1, _, false) => what.replace("pots to", &format!("pots ({}) to", garden.pots.join(", "))),
            _ => (*what).to_owned(),
        };
        let _ = write!(words, "{}{when}: {what}", if words.is_empty() { "" } else { " " });
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Tuesday the 7th of July 2026.
    const TUESDAY: Day = 20_641;

    fn words(ahead: i64, days: i64) -> String {
        let garden = Garden { pots: vec!["sweet peppers".to_owned()], bearing: vec!["tomatoes".to_owned()] };
        let from = TUESDAY + ahead;
        plan(from, from + days - 1, TUESDAY, &garden, &Calendar::fixed(0))
    }

    #[test]
    fn each_task_has_its_day_and_names_the_plantings_it_is_about() {
        // AGRONOMY 1.2 (common practice): repairs 3-5 days ahead, picking 2, pots 1, watering each day.
        let five = words(5, 3);
        for part in [
            "By Thursday: mend leaks",
            "Friday: water deep, pick everything pickable (tomatoes)",
            "Saturday: pots (sweet peppers) to afternoon shade",
            "Each day from Sunday to 14 July: water before sunrise",
        ] {
            assert!(five.contains(part), "{part:?} is missing in {five:?}");
        }
        assert!(words(3, 3).starts_with("Today: mend leaks"), "{}", words(3, 3));
        assert!(words(1, 1).starts_with("Today: pots (sweet peppers)"), "{}", words(1, 1));
        assert!(words(1, 1).contains("Tomorrow: water before sunrise"), "{}", words(1, 1));
        assert!(words(0, 3).starts_with("Each day until Thursday: water before sunrise"), "{}", words(0, 3));
        assert!(words(-2, 3).starts_with("Today: water before sunrise"), "{}", words(-2, 3));
    }

    #[test]
    fn what_there_is_no_time_for_is_left_out_and_the_tasks_of_a_day_begin_five_days_before() {
        assert!(!words(2, 3).contains("mend leaks") && words(2, 3).contains("water deep"));
        assert_eq!((task(6), task(5)), (None, task(3)));
        assert!(task(2).unwrap().starts_with("Two days before: water deep"));
        assert_eq!(task(-3), task(0));
    }
}
