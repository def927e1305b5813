//! A pot, a bag, a tub: a store that the grower fills.
//!
//! Roots in a pot cannot go looking. A ten-litre pot of a good mix holds under three litres that a plant can
//! take, and a tomato in a heat wave drinks more than that in a day. So the question is not how many days but
//! how many times a day. Water goes in by small pulses, until some drains; poured at once, it runs down the
//! wall of a dry pot and out. A model of a pot drifts: lifting it, or weighing it, sets it right.

use super::root_zone::left_over_share;
use crate::units::{Days, Fraction, Litres};

/// Share of a pot's volume that one pulse may have: 10 to 15 % (common practice).
const PULSE: f64 = 0.125;
/// Share of what is poured that should drain, so that all of the mix is wet: 10 to 20 % (common practice).
const DRAINS: f64 = 0.15;
/// Share of the difference to a moisture probe that is taken over in an hour (common practice).
const TRUST_PER_HOUR: f64 = 0.1;

/// Water in a container that its plant can take.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Container {
    volume: Litres,
    full: Litres,
    held: Litres,
}

/// How to fill a container.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Refill {
    /// All that is to be poured, with what should drain.
    pub total: Litres,
    /// In how many pulses, a quarter of an hour apart or so.
    pub pulses: u32,
    /// Each pulse.
    pub each: Litres,
}

impl Container {
    /// A full container of this volume of mix, of which plants can draw the share `available`: 0.20 to 0.35 for
    /// potting mixes (from memory).
    pub fn full(volume: Litres, available: Fraction) -> Self {
        let full = Litres::reckoned(volume.get() * available.get());
        Self { volume, full, held: full }
    }

    /// What it holds when full.
    pub const fn capacity(&self) -> Litres {
        self.full
    }

    /// What it holds now.
    pub const fn held(&self) -> Litres {
        self.held
    }

    fn holding(&self, litres: f64) -> Self {
        Self { held: Litres::reckoned(litres.clamp(0.0, self.full.get())), ..*self }
    }

    /// Stress coefficient, Ks: one until only (1 − p) of a full container is left, then falling to nought.
    ///
    /// # Equation
    ///
    /// ```text
    /// Ks = W / ((1 − p) W full)   where W < (1 − p) W full, else 1
    /// ```
    ///
    /// # Source
    ///
    /// FAO-56 (1998), eq. 84, written for what is left.
    pub fn stress(&self, share: Fraction) -> Fraction {
        left_over_share(self.full.get(), self.full.get() - self.held.get(), share.get())
    }

    /// After watering, and what drained.
    #[must_use]
    pub fn watered(&self, applied: Litres) -> (Self, Litres) {
        let over = self.held.get() + applied.get() - self.full.get();
        (self.holding(self.held.get() + applied.get()), Litres::reckoned(over.max(0.0)))
    }

    /// After the plant has drunk, at most what is there.
    #[must_use]
    pub fn used(&self, drunk: Litres) -> Self {
        self.holding(self.held.get() - drunk.get())
    }

    /// What it holds by its weight above that of the dry pot with its plant: 1 kg is 1 L. The plant's own growth
    /// is for the caller to take off.
    #[must_use]
    pub fn weighed(&self, water: Litres) -> Self {
        self.holding(water.get())
    }

    /// Drawn towards what a moisture probe says, slowly, since a probe knows one spot: after `time` of the same
    /// word it has moved by 1 − e^(−0.1 h) of the difference. `full` is the share of a full container.
    #[must_use]
    pub fn probed(&self, full: Fraction, time: Days) -> Self {
        self.holding(self.held.get() + Self::trust(time) * (full.get() * self.full.get() - self.held.get()))
    }

    /// Share of the difference to a moisture probe that is taken over after `time` of the same word, 0 to 1.
    pub fn trust(time: Days) -> f64 {
        1.0 - libm::exp(-TRUST_PER_HOUR * 24.0 * time.get())
    }

    /// How long a full container lasts before the plant feels it, p W / L; `None` where nothing is drunk.
    pub fn lasts(&self, share: Fraction, drunk_per_day: Litres) -> Option<Days> {
        let daily = drunk_per_day.get();
        (daily > 0.0).then(|| Days::reckoned(share.get() * self.full.get() / daily))
    }

    /// What to pour now, and in how many pulses. A full container needs nothing.
    pub fn refill(&self) -> Refill {
        let total = (self.full.get() - self.held.get()) / (1.0 - DRAINS);
        let pulse = PULSE * self.volume.get();
        let pulses = if pulse > 0.0 { libm::ceil(total / pulse) } else { 0.0 };
        let each = if pulses > 0.0 { total / pulses } else { 0.0 };
        Refill { total: Litres::reckoned(total), pulses: pulses as u32, each: Litres::reckoned(each) }
    }
}
