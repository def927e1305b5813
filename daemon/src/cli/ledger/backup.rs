//! `glasshour ledger backup` and `glasshour ledger restore`.

use std::io::Write;
use std::path::PathBuf;

use serde_json::json;

use super::super::target::Target;
use super::super::{Trouble, ask};
use super::{counted, now_ms, open, trouble};
use crate::calendar::{date, iso};
use crate::ledger::{self, Copied, LedgerError};

/// Options of `ledger backup`.
#[derive(Debug, clap::Args)]
pub(super) struct BackupArgs {
    #[command(flatten)]
    target: Target,
    /// Write over a file of that name.
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
    let mut asked = Ok(());
    let written = ledger::place(&args.file, args.replace, |part| match &socket {
        Some(socket) => {
            let mut file = std::fs::File::create(part)?;
            asked = ask::fetch(socket, "/api/ledger/backup", &mut file);
            // What the asking came to is told below, in its own words.
            let failed = || LedgerError::Io { what: "the service did not send the backup".to_owned() };
            if asked.is_ok() { Copied::open(part).map(|_| ()) } else { Err(failed()) }
        }
        None => match open(&folder) {
            Ok(ledger) => ledger.copy_to(part),
            Err(refused) => {
                asked = Err(refused);
                Err(LedgerError::Closed)
            }
        },
    });
    asked?;
    written.map_err(|error| trouble(&error))?;
    let bytes = std::fs::metadata(&args.file)?.len();
    if args.json {
        writeln!(out, "{}", json!({ "file": args.file, "bytes": bytes }))?;
    } else {
        writeln!(out, "backup written: {}, {bytes} bytes", args.file.display())?;
    }
    Ok(())
}

pub(super) fn restore(args: &RestoreArgs, out: &mut impl Write) -> Result<(), Trouble> {
    let folder = args.target.data_folder()?;
    if args.target.socket()?.is_some() {
        let why = "a service runs on this ledger; stop it first (systemctl stop glasshour)";
        return Err(Trouble::Coded(4, why.to_owned()));
    }
    let now_ms = now_ms();
    let stamp = format!("{}-{}", date(now_ms.div_euclid(86_400_000)), now_ms.div_euclid(1_000) % 86_400);
    let backup = Copied::open(&args.file).map_err(|error| trouble(&error))?;
    let done = ledger::restore(&folder, &backup, now_ms, &stamp).map_err(|error| trouble(&error))?;
    if args.json {
        let value = json!({ "to": done.to_ms.map(iso), "unsent": done.unsent, "fenced": done.fenced,
            "aside": done.aside });
        writeln!(out, "{value}")?;
        return Ok(());
    }
    let to = done.to_ms.map_or_else(|| "an empty ledger".to_owned(), iso);
    writeln!(
        out,
        "restored to {to}; {} not sent again",
        counted(done.unsent, "old message", "old messages")
    )?;
    if let Some(aside) = &done.aside {
        writeln!(out, "what was there before: {}", aside.display())?;
    }
    if backup.lacks_log() {
        writeln!(out, "it was copied from under a running service: its newest readings may be missing")?;
    }
    if done.fenced > 0 {
        let rows = counted(done.fenced, "row", "rows");
        writeln!(out, "{rows} of the backup are damaged; “glasshour ledger check” names them")?;
    }
    owner(&folder, out)
}

/// A restore by root leaves files that the service may not write.
fn owner(folder: &std::path::Path, out: &mut impl Write) -> Result<(), Trouble> {
    use std::os::unix::fs::MetadataExt;
    let of = |path: PathBuf| std::fs::metadata(path).map(|data| data.uid());
    if of(folder.to_owned())? != of(folder.join(super::NAME))? {
        let folder = folder.display();
        writeln!(out, "give the files to the folder's owner: chown --reference={folder} {folder}/ledger*")?;
    }
    Ok(())
}
