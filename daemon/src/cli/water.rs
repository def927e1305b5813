//! `glasshour water et0`: what well-watered grass would give off in this weather, day by day or hour by hour.

mod columns;
mod days;
mod hours;

use std::io::{self, Read, Write};
use std::path::PathBuf;

use clap::{Args, Subcommand, ValueEnum};

use super::beside;
use super::sheet::{self, REFUSED, figure};
use crate::rows::{Between, Rows};
use columns::Columns;

/// Water: what the weather asks for.
#[derive(Clone, Debug, Args)]
pub struct WaterArgs {
    /// What to reckon.
    #[command(subcommand)]
    pub what: What,
}

/// What to reckon.
#[derive(Clone, Debug, Subcommand)]
pub enum What {
    /// Reference evapotranspiration: the water that well-watered short grass gives off, outdoors.
    ///
    /// Reads CSV whose first line names the columns, in any order; other columns pass through, and et0_mm is put
    /// behind them. A row that cannot be gets an empty cell and a message with its line number; the exit code is
    /// then 2. Place and gauge stand in columns (lat, lon, elev_m, zw) or in options; a column wins.
    ///
    /// Days: doy (day of the year), tmin_c, tmax_c, ea_kpa (vapour pressure), rs (sun, MJ/m²), uz (wind at zw, m/s).
    /// With --method hargreaves doy, tmin_c and tmax_c are enough.
    ///
    /// Hours, in their order: doy (the local one), utc_start (hour in UTC at which the row begins), t_c, ea_kpa, rs,
    /// uz, and lon. How cloudy a night is, is taken from the last hour of enough sun. Rows of another place, or after
    /// a gap of more than a day, begin anew; so do those of another name in a column site.
    Et0(Et0Args),
}

/// Options of `water et0`.
#[derive(Clone, Debug, Args)]
pub struct Et0Args {
    /// Whether a row is a day or an hour.
    #[arg(long)]
    pub period: Period,
    /// Which equation.
    #[arg(long, default_value = "penman-monteith")]
    pub method: Method,
    /// Degrees north of the equator; south is negative.
    #[arg(long, value_name = "°", allow_negative_numbers = true)]
    pub lat: Option<f64>,
    /// Degrees east of Greenwich; west is negative. For hours only.
    #[arg(long, value_name = "°", allow_negative_numbers = true)]
    pub lon: Option<f64>,
    /// Height above the sea, m.
    #[arg(long, value_name = "m", allow_negative_numbers = true)]
    pub altitude_m: Option<f64>,
    /// Height of the wind gauge above the ground, m.
    #[arg(long, value_name = "m", default_value_t = 2.0, allow_negative_numbers = true)]
    pub gauge_m: f64,
    /// The sheet: a file, or - for standard input.
    #[arg(long, value_name = "-|FILE")]
    pub csv: PathBuf,
}

/// What a row of the sheet is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Period {
    /// A day.
    Daily,
    /// An hour.
    Hourly,
}

/// Which equation.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Method {
    /// From temperature, humidity, sun and wind.
    PenmanMonteith,
    /// From a day's lowest and highest temperature alone.
    Hargreaves,
}

/// Runs the command.
///
/// # Errors
///
/// Reading `input` or writing `out` or `err`; that the reader of `out` went away is no error.
pub fn run(args: &WaterArgs, input: impl Read, out: impl Write, mut err: impl Write) -> io::Result<u8> {
    let What::Et0(args) = &args.what;
    if args.period == Period::Hourly && args.method == Method::Hargreaves {
        writeln!(
            err,
            "hargreaves needs the lowest and highest of a whole day; write --period daily, or --method \
             penman-monteith"
        )?;
        return Ok(REFUSED);
    }
    let done = match sheet::open(&args.csv, input) {
        Ok(sheet) => through(args, sheet, out, &mut err),
        Err(error) => sheet::unreadable(&mut err, &args.csv, &error),
    };
    sheet::until_closed(done)
}

fn through(args: &Et0Args, sheet: impl Read, out: impl Write, err: &mut impl Write) -> io::Result<u8> {
    let mut rows = Rows::new(sheet, Between::Sign(b','));
    let headings = sheet::headings(&mut rows)?;
    let columns = match Columns::find(&headings, args) {
        Ok(columns) => columns,
        Err(why) => {
            writeln!(err, "{why}")?;
            return Ok(REFUSED);
        }
    };
    let mut sink = Sink::begin(out, err, &rows, columns.width())?;
    match args.period {
        Period::Daily => {
            while rows.step()? {
                let et0 = days::reckon(args.method, &columns, &rows);
                sink.row(&Kept::of(&rows, columns.width()), et0)?;
            }
        }
        Period::Hourly => {
            let mut watch = hours::Watch::default();
            while rows.step()? {
                let told = hours::read(&columns, &rows);
                watch.take(told, Kept::of(&rows, columns.width()), &mut sink)?;
            }
            watch.end(&mut sink)?;
        }
    }
    sink.end()
}

/// A row as it was written, kept until its figure is known.
struct Kept {
    line: u64,
    cells: Vec<Vec<u8>>,
}

impl Kept {
    fn of<R: Read>(rows: &Rows<R>, width: usize) -> Self {
        Self { line: rows.line(), cells: beside::written(rows, width).map(<[u8]>::to_vec).collect() }
    }
}

/// Writes rows with their figure, and messages about those that have none.
struct Sink<'a, W: Write, E: Write> {
    csv: csv::Writer<W>,
    err: &'a mut E,
    exit: u8,
}

impl<'a, W: Write, E: Write> Sink<'a, W, E> {
    fn begin<R: Read>(out: W, err: &'a mut E, headings: &Rows<R>, width: usize) -> io::Result<Self> {
        let mut csv = beside::writer(out);
        beside::write(&mut csv, beside::written(headings, width), ["et0_mm"])?;
        Ok(Self { csv, err, exit: 0 })
    }

    fn row(&mut self, kept: &Kept, et0: Result<f64, String>) -> io::Result<()> {
        if let Err(why) = &et0 {
            writeln!(self.err, "line {}: {why}", kept.line)?;
            self.exit = REFUSED;
        }
        beside::write(&mut self.csv, &kept.cells, [et0.map(figure).unwrap_or_default()])
    }

    fn end(mut self) -> io::Result<u8> {
        self.csv.flush()?;
        Ok(self.exit)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::FromArgMatches as _;

    fn ran(words: &str, input: &str) -> (u8, String, String) {
        let command = WaterArgs::augment_args(clap::Command::new("water"));
        let words = ["water", "et0", "--csv", "-"].into_iter().chain(words.split_whitespace());
        let args = WaterArgs::from_arg_matches(&command.try_get_matches_from(words).unwrap()).unwrap();
        let (mut out, mut err) = (Vec::new(), Vec::new());
        let exit = run(&args, input.as_bytes(), &mut out, &mut err).unwrap();
        (exit, String::from_utf8(out).unwrap(), String::from_utf8(err).unwrap())
    }

    /// The last cell of each row below the heading.
    fn last(out: &str) -> Vec<&str> {
        out.lines().skip(1).map(|line| line.rsplit(',').next().unwrap()).collect()
    }

    #[test]
    fn a_day_of_the_book_comes_out_and_columns_win_over_options() {
        // FAO-56, example 18: 3.88 mm/d, wind of 2.78 m/s at 10 m.
        let sheet = "note,doy,tmin_c,tmax_c,ea_kpa,rs,uz,zw\n\"a, b\",187,12.3,21.5,1.409,22.07,2.78,10\n";
        let (exit, out, err) = ran("--period daily --lat 50.8 --altitude-m 100 --gauge-m 2", sheet);
        assert_eq!((exit, err.as_str()), (0, ""));
        assert!(out.starts_with("note,doy,tmin_c,tmax_c,ea_kpa,rs,uz,zw,et0_mm\n\"a, b\",187,"), "{out}");
        assert!(last(&out)[0].starts_with("3.8"), "{out}");
        let placed = sheet.replace("zw\n", "zw,lat,elev_m\n").replace(",10\n", ",10,50.8,100\n");
        let (_, again, _) = ran("--period daily --lat -33 --altitude-m 2000", &placed);
        assert_eq!(last(&again), last(&out));
    }

    #[test]
    fn without_a_place_or_a_column_it_says_what_is_missing() {
        let (exit, out, err) = ran("--period daily --altitude-m 100", "doy,tmin_c,tmax_c,ea_kpa,rs,uz\n");
        assert_eq!((exit, out.as_str(), err.as_str()), (2, "", "no latitude; give --lat, or a column lat\n"));
        let (_, _, err) = ran("--period daily --lat 50 --altitude-m 100", "doy,tmin_c,tmax_c\n");
        assert!(
            err.contains("no column ea_kpa") && err.contains("doy, tmin_c, tmax_c, ea_kpa, rs, uz"),
            "{err}"
        );
        let (_, _, err) = ran("--period hourly --lat 50 --altitude-m 9", "doy,utc_start,t_c,ea_kpa,rs,uz\n");
        assert_eq!(err, "no longitude; give --lon, or a column lon\n");
        let (exit, _, err) = ran("--period hourly --method hargreaves --lat 50", "");
        assert!(exit == 2 && err.contains("whole day"), "{err}");
        let (exit, _, err) =
            ran("--period daily --lat 95 --altitude-m 9", "doy,tmin_c,tmax_c,ea_kpa,rs,uz\n");
        assert!(exit == 2 && err.starts_with("lat: latitude 95 °"), "{err}");
    }

    #[test]
    fn temperatures_alone_are_enough_for_hargreaves() {
        // FAO-56, example 20: 5.0 mm/d.
        let sheet = "tmax_c,doy,tmin_c\n26.6,196,14.8\n14.8,196,26.6\n";
        let (exit, out, err) = ran("--period daily --method hargreaves --lat 45.7167", sheet);
        assert_eq!(exit, 2);
        assert!(last(&out)[0].starts_with("5.03") && last(&out)[1].is_empty(), "{out}");
        assert_eq!(err, "line 3: lowest 26.6 °C lies above highest 14.8 °C\n");
    }

    #[test]
    fn rows_that_cannot_be_are_named_and_the_others_come_out() {
        let sheet = "doy,tmin_c,tmax_c,ea_kpa,rs,uz\n187,12,21,1.4,22,2\n0,12,21,1.4,22,2\n187.5,12,21,1.4,22,2\n\
                     187,12,21,9,22,2\n187,12,21,1.4,250,2\n187,12,21,1.4,NaN,2\n187,12,21,1.4,22\n187,12,21,,22,2\n\
                     187,12,21,1.4,22,2\n";
        let (exit, out, err) = ran("--period daily --lat 50.8 --altitude-m 100", sheet);
        assert_eq!(exit, 2);
        let cells = last(&out);
        assert!(!cells[0].is_empty() && cells[0] == cells[8]);
        assert!(cells[1..8].iter().all(|cell| cell.is_empty()), "{out}");
        let lines: Vec<_> = err.lines().map(|line| line.split(':').next().unwrap()).collect();
        assert_eq!(lines, ["line 3", "line 4", "line 5", "line 6", "line 7", "line 8", "line 9"], "{err}");
        assert!(err.contains("rs: radiation of a day 250"), "{err}");
    }

    const HOURS: &str = "site,doy,utc_start,t_c,ea_kpa,rs,uz\n";

    #[test]
    fn a_night_takes_the_sky_of_the_evening_before_and_a_first_night_that_of_the_morning_after() {
        let night = |site: &str, doy: u32| format!("{site},{doy},0,15,1.2,0,2\n");
        let noon = |site: &str, doy: u32, sun: f64| format!("{site},{doy},12,22,1.2,{sun},2\n");
        let place = "--period hourly --lat 50 --lon 0 --altitude-m 100";
        let et0 = |sheet: String| {
            let (exit, out, err) = ran(place, &format!("{HOURS}{sheet}"));
            assert_eq!((exit, err.as_str()), (0, ""));
            last(&out).into_iter().map(str::to_owned).collect::<Vec<_>>()
        };
        let (clear, cloudy) = (3.0, 0.9);
        let alone = |sun: f64| et0(night("a", 180) + &noon("a", 180, sun))[0].clone();
        assert_ne!(alone(clear), alone(cloudy), "the morning after decides");
        let told = et0(noon("a", 180, clear) + &night("a", 181) + &noon("a", 181, cloudy));
        assert_eq!(told[1], et0(noon("a", 180, clear) + &night("a", 181))[1], "the evening before decides");
        assert_ne!(told[1], et0(noon("a", 180, cloudy) + &night("a", 181))[1]);
        // Another site, or a gap of days, knows nothing of that evening.
        for begun in [night("b", 181) + &noon("b", 181, cloudy), night("a", 184) + &noon("a", 184, cloudy)] {
            assert_eq!(et0(noon("a", 180, clear) + &begun)[1..], et0(begun)[..]);
        }
        // The year's end is no gap; a row that cannot be keeps its place and stops nobody.
        let year = et0(noon("a", 365, 0.5) + &night("a", 1));
        assert_eq!(year[1], et0(noon("a", 366, 0.5) + &night("a", 1))[1]);
        let (exit, out, err) =
            ran(place, &format!("{HOURS}{}a,180,1,warm,1.2,0,2\n{}", night("a", 180), noon("a", 180, 3.0)));
        assert_eq!((exit, err.as_str()), (2, "line 3: t_c \"warm\" is no number\n"));
        let empty: Vec<_> = last(&out).iter().map(|cell| cell.is_empty()).collect();
        assert_eq!(empty, [false, true, false]);
    }

    #[test]
    fn a_winter_without_sun_is_reckoned_with_a_usual_sky_and_nothing_piles_up() {
        let mut sheet = HOURS.to_owned();
        for hour in 0..24 * 30 {
            sheet += &format!("a,{},{},-15,0.1,0,3\n", 330 + hour / 24, hour % 24);
        }
        let (exit, out, err) = ran("--period hourly --lat 78 --lon 15 --altitude-m 10", &sheet);
        assert_eq!((exit, err.as_str()), (0, ""));
        let cells = last(&out);
        assert!(cells.len() == 24 * 30 && cells.iter().all(|cell| *cell == cells[0] && !cell.is_empty()));
    }
}
