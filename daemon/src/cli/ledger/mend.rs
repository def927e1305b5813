//! `glasshour ledger mend`: what is damaged comes back from a backup.

use std::io::Write;
use std::path::PathBuf;

use serde_json::{Value, json};

use super::super::target::Target;
use super::super::{Trouble, ask};
use super::{counted, now_ms, open};
use crate::ledger::Copied;

/// Options of `ledger mend`.
#[derive(Debug, clap::Args)]
pub(super) struct MendArgs {
    #[command(flatten)]
    target: Target,
    /// Print what was done as JSON.
    #[arg(long)]
    json: bool,
    /// The backup.
    #[arg(value_name = "BACKUP")]
    file: PathBuf,
}

pub(super) fn run(args: &MendArgs, out: &mut impl Write) -> Result<(), Trouble> {
    let backup = Copied::open(&args.file)?;
    let done = match args.target.socket()? {
        Some(socket) => {
            // As one file in this program's form, whatever it is and wherever it lies: the service may not see it.
            let whole = tempfile::NamedTempFile::new()?;
            backup.copy_to(whole.path())?;
            ask::send(&socket, "/api/ledger/mend", std::fs::read(whole.path())?)?
        }
        None => {
            let mut ledger = open(&args.target.data_folder()?)?;
            let mended = ledger.mend(&backup, now_ms())?;
            let left = mended.left.iter().map(|fence| json!([fence.table, fence.row, fence.what]));
            let left: Vec<Value> = left.collect();
            json!({ "rows": mended.rows, "readings": mended.readings, "left": left })
        }
    };
    let left = done.get("left").and_then(Value::as_array).map_or(0, Vec::len) as u64;
    if args.json {
        writeln!(out, "{done}")?;
    } else {
        let number = |key| done.get(key).and_then(Value::as_u64).unwrap_or(0);
        let (rows, readings) = (number("rows"), number("readings"));
        let readings = counted(readings, "reading", "readings");
        writeln!(out, "mended: {}, {readings} back", counted(rows, "row", "rows"))?;
    }
    if left == 0 {
        Ok(())
    } else {
        Err(Trouble::Failed(format!("{} damaged", counted(left, "row is still", "rows are still"))))
    }
}
