//! Crop coefficients: how much more, or less, than short grass a crop uses.
//!
//! A seedling's row is mostly bare soil; a closed canopy catches all the light and more of the wind; a ripening
//! crop closes its pores. So the coefficient starts low, climbs while the ground closes, stays, and falls. FAO-56
//! draws that as four straight lines. How far along a crop is should be told in degree days or by its cover: in a
//! hot year the calendar is late, and days and degree days are different types here so that they are not mixed.
//! Tall crops feel wind and dry air more than grass does; the coefficient is adjusted for that.

use crate::crop;
use crate::units::{
    CropCoefficient, Days, DegreeDays, Fraction, MetresPerSecond, OutOfRange, PlantHeight, RelativeHumidity,
};

/// What the stages of a crop are counted in.
pub trait Progress: Copy {
    /// How far, in the unit of the type.
    fn far(self) -> f64;
}

impl Progress for Days {
    fn far(self) -> f64 {
        self.get()
    }
}

impl Progress for DegreeDays {
    fn far(self) -> f64 {
        self.get()
    }
}

/// How long the four stages of a crop last, all in [`Days`] or all in [`DegreeDays`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StageLengths<U> {
    /// From sowing or planting to a tenth of the ground covered.
    pub initial: U,
    /// From there to full cover.
    pub development: U,
    /// To the first yellowing or ripening.
    pub middle: U,
    /// To the end.
    pub late: U,
}

/// The three figures of a crop coefficient curve; single (Kc) or basal (Kcb) alike.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Coefficients {
    /// Initial stage.
    pub initial: CropCoefficient,
    /// Middle of the season.
    pub middle: CropCoefficient,
    /// At the end.
    pub end: CropCoefficient,
}

impl Coefficients {
    /// The single coefficients of a crop of the book, the middle where the book has a range.
    ///
    /// # Errors
    ///
    /// [`OutOfRange`] where the book's figure is no coefficient.
    pub fn single(water: &crop::Water) -> Result<Self, OutOfRange> {
        Self::of([&water.kc_ini, &water.kc_mid, &water.kc_end])
    }

    /// The basal coefficients of a crop of the book, for use with [`evaporation`](super::evaporation).
    ///
    /// # Errors
    ///
    /// As [`single`](Self::single).
    pub fn basal(water: &crop::Water) -> Result<Self, OutOfRange> {
        Self::of([&water.kcb_ini, &water.kcb_mid, &water.kcb_end])
    }

    fn of(figures: [&crop::Figure; 3]) -> Result<Self, OutOfRange> {
        let [initial, middle, end] = figures.map(|figure| CropCoefficient::try_new(figure.middle()));
        Ok(Self { initial: initial?, middle: middle?, end: end? })
    }

    /// The coefficient so far into the season; after its end, that of the end.
    ///
    /// # Source
    ///
    /// FAO-56 (1998), eq. 66 and figure 34.
    ///
    /// # Example
    ///
    /// Stages in degree days want the season in degree days; days do not compile:
    ///
    /// ```compile_fail,E0308
    /// use agronomy::units::{CropCoefficient, Days, DegreeDays};
    /// use agronomy::water::{Coefficients, StageLengths};
    ///
    /// fn coefficient(curve: &Coefficients, stages: &StageLengths<DegreeDays>, since: Days) -> CropCoefficient {
    ///     curve.at(stages, since)
    /// }
    /// ```
    pub fn at<U: Progress>(&self, lengths: &StageLengths<U>, since_start: U) -> CropCoefficient {
        let (initial, middle, end) = (self.initial.get(), self.middle.get(), self.end.get());
        let closing = lengths.initial.far();
        let closed = closing + lengths.development.far();
        let ripening = closed + lengths.middle.far();
        let now = since_start.far();
        CropCoefficient::reckoned(if now <= closing {
            initial
        } else if now <= ripening {
            between(initial, middle, (now - closing) / lengths.development.far())
        } else {
            between(middle, end, (now - ripening) / lengths.late.far())
        })
    }

    /// The curve for the site's wind, dryness and the crop's height: middle and end by [`climate_adjusted`], the
    /// end only where the table has 0.45 or more, since a dry standing crop has nothing to give.
    ///
    /// # Source
    ///
    /// FAO-56 (1998), eq. 62 and 65 (single), 70 (basal).
    #[must_use]
    pub fn adjusted(
        &self,
        wind: MetresPerSecond,
        lowest_humidity: RelativeHumidity,
        height: PlantHeight,
    ) -> Self {
        const STILL_GREEN: f64 = 0.45;
        let adjusted = |coefficient| climate_adjusted(coefficient, wind, lowest_humidity, height);
        let end = if self.end.get() >= STILL_GREEN { adjusted(self.end) } else { self.end };
        Self { initial: self.initial, middle: adjusted(self.middle), end }
    }
}

/// From one value to another; a stage without length is over at once.
fn between(from: f64, to: f64, share: f64) -> f64 {
    if share < 1.0 { from + share * (to - from) } else { to }
}

/// A coefficient of the tables, which stand for wind of 2 m/s and a lowest humidity of 45 %, for other air.
///
/// # Equation
///
/// ```text
/// Kc = Kc(table) + (0.04 (u2 − 2) − 0.004 (RHmin − 45)) (h / 3)^0.3
/// ```
///
/// # Domain
///
/// The source's: wind of 1 to 6 m/s at 2 m, lowest humidity of 20 to 80 %, height of 0.1 to 10 m, each the mean
/// over the stage; what lies outside counts as the nearest of these. For the middle of the season and its end.
///
/// # Source
///
/// FAO-56 (1998), eq. 62, 65 and 70.
pub fn climate_adjusted(
    table: CropCoefficient,
    wind: MetresPerSecond,
    lowest_humidity: RelativeHumidity,
    height: PlantHeight,
) -> CropCoefficient {
    CropCoefficient::reckoned(table.get() + climate_term(wind, lowest_humidity, height))
}

pub(super) fn climate_term(
    wind: MetresPerSecond,
    lowest_humidity: RelativeHumidity,
    height: PlantHeight,
) -> f64 {
    let (u2, rh) = (wind.get().clamp(1.0, 6.0), lowest_humidity.get().clamp(20.0, 80.0));
    let tallness = libm::pow(height.get().clamp(0.1, 10.0) / 3.0, 0.3);
    (0.04 * (u2 - 2.0) - 0.004 * (rh - 45.0)) * tallness
}

/// Basal coefficient of plants that stand apart, from that of a closed stand and the ground they cover.
///
/// # Equation
///
/// ```text
/// Kcb = 0.15 + (Kcb full − 0.15) · min(1, 2 fc, fc^(1/(1+h)))
/// ```
///
/// # Domain
///
/// The ground covered is taken as seen from above, where the source wants it as the sun sees it near noon.
///
/// # Source
///
/// FAO-56 (1998), eq. 97 and 98 (from memory).
pub fn sparse(closed: CropCoefficient, covered: Fraction, height: PlantHeight) -> CropCoefficient {
    const BARE: f64 = 0.15;
    let cover = covered.get();
    let density = (2.0 * cover).min(libm::pow(cover, 1.0 / (1.0 + height.get()))).min(1.0);
    CropCoefficient::reckoned(BARE + (closed.get() - BARE).max(0.0) * density)
}
