//! Light as plants count it: photons between 400 and 700 nm.
//!
//! A radiation meter weighs energy of all wavelengths, a lux meter weighs green as the eye does, a leaf counts
//! photons. What one says about the other depends on the spectrum: a thousand lux are 18.5 µmol/m²/s under the
//! sun and 12.2 under a sodium lamp. So **every conversion names its [`Spectrum`]**, and energy of all
//! wavelengths is converted for daylight only, because how much of a lamp's heat a meter sees is nobody's
//! constant.
//!
//! A day's photons, the daily light integral, say whether a crop had enough: 28 MJ/m² of sun are 58 mol/m²
//! outside, 40 under a cover that lets 70 % through, and 20 under half shade, the least a tomato wants.

use crate::series::Held;
use crate::units::{DailyLight, DailyRadiation, Illuminance, Irradiance, PhotonFlux};

/// Daylight: photons of 400 to 700 nm in a joule of all wavelengths, µmol/J.
///
/// 45 % of the energy lies in that band, with 4.57 µmol/J; 1.9 to 2.15 by sky and season (general lighting
/// literature, from memory).
pub const PHOTONS_PER_JOULE_OF_SUN: f64 = 2.06;

/// Where the light comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Spectrum {
    /// Sun and sky together.
    Daylight,
    /// The blue sky alone, in the shade of a wall.
    BlueSky,
    /// Metal halide lamps.
    MetalHalide,
    /// High-pressure sodium lamps.
    HighPressureSodium,
    /// Cool white fluorescent tubes.
    CoolWhiteFluorescent,
    /// Incandescent lamps.
    Incandescent,
}

impl Spectrum {
    /// Every spectrum, in the order used wherever they are listed.
    pub const ALL: [Self; 6] = [
        Self::Daylight,
        Self::BlueSky,
        Self::MetalHalide,
        Self::HighPressureSodium,
        Self::CoolWhiteFluorescent,
        Self::Incandescent,
    ];

    /// The name used everywhere: commands, files, pages.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Daylight => "daylight",
            Self::BlueSky => "blue-sky",
            Self::MetalHalide => "metal-halide",
            Self::HighPressureSodium => "high-pressure-sodium",
            Self::CoolWhiteFluorescent => "cool-white-fluorescent",
            Self::Incandescent => "incandescent",
        }
    }

    /// Lux for one µmol/m²/s.
    ///
    /// # Source
    ///
    /// Thimijan & Heins (1983), HortScience 18, 818-822, as quoted in two independent places.
    pub const fn lux_per_photon_flux(self) -> f64 {
        match self {
            Self::Daylight => 54.0,
            Self::BlueSky => 52.0,
            Self::MetalHalide => 71.0,
            Self::HighPressureSodium => 82.0,
            Self::CoolWhiteFluorescent => 74.0,
            Self::Incandescent => 50.0,
        }
    }

    /// Photons in a joule of light between 400 and 700 nm, µmol/J.
    ///
    /// # Source
    ///
    /// Thimijan & Heins (1983), HortScience 18, 818-822, as quoted in one place.
    pub const fn photons_per_joule_of_light(self) -> f64 {
        match self {
            Self::Daylight => 4.57,
            Self::BlueSky => 4.24,
            Self::MetalHalide | Self::CoolWhiteFluorescent => 4.59,
            Self::HighPressureSodium => 4.98,
            Self::Incandescent => 5.00,
        }
    }
}

/// Photons of a light that a lux meter reads.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// [`Spectrum::lux_per_photon_flux`].
pub fn photons_of_lux(light: Illuminance, spectrum: Spectrum) -> PhotonFlux {
    PhotonFlux::reckoned(light.get() / spectrum.lux_per_photon_flux())
}

/// What a lux meter reads in a light of so many photons; the meter's end where it would be beyond it.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// [`Spectrum::lux_per_photon_flux`].
pub fn lux_of_photons(photons: PhotonFlux, spectrum: Spectrum) -> Illuminance {
    Illuminance::reckoned(photons.get() * spectrum.lux_per_photon_flux())
}

/// Photons of sunlight whose energy of all wavelengths is known; daylight only.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// [`PHOTONS_PER_JOULE_OF_SUN`].
pub fn photons_of_sun(radiation: Irradiance) -> PhotonFlux {
    PhotonFlux::reckoned(radiation.get() * PHOTONS_PER_JOULE_OF_SUN)
}

/// Energy of all wavelengths in sunlight of so many photons; daylight only. Above 2000 W/m², more than the sun
/// gives, it stays there.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// [`PHOTONS_PER_JOULE_OF_SUN`].
pub fn sun_of_photons(photons: PhotonFlux) -> Irradiance {
    Irradiance::reckoned(photons.get() / PHOTONS_PER_JOULE_OF_SUN)
}

/// Energy between 400 and 700 nm of so many photons, W/m².
///
/// # Errors
///
/// None.
///
/// # Source
///
/// [`Spectrum::photons_per_joule_of_light`].
pub fn light_power(photons: PhotonFlux, spectrum: Spectrum) -> f64 {
    photons.get() / spectrum.photons_per_joule_of_light()
}

/// Photons of a day of sun of which the radiation is known (daily light integral).
///
/// # Equation
///
/// ```text
/// DLI = 2.06 Rs
/// ```
///
/// # Errors
///
/// None.
///
/// # Source
///
/// [`PHOTONS_PER_JOULE_OF_SUN`].
pub fn daily_light_of_sun(radiation: DailyRadiation) -> DailyLight {
    DailyLight::reckoned(radiation.get() * PHOTONS_PER_JOULE_OF_SUN)
}

/// Photons of a day, from what a photon sensor held, µmol/m²/s (daily light integral).
///
/// Time nobody measured adds nothing: say with the sum how much of the daylight was held, and fill nothing in.
/// A value below nought, which a sensor shows at night, or that is no number adds nothing either.
///
/// # Equation
///
/// ```text
/// DLI = Σ PPFD Δt / 10⁶
/// ```
///
/// # Errors
///
/// None.
///
/// # Source
///
/// The definition.
pub fn daily_light(photons: impl Iterator<Item = Held>) -> DailyLight {
    let sound = photons.filter(|held| held.value > 0.0 && held.value.is_finite() && held.ms() > 0);
    let micromoles: f64 = sound.map(|held| held.value * held.ms() as f64 / 1000.0).sum();
    DailyLight::reckoned(micromoles / 1e6)
}
