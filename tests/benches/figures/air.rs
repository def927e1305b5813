//! Made air, minute by minute: a year's course, spells of days, the sun through clouds, and an instrument's noise.
//! The same seed gives the same air on every machine.

use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64;

const MINUTES_A_DAY: i64 = 1440;

/// What an instrument says in one minute.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Minute {
    /// Air temperature, °C, at 0.01.
    pub(crate) t_c: f64,
    /// Relative humidity, %, at 0.1.
    pub(crate) rh_pct: f64,
}

/// The air about one instrument. Minutes are drawn one after the other.
pub(crate) struct Air {
    dice: Pcg64,
    minute: i64,
    spell: f64,
    cloud: f64,
    puff: f64,
    dew_puff: f64,
}

impl Air {
    /// Air that begins at a minute since 1970; `number` sets the instruments of one garden apart.
    pub(crate) fn new(number: u64, minute: i64) -> Self {
        let mut air = Self {
            dice: Pcg64::seed_from_u64(0x0005_eed0_fa1e + number),
            minute,
            spell: 0.0,
            cloud: 0.0,
            puff: 0.0,
            dew_puff: 0.0,
        };
        air.new_day();
        air
    }

    fn unit(&mut self) -> f64 {
        (self.dice.next_u64() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Two independent standard normal deviates (Box and Muller's transform).
    fn normals(&mut self) -> (f64, f64) {
        let radius = libm::sqrt(-2.0 * libm::log(self.unit().max(1e-12)));
        let (sine, cosine) = libm::sincos(core::f64::consts::TAU * self.unit());
        (radius * cosine, radius * sine)
    }

    fn new_day(&mut self) {
        self.spell = 0.7 * self.spell + 2.2 * self.normals().0;
        self.cloud = 0.15 + 0.85 * self.unit();
    }

    /// The next minute.
    pub(crate) fn next(&mut self) -> Minute {
        if self.minute.rem_euclid(MINUTES_A_DAY) == 0 {
            self.new_day();
        }
        let tau = core::f64::consts::TAU;
        let day = self.minute as f64 / MINUTES_A_DAY as f64;
        let season = -libm::cos(tau * (day + 10.0) / 365.25);
        let sun = libm::sin(tau * (day - libm::floor(day) - 0.25)).max(0.0);
        let (puff, dew_puff) = self.normals();
        self.puff = 0.99 * self.puff + 0.06 * puff;
        self.dew_puff = 0.995 * self.dew_puff + 0.05 * dew_puff;
        self.minute += 1;
        let t_c = 11.0
            + 9.0 * season
            + self.spell
            + (9.0 + 5.0 * season) * sun * self.cloud
            + 1.5 * sun
            + self.puff;
        let dew_c = 7.0 + 7.0 * season + 0.6 * self.spell + self.dew_puff;
        // Magnus's form of the saturation pressure, with the constants of FAO-56 eq. 11.
        let pressure = |t: f64| libm::exp(17.27 * t / (t + 237.3));
        let rh_pct = (100.0 * pressure(dew_c) / pressure(t_c)).clamp(8.0, 96.9);
        Minute { t_c: libm::round(t_c * 100.0) / 100.0, rh_pct: libm::round(rh_pct * 10.0) / 10.0 }
    }
}

/// The least that single differences of a series could be kept in, bytes a value (Shannon's entropy of their counts).
pub(crate) fn entropy_of_differences(ticks: &[i32]) -> f64 {
    let mut counts = std::collections::BTreeMap::<i32, u64>::new();
    for pair in ticks.windows(2) {
        *counts.entry(pair[1] - pair[0]).or_default() += 1;
    }
    let all = counts.values().sum::<u64>().max(1) as f64;
    counts.values().map(|count| *count as f64 / all).map(|share| -share * libm::log2(share)).sum::<f64>()
        / 8.0
}
