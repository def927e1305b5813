//! The Dynamic model: chill portions.
//!
//! In the bud, cold makes an intermediate that warmth breaks down again. Once enough of it is there, about a
//! day and a half at 6 °C, a share of it is fixed as a *portion*, which nothing undoes. So a warm noon after a
//! cold night takes back that night's work but not last week's, which is why the model serves where winters
//! are mild.

use crate::units::Celsius;

/// Activation energies over the gas constant, K, and rate constants, 1/h, of the making and the breaking.
const E0: f64 = 4153.5;
const E1: f64 = 12_888.8;
const A0: f64 = 139_500.0;
const A1: f64 = 2.567e18;
/// How sharply fixing depends on warmth, and around which temperature, K.
const SLOPE: f64 = 1.6;
const TURN: f64 = 277.0;

/// Which kelvin the model takes for 0 °C.
///
/// It was fitted with 273. With the exact 273.15 a winter ends up to about one portion apart, so the two do not
/// add up: an option for setting beside sums reckoned elsewhere.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Zero {
    /// 273 K, as published.
    #[default]
    Published,
    /// 273.15 K.
    Exact,
}

impl Zero {
    const fn kelvin(self) -> f64 {
        match self {
            Self::Published => 273.0,
            Self::Exact => 273.15,
        }
    }
}

/// What an hour of one temperature does to the intermediate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rates {
    /// The amount it would settle at (xs).
    pub settles_at: f64,
    /// How fast it goes there, 1/h (ak1).
    pub per_hour: f64,
    /// Share of it that is fixed once there is enough (xi), 0 to 1.
    pub fixed_share: f64,
}

/// Running state of the Dynamic model.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Dynamic {
    zero: Zero,
    portions: f64,
    intermediate: f64,
    /// What is left of the intermediate when the next hour begins; `None` before the first.
    carried: Option<f64>,
}

impl Dynamic {
    /// The state at the beginning of a winter.
    pub fn new(zero: Zero) -> Self {
        Self { zero, ..Self::default() }
    }

    /// What an hour of this temperature does.
    ///
    /// # Equation
    ///
    /// ```text
    /// xs = A0 / A1 exp((E1 − E0) / T)      ak1 = A1 exp(−E1 / T)
    /// xi = s / (1 + s),  s = exp(1.6 × 277 (T − 277) / T)
    /// ```
    ///
    /// with T in K, E0 = 4153.5, E1 = 12888.8, A0 = 139500, A1 = 2.567 × 10¹⁸.
    ///
    /// # Errors
    ///
    /// None.
    ///
    /// # Source
    ///
    /// Fishman, Erez & Couvillon (1987), Journal of Theoretical Biology 124, 473-483 and 126, 309-321; constants
    /// as four independent open implementations have them.
    pub fn rates(&self, air: Celsius) -> Rates {
        let kelvin = air.get() + self.zero.kelvin();
        let s = libm::exp(SLOPE * TURN * (kelvin - TURN) / kelvin);
        Rates {
            settles_at: A0 / A1 * libm::exp((E1 - E0) / kelvin),
            per_hour: A1 * libm::exp(-E1 / kelvin),
            fixed_share: s / (1.0 + s),
        }
    }

    /// Counts one hour by its mean.
    ///
    /// # Equation
    ///
    /// ```text
    /// x ← xs − (xs − x₀) exp(−ak1);   where x ≥ 1: portions += x xi, x₀ ← x (1 − xi);   else x₀ ← x
    /// ```
    ///
    /// The first hour only sets the scene: x is nought in it.
    ///
    /// # Source
    ///
    /// As for [`Dynamic::rates`].
    pub fn take_hour(&mut self, air: Celsius) {
        let rates = self.rates(air);
        let made = self.carried.map_or(0.0, |before| {
            rates.settles_at - (rates.settles_at - before) * libm::exp(-rates.per_hour)
        });
        let fixed = if made >= 1.0 { made * rates.fixed_share } else { 0.0 };
        self.portions += fixed;
        self.intermediate = made;
        self.carried = Some(made - fixed);
    }

    /// Portions so far.
    pub const fn portions(&self) -> f64 {
        self.portions
    }

    /// The intermediate at the end of the last hour, before any of it was fixed (inter-E).
    pub const fn intermediate(&self) -> f64 {
        self.intermediate
    }
}
