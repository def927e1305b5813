//! `glasshour heat-index`: what warm air asks of the person who has to go in.

use std::io::{self, Read, Write};
use std::path::PathBuf;

use agronomy::people::{self, HeatIndex};
use agronomy::units::{AirPressure, Celsius, OutOfRange, RelativeHumidity};

use super::beside::{Found, each};
use super::sheet::{self, figure, number};

/// The results, in the order in which they are put behind a row.
const RESULTS: [&str; 3] = ["heat_index_c", "humidex_c", "wet_bulb_globe_shade_c"];

/// Heat on people: heat index, humidex, and the wet-bulb globe temperature estimated for shade.
///
/// Reads CSV: a first line that names the columns t_c (°C) and rh_pct (%), in any order. Other columns pass through
/// unchanged; the results are put behind them, in °C. A row that cannot be gets empty cells and a message with its
/// line number; the exit code is then 2.
///
/// Rows warmer than 44.4 °C, up to which the heat index is fitted, are counted on standard error: theirs is extrapolated.
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

fn many(sheet: impl Read, out: impl Write, err: &mut impl Write) -> io::Result<u8> {
    let mut beyond = 0_u64;
    let exit = each(sheet, (["t_c", "rh_pct"], RESULTS), out, err, |[t_c, rh_pct]| {
        let told = |name: &str, error: OutOfRange| format!("{name}: {error}");
        let air = Celsius::try_new(number("t_c", t_c)?).map_err(|error| told("t_c", error))?;
        let humidity = RelativeHumidity::try_new(number("rh_pct", rh_pct)?);
        let humidity = humidity.map_err(|error| told("rh_pct", error))?;
        let shade = people::wet_bulb_globe_in_shade(air, humidity, AirPressure::SEA_LEVEL);
        let shade = shade.ok_or_else(|| format!("at {air} and {humidity} water boils at sea level"))?;
        beyond += u64::from(air.get() > HeatIndex::FITTED_UP_TO_C);
        let heat_index = people::heat_index(air, humidity).celsius;
        let felt = [heat_index, people::humidex(air, humidity), shade.get()];
        Ok(Found { cells: felt.map(figure), word: None })
    })?;
    if beyond > 0 {
        let most = HeatIndex::FITTED_UP_TO_C;
        writeln!(
            err,
            "rows warmer than {most:.1} °C: {beyond}; the heat index is fitted up to there, and theirs extrapolated"
        )?;
    }
    Ok(exit)
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

    #[test]
    fn air_beyond_the_regressions_domain_is_told() {
        // Rothfusz (1990): fitted to 80 to 112 °F.
        let (exit, out, err) = ran("-", "t_c,rh_pct\n44.4,5\n44.5,5\n60,50\n");
        assert_eq!((exit, out.lines().count()), (0, 4));
        assert!(err.starts_with("rows warmer than 44.4 °C: 2; ") && err.ends_with("extrapolated\n"), "{err}");
    }
}
