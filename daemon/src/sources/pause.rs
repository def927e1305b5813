//! How long to wait before trying again: doubling up to a limit, and never quite the same, so that many boards
//! that lost one broker do not all come back at once.

use std::time::Duration;

/// A pause between tries.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pause {
    first: Duration,
    longest: Duration,
    next: Duration,
}

impl Default for Pause {
    /// From 1 s to 60 s.
    fn default() -> Self {
        Self::new(Duration::from_secs(1), Duration::from_secs(60))
    }
}

impl Pause {
    /// From `first`, doubling, to `longest`.
    pub fn new(first: Duration, longest: Duration) -> Self {
        Self { first, longest, next: first }
    }

    /// The pause to make now: between half of the present one and the whole, by `jitter` from 0 to 1 (anything
    /// else counts as the nearer end). The one after is twice as long.
    pub fn next(&mut self, jitter: f64) -> Duration {
        let whole = self.next;
        self.next = (whole * 2).min(self.longest);
        let jitter = if jitter.is_nan() { 0.0 } else { jitter.clamp(0.0, 1.0) };
        whole.mul_f64(0.5 + 0.5 * jitter)
    }

    /// From now on wait the longest.
    pub fn slow_down(&mut self) {
        self.next = self.longest;
    }

    /// It worked: begin with the first pause again.
    pub fn reset(&mut self) {
        self.next = self.first;
    }

    /// The longest pause.
    pub fn longest(&self) -> Duration {
        self.longest
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pauses_double_from_one_second_to_sixty_and_begin_anew_after_success() {
        let mut pause = Pause::default();
        let seconds: Vec<_> = (0..8).map(|_| pause.next(1.0).as_secs()).collect();
        assert_eq!(seconds, [1, 2, 4, 8, 16, 32, 60, 60]);
        pause.reset();
        assert_eq!(pause.next(1.0).as_secs(), 1);
    }

    #[test]
    fn jitter_shortens_a_pause_by_half_at_most_and_never_lengthens_it() {
        for (jitter, ms) in [(0.0, 500), (0.5, 750), (1.0, 1000), (-3.0, 500), (9.0, 1000), (f64::NAN, 500)] {
            assert_eq!(Pause::default().next(jitter).as_millis(), ms, "{jitter}");
        }
    }
}
