//! The watchers: what must hold after every step, by the numbers of FAULTS.md section 4, and what they know for it that
//! the keeper does not.
//!
//! | file | asks |
//! | --- | --- |
//! | `kept` | I1 every acknowledged message is in the ledger; I4, I6 each stored reading has its own time and grade |
//! | `told` | I3 steps once, stored before they are sent, and sent; I8 no step without its cause |
//! | `shown` | I5 nothing old is shown as now; I7 limits; I13 what is wrong is said; I14 heat and blindness are told |
//! | `again` | I2 a cut now would leave a whole ledger; I10, I11 the same pages again and nothing told; I12 check is clean |
//! | `day` | I4, I6 a day page holds exactly its 24 hours of sound readings |

pub(crate) mod again;
pub(crate) mod day;
pub(crate) mod kept;
pub(crate) mod shown;
pub(crate) mod told;

use std::fmt;
use std::sync::Arc;

use glasshour::entry::Note;
use glasshour::glance::Glance;
use tokio::sync::oneshot;

use crate::board::Board;
use crate::counts::Counts;
use crate::faults::{BootClock, DiskFault};
use crate::garden::Probe;
use crate::probes::Sample;

use kept::Kept;
use shown::Shown;
use told::Told;

/// A promise that was broken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Violation {
    /// Which invariant or promise.
    pub invariant: &'static str,
    /// When, true UTC ms.
    pub at_ms: i64,
    /// What was seen.
    pub what: String,
}

impl Violation {
    pub(crate) fn new(invariant: &'static str, at_ms: i64, what: impl Into<String>) -> Self {
        Self { invariant, at_ms, what: what.into() }
    }
}

impl fmt::Display for Violation {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{} at {}: {}", self.invariant, glasshour::calendar::iso(self.at_ms), self.what)
    }
}

/// What a fault of the disk excuses.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Excused {
    /// A flush was reported and not done: acknowledged readings may be lost at a cut, never more (P1, not P2).
    pub(crate) lied: bool,
    /// The same at any time in this run: later commits may lie in the log, and earlier ones not.
    pub(crate) ever_lied: bool,
    /// A bit turned or a block went astray: rows may be fenced.
    pub(crate) rot: bool,
}

/// A note that somebody waits for.
struct Asked {
    note: Note,
    answered: oneshot::Receiver<Result<i64, String>>,
}

/// What was looked at last.
pub(crate) struct Seen {
    pub(crate) seq: i64,
    pub(crate) trusted: bool,
    pub(crate) glance: Arc<Glance>,
    /// Since when disk and clock have been well and the keeper running, true ms.
    pub(crate) undisturbed_since_ms: i64,
    /// Since when the keeper has been running without standing still, true ms.
    pub(crate) running_since_ms: i64,
    pub(crate) everything: u64,
    pub(crate) life_ms: i64,
}

/// All watchers.
pub(crate) struct Watch {
    pub(crate) seen: Seen,
    pub(crate) kept: Kept,
    pub(crate) told: Told,
    pub(crate) shown: Shown,
    pub(crate) excused: Excused,
    asked: Vec<Asked>,
    /// When the board went down; none while it is up.
    down_ms: Option<i64>,
    dark: (i64, BootClock),
}

impl Watch {
    pub(crate) fn new(probes: &[Probe], start_ms: i64, glance: Arc<Glance>) -> Self {
        let seen = Seen {
            seq: 0,
            trusted: false,
            glance,
            undisturbed_since_ms: start_ms,
            running_since_ms: start_ms,
            everything: 0,
            life_ms: 0,
        };
        Self {
            seen,
            kept: Kept::new(probes),
            told: Told::default(),
            shown: Shown::new(probes),
            excused: Excused::default(),
            asked: Vec::new(),
            down_ms: Some(start_ms),
            dark: (60_000, BootClock::Right),
        }
    }

    /// Whether the disk has lost or spoilt anything in this run: then pages and readings need not agree any more.
    pub(crate) fn damaged(&self) -> bool {
        self.excused.rot || self.excused.lied || self.kept.lost > 0
    }

    /// The keeper stood still up to now.
    pub(crate) fn stood_still(&mut self, now_ms: i64) {
        (self.seen.undisturbed_since_ms, self.seen.running_since_ms) = (now_ms, now_ms);
        self.shown.went_down();
    }

    /// Something was sent.
    pub(crate) fn sent(&mut self, letter: u64, sample: &Sample) {
        self.kept.sent(letter, sample);
    }

    /// It arrived at the board.
    pub(crate) fn arrived(&mut self, letter: u64, repeated: bool, now_ms: i64) {
        if let Some(sample) = self.kept.arrived(letter, self.seen.trusted, now_ms) {
            self.shown.heard(sample, repeated, now_ms);
        }
    }

    /// The broker dropped it, because it was acknowledged.
    pub(crate) fn acknowledged(&mut self, letter: u64, now_ms: i64) -> Result<(), Violation> {
        match self.kept.acknowledged(letter, now_ms) {
            // Opened again after an error, the ledger may have lost what a lying disk never flushed.
            Err(_) if self.excused.lied || self.excused.rot => {
                self.kept.lost += 1;
                Ok(())
            }
            said => said,
        }
    }

    /// The disk begins to misbehave.
    pub(crate) fn disk(&mut self, fault: DiskFault) {
        self.excused.lied |= fault == DiskFault::Lie;
        self.excused.ever_lied |= self.excused.lied;
        // Entries may be lost or fenced, and their numbers used twice, from here on.
        self.told.unsure |= self.excused.lied || self.excused.rot;
        self.excused.rot |= matches!(fault, DiskFault::Flip | DiskFault::Misdirect);
    }

    /// Somebody noted something and waits for the answer.
    pub(crate) fn asked(&mut self, note: Note, answered: oneshot::Receiver<Result<i64, String>>) {
        self.asked.push(Asked { note, answered });
    }

    /// Answers that came: a note that was taken is in the ledger from now on.
    pub(crate) fn take_answers(&mut self, counts: &mut Counts) {
        for Asked { note, mut answered } in std::mem::take(&mut self.asked) {
            match answered.try_recv() {
                Ok(Ok(entry)) => {
                    counts.add("note taken");
                    self.told.noted(entry, note);
                }
                Ok(Err(_)) => counts.add("note refused in words"),
                Err(oneshot::error::TryRecvError::Empty) => self.asked.push(Asked { note, answered }),
                Err(oneshot::error::TryRecvError::Closed) => {}
            }
        }
    }

    /// The board will lose its power in the middle of a write.
    pub(crate) fn expect_dark(&mut self, away_ms: i64, clock: BootClock) {
        self.dark = (away_ms, clock);
    }

    /// How long it is away then, and what its clock says afterwards.
    pub(crate) fn after_dark(&self) -> (i64, BootClock) {
        self.dark
    }

    pub(crate) fn went_down(&mut self, now_ms: i64) {
        self.down_ms = Some(now_ms);
        self.asked.clear();
        self.shown.went_down();
        self.kept.went_down();
    }

    /// How long the board has been down, ms.
    pub(crate) fn down_for(&self, now_ms: i64) -> i64 {
        self.down_ms.map_or(0, |since| now_ms - since)
    }

    /// The board would not start: the disk must be the cause. What a lie left unflushed may be pages of the file's own
    /// structure.
    pub(crate) fn start_refused(&self, why: &str, troubled: bool) -> Result<(), Violation> {
        if troubled || self.excused.rot || self.excused.lied {
            return Ok(());
        }
        Err(Violation::new(
            "I2",
            self.down_ms.unwrap_or(0),
            format!("it does not start on a well disk: {why}"),
        ))
    }

    /// The board is up: everything promised must be in the ledger it came up with.
    pub(crate) fn booted(&mut self, board: &Board, counts: &mut Counts) -> Result<(), Violation> {
        self.down_ms = None;
        let Some(life) = &board.life else { return Ok(()) };
        let (core, now_ms) = (life.keeper.core(), board.clock.true_ms());
        self.stood_still(now_ms);
        (self.seen.seq, self.seen.trusted) = (0, false);
        self.kept.reread(core.ledger(), now_ms, self.excused, counts)?;
        self.told.reread(board, now_ms, self.excused)?;
        again::check_clean(core.ledger(), now_ms, self.excused, counts)?;
        // What was lost to a lie is written off; the next cut is measured from here.
        self.excused.lied &= board.store.lies();
        Ok(())
    }
}
