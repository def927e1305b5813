//! What waits, and the one commit in which all of it becomes durable.

use std::collections::BTreeMap;

use super::{Core, Moment};
use crate::almanac::pages::Made;
use crate::calendar::Day;
use crate::couriers::letter::LETTER_LIFE_MS;
use crate::entry::{BoardNews, Entry, Note, Step};
use crate::ledger::{Commit, LedgerError, NewNote, PageRow, Queued, StepRef, TriedRow};
use crate::reading::Reading;

/// What waits to become durable.
#[derive(Clone, Debug, Default)]
pub(super) struct Pending {
    pub(super) dated: Vec<Reading>,
    pub(super) undated: Vec<Reading>,
    pub(super) steps: Vec<Step>,
    pub(super) pages: BTreeMap<(String, Day), Option<Made>>,
    pub(super) tried: Vec<TriedRow>,
    pub(super) mirrored: BTreeMap<String, i64>,
    /// A digest to be written, and when it was made up, UTC ms.
    pub(super) digest: Option<(i64, Note)>,
    /// Letters to be written: courier, day.
    pub(super) letters: Vec<(String, String)>,
    /// What befell the board: UTC ms, what.
    pub(super) news: Vec<(i64, BoardNews)>,
    /// That another edition came into service.
    pub(super) renewed: Option<Note>,
    /// The only editions whose pages are kept; none named: all are.
    pub(super) editions: Vec<String>,
}

/// What waits, as one commit writes it.
struct Written {
    notes: Vec<NewNote>,
    queue: Vec<Queued>,
    /// Where the notes that were handed in begin: before them are the steps.
    first_note: usize,
    /// Where the digest stands, if there is one.
    digest_at: usize,
    /// That another edition is reckoned, or came into service.
    edition: Option<Note>,
}

impl Core {
    /// Whether anything waits to become durable.
    pub fn waits(&self) -> bool {
        let pending = &self.pending;
        !(pending.dated.is_empty()
            && pending.undated.is_empty()
            && pending.steps.is_empty()
            && pending.tried.is_empty()
            && pending.pages.is_empty()
            && pending.letters.is_empty()
            && pending.digest.is_none()
            && pending.news.is_empty()
            && pending.mirrored.is_empty())
            || !pending.editions.is_empty()
            || self.engine.editions().due(false).is_some()
    }

    /// Whether a notice step waits, which is worth a commit of its own.
    pub fn is_urgent(&self) -> bool {
        !self.pending.steps.is_empty()
            || !self.pending.tried.is_empty()
            || !self.pending.letters.is_empty()
            || self.pending.digest.is_some()
    }

    /// How many readings wait.
    pub fn waiting_readings(&self) -> usize {
        self.pending.dated.len() + self.pending.undated.len()
    }

    /// Keeps the outcome of an attempt to deliver.
    pub fn tried(&mut self, row: TriedRow) {
        self.pending.tried.push(row);
    }

    /// Keeps how far the mirror has come, by its cursors; they ride in the next commit.
    pub fn mirrored(&mut self, cursors: Vec<(String, i64)>) {
        self.pending.mirrored.extend(cursors);
    }

    /// Keeps what befell the board, with what the minders say to it.
    pub(in crate::keeper) fn wait_for_news(&mut self, at_ms: i64, news: BoardNews, steps: Vec<Step>) {
        self.pending.news.push((at_ms, news));
        self.pending.steps.extend(steps);
    }

    /// Makes durable what waits.
    ///
    /// # Errors
    ///
    /// When the ledger refuses; everything still waits then.
    pub fn flush(&mut self, moment: Moment) -> Result<(), LedgerError> {
        self.commit(moment, &[]).map(|_| ())
    }

    /// Commits what waits together with notes; the notes' numbers come back.
    pub(super) fn commit(&mut self, moment: Moment, notes: &[NewNote]) -> Result<Vec<i64>, LedgerError> {
        if !self.waits() && notes.is_empty() {
            return Ok(Vec::new());
        }
        self.store_undated(moment)?;
        let written = self.written(moment, notes);
        let edition = self.engine.editions().current().to_owned();
        let pages: Vec<(String, Day, String)> = self
            .pending
            .pages
            .iter()
            .map(|((place, day), made)| {
                (place.clone(), *day, serde_json::to_string(made).unwrap_or_default())
            })
            .collect();
        let rows: Vec<PageRow<'_>> = pages
            .iter()
            .map(|(subject, day, body)| PageRow { subject, day: *day, edition: &edition, body })
            .collect();
        let mirror: Vec<(&str, i64)> =
            self.pending.mirrored.iter().map(|(name, seq)| (name.as_str(), *seq)).collect();
        // A wall clock that nobody vouches for leaves no date behind: the next start would take it for the newest commit.
        let wall_ms = if moment.trusted { moment.wall_ms } else { self.engine.now_ms() };
        let mut commit = Commit::empty(self.boot, wall_ms, moment.mono_ms);
        commit.readings = &self.pending.dated;
        commit.notes = &written.notes;
        commit.queue = &written.queue;
        commit.tried = &self.pending.tried;
        commit.pages = &rows;
        commit.editions = &self.pending.editions;
        commit.cursors = &mirror;
        let done = self.ledger.commit(&commit)?;
        self.seq = done.seq.unwrap_or(self.seq);
        let first_note = written.first_note;
        self.settle(written, &done.entries);
        Ok(done.entries.into_iter().skip(first_note).take(notes.len()).collect())
    }

    /// What waits as entries, with notes among them, and who is to be sent what.
    fn written(&self, moment: Moment, notes: &[NewNote]) -> Written {
        let (mut all, mut queue) = (Vec::new(), Vec::new());
        // What waits was decided before the notes were taken: an answer must not stand before the step that it answers.
        for step in &self.pending.steps {
            queue.extend(self.lent.not_taken(step, self.routes_of(step, all.len())));
            let from_ms = if step.is_undated() { -self.boot } else { step.at_ms };
            all.push(NewNote { at_ms: step.at_ms, from_ms, note: Note::Step(step.clone()) });
        }
        let first_note = all.len();
        all.extend_from_slice(notes);
        all.extend(self.lent.facts(moment.wall_ms));
        let news = self.pending.news.iter().cloned();
        all.extend(news.map(|(at_ms, news)| NewNote { at_ms, from_ms: at_ms, note: Note::Board(news) }));
        for (courier, date) in &self.pending.letters {
            let (at_ms, step) = (moment.wall_ms, StepRef::Note(all.len()));
            let expires_ms = at_ms + LETTER_LIFE_MS;
            queue.push(Queued { step, courier: courier.clone(), due_ms: at_ms, expires_ms });
            all.push(NewNote { at_ms, from_ms: at_ms, note: Note::Letter { date: date.clone() } });
        }
        let digest_at = all.len();
        if let Some((at_ms, note)) = &self.pending.digest {
            let expires_ms = at_ms + LETTER_LIFE_MS;
            let pushing = self.routes.iter().filter(|route| route.pushes_only && route.unseen_ms.is_none());
            queue.extend(pushing.map(|route| Queued {
                step: StepRef::Note(digest_at),
                courier: route.courier.clone(),
                due_ms: *at_ms,
                expires_ms,
            }));
            all.push(NewNote { at_ms: *at_ms, from_ms: *at_ms, note: note.clone() });
        }
        let edition = self.edition_note();
        let at_ms = self.engine.now_ms();
        all.extend(edition.iter().map(|note| NewNote { at_ms, from_ms: at_ms, note: note.clone() }));
        Written { notes: all, queue, first_note, digest_at, edition }
    }

    /// Nothing waits any more: what was written has these numbers.
    fn settle(&mut self, written: Written, entries: &[i64]) {
        let stored = entries.get(..written.first_note).unwrap_or_default();
        self.lent.stored(&self.pending.steps, stored);
        for (step, entry) in self.pending.steps.iter().zip(stored) {
            self.step_entries.take(step, *entry);
        }
        if let (Some((at_ms, note)), Some(id)) = (self.pending.digest.take(), entries.get(written.digest_at))
        {
            self.engine.learn(Entry { id: *id, at_ms, from_ms: at_ms, note });
        }
        self.pending = Pending::default();
        if let Some(note) = written.edition {
            self.engine.editions.noted(&note, self.engine.now_ms());
        }
    }

    /// Commits readings that have no date yet, in a batch of their own.
    fn store_undated(&mut self, moment: Moment) -> Result<(), LedgerError> {
        if self.pending.undated.is_empty() {
            return Ok(());
        }
        let mut undated = Commit::empty(self.boot, moment.wall_ms, moment.mono_ms);
        undated.readings = &self.pending.undated;
        undated.dated = false;
        let done = self.ledger.commit(&undated)?;
        self.seq = done.seq.unwrap_or(self.seq);
        self.undated.extend(done.seq);
        self.pending.undated.clear();
        Ok(())
    }
}
