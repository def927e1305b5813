//! Percentiles and lines that move with the season, against numpy 2.4.6 and xclim 0.62.0.

mod golden;

use agronomy::heat_waves::{CalendarLines, DayWithoutValue, Definition, Ordered};
use agronomy::sun::DayOfYear;
use agronomy::units::{Celsius, Percent};
use golden::{Worst, close, printed, table};
use proptest::prelude::*;

fn celsius(value: f64) -> Celsius {
    Celsius::try_new(value).unwrap()
}

fn percent(value: f64) -> Percent {
    Percent::try_new(value).unwrap()
}

fn day(number: u16) -> DayOfYear {
    DayOfYear::try_new(number).unwrap()
}

#[test]
fn nine_definitions_of_a_percentile_are_those_of_numpy() {
    let mut worst = Worst::of("percentile_methods.csv");
    let rows = table("percentile_methods.csv");
    for row in &rows {
        let mut values: Vec<f64> =
            row.text("values").split(';').map(|value| value.parse().unwrap()).collect();
        values.reverse();
        let ordered = Ordered::try_new(&mut values).unwrap();
        for (number, definition) in (1..).zip(Definition::ALL) {
            let expected = row.number(&format!("type{number}"));
            let got = ordered.percentile(percent(row.number("percent")), definition);
            let what = format!("type {number} of list {}, {} %", row.text("list"), row.text("percent"));
            worst.compare(got, expected, printed(expected, 1e-9), what);
        }
    }
    worst.end(9 * rows.len());
    assert_eq!(rows.len(), 66);
}

#[test]
fn a_list_of_nothing_or_with_a_hole_has_no_percentile() {
    assert_eq!(Ordered::try_new(&mut []).unwrap_err().to_string(), "a percentile of no values at all");
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        assert!(Ordered::try_new(&mut [1.0, bad]).is_err(), "{bad}");
    }
}

#[test]
fn lines_learnt_for_each_calendar_day_are_those_of_xclim() {
    let mut number = 0;
    let days: Vec<_> = table("heatwave_daily.csv")
        .iter()
        .map(|row| {
            number = if row.text("date").ends_with("-01-01") { 1 } else { number + 1 };
            (day(number), Some(celsius(row.number("tmax"))))
        })
        .collect();
    let lines = CalendarLines::learn(&days, 2, percent(90.0), Definition::Type8).unwrap();
    let mut worst = Worst::of("heatwave_percentiles.csv");
    for row in table("heatwave_percentiles.csv") {
        let number = row.text("dayofyear").parse().unwrap();
        let expected = row.number("p90_tmax");
        let got = lines.at(day(number)).get();
        worst.compare(got, expected, printed(expected, 1e-9), format_args!("day {number}"));
    }
    worst.end(366);
    let raised = lines.duration_lines();
    let noon_of_year = day(183);
    close(raised.at(noon_of_year).get(), lines.at(noon_of_year).get() + 5.0, 1e-12, "5 °C above normal");
}

#[test]
fn a_record_that_lacks_a_time_of_year_names_it() {
    let mut record: Vec<_> = (1..=365).map(|number| (day(number), Some(celsius(20.0)))).collect();
    for missing in 99..=105 {
        record[missing - 1].1 = None;
    }
    let learn = |record: &[_], side| CalendarLines::learn(record, side, percent(90.0), Definition::Type8);
    assert_eq!(learn(&record, 2).unwrap_err(), DayWithoutValue(101));
    assert!(learn(&record, 7).is_ok(), "fifteen days reach over the gap");
    assert!(learn(&record, usize::MAX).is_ok());
    assert_eq!(learn(&[], 2).unwrap_err(), DayWithoutValue(1));
    assert!(DayOfYear::try_new(0).is_err() && DayOfYear::try_new(367).is_err());
}

#[test]
fn twelve_months_are_joined_from_middle_to_middle_and_over_new_year() {
    let months: [f64; 12] = [4.0, 6.0, 10.0, 14.0, 18.0, 22.0, 24.0, 24.0, 20.0, 14.0, 8.0, 5.0];
    let lines = CalendarLines::from_months(&months.map(celsius));
    let at = |number| lines.at(day(number)).get();
    // By hand: 16 January is the middle of its month; noon of 1 January lies 16 days after 16 December's, of 31.
    assert_eq!(at(16), 4.0);
    assert!((at(1) - (5.0 - 16.0 / 31.0)).abs() < 0.02, "{}", at(1));
    assert!((at(181) - 23.0).abs() < 0.1, "end of June between 22 and 24: {}", at(181));
    for number in 1..366 {
        assert!((at(number + 1) - at(number)).abs() < 0.25, "a step at day {number}");
    }
    assert!((at(366) - at(1)).abs() < 0.05, "the turn of the year");
}

proptest! {
    #[test]
    fn percentiles_stay_within_the_values_and_rise_with_their_share(
        mut values in proptest::collection::vec(-1e6..1e6_f64, 1..60), low in 0.0..=100.0, more in 0.0..=100.0,
    ) {
        let high = f64::min(low + more, 100.0);
        let ordered = Ordered::try_new(&mut values).unwrap();
        let (least, most) = (ordered.percentile(Percent::MIN, Definition::Type7), ordered.percentile(Percent::MAX, Definition::Type7));
        for definition in Definition::ALL {
            let (below, above) = (ordered.percentile(percent(low), definition), ordered.percentile(percent(high), definition));
            prop_assert!(least <= below && below <= above + 1e-9 && above <= most, "{definition:?}");
        }
    }
}
