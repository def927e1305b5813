//! `glasshour season`: years of readings in one pass, a row for each day out.
//!
//! A file of ten years of minutes has five million rows. It is read in pieces, each row where it lies, and added up
//! day by day, so that memory does not grow with the file. The first row that is written in an unusual way hands
//! over to the reader that the other calculators use, for the rest of the file: slower, and with all its messages.

mod days;
mod pieces;
mod plain;

use std::io::{self, Read, Write};
use std::path::PathBuf;

use agronomy::day_sums::Lines;
use agronomy::units::{Celsius, Kilopascal, Minutes};

use super::sheet::{self, REFUSED, columns, figure, number};
use super::stamp::instant;
use crate::rows::{Between, Rows};
use days::{Days, Stop};
use pieces::Pieces;

/// Years of readings, a row for each day: extremes, degree days, hours of heat and of dry air, mean deficit.
///
/// Reads CSV with the columns time, t_c and rh_pct in ascending order of time and writes, for each day in UTC, date,
/// readings, low_c, high_c, degree_days (integral between base and upper threshold), hours_above, deficit_hours and
/// mean_vpd_kpa (FAO-56; the mean of the deficits). Memory does not grow with the file; it is fastest with just these
/// columns in this order and times as 2026-07-15T13:00:00Z.
///
/// The readings must come at a steady step: each stands for one step, the commonest distance among the first 256 rows
/// (of equals the shortest) or what --step-min says. Where it was found and more than a tenth of the rows do not follow
/// by it, hours and degree days are doubtful: that is said, and the exit code is 2. What was not measured (an empty cell, a row that
/// is not there) adds nothing to degree days and hours, so look at the column readings; a temperature without humidity
/// counts for all but the deficit. What is missing is counted on standard error.
///
/// A row that cannot be is left out with a message that has its line number; the exit code is then 2.
#[derive(Clone, Debug, clap::Args)]
pub struct SeasonArgs {
    /// The sheet: a file, or - for standard input.
    #[arg(long, value_name = "-|FILE")]
    pub csv: PathBuf,
    /// Base of the degree days, °C.
    #[arg(long, value_name = "°C", default_value_t = 10.0, allow_negative_numbers = true)]
    pub base: f64,
    /// Upper threshold of the degree days, °C: warmer hours count as if at it.
    #[arg(long, value_name = "°C", default_value_t = 30.0, allow_negative_numbers = true)]
    pub upper: f64,
    /// Hours above this temperature are counted, °C.
    #[arg(long, value_name = "°C", default_value_t = 32.0, allow_negative_numbers = true)]
    pub hot: f64,
    /// Hours with a deficit above this are counted, kPa.
    #[arg(long, value_name = "kPa", default_value_t = 2.5, allow_negative_numbers = true)]
    pub dry: f64,
    /// What a reading stands for, minutes. Otherwise the commonest distance of the first rows.
    #[arg(long, value_name = "MINUTES", allow_negative_numbers = true)]
    pub step_min: Option<f64>,
}

impl SeasonArgs {
    fn lines(&self) -> Result<Lines, String> {
        let celsius =
            |flag: &str, value| Celsius::try_new(value).map_err(|error| format!("--{flag}: {error}"));
        let dry = Kilopascal::try_new(self.dry).map_err(|error| format!("--dry: {error}"))?;
        let (base, upper) = (celsius("base", self.base)?, celsius("upper", self.upper)?);
        Lines::try_new(base, upper, celsius("hot", self.hot)?, dry).map_err(|error| error.to_string())
    }

    fn step(&self) -> Result<Option<Minutes>, String> {
        match self.step_min {
            None => Ok(None),
            Some(step) if step > 0.0 => {
                Minutes::try_new(step).map(Some).map_err(|error| format!("--step-min: {error}"))
            }
            Some(step) => Err(format!("--step-min: {step} min is no step; write more than 0")),
        }
    }
}

/// Runs the command.
///
/// # Errors
///
/// Reading `input` or writing `out` or `err`; that the reader of `out` went away is no error.
pub fn run(args: &SeasonArgs, input: impl Read, out: impl Write, mut err: impl Write) -> io::Result<u8> {
    let (lines, step) = match (args.lines(), args.step()) {
        (Ok(lines), Ok(step)) => (lines, step),
        (Err(why), _) | (_, Err(why)) => {
            writeln!(err, "{why}")?;
            return Ok(REFUSED);
        }
    };
    let done = match sheet::open(&args.csv, input) {
        Ok(sheet) => season(sheet, out, &mut err, (lines, step)),
        Err(error) => sheet::unreadable(&mut err, &args.csv, &error),
    };
    sheet::until_closed(done)
}

/// The columns, in the order in which a plain file has them.
const COLUMNS: [&str; 3] = ["time", "t_c", "rh_pct"];

fn season(
    sheet: impl Read,
    out: impl Write,
    err: &mut impl Write,
    (lines, step): (Lines, Option<Minutes>),
) -> io::Result<u8> {
    let mut pieces = Pieces::new(sheet);
    if plain_heading(&mut pieces)? {
        let mut place = Place::new(out, err, lines, step)?;
        place.line = 1;
        place.plain_rows(&mut pieces)?;
        let mut rows = Rows::new(pieces.rest(), Between::Sign(b','));
        place.any_rows(&mut rows, [0, 1, 2], COLUMNS.len())?;
        return place.finish(step.is_none());
    }
    let mut rows = Rows::new(pieces.rest(), Between::Sign(b','));
    let headings = sheet::headings(&mut rows)?;
    match columns(&headings, COLUMNS) {
        Ok(at) => {
            let mut place = Place::new(out, err, lines, step)?;
            place.any_rows(&mut rows, at, headings.len())?;
            place.finish(step.is_none())
        }
        Err(why) => {
            writeln!(err, "{why}")?;
            Ok(REFUSED)
        }
    }
}

/// Whether the first line names our columns and no others, in their order; if so, it is used up.
fn plain_heading(pieces: &mut Pieces<impl Read>) -> io::Result<bool> {
    let heading = COLUMNS.join(",");
    while pieces.lines().is_empty() && pieces.more()? {}
    let behind = pieces.lines().strip_prefix(heading.as_bytes());
    let end = match behind {
        Some([b'\n', ..]) => 1,
        Some([b'\r', b'\n', ..]) => 2,
        _ => return Ok(false),
    };
    pieces.use_up(heading.len() + end);
    Ok(true)
}

/// Where in the file we are, and what becomes of it.
struct Place<'e, W, E> {
    days: Days<W>,
    err: &'e mut E,
    /// Lines used up.
    line: u64,
    exit: u8,
}

impl<'e, W: Write, E: Write> Place<'e, W, E> {
    fn new(out: W, err: &'e mut E, lines: Lines, step: Option<Minutes>) -> io::Result<Self> {
        Ok(Self { days: Days::new(out, lines, step)?, err, line: 0, exit: 0 })
    }

    /// Takes rows as long as they are plain.
    fn plain_rows(&mut self, pieces: &mut Pieces<impl Read>) -> io::Result<()> {
        let mut date = [0; plain::DATE];
        let mut midnight_ms = 0;
        loop {
            let lines = pieces.lines();
            let mut left = lines;
            while let Some(row) = plain::row(left) {
                if left[..plain::DATE] != date {
                    let Some(found) = midnight(left) else { break };
                    midnight_ms = found;
                    date.copy_from_slice(&left[..plain::DATE]);
                }
                self.line += 1;
                let taken = self.days.take(midnight_ms + row.since_midnight_ms, row.air, row.humidity);
                self.outcome(self.line, taken)?;
                left = &left[row.length..];
            }
            let (unusual, used) = (!left.is_empty(), lines.len() - left.len());
            pieces.use_up(used);
            if unusual || !pieces.more()? {
                return Ok(());
            }
        }
    }

    /// Takes what rows there are, however they are written.
    fn any_rows(&mut self, rows: &mut Rows<impl Read>, at: [usize; 3], cells: usize) -> io::Result<()> {
        while rows.step()? {
            let taken = sheet::whole(rows, cells)
                .and_then(|()| any_row(at.map(|index| rows.cell(index))))
                .map_err(Stop::Row)
                .and_then(|(at_ms, air, humidity)| self.days.take(at_ms, air, humidity));
            self.outcome(self.line + rows.line(), taken)?;
        }
        Ok(())
    }

    #[inline]
    fn outcome(&mut self, line: u64, taken: Result<(), Stop>) -> io::Result<()> {
        match taken {
            Ok(()) => Ok(()),
            Err(Stop::Writing(error)) => Err(error),
            Err(Stop::Row(why)) => {
                self.exit = REFUSED;
                writeln!(self.err, "line {line}: {why}")
            }
        }
    }

    fn finish(mut self, step_was_found: bool) -> io::Result<u8> {
        if !self.days.finish()? {
            writeln!(self.err, "no step is found in so few rows; --step-min says what a reading stands for")?;
            return Ok(REFUSED);
        }
        let counts = &self.days.counts;
        for why in &counts.overfull {
            writeln!(self.err, "{why}")?;
            self.exit = REFUSED;
        }
        let step = self.days.step().map(|step| figure(step.get())).unwrap_or_default();
        if step_was_found && !step.is_empty() {
            writeln!(self.err, "each reading stands for {step} min, as most of the first rows are apart")?;
        }
        if counts.without_air > 0 || counts.without_humidity > 0 {
            let &days::Counts { rows, without_air, without_humidity, .. } = counts;
            writeln!(
                self.err,
                "missing in {rows} rows: temperatures {without_air}, humidities {without_humidity}"
            )?;
        }
        if counts.off_step > 0 {
            let &days::Counts { rows, off_step, .. } = counts;
            writeln!(self.err, "rows that do not follow the one before by {step} min: {off_step} of {rows}")?;
            if step_was_found && off_step * 10 > rows {
                writeln!(
                    self.err,
                    "that is no steady step: hours and degree days are doubtful; --step-min says what a reading \
                     stands for"
                )?;
                self.exit = REFUSED;
            }
        }
        if counts.absent_days > 0 {
            let count = counts.absent_days;
            writeln!(self.err, "days without a row between the first and the last: {count}")?;
        }
        Ok(self.exit)
    }
}

/// Midnight of the date with which a row begins, UTC ms.
#[cold]
fn midnight(row: &[u8]) -> Option<i64> {
    let start = [row.get(..plain::DATE)?, b"00:00"].concat();
    instant("time", Some(&start)).ok()
}

fn any_row([time, air, humidity]: [Option<&[u8]>; 3]) -> Result<(i64, f64, f64), String> {
    Ok((instant("time", time)?, perhaps("t_c", air)?, perhaps("rh_pct", humidity)?))
}

/// A number, or NaN of an empty cell.
fn perhaps(name: &str, cell: Option<&[u8]>) -> Result<f64, String> {
    match cell {
        Some([]) => Ok(f64::NAN),
        cell => match number(name, cell)? {
            value if value.is_nan() => Err(format!("{name} is no number; leave the cell empty")),
            value => Ok(value),
        },
    }
}

#[cfg(test)]
mod tests;
