//! When a milestone of the crop book is reached, as a range of days.
//!
//! A published sum is read by the method it was published by, so the days of the place are reckoned by that one, filled
//! where they do not count, and walked up to the sum ([`Target::dates`]). From today on the days are taken to go on as
//! they have gone: the mean of the last two weeks, with the slowest and the fastest week of the last four beside it
//! (own method, while no forecast and no years of the site's own are to be had).

use std::collections::BTreeMap;

use agronomy::degree_days::{Dates, DatesError, Outlook, Rule, SoFar, Target, daily, fill};
use agronomy::series::{COUNTS_IN_FULL_MS, MS_PER_DAY};
use agronomy::units::Celsius;

use super::day_page::DayPage;
use crate::calendar::Day;
use crate::entry::Began;
use crate::ground::Planting;

/// When that happened from which a milestone of a planting counts; none where it is not known, or not of this planting.
pub fn begins_ms(planting: &Planting, from: &str) -> Option<i64> {
    match from {
        "transplant" | "planting" | "plant" => {
            (planting.began == Began::PlantedOut).then_some(planting.from_ms)
        }
        "sowing" | "sow" => (planting.began == Began::Sown).then_some(planting.from_ms),
        "anthesis" | "bloom" | "open_flower" | "pollination" => planting.first_flower_ms,
        _ => None,
    }
}

/// Days whose mean stands for the coming ones.
const USUAL_DAYS: usize = 14;
/// Fewest of them that must count (common practice: with fewer a cold front would make the season).
const FEWEST: usize = 5;
/// Weeks looked at for the slowest and the fastest.
const WEEKS: usize = 4;

/// The degree days of a place by a rule, from `first` up to but not including `open`; `None` where a day does not count.
///
/// A page that was not reckoned by the rule still has its lowest and highest, which most methods want no more than.
pub fn by_rule(rule: &Rule, pages: &BTreeMap<Day, &DayPage>, first: Day, open: Day) -> Vec<Option<f64>> {
    let name = rule.to_string();
    let of = |day: Day| {
        let page = pages.get(&day)?;
        if let Some(reckoned) = page.degree_days.get(&name) {
            return *reckoned;
        }
        let held = page.measured_share * MS_PER_DAY as f64;
        let counts = page.read_by_hand || held >= COUNTS_IN_FULL_MS as f64;
        let (low, high) = page.t_min_c.zip(page.t_max_c).filter(|_| counts)?;
        let (low, high) = (Celsius::try_new(low).ok()?, Celsius::try_new(high).ok()?);
        let next = pages.get(&(day + 1)).and_then(|next| Celsius::try_new(next.t_min_c?).ok());
        daily(rule, low, high, next.or(Some(low))).ok().map(|daily| daily.degree_days)
    };
    (first..open).map(of).collect()
}

/// When a target is reached by the days from `first` on, given by its own rule; `goes_on` when more days will come.
///
/// # Errors
///
/// [`DatesError`]: a day that is no number.
pub fn dates(target: &Target, first: Day, days: &[Option<f64>], goes_on: bool) -> Result<Dates, DatesError> {
    let rule = target.rule();
    let filled: Vec<_> = fill(days).collect();
    let (slow, usual, fast) = if goes_on { pace(days) } else { (0.0, 0.0, 0.0) };
    let outlook = Outlook { rule, forecast: &[], slow, usual, fast };
    target.dates(&SoFar { rule, first_day: first, days: &filled }, &outlook)
}

/// A slow, a usual and a fast day to come, °C d; nought, which reaches nothing, where too little is known.
fn pace(days: &[Option<f64>]) -> (f64, f64, f64) {
    let mean = |days: &[Option<f64>], fewest: usize| {
        let (sum, count) =
            days.iter().flatten().fold((0.0, 0_usize), |(sum, count), day| (sum + day, count + 1));
        (count >= fewest).then(|| sum / count as f64)
    };
    let newest = &days[days.len().saturating_sub(USUAL_DAYS)..];
    let Some(usual) = mean(newest, FEWEST) else { return (0.0, 0.0, 0.0) };
    let weeks = days.rchunks(7).take(WEEKS).filter_map(|week| mean(week, FEWEST));
    weeks.fold((usual, usual, usual), |(slow, usual, fast), week| (slow.min(week), usual, fast.max(week)))
}

#[cfg(test)]
mod tests {
    use agronomy::degree_days::{Cutoff, Dated, Method};

    use super::*;

    fn rule(method: Method) -> Rule {
        let celsius = |value| Celsius::try_new(value).unwrap();
        Rule::try_new(method, celsius(10.0), Some(celsius(30.0)), Cutoff::Horizontal).unwrap()
    }

    fn target(low: f64, high: f64) -> Target {
        Target::try_new(rule(Method::Integral), low, high).unwrap()
    }

    #[test]
    fn a_sum_reached_is_dated_and_the_rest_goes_on_at_the_pace_of_the_last_weeks() {
        // By hand: 10 a day from day 100; 55 on the sixth day. 180 are gathered by day 118; of 300 another 120 are
        // wanted, 12 days; 12 % more is 134.4, the 14th day, so day 118 + 13.
        let days = [Some(10.0); 18];
        let found = dates(&target(55.0, 300.0), 100, &days, true).unwrap();
        assert_eq!(found, Dates { earliest: Dated::Reached(105), latest: Dated::Expected(131) });
        let ended = dates(&target(55.0, 300.0), 100, &days, false).unwrap();
        assert_eq!(ended.latest, Dated::NotInSight);
    }

    #[test]
    fn a_slow_week_and_a_fast_week_widen_the_range() {
        // By hand: weeks of 8, 12 and 10, usual (12 + 10) / 2 = 11. 210 are gathered, 132 wanted: at 12 a day on the
        // 11th, at 8 on the 17th day.
        let weeks = [8.0, 12.0, 10.0];
        let days: Vec<_> = weeks.iter().flat_map(|week| [Some(*week); 7]).collect();
        let found = dates(&target(342.0, 342.0), 100, &days, true).unwrap();
        assert_eq!(found, Dates { earliest: Dated::Expected(131), latest: Dated::Expected(137) });
    }

    #[test]
    fn nothing_is_dated_from_a_sum_with_holes_or_from_too_few_days() {
        let mut days = vec![Some(10.0); 30];
        days[5..9].fill(None);
        let holed = dates(&target(55.0, 300.0), 100, &days, true).unwrap();
        assert_eq!(holed.earliest, Dated::TooLittleMeasured);
        let few = dates(&target(55.0, 300.0), 100, &[Some(10.0); 4], true).unwrap();
        assert_eq!(few.earliest, Dated::NotInSight);
    }

    #[test]
    fn a_day_is_read_by_the_targets_own_method_and_one_that_does_not_count_is_not_read() {
        let page = |share: f64| DayPage {
            measured_share: share,
            t_min_c: Some(12.0),
            t_max_c: Some(34.0),
            degree_days: BTreeMap::from([("integral 10/30".to_owned(), Some(11.5))]),
            ..DayPage::default()
        };
        let (full, half) = (page(1.0), page(0.5));
        let pages = BTreeMap::from([(100, &full), (101, &half)]);
        assert_eq!(by_rule(&rule(Method::Integral), &pages, 100, 101), [Some(11.5)]);
        // By hand: (12 + 30) / 2 - 10.
        let clipped = by_rule(&rule(Method::ExtremesClipped), &pages, 100, 103);
        assert_eq!(clipped, [Some(11.0), None, None]);
        assert_eq!(by_rule(&rule(Method::IntegralPeak), &pages, 100, 101), [None]);
    }
}
