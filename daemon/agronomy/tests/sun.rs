//! The sun against pvlib 0.16.1 (SPA) and PyEphem: 42 site-dates and 336 positions.

mod golden;

use agronomy::series::MS_PER_DAY;
use agronomy::sun::{
    RiseSet, apparent_altitude_deg, photoperiod_h, position, rise_set, rise_set_around, sun_day,
};
use agronomy::units::{Latitude, Longitude, Metres};
use agronomy::vapour::pressure_at_altitude;
use golden::{Row, Worst, close, table};
use proptest::prelude::*;

fn site(row: &Row) -> (Latitude, Longitude) {
    (Latitude::try_new(row.number("lat")).unwrap(), Longitude::try_new(row.number("lon")).unwrap())
}

/// Days from 1970-01-01 of a proleptic Gregorian date `YYYY-MM-DD`.
fn day_number(date: &str) -> i64 {
    let mut parts = date.split('-').map(|part| part.parse::<i64>().unwrap());
    let (mut year, mut month, day) = (parts.next().unwrap(), parts.next().unwrap(), parts.next().unwrap());
    // Counted from March, so that the leap day comes last.
    if month < 3 {
        year -= 1;
        month += 12;
    }
    365 * year + year / 4 - year / 100 + year / 400 + (153 * (month - 3) + 2) / 5 + day - 719_469
}

/// Milliseconds from 1970 of `YYYY-MM-DDTHH:MM:SSZ`.
fn utc_ms(stamp: &str) -> i64 {
    let (date, time) = stamp.trim_end_matches('Z').split_once('T').unwrap();
    let seconds = time.split(':').fold(0, |sum, part| sum * 60 + part.parse::<i64>().unwrap());
    day_number(date) * MS_PER_DAY + seconds * 1000
}

fn tolerance_ms(latitude: f64) -> f64 {
    // The table's own bounds for a low-accuracy sun: 60 s below 60°, 5 min to 66°, 10 min beyond.
    if latitude.abs() < 60.0 {
        60_000.0
    } else if latitude.abs() < 66.0 {
        300_000.0
    } else {
        600_000.0
    }
}

#[test]
fn sunrise_and_sunset_are_those_of_the_almanac() {
    for row in table("sun_events.csv") {
        let (latitude, longitude) = site(&row);
        let what = format!("{} {}", row.text("site"), row.text("local_date"));
        // One island keeps the date of the other side of the date line.
        let day = day_number(row.text("local_date")) - i64::from(row.text("site") == "Apia");
        match (rise_set(day, latitude, longitude), row.text("state")) {
            (RiseSet::PolarDay, "polar day") | (RiseSet::PolarNight, "polar night") => {}
            (sun @ RiseSet::RisesAndSets { rise_ms_utc, set_ms_utc }, "normal") => {
                let tolerance = tolerance_ms(latitude.get());
                let near = |got: i64, column: &str| {
                    close(
                        got as f64,
                        utc_ms(row.text(column)) as f64,
                        tolerance,
                        format_args!("{what} {column}"),
                    );
                };
                near(rise_ms_utc, "sunrise_utc");
                if utc_ms(row.text("sunset_utc")) > utc_ms(row.text("sunrise_utc")) {
                    near(set_ms_utc, "sunset_utc");
                    let up_ms = row.number("up_h") * 3_600_000.0;
                    close(sun.day_length_ms() as f64, up_ms, 2.0 * tolerance, &what);
                } else {
                    // The last night before the midnight sun: that civil day's sunset is the day before's.
                    let RiseSet::RisesAndSets { set_ms_utc, .. } = rise_set(day - 1, latitude, longitude)
                    else {
                        panic!("{what}: no sunset the evening before");
                    };
                    near(set_ms_utc, "sunset_utc");
                }
            }
            (got, state) => panic!("{what}: got {got:?}, table says {state}"),
        }
    }
}

#[test]
fn any_hour_near_noon_finds_the_same_noon() {
    for row in table("sun_events.csv").iter().filter(|row| row.text("state") == "normal") {
        let (latitude, longitude) = site(row);
        let transit = utc_ms(row.text("transit_utc"));
        let around = |hours: i64| rise_set_around(transit + hours * 3_600_000, latitude, longitude);
        for hours in [-11, -3, 3, 11] {
            let (RiseSet::RisesAndSets { rise_ms_utc: a, .. }, RiseSet::RisesAndSets { rise_ms_utc: b, .. }) =
                (around(hours), around(0))
            else {
                panic!("{}: the sun rises and sets", row.text("site"));
            };
            assert!((a - b).abs() < 100, "{} {hours} h: {a} {b}", row.text("site"));
        }
    }
}

#[test]
fn the_moments_of_the_sun_are_the_almanacs_to_a_minute() {
    // 60 s below 60° of latitude is the header's tolerance for a sun of low accuracy.
    let mut rises = Worst::of("sun_events.csv sunrise below 60°, s");
    let mut sets = Worst::of("sun_events.csv sunset below 60°, s");
    let mut noons = Worst::of("sun_events.csv transit, s");
    let mut polar_rises = Worst::of("sun_events.csv sunrise beyond 66°, s");
    let mut polar_sets = Worst::of("sun_events.csv sunset beyond 66°, s");
    for row in table("sun_events.csv") {
        let (latitude, longitude) = site(&row);
        let day = sun_day(utc_ms(row.text("transit_utc")), latitude, longitude);
        let what = format!("{} {}", row.text("site"), row.text("local_date"));
        let compare = |worst: &mut Worst, got: i64, column: &str, tolerance: f64| {
            worst.compare((got - utc_ms(row.text(column))) as f64 / 1000.0, 0.0, tolerance, &what);
        };
        let (rises, sets, tolerance) = if latitude.get().abs() < 60.0 {
            (&mut rises, &mut sets, 60.0)
        } else {
            (&mut polar_rises, &mut polar_sets, 600.0)
        };
        compare(&mut noons, day.noon_ms_utc, "transit_utc", 60.0);
        if let Some(rise) = day.rise_ms_utc {
            compare(rises, rise, "sunrise_utc", tolerance);
        }
        // The sunset before the midnight sun belongs to the noon before: see the test above.
        if let Some(set) = day.set_ms_utc {
            compare(sets, set, "sunset_utc", tolerance);
        }
    }
    rises.end(32);
    sets.end(32);
    noons.end(42);
    let (up, down) = (polar_rises.rows(), polar_sets.rows());
    assert_eq!(up + down, 9);
    polar_rises.end(up);
    polar_sets.end(down);
}

#[test]
fn a_sun_that_rises_and_stays_has_no_sunset_and_is_up_from_then_on() {
    // sun_events.csv: Tromso 17 May 2024 sets at 00:12 and rises at 01:08 of the same civil day, then stays up.
    let rows = table("sun_events.csv");
    let row = rows.iter().find(|row| row.text("local_date") == "2024-05-17").unwrap();
    let (latitude, longitude) = site(row);
    let day = sun_day(utc_ms(row.text("transit_utc")), latitude, longitude);
    assert_eq!(day.set_ms_utc, None);
    close(day.rise_ms_utc.unwrap() as f64, utc_ms(row.text("sunrise_utc")) as f64, 600_000.0, "sunrise");
    let midnight = day.noon_ms_utc + MS_PER_DAY / 2;
    assert_eq!(day.up_ms, midnight - day.rise_ms_utc.unwrap());
}

#[test]
fn light_for_flowering_has_twilight_with_it() {
    // The table's height of the sun at noon gives its declination, and spherical trigonometry the time it spends above
    // -6°; the declination moves by a minute's worth meanwhile.
    let mut worst = Worst::of("sun_events.csv hours above -6° between 30° and 60°, h");
    for row in table("sun_events.csv") {
        let (latitude, longitude) = site(&row);
        let (at, highest) = (latitude.get(), row.number("elev_max_deg"));
        if !(30.0..60.0).contains(&at.abs()) {
            continue;
        }
        let declination = if at > 0.0 { highest - 90.0 + at } else { 90.0 - highest + at };
        let (sin_lat, cos_lat) = libm::sincos(at.to_radians());
        let (sin_dec, cos_dec) = libm::sincos(declination.to_radians());
        let hour_angle =
            libm::acos((libm::sin((-6.0_f64).to_radians()) - sin_lat * sin_dec) / (cos_lat * cos_dec));
        let got = photoperiod_h(utc_ms(row.text("transit_utc")), latitude, longitude);
        worst.compare(
            got,
            2.0 * hour_angle.to_degrees() / 15.0,
            2.0 / 60.0,
            format_args!("{} {}", row.text("site"), row.text("local_date")),
        );
        assert!(got > row.number("up_h") + 0.7, "twilight lasts");
    }
    worst.end(24);
}

#[test]
fn the_sun_stands_where_spa_says() {
    // Tolerance of the header for a sun of low accuracy: zenith 0.05°, azimuth 0.1° not within 3° of the zenith.
    let mut zeniths = Worst::of("sun_positions.csv zenith, degrees");
    let mut seen = Worst::of("sun_positions.csv apparent zenith, degrees");
    let mut azimuths = Worst::of("sun_positions.csv azimuth across the sky, degrees");
    let mut turned = Worst::of("sun_positions.csv azimuth, degrees");
    for row in table("sun_positions.csv") {
        let (latitude, longitude) = site(&row);
        let got = position(utc_ms(row.text("utc")), latitude, longitude);
        let what = format!("{} {}", row.text("site"), row.text("utc"));
        let zenith = row.number("zenith");
        zeniths.compare(90.0 - got.altitude_deg, zenith, 0.05, &what);
        let pressure = pressure_at_altitude(Metres::try_new(row.number("elev_m")).unwrap());
        let apparent = apparent_altitude_deg(got.altitude_deg, pressure);
        seen.compare(90.0 - apparent, row.number("apparent_zenith"), 0.05, &what);
        if zenith > 3.0 && zenith < 177.0 {
            let apart = (got.azimuth_deg - row.number("azimuth") + 180.0).rem_euclid(360.0) - 180.0;
            azimuths.compare(apart * libm::sin(zenith.to_radians()), 0.0, 0.05, &what);
            turned.compare(apart, 0.0, 0.1, &what);
        }
    }
    zeniths.end(336);
    seen.end(336);
    azimuths.end(336);
    turned.end(336);
}

proptest! {
    #[test]
    fn sunrise_comes_before_sunset_within_a_day_everywhere(
        day in -30_000_i64..60_000, lat in -90.0..=90.0, lon in -180.0..=180.0,
    ) {
        let sun = rise_set(day, Latitude::try_new(lat).unwrap(), Longitude::try_new(lon).unwrap());
        prop_assert!((0..=MS_PER_DAY).contains(&sun.day_length_ms()), "{sun:?}");
    }

    #[test]
    fn day_length_grows_towards_the_summer_pole(lat in -60.0..59.0, north in 0.1..1.0) {
        // 2024-06-20.
        let length = |lat| {
            rise_set(19_894, Latitude::try_new(lat).unwrap(), Longitude::try_new(0.0).unwrap()).day_length_ms()
        };
        prop_assert!(length(lat + north) > length(lat));
    }
}
