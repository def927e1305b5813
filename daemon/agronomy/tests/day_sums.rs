//! A day's sums against plain sums by the exact equation, and the polynomial against it over the whole range.

mod golden;

use agronomy::day_sums::{DayFigures, DaySums, Lines};
use agronomy::degree_days::{Cutoff, Method, Rule, by_readings};
use agronomy::series::{Held, hold};
use agronomy::units::{Celsius, Kilopascal, Minutes};
use agronomy::vapour::polynomial::{self, WORST_ERROR_KPA};
use golden::{Worst, close, table};
use proptest::prelude::*;

/// FAO-56 eq. 11, written out so that nothing comes from the code under test.
fn saturation(t: f64) -> f64 {
    0.6108 * libm::exp(17.27 * t / (t + 237.3))
}

fn by_polynomial(t: f64) -> f64 {
    polynomial::saturation_pressure(Celsius::try_new(t).unwrap()).get()
}

fn lines() -> Lines {
    let celsius = |t| Celsius::try_new(t).unwrap();
    Lines::try_new(celsius(10.0), celsius(30.0), celsius(32.0), Kilopascal::try_new(2.5).unwrap()).unwrap()
}

fn figures(day: &DaySums, step_min: f64) -> DayFigures {
    day.figures(Minutes::try_new(step_min).unwrap()).unwrap()
}

#[test]
fn the_polynomial_lies_within_its_stated_error_over_the_whole_range() {
    let (mut worst, mut worst_share) = (0.0_f64, 0.0_f64);
    for step in 0..=190_000 {
        let t = f64::from(step) / 1000.0 - 90.0;
        let error = (by_polynomial(t) - saturation(t)).abs();
        (worst, worst_share) = (worst.max(error), worst_share.max(error / saturation(t)));
    }
    println!(
        "polynomial against FAO-56 eq. 11, -90 to 100 °C: {worst:.2e} kPa, as a share {worst_share:.2e}"
    );
    assert!(worst <= WORST_ERROR_KPA && worst_share <= WORST_ERROR_KPA);
}

#[test]
fn the_polynomial_is_the_one_that_meets_the_equation_at_the_chebyshev_points() {
    // Twelve meetings settle a polynomial of eleventh degree; what is left is rounding.
    for point in 0..12 {
        let t = 5.0 + 95.0 * libm::cos(f64::from(2 * point + 1) * std::f64::consts::PI / 24.0);
        close(by_polynomial(t) / saturation(t), 1.0, 2e-14, format_args!("{t} °C"));
    }
}

#[test]
fn the_polynomial_gives_the_printed_table_of_fao56() {
    // FAO-56 Annex 2, Table 2.3, 1 to 48.5 °C, to half of the last digit printed, beside the polynomial's own error.
    let mut print = Worst::of("fao56_annex2.csv polynomial against Table 2.3 as printed, kPa");
    let mut computed = Worst::of("fao56_annex2.csv polynomial against Table 2.3 as computed, kPa");
    for row in table("fao56_annex2.csv").iter().filter(|row| row.text("table") == "2.3") {
        let (t, got) = (row.number("x"), by_polynomial(row.number("x")));
        print.compare(got, row.number("printed"), 0.0005 + WORST_ERROR_KPA, t);
        computed.compare(got, row.number("computed"), WORST_ERROR_KPA, t);
    }
    print.end(96);
    computed.end(96);
}

#[test]
fn a_whole_day_has_the_degree_days_of_the_integral() {
    let air: Vec<f64> = (0..288).map(|step| 22.0 - 14.0 * libm::cos(f64::from(step) / 45.8)).collect();
    let mut day = DaySums::new(lines());
    day.take(&air, &vec![60.0; air.len()]).unwrap();
    let celsius = |value| Celsius::try_new(value).unwrap();
    let rule =
        Rule::try_new(Method::Integral, celsius(10.0), Some(celsius(30.0)), Cutoff::Horizontal).unwrap();
    let readings = (0..).map(|step| step * 300_000).zip(air.iter().copied());
    let held: Vec<Held> = hold(readings, 300_000, 0..86_400_000).collect();
    let integral = by_readings(&rule, held.into_iter()).unwrap();
    assert!((figures(&day, 5.0).degree_days - integral).abs() < 1e-9, "{integral}");
}

/// What air can have, what it cannot have, and what was not measured.
fn temperature() -> impl Strategy<Value = f64> {
    prop_oneof![
        12 => -30.0..50.0_f64,
        2 => prop::num::f64::ANY,
        1 => Just(f64::NAN),
        1 => prop::sample::select(vec![-90.0, 100.0, 32.0, 10.0, 30.0, -0.0, 0.0]),
    ]
}

fn humidity() -> impl Strategy<Value = f64> {
    prop_oneof![12 => 0.0..=105.0_f64, 2 => prop::num::f64::ANY, 1 => Just(f64::NAN)]
}

fn columns() -> impl Strategy<Value = (Vec<f64>, Vec<f64>)> {
    prop::collection::vec((temperature(), humidity()), 0..1440).prop_map(|rows| rows.into_iter().unzip())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn the_sums_are_those_that_a_plain_loop_over_the_exact_equation_gives((air, humidity) in columns()) {
        let mut day = DaySums::new(lines());
        day.take(&air, &humidity).unwrap();
        let got = figures(&day, 1.0);
        let held: Vec<f64> = air.iter().copied().filter(|t| (-90.0..=100.0).contains(t)).collect();
        let pairs = air.iter().zip(&humidity);
        let pairs = pairs.filter(|(t, rh)| (-90.0..=100.0).contains(*t) && (0.0..=105.0).contains(*rh));
        let deficits: Vec<f64> = pairs.map(|(t, rh)| saturation(*t) * (1.0 - rh.min(100.0) / 100.0)).collect();
        prop_assert_eq!((got.readings, got.pairs), (held.len() as u64, deficits.len() as u64));
        let least = held.iter().copied().reduce(f64::min);
        let most = held.iter().copied().reduce(f64::max);
        prop_assert_eq!((got.low.map(Celsius::get), got.high.map(Celsius::get)), (least, most));
        let degrees: f64 = held.iter().map(|t| t.clamp(10.0, 30.0) - 10.0).sum();
        prop_assert!((got.degree_days - degrees / 1440.0).abs() < 1e-9);
        let hours = |count: usize| count as f64 / 60.0;
        prop_assert!((got.hours_above.get() - hours(held.iter().filter(|t| **t > 32.0).count())).abs() < 1e-9);
        // A deficit nearer to the line than the polynomial's error may fall on either side of it.
        let surely = deficits.iter().filter(|deficit| **deficit > 2.5 + WORST_ERROR_KPA).count();
        let perhaps = deficits.iter().filter(|deficit| **deficit > 2.5 - WORST_ERROR_KPA).count();
        let dry = got.deficit_hours.get();
        prop_assert!(dry > hours(surely) - 1e-9 && dry < hours(perhaps) + 1e-9, "{} {} {}", dry, surely, perhaps);
        let mean = deficits.iter().sum::<f64>() / deficits.len() as f64;
        match got.mean_deficit {
            Some(got) => prop_assert!((got.get() - mean).abs() <= WORST_ERROR_KPA, "{} {}", got, mean),
            None => prop_assert!(deficits.is_empty()),
        }
    }

    #[test]
    fn however_the_columns_are_cut_the_bits_are_the_same(
        (air, humidity) in columns(), cuts in prop::collection::vec(0..1440_usize, 0..6),
    ) {
        let mut whole = DaySums::new(lines());
        whole.take(&air, &humidity).unwrap();
        let mut cuts: Vec<usize> = cuts.into_iter().map(|cut| cut.min(air.len())).collect();
        cuts.extend([0, air.len()]);
        cuts.sort_unstable();
        let mut pieces = DaySums::new(lines());
        for cut in cuts.windows(2) {
            pieces.take(&air[cut[0]..cut[1]], &humidity[cut[0]..cut[1]]).unwrap();
        }
        // Debug shows a negative nought where equality would not.
        prop_assert_eq!(format!("{pieces:?}"), format!("{whole:?}"));
    }

    #[test]
    fn single_floats_give_what_they_give_as_doubles((air, humidity) in columns()) {
        let single = |column: &[f64]| column.iter().map(|value| *value as f32).collect::<Vec<f32>>();
        let (air, humidity) = (single(&air), single(&humidity));
        let wide = |column: &[f32]| column.iter().copied().map(f64::from).collect::<Vec<f64>>();
        let (mut singles, mut doubles) = (DaySums::new(lines()), DaySums::new(lines()));
        singles.take(&air, &humidity).unwrap();
        doubles.take(&wide(&air), &wide(&humidity)).unwrap();
        prop_assert_eq!(singles, doubles);
    }

    #[test]
    fn warmer_air_never_lowers_a_figure((air, humidity) in columns(), by in 0.0..5.0_f64) {
        // Only readings that stay possible when warmed, so that the same ones count in both.
        let air: Vec<f64> = air.iter().map(|t| if (-90.0..=95.0).contains(t) { *t } else { f64::NAN }).collect();
        let warmed: Vec<f64> = air.iter().map(|t| t + by).collect();
        let (mut cool, mut warm) = (DaySums::new(lines()), DaySums::new(lines()));
        cool.take(&air, &humidity).unwrap();
        warm.take(&warmed, &humidity).unwrap();
        let (cool, warm) = (figures(&cool, 1.0), figures(&warm, 1.0));
        prop_assert!(warm.low >= cool.low && warm.high >= cool.high);
        prop_assert!(warm.degree_days >= cool.degree_days - 1e-12);
        prop_assert!(warm.hours_above >= cool.hours_above && warm.deficit_hours >= cool.deficit_hours);
        prop_assert!(warm.mean_deficit.map(Kilopascal::get) >= cool.mean_deficit.map(|mean| mean.get() - 1e-12));
    }
}
