//! `glasshour ledger`: looking after the ledger. A running service is asked; the file is opened only where none runs.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Subcommand;
use serde_json::{Value, json};

use super::Trouble;
use crate::calendar::iso;
use crate::clock::{Clock, SystemClock};
use crate::entry::Fenced;
use crate::ground::Ground;
use crate::ledger::{Founding, Ledger};

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

/// The file of the ledger of a folder, in which there must be one.
pub(super) fn there(folder: &Path) -> Result<PathBuf, Trouble> {
    let file = folder.join(NAME);
    let length = std::fs::metadata(&file).map_or(0, |data| data.len());
    if length == 0 {
        return Err(Trouble::Given(format!("there is no ledger in {}", folder.display())));
    }
    Ok(file)
}

/// Opens the ledger of a folder in which there is one; nothing is made.
pub(super) fn open(folder: &Path) -> Result<Ledger, Trouble> {
    there(folder)?;
    let founding = Founding { offset_ms: 0, program: program() };
    let ledger = Ledger::open(folder, &founding)?;
    for hang in Ground::of(&ledger.entries()?).hangs {
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

/// Says damaged rows on standard error, each in a line that begins with `what` befell it.
pub(super) fn name(what: &str, damaged: &[Fenced]) {
    for fenced in damaged {
        let _ = writeln!(std::io::stderr(), "{what}: {}", words(fenced));
    }
}

/// "chunk 68479: post air_temperature, 2026-… to 2026-…: checksum does not fit".
fn words(fenced: &Fenced) -> String {
    let name = fenced
        .probe
        .as_ref()
        .map(|probe| format!(": {probe} {}", fenced.quantity.as_deref().unwrap_or_default()));
    let span = match (fenced.since_ms, fenced.until_ms) {
        (Some(since), Some(until)) => format!(", {} to {}", iso(since), iso(until)),
        (Some(since), None) => format!(", since {}", iso(since)),
        (None, Some(until)) => format!(", before {}", iso(until)),
        (None, None) => String::new(),
    };
    let Fenced { table, row, wrong, .. } = fenced;
    format!("{table} {row}{}{span}: {wrong}", name.unwrap_or_default())
}

fn as_json(fenced: &Fenced) -> Value {
    json!({
        "table": fenced.table,
        "row": fenced.row,
        "wrong": fenced.wrong,
        "probe": fenced.probe,
        "quantity": fenced.quantity,
        "since": fenced.since_ms.map(iso),
        "until": fenced.until_ms.map(iso),
    })
}

/// A count with its word.
pub(super) fn counted(count: u64, one: &str, many: &str) -> String {
    if count == 1 { format!("1 {one}") } else { format!("{count} {many}") }
}
