//! What is to be done on which day of coming heat.
//!
//! Lead times of common practice: storage for water takes three to five days to get, shade and repairs one to three,
//! picking ahead one to two, pots a day, watering half of one, vents an hour.

use std::fmt::Write as _;

use crate::calendar::{Calendar, Day};
use crate::minders::pots::dose;

/// Days before the heat on which the plan begins: for the notice, the letter and the calendar alike.
pub const FIRST_DAY: i64 = 5;
/// A pot that holds water for fewer days than this is named with them (AGRONOMY 1.2: practice).
const POT_DAYS: f64 = 1.2;
/// From this civil hour on the morning's work of a hot day is over.
pub const NOON_H: f64 = 12.0;
/// So many parts of a day's task stand in its first line.
const HEAD: usize = 4;
/// Where a probe in the ground has less left for roots than this, deep water goes first (AGRONOMY 1.2: practice).
const ROOTS_LEFT: f64 = 0.75;

/// A planting in pots.
#[derive(Clone, Debug, PartialEq)]
pub struct Pot {
    /// Its words.
    pub name: String,
    /// For how many days of today's weather a full pot holds water; none where that cannot be reckoned.
    pub days: Option<f64>,
}

/// What stands here that the plan names.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Garden {
    /// Plantings in pots.
    pub pots: Vec<Pot>,
    /// Plantings that bear already.
    pub bearing: Vec<String>,
    /// What each plant of a planting asks for today, given by can: its words, L.
    pub asks: Vec<(String, f64)>,
    /// What a place's driest probe in the ground has left for roots: the place's name, 0 to 1.
    pub roots: Vec<(String, f64)>,
}

impl Garden {
    /// ` (tomatoes, sweet peppers)`; nothing where there is none.
    fn bearing(&self) -> String {
        in_brackets(self.bearing.iter().cloned())
    }

    fn pots(&self) -> String {
        let small = |days: &f64| *days < POT_DAYS;
        in_brackets(self.pots.iter().map(|pot| match pot.days.filter(small) {
            Some(days) => format!("{}: full they last {:.1} days as it asks today", pot.name, days.max(0.1)),
            None => pot.name.clone(),
        }))
    }

    fn dry(&self) -> String {
        let dry = self.roots.iter().filter(|(_, left)| *left < ROOTS_LEFT);
        in_brackets(
            dry.map(|(place, left)| format!("first {place}, {:.0} % left by its probe", 100.0 * left)),
        )
    }

    /// What is asked for today, as the last sentences of the plan, so many days before the heat. In it the figure is
    /// that of a hot day already. How much more a hot day asks than a mild one: common practice.
    fn asks(&self, ahead: i64) -> String {
        let each: Vec<String> =
            self.asks.iter().map(|(name, litres)| format!("{name} {}", dose(*litres))).collect();
        if each.is_empty() {
            return String::new();
        }
        let more = if ahead > 0 {
            ". Hot dry days can ask for up to twice as much."
        } else {
            ", give or take a third. Feel the soil at noon too: where it is dry, give more."
        };
        format!(" Litres for each plant today: {}{more}", each.join(", "))
    }
}

fn in_brackets(names: impl Iterator<Item = String>) -> String {
    let names: Vec<String> = names.collect();
    if names.is_empty() { String::new() } else { format!(" ({})", names.join(", ")) }
}

/// The order of a day so many days before the heat (0 and below: in it), in about ten words. `pots`: something stands in
/// pots. `late`: it is past noon.
pub fn order(days_ahead: i64, pots: bool, late: bool) -> &'static str {
    match days_ahead {
        3.. => "Mend the drip, mulch, fill the butts, fit the shade.",
        2 => "Water deep and pick all that can be picked.",
        1 if !pots => "Check shade and drip, set an early alarm.",
        1 => "Shade the pots, check the drip, set an early alarm.",
        _ if late => "Leave vents open tonight; water before sunrise, shade by ten.",
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
    (
        2,
        "Two days before",
        "water deep, so that the whole root zone is full; pick everything pickable; no strong feed, no pruning, no \
         stripping of leaves.",
    ),
    (1, "The day before", "pots to afternoon shade with saucers; shade, drip and alarm checked."),
    (
        0,
        "Each day",
        "water before sunrise; open everything once outside is cooler than inside; shade on by 9 or 10; more water for \
         pots at 11 and 15; damp the paths only with vents open and the air below 70 %; no sprays, no transplanting; pots \
         again in the early evening, not the leaves; leave vents open all night, closed only against chill. Short of \
         time: roots first, then openings, then shade outside the cover.",
    ),
];

/// A day's task without what is of pots where nothing stands in pots.
fn for_garden(what: &str, pots: bool) -> String {
    let parts: Vec<&str> = what.split("; ").filter(|part| pots || !part.contains("pots")).collect();
    parts.join("; ")
}

/// What the plan says for one day, so many days before the heat (0 and below: in it); none for days too early for it.
/// `pots`: something stands in pots.
pub fn task(days_ahead: i64, pots: bool) -> Option<String> {
    let ahead = days_ahead.max(0);
    let (_, when, what) = PLAN.iter().find(|(least, ..)| *least <= ahead && ahead <= FIRST_DAY)?;
    Some(format!("{when}: {}", for_garden(what, pots)))
}

/// What is to be done today, in a line, so many days before the heat (0 and below: in it): the head of the day's task, or
/// past noon (`late`) of a hot day what is left of it and what the next morning asks. `pots`: something stands in pots.
pub fn first_line(days_ahead: i64, pots: bool, late: bool) -> String {
    let ahead = days_ahead.max(0);
    if ahead == 0 && late {
        let pots = if pots { "pots again in the early evening, not the leaves; " } else { "" };
        return format!(
            "Left of today: {pots}leave vents open all night, closed only against chill. Tomorrow: water before sunrise; \
             shade on by 9 or 10."
        );
    }
    let what = PLAN.iter().find(|(least, ..)| *least <= ahead).map_or("", |(_, _, what)| *what);
    let what = for_garden(what, pots);
    let head: Vec<&str> = what.trim_end_matches('.').split("; ").take(HEAD).collect();
    format!("{}: {}.", if ahead > 3 { "In these days" } else { "Today" }, head.join("; "))
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
            _ => crate::figure_words::capital(&when),
        };
        let what = for_garden(what, !garden.pots.is_empty());
        let what = match *least {
            2 => what
                .replace("water deep", &format!("water deep{}", garden.dry()))
                .replace("pickable", &format!("pickable{}", garden.bearing())),
            1 => what.replace("pots to", &format!("pots{} to", garden.pots())),
            _ => what,
        };
        let _ = write!(words, "{}{when}: {what}", if words.is_empty() { "" } else { " " });
    }
    words.push_str(&garden.asks(ahead));
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Tuesday the 7th of July 2026.
    const TUESDAY: Day = 20_641;

    fn words(ahead: i64, days: i64) -> String {
        let garden = Garden {
            pots: vec![Pot { name: "sweet peppers".to_owned(), days: None }],
            bearing: vec!["tomatoes".to_owned()],
            ..Garden::default()
        };
        let from = TUESDAY + ahead;
        plan(from, from + days - 1, TUESDAY, &garden, &Calendar::fixed(0))
    }

    #[test]
    fn each_task_has_its_day_and_names_the_plantings_it_is_about() {
        // AGRONOMY 1.2 (common practice): repairs 3-5 days ahead, picking 2, pots 1, watering each day.
        let five = words(5, 3);
        for part in [
            "By Thursday: mend leaks",
            "Friday: water deep, so that the whole root zone is full; pick everything pickable (tomatoes)",
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
    fn what_the_site_knows_of_its_water_stands_beside_the_tasks() {
        // AGRONOMY 1.2 (practice): deep water where more than a quarter is gone, pots that hold less than 1.2 days.
        let pot = |name: &str, days| Pot { name: name.to_owned(), days: Some(days) };
        let garden = Garden {
            pots: vec![pot("sweet peppers", 0.42), pot("figs", 2.0)],
            bearing: Vec::new(),
            asks: vec![("tomatoes".to_owned(), 2.76), ("lettuces".to_owned(), 0.38)],
            roots: vec![("Low bed".to_owned(), 0.4), ("High bed".to_owned(), 0.8)],
        };
        let said =
            |ahead: i64| plan(TUESDAY + ahead, TUESDAY + ahead + 2, TUESDAY, &garden, &Calendar::fixed(0));
        for part in [
            "water deep (first Low bed, 40 % left by its probe), so that",
            "pots (sweet peppers: full they last 0.4 days as it asks today, figs) to",
            "Litres for each plant today: tomatoes 3, lettuces 0.4. Hot dry days can ask for up to twice as much.",
        ] {
            assert!(said(3).contains(part), "{part:?} is missing in {:?}", said(3));
        }
        assert!(
            said(0).contains("tomatoes 3, lettuces 0.4, give or take a third.")
                && !said(0).contains("Low bed")
        );
        assert!(!said(0).contains("twice"), "what is asked for in the heat is that of a hot day already");
    }

    #[test]
    fn what_there_is_no_time_for_is_left_out_and_the_tasks_of_a_day_begin_five_days_before() {
        assert!(!words(2, 3).contains("mend leaks") && words(2, 3).contains("water deep"));
        assert_eq!((task(FIRST_DAY + 1, true), task(FIRST_DAY, true)), (None, task(3, true)));
        assert!(task(2, true).unwrap().starts_with("Two days before: water deep"));
        assert_eq!(task(-3, true), task(0, true));
    }

    #[test]
    fn the_first_line_is_what_to_do_today_and_short() {
        let first_line = |ahead| first_line(ahead, true, false);
        assert_eq!(
            first_line(1),
            "Today: pots to afternoon shade with saucers; shade, drip and alarm checked."
        );
        assert!(
            first_line(0).starts_with("Today: water before sunrise; open everything"),
            "{}",
            first_line(0)
        );
        assert!(first_line(5).starts_with("In these days: mend leaks"), "{}", first_line(5));
        for ahead in -1..6 {
            assert!((8..32).contains(&first_line(ahead).split_whitespace().count()), "{}", first_line(ahead));
        }
    }

    #[test]
    fn where_nothing_stands_in_pots_no_line_of_the_plan_speaks_of_them() {
        for ahead in -1..6 {
            for late in [false, true] {
                let lines = [
                    order(ahead, false, late).to_owned(),
                    task(ahead, false).unwrap(),
                    first_line(ahead, false, late),
                    plan(
                        TUESDAY + ahead,
                        TUESDAY + ahead + 2,
                        TUESDAY,
                        &Garden::default(),
                        &Calendar::fixed(0),
                    ),
                ];
                for line in lines {
                    assert!(!line.to_lowercase().contains("pots") && line.ends_with('.'), "{line}");
                }
            }
        }
        assert!(order(1, true, false).contains("pots") && task(0, true).unwrap().contains("pots at 11"));
    }

    #[test]
    fn past_noon_of_a_hot_day_the_plan_says_what_is_left_of_it_and_what_the_morning_asks() {
        let left = first_line(0, true, true);
        assert!(left.starts_with("Left of today: pots again in the early evening"), "{left}");
        assert!(left.contains("Tomorrow: water before sunrise; shade on by 9"), "{left}");
        assert!(order(0, true, true).starts_with("Leave vents open tonight"));
        assert_eq!(
            first_line(2, true, true),
            first_line(2, true, false),
            "before the heat the day is still long"
        );
    }
}
