//! `glasshour water et0` over the tables of days and hours.

use glasshour::cli::water::{self, Et0Args, WaterArgs};

use super::{Row, number, rows, table};

fn et0(
    period: water::Period,
    method: water::Method,
    place: Option<(f64, f64, f64)>,
    sheet: &str,
) -> Vec<Row> {
    let args = WaterArgs {
        what: water::What::Et0(Et0Args {
            period,
            method,
            lat: place.map(|(lat, ..)| lat),
            lon: place.map(|(_, lon, _)| lon),
            altitude_m: place.map(|(.., altitude)| altitude),
            gauge_m: 2.0,
            csv: "-".into(),
        }),
    };
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let exit = water::run(&args, sheet.as_bytes(), &mut out, &mut err).unwrap();
    assert_eq!((exit, String::from_utf8(err).unwrap()), (0, String::new()));
    rows(&String::from_utf8(out).unwrap())
}

/// Some columns of a table, in this order.
fn sheet_of(table: &[Row], names: &[&str]) -> String {
    let lines = table.iter().map(|row| {
        let cells: Vec<_> = names.iter().map(|name| row[*name].as_str()).collect();
        cells.join(",")
    });
    std::iter::once(names.join(",")).chain(lines).collect::<Vec<_>>().join("\n")
}

/// The worst difference of et0_mm from a column of the table, which must be within its tolerance.
fn agree(told: &[Row], table: &[Row], column: &str) {
    assert_eq!(told.len(), table.len());
    let worst = told
        .iter()
        .zip(table)
        .map(|(got, row)| (number(got, "et0_mm") - number(row, column)).abs())
        .fold(0.0, f64::max);
    println!("{column}: {} rows, worst error {worst:.1e} of 1e-6 mm", told.len());
    assert!(worst <= 1e-6, "{column}: {worst}");
}

#[test]
fn reference_evapotranspiration_of_days_agrees_with_the_daily_table_by_both_methods() {
    // Columns eto_fao56 (FAO-56 eq. 6) and hargreaves (eq. 52) of the table; tolerance 1e-6 mm in its header.
    let days = table("et0_daily.csv");
    let inputs = ["zw", "uz", "rs", "ea_kpa", "tmax_c", "tmin_c", "doy", "elev_m", "lat"];
    let sheet = sheet_of(&days, &inputs);
    let penman = et0(water::Period::Daily, water::Method::PenmanMonteith, None, &sheet);
    agree(&penman, &days, "eto_fao56");
    assert_eq!(penman[0]["tmax_c"], days[0]["tmax_c"]);
    // The columns win over options that say something else.
    let elsewhere = Some((10.0, 20.0, 3000.0));
    let hargreaves = et0(water::Period::Daily, water::Method::Hargreaves, elsewhere, &sheet);
    agree(&hargreaves, &days, "hargreaves");
}

#[test]
fn reference_evapotranspiration_of_hours_agrees_with_the_hourly_table_and_keeps_its_nights() {
    let hours = table("et0_hourly.csv");
    assert_eq!(hours.len(), 6 * 72);
    let weather = ["doy", "hour_local", "utc_start", "t_c", "ea_kpa", "rs", "uz", "zw"];
    let inputs = [&["site", "lat", "lon", "elev_m"], &weather[..]].concat();
    let penman = water::Method::PenmanMonteith;
    let told = et0(water::Period::Hourly, penman, None, &sheet_of(&hours, &inputs));
    agree(&told, &hours, "eto_fao56");
    // Without the name of the site, places part the runs all the same; and each by itself, placed by options.
    let unnamed = et0(water::Period::Hourly, penman, None, &sheet_of(&hours, &inputs[1..]));
    agree(&unnamed, &hours, "eto_fao56");
    for site in hours.chunks(72) {
        let place = (number(&site[0], "lat"), number(&site[0], "lon"), number(&site[0], "elev_m"));
        let told = et0(water::Period::Hourly, penman, Some(place), &sheet_of(site, &weather));
        agree(&told, site, "eto_fao56");
    }
}
