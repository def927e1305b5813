//! `glasshour air`: everything there is to say about air of a temperature and a humidity.

use std::io::{self, Read, Write};
use std::path::PathBuf;

use agronomy::units::{AirPressure, Celsius, RelativeHumidity};
use agronomy::vapour::{AirState, Formula};
use serde_json::{Map, Value};

use super::beside;
use super::sheet::{self, REFUSED, column, columns, figure, number, rounded};
use crate::rows::{Between, Rows};

/// Air: vapour pressures and deficit, dew point, wet bulb, water and heat in the air.
///
/// Give one state of the air (--t-c and --rh-pct), or many as CSV: a first line that names the columns t_c and
/// rh_pct, perhaps p_kpa and leaf_c, in any order. Other columns pass through unchanged; the results are put
/// behind them. A row that cannot be gets empty cells and a message with its line number; the exit code is
/// then 2.
#[derive(Clone, Debug, clap::Args)]
pub struct AirArgs {
    /// Read a sheet of CSV: a file, or - for standard input.
    #[arg(long, value_name = "-|FILE", conflicts_with_all = ["t_c", "rh_pct", "leaf_c"])]
    pub csv: Option<PathBuf>,
    /// Equations: fao56 (over water throughout) or ashrae (over ice below 0.01 °C).
    #[arg(long, default_value_t)]
    pub formula: Formula,
    /// Air temperature, °C.
    #[arg(long, value_name = "°C", required_unless_present = "csv", allow_negative_numbers = true)]
    pub t_c: Option<f64>,
    /// Relative humidity, 0 to 100 %.
    #[arg(long, value_name = "%", required_unless_present = "csv", allow_negative_numbers = true)]
    pub rh_pct: Option<f64>,
    /// Air pressure at the place, kPa, where no column p_kpa says it. 101.325 is sea level.
    #[arg(long, value_name = "kPa", default_value_t = 101.325, allow_negative_numbers = true)]
    pub p_kpa: f64,
    /// Leaf temperature, °C, for the deficit from leaf to air.
    #[arg(long, value_name = "°C", allow_negative_numbers = true)]
    pub leaf_c: Option<f64>,
    /// Print JSON: one object, or for CSV a list with one object for each row.
    #[arg(long)]
    pub json: bool,
}

/// Runs the command.
///
/// # Errors
///
/// Reading `input` or writing `out` or `err`; that the reader of `out` went away is no error.
pub fn run(args: &AirArgs, input: impl Read, mut out: impl Write, mut err: impl Write) -> io::Result<u8> {
    let done = match &args.csv {
        None => single(args, &mut out, &mut err),
        Some(path) => match sheet::open(path, input) {
            Ok(sheet) => many(args, sheet, &mut out, &mut err),
            Err(error) => sheet::unreadable(&mut err, path, &error),
        },
    };
    sheet::until_closed(done)
}

/// The numbers that describe air, none checked yet.
struct Given {
    t_c: f64,
    rh_pct: f64,
    p_kpa: f64,
    leaf_c: Option<f64>,
}

impl Given {
    fn reckon(&self, formula: Formula) -> Result<AirState, String> {
        let told = |name: &str, error: agronomy::units::OutOfRange| format!("{name}: {error}");
        let air = Celsius::try_new(self.t_c).map_err(|error| told("t_c", error))?;
        let humidity = RelativeHumidity::try_new(self.rh_pct).map_err(|error| told("rh_pct", error))?;
        let pressure = AirPressure::try_new(self.p_kpa).map_err(|error| told("p_kpa", error))?;
        let leaf = self.leaf_c.map(Celsius::try_new).transpose().map_err(|error| told("leaf_c", error))?;
        AirState::try_new(formula, air, humidity, pressure, leaf).map_err(|error| error.to_string())
    }
}

/// Names and figures of a state, in the order of the columns; the leaf's only where it is asked for.
fn results(state: Option<&AirState>, leaf: bool) -> Vec<(&'static str, Option<f64>)> {
    let figure = |of: fn(&AirState) -> f64| state.map(of);
    let mut results = vec![
        ("svp_kpa", figure(|air| air.svp_kpa)),
        ("vp_kpa", figure(|air| air.vp_kpa)),
        ("vpd_kpa", figure(|air| air.vpd_kpa)),
    ];
    if leaf {
        results.push(("leaf_vpd_kpa", state.and_then(|air| air.leaf_vpd_kpa)));
    }
    results.extend([
        ("dew_point_c", state.and_then(|air| air.dew_point_c)),
        ("wet_bulb_c", figure(|air| air.wet_bulb_c)),
        ("humidity_ratio_kg_kg", figure(|air| air.humidity_ratio_kg_kg)),
        ("absolute_humidity_g_m3", figure(|air| air.absolute_humidity_g_m3)),
        ("humidity_deficit_g_m3", figure(|air| air.humidity_deficit_g_m3)),
        ("enthalpy_kj_kg", figure(|air| air.enthalpy_kj_kg)),
    ]);
    results
}

fn single(args: &AirArgs, out: &mut impl Write, err: &mut impl Write) -> io::Result<u8> {
    let (Some(t_c), Some(rh_pct)) = (args.t_c, args.rh_pct) else {
        writeln!(err, "no air to reckon; write --t-c 30 --rh-pct 40, or --csv -")?;
        return Ok(REFUSED);
    };
    let given = Given { t_c, rh_pct, p_kpa: args.p_kpa, leaf_c: args.leaf_c };
    let state = match given.reckon(args.formula) {
        Ok(state) => state,
        Err(why) => {
            writeln!(err, "{why}")?;
            return Ok(REFUSED);
        }
    };
    let results = results(Some(&state), given.leaf_c.is_some());
    if args.json {
        let mut object = Map::new();
        object.insert("formula".to_owned(), args.formula.as_str().into());
        object.insert("t_c".to_owned(), given.t_c.into());
        object.insert("rh_pct".to_owned(), given.rh_pct.into());
        object.insert("p_kpa".to_owned(), given.p_kpa.into());
        object.extend(given.leaf_c.map(|leaf| ("leaf_c".to_owned(), leaf.into())));
        object.extend(as_json(&results));
        writeln!(out, "{}", Value::Object(object))?;
    } else {
        for (name, value) in results {
            writeln!(out, "{name} {}", value.map_or_else(|| "none".to_owned(), figure))?;
        }
    }
    out.flush()?;
    Ok(0)
}

fn as_json(results: &[(&'static str, Option<f64>)]) -> impl Iterator<Item = (String, Value)> {
    results.iter().map(|(name, value)| ((*name).to_owned(), value.map(rounded).into()))
}

/// Where the columns stand.
struct Columns {
    headings: Vec<String>,
    t_c: usize,
    rh_pct: usize,
    p_kpa: Option<usize>,
    leaf_c: Option<usize>,
}

impl Columns {
    fn find(headings: Vec<String>) -> Result<Self, String> {
        let [t_c, rh_pct] = columns(&headings, ["t_c", "rh_pct"])?;
        let (p_kpa, leaf_c) = (column(&headings, "p_kpa")?, column(&headings, "leaf_c")?);
        Ok(Self { headings, t_c, rh_pct, p_kpa, leaf_c })
    }

    /// A leaf cell may be empty: the air is known without it. A pressure that a sheet states elsewhere and not
    /// here is unknown, and the usual one may be far from it.
    fn given<R: Read>(&self, rows: &Rows<R>, args: &AirArgs) -> Result<Given, String> {
        sheet::whole(rows, self.headings.len())?;
        let at = |name, index: usize| number(name, rows.cell(index));
        let leaf = self.leaf_c.filter(|index| rows.cell(*index).is_some_and(|cell| !cell.is_empty()));
        Ok(Given {
            t_c: at("t_c", self.t_c)?,
            rh_pct: at("rh_pct", self.rh_pct)?,
            p_kpa: self.p_kpa.map_or(Ok(args.p_kpa), |index| at("p_kpa", index))?,
            leaf_c: leaf.map(|index| at("leaf_c", index)).transpose()?,
        })
    }
}

fn many(args: &AirArgs, sheet: impl Read, out: &mut impl Write, err: &mut impl Write) -> io::Result<u8> {
    let mut rows = Rows::new(sheet, Between::Sign(b','));
    let headings = sheet::headings(&mut rows)?;
    let columns = match Columns::find(headings) {
        Ok(columns) => columns,
        Err(why) => {
            writeln!(err, "{why}")?;
            return Ok(REFUSED);
        }
    };
    let mut sink = Sink::begin(out, args.json, &rows, &columns)?;
    let mut exit = 0;
    while rows.step()? {
        let state = columns.given(&rows, args).and_then(|given| given.reckon(args.formula));
        if let Err(why) = &state {
            writeln!(err, "line {}: {why}", rows.line())?;
            exit = REFUSED;
        }
        sink.row(&rows, &columns, &results(state.as_ref().ok(), columns.leaf_c.is_some()))?;
    }
    sink.end()?;
    Ok(exit)
}

/// Writes rows as they come, as CSV or as a list of JSON objects.
#[expect(clippy::large_enum_variant, reason = "one of them in a run")]
enum Sink<W: Write> {
    Csv(csv::Writer<W>),
    Json { out: io::BufWriter<W>, first: bool },
}

impl<W: Write> Sink<W> {
    fn begin<R: Read>(mut out: W, json: bool, rows: &Rows<R>, columns: &Columns) -> io::Result<Self> {
        if json {
            out.write_all(b"[")?;
            return Ok(Self::Json { out: io::BufWriter::new(out), first: true });
        }
        let mut csv = beside::writer(out);
        let names = results(None, columns.leaf_c.is_some()).into_iter().map(|(name, _)| name);
        beside::write(&mut csv, beside::written(rows, columns.headings.len()), names)?;
        Ok(Self::Csv(csv))
    }

    fn row<R: Read>(
        &mut self,
        rows: &Rows<R>,
        columns: &Columns,
        results: &[(&'static str, Option<f64>)],
    ) -> io::Result<()> {
        match self {
            Self::Csv(csv) => {
                let cells = results.iter().map(|(_, value)| value.map(figure).unwrap_or_default());
                beside::write(csv, beside::written(rows, columns.headings.len()), cells)
            }
            Self::Json { out, first } => {
                let mut object: Map<String, Value> = columns
                    .headings
                    .iter()
                    .cloned()
                    .zip(rows.texts().into_iter().map(as_number_or_text))
                    .collect();
                object.insert("line".to_owned(), rows.line().into());
                object.extend(as_json(results));
                out.write_all(if *first { b"\n" } else { b",\n" })?;
                *first = false;
                write!(out, "{}", Value::Object(object))
            }
        }
    }

    fn end(self) -> io::Result<()> {
        match self {
            Self::Csv(mut csv) => csv.flush(),
            Self::Json { mut out, .. } => {
                out.write_all(b"\n]\n")?;
                out.flush()
            }
        }
    }
}

fn as_number_or_text(cell: String) -> Value {
    let number = cell.parse::<f64>().ok().and_then(serde_json::Number::from_f64);
    number.map_or(Value::String(cell), Value::Number)
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::{Args as _, FromArgMatches as _};

    fn args(words: &[&str]) -> AirArgs {
        let command = AirArgs::augment_args(clap::Command::new("air"));
        let matches = command.try_get_matches_from(std::iter::once(&"air").chain(words)).unwrap();
        AirArgs::from_arg_matches(&matches).unwrap()
    }

    fn ran(words: &[&str], input: &str) -> (u8, String, String) {
        let (mut out, mut err) = (Vec::new(), Vec::new());
        let exit = run(&args(words), input.as_bytes(), &mut out, &mut err).unwrap();
        (exit, String::from_utf8(out).unwrap(), String::from_utf8(err).unwrap())
    }

    #[test]
    fn one_state_is_told_name_by_name() {
        // FAO-56 Table 2.3: e°(25 °C) = 3.168 kPa.
        let (exit, out, err) = ran(&["--t-c", "25", "--rh-pct", "54"], "");
        assert_eq!((exit, err.as_str()), (0, ""));
        assert!(out.starts_with("svp_kpa 3.167"), "{out}");
        assert_eq!(out.lines().count(), 9);
        let (_, out, _) = ran(&["--t-c", "-5", "--rh-pct", "54", "--leaf-c", "-6", "--json"], "");
        let told: Value = serde_json::from_str(&out).unwrap();
        assert!(told["leaf_vpd_kpa"].is_f64() && told["p_kpa"] == 101.325, "{told}");
    }

    #[test]
    fn an_impossible_state_is_refused_with_what_may_be() {
        let (exit, out, err) = ran(&["--t-c", "25", "--rh-pct", "154"], "");
        assert_eq!((exit, out.as_str()), (2, ""));
        assert_eq!(err, "rh_pct: relative humidity 154 % is not within 0 to 100 %\n");
    }

    #[test]
    fn a_missing_column_names_those_needed() {
        for input in ["", "temp,rh_pct\n30,40\n", "t_c;rh_pct\n30;40\n"] {
            let (exit, out, err) = ran(&["--csv", "-"], input);
            assert_eq!((exit, out.as_str()), (2, ""));
            assert!(err.contains("t_c, rh_pct"), "{err}");
        }
    }

    #[test]
    fn a_file_that_is_not_there_is_told_by_name() {
        let (exit, _, err) = ran(&["--csv", "no-such-sheet.csv"], "");
        assert_eq!(exit, 2);
        assert!(err.starts_with("no-such-sheet.csv: "), "{err}");
    }

    #[test]
    fn a_reader_that_goes_away_ends_it_quietly() {
        struct Closed;
        impl Write for Closed {
            fn write(&mut self, _: &[u8]) -> io::Result<usize> {
                Err(io::ErrorKind::BrokenPipe.into())
            }
            fn flush(&mut self) -> io::Result<()> {
                Ok(())
            }
        }
        let sheet = format!("t_c,rh_pct\n{}", "30,40\n".repeat(5000));
        for words in [&["--csv", "-"][..], &["--csv", "-", "--json"]] {
            let mut err = Vec::new();
            assert_eq!(run(&args(words), sheet.as_bytes(), Closed, &mut err).unwrap(), 0);
            assert!(err.is_empty());
        }
    }
}
