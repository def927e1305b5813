//! The ledger's one writer: opened, written to one transaction at a time, closed and opened again after an error.

use std::path::Path;
use std::sync::Arc;

use rusqlite::{Connection, TransactionBehavior};

use super::commit::{self, Commit, Committed, NewNote};
use super::compaction::{self, Compacted};
use super::error::LedgerError;
use super::file::{Disk, Hold, Home, Role};
use super::folder::Folder;
use super::health::{self, Sizes};
use super::past::{self, Aftermath, Past, TakenIn};
use super::reader::Reader;
use super::series::{SeriesBook, series_book};
use super::shared::{Fence, Shared};
use super::view::View;
use super::{backup, dating, migrate, schema};

/// The log is copied into the file once it is longer than this.
const LOG_PAGES: i64 = 2_000;

/// What is frozen when a ledger is made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Founding {
    /// The site's standard offset from UTC, ms east: it fixes where days and weeks begin.
    pub offset_ms: i64,
    /// The program that makes it, with its version.
    pub program: String,
}

/// The ledger's one writer.
#[derive(Debug)]
pub struct Ledger {
    /// None between a closing after an error and the next opening that works.
    pub(super) conn: Option<Connection>,
    pub(super) shared: Arc<Shared>,
    book: SeriesBook,
    next_seq: i64,
    founding: Founding,
}

impl Ledger {
    /// Opens the ledger in a folder, making both if absent.
    ///
    /// # Errors
    ///
    /// [`LedgerError::Held`] names the process that has it; otherwise what the file or the storage is at fault for.
    pub fn open(folder: &Path, founding: &Founding) -> Result<Self, LedgerError> {
        let disk = Arc::new(Folder::at(folder)?);
        Self::open_after(disk, founding, || {
            backup::sweep(folder)?;
            migrate::bring_up(folder, &mut |_| {}).map(|_| ())
        })
    }

    /// Opens the ledger on a disk, making it if absent.
    ///
    /// # Errors
    ///
    /// As [`open`](Self::open).
    pub fn open_on(disk: Arc<dyn Disk>, founding: &Founding) -> Result<Self, LedgerError> {
        Self::open_after(disk, founding, || Ok(()))
    }

    fn open_after(
        disk: Arc<dyn Disk>,
        founding: &Founding,
        put_right: impl FnOnce() -> Result<(), LedgerError>,
    ) -> Result<Self, LedgerError> {
        let hold = disk.hold()?;
        disk.drop_page_cache()?;
        put_right()?;
        Self::begin(Home::Disk(disk), Some(hold), founding)
    }

    /// A ledger in memory, for replay: the same code, nothing durable.
    ///
    /// # Errors
    ///
    /// When memory is short.
    pub fn in_memory(founding: &Founding) -> Result<Self, LedgerError> {
        Self::begin(Home::memory(), None, founding)
    }

    fn begin(home: Home, hold: Option<Hold>, founding: &Founding) -> Result<Self, LedgerError> {
        let conn = home.connect(Role::Founder)?;
        schema::found(&conn, founding, hold.is_some())?;
        if let Home::Disk(disk) = &home {
            disk.flush_folder()?;
        }
        let shared = Arc::new(Shared::new(home, hold, dating::frozen_offset_ms(&conn)?));
        health::name_damaged_log(&conn, &shared)?;
        health::name_known_damage(&conn, &shared)?;
        let (book, next_seq) = (series_book(&conn)?, commit::next_seq(&conn)?);
        Ok(Self { conn: Some(conn), shared, book, next_seq, founding: founding.clone() })
    }

    /// Closes everything, makes the system forget what it holds of the files, opens again and checks all of it.
    ///
    /// To be called after [`LedgerError::needs_reopening`], before the next commit; until it succeeds, every call
    /// answers [`LedgerError::Closed`]. What was not acknowledged may turn up all the same: commit it again, repeats
    /// are told apart by probe, quantity, time and value. A ledger in memory has nothing to reopen.
    ///
    /// # Errors
    ///
    /// When the storage still refuses; try again in a minute.
    pub fn reopen(&mut self) -> Result<(), LedgerError> {
        let shared = Arc::clone(&self.shared);
        let Home::Disk(disk) = &shared.home else { return Ok(()) };
        // Readers stay outside until the file is found well.
        let mut gate = shared.shut();
        drop(self.conn.take());
        disk.drop_page_cache()?;
        let conn = shared.home.connect(Role::Writer)?;
        if !schema::stands(&conn)? {
            return Err(LedgerError::Damaged { what: "the file is empty".to_owned() });
        }
        health::whole(&conn)?;
        shared.forget_fences();
        health::name_damaged_log(&conn, &shared)?;
        health::checksums(View { conn: &conn, shared: &shared })?;
        self.book = series_book(&conn)?;
        self.next_seq = commit::next_seq(&conn)?;
        self.conn = Some(conn);
        *gate = true;
        Ok(())
    }

    /// The site's standard offset as frozen in the ledger, ms east of UTC.
    pub fn offset_ms(&self) -> i64 {
        self.shared.offset_ms
    }

    /// The offset that was asked for at opening, ms, if it is not the one frozen in the ledger.
    pub fn founding_differs(&self) -> Option<i64> {
        Some(self.founding.offset_ms).filter(|asked| *asked != self.shared.offset_ms)
    }

    /// States how often a probe usually speaks, ms: a reading holds for at most twice that in hourly roll-ups.
    /// Ten minutes for probes nobody states it for. Roll-ups already made stay as they are.
    pub fn set_usual_interval(&self, probe: &str, interval_ms: i64) {
        self.shared.set_usual_interval(probe, interval_ms);
    }

    /// Begins a boot and returns its number. `started_mono_ms` is the monotonic time now; `dated` is wall less
    /// monotonic time, ms, and who vouches for it, where somebody does.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    pub fn begin_boot(
        &mut self,
        started_mono_ms: i64,
        dated: Option<(i64, &str)>,
    ) -> Result<i64, LedgerError> {
        self.write(|conn, _, _| dating::begin(conn, started_mono_ms, dated))
    }

    /// Dates a boot: all its undated readings have UTC times from now on. `offset_ms` is wall less monotonic time.
    /// A boot that has a date keeps it.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    pub fn date_boot(&mut self, boot: i64, offset_ms: i64, voucher: &str) -> Result<(), LedgerError> {
        self.date_boot_noting(boot, offset_ms, voucher, &[]).map(|_| ())
    }

    /// Dates a boot as [`date_boot`](Self::date_boot) does, with the notes that say so, in one transaction; the notes'
    /// numbers come back.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    pub fn date_boot_noting(
        &mut self,
        boot: i64,
        offset_ms: i64,
        voucher: &str,
        notes: &[NewNote],
    ) -> Result<Vec<i64>, LedgerError> {
        let shared = Arc::clone(&self.shared);
        self.write(|conn, seq, book| {
            let used = dating::date(View { conn, shared: &shared }, boot, offset_ms, voucher, *seq)?;
            *seq += i64::from(used);
            let commit = Commit { notes, ..Commit::empty(boot, 0, 0) };
            Ok(commit::write(conn, &commit, *seq, book)?.entries)
        })
    }

    /// Makes everything in `commit` durable, or nothing of it. When it returns, it is: then acknowledge.
    ///
    /// # Errors
    ///
    /// When the storage refuses; see [`LedgerError::needs_reopening`] for what to do.
    pub fn commit(&mut self, commit: &Commit<'_>) -> Result<Committed, LedgerError> {
        self.write(|conn, seq, book| {
            let committed = commit::write(conn, commit, *seq, book)?;
            *seq += i64::from(committed.seq.is_some());
            Ok(committed)
        })
    }

    /// Turns the batches committed before `before_ms` (UTC) into chunks: some series in a transaction, the batches
    /// deleted in the last. Cut short at any point it loses and doubles nothing, and the next call does all of it.
    ///
    /// Commit the snapshot of the running state first: batches it does not cover could not be folded again.
    ///
    /// # Errors
    ///
    /// When the storage refuses (no answer changed then; commits may go on), or a chunk cannot be put together.
    pub fn compact(&mut self, before_ms: i64) -> Result<Compacted, LedgerError> {
        let shared = Arc::clone(&self.shared);
        let mut plan = compaction::plan(self.view()?, before_ms)?;
        let mut slices = plan.slices();
        let last = slices.pop().unwrap_or_default();
        for slice in &slices {
            self.write(|conn, _, _| plan.slice(View { conn, shared: &shared }, slice))?;
            self.checkpoint()?;
        }
        let done = self.write(|conn, _, _| {
            let view = View { conn, shared: &shared };
            plan.slice(view, &last)?;
            plan.finish(view)
        })?;
        if let Some((_, newest)) = plan.ends() {
            shared.reach().forget_before(newest);
        }
        Ok(done)
    }

    /// Puts past readings straight into chunks, in one transaction with what follows from it: see
    /// [`Past`] and [`Aftermath`]. What is there already is left as it is, so that taking in twice changes nothing.
    ///
    /// # Errors
    ///
    /// When the storage refuses; nothing changed then.
    pub fn take_in<'s>(
        &mut self,
        arrived_ms: i64,
        past: &[Past<'_>],
        after: impl FnOnce(&TakenIn) -> Aftermath<'s>,
    ) -> Result<TakenIn, LedgerError> {
        let shared = Arc::clone(&self.shared);
        self.write(|conn, seq, book| {
            past::take_in(View { conn, shared: &shared }, seq, book, arrived_ms, past, after)
        })
    }

    /// Copies the log into the file once it is long. Call it after commits; most calls do nothing.
    ///
    /// # Errors
    ///
    /// When the storage refuses: as after a commit. A reader in the middle of a question is no error; the next call
    /// does the rest.
    pub fn checkpoint(&mut self) -> Result<(), LedgerError> {
        if matches!(self.shared.home, Home::Memory(_)) {
            return Ok(());
        }
        let conn = self.conn.as_ref().ok_or(LedgerError::Closed)?;
        let ask = |mode| {
            let sql = format!("PRAGMA wal_checkpoint({mode})");
            conn.query_row(&sql, [], |row| Ok((row.get::<_, i64>(1)?, row.get::<_, i64>(2)?)))
        };
        let (pages, copied) = ask("NOOP")?;
        // A log that is copied whole is used from its start again by the next commit.
        if pages <= LOG_PAGES || copied >= pages {
            return Ok(());
        }
        let (pages, copied) = ask("PASSIVE")?;
        if copied < pages && pages > 4 * LOG_PAGES {
            tracing::warn!(pages, copied, "the ledger's log grows: a reader stays in it");
        }
        Ok(())
    }

    /// A reader with a connection of its own, for another thread.
    ///
    /// # Errors
    ///
    /// When the ledger is closed.
    pub fn reader(&self) -> Result<Reader, LedgerError> {
        if self.conn.is_none() { Err(LedgerError::Closed) } else { Ok(Reader::new(Arc::clone(&self.shared))) }
    }

    /// The folder it is in; none in memory.
    pub fn folder(&self) -> Option<&Path> {
        self.shared.home.folder()
    }

    /// The damaged rows met so far. They are skipped; everything else is served.
    pub fn fenced(&self) -> Vec<Fence> {
        self.shared.fences()
    }

    /// Looks at everything: the file's own structure and every checksum. The fences, with what is new.
    ///
    /// # Errors
    ///
    /// [`LedgerError::Damaged`] where the structure is, or when the storage refuses.
    pub fn check(&self) -> Result<Vec<Fence>, LedgerError> {
        let view = self.view()?;
        health::whole(view.conn)?;
        health::checksums(view)?;
        Ok(self.fenced())
    }

    /// How much room everything takes.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    pub fn sizes(&self) -> Result<Sizes, LedgerError> {
        health::sizes(self.view()?)
    }

    pub(super) fn view(&self) -> Result<View<'_>, LedgerError> {
        Ok(View { conn: self.conn.as_ref().ok_or(LedgerError::Closed)?, shared: &self.shared })
    }

    /// One transaction; what the writer remembers changes only if it is durable.
    pub(super) fn write<T>(
        &mut self,
        work: impl FnOnce(&Connection, &mut i64, &mut SeriesBook) -> Result<T, LedgerError>,
    ) -> Result<T, LedgerError> {
        let conn = self.conn.as_mut().ok_or(LedgerError::Closed)?;
        let transaction = conn.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let (mut next_seq, mut book) = (self.next_seq, self.book.clone());
        let outcome = work(&transaction, &mut next_seq, &mut book)?;
        transaction.commit()?;
        (self.next_seq, self.book) = (next_seq, book);
        Ok(outcome)
    }
}
