//! The rest of today, from the place's own shape of day and the forecast together.
//!
//! A forecast that misses now will miss in an hour as well, but less and less: it is hung on the reading of the moment,
//! and let go within some hours. Where the day's own shape says something too, both count by how sure they are.
//!
//! # Source
//!
//! Weighing by the inverse of the error variance (AGRONOMY 4.3; any textbook of estimation). How fast a present departure
//! dies away, a third of it left after three hours, is practice. The errors of both come from one sky, so their joint
//! spread is the mean of both and not less than either alone could claim.

use agronomy::series::MS_PER_HOUR;

use crate::almanac::shape::Expected;

/// In what time a present departure falls to 1/e, h.
const LETTING_GO_H: f64 = 3.0;
/// The least that is doubted, °C.
const LEAST_C: f64 = 0.5;
/// From a standard deviation to the 20th and 80th of a normal spread, which is what [`Expected`] tells.
const FIFTHS: f64 = 0.8416;

/// The rest of the day. `told`: what the corrected forecast says of a moment, with its standard deviation, °C; `moments`
/// are those to be told where the shape tells none.
pub fn blend(
    shape: Vec<Expected>,
    moments: impl Iterator<Item = i64>,
    told: &dyn Fn(i64) -> Option<(f64, f64)>,
    (now_ms, now_c): (i64, f64),
) -> Vec<Expected> {
    let Some(away_c) = told(now_ms).map(|(told, _)| now_c - told) else { return shape };
    let hung = |at_ms: i64| {
        let (middle, spread) = told(at_ms)?;
        let left = libm::exp(-((at_ms - now_ms) as f64) / MS_PER_HOUR as f64 / LETTING_GO_H);
        let spread = libm::sqrt(spread * spread * (1.0 - left * left).max(0.0) + LEAST_C * LEAST_C);
        Some((middle + away_c * left, spread))
    };
    if shape.is_empty() {
        return moments.filter_map(|at_ms| hung(at_ms).map(|it| expected(at_ms, it))).collect();
    }
    shape.into_iter().map(|it| hung(it.at_ms).map_or(it, |told| both(it, told))).collect()
}

fn expected(at_ms: i64, (middle_c, spread_c): (f64, f64)) -> Expected {
    let away = FIFTHS * spread_c;
    Expected { at_ms, low_c: middle_c - away, middle_c, high_c: middle_c + away }
}

fn both(shape: Expected, (middle_c, spread_c): (f64, f64)) -> Expected {
    let own = ((shape.high_c - shape.low_c) / 2.0 / FIFTHS).max(LEAST_C);
    let share = own * own / (own * own + spread_c * spread_c);
    let mixed = |own: f64, told: f64| own + (told - own) * share;
    expected(shape.at_ms, (mixed(shape.middle_c, middle_c), mixed(own, spread_c)))
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOON: (i64, f64) = (12 * MS_PER_HOUR, 33.0);

    fn shape(hour: i64, middle_c: f64, either_way: f64) -> Expected {
        let at_ms = hour * MS_PER_HOUR;
        Expected { at_ms, low_c: middle_c - either_way, middle_c, high_c: middle_c + either_way }
    }

    #[test]
    fn alone_a_forecast_is_hung_on_the_reading_and_let_go_over_hours() {
        let told = |_| Some((30.0, 2.0));
        let hours = [12, 15, 22].map(|hour| hour * MS_PER_HOUR);
        let rest = blend(Vec::new(), hours.into_iter(), &told, NOON);
        // By hand: 3 °C above what was told, e⁻¹ of it after three hours.
        assert!((rest[0].middle_c - 33.0).abs() < 1e-12);
        assert!((rest[1].middle_c - (30.0 + 3.0 * libm::exp(-1.0))).abs() < 1e-12);
        assert!((rest[2].middle_c - 30.0).abs() < 0.15);
        assert!(rest[0].high_c - rest[0].low_c < rest[2].high_c - rest[2].low_c, "what is near is surer");
    }

    #[test]
    fn the_surer_of_two_counts_for_more_and_equals_count_alike() {
        let told = |_| Some((33.0, 30.0));
        let narrow = blend(vec![shape(15, 39.0, 0.1)], std::iter::empty(), &told, NOON);
        assert!((narrow[0].middle_c - 39.0).abs() < 0.1, "{narrow:?}");
        // A spread of 0.5 after letting go of nothing, beside an own spread of 0.5.
        let sure = |_| Some((33.0, 0.0));
        let alike = blend(vec![shape(15, 39.0, 0.5 * FIFTHS)], std::iter::empty(), &sure, NOON);
        assert!((alike[0].middle_c - 36.0).abs() < 1e-9, "{alike:?}");
    }

    #[test]
    fn without_a_forecast_for_now_the_shape_stands_as_it_is() {
        let own = vec![shape(15, 39.0, 1.0)];
        assert_eq!(blend(own.clone(), std::iter::empty(), &|_| None, NOON), own);
    }
}
