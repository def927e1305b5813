//! What a cloudless sky lets through.

use std::fmt;
use std::str::FromStr;

use super::fao56::clear_share;
use super::position::{Position, apparent_altitude_deg};
use crate::units::{AirPressure, HazeDepth, Irradiance, Metres, Turbidity, VapourColumn};
use crate::vapour::pressure_at_altitude;

/// The sun's power above the air at its mean distance, W/m², as tables of cloudless skies have it (pvlib 0.16.1).
/// The orbit moves it by 3 % to either side ([`beam`](super::beam())), the choice of model by 5 to 15 %.
pub const MEAN_BEAM: Irradiance = Irradiance::reckoned(1364.0);

/// A model of the radiation under a cloudless sky, with the sky it is for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ClearSky {
    /// Haze and water vapour, from a fit to a radiative-transfer code.
    Solis {
        /// Haze.
        haze: HazeDepth,
        /// Water vapour.
        vapour: VapourColumn,
    },
    /// One figure for haze and vapour together.
    Ineichen {
        /// Haze and vapour.
        turbidity: Turbidity,
    },
    /// An average sky at low altitude, from a fit to measurements; nothing to set.
    Haurwitz,
    /// The fixed share of FAO-56, eq. 37, of what comes in above the air.
    Fao56,
}

impl ClearSky {
    /// The names used everywhere, with a moderate sky: haze 0.1 and 1.4 cm of vapour; turbidity 3.
    pub const MODERATE: [(&'static str, Self); 4] = [
        ("solis", Self::Solis { haze: HazeDepth::reckoned(0.1), vapour: VapourColumn::reckoned(1.4) }),
        ("ineichen", Self::Ineichen { turbidity: Turbidity::reckoned(3.0) }),
        ("haurwitz", Self::Haurwitz),
        ("fao56", Self::Fao56),
    ];

    /// The name used everywhere: commands, files, pages.
    pub const fn as_str(&self) -> &'static str {
        match self {
            Self::Solis { .. } => "solis",
            Self::Ineichen { .. } => "ineichen",
            Self::Haurwitz => "haurwitz",
            Self::Fao56 => "fao56",
        }
    }

    /// Radiation on level ground, W/m²: the sun's beam and the sky's light together.
    ///
    /// # Equation
    ///
    /// With h the apparent altitude ([`apparent_altitude_deg`]), z the place's altitude, m, and P its pressure:
    ///
    /// | model      | radiation                                                                         |
    /// |------------|-----------------------------------------------------------------------------------|
    /// | `solis`    | c E exp(−τ / sinᵍ h) sin h; c, τ and g from haze, vapour and P                    |
    /// | `ineichen` | a E sin h exp(−b m (f₁ + f₂ (T − 1))); a, b, f₁, f₂ from z, air mass m from h and P |
    /// | `haurwitz` | 1098 sin h exp(−0.059 / sin h)                                                    |
    /// | `fao56`    | (0.75 + 0.00002 z) E sin h, h without refraction                                  |
    ///
    /// E is the beam above the air; that of Haurwitz is in its 1098.
    ///
    /// # Domain
    ///
    /// Altitudes to 3000 m; beyond, `ineichen` overshoots, so that each is held at what comes in above the air.
    /// Below 10° of sun the models drift apart; with the sun down it is nought.
    ///
    /// # Errors
    ///
    /// None.
    ///
    /// # Source
    ///
    /// `solis`: Ineichen (2008), Solar Energy 82, 758-762. `ineichen`: Ineichen & Perez (2002), Solar Energy 73,
    /// 151-157, air mass of Kasten & Young (1989), Applied Optics 28, 4735-4738. `haurwitz`: Haurwitz (1945),
    /// Journal of Meteorology 2, 154-166. `fao56`: FAO Irrigation and Drainage Paper 56, eq. 37. Coefficients
    /// from memory, results checked against pvlib 0.16.1 in `tests/sun_radiation.rs`.
    pub fn global(self, sun: Position, beam: Irradiance, altitude: Metres) -> Irradiance {
        let pressure = pressure_at_altitude(altitude);
        let seen_deg = apparent_altitude_deg(sun.altitude_deg, pressure);
        let height = libm::sin(seen_deg.to_radians());
        if height.is_nan() || height <= 0.0 {
            return Irradiance::MIN;
        }
        let power = match self {
            Self::Solis { haze, vapour } => beam.get() * solis(height, haze, vapour, pressure),
            Self::Ineichen { turbidity } => {
                beam.get() * ineichen(seen_deg, height, turbidity, altitude, pressure)
            }
            Self::Haurwitz => 1098.0 * height * libm::exp(-0.059 / height),
            Self::Fao56 => {
                let true_height = libm::sin(sun.altitude_deg.to_radians()).max(0.0);
                clear_share(altitude) * beam.get() * true_height
            }
        };
        Irradiance::reckoned(power.min(beam.get() * height))
    }
}

impl fmt::Display for ClearSky {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.pad(self.as_str())
    }
}

/// A word that names no model of a clear sky.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0:?} is no model of a clear sky; write one of solis, ineichen, haurwitz, fao56")]
pub struct UnknownClearSky(pub String);

impl FromStr for ClearSky {
    type Err = UnknownClearSky;

    /// The model of that name with the sky of [`ClearSky::MODERATE`].
    fn from_str(name: &str) -> Result<Self, UnknownClearSky> {
        let found = Self::MODERATE.into_iter().find(|(known, _)| *known == name);
        found.map(|(_, model)| model).ok_or_else(|| UnknownClearSky(name.to_owned()))
    }
}

/// What arrives on level ground of a beam above the air.
fn solis(height: f64, haze: HazeDepth, vapour: VapourColumn, pressure: AirPressure) -> f64 {
    let (a, w) = (haze.get(), vapour.get());
    let ln_w = libm::log(w);
    let ln_p = libm::log(pressure.get() / AirPressure::SEA_LEVEL.get());
    let enhanced = 0.12 * libm::pow(w, 0.56) * a * a
        + 0.97 * libm::pow(w, 0.032) * a
        + 1.08 * libm::pow(w, 0.0051)
        + 0.071 * ln_p;
    let depth = (1.24 + 0.047 * ln_w + 0.0061 * ln_w * ln_w) * a
        + (0.27 + 0.043 * ln_w + 0.0090 * ln_w * ln_w)
        + (0.0079 * w + 0.1) * ln_p;
    let bend = -0.0147 * ln_w - 0.3079 * a * a + 0.2846 * a + 0.3798;
    enhanced * libm::exp(-depth / libm::pow(height, bend)) * height
}

/// What arrives on level ground of a beam above the air.
fn ineichen(
    seen_deg: f64,
    height: f64,
    turbidity: Turbidity,
    altitude: Metres,
    pressure: AirPressure,
) -> f64 {
    let z = altitude.get();
    let relative = 1.0 / (height + 0.50572 * libm::pow(seen_deg + 6.07995, -1.6364));
    let air_mass = relative * pressure.get() / AirPressure::SEA_LEVEL.get();
    let (low, high) = (libm::exp(-z / 8000.0), libm::exp(-z / 1250.0));
    let dimming = (3.92e-5 * z + 0.0387) * air_mass * (low + high * (turbidity.get() - 1.0));
    (5.09e-5 * z + 0.868) * height * libm::exp(-dimming)
}
