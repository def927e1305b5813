//! A planting's account: a sum over its day pages, with what was filled in it said.
//!
//! A day that does not count is not a day without warmth: it is given the mean of the days among three before and three
//! after it that count, and declared as filled ([`agronomy::degree_days::fill`]). A day that nothing near can fill is
//! missing. Only days that are over are filled; of the day that is not, what counts so far is taken as it stands.

use agronomy::degree_days::{self, fill};

use super::pages::Pages;
use super::planting_page::PlantingPage;
use crate::calendar::Day;

/// What a season has come to so far.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Account {
    /// Degree days by the crop's own rule, measured and filled together, °C d.
    pub degree_days: f64,
    /// What of them was filled, °C d.
    pub filled: f64,
    /// Days that were filled.
    pub filled_days: u32,
    /// Days that do not count and that nothing near could fill.
    pub missing_days: u32,
    /// Hours at or above the severe line, h.
    pub stress_hours: f64,
    /// Warm nights.
    pub warm_nights: u32,
    /// Sum of the measured shares of its days.
    measured: f64,
    /// Days from planting to the last page.
    days: i64,
}

impl Account {
    /// Share of the season that was measured, 0..1; days read by hand count with what a probe held.
    pub fn measured_share(&self) -> f64 {
        if self.days == 0 { 0.0 } else { (self.measured / self.days as f64).min(1.0) }
    }

    fn take(&mut self, page: &PlantingPage, days: i64) {
        self.stress_hours += page.stress_hours;
        self.warm_nights += u32::from(page.warm_night);
        self.measured += page.measured_share;
        self.days = self.days.max(days);
    }

    fn add(&mut self, day: degree_days::Day) {
        self.degree_days += day.degree_days();
        match day {
            degree_days::Day::Measured(_) => {}
            degree_days::Day::Filled(filled) => {
                self.filled += filled;
                self.filled_days += 1;
            }
            degree_days::Day::Missing => self.missing_days += 1,
        }
    }
}

/// The days of a planting, oldest first.
pub fn days_of<'a>(pages: &'a Pages, planting: &str) -> impl Iterator<Item = (Day, &'a PlantingPage)> {
    let from = (planting.to_owned(), Day::MIN);
    let until = (planting.to_owned(), Day::MAX);
    pages.plantings.range(from..=until).map(|((_, day), page)| (*day, page))
}

/// Every day of a planting from the one it began on to the last that is over, whether it has a page or not, with its
/// degree days: measured, filled or missing. `open` is the first day that is not over (or that it no longer stood).
pub fn filled_days(pages: &Pages, planting: &str, began: Day, open: Day) -> Vec<(Day, degree_days::Day)> {
    let mut counted = vec![None; usize::try_from(open - began).unwrap_or(0)];
    for (day, page) in days_of(pages, planting) {
        let at = usize::try_from(day - began).ok();
        if let Some(slot) = at.and_then(|at| counted.get_mut(at)) {
            *slot = page.degree_days;
        }
    }
    (began..).zip(fill(&counted)).collect()
}

/// Sums the days of a planting that began on `began`: those before `open` filled where they do not count, those from
/// `open` on as they stand.
pub fn account(pages: &Pages, planting: &str, began: Day, open: Day) -> Account {
    let mut account = account_until(pages, planting, began, open - 1);
    for (day, page) in days_of(pages, planting).filter(|(day, _)| *day >= open) {
        account.take(page, day - began + 1);
        page.degree_days.into_iter().for_each(|counts| account.add(degree_days::Day::Measured(counts)));
    }
    account
}

/// Sums the days of a planting that began on `began`, up to and with the day `last`, which is over.
pub fn account_until(pages: &Pages, planting: &str, began: Day, last: Day) -> Account {
    let mut account = Account::default();
    for (day, page) in days_of(pages, planting).take_while(|(day, _)| *day <= last) {
        account.take(page, day - began + 1);
    }
    for (_, day) in filled_days(pages, planting, began, last + 1) {
        account.add(day);
    }
    account
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Pages of a planting that began on day 100; a day that is not there has no page.
    fn pages(days: &[(Day, Option<f64>)]) -> Pages {
        let page = |(day, counts): &(Day, Option<f64>)| {
            let page = PlantingPage { degree_days: *counts, ..PlantingPage::default() };
            (("red".to_owned(), *day), page)
        };
        Pages { plantings: days.iter().map(page).collect(), ..Pages::default() }
    }

    #[test]
    fn a_day_that_does_not_count_and_a_day_without_a_page_are_filled_and_declared() {
        // By hand: day 101 has 10 before it, 14 and 15 after it: 39 / 3. Day 102 the same.
        let pages = pages(&[(100, Some(10.0)), (101, None), (103, Some(14.0)), (104, Some(15.0))]);
        let account = account(&pages, "red", 100, 105);
        assert_eq!((account.degree_days, account.filled), (65.0, 26.0));
        assert_eq!((account.filled_days, account.missing_days), (2, 0));
    }

    #[test]
    fn the_middle_of_a_long_silence_is_missing_and_said_to_be() {
        let pages = pages(&[(100, Some(10.0)), (109, Some(20.0))]);
        let account = account(&pages, "red", 100, 110);
        // Three days after the first and three before the last have one neighbour each; two have none.
        assert_eq!((account.degree_days, account.filled), (120.0, 90.0));
        assert_eq!((account.filled_days, account.missing_days), (6, 2));
    }

    #[test]
    fn the_days_since_a_probe_fell_silent_are_filled_but_the_day_that_is_not_over_never() {
        let pages = pages(&[(100, Some(10.0)), (101, Some(12.0)), (103, None)]);
        let of = |open| account(&pages, "red", 100, open);
        assert_eq!((of(102).degree_days, of(102).filled_days), (22.0, 0), "before 102 is over");
        assert_eq!((of(103).degree_days, of(103).filled_days), (33.0, 1), "103 goes on");
        assert_eq!((of(104).degree_days, of(104).filled_days), (44.0, 2));
    }

    #[test]
    fn the_open_day_counts_as_it_stands_and_fills_no_other() {
        let pages = pages(&[(100, Some(10.0)), (102, Some(4.0))]);
        assert_eq!(account(&pages, "red", 100, 102).degree_days, 24.0, "10, filled 10, 4 so far");
        let until = account_until(&pages, "red", 100, 101);
        assert_eq!((until.degree_days, until.filled), (20.0, 10.0), "without what came later");
    }
}
