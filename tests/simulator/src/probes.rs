//! What the probes do: measure by the clock of the garden, lie as they are told to, and send.

use std::collections::VecDeque;

use glasshour::reading::Heard;
use serde_json::json;

use crate::broker::Letter;
use crate::faults::ProbeFault;
use crate::garden::{HOUSE, Probe, Way};
use crate::weather::{DAY, HOUR, MINUTE, Weather};

/// Readings a stamping probe keeps while its way is gone.
const KEPT: usize = 300;

/// One measurement as it was said, and what is true about it.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Sample {
    pub(crate) probe: usize,
    /// When it was measured.
    pub(crate) true_ms: i64,
    /// When it says that it was.
    pub(crate) said_ms: Option<i64>,
    /// Air temperature as said, °C.
    pub(crate) t_c: Option<f64>,
    /// Humidity as said, %.
    pub(crate) rh_pct: Option<f64>,
    /// What is wrong with it.
    pub(crate) wrong: Option<ProbeFault>,
}

impl Sample {
    /// Whether what it says of the air is true, and sound for all that the keeper can know.
    pub(crate) fn is_honest(&self) -> bool {
        matches!(self.wrong, None | Some(ProbeFault::Cut | ProbeFault::Twice | ProbeFault::Reorder))
    }

    /// Whether anything in it can be read.
    pub(crate) fn is_readable(&self) -> bool {
        self.wrong != Some(ProbeFault::Garbage)
    }

    /// As the broker is given it.
    pub(crate) fn letter(&self, number: u64, probe: &Probe) -> Letter {
        let payload = match (self.is_readable(), probe.way) {
            (false, _) => b"{\"t\": 23,4".to_vec(),
            (true, Way::Stamped) => {
                json!({"at": self.said_ms, "t": self.t_c, "rh": self.rh_pct}).to_string().into_bytes()
            }
            (true, _) => self.t_c.map_or_else(|| "nan".to_owned(), |t_c| format!("{t_c}")).into_bytes(),
        };
        Letter { number, topic: probe.topic(), payload, retain: probe.way == Way::Retained }
    }

    /// As a bus hands it over.
    pub(crate) fn heard(&self, probe: &Probe) -> Vec<Heard> {
        let values = [self.t_c, self.rh_pct];
        let one = |(quantity, value): (&agronomy::quantity::Quantity, Option<f64>)| Heard {
            probe: probe.name.into(),
            quantity: *quantity,
            value,
            measured_ms: self.said_ms,
            stale: false,
        };
        probe.quantities().iter().zip(values).map(one).collect()
    }
}

/// One probe as it is at the moment.
#[derive(Clone, Debug, Default)]
pub(crate) struct State {
    pub(crate) fault: Option<ProbeFault>,
    stuck: Option<(f64, f64)>,
    /// Measured and not sent yet.
    pub(crate) kept: VecDeque<Sample>,
}

impl State {
    /// A fault begins or ends.
    pub(crate) fn set(&mut self, fault: Option<ProbeFault>) {
        self.fault = fault;
        self.stuck = None;
    }

    /// Keeps what cannot be sent now, the newest of it.
    pub(crate) fn keep(&mut self, sample: Sample) {
        if self.kept.len() == KEPT {
            self.kept.pop_front();
        }
        self.kept.push_back(sample);
    }

    /// Measures now. None: the probe is dead.
    pub(crate) fn measure(
        &mut self,
        number: usize,
        probe: &Probe,
        weather: &Weather,
        at_ms: i64,
    ) -> Option<Sample> {
        let fault = self.fault;
        if fault == Some(ProbeFault::Dead) {
            return None;
        }
        let (mut t_c, rh_pct) = (hundredth(weather.at(probe.place, at_ms)), humidity(probe, at_ms));
        if let Some(ProbeFault::Off(tenths)) = fault {
            t_c = hundredth(t_c + tenths as f64 / 10.0);
        }
        let (mut t_c, mut rh_pct) = (Some(t_c), Some(rh_pct));
        match fault {
            Some(ProbeFault::Stuck) => {
                let values = *self.stuck.get_or_insert((t_c.unwrap_or(20.0), rh_pct.unwrap_or(50.0)));
                (t_c, rh_pct) = (Some(values.0), Some(values.1));
            }
            Some(ProbeFault::Missing) => (t_c, rh_pct) = (None, None),
            Some(ProbeFault::Impossible) => (t_c, rh_pct) = (Some(127.94), Some(254.0)),
            _ => {}
        }
        let said_ms = match probe.way {
            Way::Stamped if fault == Some(ProbeFault::Future) => Some(at_ms + HOUR),
            Way::Stamped | Way::Bus => Some(at_ms),
            Way::Bare | Way::Retained => None,
        };
        let meets = |fault: &ProbeFault| match fault {
            ProbeFault::Future => probe.way == Way::Stamped,
            ProbeFault::Garbage | ProbeFault::Twice | ProbeFault::Reorder => probe.way != Way::Bus,
            _ => true,
        };
        let wrong = fault.filter(meets);
        Some(Sample { probe: number, true_ms: at_ms, said_ms, t_c, rh_pct, wrong })
    }
}

/// Moist by night and dry by day, %.
fn humidity(probe: &Probe, at_ms: i64) -> f64 {
    let turn = at_ms.rem_euclid(DAY) as f64 / DAY as f64 * std::f64::consts::TAU;
    let base = if probe.place == HOUSE { 55.0 } else { 62.0 };
    (10.0 * (base + 25.0 * libm::cos(turn) + libm::sin(at_ms as f64 / (17 * MINUTE) as f64))).round() / 10.0
}

fn hundredth(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}
