//! `glasshour degree-days`: the warmth of each day and of all days so far, from lowest and highest.

use std::io::{self, Read, Write};
use std::path::PathBuf;

use agronomy::degree_days::{Cutoff, Method, Rule, StoodIn, Sum, daily};
use chrono::{Days, NaiveDate};
use serde_json::json;

use super::sheet::{self, REFUSED, columns, figure, number, rounded};
use crate::rows::{Between, Rows, plain, shown};

/// Degree days of a season from each day's lowest and highest temperature.
///
/// Reads CSV with the columns date, min_c and max_c and writes date, degree_days and total. Dates are written
/// 2026-07-15 and ascend. A row that cannot be gets empty cells and a message with its line number, and the
/// total goes on without it; the exit code is then 2.
///
/// With double-sine and double-triangle the next row's minimum closes a day; where it lies above the day's own
/// maximum, that maximum stands in. The last row has no next one and no degree days yet.
#[derive(Clone, Debug, clap::Args)]
pub struct DegreeDaysArgs {
    /// Temperature below which nothing grows, °C.
    #[arg(long, value_name = "°C", allow_negative_numbers = true)]
    pub base: f64,
    /// Temperature above which more warmth does not help, °C.
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
    Rule::try_new(args.method, args.base, args.upper, args.cutoff).map_err(|error| error.to_string())
}

/// A day that was read and can be.
#[derive(Clone, Copy)]
struct Told {
    date: NaiveDate,
    min: f64,
    max: f64,
}

fn season<W: Write>(rule: Rule, sheet: impl Read, mut sink: Sink<W>, err: &mut impl Write) -> io::Result<u8> {
    let mut rows = Rows::new(sheet, Between::Sign(b','));
    let headings = if rows.step()? { rows.texts() } else { Vec::new() };
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
        match read(&rule, &rows, at, season.last) {
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
    let (min, max) = (number("min_c", rows.cell(at[1]))?, number("max_c", rows.cell(at[2]))?);
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
}

impl Season {
    fn new(rule: Rule) -> Self {
        Self { sum: Sum::new(rule), last: None, open: None, refused: Vec::new(), stood_in: 0, far: 0 }
    }

    fn take<W: Write>(&mut self, day: Told, sink: &mut Sink<W>) -> io::Result<()> {
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

    fn count<W: Write>(&mut self, day: Told, next_min: Option<f64>, sink: &mut Sink<W>) -> io::Result<()> {
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
mod tests {
    use super::*;
    use clap::{Args as _, FromArgMatches as _};

    fn ran(words: &str, input: &str) -> (u8, String, String) {
        let command = DegreeDaysArgs::augment_args(clap::Command::new("degree-days"));
        let words = ["degree-days", "--csv", "-"].into_iter().chain(words.split_whitespace());
        let args = DegreeDaysArgs::from_arg_matches(&command.try_get_matches_from(words).unwrap()).unwrap();
        let (mut out, mut err) = (Vec::new(), Vec::new());
        let exit = run(&args, input.as_bytes(), &mut out, &mut err).unwrap();
        (exit, String::from_utf8(out).unwrap(), String::from_utf8(err).unwrap())
    }

    #[test]
    fn days_add_up_and_columns_may_stand_in_any_order() {
        // By hand: 34 is clipped to 30 and 8 to 10, so (30 + 12) / 2 - 10 = 11 and (30 + 10) / 2 - 10 = 10.
        let sheet = "max_c,date,sky,min_c\n34,2026-07-01,clear,12\n34,2026-07-02,clear,8\n";
        let (exit, out, err) = ran("--base 10 --upper 30 --method extremes-clipped", sheet);
        assert_eq!((exit, err.as_str()), (0, ""));
        assert_eq!(out, "date,degree_days,total\n2026-07-01,11,11\n2026-07-02,10,21\n");
    }

    #[test]
    fn refused_rows_are_named_and_the_total_goes_on_without_them() {
        let sheet = "date,min_c,max_c\n2026-07-01,12,20\n2026-07-01,12,20\n2026-06-30,12,20\n2026-07-02,NaN,20\n\
                     2026-07-03,22,20\n2026-07-04,12\n2026-7-5,12,20\n2026-07-06,12,warm\n2026-07-07,14,20\n";
        let (exit, out, err) = ran("--base 10 --method mean", sheet);
        assert_eq!(exit, 2);
        let told: Vec<_> = out.lines().skip(1).collect();
        assert_eq!(told[0], "2026-07-01,6,6");
        assert_eq!(told[3], "2026-07-02,,");
        assert_eq!(told[8], "2026-07-07,7,13");
        assert_eq!(told.iter().filter(|line| line.ends_with(",,")).count(), 7);
        let lines: Vec<_> = err.lines().map(|line| line.split(':').next().unwrap()).collect();
        assert_eq!(lines, ["line 3", "line 4", "line 5", "line 6", "line 7", "line 8", "line 9"]);
        assert!(err.contains("2026-07-01 is there twice") && err.contains("\"warm\" is no number"), "{err}");
    }

    #[test]
    fn a_double_method_closes_each_day_by_the_next_rows_minimum() {
        let sheet = "date,min_c,max_c\n2026-07-01,12,20\n2026-07-02,10,18\nrubbish,1,2\n2026-07-03,19,22\n";
        let (exit, out, err) = ran("--base 10 --method double-triangle", sheet);
        assert_eq!(exit, 2);
        // 1 July: halves (12+20)/2-10 = 6 and (10+20)/2-10 = 5. 2 July: (10+18)/2-10 = 4 and, 19 being above 18,
        // (18+18)/2-10 = 8.
        let expected =
            "date,degree_days,total\n2026-07-01,5.5,5.5\n2026-07-02,6,11.5\nrubbish,,\n2026-07-03,,11.5\n";
        assert_eq!(out, expected);
        assert!(err.ends_with("stood in for a higher minimum of the next: 1\n"), "{err}");
    }

    #[test]
    fn the_integral_and_rules_without_sense_are_refused_before_anything_is_read() {
        for method in ["integral", "integral-peak"] {
            let (exit, out, err) =
                ran(&format!("--base 10 --upper 30 --method {method}"), "date,min_c,max_c\n");
            assert_eq!((exit, out.as_str()), (2, ""));
            assert!(err.starts_with(&format!("{method} needs readings through the day")), "{err}");
            assert!(err.contains("write --method single-sine"), "{err}");
        }
        let (exit, _, err) = ran("--base 30 --upper 10 --method single-sine", "");
        assert_eq!(exit, 2);
        assert!(err.contains("must lie above the base"), "{err}");
        let (exit, _, err) = ran("--base 10 --method mean", "day,min_c,max_c\n");
        assert_eq!(exit, 2);
        assert!(err.contains("date, min_c, max_c"), "{err}");
    }

    #[test]
    fn ontario_units_are_reckoned_from_their_own_thresholds_alone() {
        // By hand from the formula: (3.33 x 20 - 0.084 x 400 + 1.8 x 10) / 2 = 25.5.
        let (exit, out, err) =
            ran("--base 10 --method ontario-units", "date,min_c,max_c\n2026-07-01,14.4,30\n");
        assert_eq!((exit, err.as_str()), (0, ""));
        assert_eq!(out, "date,degree_days,total\n2026-07-01,25.5,25.5\n");
        let (exit, _, err) = ran("--base 7 --method ontario-units", "");
        assert_eq!(exit, 2);
        assert!(err.contains("has its own thresholds"), "{err}");
    }

    #[test]
    fn json_holds_rule_days_and_total() {
        let sheet = "date,min_c,max_c\n2026-07-01,12,20\n2026-07-02,x,20\n";
        let (_, out, _) = ran("--base 10 --method mean --json", sheet);
        let told: serde_json::Value = serde_json::from_str(&out).unwrap();
        assert_eq!(told["rule"], "mean 10");
        assert_eq!(told["days"][0], json!({ "date": "2026-07-01", "degree_days": 6.0, "total": 6.0 }));
        assert!(told["days"][1]["degree_days"].is_null());
        assert_eq!(told["total"], 6.0);
    }
}
