//! The commands. Data to standard output, everything else to standard error.
//!
//! Exit codes: 0 done; 1 something failed while doing it, or the ledger has damaged rows; 2 what was given cannot be
//! used (a faulty file, an impossible row, a wrong option), good rows come out all the same; 3 the ledger is a newer
//! program's, or what was compared differs; 4 another process holds the ledger.

use std::io::{self, Write};
use std::process::ExitCode;

use clap::{Parser, Subcommand};

use crate::ledger::LedgerError;
use crate::service::Unopened;

pub mod air;
mod ask;
mod beside;
pub mod check;
pub mod chill;
mod clock;
pub mod crops;
pub mod degree_days;
mod demo;
mod drill;
mod export;
mod ground;
pub mod heat_index;
mod ledger;
mod mirror;
mod note;
mod now;
mod replay;
mod run;
pub mod season;
mod sheet;
mod stamp;
mod summary;
pub mod sun;
mod take_in;
mod target;
mod unplaced;
pub mod water;

/// Looks after every crop in a small house and garden through heat and drought: it watches, reckons and tells.
#[derive(Debug, Parser)]
#[command(name = "glasshour", version, propagate_version = true)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

// Words here would hide those of the options in help: where those tell of columns or faults, there are none here.
#[derive(Debug, Subcommand)]
enum Command {
    /// The main job with nothing to set up: an invented garden, a season of history, then a heat wave, live.
    Demo(demo::DemoArgs),
    /// The service, from a site file.
    Run(run::RunArgs),
    /// The glance, in a terminal.
    Now(now::NowArgs),
    /// Notes something in ground or diary.
    Note(note::NoteArgs),
    /// Says what time it is, or when a start of the board was that nobody could date.
    Clock(clock::ClockArgs),
    /// A marked notice through every courier, and what became of it.
    Drill(drill::DrillArgs),
    /// What stands where.
    Ground(ground::GroundArgs),
    /// A record through the same engine; day pages and notices out.
    Replay(replay::ReplayArgs),
    Crops(crops::CropsArgs),
    /// Past readings from a record into the ledger.
    TakeIn(take_in::TakeInArgs),
    Check(check::CheckArgs),
    Air(air::AirArgs),
    DegreeDays(degree_days::DegreeDaysArgs),
    Season(season::SeasonArgs),
    Sun(sun::SunArgs),
    Chill(chill::ChillArgs),
    HeatIndex(heat_index::HeatIndexArgs),
    /// What the ledger holds: day pages, planting pages, counts and notices as JSON, as `replay` prints them; or its
    /// readings, as a table, lines of JSON or a SenML pack.
    Export(export::ExportArgs),
    /// The copy of the ledger in a database elsewhere: what it lacks.
    Mirror(mirror::MirrorArgs),
    /// Looks after the ledger: check, backup, restore, mend, forget.
    Ledger(ledger::LedgerArgs),
    /// Water: what well-watered grass would give off in this weather.
    Water(water::WaterArgs),
}

/// The exit code of a command that tried something which does not work.
const FAILS: u8 = 1;

/// Why a command ended without doing all it was asked.
#[derive(Debug, PartialEq, Eq)]
pub enum Trouble {
    /// Exit code 1: it failed while doing it.
    Failed(String),
    /// Exit code 2: what was given cannot be used.
    Given(String),
    /// An exit code of its own.
    Coded(u8, String),
    /// Exit code 2, and everything has been said already.
    Said,
    /// Exit code 3: two things that were compared differ; what differs has been said already.
    Differs,
}

impl From<LedgerError> for Trouble {
    fn from(error: LedgerError) -> Self {
        let code = match error {
            LedgerError::Absent { .. }
            | LedgerError::NotALedger { .. }
            | LedgerError::There { .. }
            | LedgerError::InUse { .. }
            | LedgerError::OtherLedger
            | LedgerError::OtherInPlace => 2,
            LedgerError::Newer { .. } => 3,
            LedgerError::Held { .. } => 4,
            _ => 1,
        };
        Self::Coded(code, error.to_string())
    }
}

impl From<Unopened> for Trouble {
    fn from(unopened: Unopened) -> Self {
        match unopened {
            Unopened::Ledger(error) => error.into(),
            Unopened::Site(why) => Self::Failed(why),
        }
    }
}

impl From<io::Error> for Trouble {
    fn from(error: io::Error) -> Self {
        Self::Failed(error.to_string())
    }
}

/// Runs the command line of this process.
pub fn main() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(error) => {
            let _ = match out_of_place(&error) {
                Some(why) => writeln!(io::stderr(), "glasshour: {why}"),
                None => error.print(),
            };
            return ExitCode::from(if error.use_stderr() { 2 } else { 0 });
        }
    };
    let mut out = io::BufWriter::new(Outlet { to: io::stdout(), closed: false });
    let done = match cli.command {
        Command::Demo(args) => demo::run(&args),
        Command::Run(args) => run::run(&args),
        Command::Now(args) => now::run(&args, &mut out),
        Command::Note(args) => note::run(args, &mut out),
        Command::Clock(args) => clock::run(args, &mut out),
        Command::Drill(args) => drill::run(&args, &mut out),
        Command::Ground(args) => ground::run(&args, &mut out),
        Command::Replay(args) => replay::run(&args, &mut out),
        Command::Crops(args) => told(crops::run(&args, &mut out, io::stderr())),
        Command::TakeIn(args) => take_in::run(&args, &mut out),
        Command::Check(args) => told(check::run(&args, &mut out, io::stderr())),
        Command::Air(args) => told(air::run(&args, io::stdin(), &mut out, io::stderr())),
        Command::DegreeDays(args) => told(degree_days::run(&args, io::stdin(), &mut out, io::stderr())),
        Command::Season(args) => told(season::run(&args, io::stdin(), &mut out, io::stderr())),
        Command::Sun(args) => told(sun::run(&args, io::stdin(), &mut out, io::stderr())),
        Command::Chill(args) => told(chill::run(&args, io::stdin(), &mut out, io::stderr())),
        Command::HeatIndex(args) => told(heat_index::run(&args, io::stdin(), &mut out, io::stderr())),
        Command::Export(args) => export::run(&args, &mut out),
        Command::Mirror(args) => mirror::run(&args, &mut out),
        Command::Ledger(args) => ledger::run(&args, &mut out),
        Command::Water(args) => told(water::run(&args, io::stdin(), &mut out, io::stderr())),
    };
    // A reader that has seen enough and closed the pipe is no failure of ours.
    if matches!(done, Err(Trouble::Failed(_))) && out.get_ref().closed {
        return ExitCode::SUCCESS;
    }
    // What was found comes out also where the command says afterwards that something is wrong with it.
    let flushed = out.flush().map_err(Trouble::from);
    let done = if out.get_ref().closed { done } else { done.and(flushed) };
    done.map_or_else(|trouble| ExitCode::from(code_of(trouble)), |()| ExitCode::SUCCESS)
}

/// Says why a command ended without doing all it was asked, where nobody said so yet; its exit code.
fn code_of(trouble: Trouble) -> u8 {
    let (code, why) = match trouble {
        Trouble::Failed(why) => (FAILS, Some(why)),
        Trouble::Given(why) => (2, Some(why)),
        Trouble::Coded(code, why) => (code, Some(why)),
        Trouble::Said => (2, None),
        Trouble::Differs => (3, None),
    };
    if let Some(why) = why {
        let _ = writeln!(io::stderr(), "glasshour: {why}");
    }
    code
}

/// What to say of a number where none is asked for.
fn out_of_place(error: &clap::Error) -> Option<String> {
    use clap::error::{ContextKind, ContextValue, ErrorKind};
    let Some(ContextValue::String(written)) = error.get(ContextKind::InvalidArg) else { return None };
    let number = error.kind() == ErrorKind::UnknownArgument && written.parse::<f64>().is_ok();
    let asked = "--help behind the command says what is asked for";
    let poured = "what was poured is noted by: glasshour note water PLACE LITRES";
    number.then(|| format!("no number is asked for where {written} stands; {asked}; {poured}"))
}

/// Standard output, which knows whether whoever read it has closed it.
struct Outlet<W> {
    to: W,
    closed: bool,
}

impl<W: Write> Outlet<W> {
    fn noting<T>(&mut self, written: io::Result<T>) -> io::Result<T> {
        self.closed |= matches!(&written, Err(error) if error.kind() == io::ErrorKind::BrokenPipe);
        written
    }
}

impl<W: Write> Write for Outlet<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = self.to.write(bytes);
        self.noting(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        let flushed = self.to.flush();
        self.noting(flushed)
    }
}

/// The outcome of a command that says everything itself and gives its exit code.
fn told(code: io::Result<u8>) -> Result<(), Trouble> {
    match code? {
        0 => Ok(()),
        FAILS => Err(Trouble::Failed("not everything works; see above".to_owned())),
        _ => Err(Trouble::Said),
    }
}

/// Starts the log on standard error.
fn start_log() {
    let _ = tracing_subscriber::fmt()
        .with_writer(io::stderr)
        .with_target(false)
        .with_max_level(tracing::Level::INFO)
        .try_init();
}

/// A runtime for the tasks: two workers are plenty for one garden.
fn runtime() -> Result<tokio::runtime::Runtime, Trouble> {
    let built = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build();
    built.map_err(Trouble::from)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_out_of_place_is_told_in_words_and_one_below_nought_reaches_the_check_of_its_note() {
        let parsed =
            |words: &[&str]| Cli::try_parse_from(std::iter::once("glasshour").chain(words.iter().copied()));
        let why = out_of_place(&parsed(&["water", "-3"]).unwrap_err()).unwrap();
        assert!(why.contains("where -3 stands") && why.contains("glasshour note water"), "{why}");
        assert_eq!(out_of_place(&parsed(&["water", "--deep"]).unwrap_err()), None);
        for words in [
            &["note", "water", "reds", "-3"][..],
            &["note", "hang", "post", "house", "--height", "-0.1"],
            &["note", "battery-line", "post", "-2.4"],
        ] {
            assert!(parsed(words).is_ok(), "{words:?}");
        }
    }
}
