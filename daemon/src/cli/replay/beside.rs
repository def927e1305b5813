//! Two replays side by side, in plain lines.

use std::collections::BTreeSet;
use std::io::{self, Write};

use agronomy::crop::Severity;

use crate::keeper::backtest::{Lead, Tally};

/// Picks one of a tally's leads.
type LeadOf = fn(&Tally) -> &Lead;

/// Writes what two replays came to.
///
/// # Errors
///
/// Writing `out`.
pub(super) fn write(stands: &Tally, changed: &Tally, out: &mut impl Write) -> io::Result<()> {
    let mut row = |what: &str, figure: &dyn Fn(&Tally) -> String| {
        writeln!(out, "{what:<44}{:>14}{:>14}", figure(stands), figure(changed))
    };
    let headed: [&str; 2] = ["as it stands", "changed"];
    let is_first = |tally: &Tally| std::ptr::eq(tally, stands);
    row("", &|tally| headed[usize::from(!is_first(tally))].to_owned())?;
    row("notices", &|tally| tally.notices.to_string())?;
    for (minder, severity) in kinds([stands, changed]) {
        let count = |tally: &Tally| tally.by_minder.get(minder).and_then(|it| it.get(&severity)).copied();
        let what = format!("  {minder}, {} at worst", severity.as_str());
        row(&what, &|tally| count(tally).unwrap_or(0).to_string())?;
    }
    row("would have buzzed a phone", &|tally| tally.pushed.to_string())?;
    row("  on days", &|tally| tally.push_days.len().to_string())?;
    let leads: [(&str, LeadOf); 3] = [
        ("passed a severe line, days and places", |tally| &tally.severe_line),
        ("passed a place's own line", |tally| &tally.place_line),
        ("warned heat waves that passed a severe line", |tally| &tally.heat_dome),
    ];
    for (what, lead) in leads {
        row(what, &|tally| lead(tally).passed.to_string())?;
        row("  told ahead", &|tally| lead(tally).told_ahead.to_string())?;
        row("    how early, half of them", &|tally| early(lead(tally).median_min))?;
        row("    how early, the latest of them", &|tally| early(lead(tally).worst_min))?;
    }
    row("damage noted", &|tally| tally.damage.len().to_string())?;
    let damage = |tally: &Tally, which: fn(&(bool, bool)) -> bool| {
        let seen = tally.damage.iter().map(|it| (it.after.is_empty(), it.buzzed)).filter(which);
        seen.count().to_string()
    };
    row("  within 7 days of a notice that buzzed", &|tally| damage(tally, |it| it.1))?;
    row("  within 7 days of one that did not", &|tally| damage(tally, |it| !it.0 && !it.1))?;
    row("  after no notice", &|tally| damage(tally, |it| it.0))?;
    let minders: BTreeSet<&String> = stands.followed.keys().chain(changed.followed.keys()).collect();
    for minder in minders {
        let what = format!("  notices followed by damage: {minder}");
        row(&what, &|tally| tally.followed.get(minder).unwrap_or(&0).to_string())?;
    }
    days("days that buzz no more", stands, changed, out)?;
    days("days that buzz now", changed, stands, out)
}

/// Every minder and severity that either has, the mildest first.
fn kinds(tallies: [&Tally; 2]) -> BTreeSet<(&str, Severity)> {
    tallies.into_iter().flat_map(pairs).collect()
}

fn pairs(tally: &Tally) -> impl Iterator<Item = (&str, Severity)> {
    let by_minder = tally.by_minder.iter();
    by_minder.flat_map(|(minder, counts)| counts.keys().map(|severity| (minder.as_str(), *severity)))
}

/// The days on which one would have buzzed and the other not; nothing where there are none.
fn days(what: &str, one: &Tally, other: &Tally, out: &mut impl Write) -> io::Result<()> {
    let days: Vec<&str> = one.push_days.difference(&other.push_days).map(String::as_str).collect();
    if days.is_empty() { Ok(()) } else { writeln!(out, "{what}: {}", days.join(", ")) }
}

/// Minutes as a person says them.
fn early(minutes: Option<f64>) -> String {
    match minutes {
        None => "-".to_owned(),
        Some(minutes) if minutes < 120.0 => format!("{minutes:.0} min"),
        Some(minutes) if minutes < 48.0 * 60.0 => format!("{:.1} h", minutes / 60.0),
        Some(minutes) => format!("{:.1} days", minutes / 1_440.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn leads_are_said_in_minutes_hours_or_days() {
        let said = [None, Some(0.0), Some(119.4), Some(120.0), Some(2_880.0)].map(early);
        assert_eq!(said, ["-", "0 min", "119 min", "2.0 h", "2.0 days"]);
    }

    #[test]
    fn days_that_only_one_of_the_two_has_are_named() {
        let of = |days: &[&str]| Tally {
            push_days: days.iter().map(|day| (*day).to_owned()).collect(),
            ..Tally::default()
        };
        let mut out = Vec::new();
        write(&of(&["2026-07-01", "2026-07-02"]), &of(&["2026-07-02"]), &mut out).unwrap();
        let text = String::from_utf8(out).unwrap();
        assert!(text.ends_with("days that buzz no more: 2026-07-01\n"), "{text}");
        assert!(text.contains("  on days") && !text.contains("buzz now"), "{text}");
    }
}
