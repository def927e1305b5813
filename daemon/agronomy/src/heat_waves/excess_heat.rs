//! The excess heat factor: how hot three days are for a place, times how much hotter than the month before.
//!
//! People, and buildings, get used to heat in about a month. Three days at the top of what a place knows are
//! hard; the same three days after a cool month are harder. The factor was made for people's health. Its scale
//! is the place's own past, so it says nothing about a crop's limits.

use std::ops::Range;

use crate::units::{Celsius, Percent};

use super::percentile::{Definition, NoSample, Ordered};

/// Days over which heat is judged.
const SPAN: usize = 3;
/// Days to which a body has got used.
const BEFORE: usize = 30;
/// From so many years of a record on it needs no word of caution (common practice).
const LONG_ENOUGH_YEARS: usize = 5;
const DAYS_OF_YEAR: usize = 365;

/// The mean of a day by its two extremes \[°C\]: the highest temperature and the lowest that *follows* it.
///
/// # Equation
///
/// ```text
/// DMT = (Tx + Tn) / 2
/// ```
///
/// # Source
///
/// Nairn & Fawcett (2015), Int. J. Environ. Res. Public Health 12, 227-253: extremes of the 24 h to 9 o'clock.
pub fn day_mean(highest: Celsius, following_lowest: Celsius) -> Celsius {
    Celsius::reckoned(f64::midpoint(highest.get(), following_lowest.get()))
}

/// Which three days are judged at a day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Looking {
    /// That day and the two after it, as the authors do: today it needs an outlook of two days.
    Forward,
    /// That day and the two before it: known on the day itself.
    Backward,
}

impl Looking {
    /// The places of the three days; `None` where they run out of a record of `length` days.
    fn span(self, at: usize, length: usize) -> Option<Range<usize>> {
        let first = match self {
            Self::Forward => at,
            Self::Backward => at.checked_sub(SPAN - 1)?,
        };
        let end = first.checked_add(SPAN)?;
        (end <= length).then_some(first..end)
    }
}

/// Three days against the place's past and against the month before them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ExcessHeat {
    /// How far the three days lie above the hot-day line, °C: EHIsig.
    pub significance: f64,
    /// How far they lie above the 30 days before them, °C: EHIaccl.
    pub acclimatisation: f64,
    /// The factor, K²; positive in a heat wave.
    pub factor: f64,
}

/// Reckons excess heat over a record of daily means.
#[derive(Clone, Copy, Debug)]
pub struct Excess<'a> {
    /// Daily means in order, a day apart; `None` where nobody measured.
    pub days: &'a [Option<Celsius>],
    /// Which three days are judged.
    pub looking: Looking,
    /// The 95th percentile of the daily means of all seasons: T95.
    pub hot_day: Celsius,
}

impl Excess<'_> {
    /// How far three days lie above the hot-day line \[°C\]; `None` where one of them is missing.
    ///
    /// # Equation
    ///
    /// ```text
    /// EHIsig = (T_i + T_i+1 + T_i+2) / 3 − T95
    /// ```
    ///
    /// # Source
    ///
    /// Nairn & Fawcett (2015), eq. for EHIsig.
    pub fn significance(&self, at: usize) -> Option<f64> {
        let span = self.looking.span(at, self.days.len())?;
        Some(self.mean(span)? - self.hot_day.get())
    }

    /// How far three days lie above the 30 days before them \[°C\]; `None` where one of the 33 is missing.
    ///
    /// # Equation
    ///
    /// ```text
    /// EHIaccl = (T_i + T_i+1 + T_i+2) / 3 − (T_i−1 + … + T_i−30) / 30
    /// ```
    ///
    /// # Source
    ///
    /// Nairn & Fawcett (2015), eq. for EHIaccl.
    pub fn acclimatisation(&self, at: usize) -> Option<f64> {
        let span = self.looking.span(at, self.days.len())?;
        let before = span.start.checked_sub(BEFORE)?..span.start;
        Some(self.mean(span)? - self.mean(before)?)
    }

    /// The excess heat at a day; `None` where a day it needs is missing or outside the record.
    ///
    /// # Equation
    ///
    /// ```text
    /// EHF = EHIsig · max(1, EHIaccl)
    /// ```
    ///
    /// # Domain
    ///
    /// Air outdoors. With a record shorter than the authors' thirty years it is relative to that record
    /// ([`Reference::relative_to`]).
    ///
    /// # Errors
    ///
    /// None.
    ///
    /// # Source
    ///
    /// Nairn & Fawcett (2015), Int. J. Environ. Res. Public Health 12, 227-253.
    pub fn at(&self, at: usize) -> Option<ExcessHeat> {
        let (significance, acclimatisation) = (self.significance(at)?, self.acclimatisation(at)?);
        let factor = significance * acclimatisation.max(1.0);
        Some(ExcessHeat { significance, acclimatisation, factor })
    }

    fn mean(&self, range: Range<usize>) -> Option<f64> {
        let count = range.len() as f64;
        let days = self.days.get(range)?;
        let sum = days.iter().try_fold(0.0, |sum, day| Some(sum + (*day)?.get()))?;
        Some(sum / count)
    }
}

/// How grave a heat wave is by its factor over the place's own scale.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Grade {
    /// A heat wave, and no more than the usual one: below 1.
    Low,
    /// Rare here: 1 up to 3.
    Severe,
    /// Beyond what the place knows: 3 and more.
    Extreme,
}

/// What a place's own past says is hot.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reference {
    /// The 95th percentile of the daily means: T95.
    pub hot_day: Celsius,
    /// The 85th percentile of the positive factors, K²: EHF85. `None` where there was no heat wave yet.
    pub grave_factor: Option<f64>,
    /// Days that were measured.
    pub days: usize,
}

/// Why a record says nothing about what is hot.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ReferenceError {
    /// It does not hold every season once.
    #[error("{0} days measured; what is hot in a place takes a whole year at least")]
    LessThanAYear(usize),
}

impl Reference {
    /// Learns from consecutive daily means.
    ///
    /// Not for the hot path: it keeps one list of the record's length while it works.
    ///
    /// # Errors
    ///
    /// [`ReferenceError::LessThanAYear`] with fewer than 365 measured days.
    ///
    /// # Source
    ///
    /// Nairn & Fawcett (2015); severity after Nairn, Ostendorf & Bi (2018), IJERPH 15, 2494. Percentiles of type 7. The
    /// authors take 1971 to 2000, or 30 years of the place.
    pub fn learn(days: &[Option<Celsius>]) -> Result<Self, ReferenceError> {
        let mut values: Vec<f64> = days.iter().flatten().map(|day| day.get()).collect();
        let count = values.len();
        if count < DAYS_OF_YEAR {
            return Err(ReferenceError::LessThanAYear(count));
        }
        let hot_day = percentile(&mut values, 95.0);
        let hot_day = Celsius::reckoned(hot_day.map_err(|_| ReferenceError::LessThanAYear(count))?);
        let excess = Excess { days, looking: Looking::Forward, hot_day };
        values.clear();
        values.extend((0..days.len()).filter_map(|at| excess.at(at)).map(|heat| heat.factor));
        values.retain(|factor| *factor > 0.0);
        Ok(Self { hot_day, grave_factor: percentile(&mut values, 85.0).ok(), days: count })
    }

    /// How grave, as a multiple of the place's scale; 0 where there is no excess, `None` without a scale.
    ///
    /// # Equation
    ///
    /// ```text
    /// severity = max(0, EHF) / EHF85
    /// ```
    ///
    /// # Source
    ///
    /// Nairn, Ostendorf & Bi (2018), IJERPH 15, 2494.
    pub fn severity(&self, heat: &ExcessHeat) -> Option<f64> {
        self.grave_factor.map(|scale| heat.factor.max(0.0) / scale)
    }

    /// The grade of a heat wave; `None` where there is none, and without a scale.
    pub fn grade(&self, heat: &ExcessHeat) -> Option<Grade> {
        let severity = self.severity(heat)?;
        if severity >= 3.0 {
            Some(Grade::Extreme)
        } else if severity >= 1.0 {
            Some(Grade::Severe)
        } else {
            (severity > 0.0).then_some(Grade::Low)
        }
    }

    /// The words that must stand beside a figure from a short record: fewer than five years.
    pub fn relative_to(&self) -> Option<String> {
        match self.days / DAYS_OF_YEAR {
            0 | 1 => Some("relative to your own single year".to_owned()),
            years if years < LONG_ENOUGH_YEARS => Some(format!("relative to your own {years} years")),
            _ => None,
        }
    }
}

fn percentile(values: &mut [f64], share: f64) -> Result<f64, NoSample> {
    let ordered = Ordered::try_new(values)?;
    Ok(ordered.percentile(Percent::reckoned(share), Definition::Type7))
}
