//! `glasshour sun`: the sun's place and power at instants, or its rise and set on days.

use std::io::{self, Read, Write};
use std::path::PathBuf;

use agronomy::series::{MS_PER_DAY, MS_PER_HOUR};
use agronomy::sun::{
    ClearSky, DayOfYear, MEAN_BEAM, SunDay, beam, extraterrestrial, mean_noon, position, sun_day,
};
use agronomy::units::{Latitude, Longitude, Metres, OutOfRange};
use chrono::Datelike as _;

use super::beside::{Found, each};
use super::degree_days::date;
use super::sheet::{self, REFUSED, figure};
use super::stamp::instant;
use crate::calendar;

/// Where the sun stands and what it sends, or, with --day, when it rises and sets.
///
/// Reads CSV with the column time_utc and puts elevation_deg, azimuth_deg, clear_sky_w_m2 and
/// extraterrestrial_w_m2 behind its rows: the height of the sun's centre without refraction, its direction clockwise
/// from north, and the radiation on level ground under a cloudless sky and on a level surface above the air.
///
/// With --day it reads the column date and gives sunrise_utc, sunset_utc and day_length_h around that day's noon: the
/// upper rim on a level horizon at sea level. Where the sun does not rise or set, the cell is empty and a message says
/// so. A row that cannot be gets empty cells and a message with its line number; the exit code is then 2.
#[derive(Clone, Debug, clap::Args)]
pub struct SunArgs {
    /// Latitude, degrees north; south is negative.
    #[arg(long, value_name = "°", allow_negative_numbers = true)]
    pub lat: f64,
    /// Longitude, degrees east; west is negative.
    #[arg(long, value_name = "°", allow_negative_numbers = true)]
    pub lon: f64,
    /// Height above the sea, m.
    #[arg(long, value_name = "m", default_value_t = 0.0, allow_negative_numbers = true)]
    pub altitude_m: f64,
    /// The cloudless sky: solis (some haze, 1.4 cm of water vapour), ineichen (turbidity 3), haurwitz (an average of
    /// measured skies) or fao56 (the share of FAO-56, eq. 37). They differ by 5 to 15 %; all but the last take the sun
    /// at its mean distance, which is within 3 %.
    #[arg(long, default_value_t = ClearSky::MODERATE[0].1, conflicts_with = "day")]
    pub sky: ClearSky,
    /// Sunrise, sunset and day length of dates.
    #[arg(long)]
    pub day: bool,
    /// With --day: standard time of the place, hours east of UTC, where its dates are not those of the sun, as near a
    /// bent date line.
    #[arg(long, value_name = "h", requires = "day", allow_negative_numbers = true)]
    pub offset_h: Option<f64>,
    /// The sheet: a file, or - for standard input.
    #[arg(long, value_name = "-|FILE")]
    pub csv: PathBuf,
}

/// Runs the command.
///
/// # Errors
///
/// Reading `input` or writing `out` or `err`; that the reader of `out` went away is no error.
pub fn run(args: &SunArgs, input: impl Read, out: impl Write, mut err: impl Write) -> io::Result<u8> {
    let place = match Place::try_new(args) {
        Ok(place) => place,
        Err(why) => {
            writeln!(err, "{why}")?;
            return Ok(REFUSED);
        }
    };
    let done = match sheet::open(&args.csv, input) {
        Ok(sheet) if args.day => days(&place, sheet, out, &mut err),
        Ok(sheet) => instants(&place, args.sky, sheet, out, &mut err),
        Err(error) => sheet::unreadable(&mut err, &args.csv, &error),
    };
    sheet::until_closed(done)
}

/// Where the sheet is about.
struct Place {
    latitude: Latitude,
    longitude: Longitude,
    altitude: Metres,
    offset_ms: Option<i64>,
}

impl Place {
    fn try_new(args: &SunArgs) -> Result<Self, String> {
        let told = |name: &'static str| move |error: OutOfRange| format!("{name}: {error}");
        let offset_ms = args.offset_h.map(|hours| {
            let sound = (-14.0..=14.0).contains(&hours);
            let ms = (hours * MS_PER_HOUR as f64) as i64;
            sound.then_some(ms).ok_or_else(|| format!("offset-h: {hours} h is not within -14 to 14 h"))
        });
        Ok(Self {
            latitude: Latitude::try_new(args.lat).map_err(told("lat"))?,
            longitude: Longitude::try_new(args.lon).map_err(told("lon"))?,
            altitude: Metres::try_new(args.altitude_m).map_err(told("altitude-m"))?,
            offset_ms: offset_ms.transpose()?,
        })
    }

    fn noon(&self, day: calendar::Day) -> i64 {
        let clock_noon = |offset_ms| day.saturating_mul(MS_PER_DAY) + MS_PER_DAY / 2 - offset_ms;
        self.offset_ms.map_or_else(|| mean_noon(day, self.longitude), clock_noon)
    }
}

fn instants(
    place: &Place,
    sky: ClearSky,
    sheet: impl Read,
    out: impl Write,
    err: &mut impl Write,
) -> io::Result<u8> {
    let added = ["elevation_deg", "azimuth_deg", "clear_sky_w_m2", "extraterrestrial_w_m2"];
    each(sheet, (["time_utc"], added), out, err, |[time]| {
        let ms = instant("time_utc", time)?;
        let sun = position(ms, place.latitude, place.longitude);
        let day = DayOfYear::of_utc(ms);
        // As the tables have it that others can be held against; FAO-56 takes a share of what the day brings.
        let above = if sky == ClearSky::Fao56 { beam(day) } else { MEAN_BEAM };
        let cells = [
            sun.altitude_deg,
            sun.azimuth_deg,
            sky.global(sun, above, place.altitude).get(),
            extraterrestrial(day, sun).get(),
        ];
        Ok(Found { cells: cells.map(figure), word: None })
    })
}

fn days(place: &Place, sheet: impl Read, out: impl Write, err: &mut impl Write) -> io::Result<u8> {
    /// 1970-01-01, counted as chrono counts.
    const EPOCH: i64 = 719_163;
    let added = ["sunrise_utc", "sunset_utc", "day_length_h"];
    each(sheet, (["date"], added), out, err, |[cell]| {
        let date = date(cell)?;
        let day = i64::from(date.num_days_from_ce()) - EPOCH;
        let sun = sun_day(place.noon(day), place.latitude, place.longitude);
        let moment = |ms: Option<i64>| ms.map(whole_second).unwrap_or_default();
        let length = figure(sun.up_ms as f64 / MS_PER_HOUR as f64);
        let cells = [moment(sun.rise_ms_utc), moment(sun.set_ms_utc), length];
        Ok(Found { cells, word: missing(sun).map(|word| format!("{date}: {word}")) })
    })
}

/// Seconds are more than weather and hills leave of it.
fn whole_second(ms: i64) -> String {
    calendar::iso(ms.saturating_add(500).div_euclid(1000) * 1000)
}

fn missing(sun: SunDay) -> Option<&'static str> {
    match (sun.rise_ms_utc, sun.set_ms_utc) {
        (Some(_), Some(_)) => None,
        (None, None) if sun.up_ms == 0 => Some("polar night: the sun does not rise"),
        (None, None) => Some("polar day: the sun does not set"),
        (Some(_), None) => Some("the sun rises and does not set before the next midnight"),
        (None, Some(_)) => Some("the sun was up at midnight and sets"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::{Args as _, FromArgMatches as _};

    fn ran(words: &str, input: &str) -> (u8, String, String) {
        let command = SunArgs::augment_args(clap::Command::new("sun"));
        let words = ["sun", "--csv", "-"].into_iter().chain(words.split_whitespace());
        let args = SunArgs::from_arg_matches(&command.try_get_matches_from(words).unwrap()).unwrap();
        let (mut out, mut err) = (Vec::new(), Vec::new());
        let exit = run(&args, input.as_bytes(), &mut out, &mut err).unwrap();
        (exit, String::from_utf8(out).unwrap(), String::from_utf8(err).unwrap())
    }

    #[test]
    fn results_stand_behind_the_rows_and_refused_rows_are_named() {
        let sheet = "note,time_utc\na,2024-06-20T12:00:00Z\nb,noon\nc\nd,2024-06-20 00:00,x\n\ne,\ng,2024-06-20T00:00Z\n";
        let (exit, out, err) = ran("--lat 51.479 --lon -0.29 --altitude-m 5", sheet);
        assert_eq!(exit, 2);
        let told: Vec<_> = out.lines().collect();
        assert_eq!(told[0], "note,time_utc,elevation_deg,azimuth_deg,clear_sky_w_m2,extraterrestrial_w_m2");
        assert!(told[1].starts_with("a,2024-06-20T12:00:00Z,61.9"), "{out}");
        assert_eq!(told[2..6], ["b,noon,,,,", "c,,,,,", "d,2024-06-20 00:00,,,,", "e,,,,,"]);
        assert!(told[6].starts_with("g,2024-06-20T00:00Z,-15.") && told[6].ends_with(",0,0"), "{out}");
        let lines: Vec<_> = err.lines().map(|line| line.split(':').next().unwrap()).collect();
        assert_eq!(lines, ["line 3", "line 4", "line 5", "line 7"]);
    }

    #[test]
    fn polar_day_and_night_are_said_in_words_and_are_no_fault() {
        // Tromso, sun_events.csv: the sun does not set on 21 June 2024, does not rise on 21 December, rises and stays
        // on 17 May.
        let sheet = "date\n2024-06-21\n2024-12-21\n2024-05-17\n";
        let (exit, out, err) = ran("--day --lat 69.65 --lon 18.96", sheet);
        assert_eq!(exit, 0);
        let told: Vec<_> = out.lines().collect();
        assert_eq!(
            told[..3],
            ["date,sunrise_utc,sunset_utc,day_length_h", "2024-06-21,,,24", "2024-12-21,,,0"]
        );
        assert!(told[3].starts_with("2024-05-17,2024-05-16T23:0"), "{out}");
        let said: Vec<_> = err.lines().collect();
        assert_eq!(said[0], "line 2: 2024-06-21: polar day: the sun does not set");
        assert_eq!(said[1], "line 3: 2024-12-21: polar night: the sun does not rise");
        assert_eq!(said[2], "line 4: 2024-05-17: the sun rises and does not set before the next midnight");
    }

    #[test]
    fn a_place_that_is_none_and_a_missing_column_are_refused_before_anything_is_read() {
        let (exit, out, err) = ran("--lat 95 --lon 0", "time_utc\n");
        assert_eq!((exit, out.as_str()), (2, ""));
        assert_eq!(err, "lat: latitude 95 ° is not within -90 to 90 °\n");
        let (exit, _, err) = ran("--lat NaN --lon 0", "time_utc\n");
        assert_eq!(exit, 2);
        assert!(err.contains("NaN"), "{err}");
        let (exit, _, err) = ran("--lat 0 --lon 0 --day --offset-h 24", "date\n");
        assert_eq!(exit, 2);
        assert!(err.contains("-14 to 14 h"), "{err}");
        let (exit, _, err) = ran("--lat 0 --lon 0", "time\n");
        assert_eq!(exit, 2);
        assert!(err.contains("no column time_utc"), "{err}");
        let (exit, _, err) = ran("--lat 0 --lon 0 --day", "date\n15.7.2026\n");
        assert_eq!(exit, 2);
        assert!(err.starts_with("line 2: date") && err.contains("is no day"), "{err}");
    }
}
