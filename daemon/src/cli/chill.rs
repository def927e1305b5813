//! `glasshour chill`: running totals of a winter's cold by four models.

use std::io::{self, Read, Write};
use std::path::PathBuf;

use agronomy::chill::Tally;
use agronomy::series::MS_PER_HOUR;
use agronomy::units::Celsius;

use super::beside::{Found, each};
use super::sheet::{self, figure, number};
use super::stamp::instant;

/// Winter chill from hourly means of the air outdoors, as running totals.
///
/// Reads CSV with the columns time and t_c, one row for each hour in ascending order, and puts hours_0_7 (0 to 7.2 °C),
/// hours_le_7 (at or below 7 °C, frost too), utah_units and portions (Dynamic model, 273 K) behind its rows. The models
/// do not compare: name the one beside its number.
///
/// The totals begin with the first row. A row that cannot be gets empty cells and a message with its line number, and
/// the totals go on without it; the exit code is then 2. Hours that are not there are counted on standard error.
#[derive(Clone, Debug, clap::Args)]
pub struct ChillArgs {
    /// The sheet: a file, or - for standard input.
    #[arg(long, value_name = "-|FILE")]
    pub csv: PathBuf,
}

/// Runs the command.
///
/// # Errors
///
/// Reading `input` or writing `out` or `err`; that the reader of `out` went away is no error.
pub fn run(args: &ChillArgs, input: impl Read, out: impl Write, mut err: impl Write) -> io::Result<u8> {
    let done = match sheet::open(&args.csv, input) {
        Ok(sheet) => winter(sheet, out, &mut err),
        Err(error) => sheet::unreadable(&mut err, &args.csv, &error),
    };
    sheet::until_closed(done)
}

fn winter(sheet: impl Read, out: impl Write, err: &mut impl Write) -> io::Result<u8> {
    let mut winter = Winter::default();
    let added = ["hours_0_7", "hours_le_7", "utah_units", "portions"];
    let exit = each(sheet, (["time", "t_c"], added), out, err, |[time, air]| winter.take(time, air))?;
    if winter.missing > 0 {
        writeln!(
            err,
            "hours missing between the first and the last: {}; no total holds them",
            winter.missing
        )?;
    }
    Ok(exit)
}

/// What has been read.
#[derive(Default)]
struct Winter {
    tally: Tally,
    last_ms: Option<i64>,
    missing: i64,
}

impl Winter {
    fn take(&mut self, time: Option<&[u8]>, air: Option<&[u8]>) -> Result<Found<4>, String> {
        let at_ms = instant("time", time)?;
        let skipped = self.last_ms.map_or(Ok(0), |last_ms| skipped(at_ms.saturating_sub(last_ms)))?;
        let air = Celsius::try_new(number("t_c", air)?).map_err(|error| format!("t_c: {error}"))?;
        self.last_ms = Some(at_ms);
        self.missing += skipped;
        self.tally.take_hour(air);
        let tally = &self.tally;
        let totals =
            [f64::from(tally.hours_0_7), f64::from(tally.hours_le_7), tally.utah_units, tally.portions()];
        Ok(Found { cells: totals.map(figure), word: None })
    }
}

/// Whole hours left out between two rows that are so far apart.
fn skipped(apart_ms: i64) -> Result<i64, String> {
    match apart_ms {
        0 => Err("this time is there twice".to_owned()),
        ..0 => Err("this time comes after a later one".to_owned()),
        1..MS_PER_HOUR => {
            let minutes = apart_ms / 60_000;
            Err(format!(
                "only {minutes} min after the row before; write one row an hour, the mean of the hour"
            ))
        }
        _ => Ok(apart_ms / MS_PER_HOUR - 1),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ran(input: &str) -> (u8, String, String) {
        let (mut out, mut err) = (Vec::new(), Vec::new());
        let args = ChillArgs { csv: "-".into() };
        let exit = run(&args, input.as_bytes(), &mut out, &mut err).unwrap();
        (exit, String::from_utf8(out).unwrap(), String::from_utf8(err).unwrap())
    }

    #[test]
    fn totals_run_and_go_on_without_refused_rows() {
        // Classes of chill_edges.csv: 6 counts one unit and one hour, 20 takes a unit off, frost counts at or below 7.
        let sheet = "time,t_c\n2026-11-01T00:00,6\n2026-11-01T00:00,6\n2026-11-01T00:10,6\n2026-10-31T23:00,6\n\
                     2026-11-01T01:00,cold\n2026-11-01T01:00,NaN\n2026-11-01T01:00,20\nlater,6\n2026-11-01T02:00,-3\n";
        let (exit, out, err) = ran(sheet);
        assert_eq!(exit, 2);
        let told: Vec<_> = out.lines().collect();
        assert_eq!(told[0], "time,t_c,hours_0_7,hours_le_7,utah_units,portions");
        assert_eq!(told[1], "2026-11-01T00:00,6,1,1,1,0");
        assert_eq!(told[7], "2026-11-01T01:00,20,1,1,0,0");
        assert_eq!(told[9], "2026-11-01T02:00,-3,1,2,0,0");
        assert_eq!(told.iter().filter(|row| row.ends_with(",,,,")).count(), 6);
        for (line, why) in [
            (3, "there twice"),
            (4, "10 min after"),
            (5, "after a later one"),
            (6, "no number"),
            (7, "NaN"),
            (9, "no time"),
        ] {
            let said = err.lines().find(|said| said.starts_with(&format!("line {line}: "))).unwrap();
            assert!(said.contains(why), "{said}");
        }
        assert_eq!(err.lines().count(), 6, "{err}");
    }

    #[test]
    fn hours_that_are_not_there_are_counted_and_no_fault() {
        let (exit, out, err) =
            ran("t_c,time\n6,2026-11-01 00:00:00\n6,2026-11-01 01:00:00\n6,2026-11-01 06:00:00\n");
        assert_eq!(exit, 0);
        assert!(out.ends_with("06:00:00,3,3,3,0\n"), "{out}");
        assert_eq!(err, "hours missing between the first and the last: 4; no total holds them\n");
    }
}
