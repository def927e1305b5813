//! `glasshour take-in`: past readings, or daily lows and highs, from a record into the ledger.
//!
//! The record is read row by row; memory does not grow with it. A running service is asked to take the readings in, in
//! pieces that are each acknowledged once durable; without one they go straight into the ledger's chunks. Taking in
//! twice changes nothing: a reading with the same probe, quantity, time and value is counted as heard before.

use std::collections::BTreeSet;
use std::io::Write;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

use agronomy::quantity::Quantity;
use config::record::Record;
use config::zone::Zones;
use serde_json::{Value, json};

use super::replay::tell_unread;
use super::target::{Target, read_text, said};
use super::unplaced::{Hung, Unplaced};
use super::{Trouble, ask};
use crate::calendar::{Day, date};
use crate::keeper::past::{TakingIn, Tally};
use crate::keeper::view::{Shell, glance};
use crate::ledger::LedgerError;
use crate::reading::{Heard, ProbeName};
use crate::record::{self, RecordError, Recorded, Taker};

/// Readings in one piece for a running service.
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
    let taken = match args.target.socket()? {
        Some(socket) => by_service(&socket, &map, &args.files)?,
        None => by_ourselves(args, &map)?,
    };
    let whole = tell_unread(&taken.recorded)?;
    if args.json {
        writeln!(out, "{}", taken.json())?;
    } else {
        writeln!(out, "{}", taken.sentence())?;
    }
    if whole { Ok(()) } else { Err(Trouble::Said) }
}

/// What was taken in.
struct Taken {
    readings: u64,
    /// What the ledger knew of them; a running service does not say.
    tally: Option<Tally>,
    recorded: Recorded,
    hung: Hung,
    /// Readings that count for no place.
    unplaced: Unplaced,
}

impl Taken {
    fn json(&self) -> Value {
        let mut value = json!({ "readings": self.readings, "by_hand": self.recorded.by_hand.len() });
        value["unplaced"] = self.unplaced.json(&self.hung);
        if let Some(tally) = &self.tally {
            value["new"] = tally.new.into();
            value["held"] = tally.held.into();
            let stretch = |(from, to): (Day, Day)| json!({ "from": date(from), "to": date(to) });
            value["days"] = stretches(&tally.days).into_iter().map(stretch).collect();
        }
        value
    }

    fn sentence(&self) -> String {
        let by_hand = self.recorded.by_hand.len();
        let mut text = format!("taken in: {} readings, {by_hand} days by hand", self.readings);
        if let Some(tally) = &self.tally {
            text += &format!("; {} readings new, {} already held", tally.new, tally.held);
            for (from, to) in stretches(&tally.days) {
                text += &format!("\ntouched: {}", date(from));
                if to > from {
                    text += &format!(" to {}", date(to));
                }
            }
        }
        for line in self.unplaced.lines(&self.hung) {
            text += &format!("\n{line}");
        }
        text
    }
}

/// First and last of each run of days.
fn stretches(days: &BTreeSet<Day>) -> Vec<(Day, Day)> {
    let days: Vec<Day> = days.iter().copied().collect();
    days.chunk_by(|a, b| a + 1 == *b).map(|run| (run[0], run[run.len() - 1])).collect()
}

fn given(error: &RecordError) -> Trouble {
    Trouble::Given(error.to_string())
}

fn by_service(socket: &Path, map: &Record, files: &[PathBuf]) -> Result<Taken, Trouble> {
    let hung = Hung::of(&ask::read(ask::get(socket, "/api/now")?)?);
    let mut pieces = Pieces {
        socket,
        names: Vec::new(),
        piece: Vec::new(),
        readings: 0,
        hung: &hung,
        unplaced: Unplaced::default(),
        trouble: None,
    };
    let recorded = record::each(map, files, &mut pieces);
    if let Some(trouble) = pieces.trouble {
        return Err(trouble);
    }
    let recorded = recorded.map_err(|error| given(&error))?;
    if !pieces.piece.is_empty() {
        pieces.send()?;
    }
    let (readings, unplaced) = (pieces.readings, pieces.unplaced);
    for read in &recorded.by_hand {
        let note = read.note(&read.probe);
        ask::post(socket, "/api/note", &json!({ "note": note, "from_ms": read.from_ms }))?;
    }
    Ok(Taken { readings, tally: None, recorded, hung, unplaced })
}

/// Readings on their way to a running service.
struct Pieces<'a> {
    socket: &'a Path,
    names: Vec<(ProbeName, Quantity)>,
    piece: Vec<Heard>,
    readings: u64,
    hung: &'a Hung,
    unplaced: Unplaced,
    trouble: Option<Trouble>,
}

impl Pieces<'_> {
    fn send(&mut self) -> Result<(), Trouble> {
        ask::post(self.socket, "/api/readings", &json!(std::mem::take(&mut self.piece))).map(|_| ())
    }
}

impl Taker for Pieces<'_> {
    fn series(&mut self, probe: &ProbeName, quantity: Quantity) -> usize {
        let name = (probe.clone(), quantity);
        self.names.iter().position(|known| *known == name).unwrap_or_else(|| {
            self.names.push(name);
            self.names.len() - 1
        })
    }

    fn take(&mut self, at: usize, at_ms: i64, value: Option<f64>) -> ControlFlow<()> {
        let (probe, quantity) = self.names[at].clone();
        self.unplaced.count(self.hung, &probe, at_ms);
        self.piece.push(Heard { probe, quantity, value, measured_ms: Some(at_ms), stale: false });
        self.readings += 1;
        if self.piece.len() < PIECE {
            return ControlFlow::Continue(());
        }
        self.trouble = self.send().err();
        if self.trouble.is_some() { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    }
}

/// Readings on their way into the ledger's chunks.
struct Straight<'a> {
    taking: TakingIn,
    names: Vec<ProbeName>,
    readings: u64,
    hung: &'a Hung,
    unplaced: Unplaced,
    trouble: Option<LedgerError>,
}

impl Taker for Straight<'_> {
    fn series(&mut self, probe: &ProbeName, quantity: Quantity) -> usize {
        let at = self.taking.series(probe, quantity);
        if at == self.names.len() {
            self.names.push(probe.clone());
        }
        at
    }

    fn take(&mut self, at: usize, at_ms: i64, value: Option<f64>) -> ControlFlow<()> {
        self.readings += 1;
        self.unplaced.count(self.hung, &self.names[at], at_ms);
        self.trouble = self.taking.take(at, at_ms, value).err();
        if self.trouble.is_some() { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    }
}

fn by_ourselves(args: &TakeInArgs, map: &Record) -> Result<Taken, Trouble> {
    let (mut core, moment, _) = args.target.open()?;
    let failed = |error: LedgerError| Trouble::Failed(error.to_string());
    core.flush(moment).map_err(failed)?;
    let hung = Hung::of(&glance(core.engine(), &Shell::default()));
    let mut straight = Straight {
        taking: TakingIn::begin(core, moment),
        names: Vec::new(),
        readings: 0,
        hung: &hung,
        unplaced: Unplaced::default(),
        trouble: None,
    };
    let recorded = record::each(map, &args.files, &mut straight);
    if let Some(trouble) = straight.trouble {
        return Err(failed(trouble));
    }
    let recorded = recorded.map_err(|error| given(&error))?;
    let (readings, unplaced) = (straight.readings, straight.unplaced);
    let tally = straight.taking.finish().map_err(failed)?;
    // From here on as after any start: what is to be told of the garden as it is now known is told.
    let (mut core, moment, _) = args.target.open()?;
    core.advance(moment);
    for read in &recorded.by_hand {
        core.note(moment, read.note(&read.probe), Some(read.from_ms))
            .map_err(|error| Trouble::Given(error.to_string()))?;
    }
    core.flush(moment).map_err(failed)?;
    Ok(Taken { readings, tally: Some(tally), recorded, hung, unplaced })
}
