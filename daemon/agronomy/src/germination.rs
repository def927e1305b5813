//! Germination and emergence by the temperature of the seedbed.
//!
//! Seed in moist soil comes up sooner the warmer it is, up to a point. The crop book has days to emergence at
//! several steady temperatures; their inverse, the share of the way gone in a day, is what may be interpolated
//! and added up over a real, changing soil ([`rate_per_day`], [`Emergence`]). Where there is no table, the sum
//! above a base serves.
//!
//! Above the crop's warmest soil **nothing** comes up, and lettuce, spinach and their like do not merely wait:
//! the seed goes dormant (thermo-inhibition). A bed that looks dead in a heat wave may be asleep. Such hours are
//! counted apart, so that advice can be to shade, to water at dusk, to sow in the evening or to pre-chill.
//!
//! How many come up is another matter than how soon: [`normal_percent`].

use crate::crop::Germination;
use crate::series::{Held, MS_PER_DAY, MS_PER_HOUR};
use crate::units::{Celsius, Percent};

/// Progress at which the first seedlings may be looked for, where half are up, and where a bed is late.
///
/// # Source
///
/// A spread of 0.8 to 1.3 around the day half are up (common practice).
const FIRST: f64 = 0.8;
const LATE: f64 = 1.3;

/// The share of the way from sowing to emergence that seed goes in a day in soil of this temperature, 1/d;
/// `None` where the book has neither table nor sum.
///
/// # Equation
///
/// ```text
/// r = r₁ + (r₂ − r₁) (T − T₁) / (T₂ − T₁),  rᵢ = 1 / daysᵢ, nought where none came up
/// r = max(0, T − Tb) / S                     where there is no table
/// ```
///
/// between the two nearest temperatures that were tried; beyond those, on a straight line to nought at the
/// crop's coldest and warmest soil. Above the warmest it is nought whatever the table says, for few of what
/// comes up there are sound.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// Tables: Harrington & Minges (1954), as the book holds them. Sums: Bierhuizen & Wagenvoort (1974), Scientia
/// Horticulturae 2, 213-219. The line to the ends: our own.
pub fn rate_per_day(seed: &Germination, soil: Celsius) -> Option<f64> {
    let t = soil.get();
    if t > seed.max.hi {
        return Some(0.0);
    }
    let tried = || {
        let rate = |days| if days > 0.0 { 1.0 / days } else { 0.0 };
        seed.table.iter().filter_map(move |row| Some((row.soil, rate(row.days?))))
    };
    if tried().next().is_none() {
        let (base, sum) = (seed.emerge_base.as_ref()?.middle(), seed.emerge_sum.as_ref()?.middle());
        return (sum > 0.0).then(|| (t - base).max(0.0) / sum);
    }
    let cold_end = tried().all(|(soil, _)| soil > seed.min.lo).then_some((seed.min.lo, 0.0));
    let warm_end = tried().all(|(soil, _)| soil < seed.max.hi).then_some((seed.max.hi, 0.0));
    Some(between(tried().chain(cold_end).chain(warm_end), t).unwrap_or(0.0))
}

/// Days from sowing to half emergence in steady soil of this temperature; `None` where [`rate_per_day`] gives
/// none, infinite where nothing comes up.
pub fn days_to_emergence(seed: &Germination, soil: Celsius) -> Option<f64> {
    rate_per_day(seed, soil).map(|rate| 1.0 / rate)
}

/// The same by the sum above a base alone, for a second opinion; `None` where the book has no sum.
///
/// # Equation
///
/// ```text
/// days = S / (T − Tb)
/// ```
///
/// # Source
///
/// Bierhuizen & Wagenvoort (1974). It agrees with the tables within 2 or 3 days between 15 and 25 °C.
pub fn days_by_sum(seed: &Germination, soil: Celsius) -> Option<f64> {
    let (base, sum) = (seed.emerge_base.as_ref()?.middle(), seed.emerge_sum.as_ref()?.middle());
    Some(sum / (soil.get() - base).max(0.0))
}

/// Share of seed that makes sound seedlings in soil of this temperature, from the mean of the first three
/// days; `None` where the book does not say.
///
/// # Equation
///
/// Linear between the two nearest temperatures that were tried.
///
/// # Source
///
/// Harrington & Minges (1954), as the book holds them.
pub fn normal_percent(seed: &Germination, soil: Celsius) -> Option<Percent> {
    let tried = seed.table.iter().filter_map(|row| Some((row.soil, row.normal_pct?)));
    between(tried, soil.get()).map(Percent::reckoned)
}

/// What can be said of a seedbed before anything is sown in it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Seedbed {
    /// Colder than the coldest soil that brings the crop up: seed lies and may rot.
    TooCold,
    /// Warmer than the warmest: seed goes dormant or dies.
    TooHot,
    /// It comes up, but with less than 60 % of the seedlings it could have.
    Poor {
        /// Sound seedlings here.
        normal: Percent,
        /// Sound seedlings at the best temperature tried.
        best: Percent,
    },
    /// It comes up as it should, or nobody tried.
    Fair,
}

/// Judges a seedbed by the mean of its soil over three days.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// Ends and shares: the crop's own in the book. The line at 60 % of the best: common practice.
pub fn seedbed(seed: &Germination, soil: Celsius) -> Seedbed {
    const POOR_SHARE: f64 = 0.6;
    let t = soil.get();
    if t > seed.max.hi {
        return Seedbed::TooHot;
    }
    if t < seed.min.lo {
        return Seedbed::TooCold;
    }
    let best = seed.table.iter().filter_map(|row| row.normal_pct).fold(0.0, f64::max);
    match normal_percent(seed, soil) {
        Some(normal) if normal.get() < POOR_SHARE * best => {
            Seedbed::Poor { normal, best: Percent::reckoned(best) }
        }
        _ => Seedbed::Fair,
    }
}

/// Interpolates between the two nearest of some points; `None` beyond them.
fn between(points: impl Iterator<Item = (f64, f64)>, t: f64) -> Option<f64> {
    let mut below: Option<(f64, f64)> = None;
    let mut above: Option<(f64, f64)> = None;
    for (at, value) in points.filter(|(_, value)| value.is_finite()) {
        if at <= t && below.is_none_or(|(nearest, _)| at > nearest) {
            below = Some((at, value));
        }
        if at >= t && above.is_none_or(|(nearest, _)| at < nearest) {
            above = Some((at, value));
        }
    }
    let ((cold, low), (warm, high)) = (below?, above?);
    Some(if warm > cold { low + (high - low) * (t - cold) / (warm - cold) } else { low })
}

/// Where a sowing is on its way.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Awaited {
    /// Nothing is to be seen yet.
    NotYet,
    /// The first seedlings may show.
    First,
    /// Half of them should be up.
    Half,
    /// It is late: look for crust, drought, slugs or dormant seed, and think of sowing again.
    Late,
}

/// Running progress of one sowing.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Emergence {
    progress: f64,
    inhibited_ms: i64,
    unknown_ms: i64,
}

impl Emergence {
    /// At sowing.
    pub fn new() -> Self {
        Self::default()
    }

    /// Counts a stretch of soil temperature, °C, at the depth of the seed. A value that cannot be, and a crop
    /// of which the book says nothing, count as time not known.
    ///
    /// # Equation
    ///
    /// ```text
    /// progress += r(T) Δt
    /// ```
    ///
    /// with r from [`rate_per_day`].
    pub fn take(&mut self, seed: &Germination, held: Held) {
        let ms = held.ms().max(0);
        let soil = Celsius::try_new(held.value).ok();
        match soil.and_then(|soil| rate_per_day(seed, soil)).filter(|rate| rate.is_finite()) {
            Some(rate) => self.progress += rate * ms as f64 / MS_PER_DAY as f64,
            None => self.unknown_ms = self.unknown_ms.saturating_add(ms),
        }
        if soil.is_some_and(|soil| soil.get() > seed.max.hi) {
            self.inhibited_ms = self.inhibited_ms.saturating_add(ms);
        }
    }

    /// The way gone: 0 at sowing, 1 where half of the seedlings are up.
    pub const fn progress(&self) -> f64 {
        self.progress
    }

    /// Hours in soil too warm to come up in.
    pub fn inhibited_h(&self) -> f64 {
        self.inhibited_ms as f64 / MS_PER_HOUR as f64
    }

    /// Hours of which nothing could be said; the progress is short by them.
    pub fn unknown_h(&self) -> f64 {
        self.unknown_ms as f64 / MS_PER_HOUR as f64
    }

    /// What is to be looked for.
    pub fn awaited(&self) -> Awaited {
        match self.progress {
            progress if progress >= LATE => Awaited::Late,
            progress if progress >= 1.0 => Awaited::Half,
            progress if progress >= FIRST => Awaited::First,
            _ => Awaited::NotYet,
        }
    }

    /// Days until half are up if the soil stays as warm as this; 0 where they should be, `None` where they never
    /// will or nobody knows.
    pub fn days_left(&self, seed: &Germination, soil: Celsius) -> Option<f64> {
        let rate = rate_per_day(seed, soil).filter(|rate| *rate > 0.0)?;
        Some((1.0 - self.progress).max(0.0) / rate)
    }
}
