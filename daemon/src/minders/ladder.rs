//! Up a severity after a dwell, down after a release: so that nothing flaps.

use agronomy::crop::Severity;
use agronomy::series::MS_PER_HOUR;

const STEPS: usize = 4;
const SEVERITIES: [Severity; STEPS] =
    [Severity::Minor, Severity::Moderate, Severity::Severe, Severity::Extreme];

/// One step of the ladder.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rung {
    /// The value at which the step begins.
    pub line: f64,
    /// How long the value must stand at or above the line, ms.
    pub dwell_ms: i64,
}

/// How far below a line the value must fall, and for how long, before the step is left.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Release {
    /// How far below.
    pub margin: f64,
    /// For how long, ms.
    pub ms: i64,
}

/// Practice for air temperature: 1.5 °C below the line for 20 minutes.
pub const HEAT_RELEASE: Release = Release { margin: 1.5, ms: MS_PER_HOUR / 3 };

/// Where a value stands on its ladder, with the times that dwell and release count from.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Ladder {
    above: [Option<i64>; STEPS],
    below: [Option<i64>; STEPS],
    current: Option<Severity>,
}

impl Ladder {
    /// The step it stands on.
    pub fn current(&self) -> Option<Severity> {
        self.current
    }

    /// Since when the value has stood at or above the line of a severity, UTC ms.
    pub fn above_since(&self, severity: Severity) -> Option<i64> {
        self.above[severity as usize]
    }

    /// Takes over what was told before a restart.
    pub fn set(&mut self, current: Option<Severity>) {
        self.current = current;
    }

    /// Judges a value at a moment. A value that is not known changes nothing: silence is not calm.
    pub fn judge(
        &mut self,
        now_ms: i64,
        value: Option<f64>,
        rungs: &[Option<Rung>; STEPS],
        release: Release,
    ) {
        let Some(value) = value else { return };
        for (step, rung) in rungs.iter().enumerate() {
            let above = rung.is_some_and(|rung| value >= rung.line);
            let below = rung.is_none_or(|rung| value < rung.line - release.margin);
            self.above[step] = above.then(|| self.above[step].unwrap_or(now_ms));
            self.below[step] = below.then(|| self.below[step].unwrap_or(now_ms));
        }
        for severity in SEVERITIES {
            let step = severity as usize;
            let dwelt = rungs[step]
                .zip(self.above[step])
                .is_some_and(|(rung, since)| now_ms - since >= rung.dwell_ms);
            if dwelt && self.current < Some(severity) {
                self.current = Some(severity);
            }
        }
        while let Some(severity) = self.current {
            let released = self.below[severity as usize].is_some_and(|since| now_ms - since >= release.ms);
            if !released {
                break;
            }
            self.current = SEVERITIES[..severity as usize]
                .iter()
                .rev()
                .copied()
                .find(|lower| rungs[*lower as usize].is_some());
        }
    }

    /// When time alone may change the verdict, UTC ms.
    pub fn wake(&self, rungs: &[Option<Rung>; STEPS], release: Release) -> Option<i64> {
        let ups =
            SEVERITIES.iter().filter(|severity| self.current < Some(**severity)).filter_map(|severity| {
                let step = *severity as usize;
                rungs[step].zip(self.above[step]).map(|(rung, since)| since + rung.dwell_ms)
            });
        let down =
            self.current.and_then(|severity| self.below[severity as usize]).map(|since| since + release.ms);
        ups.chain(down).min()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MINUTE: i64 = 60_000;
    const RUNGS: [Option<Rung>; 4] = [
        None,
        Some(Rung { line: 32.0, dwell_ms: 10 * MINUTE }),
        Some(Rung { line: 35.0, dwell_ms: 10 * MINUTE }),
        None,
    ];

    fn walk(values: &[(i64, f64)]) -> Vec<Option<Severity>> {
        let mut ladder = Ladder::default();
        values
            .iter()
            .map(|(at, value)| {
                ladder.judge(at * MINUTE, Some(*value), &RUNGS, HEAT_RELEASE);
                ladder.current()
            })
            .collect()
    }

    #[test]
    fn flutter_about_the_line_opens_once() {
        let values =
            [(0, 31.9), (5, 32.1), (10, 31.9), (15, 32.1), (20, 32.2), (25, 32.0), (30, 31.0), (45, 31.5)];
        let told = walk(&values);
        let moderate = Some(Severity::Moderate);
        assert_eq!(told, [None, None, None, None, None, moderate, moderate, moderate]);
    }

    #[test]
    fn it_is_left_after_twenty_minutes_below_the_margin() {
        let told = walk(&[(0, 36.0), (10, 36.0), (20, 33.0), (39, 33.0), (40, 33.0), (50, 30.0), (70, 30.0)]);
        let (severe, moderate) = (Some(Severity::Severe), Some(Severity::Moderate));
        assert_eq!(told, [None, severe, severe, severe, moderate, moderate, None]);
    }

    #[test]
    fn silence_changes_nothing() {
        let mut ladder = Ladder::default();
        ladder.judge(0, Some(36.0), &RUNGS, HEAT_RELEASE);
        ladder.judge(10 * MINUTE, Some(36.0), &RUNGS, HEAT_RELEASE);
        ladder.judge(600 * MINUTE, None, &RUNGS, HEAT_RELEASE);
        assert_eq!(ladder.current(), Some(Severity::Severe));
    }
}
