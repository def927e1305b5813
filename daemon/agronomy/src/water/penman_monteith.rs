//! Reference evapotranspiration by the equation of Penman and Monteith.
//!
//! The reference is a wide stand of short green grass, well watered, 0.12 m high. Two things lift its water:
//! the heat it is given (net radiation), and dry air that is blown past it. The equation weighs them by the
//! slope of the saturation curve: in warm air heat counts for more, in cool air wind and dryness. Both parts
//! are kept apart here, because a grower can do something about each: shade against one, shelter and damping
//! down against the other.
//!
//! Its weather is that outdoors, over ground like that of a weather station. A probe under glass must never
//! feed it: the house has [`greenhouse`](super::greenhouse).

use super::moisture::{day_saturation, psychrometric_constant, slope};
use super::net_radiation::{
    clearness_day, clearness_hour, longwave_day, longwave_hour, shortwave_day, shortwave_hour, soil_heat_hour,
};
use super::weather::{WeatherError, in_order, missing_vapour};
use crate::sun::DayOfYear;
use crate::sun::fao56::{
    clear_sky_day, clear_sky_hour, extraterrestrial_day, extraterrestrial_hour, sun_height,
};
use crate::units::{
    Celsius, DailyRadiation, Fraction, HourlyRadiation, Kilopascal, KilopascalPerCelsius, Latitude, Metres,
    MetresPerSecond, MillimetresPerDay, MillimetresPerHour, SolarTime,
};
use crate::vapour::{pressure_at_altitude, saturation_pressure};

/// The weather of a day, outdoors.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Day {
    /// Where.
    pub latitude: Latitude,
    /// Height above the sea.
    pub altitude: Metres,
    /// When.
    pub day: DayOfYear,
    /// Lowest temperature.
    pub lowest: Celsius,
    /// Highest temperature.
    pub highest: Celsius,
    /// Actual vapour pressure, ea; [`moisture`](super::moisture) has the ways to it.
    pub vapour: Kilopascal,
    /// Solar radiation, Rs.
    pub solar: DailyRadiation,
    /// Wind at 2 m.
    pub wind: MetresPerSecond,
    /// Heat that goes into the soil, G: nought for a single day (FAO-56, eq. 42).
    pub soil_heat: DailyRadiation,
}

/// A day's reference evapotranspiration, with what it was reckoned from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DayReference {
    /// Mean temperature, of lowest and highest.
    pub mean: Celsius,
    /// Slope of the saturation curve at the mean, Δ.
    pub slope: KilopascalPerCelsius,
    /// Psychrometric constant, γ.
    pub psychrometric: KilopascalPerCelsius,
    /// Saturation vapour pressure, es.
    pub saturation: Kilopascal,
    /// What is missing to saturation, es − ea.
    pub deficit: Kilopascal,
    /// Extraterrestrial radiation, Ra.
    pub extraterrestrial: DailyRadiation,
    /// Solar radiation of a cloudless day, Rso.
    pub clear_sky: DailyRadiation,
    /// How clear the day was, Rs/Rso.
    pub clearness: Fraction,
    /// Net shortwave radiation, Rns.
    pub shortwave: DailyRadiation,
    /// Net longwave radiation, Rnl.
    pub longwave: DailyRadiation,
    /// Net radiation, Rn.
    pub net: DailyRadiation,
    /// Weight of the radiation in the whole, Δ / (Δ + γ (1 + 0.34 u2)).
    pub radiation_weight: f64,
    /// Weight of the dry air in the whole, γ / (Δ + γ (1 + 0.34 u2)).
    pub dryness_weight: f64,
    /// What the sun lifts.
    pub radiation_part: MillimetresPerDay,
    /// What wind and dryness lift.
    pub dryness_part: MillimetresPerDay,
}

impl DayReference {
    /// Reference evapotranspiration, ET0; negative in polar night, when it is dew.
    pub fn total(&self) -> MillimetresPerDay {
        MillimetresPerDay::reckoned(self.radiation_part.get() + self.dryness_part.get())
    }
}

impl Day {
    /// Reference evapotranspiration of the day.
    ///
    /// # Equation
    ///
    /// ```text
    ///       0.408 Δ (Rn − G) + γ 900/(T + 273) u2 (es − ea)
    /// ET0 = -----------------------------------------------
    ///                  Δ + γ (1 + 0.34 u2)
    /// ```
    ///
    /// # Domain
    ///
    /// Outdoors. No floor is put under the wind.
    ///
    /// # Errors
    ///
    /// [`WeatherError`]: lowest above highest, vapour below nought or above saturation, sun below nought.
    ///
    /// # Source
    ///
    /// Allen, Pereira, Raes & Smith, FAO-56 (1998), eq. 6.
    ///
    /// # Example
    ///
    /// ```
    /// use agronomy::units::{Celsius, DailyRadiation, Kilopascal, Latitude, Metres, MetresPerSecond};
    /// use agronomy::sun::DayOfYear;
    /// use agronomy::water::Day;
    ///
    /// // FAO-56, example 18: a cool day in July at 50°48' N, 3.9 mm.
    /// let day = Day {
    ///     latitude: Latitude::try_new(50.8)?,
    ///     altitude: Metres::try_new(100.0)?,
    ///     day: DayOfYear::try_new(187)?,
    ///     lowest: Celsius::try_new(12.3)?,
    ///     highest: Celsius::try_new(21.5)?,
    ///     vapour: Kilopascal::try_new(1.409)?,
    ///     solar: DailyRadiation::try_new(22.07)?,
    ///     wind: MetresPerSecond::try_new(2.078)?,
    ///     soil_heat: DailyRadiation::try_new(0.0)?,
    /// };
    /// let reference = day.reference().expect("such weather can be");
    /// assert_eq!(format!("{:.1}", reference.total()), "3.9 mm/d");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn reference(&self) -> Result<DayReference, WeatherError> {
        in_order(self.lowest, self.highest)?;
        if self.solar.get() < 0.0 {
            return Err(WeatherError::NegativeSun(self.solar.get()));
        }
        let saturation = day_saturation(self.lowest, self.highest);
        let deficit = missing_vapour(saturation, self.vapour)?;
        let extraterrestrial = extraterrestrial_day(self.latitude, self.day);
        let clear_sky = clear_sky_day(extraterrestrial, self.altitude);
        let clearness = clearness_day(self.solar, clear_sky);
        let shortwave = shortwave_day(self.solar);
        let longwave = longwave_day(self.lowest, self.highest, self.vapour, clearness);
        let net = DailyRadiation::reckoned(shortwave.get() - longwave.get());
        let mean = Celsius::reckoned(f64::midpoint(self.lowest.get(), self.highest.get()));
        let available = DailyRadiation::reckoned(net.get() - self.soil_heat.get());
        let air = Air::of(mean, 1.0, self.altitude, self.wind, 0.34);
        Ok(DayReference {
            mean,
            slope: air.slope,
            psychrometric: air.psychrometric,
            saturation,
            deficit,
            extraterrestrial,
            clear_sky,
            clearness,
            shortwave,
            longwave,
            net,
            radiation_weight: air.radiation_weight(),
            dryness_weight: air.dryness_weight(),
            radiation_part: MillimetresPerDay::reckoned(air.radiation_part(available.evaporates().get())),
            dryness_part: MillimetresPerDay::reckoned(air.dryness_part(900.0, deficit)),
        })
    }
}

/// The weather of an hour, outdoors.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hour {
    /// Where.
    pub latitude: Latitude,
    /// Height above the sea.
    pub altitude: Metres,
    /// On which day.
    pub day: DayOfYear,
    /// The middle of the hour.
    pub middle: SolarTime,
    /// Mean temperature of the hour.
    pub air: Celsius,
    /// Actual vapour pressure, ea.
    pub vapour: Kilopascal,
    /// Solar radiation of the hour, Rs.
    pub solar: HourlyRadiation,
    /// Wind at 2 m.
    pub wind: MetresPerSecond,
}

/// Whose constants an hour is reckoned with. Sums of the two must not be compared.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Surface {
    /// FAO-56, eq. 53: the same grass by day and by night.
    #[default]
    Fao56,
    /// ASCE-EWRI 2005, short reference: the grass closes its pores by night.
    AsceShort,
}

impl Surface {
    /// The constant before the wind in the denominator.
    const fn drag(self, by_day: bool) -> f64 {
        match (self, by_day) {
            (Self::Fao56, _) => 0.34,
            (Self::AsceShort, true) => 0.24,
            (Self::AsceShort, false) => 0.96,
        }
    }

    /// The constants of the slope (2503 kPa °C for 4098 · 0.6108) and of the glow (2.042 · 10⁻¹⁰ for
    /// 2.043 · 10⁻¹⁰ MJ/K⁴ m² h), as shares of FAO-56's.
    const fn slope_and_glow(self) -> (f64, f64) {
        match self {
            Self::Fao56 => (1.0, 1.0),
            Self::AsceShort => (2503.0 / (4098.0 * 0.6108), 2.042 / 2.043),
        }
    }
}

/// An hour's reference evapotranspiration, with what it was reckoned from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HourReference {
    /// Slope of the saturation curve, Δ.
    pub slope: KilopascalPerCelsius,
    /// Psychrometric constant, γ.
    pub psychrometric: KilopascalPerCelsius,
    /// What is missing to saturation.
    pub deficit: Kilopascal,
    /// Net longwave radiation, Rnl.
    pub longwave: HourlyRadiation,
    /// Net radiation, Rn.
    pub net: HourlyRadiation,
    /// Heat that goes into the soil, G.
    pub soil_heat: HourlyRadiation,
    /// What the sun lifts.
    pub radiation_part: MillimetresPerHour,
    /// What wind and dryness lift.
    pub dryness_part: MillimetresPerHour,
}

impl HourReference {
    /// Reference evapotranspiration, ET0; slightly negative on still nights, when dew falls.
    pub fn total(&self) -> MillimetresPerHour {
        MillimetresPerHour::reckoned(self.radiation_part.get() + self.dryness_part.get())
    }
}

impl Hour {
    /// Extraterrestrial radiation of the hour, Ra.
    pub fn extraterrestrial(&self) -> HourlyRadiation {
        extraterrestrial_hour(self.latitude, self.day, self.middle)
    }

    /// Solar radiation of the hour under a cloudless sky, Rso.
    pub fn clear_sky(&self) -> HourlyRadiation {
        clear_sky_hour(self.extraterrestrial(), self.altitude)
    }

    /// How clear the hour is; `None` where the sun is too low to tell, and the last one told is kept.
    pub fn clearness(&self) -> Option<Fraction> {
        let height = sun_height(self.latitude, self.day, self.middle);
        clearness_hour(self.solar, self.clear_sky(), height)
    }

    /// Reference evapotranspiration of the hour, under a sky as clear as `clearness` says.
    ///
    /// # Equation
    ///
    /// ```text
    ///       0.408 Δ (Rn − G) + γ 37/(T + 273) u2 (e°(T) − ea)
    /// ET0 = -------------------------------------------------
    ///                   Δ + γ (1 + Cd u2)
    /// ```
    ///
    /// Cd is 0.34 after FAO-56; after ASCE 0.24 by day and 0.96 by night. Day is, for FAO-56, while the sun is
    /// up, and for ASCE, while the net radiation is not below nought.
    ///
    /// # Domain
    ///
    /// Outdoors. Down to 0.05 MJ/m² below nought the sun is read as none: a gauge that looks at the night sky
    /// says a little less than nothing (common practice).
    ///
    /// # Errors
    ///
    /// [`WeatherError`]: vapour below nought or above saturation, sun below nought.
    ///
    /// # Source
    ///
    /// FAO-56 (1998), eq. 53; ASCE-EWRI (2005), the standardized reference evapotranspiration equation.
    pub fn reference(&self, clearness: Fraction, surface: Surface) -> Result<HourReference, WeatherError> {
        const NIGHT_SKY: f64 = -0.05;
        if self.solar.get() < NIGHT_SKY {
            return Err(WeatherError::NegativeSun(self.solar.get()));
        }
        let solar = HourlyRadiation::reckoned(self.solar.get().max(0.0));
        let deficit = missing_vapour(saturation_pressure(self.air), self.vapour)?;
        let (slope_share, glow_share) = surface.slope_and_glow();
        let longwave = longwave_hour(self.air, self.vapour, clearness).get() * glow_share;
        let net = HourlyRadiation::reckoned(shortwave_hour(solar).get() - longwave);
        let by_day = match surface {
            Surface::Fao56 => self.extraterrestrial().get() > 0.0,
            Surface::AsceShort => net.get() >= 0.0,
        };
        let soil_heat = soil_heat_hour(net, by_day);
        let available = HourlyRadiation::reckoned(net.get() - soil_heat.get());
        let air = Air::of(self.air, slope_share, self.altitude, self.wind, surface.drag(by_day));
        Ok(HourReference {
            slope: air.slope,
            psychrometric: air.psychrometric,
            deficit,
            longwave: HourlyRadiation::reckoned(longwave),
            net,
            soil_heat,
            radiation_part: MillimetresPerHour::reckoned(air.radiation_part(available.evaporates().get())),
            dryness_part: MillimetresPerHour::reckoned(air.dryness_part(37.0, deficit)),
        })
    }
}

/// What both equations weigh heat and dryness with.
struct Air {
    slope: KilopascalPerCelsius,
    psychrometric: KilopascalPerCelsius,
    mean: Celsius,
    wind: MetresPerSecond,
    denominator: f64,
}

impl Air {
    fn of(mean: Celsius, slope_share: f64, altitude: Metres, wind: MetresPerSecond, drag: f64) -> Self {
        let slope = KilopascalPerCelsius::reckoned(slope(mean).get() * slope_share);
        let psychrometric = psychrometric_constant(pressure_at_altitude(altitude));
        let denominator = slope.get() + psychrometric.get() * (1.0 + drag * wind.get());
        Self { slope, psychrometric, mean, wind, denominator }
    }

    fn radiation_weight(&self) -> f64 {
        self.slope.get() / self.denominator
    }

    fn dryness_weight(&self) -> f64 {
        self.psychrometric.get() / self.denominator
    }

    fn radiation_part(&self, equivalent: f64) -> f64 {
        self.radiation_weight() * equivalent
    }

    fn dryness_part(&self, per_wind: f64, deficit: Kilopascal) -> f64 {
        self.dryness_weight() * per_wind / (self.mean.get() + 273.0) * self.wind.get() * deficit.get()
    }
}
