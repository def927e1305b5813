//! Steps of notices: told once, stored before they are sent, sent once, and never without their cause.

use std::collections::{BTreeMap, BTreeSet};

use agronomy::crop::Severity;
use glasshour::couriers::letter::LETTER_LIFE_MS;
use glasshour::couriers::route::{UNSEEN_MS, rises};
use glasshour::entry::{Note, Step, Turn};
use glasshour::ledger::{Ledger, OutboxState};
use glasshour::minders::drill::DRILL;
use glasshour::minders::heat::TOO_HOT;

use super::{Excused, Violation};
use crate::board::Board;
use crate::far::{self, NEXT_PERSON, Taken};
use crate::trace::Trace;
use crate::weather::MINUTE;

/// The courier by which what may buzz a phone goes, and the digest of what did not.
const PUSHES: usize = 0;
/// A step is decided so soon after its moment (P10), ms; the rest is the simulator's own grain.
const DECIDED_MS: i64 = 15_000;

/// What a courier's far end has taken.
#[derive(Debug, Default)]
struct FarSide {
    /// By id: the board's life in which it was taken last, and whether its answer was lost.
    taken: BTreeMap<String, (u64, bool)>,
    /// The id under which each step came.
    ids: BTreeMap<(String, u32), String>,
    entries: BTreeSet<i64>,
    /// Steps it took while nothing could be stored.
    from_memory: BTreeSet<(String, u32)>,
}

/// What is known of notices.
#[derive(Debug, Default)]
pub(crate) struct Told {
    newest: i64,
    /// Steps in the ledger, by entry.
    pub(crate) steps: BTreeMap<i64, Step>,
    /// Evening digests in the ledger, by entry: each travels like the only step of a notice of its day.
    digests: BTreeMap<i64, (i64, Note)>,
    /// Highest step of each notice.
    last: BTreeMap<String, u32>,
    /// Notes that somebody was told are taken.
    noted: BTreeMap<i64, Note>,
    /// By notice, the entry with which somebody last saw or answered it.
    seen: BTreeMap<String, i64>,
    far: [FarSide; far::NAMES.len()],
    /// The disk has lost steps: numbers may have been used twice.
    pub(crate) unsure: bool,
}

impl Told {
    /// A note was taken under this number.
    pub(crate) fn noted(&mut self, entry: i64, note: Note) {
        self.noted.insert(entry, note);
    }

    /// The newest step in the ledger; 0 before the first.
    pub(crate) fn newest_step(&self) -> i64 {
        self.steps.last_key_value().map_or(0, |(entry, _)| *entry)
    }

    /// Reads on in the ledger.
    pub(crate) fn read_on(
        &mut self,
        ledger: &Ledger,
        punctual: bool,
        now_ms: i64,
        trace: &mut Trace,
    ) -> Result<Vec<Step>, Violation> {
        let Ok(entries) = ledger.entries_after(self.newest) else { return Ok(Vec::new()) };
        let mut news = Vec::new();
        for entry in entries {
            self.newest = entry.id;
            if let Note::Seen { notice } | Note::Reply { notice, .. } = &entry.note {
                self.seen.insert(notice.clone(), entry.id);
            }
            let step = match entry.note {
                Note::Step(step) => step,
                note @ Note::Digest { .. } => {
                    self.digests.insert(entry.id, (entry.at_ms, note));
                    continue;
                }
                _ => continue,
            };
            let last = self.last.entry(step.notice.clone()).or_default();
            if step.number != *last + 1 && !self.unsure {
                let what = format!("step {} of {} after step {last}", step.number, step.notice);
                return Err(Violation::new("I3", now_ms, what));
            }
            *last = step.number;
            if punctual && !step.is_undated() && now_ms - step.at_ms > DECIDED_MS {
                let late = (now_ms - step.at_ms) / 1000;
                return Err(Violation::new(
                    "P10",
                    now_ms,
                    format!("stored {late} s after its moment: {step:?}"),
                ));
            }
            trace.note(&step.notice, step.at_ms);
            news.push(step.clone());
            self.steps.insert(entry.id, step);
        }
        Ok(news)
    }

    /// What the far ends took since the last look.
    pub(crate) fn look_at_far_ends(
        &mut self,
        board: &Board,
        life: u64,
        now_ms: i64,
        trace: &mut Trace,
    ) -> Result<u64, Violation> {
        let mut taken = 0;
        self.check_next_person(board, now_ms)?;
        for (number, end) in board.far.iter().enumerate() {
            let (news, doubt) = {
                let mut far = far::at(end);
                (std::mem::take(&mut far.news), far.doubt.clone())
            };
            for one in news {
                taken += 1;
                trace.note(&one.id, now_ms);
                let doubted = doubt.get(&one.id).copied().unwrap_or(false);
                self.take(number, one, doubted, life, now_ms)?;
            }
        }
        Ok(taken)
    }

    fn take(
        &mut self,
        number: usize,
        one: Taken,
        doubt: bool,
        life: u64,
        now_ms: i64,
    ) -> Result<(), Violation> {
        let wrong = |what: String| Err(Violation::new("I3", now_ms, what));
        if self.unsure {
            return Ok(());
        }
        let side = &mut self.far[number];
        if let (true, Some(step)) = (one.entry < 0, &one.step) {
            // With no ledger to write into, a step goes out from memory and says so; it may come twice.
            if !one.unrecorded {
                return wrong(format!("sent from memory without saying so: {one:?}"));
            }
            side.from_memory.insert(step.clone());
            return Ok(());
        }
        if let Some(step) = &one.step {
            let stored = self.steps.get(&one.entry);
            if number == NEXT_PERSON
                && let Some(stored) = stored
                && !is_unseen_long_enough(stored, &self.steps, now_ms)
            {
                return Err(Violation::new("Q2", now_ms, format!("the next person was told of {stored:?}")));
            }
            let is_step = stored.is_some_and(|stored| (&stored.notice, stored.number) == (&step.0, step.1));
            let is_digest = self.digests.get(&one.entry).is_some_and(|(_, digest)| {
                matches!(digest, Note::Digest { date, .. } if number != NEXT_PERSON && step.0 == format!("{date}.digest"))
            });
            if !is_step && !is_digest {
                return wrong(format!("sent and not stored: {one:?}"));
            }
            let id = side.ids.entry(step.clone()).or_insert_with(|| one.id.clone());
            if *id != one.id {
                return wrong(format!("{step:?} was shown under {id} and again under {}", one.id));
            }
        }
        if let Some((before, doubted)) = side.taken.get(&one.id)
            && *before == life
            && !doubted
        {
            return wrong(format!("sent twice in one life, though its answer came: {one:?}"));
        }
        side.entries.insert(one.entry);
        side.taken.insert(one.id, (life, doubt));
        Ok(())
    }

    /// Reads the whole ledger anew after a start: nothing that was told or taken may be gone.
    pub(crate) fn reread(&mut self, board: &Board, now_ms: i64, excused: Excused) -> Result<(), Violation> {
        let Some(life) = &board.life else { return Ok(()) };
        let ledger = life.keeper.core().ledger();
        let entries =
            ledger.entries().map_err(|error| Violation::new("I2", now_ms, format!("no entries: {error}")))?;
        let found: BTreeMap<i64, Note> = entries.into_iter().map(|entry| (entry.id, entry.note)).collect();
        let forgiven = excused.lied || excused.rot;
        for (entry, step) in &self.steps {
            if !is_there(found.get(entry), step) && !forgiven {
                return Err(Violation::new("I3", now_ms, format!("a step is gone: {entry} {step:?}")));
            }
        }
        let digests = self.digests.iter().map(|(entry, (_, digest))| (entry, digest));
        for (entry, note) in self.noted.iter().chain(digests) {
            if found.get(entry) != Some(note) && !forgiven {
                return Err(Violation::new("I1", now_ms, format!("a note is gone: {entry} {note:?}")));
            }
        }
        if forgiven {
            // What the disk lost is told anew, under numbers that were used before: nothing can be said of repeats.
            self.unsure = true;
            self.noted.clear();
        }
        (self.newest, self.last) = (0, BTreeMap::new());
        self.steps.clear();
        self.digests.clear();
        self.seen.clear();
        self.read_on(ledger, false, now_ms, &mut Trace::default())?;
        self.check_outbox(board, now_ms)
    }

    /// Whether what a closing step says is over began again since: an all-clear that waits for the morning is needless then.
    fn began_again(&self, entry: i64, step: &Step) -> bool {
        let again = |(_, it): (&i64, &Step)| {
            it.turn == Turn::Opened && (&it.place, &it.minder) == (&step.place, &step.minder)
        };
        step.turn == Turn::Closed && self.steps.range(entry + 1..).any(again)
    }

    /// Every step that should travel waits, was taken, was overtaken, ran out or was refused for good.
    pub(crate) fn check_outbox(&self, board: &Board, now_ms: i64) -> Result<(), Violation> {
        let Some(life) = board.life.as_ref().filter(|_| !self.unsure) else { return Ok(()) };
        let Ok(rows) = life.keeper.core().ledger().outbox() else { return Ok(()) };
        for (entry, step) in &self.steps {
            let overtaken = self.last.get(&step.notice).is_some_and(|last| *last > step.number)
                || self.began_again(*entry, step);
            let over = now_ms - step.at_ms > glasshour::couriers::STEP_LIFE_MS;
            if overtaken || over || step.is_undated() {
                continue;
            }
            for (number, courier) in far::NAMES.iter().enumerate() {
                if number == NEXT_PERSON {
                    self.check_row_of_next_person(life.keeper.core().ledger(), *entry, step, now_ms)?;
                    continue;
                }
                let travels = number == 1 || step.push;
                let waits = rows.iter().any(|row| row.step == *entry && row.courier == *courier);
                let never = far::at(&board.far[number]).never.contains(entry);
                let far = &self.far[number];
                let taken = far.entries.contains(entry)
                    || far.from_memory.contains(&(step.notice.clone(), step.number));
                if travels && !waits && !never && !taken {
                    let what = format!("{courier} has neither taken it nor does it wait: {entry} {step:?}");
                    return Err(Violation::new("I3", now_ms, what));
                }
            }
        }
        for (entry, (at_ms, digest)) in &self.digests {
            let over = now_ms - at_ms > LETTER_LIFE_MS;
            let waits = rows.iter().any(|row| row.step == *entry && row.courier == far::NAMES[PUSHES]);
            let never = far::at(&board.far[PUSHES]).never.contains(entry);
            if !over && !waits && !never && !self.far[PUSHES].entries.contains(entry) {
                let what = format!("neither taken nor does it wait: {entry} {digest:?}");
                return Err(Violation::new("I3", now_ms, what));
            }
        }
        Ok(())
    }
}

impl Told {
    /// Q2: nobody sets out to the next person with what somebody has seen. Then tells the far end what was seen.
    fn check_next_person(&self, board: &Board, now_ms: i64) -> Result<(), Violation> {
        let mut far = far::at(&board.far[NEXT_PERSON]);
        let carried = std::mem::take(&mut far.seen_and_carried);
        far.seen = if self.unsure { BTreeMap::new() } else { self.seen.clone() };
        match carried.first().filter(|_| !self.unsure) {
            Some(entry) => {
                let what = format!(
                    "somebody had seen it, and the next person was told: {:?}",
                    self.steps.get(entry)
                );
                Err(Violation::new("Q2", now_ms, what))
            }
            None => Ok(()),
        }
    }

    /// A step that is for the next person has its row, whatever became of it; it is needless for a reason only.
    fn check_row_of_next_person(
        &self,
        ledger: &Ledger,
        entry: i64,
        step: &Step,
        now_ms: i64,
    ) -> Result<(), Violation> {
        let Ok(rows) = ledger.deliveries(entry) else { return Ok(()) };
        let row = rows.iter().find(|row| row.courier == far::NAMES[NEXT_PERSON]);
        let travels = step.push && step.weight() >= Severity::Severe && step.minder != DRILL;
        let taken_from_memory =
            self.far[NEXT_PERSON].from_memory.contains(&(step.notice.clone(), step.number));
        let wrong = |what: String| Err(Violation::new("Q2", now_ms, what));
        match row {
            None if travels && !taken_from_memory => wrong(format!("no row for the next person: {step:?}")),
            Some(row) if !travels => wrong(format!("a row for the next person: {row:?} {step:?}")),
            Some(row) if row.state == OutboxState::NotNeeded && rises(step.turn) => {
                let seen = self.seen.get(&step.notice).is_some_and(|seen| *seen > entry);
                let closed = |(_, it): (&i64, &Step)| it.notice == step.notice && it.turn == Turn::Closed;
                if seen || self.steps.range(entry..).any(closed) {
                    return Ok(());
                }
                wrong(format!("nobody saw it and it stands, yet nobody is told: {step:?}"))
            }
            _ => Ok(()),
        }
    }
}

/// Q2: a severe step, and half an hour since its notice first called for somebody.
fn is_unseen_long_enough(step: &Step, steps: &BTreeMap<i64, Step>, now_ms: i64) -> bool {
    let called = steps.values().filter(|it| it.notice == step.notice && rises(it.turn) && it.push);
    let called = called.filter(|it| it.weight() >= Severity::Severe && !it.is_undated()).map(|it| it.at_ms);
    let waited = called.min().is_some_and(|called| now_ms - called >= UNSEEN_MS);
    step.weight() >= Severity::Severe && step.minder != DRILL && (waited || step.is_undated())
}

/// Whether a step is in the ledger as it was told. One that was told without a date may have got it since.
fn is_there(found: Option<&Note>, step: &Step) -> bool {
    let Some(Note::Step(found)) = found else { return false };
    let at_ms = if step.is_undated() { step.at_ms } else { found.at_ms };
    Step { at_ms, ..found.clone() } == *step
}

/// I8: whether a step about heat has its cause: something that hot was said of the place shortly before.
pub(crate) fn has_cause(step: &Step, hottest_c: Option<f64>) -> bool {
    let worse = matches!(step.turn, Turn::Opened | Turn::Worsened);
    if step.minder != TOO_HOT || !worse {
        return true;
    }
    // The place's own line is 40 °C (crops.toml, practice); the lowest line of a crop here lies above 23.
    let line_c = if step.severity == Severity::Extreme { 40.0 } else { 23.0 };
    hottest_c.is_some_and(|hottest| hottest >= line_c)
}

/// How far back the cause of a heat step may lie, ms: the value may be held for twice the interval.
pub(crate) fn cause_window_ms(interval_ms: i64) -> i64 {
    2 * interval_ms + MINUTE
}
