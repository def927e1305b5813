//! `glasshour ledger check`: is everything there that was put there?

use std::io::Write;
use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use super::super::target::Target;
use super::super::{Trouble, ask};
use super::{NAME, counted, now_ms, open, there, words};
use crate::calendar::iso;
use crate::ledger::{Copied, Inspection, free_bytes, growth, may_not_be_written, needs_no_log};
use crate::service;

/// Options of `ledger check`.
#[derive(Debug, clap::Args)]
pub(super) struct CheckArgs {
    #[command(flatten)]
    target: Target,
    /// One JSON object rather than text.
    #[arg(long)]
    json: bool,
    /// A ledger file, a backup, or a data folder; without it the site's own.
    #[arg(value_name = "FILE or DIR")]
    path: Option<PathBuf>,
}

/// What was looked at.
struct Looked {
    found: Inspection,
    /// Roll-ups that were made afresh.
    renewed: u64,
    /// Free bytes on the ledger's disk, for the ledger in use.
    free: Option<u64>,
    /// A copy without its log.
    lacks_log: bool,
}

pub(super) fn run(args: &CheckArgs, out: &mut impl Write) -> Result<(), Trouble> {
    let looked = match &args.path {
        None => in_folder(&args.target.data_folder()?)?,
        Some(path) => named(path)?,
    };
    if args.json {
        writeln!(out, "{}", as_json(&looked.found))?;
    } else {
        tell(&looked, out)?;
    }
    let lost = looked.found.fenced.len() as u64;
    if lost == 0 {
        return Ok(());
    }
    Err(Trouble::Failed(format!("{} damaged", counted(lost, "row is", "rows are"))))
}

/// What was named: a ledger in its folder, or a copy, which may be called `ledger` as well.
fn named(path: &Path) -> Result<Looked, Trouble> {
    let (folder, file) = if path.is_dir() {
        (path, path.join(NAME))
    } else if path.file_name().is_some_and(|name| name == NAME) {
        let folder = path.parent().filter(|it| !it.as_os_str().is_empty()).unwrap_or(Path::new("."));
        (folder, path.to_owned())
    } else {
        return copy(path);
    };
    if needs_no_log(&file) { copy(&file) } else { in_folder(folder) }
}

/// The ledger in use: asked for where a service runs, opened otherwise; what can be put right is.
fn in_folder(folder: &Path) -> Result<Looked, Trouble> {
    let free = free_bytes(folder);
    let socket = service::socket(folder);
    if std::os::unix::net::UnixStream::connect(&socket).is_ok() {
        let answer = ask::post(&socket, "/api/ledger/check", &Value::Null)?;
        let renewed = answer.get("renewed").and_then(Value::as_u64).unwrap_or(0);
        let found = answer.get("found").cloned().unwrap_or_default();
        let found = ask::read(found)?;
        return Ok(Looked { found, renewed, free, lacks_log: false });
    }
    let file = there(folder)?;
    if may_not_be_written(&file) {
        return copy(&file);
    }
    let mut ledger = open(folder)?;
    let found = ledger.inspect()?;
    let renewed = ledger.renew_hours(&found.stale_hours)?;
    ledger.name_fences(now_ms())?;
    Ok(Looked { found, renewed, free, lacks_log: false })
}

/// A copy is looked at and left as it is.
fn copy(path: &Path) -> Result<Looked, Trouble> {
    let copied = Copied::open(path)?;
    let mut found = copied.view().inspect()?;
    (found.schema, found.bytes) = (copied.schema(), copied.bytes());
    Ok(Looked { found, renewed: 0, free: None, lacks_log: copied.lacks_log() })
}

fn as_json(found: &Inspection) -> Value {
    let fenced: Vec<Value> = found.fenced.iter().map(super::as_json).collect();
    json!({
        "schema": found.schema,
        "readings": found.readings,
        "first": found.first_ms.map(iso),
        "last": found.last_ms.map(iso),
        "chunks": found.chunks,
        "fenced": fenced,
        "bytes": found.bytes,
        "bytes_per_archived_reading": found.bytes_per_archived_reading,
    })
}

fn tell(looked: &Looked, out: &mut impl Write) -> Result<(), Trouble> {
    let found = &looked.found;
    let span = found.first_ms.zip(found.last_ms);
    let span = span.map(|(first, last)| format!(", {} to {}", iso(first), iso(last))).unwrap_or_default();
    writeln!(out, "{}{span}", counted(found.readings, "reading", "readings"))?;
    let each = found.bytes_per_archived_reading;
    let each = each.map(|bytes| format!(", {bytes:.2} bytes a reading")).unwrap_or_default();
    let chunks = counted(found.chunks, "chunk", "chunks");
    writeln!(out, "{chunks}{each}; {} bytes in all; schema {}", found.bytes, found.schema)?;
    let rate = found.bytes_per_archived_reading.zip(found.readings_per_day);
    if let Some(growth) = rate.and_then(|(bytes, rate)| growth(bytes, rate, looked.free)) {
        writeln!(out, "{}", growth.words())?;
    }
    if looked.lacks_log {
        writeln!(
            out,
            "This was copied from under a running service, without its log: the newest readings may be missing. \
             “glasshour ledger backup” makes whole copies."
        )?;
    }
    match looked.renewed {
        0 => {}
        made => writeln!(out, "{} made afresh from the readings", counted(made, "roll-up", "roll-ups"))?,
    }
    for fenced in &found.fenced {
        writeln!(out, "damaged and skipped: {}", words(fenced))?;
    }
    if found.fenced.is_empty() {
        writeln!(out, "nothing is damaged")?;
    } else {
        writeln!(out, "“glasshour ledger mend BACKUP” brings back what a backup has.")?;
    }
    Ok(())
}
