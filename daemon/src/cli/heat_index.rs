//! `glasshour heat-index`: what warm air asks of the person who has to go in.

use std::io::{self, Read, Write};
use std::path::PathBuf;

use agronomy::people;
use agronomy::units::{AirPressure, Celsius, OutOfRange, RelativeHumidity};

use super::sheet::{self, REFUSED, columns, figure, number};
use crate::rows::{Between, Rows, plain};

/// The results, in the order in which they are put behind a row.
const RESULTS: [&str; 3] = ["heat_index_c", "humidex_c", "wet_bulb_globe_shade_c"];

/// Heat on people: heat index, humidex, and the wet-bulb globe temperature estimated for shade.
///
/// Reads CSV: a first line that names the columns t_c (°C) and rh_pct (%), in any order. Other columns pass through
/// unchanged; the results are put behind them, in °C. A row that cannot be gets empty cells and a message with its
/// line number; the exit code is then 2.
///
/// All three are for shade, at sea level. Full sun can add 8 °C to the heat index, and a still house counts as full
/// sun. A caution, not medical advice; local rules for work in heat go first.
#[derive(Clone, Debug, clap::Args)]
pub struct HeatIndexArgs {
    /// The sheet of CSV: a file, or - for standard input.
    #[arg(long, value_name = "-|FILE")]
    pub csv: PathBuf,
}

/// Runs the command.
///
/// # Errors
///
/// Reading `input` or writing `out` or `err`; that the reader of `out` went away is no error.
pub fn run(
    args: &HeatIndexArgs,
    input: impl Read,
    mut out: impl Write,
    mut err: impl Write,
) -> io::Result<u8> {
    let done = match sheet::open(&args.csv, input) {
        Ok(sheet) => many(sheet, &mut out, &mut err),
        Err(error) => sheet::unreadable(&mut err, &args.csv, &error),
    };
    sheet::until_closed(done)
}

fn many(sheet: impl Read, out: &mut impl Write, err: &mut impl Write) -> io::Result<u8> {
    let mut rows = Rows::new(sheet, Between::Sign(b','));
    let headings = if rows.step()? { rows.texts() } else { Vec::new() };
    let places = match columns(&headings, ["t_c", "rh_pct"]) {
        Ok(places) => places,
        Err(why) => {
            writeln!(err, "{why}")?;
            return Ok(REFUSED);
        }
    };
    let mut csv = csv::WriterBuilder::new().flexible(true).from_writer(out);
    pass_on(&mut csv, &rows, headings.len())?;
    csv.write_record(RESULTS).map_err(plain)?;
    let mut exit = 0;
    while rows.step()? {
        let felt = reckon(&rows, headings.len(), places);
        if let Err(why) = &felt {
            writeln!(err, "line {}: {why}", rows.line())?;
            exit = REFUSED;
        }
        pass_on(&mut csv, &rows, headings.len())?;
        let cells = felt.map_or_else(|_| Default::default(), |felt| felt.map(figure));
        csv.write_record(cells).map_err(plain)?;
    }
    csv.flush()?;
    Ok(exit)
}

/// Writes the cells of the row as they came, filled up where it is short, so that results stand under their headings.
fn pass_on<R: Read>(csv: &mut csv::Writer<impl Write>, rows: &Rows<R>, width: usize) -> io::Result<()> {
    for index in 0..width {
        csv.write_field(rows.written(index).unwrap_or_default()).map_err(plain)?;
    }
    Ok(())
}

/// The three figures of a row, °C.
fn reckon<R: Read>(rows: &Rows<R>, width: usize, [t_c, rh_pct]: [usize; 2]) -> Result<[f64; 3], String> {
    if rows.count() != width {
        return Err(format!("the row has {} cells, the heading {width}", rows.count()));
    }
    let told = |name: &str, error: OutOfRange| format!("{name}: {error}");
    let air = Celsius::try_new(number("t_c", rows.cell(t_c))?).map_err(|error| told("t_c", error))?;
    let humidity = RelativeHumidity::try_new(number("rh_pct", rows.cell(rh_pct))?);
    let humidity = humidity.map_err(|error| told("rh_pct", error))?;
    let shade = people::wet_bulb_globe_in_shade(air, humidity, AirPressure::SEA_LEVEL);
    let shade = shade.ok_or_else(|| format!("at {air} and {humidity} water boils at sea level"))?;
    Ok([people::heat_index(air, humidity).celsius, people::humidex(air, humidity), shade.get()])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ran(csv: &str, input: &str) -> (u8, String, String) {
        let (mut out, mut err) = (Vec::new(), Vec::new());
        let args = HeatIndexArgs { csv: csv.into() };
        let exit = run(&args, input.as_bytes(), &mut out, &mut err).unwrap();
        (exit, String::from_utf8(out).unwrap(), String::from_utf8(err).unwrap())
    }

    #[test]
    fn a_missing_column_names_those_needed() {
        for input in ["", "temp,rh_pct\n30,40\n", "t_c;rh_pct\n30;40\n"] {
            let (exit, out, err) = ran("-", input);
            assert_eq!((exit, out.as_str()), (2, ""));
            assert!(err.contains("t_c, rh_pct"), "{err}");
        }
    }

    #[test]
    fn a_file_that_is_not_there_is_told_by_name() {
        let (exit, _, err) = ran("no-such-sheet.csv", "");
        assert_eq!(exit, 2);
        assert!(err.starts_with("no-such-sheet.csv: "), "{err}");
    }

    #[test]
    fn a_row_that_cannot_be_gets_empty_cells_and_its_line() {
        let sheet =
            "rh_pct,t_c,where\n40,30,house\nNaN,30,a\n101,30,b\n40,warm,c\n40\n,30,d\n100,100,kettle\n";
        let (exit, out, err) = ran("-", sheet);
        assert_eq!(exit, 2);
        let told: Vec<_> = out.lines().collect();
        assert_eq!(told[0], "rh_pct,t_c,where,heat_index_c,humidex_c,wet_bulb_globe_shade_c");
        assert!(told[1].starts_with("40,30,house,29.") && told.len() == 8, "{out}");
        assert_eq!((told[2], told[5], told[7]), ("NaN,30,a,,,", "40,,,,,", "100,100,kettle,,,"));
        let lines: Vec<_> = err.lines().map(|line| line.split(':').next().unwrap()).collect();
        assert_eq!(lines, ["line 3", "line 4", "line 5", "line 6", "line 7", "line 8"], "{err}");
        assert!(err.contains("\"warm\" is no number") && err.contains("boils"), "{err}");
    }
}
