//! The commands sun and chill over the golden tables.

use std::collections::{BTreeMap, BTreeSet};

use glasshour::cli::chill::{self, ChillArgs};
use glasshour::cli::sun::{self, SunArgs};

use super::{Row, close, number, rows, table};

fn args(row: &Row, altitude_m: f64) -> SunArgs {
    SunArgs {
        lat: number(row, "lat"),
        lon: number(row, "lon"),
        altitude_m,
        sky: "solis".parse().unwrap(),
        day: false,
        offset_h: None,
        csv: "-".into(),
    }
}

fn sun(args: &SunArgs, sheet: &str) -> (Vec<Row>, String) {
    let (mut out, mut err) = (Vec::new(), Vec::new());
    assert_eq!(sun::run(args, sheet.as_bytes(), &mut out, &mut err).unwrap(), 0);
    (rows(&String::from_utf8(out).unwrap()), String::from_utf8(err).unwrap())
}

#[test]
fn sun_gives_the_positions_and_the_radiation_of_pvlib() {
    // Tolerances of the header of sun_positions.csv: 0.05° of zenith and 0.1° of azimuth for a sun of low accuracy, 1 %
    // of irradiance above 10°.
    let table = table("sun_positions.csv");
    let sites: BTreeSet<&str> = table.iter().map(|row| row["site"].as_str()).collect();
    let mut compared = 0;
    for site in sites {
        let of_site: Vec<_> = table.iter().filter(|row| row["site"] == site).collect();
        let sheet = of_site.iter().fold("time_utc\n".to_owned(), |sheet, row| sheet + &row["utc"] + "\n");
        let skies = [("solis", "solis_ghi"), ("ineichen", "ineichen_ghi"), ("haurwitz", "haurwitz_ghi")];
        for (sky, column) in skies {
            let args =
                SunArgs { sky: sky.parse().unwrap(), ..args(of_site[0], number(of_site[0], "elev_m")) };
            let (told, err) = sun(&args, &sheet);
            assert_eq!((told.len(), err.as_str()), (of_site.len(), ""));
            for (got, row) in told.iter().zip(&of_site) {
                let what = format!("{site} {}", row["utc"]);
                let zenith = number(row, "zenith");
                close(90.0 - number(got, "elevation_deg"), zenith, 0.05, &what);
                if zenith > 3.0 {
                    let apart = number(got, "azimuth_deg") - number(row, "azimuth");
                    close((apart + 180.0).rem_euclid(360.0), 180.0, 0.1, &what);
                }
                for (ours, theirs) in [("extraterrestrial_w_m2", "e0h"), ("clear_sky_w_m2", column)] {
                    let expected = number(row, theirs);
                    if zenith < 80.0 {
                        close(number(got, ours), expected, expected * 0.01, &what);
                    } else if zenith > 91.0 {
                        assert_eq!(got[ours], "0", "{what}");
                    }
                }
                compared += 1;
            }
        }
    }
    assert_eq!(compared, 3 * 336);
}

/// Seconds from midnight of the first day of a stamp `YYYY-MM-DDTHH:MM:SSZ`, for stamps of neighbouring days.
fn seconds(stamp: &str, of: &str) -> f64 {
    let read = |text: &str| {
        let time: Vec<f64> = text[11..19].split(':').map(|part| part.parse().unwrap()).collect();
        time[0] * 3600.0 + time[1] * 60.0 + time[2]
    };
    let days = match stamp[..10].cmp(&of[..10]) {
        std::cmp::Ordering::Less => -1.0,
        std::cmp::Ordering::Equal => 0.0,
        std::cmp::Ordering::Greater => 1.0,
    };
    read(stamp) - read(of) + days * 86_400.0
}

#[test]
fn days_of_the_sun_are_those_of_the_almanac() {
    // Tolerances of the header of sun_events.csv: 60 s below 60° of latitude, 10 min and the state in polar regions.
    let mut states = BTreeMap::new();
    for row in table("sun_events.csv") {
        let what = format!("{} {}", row["site"], row["local_date"]);
        // One island keeps the date of the other side of the date line.
        let offset_h = (row["site"] == "Apia").then_some(13.0);
        let args = SunArgs { day: true, offset_h, ..args(&row, 0.0) };
        let (told, err) = sun(&args, &format!("date\n{}\n", row["local_date"]));
        let got = &told[0];
        let tolerance = if number(&row, "lat").abs() < 60.0 { 60.0 } else { 600.0 };
        *states.entry(row["state"].clone()).or_insert(0) += 1;
        match row["state"].as_str() {
            "normal" if row["sunset_utc"] > row["sunrise_utc"] => {
                for column in ["sunrise_utc", "sunset_utc"] {
                    close(seconds(&got[column], &row[column]), 0.0, tolerance, &what);
                }
                close(number(got, "day_length_h"), number(&row, "up_h"), 2.0 * tolerance / 3600.0, &what);
                assert_eq!(err, "");
            }
            // It set for the last time shortly after that day's midnight, rose again and stayed.
            "normal" => {
                close(seconds(&got["sunrise_utc"], &row["sunrise_utc"]), 0.0, tolerance, &what);
                assert_eq!(got["sunset_utc"], "");
                assert!(err.contains("does not set"), "{err}");
            }
            state => {
                assert_eq!((got["sunrise_utc"].as_str(), got["sunset_utc"].as_str()), ("", ""));
                assert_eq!(number(got, "day_length_h"), number(&row, "up_h"), "{what}");
                assert!(err.contains(state), "{err}");
            }
        }
    }
    assert_eq!(states.values().sum::<i32>(), 42);
    assert!(states["polar day"] >= 2 && states["polar night"] >= 3, "{states:?}");
}

#[test]
fn chill_gives_the_totals_of_the_table_hour_by_hour() {
    // chill_hourly_sample.csv: Utah units exact, portions within 1e-9 of themselves.
    let table = table("chill_hourly_sample.csv");
    let mut sheet = "time,t_c\n".to_owned();
    for row in &table {
        let hour: u32 = row["hour"].parse().unwrap();
        sheet += &format!("2021-11-{:02}T{:02}:00:00,{}\n", hour / 24 + 1, hour % 24, row["t_c"]);
    }
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let exit = chill::run(&ChillArgs { csv: "-".into() }, sheet.as_bytes(), &mut out, &mut err).unwrap();
    assert_eq!((exit, err.len()), (0, 0));
    let told = rows(&String::from_utf8(out).unwrap());
    assert_eq!((table.len(), told.len()), (240, 240));
    let (mut units, mut cold, mut chilly) = (0.0, 0.0, 0.0);
    for (got, row) in told.iter().zip(&table) {
        let what = format!("hour {}", row["hour"]);
        let t = number(row, "t_c");
        units += number(row, "utah_unit");
        cold += f64::from(u8::from(t <= 7.0));
        chilly += f64::from(u8::from((0.0..=7.2).contains(&t)));
        assert_eq!(number(got, "utah_units"), units, "{what}");
        assert_eq!(number(got, "hours_le_7"), cold, "{what}");
        assert_eq!(number(got, "hours_0_7"), chilly, "{what}");
        let portions = number(row, "portions_cum");
        close(number(got, "portions"), portions, portions * 1e-9, &what);
    }
}
