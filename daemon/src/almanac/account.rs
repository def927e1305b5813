//! A planting's account: a sum over its day pages.

use super::pages::Pages;
use super::planting_page::PlantingPage;
use crate::calendar::Day;

/// What a season has come to so far.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Account {
    /// Degree days by the crop's own rule, °C d.
    pub degree_days: f64,
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
}

/// The days of a planting, oldest first.
pub fn days_of<'a>(pages: &'a Pages, planting: &str) -> impl Iterator<Item = (Day, &'a PlantingPage)> {
    let from = (planting.to_owned(), Day::MIN);
    let until = (planting.to_owned(), Day::MAX);
    pages.plantings.range(from..=until).map(|((_, day), page)| (*day, page))
}

/// Sums the pages of a planting that began on `began`.
pub fn account(pages: &Pages, planting: &str, began: Day) -> Account {
    account_until(pages, planting, began, Day::MAX)
}

/// Sums the pages of a planting that began on `began`, up to and with the day `last`.
pub fn account_until(pages: &Pages, planting: &str, began: Day, last: Day) -> Account {
    let mut account = Account::default();
    for (day, page) in days_of(pages, planting).take_while(|(day, _)| *day <= last) {
        account.degree_days += page.degree_days.unwrap_or(0.0);
        account.stress_hours += page.stress_hours;
        account.warm_nights += u32::from(page.warm_night);
        account.measured += page.measured_share;
        account.days = account.days.max(day - began + 1);
    }
    account
}
