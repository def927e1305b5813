//! `glasshour ledger backup` and `glasshour ledger restore`.

use std::io::Write;
use std::path::{Path, PathBuf};

use serde_json::json;

use super::super::target::Target;
use super::super::{Trouble, ask};
use super::{as_json, counted, name, now_ms, there};
use crate::calendar::{date, iso};
use crate::entry::Fenced;
use crate::ledger::{self, Copied};

/// Options of `ledger backup`.
#[derive(Debug, clap::Args)]
pub(super) struct BackupArgs {
    #[command(flatten)]
    target: Target,
    /// Write over a file of that name, unless the ledger has damaged rows.
    #[arg(long)]
    replace: bool,
    /// Print what was written as JSON.
    #[arg(long)]
    json: bool,
    /// Where the backup goes: best on another disk.
    #[arg(value_name = "FILE")]
    file: PathBuf,
}

/// Options of `ledger restore`.
#[derive(Debug, clap::Args)]
pub(super) struct RestoreArgs {
    #[command(flatten)]
    target: Target,
    /// Put it in place of another garden's ledger.
    #[arg(long)]
    replace_other: bool,
    /// Print what was done as JSON.
    #[arg(long)]
    json: bool,
    /// The backup.
    #[arg(value_name = "FILE")]
    file: PathBuf,
}

pub(super) fn backup(args: &BackupArgs, out: &mut impl Write) -> Result<(), Trouble> {
    let folder = args.target.data_folder()?;
    let socket = args.target.socket()?;
    let mut damaged = Vec::new();
    ledger::place(&args.file, args.replace, |part| -> Result<(), Trouble> {
        damaged = match &socket {
            Some(socket) => fetched(socket, part)?,
            None => copied(&folder, part)?,
        };
        // A whole backup is worth more than a newer one with holes.
        if !damaged.is_empty() && args.file.exists() {
            name("damaged in the ledger", &damaged);
            let rows = counted(damaged.len() as u64, "row is", "rows are");
            let file = args.file.display();
            let why = format!(
                "{rows} damaged, so {file} is left as it was: name another file to have it all the same"
            );
            return Err(Trouble::Failed(why));
        }
        Ok(())
    })?;
    let bytes = std::fs::metadata(&args.file)?.len();
    if args.json {
        let fenced: Vec<_> = damaged.iter().map(as_json).collect();
        writeln!(out, "{}", json!({ "file": args.file, "bytes": bytes, "fenced": fenced }))?;
    } else {
        writeln!(out, "backup written: {}, {bytes} bytes", args.file.display())?;
    }
    of_the_backup(&damaged)
}

/// Has the running service write the backup; what is damaged in it.
fn fetched(socket: &Path, part: &Path) -> Result<Vec<Fenced>, Trouble> {
    ask::fetch(socket, "/api/ledger/backup", &mut std::fs::File::create(part)?)?;
    Ok(Copied::open(part)?.damaged()?)
}

/// Copies the ledger of a folder where no service runs, also where that takes no writes; what is damaged in it.
fn copied(folder: &Path, part: &Path) -> Result<Vec<Fenced>, Trouble> {
    let ledger = Copied::open(&there(folder)?)?;
    ledger.refuse_without_log()?;
    ledger.copy_to(part)?;
    Ok(ledger.damaged()?)
}

/// What was done is done, but what it was done with is damaged.
fn of_the_backup(damaged: &[Fenced]) -> Result<(), Trouble> {
    if damaged.is_empty() {
        return Ok(());
    }
    name("damaged in the backup", damaged);
    let rows = counted(damaged.len() as u64, "row", "rows");
    let why =
        format!("{rows} of the backup damaged: keep older backups; “glasshour ledger mend” takes from them");
    Err(Trouble::Failed(why))
}

pub(super) fn restore(args: &RestoreArgs, out: &mut impl Write) -> Result<(), Trouble> {
    let folder = args.target.data_folder()?;
    if args.target.socket()?.is_some() {
        let why = "a service runs on this ledger; stop it first (systemctl stop glasshour)";
        return Err(Trouble::Coded(4, why.to_owned()));
    }
    let now_ms = now_ms();
    let stamp = format!("{}-{}", date(now_ms.div_euclid(86_400_000)), now_ms.div_euclid(1_000) % 86_400);
    let backup = Copied::open(&args.file)?;
    let done = ledger::restore(&folder, &backup, now_ms, &stamp, args.replace_other)?;
    if args.json {
        let fenced: Vec<_> = done.fenced.iter().map(as_json).collect();
        let value = json!({ "to": done.to_ms.map(iso), "unsent": done.unsent, "fenced": fenced,
            "aside": done.aside });
        writeln!(out, "{value}")?;
    } else {
        let to = done.to_ms.map_or_else(|| "an empty ledger".to_owned(), iso);
        let unsent = counted(done.unsent, "old message", "old messages");
        writeln!(out, "restored to {to}; {unsent} not sent again")?;
        if let Some(aside) = &done.aside {
            writeln!(out, "what was there before: {}", aside.display())?;
        }
        if backup.lacks_log() {
            writeln!(out, "it was copied from under a running service: its newest readings may be missing")?;
        }
        owner(&folder, out)?;
    }
    of_the_backup(&done.fenced)
}

/// A restore by root leaves files that the service may not write.
fn owner(folder: &Path, out: &mut impl Write) -> Result<(), Trouble> {
    use std::os::unix::fs::MetadataExt;
    let of = |path: PathBuf| std::fs::metadata(path).map(|data| data.uid());
    if of(folder.to_owned())? != of(folder.join(super::NAME))? {
        let folder = folder.display();
        writeln!(out, "give the files to the folder's owner: chown --reference={folder} {folder}/ledger*")?;
    }
    Ok(())
}
