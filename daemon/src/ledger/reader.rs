//! A reader: its own connection, for any thread; it never blocks the writer, nor the writer it.

use std::ops::Range;
use std::path::Path;
use std::sync::Arc;

use agronomy::quantity::Quantity;

use super::copied::vacuum_into;
use super::file::Role;
use super::shared::{Shared, Slot, occupy};
use super::{Batch, Forgotten, Hour, Inspection, LedgerError, OutboxRow, Page, Point, View};
use crate::entry::{Entry, Fenced};
use crate::glance::UndatedBoot;
use crate::reading::Reading;

/// A reader of the ledger. It sees every commit that has returned. While the ledger is closed after an error it
/// answers [`LedgerError::Closed`], and goes on by itself afterwards.
#[derive(Clone, Debug)]
pub struct Reader {
    shared: Arc<Shared>,
    slot: Arc<Slot>,
}

impl Reader {
    pub(super) fn new(shared: Arc<Shared>) -> Self {
        let slot = shared.admit();
        Self { shared, slot }
    }

    /// Asks one question, or several in a row.
    ///
    /// # Errors
    ///
    /// When the ledger is closed, or what the question returns.
    pub fn look<T>(&self, ask: impl FnOnce(View<'_>) -> Result<T, LedgerError>) -> Result<T, LedgerError> {
        let _inside = self.shared.enter()?;
        let mut slot = occupy(&self.slot);
        let conn = match slot.take() {
            Some(conn) => conn,
            None => self.shared.home.connect(Role::Reader)?,
        };
        let answer = ask(View { conn: &conn, shared: &self.shared });
        *slot = Some(conn);
        answer
    }

    /// Writes a copy of the ledger's present state to a path where nothing is, or an empty file. The writer is not kept
    /// waiting.
    ///
    /// # Errors
    ///
    /// When the ledger is closed, or the storage refuses.
    pub fn copy_to(&self, path: &Path) -> Result<(), LedgerError> {
        self.look_apart(|conn| vacuum_into(conn, path))
    }

    /// The folder the ledger is in; none in memory.
    pub fn folder(&self) -> Option<&Path> {
        self.shared.home.folder()
    }

    /// Works through a connection of its own that is closed afterwards, for what a reader's may not do.
    fn look_apart<T>(
        &self,
        work: impl FnOnce(&rusqlite::Connection) -> Result<T, LedgerError>,
    ) -> Result<T, LedgerError> {
        let _inside = self.shared.enter()?;
        work(&self.shared.home.connect(Role::Writer)?)
    }
}

/// Each question of [`View`] by itself.
macro_rules! questions {
    ($($(#[$doc:meta])* $name:ident($($arg:ident: $type:ty),*) -> $answer:ty;)*) => {
        impl Reader {
            $(
                $(#[$doc])*
                ///
                /// # Errors
                ///
                /// When the storage refuses or the ledger is closed.
                pub fn $name(&self, $($arg: $type),*) -> Result<$answer, LedgerError> {
                    self.look(|view| view.$name($($arg),*))
                }
            )*
        }

        impl super::Ledger {
            $(
                $(#[$doc])*
                ///
                /// # Errors
                ///
                /// When the storage refuses or the ledger is closed.
                pub fn $name(&self, $($arg: $type),*) -> Result<$answer, LedgerError> {
                    self.view()?.$name($($arg),*)
                }
            )*
        }
    };
}

questions! {
    /// See [`View::readings`].
    readings(probe: &str, quantity: Quantity, range: Range<i64>) -> Vec<Reading>;
    /// See [`View::readings_of`].
    readings_of(wanted: &[(&str, Quantity)], range: Range<i64>) -> Vec<Vec<Point>>;
    /// See [`View::late`].
    late(probe: &str, quantity: Quantity, range: Range<i64>) -> Vec<(Reading, i64)>;
    /// See [`View::newest`].
    newest(probe: &str, quantity: Quantity) -> Option<Reading>;
    /// See [`View::span`].
    span(probe: &str, quantity: Quantity) -> Option<(i64, i64)>;
    /// See [`View::hourly`].
    hourly(probe: &str, quantity: Quantity, range: Range<i64>) -> Vec<Hour>;
    /// See [`View::series`].
    series() -> Vec<(String, Quantity)>;
    /// See [`View::batches_after`].
    batches_after(seq: i64, limit: usize) -> Vec<Batch>;
    /// See [`View::newest_commit_ms`].
    newest_commit_ms() -> Option<i64>;
    /// See [`View::undated`].
    undated() -> u64;
    /// See [`View::boot_date`].
    boot_date(boot: i64) -> Option<(i64, String)>;
    /// See [`View::first_undated_ms`].
    first_undated_ms(boot: i64) -> Option<i64>;
    /// See [`View::undated_boots`].
    undated_boots(boot: i64) -> Vec<UndatedBoot>;
    /// See [`View::cursor`].
    cursor(name: &str) -> i64;
    /// See [`View::entries`].
    entries() -> Vec<Entry>;
    /// See [`View::entries_after`].
    entries_after(id: i64) -> Vec<Entry>;
    /// See [`View::outbox`].
    outbox() -> Vec<OutboxRow>;
    deliveries(step: i64) -> Vec<OutboxRow>;
    deliveries_of(steps: &[i64]) -> Vec<OutboxRow>;
    /// See [`View::pages`].
    pages(edition: &str) -> Vec<Page>;
    /// See [`View::editions`].
    editions() -> Vec<String>;
    /// See [`View::inspect`].
    inspect() -> Inspection;
    /// See [`View::readings_per_day`].
    readings_per_day() -> Option<f64>;
    /// See [`View::outlived`].
    outlived(now_ms: i64) -> Option<Forgotten>;
    /// See [`View::forgettable`].
    forgettable(before_ms: i64) -> Forgotten;
    /// See [`View::lost`].
    lost(series: &[(String, Quantity)], range: Range<i64>) -> Vec<Fenced>;
    /// See [`View::state`].
    state(edition: &str) -> Option<(i64, Vec<u8>)>;
}
