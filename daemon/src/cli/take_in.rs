//! `glasshour take-in`: past readings, or daily lows and highs, from a record into the ledger.
//!
//! A running service is asked to take them in, in pieces that are each acknowledged once durable; without one the
//! ledger is opened here. Taking in twice changes nothing: a reading with the same probe, quantity, time and value
//! is counted as heard before.

use std::io::Write;
use std::path::PathBuf;

use config::zone::Zones;
use serde_json::json;

use super::replay::tell_unread;
use super::target::{Target, read_text, said};
use super::{Trouble, ask};
use crate::keeper::core::Message;
use crate::record;

/// Readings in one piece.
const PIECE: usize = 2_000;

/// Options of `take-in`.
#[derive(Debug, clap::Args)]
pub(super) struct TakeInArgs {
    #[command(flatten)]
    target: Target,
    /// The field map that says what the columns mean.
    #[arg(long, value_name = "MAP")]
    record: PathBuf,
    /// Print what was taken in as JSON.
    #[arg(long)]
    json: bool,
    /// The record's files.
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
}

pub(super) fn run(args: &TakeInArgs, out: &mut impl Write) -> Result<(), Trouble> {
    let text = read_text(&args.record)?;
    let map = config::read_record(&text, &Zones::system()).map_err(|faults| said(&faults, &args.record))?;
    let recorded = record::read(&map, &args.files).map_err(|error| Trouble::Given(error.to_string()))?;
    let whole = tell_unread(&recorded)?;
    match args.target.socket()? {
        Some(socket) => {
            for piece in recorded.readings.chunks(PIECE) {
                ask::post(&socket, "/api/readings", &json!(piece))?;
            }
            for read in &recorded.by_hand {
                let note = read.note(&read.probe);
                ask::post(&socket, "/api/note", &json!({ "note": note, "from_ms": read.from_ms }))?;
            }
        }
        None => by_ourselves(args, &recorded)?,
    }
    let (readings, by_hand) = (recorded.readings.len(), recorded.by_hand.len());
    if args.json {
        writeln!(out, "{}", json!({ "readings": readings, "by_hand": by_hand }))?;
    } else {
        writeln!(out, "taken in: {readings} readings, {by_hand} days by hand")?;
    }
    if whole { Ok(()) } else { Err(Trouble::Said) }
}

fn by_ourselves(args: &TakeInArgs, recorded: &record::Recorded) -> Result<(), Trouble> {
    let (mut core, moment, _) = args.target.open()?;
    let failed = |error: crate::ledger::LedgerError| Trouble::Failed(error.to_string());
    for piece in recorded.readings.chunks(PIECE) {
        let message = Message { readings: piece.to_vec(), arrived_ms: moment.wall_ms };
        core.hear(moment, &[message]);
        core.flush(moment).map_err(failed)?;
    }
    for read in &recorded.by_hand {
        core.note(moment, read.note(&read.probe), Some(read.from_ms))
            .map_err(|error| Trouble::Given(error.to_string()))?;
    }
    while core.remake(1000) {}
    core.flush(moment).map_err(failed)
}
