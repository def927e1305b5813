//! Faults begin and end.

use glasshour::clock::Clock as _;
use glasshour::entry::Note;
use glasshour::keeper::event::Event;
use tokio::sync::oneshot;

use crate::far;
use crate::faults::{BootClock, DiskFault, Fault, Grower, How, LinkFault};
use crate::garden::{BED, HOUSE};
use crate::weather::HOUR;
use crate::world::{Happening, World};

/// A keep-alive and a half, ms: what a connection that nothing passes on lasts.
const GIVEN_UP_MS: i64 = 45_000;

impl World {
    /// A fault of the plan begins.
    pub(crate) fn strike(&mut self, number: usize) {
        if self.healed_ms.is_some() {
            return;
        }
        let (_, fault) = self.plan.faults[number];
        let now = self.now_ms();
        self.trace.note(fault.kind(), now);
        if self.meets_nothing(fault) {
            return;
        }
        self.counts.add(fault.kind());
        match fault {
            Fault::Down(How::CutInWrite(after), away_ms, clock) => {
                self.watch.expect_dark(away_ms, clock);
                self.board.store.power_goes_after(after);
            }
            Fault::Down(How::CutInTelling(after), away_ms, clock) => {
                self.watch.expect_dark(away_ms, clock);
                self.board.store.power_goes_after_telling(after);
            }
            Fault::Down(how, away_ms, clock) => self.go_down(how, away_ms, clock),
            Fault::Stall(ms) => self.board.stalled_until_ms = now + ms,
            Fault::Disk(fault, ms) => {
                self.watch.disk(fault);
                self.board.store.strike(fault, &mut self.choice);
                self.at(now + ms, Happening::Heal(number));
            }
            Fault::Link(fault, ms) => {
                self.net.set(Some(fault));
                if fault == LinkFault::Down {
                    self.hang_up();
                } else if fault == LinkFault::HalfOpen {
                    for connection in
                        self.links.each_ref().map(crate::link::Link::connection).into_iter().flatten()
                    {
                        self.at(now + GIVEN_UP_MS, Happening::GiveUp(connection));
                    }
                }
                self.at(now + ms, Happening::Heal(number));
            }
            Fault::Broker(keep) => {
                self.broker.restart(keep);
                self.hang_up();
            }
            Fault::Probe(probe, fault, ms) => {
                self.states[probe].set(Some(fault));
                self.at(now + ms, Happening::Heal(number));
            }
            Fault::Far(courier, fault, ms) => {
                far::at(&self.board.far[courier]).mood = Some(fault);
                self.at(now + ms, Happening::Heal(number));
            }
            Fault::WallStep(by_ms) => self.board.clock.step(by_ms),
            Fault::Grower(does) => self.grower(does),
        }
    }

    /// Whether a fault meets nothing: counted only where it bites.
    fn meets_nothing(&self, fault: Fault) -> bool {
        let down = self.board.life.is_none();
        match fault {
            Fault::Down(..) | Fault::Stall(_) | Fault::Grower(_) => down,
            Fault::WallStep(_) => down || self.board.clock.vouched_by().is_some(),
            _ => false,
        }
    }

    fn go_down(&mut self, how: How, away_ms: i64, clock: BootClock) {
        if how == How::Stop {
            let ended = self.board.stop();
            if self.board.store.is_dark() {
                self.board.store.settle();
            } else if ended.is_ok() {
                self.counts.add("said good-bye");
            }
        } else if how == How::Cut {
            self.board.die();
            self.board.store.power_cut();
        }
        self.down(away_ms, clock);
    }

    /// A fault of the plan ends. With several of a kind at once the first end is the end of all.
    pub(crate) fn heal(&mut self, number: usize) {
        if self.healed_ms.is_some() {
            return;
        }
        match self.plan.faults[number].1 {
            Fault::Disk(DiskFault::EioOnce(_) | DiskFault::Flip, _) => {}
            Fault::Disk(..) => self.board.store.heal(),
            Fault::Link(..) => {
                if self.net.heal() {
                    self.hang_up();
                }
                self.net.set(None);
            }
            Fault::Probe(probe, ..) => self.states[probe].set(None),
            Fault::Far(courier, ..) => far::at(&self.board.far[courier]).mood = None,
            _ => {}
        }
    }

    fn grower(&mut self, does: Grower) {
        let Some(life) = &self.board.life else { return };
        let glance = life.handle.now();
        let (mut from_ms, wall_ms) = (None, self.board.clock.wall_ms());
        let note = match does {
            Grower::Remark => Note::Remark { text: "leaves hang at noon".to_owned() },
            Grower::Reply => {
                let Some(notice) = glance.open.first().map(|notice| notice.id.clone()) else { return };
                Note::Reply { notice, on_it: self.choice.happens(0.5), until_ms: None }
            }
            Grower::Seen => {
                let Some(notice) = glance.open.first().map(|notice| notice.id.clone()) else { return };
                Note::Seen { notice }
            }
            Grower::Later => {
                let Some(notice) = glance.open.first().map(|notice| notice.id.clone()) else { return };
                Note::Reply { notice, on_it: false, until_ms: Some(wall_ms + HOUR) }
            }
            Grower::Drill => Note::Drill {},
            Grower::HeatWarning => {
                let calendar = glasshour::calendar::Calendar::fixed(crate::garden::OFFSET_MS);
                let day = calendar.day_of(wall_ms) + 1;
                let (from, to) = (glasshour::calendar::date(day), glasshour::calendar::date(day + 2));
                Note::HeatWarning { from, to, about_c: 36.0, said_by: None }
            }
            Grower::ByHand => {
                from_ms = Some(wall_ms - self.choice.between(1, 30) * HOUR);
                let place = if self.choice.happens(0.5) { HOUSE } else { BED };
                Note::Thermometer {
                    place: place.to_owned(),
                    now_c: None,
                    low_c: Some(14.0),
                    high_c: Some(29.0),
                }
            }
            Grower::Undo => {
                let ours = |note: &Note| matches!(note, Note::Remark { .. } | Note::Thermometer { .. });
                let Some(entry) = glance.entries.iter().find(|it| ours(&it.note)).map(|it| it.id) else {
                    return;
                };
                Note::Undo { entry }
            }
        };
        let (answer, answered) = oneshot::channel();
        if life.handle.events.try_send(Event::Note { note: note.clone(), from_ms, answer }).is_ok() {
            self.watch.asked(note, answered);
        }
    }
}
