//! `glasshour degree-days`: the warmth of each day and of all days so far, from lowest and highest.

use std::io::{self, Read, Write};
use std::path::PathBuf;

use agronomy::degree_days::{Cutoff, Method, Rule, StoodIn, Sum, daily};
use agronomy::units::Celsius;
use chrono::{Days, NaiveDate};
use serde_json::json;

use super::sheet::{self, REFUSED, columns, figure, number, rounded};
use crate::rows::{Between, Rows, plain, shown};

/// Degree days of a season from each day's lowest and highest temperature.
///
/// Reads CSV with the columns date, min_c and max_c and writes date, degree_days and total. Dates are written
/// 2026-07-15 and ascend. A row that cannot be gets empty cells and a message with its line number, and the
/// total goes on without it; the exit code is then 2. Days that are not there are counted on standard error.
///
/// With double-sine and double-triangle the next row's minimum closes a day; where it lies above the day's own
/// maximum, that maximum stands in. The last row has no next one and no degree days yet.
#[derive(Clone, Debug, clap::Args)]
pub struct DegreeDaysArgs {
    /// Temperature below which nothing grows, °C.
    #[arg(long, value_name = "°C", allow_negative_numbers = true)]
    pub base: f64,
    /// Temperature above which more warmth does not help, °C. The method mean has none.
    #[arg(long, value_name = "°C", allow_negative_numbers = true)]
    pub upper: Option<f64>,
    /// mean, mean-capped, extremes-clipped, maximum-reflected, single-sine, double-sine, single-triangle,
    /// double-triangle or ontario-units (a scale of its own, with --base 10). Sums of unlike methods must not
    /// be compared; integral and integral-peak need readings through the day.
    #[arg(long)]
    pub method: Method,
    /// What warmth above the upper temperature does, for sines and triangles: horizontal (counts as the upper
    /// temperature), intermediate (counts back) or vertical (does not count).
    #[arg(long, default_value_t)]
    pub cutoff: Cutoff,
    /// The sheet: a file, or - for standard input.
    #[arg(long, value_name = "-|FILE")]
    pub csv: PathBuf,
    /// Print one JSON object of rule, days and total.
    #[arg(long)]
    pub json: bool,
}

/// Runs the command.
///
/// # Errors
///
/// Reading `input` or writing `out` or `err`; that the reader of `out` went away is no error.
pub fn run(args: &DegreeDaysArgs, input: impl Read, out: impl Write, mut err: impl Write) -> io::Result<u8> {
    let rule = match rule(args) {
        Ok(rule) => rule,
        Err(why) => {
            writeln!(err, "{why}")?;
            return Ok(REFUSED);
        }
    };
    if let Some(upper) = args.upper.filter(|_| rule.upper().is_none()) {
        writeln!(err, "{} knows no upper threshold: --upper {upper} changes nothing", args.method)?;
    }
    let done = match sheet::open(&args.csv, input) {
        Ok(sheet) => season(rule, sheet, Sink::new(out, args.json), &mut err),
        Err(error) => sheet::unreadable(&mut err, &args.csv, &error),
    };
    sheet::until_closed(done)
}

fn rule(args: &DegreeDaysArgs) -> Result<Rule, String> {
    if args.method.needs_readings() {
        return Err(format!(
            "{} needs readings through the day, not its lowest and highest alone; write --method single-sine \
             here, or give the readings themselves to glasshour replay",
            args.method
        ));
    }
    let threshold = |value| Celsius::try_new(value).map_err(|error| format!("degree-day threshold: {error}"));
    let (base, upper) = (threshold(args.base)?, args.upper.map(threshold).transpose()?);
    Rule::try_new(args.method, base, upper, args.cutoff).map_err(|error| error.to_string())
}

/// A day that was read and can be.
#[derive(Clone, Copy)]
struct Told {
    date: NaiveDate,
    min: Celsius,
    max: Celsius,
}

fn season<W: Write>(rule: Rule, sheet: impl Read, mut sink: Sink<W>, err: &mut impl Write) -> io::Result<u8> {
    let mut rows = Rows::new(sheet, Between::Sign(b','));
    let headings = sheet::headings(&mut rows)?;
    let at = match columns(&headings, ["date", "min_c", "max_c"]) {
        Ok(at) => at,
        Err(why) => {
            writeln!(err, "{why}")?;
            return Ok(REFUSED);
        }
    };
    sink.begin(&rule)?;
    let mut season = Season::new(rule);
    let mut exit = 0;
    while rows.step()? {
        let whole = sheet::whole(&rows, headings.len());
        match whole.and_then(|()| read(&rule, &rows, at, season.last)) {
            Ok(day) => season.take(day, &mut sink)?,
            Err(why) => {
                writeln!(err, "line {}: {why}", rows.line())?;
                exit = REFUSED;
                let date = rows.cell(at[0]).map(|cell| String::from_utf8_lossy(cell).into_owned());
                season.refuse(date.unwrap_or_default(), &mut sink)?;
            }
        }
    }
    season.end(&mut sink)?;
    sink.end(season.sum.total())?;
    season.tell(err)?;
    Ok(exit)
}

fn read<R: Read>(
    rule: &Rule,
    rows: &Rows<R>,
    at: [usize; 3],
    last: Option<NaiveDate>,
) -> Result<Told, String> {
    let date = date(rows.cell(at[0]))?;
    if let Some(last) = last.filter(|last| *last >= date) {
        let how = if last == date { "is there twice" } else { "comes after a later day" };
        return Err(format!("{date} {how}: {last} was read before it"));
    }
    let celsius = |name, cell| Celsius::try_new(number(name, cell)?).map_err(|error| error.to_string());
    let (min, max) = (celsius("min_c", rows.cell(at[1]))?, celsius("max_c", rows.cell(at[2]))?);
    // The day alone tells whether its temperatures can be.
    daily(rule, min, max, None).map_err(|error| error.to_string())?;
    Ok(Told { date, min, max })
}

/// Four, two and two digits: anything shorter is a date that may be meant otherwise.
pub(super) fn date(cell: Option<&[u8]>) -> Result<NaiveDate, String> {
    let cell = cell.unwrap_or_default();
    let text = std::str::from_utf8(cell).ok().filter(|text| text.len() == 10);
    text.and_then(|text| NaiveDate::parse_from_str(text, "%Y-%m-%d").ok())
        .ok_or_else(|| format!("date {} is no day; write it as 2026-07-15", shown(cell)))
}

/// What has been read, and the day that still waits for the next row's minimum.
struct Season {
    sum: Sum,
    last: Option<NaiveDate>,
    open: Option<Told>,
    /// Dates of the rows refused since: they stand behind the open day.
    refused: Vec<String>,
    stood_in: usize,
    far: usize,
    missing: i64,
}

impl Season {
    fn new(rule: Rule) -> Self {
        Self {
            sum: Sum::new(rule),
            last: None,
            open: None,
            refused: Vec::new(),
            stood_in: 0,
            far: 0,
            missing: 0,
        }
    }

    fn take<W: Write>(&mut self, day: Told, sink: &mut Sink<W>) -> io::Result<()> {
        // Dates ascend, so there is a day at least from one to the next.
        self.missing += self.last.map_or(0, |last| day.date.signed_duration_since(last).num_days() - 1);
        self.last = Some(day.date);
        if self.sum.rule().method().uses_next_minimum() {
            self.close(Some(day), sink)?;
            self.open = Some(day);
            return Ok(());
        }
        self.count(day, None, sink)
    }

    /// Closes the open day by the minimum of the next one.
    fn close<W: Write>(&mut self, next: Option<Told>, sink: &mut Sink<W>) -> io::Result<()> {
        match (self.open.take(), next) {
            (Some(open), Some(next)) => {
                self.far += usize::from(open.date.checked_add_days(Days::new(1)) != Some(next.date));
                self.count(open, Some(next.min), sink)?;
            }
            (Some(open), None) => sink.row(&open.date.to_string(), None, Some(self.sum.total()))?,
            (None, _) => {}
        }
        for date in self.refused.drain(..) {
            sink.row(&date, None, None)?;
        }
        Ok(())
    }

    fn count<W: Write>(
        &mut self,
        day: Told,
        next_min: Option<Celsius>,
        sink: &mut Sink<W>,
    ) -> io::Result<()> {
        // Both days were looked at when they were read, so this is a day; nought would only hide a mistake.
        let Ok(counted) = daily(&self.sum.rule(), day.min, day.max, next_min) else {
            return sink.row(&day.date.to_string(), None, None);
        };
        self.stood_in += usize::from(counted.stood_in == Some(StoodIn::TodaysMaximum));
        // Degree days of temperatures are numbers, and so is any sum of them a sheet can hold.
        if self.sum.add_day(counted.degree_days).is_err() {
            return sink.row(&day.date.to_string(), None, None);
        }
        sink.row(&day.date.to_string(), Some(counted.degree_days), Some(self.sum.total()))
    }

    fn refuse<W: Write>(&mut self, date: String, sink: &mut Sink<W>) -> io::Result<()> {
        if self.open.is_some() {
            self.refused.push(date);
            return Ok(());
        }
        sink.row(&date, None, None)
    }

    fn end<W: Write>(&mut self, sink: &mut Sink<W>) -> io::Result<()> {
        self.close(None, sink)
    }

    fn tell(&self, err: &mut impl Write) -> io::Result<()> {
        if self.stood_in > 0 {
            let days = self.stood_in;
            writeln!(err, "days whose maximum stood in for a higher minimum of the next: {days}")?;
        }
        if self.far > 0 {
            writeln!(err, "days closed by the minimum of a later day than the next: {}", self.far)?;
        }
        if self.missing > 0 {
            let days = self.missing;
            writeln!(
                err,
                "days missing between the first and the last: {days}; the total does not hold them"
            )?;
        }
        Ok(())
    }
}

/// Writes days as they are closed.
#[expect(clippy::large_enum_variant, reason = "one of them in a run")]
enum Sink<W: Write> {
    Csv(csv::Writer<W>),
    Json { out: io::BufWriter<W>, first: bool },
}

impl<W: Write> Sink<W> {
    fn new(out: W, json: bool) -> Self {
        if json {
            Self::Json { out: io::BufWriter::new(out), first: true }
        } else {
            Self::Csv(csv::Writer::from_writer(out))
        }
    }

    fn begin(&mut self, rule: &Rule) -> io::Result<()> {
        match self {
            Self::Csv(csv) => csv.write_record(["date", "degree_days", "total"]).map_err(plain),
            Self::Json { out, .. } => write!(out, "{{\"rule\":{},\"days\":[", json!(rule.to_string())),
        }
    }

    fn row(&mut self, date: &str, degree_days: Option<f64>, total: Option<f64>) -> io::Result<()> {
        match self {
            Self::Csv(csv) => {
                let cell = |value: Option<f64>| value.map(figure).unwrap_or_default();
                csv.write_record([date, &cell(degree_days), &cell(total)]).map_err(plain)
            }
            Self::Json { out, first } => {
                out.write_all(if *first { b"\n" } else { b",\n" })?;
                *first = false;
                let (degree_days, total) = (degree_days.map(rounded), total.map(rounded));
                write!(out, "{}", json!({ "date": date, "degree_days": degree_days, "total": total }))
            }
        }
    }

    fn end(&mut self, total: f64) -> io::Result<()> {
        match self {
            Self::Csv(csv) => csv.flush(),
            Self::Json { out, .. } => {
                writeln!(out, "\n],\"total\":{}}}", json!(rounded(total)))?;
                out.flush()
            }
        }
    }
}

#[cfg(test)]
mod tests;
