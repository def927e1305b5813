//! `glasshour ledger`: looking after the ledger. A running service is asked; the file is opened only where none runs.
//!
//! Exit codes beside those of every command: 1 also where something is damaged, 3 where the ledger is a newer
//! program's, 4 where another process holds it.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Subcommand;

use super::Trouble;
use super::target::{Target, read_site};
use crate::clock::{Clock, SystemClock};
use crate::ground::Ground;
use crate::ledger::{Founding, Ledger, LedgerError};

mod backup;
mod check;
mod forget;
mod mend;

/// The ledger's file in the data folder.
const NAME: &str = "ledger";

/// Options of `ledger`.
#[derive(Debug, clap::Args)]
pub(super) struct LedgerArgs {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Looks at every row of a ledger, makes roll-ups afresh where they are not right, says what is damaged.
    Check(check::CheckArgs),
    /// Writes a backup, while the service runs or not.
    Backup(backup::BackupArgs),
    /// Puts a backup in the ledger's place, while no service runs.
    Restore(backup::RestoreArgs),
    /// Brings damaged rows back from a backup.
    Mend(mend::MendArgs),
    /// Throws old readings away; day pages and everything noted stay.
    Forget(forget::ForgetArgs),
}

pub(super) fn run(args: &LedgerArgs, out: &mut impl Write) -> Result<(), Trouble> {
    match &args.what {
        What::Check(args) => check::run(args, out),
        What::Backup(args) => backup::backup(args, out),
        What::Restore(args) => backup::restore(args, out),
        What::Mend(args) => mend::run(args, out),
        What::Forget(args) => forget::run(args, out),
    }
}

/// A refusal of the ledger with the exit code that goes with it.
pub(super) fn trouble(error: &LedgerError) -> Trouble {
    let code = match error {
        LedgerError::NotALedger { .. } | LedgerError::There { .. } | LedgerError::OtherLedger => 2,
        LedgerError::Newer { .. } => 3,
        LedgerError::Held { .. } => 4,
        _ => 1,
    };
    Trouble::Coded(code, error.to_string())
}

impl Target {
    /// The data folder.
    pub(super) fn data_folder(&self) -> Result<PathBuf, Trouble> {
        match &self.folder {
            Some(folder) => Ok(folder.clone()),
            None => Ok(read_site(&self.site)?.0.ledger.folder),
        }
    }
}

/// Opens the ledger of a folder in which there is one; nothing is made.
pub(super) fn open(folder: &Path) -> Result<Ledger, Trouble> {
    let file = folder.join(NAME);
    let length = std::fs::metadata(&file).map_or(0, |data| data.len());
    if length == 0 {
        return Err(Trouble::Given(format!("there is no ledger in {}", folder.display())));
    }
    let founding = Founding { offset_ms: 0, program: program() };
    let ledger = Ledger::open(folder, &founding).map_err(|error| trouble(&error))?;
    let entries = ledger.entries().map_err(|error| trouble(&error))?;
    for hang in Ground::of(&entries).hangs {
        ledger.set_usual_interval(&hang.probe, hang.usual_interval_ms);
    }
    Ok(ledger)
}

fn program() -> String {
    format!("glasshour {}", env!("CARGO_PKG_VERSION"))
}

/// The wall clock, UTC ms.
fn now_ms() -> i64 {
    SystemClock::new(None).wall_ms()
}

/// A count with its word.
fn counted(count: u64, one: &str, many: &str) -> String {
    if count == 1 { format!("1 {one}") } else { format!("{count} {many}") }
}
