//! The own estimate: what tomorrow may be like where nobody forecasts.
//!
//! Weather persists: a day much warmer than is usual for the time of year is likely followed by one that is still
//! warmer than usual, by a share φ of it. So the estimate for day *h* from now is what is usual then, and of today's
//! departure φ to the power of *h*. Its spread grows from nothing towards that of all such days of the year. After three
//! days hardly anything of today is left in it, and it is climatology, which must be said.
//!
//! By construction it decays to the usual and cannot see a heat wave coming: it may fill in, and may never open or
//! withhold a word on one.
//!
//! # Source
//!
//! A first-order autoregressive process about an annual cycle, as in any textbook of time series (Wilks, *Statistical
//! Methods in the Atmospheric Sciences*, "AR(1)": forecast φ^h, variance s²(1 − φ^2h)). The range of φ for daily
//! extremes, 0.6 to 0.75, and that of the spread, 3 to 5 °C, are common practice.

use std::f64::consts::TAU;

use crate::units::Celsius;

/// Days in a year.
const YEAR_D: f64 = 365.25;
/// The middle of each month, in days since the year began; February has 28¼.
const MIDDLES: [f64; 12] =
    [15.5, 45.125, 74.75, 105.25, 135.75, 166.25, 196.75, 227.75, 258.25, 288.75, 319.25, 349.75];
/// Fewest days of an own record that tell what is usual: most of two years.
const FEWEST_DAYS: usize = 600;
/// Fewest pairs of neighbouring days that tell how much persists.
const FEWEST_PAIRS: usize = 60;
/// How much of a departure is left the day after: lowest and highest believed.
const PHI: (f64, f64) = (0.6, 0.75);
/// Spread of departures where no record tells it, and the least believed, °C.
const SPREAD_C: (f64, f64) = (4.0, 3.0);
/// Days ahead from which on it is climatology.
const CLIMATOLOGY_FROM: u32 = 4;

/// What is usual through the year: a mean and its first harmonic.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Usual {
    mean: f64,
    cosine: f64,
    sine: f64,
}

/// Where in the year a day lies, as an angle. `day`: since 1970-01-01, a Thursday in the northern winter.
fn angle(day: f64) -> f64 {
    TAU * day / YEAR_D
}

impl Usual {
    /// From a climate table: the mean of the days of each month, January first, °C.
    pub fn of_months(months: &[Celsius; 12]) -> Self {
        let middles = MIDDLES.into_iter().zip(months.iter().map(|month| month.get()));
        // Twelve middles of months are never three points on one line, which alone have no such curve.
        fitted(middles).unwrap_or(Self { mean: months[0].get(), cosine: 0.0, sine: 0.0 })
    }

    /// From an own record by least squares: days since 1970-01-01 with their value, °C. `None` for fewer than 600 days,
    /// or where a part of the year is hardly there.
    pub fn of_days(days: &[(i64, f64)]) -> Option<Self> {
        if days.len() < FEWEST_DAYS || !every_season(days) {
            return None;
        }
        fitted(days.iter().map(|(day, value)| (*day as f64, *value)))
    }

    /// What is usual on a day since 1970-01-01, °C.
    pub fn on(&self, day: i64) -> f64 {
        let at = angle(day as f64);
        self.mean + self.cosine * libm::cos(at) + self.sine * libm::sin(at)
    }
}

/// Mean and first harmonic by least squares, from days and their values.
fn fitted(points: impl Iterator<Item = (f64, f64)>) -> Option<Usual> {
    let mut normal = [[0.0; 4]; 3];
    for (day, value) in points {
        let at = angle(day);
        let base = [1.0, libm::cos(at), libm::sin(at)];
        for (row, left) in normal.iter_mut().zip(base) {
            for (cell, right) in row.iter_mut().zip(base.into_iter().chain([value])) {
                *cell += left * right;
            }
        }
    }
    let [mean, cosine, sine] = solved(normal)?;
    Some(Usual { mean, cosine, sine })
}

/// Whether each quarter of the year holds an eighth of the days at least.
fn every_season(days: &[(i64, f64)]) -> bool {
    let mut quarters = [0_usize; 4];
    for (day, _) in days {
        let share = (*day as f64 / YEAR_D).rem_euclid(1.0);
        quarters[((share * 4.0) as usize).min(3)] += 1;
    }
    quarters.iter().all(|quarter| quarter * 8 >= days.len())
}

/// Three equations in three unknowns by elimination. The matrix is that of least squares: symmetric, with its largest
/// figures on the diagonal where every season is there, so no rows need change places.
fn solved(mut rows: [[f64; 4]; 3]) -> Option<[f64; 3]> {
    for pivot in 0..3 {
        if rows[pivot][pivot].abs() < 1e-9 {
            return None;
        }
        let lead = rows[pivot];
        for (_, row) in rows.iter_mut().enumerate().filter(|(at, _)| *at != pivot) {
            let share = row[pivot] / lead[pivot];
            row.iter_mut().zip(lead).for_each(|(cell, lead)| *cell -= share * lead);
        }
    }
    Some([0, 1, 2].map(|at| rows[at][3] / rows[at][at]))
}

/// What is expected of a day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// Middle, °C.
    pub middle_c: f64,
    /// Standard deviation, °C.
    pub spread_c: f64,
    /// So far ahead that it is climatology, and no more than that.
    pub climatology: bool,
}

/// The own estimate of one daily value at one place: its highest, or its lowest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OwnEstimate {
    usual: Usual,
    phi: f64,
    spread_c: f64,
}

impl OwnEstimate {
    /// From what is usual and what the place's own days were: (days since 1970-01-01 ascending, °C). Where they are too
    /// few to tell how much persists, the middle of common practice stands in.
    pub fn new(usual: Usual, days: &[(i64, f64)]) -> Self {
        let away = |(day, value): (i64, f64)| value - usual.on(day);
        let pairs = days.windows(2).filter(|pair| pair[1].0 == pair[0].0 + 1);
        let pairs: Vec<(f64, f64)> = pairs.map(|pair| (away(pair[0]), away(pair[1]))).collect();
        let (phi, spread_c) = if pairs.len() < FEWEST_PAIRS {
            (f64::midpoint(PHI.0, PHI.1), SPREAD_C.0)
        } else {
            let squares: f64 = pairs.iter().map(|(before, _)| before * before).sum();
            let products: f64 = pairs.iter().map(|(before, after)| before * after).sum();
            let phi = if squares > 0.0 { (products / squares).clamp(PHI.0, PHI.1) } else { PHI.0 };
            (phi, libm::sqrt(squares / pairs.len() as f64).max(SPREAD_C.1))
        };
        Self { usual, phi, spread_c }
    }

    /// The same with a share that persists told from elsewhere, 0 to 1.
    #[must_use]
    pub fn with_phi(self, phi: f64) -> Self {
        Self { phi: phi.clamp(0.0, 1.0), ..self }
    }

    /// How much of a departure is left the day after.
    pub fn phi(&self) -> f64 {
        self.phi
    }

    /// What is expected `ahead` days after a day that had this value, °C.
    pub fn after(&self, day: i64, value_c: f64, ahead: u32) -> Estimate {
        let left = libm::pow(self.phi, f64::from(ahead));
        let middle_c = self.usual.on(day + i64::from(ahead)) + left * (value_c - self.usual.on(day));
        let spread_c = self.spread_c * libm::sqrt((1.0 - left * left).max(0.0));
        Estimate { middle_c, spread_c, climatology: ahead >= CLIMATOLOGY_FROM }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn celsius(months: [f64; 12]) -> [Celsius; 12] {
        months.map(|month| Celsius::try_new(month).unwrap())
    }

    /// A year that is a pure harmonic, with its warmest day on the 200th.
    fn cycle(day: i64) -> f64 {
        14.0 + 9.0 * libm::cos(TAU * (day as f64 - 200.0) / YEAR_D)
    }

    #[test]
    fn what_is_usual_is_found_again_in_a_record_that_holds_nothing_else() {
        let days: Vec<_> = (0..800).map(|day| (day, cycle(day))).collect();
        let usual = Usual::of_days(&days).unwrap();
        for day in [0, 100, 200, 300, 5000] {
            assert!((usual.on(day) - cycle(day)).abs() < 1e-6, "day {day}");
        }
        assert_eq!(Usual::of_days(&days[..500]), None, "less than most of two years");
        let summers: Vec<_> =
            (0..2000).filter(|day| (100..250).contains(&(day % 365))).map(|day| (day, cycle(day))).collect();
        assert_eq!(Usual::of_days(&summers), None, "no winter in it");
    }

    #[test]
    fn twelve_months_of_a_pure_cycle_give_the_cycle() {
        let curve = |day: f64| 14.0 + 9.0 * libm::cos(TAU * (day - 200.0) / YEAR_D);
        let usual = Usual::of_months(&celsius(MIDDLES.map(curve)));
        for day in [0, 106, 197, 288, 18_628] {
            assert!((usual.on(day) - cycle(day)).abs() < 1e-9, "day {day}: {}", usual.on(day));
        }
        let flat = Usual::of_months(&celsius([21.5; 12]));
        assert!((0..365).all(|day| (flat.on(day) - 21.5).abs() < 1e-9));
    }

    #[test]
    fn the_estimate_decays_to_the_usual_while_its_spread_grows_to_that_of_the_year() {
        // The published properties of an AR(1) forecast: error variance s²(1 − φ^2h), mean φ^h of the departure.
        let flat = Usual { mean: 20.0, cosine: 0.0, sine: 0.0 };
        let own = OwnEstimate { usual: flat, phi: 0.5, spread_c: 4.0 };
        let [first, second, tenth] = [1, 2, 10].map(|ahead| own.after(0, 36.0, ahead));
        assert_eq!((first.middle_c, second.middle_c), (28.0, 24.0));
        assert!((first.spread_c - 4.0 * libm::sqrt(0.75)).abs() < 1e-12);
        assert!((tenth.middle_c - 20.0).abs() < 0.02 && (tenth.spread_c - 4.0).abs() < 1e-4);
        assert_eq!(own.after(0, 36.0, 0), Estimate { middle_c: 36.0, spread_c: 0.0, climatology: false });
        assert!(!own.after(0, 36.0, 3).climatology && own.after(0, 36.0, 4).climatology);
    }

    #[test]
    fn what_persists_is_learnt_from_neighbouring_days_and_believed_within_practice() {
        let usual = Usual { mean: 20.0, cosine: 0.0, sine: 0.0 };
        // Departures that shrink to 0.7 each day and start anew: the regression gives 0.7 exactly.
        let shrinking = |day: i64| (day * 2, 20.0 + 8.0);
        let pairs: Vec<_> = (0..100).flat_map(|at| [shrinking(at * 2), (at * 4 + 1, 25.6)]).collect();
        let own = OwnEstimate::new(usual, &pairs);
        assert!((own.phi() - 0.7).abs() < 1e-9, "{}", own.phi());
        // Alternating weather would give a negative share, weather that stays a share of one: both are cut.
        let alternating: Vec<_> = (0..200).map(|day| (day, if day % 2 == 0 { 25.0 } else { 15.0 })).collect();
        assert_eq!(OwnEstimate::new(usual, &alternating).phi(), PHI.0);
        let staying: Vec<_> = (0..200).map(|day| (day, 25.0)).collect();
        assert_eq!(OwnEstimate::new(usual, &staying).phi(), PHI.1);
        assert_eq!(OwnEstimate::new(usual, &staying[..20]).phi(), 0.675);
    }
}
