//! Numbers that know their unit and cannot be impossible.
//!
//! Each type holds one finite number inside the range written beside it; `try_new` is the only way in from
//! outside, and it refuses NaN. So an equation that takes these types has no bad input left to refuse.
//! Inside a formula the numbers are bare (`get`), named as the source names them.

use std::fmt;

/// A number that the named quantity cannot have.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error("{what} {value} {unit} is not within {low} to {high} {unit}")]
pub struct OutOfRange {
    /// What was to be made, in words.
    pub what: &'static str,
    /// The number given; it may be NaN.
    pub value: f64,
    /// The unit of `value`, `low` and `high`.
    pub unit: &'static str,
    /// The least that is accepted.
    pub low: f64,
    /// The most that is accepted.
    pub high: f64,
}

macro_rules! units {
    ($($(#[$doc:meta])* $name:ident $what:literal [$unit:literal] $low:literal ..= $high:literal;)*) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
        pub struct $name(f64);

        impl $name {
            /// The least value of this type.
            pub const MIN: Self = Self($low);
            /// The greatest value of this type.
            pub const MAX: Self = Self($high);
            /// The unit, as it is shown.
            pub const UNIT: &'static str = $unit;

            /// Takes a number in this type's unit.
            ///
            /// # Errors
            ///
            /// [`OutOfRange`] when it is NaN or outside `MIN` to `MAX`.
            pub const fn try_new(value: f64) -> Result<Self, OutOfRange> {
                if value >= $low && value <= $high {
                    Ok(Self(value))
                } else {
                    Err(OutOfRange { what: $what, value, unit: $unit, low: $low, high: $high })
                }
            }

            /// The number in this type's unit.
            pub const fn get(self) -> f64 {
                self.0
            }

            /// Wraps what an equation gave from values in range, held to the range against rounding at its edge.
            #[allow(dead_code, reason = "not every unit is the result of an equation")]
            pub(crate) const fn reckoned(value: f64) -> Self {
                Self(value.clamp($low, $high))
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
                fmt::Display::fmt(&self.0, out)?;
                out.write_str(concat!(" ", $unit))
            }
        }

        impl TryFrom<f64> for $name {
            type Error = OutOfRange;

            fn try_from(value: f64) -> Result<Self, OutOfRange> {
                Self::try_new(value)
            }
        }
    )*};
}

units! {
    /// Temperature of air, leaf, soil or water. The range is that of weather on earth and of a compost heap.
    Celsius "temperature" ["°C"] -90.0 ..= 100.0;
    /// Relative humidity of air, over water at every temperature, as humidity probes report it (WMO-No. 8).
    RelativeHumidity "relative humidity" ["%"] 0.0 ..= 100.0;
    /// A share of a whole.
    Percent "share" ["%"] 0.0 ..= 100.0;
    /// A vapour pressure or a difference of two; negative where a leaf is below the dew point.
    Kilopascal "vapour pressure" ["kPa"] -120.0 ..= 120.0;
    /// Pressure of the air at the place, not reduced to sea level.
    AirPressure "air pressure" ["kPa"] 30.0 ..= 110.0;
    /// Height above the sea.
    Metres "altitude" ["m"] -500.0 ..= 9000.0;
    /// Warmth gathered over days: one degree above the base for one day.
    DegreeDays "degree days" ["°C d"] 0.0 ..= 20000.0;
    /// Degrees north of the equator; south is negative.
    Latitude "latitude" ["°"] -90.0 ..= 90.0;
    /// Degrees east of Greenwich; west is negative.
    Longitude "longitude" ["°"] -180.0 ..= 180.0;
    /// Hours of one day, in a row or not: of wet leaf, of sunshine, of daylight.
    HoursOfDay "hours of a day" ["h"] 0.0 ..= 24.0;
    /// Heat (or cold) gathered beyond a line: one degree past it for one hour.
    DegreeHours "degree hours" ["°C h"] 0.0 ..= 10_000_000.0;
    /// Power of sunlight on a surface.
    Irradiance "irradiance" ["W/m²"] 0.0 ..= 2000.0;
    /// Photosynthetic photons, 400 to 700 nm, that meet a surface (PPFD).
    PhotonFlux "photon flux" ["µmol/m²/s"] 0.0 ..= 20000.0;
    /// Light as the eye weighs it.
    Illuminance "illuminance" ["lx"] 0.0 ..= 500000.0;
    /// Photosynthetic photons of a day on a surface (DLI).
    DailyLight "light of a day" ["mol/m²"] 0.0 ..= 500.0;
    /// How much haze dims the straight beam at 700 nm: aerosol optical depth, a bare number.
    HazeDepth "optical depth of haze" ["(no unit)"] 0.0 ..= 0.45;
    /// Water vapour over the place, as the depth of water it would make.
    VapourColumn "precipitable water" ["cm"] 0.2 ..= 10.0;
    /// Linke turbidity for two air masses: how many clean, dry atmospheres dim as much; a bare number.
    Turbidity "turbidity" ["(no unit)"] 1.0 ..= 10.0;
    /// Heat that a person's body makes, at rest and at the hardest work.
    MetabolicRate "metabolic rate" ["W"] 50.0 ..= 2000.0;
}

// What water needs: radiation, wind, depths of water and soil.
units! {
    /// Radiation, or heat, that a square metre gains in a day; negative where it loses.
    DailyRadiation "radiation of a day" ["MJ/m² d"] -100.0 ..= 100.0;
    /// Radiation, or heat, that a square metre gains in an hour; negative where it loses.
    HourlyRadiation "radiation of an hour" ["MJ/m² h"] -10.0 ..= 10.0;
    /// Radiation, or heat carried off by vapour, at one moment.
    WattsPerSquareMetre "heat flow" ["W/m²"] -2000.0 ..= 10000.0;
    /// An angle.
    Radians "angle" ["rad"] -7.0 ..= 7.0;
    /// Hours by the mean sun of the place, 12 where it stands highest on average.
    SolarTime "solar time" ["h"] 0.0 ..= 24.0;
    /// Hours since midnight UTC.
    UtcHour "hour of the day in UTC" ["h"] 0.0 ..= 24.0;
    /// Days since a sowing or planting.
    Days "time" ["d"] 0.0 ..= 20000.0;
    /// Minutes a tap stands open.
    Minutes "time" ["min"] 0.0 ..= 1000000.0;
    /// Rise of saturation vapour pressure with warmth, and the psychrometric constant.
    KilopascalPerCelsius "slope of vapour pressure" ["kPa/°C"] 0.0 ..= 10.0;
    /// Speed of the wind.
    MetresPerSecond "wind speed" ["m/s"] 0.0 ..= 100.0;
    /// Height of a wind gauge above the ground.
    GaugeHeight "height of the wind gauge" ["m"] 0.5 ..= 200.0;
    /// Height of a crop.
    PlantHeight "height of the crop" ["m"] 0.0 ..= 20.0;
    /// Depth of a layer of soil from the surface.
    SoilDepth "depth of soil" ["m"] 0.0 ..= 5.0;
    /// Water as the depth it has when spread over the ground: 1 mm is 1 L on a square metre.
    Millimetres "depth of water" ["mm"] 0.0 ..= 100000.0;
    /// Water that goes into the air in a day; negative where dew falls.
    MillimetresPerDay "evapotranspiration" ["mm/d"] -100.0 ..= 1000.0;
    /// Water that goes into the air in an hour; negative where dew falls.
    MillimetresPerHour "evapotranspiration" ["mm/h"] -10.0 ..= 100.0;
    /// A volume of water or of soil.
    Litres "volume" ["L"] 0.0 ..= 1000000000.0;
    /// What an emitter gives.
    LitresPerHour "flow" ["L/h"] 0.0 ..= 100000.0;
    /// An area of ground.
    SquareMetres "area" ["m²"] 0.0 ..= 1000000.0;
    /// A share as a number from 0 to 1, as the equations of soil water take it.
    Fraction "share" ["of the whole"] 0.0 ..= 1.0;
    /// Leaf above each square metre of ground, one side counted.
    LeafArea "leaf area" ["m²/m²"] 0.0 ..= 15.0;
    /// What a crop uses against what short grass uses in the same weather.
    CropCoefficient "crop coefficient" ["× ET0"] 0.0 ..= 3.0;
    /// Heat that each unit of leaf area turns to vapour for each kPa of deficit.
    DrynessPull "pull of dry air" ["W/m² kPa"] 0.0 ..= 200.0;
    /// How fast light is lost on its way down through leaves, for each unit of leaf area.
    Extinction "extinction of light" ["per leaf area"] 0.0 ..= 5.0;
    /// How readily air or leaf lets vapour through: seconds for each metre.
    SecondsPerMetre "resistance" ["s/m"] 1.0 ..= 100000.0;
}

impl Fraction {
    /// Nothing of it.
    pub const NONE: Self = Self(0.0);
    /// All of it.
    pub const WHOLE: Self = Self(1.0);
}

impl RelativeHumidity {
    /// Takes what a humidity probe says: 100 to 105 % is a wet or drifting film and is read as 100 %.
    ///
    /// # Errors
    ///
    /// [`OutOfRange`] when it is NaN, below 0 or above 105.
    ///
    /// # Source
    ///
    /// Common practice with capacitive probes.
    pub fn from_probe(raw: f64) -> Result<Self, OutOfRange> {
        const WET_FILM: f64 = 105.0;
        match Self::try_new(raw) {
            Err(_) if raw > 100.0 && raw <= WET_FILM => Ok(Self::MAX),
            Err(refusal) => Err(OutOfRange { high: WET_FILM, ..refusal }),
            sound => sound,
        }
    }
}

impl AirPressure {
    /// The standard atmosphere at sea level, 101.325 kPa (ISO 2533).
    pub const SEA_LEVEL: Self = Self(101.325);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_in_range_comes_back_as_it_was() {
        assert_eq!(Celsius::try_new(-90.0).unwrap().get(), -90.0);
        assert_eq!(Celsius::try_new(100.0).unwrap().get(), 100.0);
    }

    #[test]
    fn nan_and_infinity_are_refused() {
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert!(Celsius::try_new(bad).is_err(), "{bad}");
            assert!(RelativeHumidity::from_probe(bad).is_err(), "{bad}");
            assert!(Latitude::try_new(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn a_refusal_says_what_was_given_and_what_may_be() {
        let refusal = RelativeHumidity::try_new(250.0).unwrap_err();
        assert_eq!(refusal.to_string(), "relative humidity 250 % is not within 0 to 100 %");
    }

    #[test]
    fn a_value_is_shown_with_its_unit_and_the_asked_decimals() {
        assert_eq!(format!("{:.1}", Celsius::try_new(33.44).unwrap()), "33.4 °C");
        assert_eq!(Kilopascal::try_new(1.5).unwrap().to_string(), "1.5 kPa");
    }

    #[test]
    fn a_wet_film_is_read_as_saturated_and_more_is_refused() {
        assert_eq!(RelativeHumidity::from_probe(104.9).unwrap(), RelativeHumidity::MAX);
        assert_eq!(RelativeHumidity::from_probe(55.0).unwrap().get(), 55.0);
        let refusal = RelativeHumidity::from_probe(105.1).unwrap_err();
        assert_eq!(refusal.to_string(), "relative humidity 105.1 % is not within 0 to 105 %");
        assert!(RelativeHumidity::from_probe(-0.1).is_err());
    }
}
