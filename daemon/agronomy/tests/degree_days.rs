//! Degree days by every method against quadrature, the UC IPM calculator's published output, and single
//! published figures.

mod golden;
#[path = "golden/synthetic.rs"]
mod synthetic;

use agronomy::degree_days::{Cutoff, Daily, Method, Rule, daily};
use agronomy::units::Celsius;
use golden::{Row, Worst, table};
use proptest::prelude::*;
use synthetic::COLUMNS;

/// A rule of bare numbers, °C.
fn rule(method: Method, base: f64, upper: Option<f64>, cutoff: Cutoff) -> Rule {
    let celsius = |value| Celsius::try_new(value).unwrap();
    Rule::try_new(method, celsius(base), upper.map(celsius), cutoff).unwrap()
}

/// A day of bare numbers, °C; none where one is no temperature, or the day cannot be.
fn of_day(rule: &Rule, min: f64, max: f64, next: Option<f64>) -> Option<Daily> {
    let next = next.map(Celsius::try_new).transpose().ok()?;
    daily(rule, Celsius::try_new(min).ok()?, Celsius::try_new(max).ok()?, next).ok()
}

#[test]
fn every_method_agrees_with_quadrature_on_the_synthetic_days() {
    let rows = table("degree_days_synthetic.csv");
    assert_eq!(rows.len(), 336);
    let mut worst = Worst::of("degree_days_synthetic.csv quadrature, degree days");
    for row in rows {
        let day = ["lower", "upper", "tmin", "tmax", "tmin_next"].map(|column| row.number(column));
        let [lower, upper, min, max, next] = day;
        for (column, method, capped, cutoff) in COLUMNS {
            let rule = rule(method, lower, capped.then_some(upper), cutoff);
            let got = of_day(&rule, min, max, Some(next)).unwrap().degree_days;
            worst.compare(got, row.number(column), 1e-6, format_args!("{column} of {day:?}"));
        }
    }
    worst.end(336 * COLUMNS.len());
}

#[test]
fn the_uc_ipm_calculators_year_comes_out_to_its_two_decimals() {
    let methods = [
        ("sngsine", Method::SingleSine),
        ("dblsine", Method::DoubleSine),
        ("sngtri", Method::SingleTriangle),
        ("dbltri", Method::DoubleTriangle),
    ];
    let cutoffs =
        [("horiz", Cutoff::Horizontal), ("vert", Cutoff::Vertical), ("intrmd", Cutoff::Intermediate)];
    let rows = table("degree_days_ucipm.csv");
    assert_eq!(rows.len(), 366);
    let mut quadrature = Worst::of("degree_days_ucipm.csv quadrature, degree days");
    let mut publication = Worst::of("degree_days_ucipm.csv published, degree days");
    let mut theirs = Worst::of("degree_days_ucipm.csv published by another rule, degree days");
    for row in &rows {
        for (name, method) in methods {
            for (suffix, cutoff) in cutoffs {
                let got = in_fahrenheit(row, method, cutoff);
                let what = format!("{} {name}_{suffix}", row.text("date"));
                let published = row.number(&format!("{name}_{suffix}_pub"));
                quadrature.compare(got, row.number(&format!("{name}_{suffix}_quad")), 1e-6, &what);
                if DIFFERENT_BY_THEIR_RULE.contains(&what.as_str()) {
                    // What the header says of these cells: the larger of this and the vertical cutoff.
                    let larger = got.max(in_fahrenheit(row, method, Cutoff::Vertical));
                    theirs.compare(larger, published, 0.0055, &what);
                } else {
                    publication.compare(got, published, 0.0055, &what);
                }
            }
        }
    }
    let excluded = DIFFERENT_BY_THEIR_RULE.len();
    quadrature.end(366 * 12);
    publication.end(366 * 12 - excluded);
    theirs.end(excluded);
}

/// Cells in which the calculator does not let the stretch above the upper threshold count back; see the
/// table's header.
const DIFFERENT_BY_THEIR_RULE: [&str; 5] = [
    "2020-07-11 sngsine_intrmd",
    "2020-07-11 dblsine_intrmd",
    "2020-08-15 sngsine_intrmd",
    "2020-08-15 dblsine_intrmd",
    "2020-09-06 dblsine_intrmd",
];

fn in_fahrenheit(row: &Row, method: Method, cutoff: Cutoff) -> f64 {
    let rule = rule(method, celsius(50.0), Some(celsius(70.0)), cutoff);
    let [min, max, next] = ["tmin_f", "tmax_f", "tmin_next_f"].map(|column| celsius(row.number(column)));
    of_day(&rule, min, max, Some(next)).unwrap().degree_days * 1.8
}

fn celsius(fahrenheit: f64) -> f64 {
    (fahrenheit - 32.0) / 1.8
}

#[test]
fn single_published_figures_agree_where_the_source_is_right() {
    let mut quadrature = Worst::of("degree_days_published.csv quadrature, degree days");
    let mut publication = Worst::of("degree_days_published.csv published, degree days");
    let mut wrong = 0;
    let rows = table("degree_days_published.csv");
    assert_eq!(rows.len(), 31);
    for row in rows {
        let method = match row.text("method") {
            "single sine" => Method::SingleSine,
            "double sine" => Method::DoubleSine,
            "single triangle" => Method::SingleTriangle,
            "double triangle" => Method::DoubleTriangle,
            "average clipped" => Method::ExtremesClipped,
            "simple average" => Method::Mean,
            other => panic!("unknown method {other}"),
        };
        // The rules for maize and citrus are in Fahrenheit; sums convert as differences.
        let fahrenheit = !row.text("source").contains("Celsius");
        let to_celsius = |value: f64| if fahrenheit { celsius(value) } else { value };
        let upper = (row.text("cutoff") != "none").then(|| to_celsius(row.number("upper")));
        let rule = rule(method, to_celsius(row.number("lower")), upper, Cutoff::Horizontal);
        let [min, max, next] = ["tmin", "tmax", "tmin_next"].map(|column| to_celsius(row.number(column)));
        let got = of_day(&rule, min, max, Some(next)).unwrap().degree_days;
        let scale = if fahrenheit { 1.8 } else { 1.0 };
        let what = format!("{method} of {min}..{max}");
        quadrature.compare(got * scale, row.number("quadrature"), 1e-6, &what);
        if row.text("agrees") == "true" {
            publication.compare(got * scale, row.number("published"), 0.01, &what);
        } else {
            // The three figures that contradict their own definitions must not come out.
            assert!((got * scale - row.number("published")).abs() > 1.0, "{what}");
            wrong += 1;
        }
    }
    assert_eq!(wrong, 3);
    quadrature.end(31);
    publication.end(28);
}

fn any_method() -> impl Strategy<Value = Method> {
    proptest::sample::select(
        // Those of lowest and highest with thresholds of choice; Ontario units have a test of their own.
        Method::ALL
            .into_iter()
            .filter(|method| !method.needs_readings() && *method != Method::OntarioUnits)
            .collect::<Vec<_>>(),
    )
}

proptest! {
    #[test]
    fn a_horizontal_day_lies_between_nothing_and_upper_less_base(
        method in any_method(), base in -5.0..20.0, width in 0.5..30.0,
        min in -30.0..45.0, swing in 0.0..40.0, next in -30.0..60.0,
    ) {
        let rule = rule(method, base, Some(base + width), Cutoff::Horizontal);
        let day = of_day(&rule, min, min + swing, Some(next)).unwrap();
        prop_assert!(day.degree_days >= -1e-9, "{day:?}");
        if method != Method::Mean {
            prop_assert!(day.degree_days <= width + 1e-9, "{day:?}");
        }
    }

    #[test]
    fn a_warmer_day_never_counts_less(
        method in any_method(), min in -30.0..40.0, swing in 0.0..40.0, warmer in 0.0..10.0,
    ) {
        // The reflected maximum is made to count less on a hotter day.
        prop_assume!(method != Method::MaximumReflected);
        let rule = rule(method, 10.0, Some(30.0), Cutoff::Horizontal);
        let cool = of_day(&rule, min, min + swing, Some(min)).unwrap();
        let warm = of_day(&rule, min + warmer, min + swing + warmer, Some(min + warmer)).unwrap();
        prop_assert!(warm.degree_days >= cool.degree_days - 1e-9, "{cool:?} {warm:?}");
    }

    #[test]
    fn cutoffs_are_ordered_horizontal_then_the_others(
        sine in any::<bool>(), min in -10.0..40.0, swing in 0.0..40.0,
    ) {
        let method = if sine { Method::SingleSine } else { Method::SingleTriangle };
        let of = |cutoff| {
            let rule = rule(method, 10.0, Some(30.0), cutoff);
            of_day(&rule, min, min + swing, None).unwrap().degree_days
        };
        prop_assert!(of(Cutoff::Horizontal) >= of(Cutoff::Intermediate) - 1e-9);
        prop_assert!(of(Cutoff::Horizontal) >= of(Cutoff::Vertical) - 1e-9);
    }

    #[test]
    fn any_number_at_all_gives_a_day_or_an_error_and_never_nan(
        method in any_method(), min in any::<f64>(), max in any::<f64>(), next in any::<f64>(),
    ) {
        let rule = rule(method, 10.0, Some(30.0), Cutoff::Horizontal);
        if let Some(day) = of_day(&rule, min, max, Some(next)) {
            prop_assert!(day.degree_days.is_finite());
        }
    }

    #[test]
    fn ontario_units_of_any_numbers_are_refused_or_finite_and_never_below_nought(
        min in prop_oneof![-90.0..100.0, any::<f64>()], swing in 0.0..60.0, warmer in 0.0..10.0,
    ) {
        let rule = rule(Method::OntarioUnits, 10.0, None, Cutoff::Horizontal);
        let max: f64 = min + swing;
        if let Some(day) = of_day(&rule, min, max, None) {
            prop_assert!(day.degree_days >= 0.0 && day.degree_days.is_finite());
            // A warmer night at the same highest never counts less.
            if let Some(warm) = of_day(&rule, max.min(min + warmer), max, None) {
                prop_assert!(warm.degree_days >= day.degree_days);
            }
        }
    }
}
