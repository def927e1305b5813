//! A day's readings added up as they come: extremes, degree days, hours beyond a line, the mean deficit.
//!
//! Ten years of minutes are five million readings, and nobody wants to wait or to hold them all in memory. Here a
//! day is a handful of sums; readings go in by columns, as many at a time as there are, and are forgotten.
//!
//! The readings come at a steady step, and each stands for one step. What was not measured adds nothing: a day with
//! half of its readings has gathered half of its degree days, and [`DayFigures::readings`] says so. (The sum that
//! takes the missing hours to be like the others is [`by_readings`](crate::degree_days::by_readings).) The mean
//! deficit is the mean of the deficits of single readings, never the deficit of mean air.
//!
//! Every sum is kept in four parts, by the reading's place in the day, so that a processor can add several
//! at once. The parts do not depend on how the readings are cut into columns: the same day has the same bits.

use crate::degree_days::RuleError;
use crate::units::{Celsius, HoursOfDay, Kilopascal, Minutes};
use crate::vapour::polynomial;

/// Parts of a sum that are added side by side.
const LANES: usize = 4;
/// Readings that are worked on at once; a multiple of `LANES`.
const BLOCK: usize = 256;
const MINUTES_A_DAY: f64 = 1440.0;
/// Up to here a probe's humidity is a wet film, and is read as 100 % (common practice;
/// [`RelativeHumidity::from_probe`](crate::units::RelativeHumidity::from_probe)).
const WET_FILM: f64 = 105.0;

/// The lines that a day is measured against.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lines {
    base: f64,
    upper: f64,
    hot: f64,
    dry: f64,
}

impl Lines {
    /// `base` and `upper` are the degree days' thresholds (`integral`, horizontal cutoff); hours are counted above
    /// `hot`, and hours of deficit above `dry`.
    ///
    /// # Errors
    ///
    /// [`RuleError::UpperNotAboveBase`].
    pub fn try_new(base: Celsius, upper: Celsius, hot: Celsius, dry: Kilopascal) -> Result<Self, RuleError> {
        let (base, upper) = (base.get(), upper.get());
        if upper <= base {
            return Err(RuleError::UpperNotAboveBase { base, upper });
        }
        Ok(Self { base, upper, hot: hot.get(), dry: dry.get() })
    }
}

/// Columns that do not belong together.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{air} temperatures and {humidity} humidities are no readings of the same moments")]
pub struct Uneven {
    /// Temperatures given.
    pub air: usize,
    /// Humidities given.
    pub humidity: usize,
}

/// More readings than a day has room for at their step.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error("{readings} readings of {step_min} min each are more than a day")]
pub struct Overfull {
    /// Readings taken.
    pub readings: u64,
    /// What each stands for, minutes.
    pub step_min: f64,
}

/// The sums of one day.
#[derive(Clone, Debug, PartialEq)]
pub struct DaySums {
    lines: Lines,
    /// Moments taken, measured or not.
    moments: u64,
    readings: u64,
    pairs: u64,
    low: f64,
    high: f64,
    hot: u64,
    dry: u64,
    degrees: [f64; LANES],
    deficits: [f64; LANES],
}

/// What a day came to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DayFigures {
    /// Moments with a temperature that air can have.
    pub readings: u64,
    /// Those of them with a humidity that air can have.
    pub pairs: u64,
    /// The lowest temperature; `None` of a day without readings.
    pub low: Option<Celsius>,
    /// The highest temperature; `None` of a day without readings.
    pub high: Option<Celsius>,
    /// Degree days gathered while it was measured, °C d.
    pub degree_days: f64,
    /// Time above the temperature line.
    pub hours_above: HoursOfDay,
    /// Time with a deficit above its line.
    pub deficit_hours: HoursOfDay,
    /// Mean of the deficits; `None` of a day without pairs.
    pub mean_deficit: Option<Kilopascal>,
}

impl DaySums {
    /// A day of which nothing is known yet.
    pub fn new(lines: Lines) -> Self {
        Self {
            lines,
            moments: 0,
            readings: 0,
            pairs: 0,
            low: f64::INFINITY,
            high: f64::NEG_INFINITY,
            hot: 0,
            dry: 0,
            degrees: [0.0; LANES],
            deficits: [0.0; LANES],
        }
    }

    /// Takes the next moments of the day: temperatures \[°C\] and relative humidities \[%\], side by side.
    ///
    /// NaN is what was not measured. What lies outside [`Celsius`], or outside 0 to 105 % (a wet film, read as
    /// 100 %), counts as not measured either. A temperature without humidity counts for all but the deficit.
    ///
    /// # Errors
    ///
    /// [`Uneven`]: one column is longer; nothing was taken.
    pub fn take<N: Copy + Into<f64>>(&mut self, air: &[N], humidity: &[N]) -> Result<(), Uneven> {
        if air.len() != humidity.len() {
            return Err(Uneven { air: air.len(), humidity: humidity.len() });
        }
        let (mut air, mut humidity) = (air, humidity);
        while !air.is_empty() {
            // Places before the first new moment hold NaN, which adds nothing: so every moment finds its own lane.
            let lead = (self.moments % LANES as u64) as usize;
            let count = air.len().min(BLOCK - lead);
            let (now, later) = air.split_at(count);
            let (now_humidity, later_humidity) = humidity.split_at(count);
            self.take_block(lead, now, now_humidity);
            self.moments += count as u64;
            (air, humidity) = (later, later_humidity);
        }
        Ok(())
    }

    fn take_block<N: Copy + Into<f64>>(&mut self, lead: usize, air: &[N], humidity: &[N]) {
        let mut temperatures = [f64::NAN; BLOCK];
        let mut deficits = [f64::NAN; BLOCK];
        let places = temperatures[lead..].iter_mut().zip(&mut deficits[lead..]);
        for ((temperature, deficit), (t, rh)) in places.zip(air.iter().zip(humidity)) {
            (*temperature, *deficit) = sound((*t).into(), (*rh).into());
        }
        let used = (lead + air.len()).next_multiple_of(LANES);
        self.add_temperatures(&temperatures[..used]);
        self.add_deficits(&deficits[..used]);
    }

    // Each comparison below is written so that NaN is on the side that changes nothing.

    fn add_temperatures(&mut self, temperatures: &[f64]) {
        let Lines { base, upper, hot: hot_line, .. } = self.lines;
        let (mut low, mut high) = ([self.low; LANES], [self.high; LANES]);
        let (mut readings, mut hot) = ([0.0; LANES], [0.0; LANES]);
        let mut degrees = self.degrees;
        let (four, _) = temperatures.as_chunks::<LANES>();
        for chunk in four {
            for (lane, &t) in chunk.iter().enumerate() {
                low[lane] = if t < low[lane] { t } else { low[lane] };
                high[lane] = if t > high[lane] { t } else { high[lane] };
                let from_base = if t > base { t } else { base };
                let held = if from_base < upper { from_base } else { upper };
                degrees[lane] += held - base;
                readings[lane] += if t.is_nan() { 0.0 } else { 1.0 };
                hot[lane] += if t > hot_line { 1.0 } else { 0.0 };
            }
        }
        self.low = low.into_iter().fold(self.low, f64::min);
        self.high = high.into_iter().fold(self.high, f64::max);
        self.degrees = degrees;
        self.readings += counted(readings);
        self.hot += counted(hot);
    }

    fn add_deficits(&mut self, deficits: &[f64]) {
        let dry_line = self.lines.dry;
        let (mut pairs, mut dry) = ([0.0; LANES], [0.0; LANES]);
        let mut sums = self.deficits;
        let (four, _) = deficits.as_chunks::<LANES>();
        for chunk in four {
            for (lane, &deficit) in chunk.iter().enumerate() {
                // No deficit is below nought.
                sums[lane] += if deficit > 0.0 { deficit } else { 0.0 };
                pairs[lane] += if deficit.is_nan() { 0.0 } else { 1.0 };
                dry[lane] += if deficit > dry_line { 1.0 } else { 0.0 };
            }
        }
        self.deficits = sums;
        self.pairs += counted(pairs);
        self.dry += counted(dry);
    }

    /// What the day has come to, each reading standing for `step`.
    ///
    /// # Errors
    ///
    /// [`Overfull`]: at that step the readings are more than a day.
    ///
    /// # Source
    ///
    /// Degree days: the area between the temperature curve and the thresholds, Zalom et al. (1983), UC Leaflet
    /// 21373. Deficit: FAO-56 (1998), eq. 10 and 11, by [`polynomial`]; that deficits are averaged last, ch. 3.
    pub fn figures(&self, step: Minutes) -> Result<DayFigures, Overfull> {
        let &Self { readings, pairs, .. } = self;
        let step_min = step.get();
        // A step of a third of a minute has no exact binary fraction.
        if readings as f64 * step_min > MINUTES_A_DAY + 1e-6 {
            return Err(Overfull { readings, step_min });
        }
        let hours = |count: u64| HoursOfDay::reckoned(count as f64 * step_min / 60.0);
        let mean = || Kilopascal::reckoned(total(self.deficits) / pairs as f64);
        Ok(DayFigures {
            readings,
            pairs,
            low: (readings > 0).then(|| Celsius::reckoned(self.low)),
            high: (readings > 0).then(|| Celsius::reckoned(self.high)),
            degree_days: total(self.degrees) * step_min / MINUTES_A_DAY,
            hours_above: hours(self.hot),
            deficit_hours: hours(self.dry),
            mean_deficit: (pairs > 0).then(mean),
        })
    }
}

/// Temperature and deficit, each NaN where air cannot have it.
#[inline]
fn sound(t: f64, rh: f64) -> (f64, f64) {
    // Adding nought makes of a negative nought a plain one.
    let t = if (Celsius::MIN.get()..=Celsius::MAX.get()).contains(&t) { t + 0.0 } else { f64::NAN };
    let short_of_full = if rh < 100.0 { 100.0 - rh } else { 0.0 };
    let missing = if (0.0..=WET_FILM).contains(&rh) { short_of_full * 0.01 } else { f64::NAN };
    (t, polynomial::saturation(t) * missing)
}

/// The parts of a sum, in an order that is always the same.
fn total(parts: [f64; LANES]) -> f64 {
    let [first, second, third, fourth] = parts;
    (first + second) + (third + fourth)
}

/// Whole numbers, counted as floats because a processor adds those side by side with the others.
fn counted(parts: [f64; LANES]) -> u64 {
    total(parts) as u64
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines() -> Lines {
        let celsius = |t| Celsius::try_new(t).unwrap();
        Lines::try_new(celsius(10.0), celsius(30.0), celsius(32.0), Kilopascal::try_new(2.5).unwrap())
            .unwrap()
    }

    fn minutes(step: f64) -> Minutes {
        Minutes::try_new(step).unwrap()
    }

    #[test]
    fn a_day_of_four_readings_is_the_one_worked_by_hand() {
        let mut day = DaySums::new(lines());
        // Degrees above 10, held at 20: 0, 10, 20, 10. FAO-56 Table 2.3: 5.941 kPa at 36 °C, half of it missing at 50 %;
        // 2.338 kPa at 20 °C.
        day.take(&[5.0, 20.0, 36.0, 20.0], &[100.0, 100.0, 50.0, 0.0]).unwrap();
        let figures = day.figures(minutes(360.0)).unwrap();
        assert_eq!((figures.readings, figures.pairs), (4, 4));
        assert_eq!((figures.low.unwrap().get(), figures.high.unwrap().get()), (5.0, 36.0));
        assert!((figures.degree_days - 10.0).abs() < 1e-12, "{figures:?}");
        assert_eq!((figures.hours_above.get(), figures.deficit_hours.get()), (6.0, 6.0));
        let mean = figures.mean_deficit.unwrap().get();
        assert!((mean - (5.941 / 2.0 + 2.338) / 4.0).abs() < 0.0005, "{mean}");
    }

    #[test]
    fn what_is_missing_or_cannot_be_adds_nothing_and_a_wet_film_is_saturation() {
        let (nan, infinite) = (f64::NAN, f64::INFINITY);
        let mut day = DaySums::new(lines());
        day.take(&[nan, 400.0, infinite, -infinite, -90.1], &[50.0; 5]).unwrap();
        let nothing = day.figures(minutes(1.0)).unwrap();
        assert_eq!((nothing.readings, nothing.pairs, nothing.degree_days), (0, 0, 0.0));
        assert_eq!((nothing.low, nothing.high, nothing.mean_deficit), (None, None, None));
        day.take(&[34.0; 6], &[nan, -0.1, 105.1, infinite, -infinite, 104.0]).unwrap();
        let figures = day.figures(minutes(60.0)).unwrap();
        assert_eq!((figures.readings, figures.pairs), (6, 1));
        assert_eq!((figures.hours_above.get(), figures.mean_deficit.unwrap().get()), (6.0, 0.0));
        assert!((figures.degree_days - 6.0 / 24.0 * 20.0).abs() < 1e-12);
    }

    #[test]
    fn a_line_itself_is_not_above_it() {
        let mut day = DaySums::new(lines());
        day.take(&[32.0, 32.01], &[f64::NAN; 2]).unwrap();
        assert_eq!(day.figures(minutes(60.0)).unwrap().hours_above.get(), 1.0);
    }

    #[test]
    fn what_does_not_fit_together_is_refused() {
        let mut day = DaySums::new(lines());
        assert_eq!(day.take(&[1.0, 2.0], &[3.0]), Err(Uneven { air: 2, humidity: 1 }));
        assert_eq!(day, DaySums::new(lines()));
        day.take(&[20.0; 25], &[50.0; 25]).unwrap();
        assert_eq!(day.figures(minutes(60.0)), Err(Overfull { readings: 25, step_min: 60.0 }));
        let ten = Celsius::try_new(10.0).unwrap();
        let refused = Lines::try_new(ten, ten, ten, Kilopascal::try_new(1.0).unwrap()).unwrap_err();
        assert_eq!(refused.to_string(), "the upper threshold 10 °C must lie above the base 10 °C");
    }

    #[test]
    fn a_day_of_steps_without_exact_binary_fraction_is_not_overfull() {
        let mut day = DaySums::new(lines());
        day.take(&vec![40.0_f32; 4320], &vec![0.0; 4320]).unwrap();
        assert!((day.figures(minutes(1.0 / 3.0)).unwrap().hours_above.get() - 24.0).abs() < 1e-9);
    }
}
