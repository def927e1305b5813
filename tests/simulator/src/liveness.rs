//! The second phase: everything is healed but what stays broken for good, and the garden must come to life by itself.

use glasshour::entry::Turn;
use glasshour::minders::drill::DRILL;
use glasshour::minders::heat::TOO_HOT;
use glasshour::minders::silent::SILENT;

use crate::far::NAMES;
use crate::garden::HOUSE;
use crate::watch::Violation;
use crate::weather::{HOUR, MINUTE};
use crate::world::World;

/// Within this time after the end of a fault readings are taken again (P9), ms; beside one interval of the probe and the
/// way of a connection that must be made anew.
const BACK_MS: i64 = MINUTE + 40_000;
/// The longest pause of a courier between two tries is half an hour; one more try, ms.
const EMPTIED_MS: i64 = 40 * MINUTE;

impl World {
    /// What must be so once enough time has passed since everything was healed.
    pub(crate) fn look_at_life(&mut self) -> Result<(), Violation> {
        let Some(healed_ms) = self.healed_ms else { return Ok(()) };
        let now = self.now_ms();
        if now - self.watch.seen.life_ms < MINUTE {
            return Ok(());
        }
        self.watch.seen.life_ms = now;
        let wrong = |what: String| Err(Violation::new("liveness", now, what));
        let Some(life) = &self.board.life else { return wrong("the board is down".to_owned()) };
        let glance = life.handle.now();
        for (number, probe) in self.probes.iter().enumerate().filter(|(it, _)| *it != self.plan.dead_probe) {
            let due_ms = healed_ms + BACK_MS + probe.interval_ms;
            let newest = self.watch.kept.newest(number);
            if now > due_ms + self.plan.commit_every_ms && newest.is_none_or(|newest| newest < healed_ms) {
                return wrong(format!("no reading of {} since all is well", probe.name));
            }
            let _ = &glance;
        }
        if now > healed_ms + EMPTIED_MS {
            let rows = life.keeper.core().ledger().outbox().unwrap_or_default();
            for (number, courier) in NAMES.iter().enumerate() {
                if self.plan.dead_courier == Some(number) || self.watch.told.unsure {
                    continue;
                }
                let late = rows
                    .iter()
                    .find(|row| row.courier == *courier && row.due_ms.max(healed_ms) + EMPTIED_MS < now);
                if let Some(row) = late {
                    return wrong(format!("{courier} still has {row:?}"));
                }
            }
            if self.broker.waiting() > 40 {
                return wrong(format!("{} messages wait at the broker", self.broker.waiting()));
            }
        }
        Ok(())
    }

    /// The end of the run: what stands open has a living cause.
    pub(crate) fn end(&mut self) -> Result<(), Violation> {
        let now = self.now_ms();
        self.everything()?;
        let Some(life) = &self.board.life else { return Ok(()) };
        for notice in &life.handle.now().open {
            let living = match notice.minder.as_str() {
                // Half an hour, and the grain of the keeper's turns.
                DRILL => now - notice.opened_ms <= 31 * MINUTE,
                SILENT => self
                    .probes
                    .get(self.plan.dead_probe)
                    .is_some_and(|it| it.name == notice.place || it.place == notice.place),
                TOO_HOT => {
                    let at = |back: i64| self.weather.at(&notice.place, now - back * MINUTE);
                    (0..60).map(at).fold(f64::NEG_INFINITY, f64::max) > 22.0
                }
                _ => true,
            };
            if !living {
                let last = notice.steps.last().map(|step| &step.text);
                let what = format!("stands open without a cause: {} {last:?}", notice.id);
                return Err(Violation::new("liveness", now, what));
            }
        }
        let healed_ms = self.healed_ms.unwrap_or(now);
        let told = self.watch.told.steps.values().any(|step| {
            step.minder == TOO_HOT
                && step.place == HOUSE
                && step.at_ms > healed_ms
                && step.turn != Turn::Closed
        });
        if !told && now - healed_ms > 30 * HOUR {
            return Err(Violation::new("I14", now, "a whole heat wave, and nobody was told"));
        }
        self.counts.add_many("heat past the place line told", self.watch.shown.heat_waves);
        self.counts.add_many("silence told", self.watch.shown.silences);
        Ok(())
    }
}
