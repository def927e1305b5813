//! The ledger: everything that happened, kept so that no power cut, crash or full disk loses what was acknowledged.
//!
//! One small SQLite file with a write-ahead log. Each commit is one row of readings, with the notes, notices and
//! outbox changes that belong to them, in one transaction. Once a day those rows become chunks: one compressed row per
//! series and week, hourly roll-ups beside it. Every body carries a checksum over itself and its row's numbers; a
//! damaged row is fenced (skipped and named) and the rest is served.
//!
//! | file | knows |
//! | --- | --- |
//! | `writer`, `commit`, `series` | the one writer: what is written, how, and under which number |
//! | `view`, `rollup`, `records`, `reader` | what is asked, and through whose connection |
//! | `batch`, `chunk`, `hours`, `bytes` | the forms of the bodies |
//! | `merge`, `week`, `dating` | the rules: one reading or two, which week, which time |
//! | `sweep`, `fresh`, `reach`, `ends` | readings in order from chunks and batches; which batches matter; where a series begins and ends |
//! | `compaction`, `past` | batches into chunks; past readings straight into chunks |
//! | `mirrored` | what the mirror asks: chunks by their batches, pages and steps by number |
//! | `inspect`, `health`, `fence`, `mend`, `forget`, `room` | its health, what is damaged and comes back, what is thrown away |
//! | `copied`, `backup`, `migrate`, `identity`, `runs` | other files of its kind: copies, restores, older forms, epochs; how the service's last run ended |
//! | `pour` | years of readings, a week at a time |
//! | `file`, `log`, `folder`, `schema`, `shared` | the file and its log, the disk they lie on, its tables and settings, who may be inside |
//! | `error` | what can go wrong, by what one would do about it |
//!
//! Values are kept in ticks: tenths, hundredths or thousandths of the unit as the quantity says
//! ([`Quantity::decimals`](agronomy::quantity::Quantity::decimals)); finer input is rounded to the nearest tick. A
//! series never changes its decimals: should a release change those of a quantity, new series begin, and readers see
//! both as one.

mod backup;
mod batch;
mod bytes;
mod chunk;
mod commit;
mod compaction;
mod copied;
mod dating;
mod ends;
mod error;
mod fence;
mod file;
mod folder;
mod forget;
mod fresh;
mod health;
mod hours;
mod identity;
mod inspect;
mod log;
mod mend;
mod merge;
mod migrate;
pub mod mirrored;
mod past;
mod pour;
mod reach;
mod reader;
mod records;
mod rollup;
mod room;
mod runs;
mod schema;
mod series;
mod shared;
mod sweep;
mod view;
mod week;
mod writer;

pub use backup::{PASSING, Restored, machine, place, restore};
pub use commit::{Commit, Committed, NO_EXPIRY_MS, NewNote, OutboxState, PageRow, Queued, StepRef, TriedRow};
pub use compaction::{Compacted, Count};
pub use copied::{Copied, may_not_be_written, needs_no_log, refuse_newer};
pub use error::LedgerError;
pub use fence::open_fences;
pub use file::{Disk, Hold};
pub use forget::Forgotten;
pub use health::Sizes;
pub use inspect::Inspection;
pub use mend::Mended;
pub use past::{Aftermath, Past, PastReading, TakenIn};
pub use pour::Pour;
pub use reader::Reader;
pub use records::{OutboxRow, Page};
pub use rollup::Hour;
pub use room::{Growth, free_bytes, growth};
pub use runs::LastRun;
pub use shared::{DEFAULT_USUAL_INTERVAL_MS, Fence};
pub use view::{Batch, Point, View};
pub use writer::{Founding, Ledger};

/// Bundled SQLite is told to call `fdatasync`; built without this it would write three times as much.
const _: &str =
    env!("LIBSQLITE3_FLAGS", "build inside the workspace: .cargo/config.toml sets LIBSQLITE3_FLAGS");

#[cfg(test)]
mod tests;
