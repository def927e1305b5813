//! The heat dome: a warning that was heard opens a plan, day by day, and closes with what to do after.
//!
//! The plan is that of common practice (lead times: shade and repairs 1-3 days, storage 3-5 days, picking ahead
//! 1-2 days, watering 12 h, venting 1 h).

use agronomy::crop::Severity;

use super::word::{Verdict, Word};
use crate::calendar::{Calendar, Day, day};
use crate::entry::{Entry, Note};

/// The name of the minder.
pub const HEAT_DOME: &str = "heat-dome";

/// Civil hour at which a day of heat begins to be told.
const DAWN_H: f64 = 5.0;

/// A warning in force.
#[derive(Clone, Debug, PartialEq)]
pub struct Warning {
    /// First day.
    pub from: Day,
    /// Last day.
    pub to: Day,
    /// About how hot outside, °C.
    pub about_c: f64,
    /// Who said so.
    pub said_by: Option<String>,
}

/// The newest warning that was noted by `now` and is not over.
pub fn in_force(entries: &[Entry], today: Day, now_ms: i64) -> Option<Warning> {
    entries.iter().rev().filter(|entry| entry.at_ms <= now_ms).find_map(|entry| match &entry.note {
        Note::HeatWarning { from, to, about_c, said_by } => {
            let warning =
                Warning { from: day(from)?, to: day(to)?, about_c: *about_c, said_by: said_by.clone() };
            (warning.to >= today).then_some(warning)
        }
        _ => None,
    })
}

/// Judges the site at a moment. The notice's place is the site (an empty name).
pub fn judge(entries: &[Entry], calendar: &Calendar, now_ms: i64) -> Verdict {
    let today = calendar.day_of(now_ms);
    // The last day's evening ends it, once the worst is over.
    let over = |warning: &Warning| warning.to == today && calendar.civil_hour_of(now_ms) >= 21.0;
    let Some(warning) = in_force(entries, today, now_ms).filter(|warning| !over(warning)) else {
        return Verdict::clear(HEAT_DOME, "", "The heat wave is over.", AFTER);
    };
    let days = warning.to - warning.from + 1;
    // At dawn, when watering is due, not at midnight: nobody is to be woken for it.
    let begun = today > warning.from || (today == warning.from && calendar.civil_hour_of(now_ms) >= DAWN_H);
    let severity = if begun { Severity::Extreme } else { Severity::Severe };
    let said = warning.said_by.as_deref().map_or_else(String::new, |who| format!(", said by {who}"));
    let named =
        |day: Day, pattern: &str| calendar.civil_format(calendar.start_of(day) + 12 * 3_600_000, pattern);
    let last = named(warning.to, "%-d %B");
    let span = match days {
        1 => last,
        _ if named(warning.from, "%B") == named(warning.to, "%B") => {
            format!("{} to {last}", named(warning.from, "%-d"))
        }
        _ => format!("{} to {last}", named(warning.from, "%-d %B")),
    };
    let word = Word {
        planting: None,
        severity,
        push: true,
        joins_heat: false,
        title: order(warning.from - today).to_owned(),
        text: format!(
            "Heat of about {:.0} °C outside, {span}{said}. {} Limits inside are passed sooner than outside.",
            warning.about_c,
            plan(warning.from - today),
        ),
        caution: super::words::OPEN_CAUTION,
    };
    Verdict::word(HEAT_DOME, "", word)
}

fn order(days_ahead: i64) -> &'static str {
    match days_ahead {
        3.. => "Mend the drip, mulch, fill the butts, fit the shade.",
        2 => "Water deep and pick all that can be picked.",
        1 => "Shade the pots, check the drip, set an early alarm.",
        _ => "Water before sunrise; open all; shade on before ten.",
    }
}

/// What is left to do, by day.
fn plan(days_ahead: i64) -> String {
    let days = [
        (
            3,
            "Up to three days before: mend leaks and emitters, mulch 5-8 cm, fill the butts, fit shade or whitewash, sow nothing small.",
        ),
        (2, "Two days before: water deep, pick everything pickable, no strong feed, no pruning."),
        (1, "The day before: pots to afternoon shade with saucers, drip and alarm checked."),
        (
            0,
            "Each day: water before sunrise; open everything once outside is cooler than inside; shade on by 9 or 10; more water for pots at 11 and 15; no sprays, no transplanting; leave vents open all night if it stays warm.",
        ),
    ];
    let left = days.iter().filter(|(ahead, _)| *ahead <= days_ahead.max(0)).map(|(_, what)| *what);
    left.collect::<Vec<_>>().join(" ")
}

const AFTER: &str = "Water steadily, no flood; take off scorched fruit, not leaves; sow again in the evening what bolted or \
    failed; hold hard pruning until three days stay below the crops' moderate lines; expect a gap in picking two to six \
    weeks from now.";

#[cfg(test)]
mod tests {
    use super::*;
    use crate::minders::book::Book;
    use crate::minders::teller::tell;

    fn warning() -> Vec<Entry> {
        let note = Note::HeatWarning {
            from: "2026-07-15".into(),
            to: "2026-07-19".into(),
            about_c: 42.0,
            said_by: None,
        };
        vec![Entry { id: 1, at_ms: 0, from_ms: 0, note }]
    }

    #[test]
    fn it_opens_with_the_plan_worsens_on_the_first_day_and_closes_with_the_list_for_after() {
        let calendar = Calendar::fixed(0);
        let at = |date: &str, hour: i64| calendar.start_of(day(date).unwrap()) + hour * 3_600_000;
        let mut book = Book::default();
        let mut told = |date: &str, hour: i64| {
            let verdict = judge(&warning(), &calendar, at(date, hour));
            tell(&mut book, at(date, hour), date, vec![verdict]).pop()
        };
        let opened = told("2026-07-13", 9).unwrap();
        assert!(opened.text.contains("pick everything pickable"), "{}", opened.text);
        assert!(!opened.text.contains("mend leaks"), "the time for that is over");
        assert_eq!(told("2026-07-14", 9), None);
        let begun = told("2026-07-15", 5).unwrap();
        assert_eq!(begun.severity, Severity::Extreme);
        assert_eq!(told("2026-07-19", 20), None);
        let over = told("2026-07-19", 21).unwrap();
        assert!(over.text.contains("hold hard pruning"));
    }
}
