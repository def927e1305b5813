//! What the page would show, held against what the simulator knows to be true.

use std::collections::VecDeque;

use agronomy::crop::Severity;
use glasshour::glance::{Glance, NoticeView, Tone};
use glasshour::minders::heat::TOO_HOT;
use glasshour::minders::silent::SILENT;

use super::Violation;
use super::told::cause_window_ms;
use crate::faults::ProbeFault;
use crate::garden::{HOUSE, Probe, Way};
use crate::probes::Sample;
use crate::weather::{HOUR, MINUTE, Weather};

/// How long a message may be on its way, ms.
const UNDERWAY_MS: i64 = 61_000;
/// The place line and how long it must be held (crops.toml, practice).
const LINE_C: f64 = 40.0;
const DWELL_MS: i64 = 30 * MINUTE;
/// Silence is told after twice the usual interval and a minute, ten minutes at least (P5).
const SHORTEST_SILENCE_MS: i64 = 10 * MINUTE;
/// The grain of the simulator: two turns and a message on its way, ms.
const GRAIN_MS: i64 = 90_000;

/// What was heard of one probe.
#[derive(Clone, Debug, Default)]
struct Heard {
    /// The last hour: when it was measured, what it said, whether that is true.
    recent: VecDeque<(i64, f64, bool)>,
    /// When the last thing that counts as heard was measured.
    last_ms: Option<i64>,
    /// Stamps in the future: until when nothing can be said of it.
    odd_until_ms: i64,
}

/// What is known of the page.
#[derive(Debug)]
pub(crate) struct Shown {
    probes: Vec<Probe>,
    heard: Vec<Heard>,
    /// Since when the house has been past its line with a true probe, and the keeper watching.
    hot_since_ms: Option<i64>,
    /// Since when the keeper has been watching with a trusted clock.
    watching_since_ms: Option<i64>,
    /// How often I14 was there to be kept.
    pub(crate) heat_waves: u64,
    heat_counted: bool,
    pub(crate) silences: u64,
}

impl Shown {
    pub(crate) fn new(probes: &[Probe]) -> Self {
        let heard = vec![Heard::default(); probes.len()];
        Self {
            probes: probes.to_vec(),
            heard,
            hot_since_ms: None,
            watching_since_ms: None,
            heat_waves: 0,
            heat_counted: false,
            silences: 0,
        }
    }

    /// Something reached the board.
    pub(crate) fn heard(&mut self, sample: &Sample, repeated: bool, now_ms: i64) {
        let heard = &mut self.heard[sample.probe];
        let refused =
            matches!(sample.wrong, Some(ProbeFault::Garbage | ProbeFault::Missing | ProbeFault::Impossible));
        if refused || (repeated && sample.said_ms.is_none()) {
            return;
        }
        if sample.wrong == Some(ProbeFault::Future) {
            heard.odd_until_ms = now_ms.max(sample.true_ms + HOUR) + HOUR;
        }
        let Some(t_c) = sample.t_c else { return };
        let place = heard.recent.partition_point(|(at, ..)| *at <= sample.true_ms);
        heard.recent.insert(place, (sample.true_ms, t_c, sample.is_honest()));
        while heard.recent.front().is_some_and(|(at, ..)| now_ms - at > 2 * HOUR) {
            heard.recent.pop_front();
        }
        heard.last_ms = heard.last_ms.max(Some(sample.true_ms));
    }

    pub(crate) fn went_down(&mut self) {
        (self.hot_since_ms, self.watching_since_ms) = (None, None);
    }

    /// The hottest that was said of a place in the time in which the cause of a step at a moment may lie, °C.
    pub(crate) fn hottest(&self, place: &str, at_ms: i64) -> Option<f64> {
        let here = self.probes.iter().zip(&self.heard).filter(|(probe, _)| probe.place == place);
        here.flat_map(|(probe, heard)| {
            let window = at_ms - cause_window_ms(probe.interval_ms)..=at_ms + 1_000;
            let odd = (at_ms < heard.odd_until_ms).then_some(f64::INFINITY);
            let said =
                heard.recent.iter().filter(move |(at, ..)| window.contains(at)).map(|(_, t_c, _)| *t_c);
            said.chain(odd)
        })
        .reduce(f64::max)
    }

    /// Checks a glance. `trusted`: the clock is vouched for; `whole`: no entry may be lost to damage, by which the keeper
    /// knows what hangs where and what was told.
    pub(crate) fn check(
        &mut self,
        glance: &Glance,
        weather: &Weather,
        trusted: bool,
        whole: bool,
        now_ms: i64,
    ) -> Result<(), Violation> {
        if glance.board.clock_vouched_by.is_some() && !trusted {
            return Err(Violation::new(
                "I13",
                now_ms,
                "the clock is shown as trusted and nobody vouches for it",
            ));
        }
        if glance.board.clock_vouched_by.is_none() || now_ms - glance.at_ms > 5 * MINUTE {
            self.went_down();
            return Ok(());
        }
        // With a trusted clock the glance's moment is true time.
        let now_ms = glance.at_ms;
        self.watching_since_ms = self.watching_since_ms.or(Some(now_ms));
        self.check_fresh(glance, now_ms)?;
        if whole {
            self.check_silence(glance, now_ms)?;
        }
        self.check_heat(glance, weather, now_ms)
    }

    /// I5: what is shown as now was measured within twice its interval.
    fn check_fresh(&self, glance: &Glance, now_ms: i64) -> Result<(), Violation> {
        let is_fresh = |number: usize| {
            let (probe, heard) = (&self.probes[number], &self.heard[number]);
            let since_ms = glance.at_ms - 2 * probe.interval_ms - UNDERWAY_MS;
            now_ms < heard.odd_until_ms || heard.last_ms.is_some_and(|last| last >= since_ms)
        };
        for place in &glance.places {
            let mut here = (0..self.probes.len()).filter(|it| self.probes[*it].place == place.place);
            if place.t_c.is_some() && !here.any(is_fresh) {
                let what =
                    format!("{} is shown at {:?} °C, and nothing was heard of late", place.place, place.t_c);
                return Err(Violation::new("I5", now_ms, what));
            }
        }
        for shown in &glance.probes {
            let number = self.probes.iter().position(|probe| probe.name == shown.probe);
            if !shown.silent && !number.is_some_and(is_fresh) {
                return Err(Violation::new(
                    "I5",
                    now_ms,
                    format!("shown as live: {shown:?}; last {:?}", number.map(|it| self.heard[it].last_ms)),
                ));
            }
        }
        Ok(())
    }

    /// I5, I14: who is silent for long is told to be, and nothing is called well meanwhile.
    fn check_silence(&mut self, glance: &Glance, now_ms: i64) -> Result<(), Violation> {
        if self.watching_since_ms.is_none_or(|since| now_ms - since <= GRAIN_MS) {
            return Ok(());
        }
        let mut blind: Vec<&str> = Vec::new();
        for (number, heard) in self.heard.iter().enumerate() {
            let probe = &self.probes[number];
            let told_after = (2 * probe.interval_ms + MINUTE).max(SHORTEST_SILENCE_MS) + GRAIN_MS;
            let Some(last) = heard.last_ms.filter(|_| now_ms > heard.odd_until_ms) else { continue };
            if now_ms - last <= told_after {
                continue;
            }
            let told = glance.open.iter().any(|it| it.minder == SILENT && tells_of(it, probe));
            let known = glance.probes.iter().any(|it| it.probe == probe.name && !it.newest.is_empty());
            if !told && known {
                let what = format!(
                    "{} has been silent for {} min and nobody was told",
                    probe.name,
                    (now_ms - last) / MINUTE
                );
                return Err(Violation::new("I5", now_ms, what));
            }
            self.silences += 1;
            blind.push(probe.place);
        }
        let unseen = glance
            .places
            .iter()
            .find(|it| it.t_c.is_none() && it.by_hand.is_none() && blind.contains(&it.place.as_str()));
        match unseen {
            Some(place) if glance.sentence.tone == Tone::Well => {
                let open: Vec<_> = glance.open.iter().map(|it| (&it.id, it.later_until_ms)).collect();
                let what = format!(
                    "{:?} over {}, of which nothing is known: {open:?}",
                    glance.sentence.order, place.place
                );
                Err(Violation::new("I5", now_ms, what))
            }
            _ => Ok(()),
        }
    }

    /// I14: true heat over the place line for its dwell, with true probes only, is told.
    fn check_heat(&mut self, glance: &Glance, weather: &Weather, now_ms: i64) -> Result<(), Violation> {
        let here = || self.probes.iter().zip(&self.heard).filter(|(probe, _)| probe.place == HOUSE);
        let lately = |probe: &Probe, heard: &Heard| {
            let from = now_ms - 2 * probe.interval_ms - UNDERWAY_MS;
            heard.recent.iter().filter(move |(at, ..)| *at >= from).copied().collect::<Vec<_>>()
        };
        let all_true = here().all(|(probe, heard)| {
            now_ms > heard.odd_until_ms && lately(probe, heard).iter().all(|(.., honest)| *honest)
        });
        let seen = here().any(|(probe, heard)| {
            let from = now_ms - probe.interval_ms - UNDERWAY_MS;
            // A bare number with no time counts from its arrival; here only what is surely fresh.
            probe.way != Way::Bare && heard.recent.iter().any(|(at, ..)| *at >= from)
        });
        let hot = weather.house_c(now_ms) >= LINE_C + 0.3;
        if !(all_true && seen && hot) {
            self.hot_since_ms = None;
            self.heat_counted = false;
            return Ok(());
        }
        let since = *self.hot_since_ms.get_or_insert(now_ms);
        // The next reading of the slowest probe begins the dwell.
        let longest = here().map(|(probe, _)| probe.interval_ms).max().unwrap_or(0);
        if now_ms - since <= DWELL_MS + 2 * longest + GRAIN_MS {
            return Ok(());
        }
        if !self.heat_counted {
            (self.heat_waves, self.heat_counted) = (self.heat_waves + 1, true);
        }
        let told = glance
            .open
            .iter()
            .any(|it| it.minder == TOO_HOT && it.place == HOUSE && it.severity == Severity::Extreme);
        if told {
            return Ok(());
        }
        let what = format!(
            "the house has stood at {:.1} °C past its line since {} and nobody was told",
            weather.house_c(now_ms),
            glasshour::calendar::iso(since)
        );
        Err(Violation::new("I14", now_ms, what))
    }
}

/// Whether a notice of silence is about a probe: its own, that of its dark place, that of the broker by which it comes, or
/// one that names it beside others. Who falls silent after a notice of several was told is not named in it.
fn tells_of(notice: &NoticeView, probe: &Probe) -> bool {
    let by_broker = probe.way != Way::Bus && notice.place == glasshour::sources::BROKER;
    let named = notice.steps.iter().any(|step| step.text.contains(probe.name));
    notice.place == probe.name || notice.place == probe.place || by_broker || named
}
