//! Degree days by readings against quadrature: the synthetic days' own curves, read every few seconds.

mod golden;

use agronomy::degree_days::{Cutoff, Method, Rule, by_readings};
use agronomy::series::{Held, MS_PER_DAY};
use agronomy::units::Celsius;
use golden::{Row, Worst, table};

/// Readings of a day; the thresholds' corners fall between two of them, hence the tolerance below.
const STEPS: i64 = 2880;
/// A crossing between two readings misses at most a step's triangle: slope × step² / 8 per crossing, for 60 °C in
/// half a day 1.8e-6 of a day; a day has four, and the curve itself errs by as much again.
const TOLERANCE: f64 = 1.5e-5;

/// A day as the table draws it: from its lowest to its highest by half a day, then down to `evening`.
fn curve(row: &Row, sine: bool, double: bool) -> impl Iterator<Item = Held> {
    let (low, high) = (row.number("tmin"), row.number("tmax"));
    let evening = if double { row.number("tmin_next") } else { low };
    let step_ms = MS_PER_DAY / STEPS;
    (0..STEPS).map(move |step| {
        let share = 2.0 * (step as f64 + 0.5) / STEPS as f64;
        let (from, risen) = if share < 1.0 { (low, share) } else { (evening, 2.0 - share) };
        let risen = if sine { (1.0 - libm::cos(std::f64::consts::PI * risen)) / 2.0 } else { risen };
        let value = from + (high - from) * risen;
        Held { start_ms: step * step_ms, end_ms: (step + 1) * step_ms, value }
    })
}

#[test]
fn the_integral_of_a_drawn_day_is_the_horizontal_cutoffs_and_the_brake_is_the_floored_intermediate_ones() {
    // Above the upper threshold u the floored intermediate rate is (u - b) - (T - u), not below 0: the brake of
    // integral-peak with its stop at 2u - b.
    let kinds = [
        ("single_triangle", false, false),
        ("double_triangle", false, true),
        ("single_sine", true, false),
        ("double_sine", true, true),
    ];
    let mut plain = Worst::of("degree_days_synthetic.csv integral, degree days");
    let mut braked = Worst::of("degree_days_synthetic.csv integral-peak, degree days");
    let rows = table("degree_days_synthetic.csv");
    assert_eq!(rows.len(), 336);
    for row in &rows {
        let threshold = |column| Celsius::try_new(row.number(column)).unwrap();
        let (base, upper) = (threshold("lower"), threshold("upper"));
        let stop = Celsius::try_new(2.0 * upper.get() - base.get()).unwrap();
        let rule = |method, upper| Rule::try_new(method, base, upper, Cutoff::Horizontal).unwrap();
        let integral = rule(Method::Integral, Some(upper));
        let peak = rule(Method::IntegralPeak, Some(upper)).with_stop(stop).unwrap();
        for (kind, sine, double) in kinds {
            let day = || curve(row, sine, double);
            let near = |rule: &Rule, cutoff: &str, worst: &mut Worst| {
                let column = format!("{kind}_{cutoff}");
                let got = by_readings(rule, day()).unwrap();
                worst.compare(got, row.number(&column), TOLERANCE, format_args!("{column}, {base}/{upper}"));
            };
            near(&integral, "horizontal", &mut plain);
            near(&rule(Method::Integral, None), "none", &mut plain);
            near(&peak, "intermediate_floor0", &mut braked);
        }
    }
    plain.end(336 * 8);
    braked.end(336 * 4);
}
