//! Hours and degree hours past a line against closed forms, and what holds for any course at all.

use agronomy::heat_stress::course::{Slope, course, extremes, known_ms, mean};
use agronomy::heat_stress::{above, below};
use agronomy::series::{MS_PER_DAY, hold};
use agronomy::units::Celsius;
use proptest::prelude::*;

const HOUR_MS: f64 = 3_600_000.0;

fn celsius(value: f64) -> Celsius {
    Celsius::try_new(value).unwrap()
}

/// A day under glass: lowest at 6:00, a quarter sine to the highest at 15:00, then an exponential fall with a
/// time of five hours that ends where it began, at 6:00.
struct GlassDay {
    low: f64,
    high: f64,
}

impl GlassDay {
    fn at(&self, hour: f64) -> f64 {
        let risen = if (6.0..=15.0).contains(&hour) {
            libm::sin(std::f64::consts::FRAC_PI_2 * (hour - 6.0) / 9.0)
        } else {
            let (since, end) = ((hour - 15.0).rem_euclid(24.0), libm::exp(-3.0));
            (libm::exp(-since / 5.0) - end) / (1.0 - end)
        };
        self.low + (self.high - self.low) * risen
    }

    /// Hours and degree hours above a line between lowest and highest, integrated by hand from the two curves.
    fn above(&self, line: f64) -> (f64, f64) {
        let (swing, share) = (self.high - self.low, (line - self.low) / (self.high - self.low));
        let quarter = std::f64::consts::FRAC_PI_2 / 9.0;
        let risen_by = libm::asin(share) / quarter;
        let (end, rising) = (libm::exp(-3.0), 9.0 - risen_by);
        let falling = -5.0 * libm::log(share * (1.0 - end) + end);
        let below_line = share * (rising + falling);
        let sine = libm::cos(quarter * risen_by) / quarter;
        let fall = (5.0 * (1.0 - libm::exp(-falling / 5.0)) - end * falling) / (1.0 - end);
        (rising + falling, swing * (sine + fall - below_line))
    }

    /// The day as a probe sees it that speaks every `minutes`.
    fn read(&self, minutes: i64) -> Vec<Slope> {
        let step = minutes * 60_000;
        let readings = (0..=MS_PER_DAY / step).map(|at| (at * step, self.at((at * minutes) as f64 / 60.0)));
        course(hold(readings, step, 0..MS_PER_DAY + step))
            .filter_map(|slope| slope.within(&(0..MS_PER_DAY)))
            .collect()
    }
}

#[test]
fn hours_and_degree_hours_of_a_known_day_are_those_of_its_closed_form() {
    let mut worst = (0.0_f64, 0.0_f64);
    for (low, high) in [(16.0, 36.0), (18.0, 42.0), (18.5, 38.5), (12.0, 30.0)] {
        let day = GlassDay { low, high };
        for line in [low + 1.0, 24.0, 26.0, 28.0, high - 1.0, high - 0.1] {
            let (hours, degree_hours) = day.above(line);
            let found = above(day.read(5).into_iter(), celsius(line));
            let error = (found.hours() - hours, found.degree_hours.get() - degree_hours);
            worst = (worst.0.max(error.0.abs()), worst.1.max(error.1.abs()));
            assert!(error.0.abs() < 0.01 && error.1.abs() < 0.01, "{low}..{high} at {line}: {error:?}");
        }
    }
    println!("glass days every 5 min: worst {:.1e} h of 1e-2, {:.1e} °C h of 1e-2", worst.0, worst.1);
}

#[test]
fn the_figures_that_independent_code_gave_for_the_same_days_come_out() {
    // 16 to 36 °C: 4.75 h and 11.8 °C h at 32; 18 to 42 °C: 8.0 h and 47.2 °C h. A probe in the sun that reads
    // 2.5 °C too high turns the first into 6.67 h and 26.0 °C h. That code counted steps of 5 minutes.
    let step = 5.0 / 60.0;
    for (low, high, hours, degree_hours) in
        [(16.0, 36.0, 4.75, 11.8), (18.0, 42.0, 8.0, 47.2), (18.5, 38.5, 6.67, 26.0)]
    {
        let found = above(GlassDay { low, high }.read(5).into_iter(), celsius(32.0));
        assert!((found.hours() - hours).abs() <= step, "{} h", found.hours());
        assert!((found.degree_hours.get() - degree_hours).abs() <= 0.1, "{}", found.degree_hours);
    }
}

#[test]
fn interpolation_needs_few_readings_where_held_steps_need_many() {
    let day = GlassDay { low: 16.0, high: 36.0 };
    let (hours, degree_hours) = day.above(32.0);
    let quarter_hourly = above(day.read(15).into_iter(), celsius(32.0));
    assert!((quarter_hourly.hours() - hours).abs() < 0.02);
    assert!((quarter_hourly.degree_hours.get() - degree_hours).abs() < 0.1);
}

fn readings() -> impl Strategy<Value = Vec<Slope>> {
    let reading = (0..MS_PER_DAY, -20.0..55.0);
    proptest::collection::vec(reading, 0..150).prop_map(|mut all| {
        all.sort_by_key(|&(at, _)| at);
        course(hold(all.into_iter(), 900_000, 0..MS_PER_DAY)).collect()
    })
}

proptest! {
    #[test]
    fn above_and_below_share_the_known_time_and_differ_by_the_mean(day in readings(), line in -20.0..55.0) {
        let over = above(day.iter().copied(), celsius(line));
        let under = below(day.iter().copied(), celsius(line));
        prop_assert!((over.ms + under.ms - known_ms(&day)).abs() <= 2);
        let known = known_ms(&day) as f64 / HOUR_MS;
        let excess = mean(&day).map_or(0.0, |mean| (mean - line) * known);
        prop_assert!((over.degree_hours.get() - under.degree_hours.get() - excess).abs() < 1e-6);
    }

    #[test]
    fn a_higher_line_is_passed_for_no_longer_and_never_by_more_than_the_highest(
        day in readings(), line in -20.0..50.0, higher in 0.0..5.0,
    ) {
        let (one, other) = (above(day.iter().copied(), celsius(line)), above(day.iter().copied(), celsius(line + higher)));
        prop_assert!(other.ms <= one.ms && other.degree_hours <= one.degree_hours);
        let high = extremes(&day).map_or(line, |(_, high)| high.max(line));
        prop_assert!(one.degree_hours.get() <= one.hours() * (high - line) + 1e-6);
    }

    #[test]
    fn a_day_cut_in_two_has_the_same_exposure(day in readings(), line in -20.0..55.0, cut in 0..MS_PER_DAY) {
        let part = |window: std::ops::Range<i64>| {
            above(day.iter().filter_map(|slope| slope.within(&window)), celsius(line))
        };
        let (morning, evening, whole) = (part(0..cut), part(cut..MS_PER_DAY), part(0..MS_PER_DAY));
        prop_assert!((morning.ms + evening.ms - whole.ms).abs() <= 2);
        let degree_hours = morning.degree_hours.get() + evening.degree_hours.get();
        prop_assert!((degree_hours - whole.degree_hours.get()).abs() < 1e-6);
    }

    #[test]
    fn any_piece_at_all_gives_a_finite_exposure(
        start in any::<i64>(), length in any::<i64>(), from in any::<f64>(), to in any::<f64>(), line in -90.0..100.0,
    ) {
        let slope = Slope { start_ms: start, end_ms: start.saturating_add(length), from, to };
        for found in [above(std::iter::once(slope), celsius(line)), below(std::iter::once(slope), celsius(line))] {
            prop_assert!(found.degree_hours.get() >= 0.0 && found.ms >= 0);
        }
    }
}
