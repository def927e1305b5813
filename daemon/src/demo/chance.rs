//! Chance as a function: the same seed, stream and slot give the same number, in whatever order they are asked for.

use rand::{Rng, SeedableRng};
use rand_pcg::Pcg32;

/// What a number is drawn for, so that two uses never share their luck.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u64)]
pub enum Stream {
    /// Warm and cool spells.
    Warmth = 1,
    /// Bright and dull spells.
    Cloud,
    /// Moist and dry spells.
    Dew,
    /// Calm and windy days.
    Wind,
    /// Clouds within a day.
    Passing,
    /// Gusts.
    Gust,
    /// Warm and cool puffs of air.
    Puff,
    /// Highs and lows.
    Pressure,
    /// The instruments' own noise.
    Instrument,
    /// Readings that get lost.
    Loss,
    /// How long a probe waits before it tries again.
    Pause,
}

/// A number between 0 and 1, the same for the same question.
pub fn unit(seed: u64, stream: Stream, slot: i64) -> f64 {
    // Odd constants keep streams and slots apart; the generator's own seeding does the mixing.
    let question = seed
        .wrapping_add((stream as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15))
        .wrapping_add((slot as u64).wrapping_mul(0xD1B5_4A32_D192_ED03));
    f64::from(Pcg32::seed_from_u64(question).next_u32()) / f64::from(u32::MAX)
}

/// A standard normal deviate, the same for the same question (Box and Muller's transform).
pub fn normal(seed: u64, stream: Stream, slot: i64) -> f64 {
    let radius = libm::sqrt(-2.0 * libm::log(unit(seed, stream, 2 * slot).max(1e-12)));
    radius * libm::cos(core::f64::consts::TAU * unit(seed, stream, 2 * slot + 1))
}

/// A number between −1 and 1 that wanders smoothly: a new value every `every_ms`, eased from one to the next.
pub fn wander(seed: u64, stream: Stream, at_ms: i64, every_ms: i64) -> f64 {
    let slot = at_ms.div_euclid(every_ms);
    let share = at_ms.rem_euclid(every_ms) as f64 / every_ms as f64;
    let eased = share * share * (3.0 - 2.0 * share);
    let (from, to) = (unit(seed, stream, slot), unit(seed, stream, slot + 1));
    2.0 * (from + (to - from) * eased) - 1.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn normal_deviates_have_mean_nought_and_spread_one() {
        let drawn: Vec<f64> = (0..20_000).map(|slot| normal(7, Stream::Warmth, slot)).collect();
        let mean = drawn.iter().sum::<f64>() / drawn.len() as f64;
        let variance = drawn.iter().map(|x| (x - mean) * (x - mean)).sum::<f64>() / drawn.len() as f64;
        // Four standard errors of the mean and of the variance of 20,000 standard normal deviates.
        assert!(mean.abs() < 0.03, "{mean}");
        assert!((variance - 1.0).abs() < 0.04, "{variance}");
    }

    #[test]
    fn a_wandering_number_never_jumps() {
        let step = |t: i64| wander(7, Stream::Gust, t, 600_000);
        for t in (-3_600_000..3_600_000).step_by(1000) {
            // The steepest slope of the easing is 1.5, over a distance of at most 2.
            assert!((step(t + 1000) - step(t)).abs() <= 1.5 * 2.0 / 600.0 + 1e-9);
        }
    }
}
