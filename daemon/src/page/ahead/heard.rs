//! Heat that somebody warns of, day by day: what was heard, and what authorities say.

use agronomy::series::MS_PER_DAY;

use crate::calendar::Day;
use crate::entry::Hazard;
use crate::glance::Glance;
use crate::minders::dome::{Warning, in_force};
use crate::page::cloth::tenth_or_whole;

/// Days of heat that somebody warns of.
#[derive(Debug)]
pub(in crate::page) struct Warned {
    /// First and last day.
    from: Day,
    to: Day,
    /// About how hot outside, °C, where that was said.
    about_c: Option<f64>,
}

impl Warned {
    /// What is said of each of its days.
    pub(in crate::page) fn words(&self) -> String {
        let about = self.about_c.map(|about_c| format!("{} heard", tenth_or_whole(about_c)));
        about.unwrap_or_else(|| "public heat warning".to_owned())
    }

    /// About how hot outside, °C, where that was said.
    pub(in crate::page) fn about_c(&self) -> Option<f64> {
        self.about_c
    }
}

/// The day of the garden in which a moment lies.
fn day_of(glance: &Glance, at_ms: i64) -> Day {
    let offset_ms = i64::from(glance.standard_offset_s) * 1000;
    (at_ms + offset_ms).div_euclid(MS_PER_DAY)
}

/// The warning that somebody heard and that is in force.
pub(super) fn heard(glance: &Glance) -> Option<Warning> {
    let mut entries = glance.entries.clone();
    entries.sort_by_key(|entry| entry.id);
    in_force(&entries, day_of(glance, glance.at_ms), glance.at_ms)
}

/// All heat that is warned of, what was heard first: it says how hot.
pub(in crate::page) fn warned(glance: &Glance) -> Vec<Warned> {
    let day_of = |at_ms| day_of(glance, at_ms);
    let heard = heard(glance).map(|it| Warned { from: it.from, to: it.to, about_c: Some(it.about_c) });
    let public = glance.warnings.iter().filter(|it| it.hazard == Hazard::Heat);
    let public =
        public.map(|it| Warned { from: day_of(it.from_ms), to: day_of(it.to_ms - 1), about_c: None });
    heard.into_iter().chain(public).collect()
}

/// What is warned of for a day.
pub(in crate::page) fn on_day(warned: &[Warned], day: Day) -> Option<&Warned> {
    warned.iter().find(|it| (it.from..=it.to).contains(&day))
}
