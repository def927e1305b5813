//! Watching while nobody vouches for the clock.
//!
//! Heat needs no date: a line is passed for ten minutes by any clock. So what is heard live is judged by a second engine
//! that lives on a time of its own, the newest commit and what the monotonic clock has counted since. Nothing of it
//! reaches the ledger but the steps about heat, silence and the clock itself. They say no clock time; they stand at the boot's monotonic
//! time, and get their date with the boot. Then this engine is thrown away, and the other one goes on from what was told.

use std::collections::BTreeSet;

use agronomy::quantity::Quantity;

use super::{Core, Moment};
use crate::almanac::pages::Pages;
use crate::entry::{BoardNews, Step, Turn};
use crate::keeper::counts::Counts;
use crate::keeper::engine::Engine;
use crate::minders::board::CLOCK;
use crate::minders::silent::SILENT;
use crate::reading::{Grade, Reading};

/// What every such step says.
const MARK: &str = "The clock is not trusted yet; heat is watched, dates follow.";

/// How long nobody may vouch for the clock after a start before that is told, ms.
const UNKNOWN_FOR_MS: i64 = 3_600_000;

/// The engine that watches.
pub(super) struct Watch {
    engine: Engine,
    /// Its time less the monotonic time, ms.
    offset_ms: i64,
    /// When it began to watch, monotonic ms.
    began_mono_ms: i64,
    /// Notices that were open before; all others are its own.
    before: BTreeSet<String>,
}

impl Watch {
    fn new(of: &Engine, mono_ms: i64) -> Self {
        let mut engine = Engine::new(of.site().clone(), of.now_ms());
        engine.knows_hours = false;
        engine.restore(of.entries().to_vec(), Pages::default(), Counts::default());
        let before = of.told().iter().map(|step| step.notice.clone()).collect();
        Self { engine, offset_ms: of.now_ms() - mono_ms, began_mono_ms: mono_ms, before }
    }

    /// A step as it is told: without any time that nobody knows.
    fn undated(&self, mut step: Step, boot: i64) -> Step {
        if !self.before.contains(&step.notice) {
            // The id begins with the day; this one's nobody knows.
            let rest = step.notice.split_once('.').map_or(step.notice.as_str(), |(_, rest)| rest);
            step.notice = format!("boot-{boot}.{rest}");
        }
        let place = self.engine.ground().place(&step.place);
        let name = place.map_or(step.place.as_str(), |place| place.name.as_str());
        let air = self.engine.tracks_at(&step.place, Quantity::AirTemperature, step.at_ms);
        let now = air.map_or_else(String::new, |t_c| format!(" {t_c:.1} °C now,"));
        let what = match (step.minder.as_str(), step.turn) {
            (SILENT, Turn::Closed) => "heard again".to_owned(),
            (SILENT, _) => "silent, and it was near a line when last heard".to_owned(),
            (CLOCK, _) => "nobody has said what time it is for an hour".to_owned(),
            (_, Turn::Closed) => "under its lines again".to_owned(),
            _ => format!("past its {} line for as long as it takes to count", step.severity.as_str()),
        };
        step.text = format!("{name}:{now} {what}. {MARK}");
        step.at_ms -= self.offset_ms;
        step
    }
}

impl Core {
    /// Lets the watch judge what is heard live, or time alone, while nobody vouches for the clock. The readings stand at
    /// the monotonic time at which they came.
    pub(super) fn watch(&mut self, moment: Moment, live: &[Reading]) {
        let watch = self.watch.get_or_insert_with(|| Watch::new(&self.engine, moment.mono_ms));
        let sound = live.iter().filter(|reading| reading.grade() != Grade::Refused);
        let readings: Vec<Reading> = sound
            .map(|reading| Reading { at_ms: reading.at_ms + watch.offset_ms, ..reading.clone() })
            .collect();
        let mut steps = watch.engine.advance(moment.mono_ms + watch.offset_ms);
        if moment.mono_ms - watch.began_mono_ms >= UNKNOWN_FOR_MS && watch.engine.news().doubt().is_none() {
            let doubt = Some("nobody has vouched for the clock since the start an hour ago".to_owned());
            steps.extend(watch.engine.befell(&BoardNews::Clock { doubt }));
        }
        watch.engine.forget_marked();
        if !readings.is_empty() {
            steps.extend(watch.engine.apply(&readings));
        }
        let steps: Vec<Step> = steps.into_iter().map(|step| watch.undated(step, self.boot)).collect();
        self.engine.take_told(steps.clone());
        self.pending.steps.extend(steps);
    }

    /// The engine that knows the present best: the watch while nobody vouches for the clock.
    pub fn present(&self) -> &Engine {
        self.watch.as_ref().map_or(&self.engine, |watch| &watch.engine)
    }
}
