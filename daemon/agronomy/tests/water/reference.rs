//! Radiation and reference evapotranspiration, row by row of the golden tables.

use agronomy::sun::fao56::{clear_sky_day, daylight, solar_time, sun_height};
use agronomy::units::{AirPressure, Fraction, GaugeHeight, Longitude, UtcHour};
use agronomy::vapour::pressure_at_altitude;
use agronomy::water::moisture::{day_saturation, psychrometric_constant, slope};
use agronomy::water::net_radiation::{cloud_term, glow_day};
use agronomy::water::{Day, Hour, Surface, hargreaves, wind};

use crate::golden::{Row, Worst, table};
use crate::{celsius, day_of_year, kilopascal, latitude, metres, per_day, per_hour};

#[test]
fn the_printed_tables_of_slope_psychrometer_glow_and_wind_come_out() {
    // FAO-56 Annex 2, Tables 2.2, 2.4, 2.8, 2.9; 2.1 and 2.3 are in tests/air.rs.
    let (mut printed, mut equation) =
        (Worst::of("fao56_annex2.csv printed"), Worst::of("fao56_annex2.csv equation, relative"));
    for row in table("fao56_annex2.csv") {
        let x = row.number("x");
        let (got, decimals) = match row.text("table") {
            "2.2" => (psychrometric_constant(pressure_at_altitude(metres(x))).get(), 3),
            "2.4" => (slope(celsius(x)).get(), 3),
            "2.8" => (glow_day(celsius(x)).get(), 2),
            "2.9" => (wind::factor(GaugeHeight::try_new(x).unwrap()), 3),
            _ => continue,
        };
        let what = format!("table {} at {x}", row.text("table"));
        equation.compare(got / row.number("computed"), 1.0, 1e-9, &what);
        let half = 0.5 / libm::pow(10.0, f64::from(decimals));
        printed.compare(got, row.number("printed"), half + 1e-9, &what);
    }
    equation.end(268);
    printed.end(268);
}

fn daily(row: &Row) -> Day {
    let gauge = GaugeHeight::try_new(row.number("zw")).unwrap();
    Day {
        latitude: latitude(row.number("lat")),
        altitude: metres(row.number("elev_m")),
        day: day_of_year(row.number("doy")),
        lowest: celsius(row.number("tmin_c")),
        highest: celsius(row.number("tmax_c")),
        vapour: kilopascal(row.number("ea_kpa")),
        solar: per_day(row.number("rs")),
        wind: wind::at_two_metres(crate::wind(row.number("uz")), gauge),
        soil_heat: per_day(0.0),
    }
}

#[test]
fn every_day_of_the_daily_table_agrees_with_fao56_and_with_pyet() {
    let (mut own, mut pyet) = (Worst::of("et0_daily.csv"), Worst::of("et0_daily.csv pyet 1.5.0"));
    for row in table("et0_daily.csv") {
        let day = daily(&row);
        let got = day.reference().unwrap();
        let mut see = |got: f64, column: &str| {
            own.compare(got, row.number(column), 1e-6, format_args!("{column}, {day:?}"));
        };
        see(got.extraterrestrial.get(), "ra");
        see(daylight(day.latitude, day.day).get(), "daylight_h");
        see(clear_sky_day(got.extraterrestrial, day.altitude).get(), "rso");
        see(day.wind.get(), "u2");
        see(day_saturation(day.lowest, day.highest).get(), "es_kpa");
        see(got.net.get(), "rn_fao56");
        see(got.total().get(), "eto_fao56");
        see(hargreaves(day.latitude, day.day, day.lowest, day.highest).unwrap().get(), "hargreaves");
        // Below 0.3 that library puts a floor under Rs/Rso which FAO-56 does not name; without sun it has none.
        if row.text("eto_fao56_pyet") != "nan" && got.clearness.get() >= 0.3 {
            pyet.compare(got.total().get(), row.number("eto_fao56_pyet"), 1e-6, format_args!("{day:?}"));
        }
    }
    own.end(312 * 8);
    let compared = pyet.rows();
    assert!(compared > 250, "{compared}");
    pyet.end(compared);
}

fn hourly(row: &Row) -> Hour {
    let gauge = GaugeHeight::try_new(row.number("zw")).unwrap();
    let utc = UtcHour::try_new(row.number("utc_start") + 0.5).unwrap();
    Hour {
        latitude: latitude(row.number("lat")),
        altitude: metres(row.number("elev_m")),
        day: day_of_year(row.number("doy")),
        middle: solar_time(utc, Longitude::try_new(row.number("lon")).unwrap()),
        air: celsius(row.number("t_c")),
        vapour: kilopascal(row.number("ea_kpa")),
        solar: per_hour(row.number("rs")),
        wind: wind::at_two_metres(crate::wind(row.number("uz")), gauge),
    }
}

/// The sky of each hour by the night rule: the last hour that could tell, or else the first that can.
fn skies(hours: &[Hour]) -> Vec<Fraction> {
    let mut last = hours.iter().find_map(Hour::clearness).unwrap();
    hours
        .iter()
        .map(|hour| {
            last = hour.clearness().unwrap_or(last);
            last
        })
        .collect()
}

#[test]
fn every_hour_of_the_hourly_table_agrees_with_fao56_with_asce_and_with_two_libraries() {
    let mut own = Worst::of("et0_hourly.csv");
    let mut libraries = Worst::of("et0_hourly.csv refet 0.5.0 and pyfao56 1.4.3");
    let rows = table("et0_hourly.csv");
    for site in rows.chunks(72) {
        let hours: Vec<_> = site.iter().map(hourly).collect();
        for ((row, hour), sky) in site.iter().zip(&hours).zip(skies(&hours)) {
            let what =
                format!("site {}, day {}, {} h", row.text("site"), row.text("doy"), row.text("hour_local"));
            let mut see = |got: f64, column: &str| {
                own.compare(got, row.number(column), 1e-6, format_args!("{column}, {what}"));
            };
            see(hour.extraterrestrial().get(), "ra");
            see(hour.clear_sky().get(), "rso");
            see(sun_height(hour.latitude, hour.day, hour.middle).get(), "beta_rad");
            see(cloud_term(sky), "fcd");
            let asce = hour.reference(sky, Surface::AsceShort).unwrap();
            see(asce.net.get(), "rn");
            see(asce.soil_heat.get(), "g_asce");
            see(asce.total().get(), "eto_asce");
            let fao = hour.reference(sky, Surface::Fao56).unwrap();
            see(fao.soil_heat.get(), "g_fao56");
            see(fao.total().get(), "eto_fao56");
            libraries.compare(
                asce.total().get(),
                row.number("eto_pyfao56"),
                1e-4,
                format_args!("pyfao56, {what}"),
            );
            // That library has no night rule: it is compared where its sky is ours.
            if (row.number("fcd") - row.number("fcd_refet")).abs() < 1e-9 {
                libraries.compare(
                    asce.total().get(),
                    row.number("eto_refet"),
                    1e-4,
                    format_args!("refet, {what}"),
                );
            }
        }
    }
    own.end(432 * 9);
    let compared = libraries.rows();
    assert!(compared > 432 + 150, "{compared}");
    libraries.end(compared);
}

#[test]
fn the_psychrometric_constant_at_sea_level_is_that_of_the_table() {
    // FAO-56 Annex 2, Table 2.2 at 0 m: 0.067 kPa/°C.
    let got = psychrometric_constant(AirPressure::try_new(101.3).unwrap());
    assert_eq!(format!("{got:.3}"), "0.067 kPa/°C");
}
