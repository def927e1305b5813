//! Radiation above the air and under a cloudless sky, against FAO-56 and pvlib 0.16.1.

mod golden;

use agronomy::series::{MS_PER_DAY, MS_PER_HOUR};
use agronomy::sun::{
    ClearSky, DayOfYear, MEAN_BEAM, apparent_altitude_deg, beam, extraterrestrial, fao56, position,
};
use agronomy::units::{
    AirPressure, HazeDepth, Irradiance, Latitude, Longitude, Metres, Turbidity, UtcHour, VapourColumn,
};
use golden::{Row, Worst, table};
use proptest::prelude::*;

fn latitude(degrees: f64) -> Latitude {
    Latitude::try_new(degrees).unwrap()
}

fn longitude(degrees: f64) -> Longitude {
    Longitude::try_new(degrees).unwrap()
}

fn metres(metres: f64) -> Metres {
    Metres::try_new(metres).unwrap()
}

fn day(row: &Row) -> DayOfYear {
    DayOfYear::try_new(row.number("doy") as u16).unwrap()
}

/// Milliseconds from 1970 of `YYYY-MM-DDTHH:MM:SSZ`, the day found by asking the day of the year.
fn utc_ms(stamp: &str) -> i64 {
    let part = |range: std::ops::Range<usize>| stamp[range].parse::<i64>().unwrap();
    let (year, month, of_month) = (part(0..4), part(5..7), part(8..10));
    let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    let before = [0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334][month as usize - 1];
    let of_year = before + i64::from(leap && month > 2) + of_month - 1;
    let days = (1970..year)
        .map(|year| if year % 4 == 0 && (year % 100 != 0 || year % 400 == 0) { 366 } else { 365 })
        .sum::<i64>()
        + of_year;
    assert_eq!(i64::from(DayOfYear::of_day(days).get()), of_year + 1, "{stamp}");
    days * MS_PER_DAY + part(11..13) * MS_PER_HOUR + part(14..16) * 60_000 + part(17..19) * 1000
}

fn model(name: &str) -> ClearSky {
    name.parse().unwrap()
}

#[test]
fn radiation_and_daylight_of_every_month_and_latitude_are_those_of_fao56_and_two_libraries() {
    // Tolerance of the header: 1e-6, the same equations; checked there with pyet 1.5.0 and refet 0.5.0.
    let mut radiation = Worst::of("fao56_radiation.csv Ra, also of two libraries, MJ/m²");
    let mut water = Worst::of("fao56_radiation.csv Ra as water, mm");
    let mut hours = Worst::of("fao56_radiation.csv N, h");
    for row in table("fao56_radiation.csv") {
        let (latitude, day) = (latitude(row.number("lat")), day(&row));
        let at = format!("{latitude}, day {}", day.get());
        let ra = fao56::extraterrestrial_day(latitude, day);
        for column in ["ra", "ra_pyet", "ra_refet"] {
            radiation.compare(ra.get(), row.number(column), 1e-6, format_args!("{column} at {at}"));
        }
        water.compare(ra.evaporates().get(), row.number("ra_mm"), 1e-6, &at);
        hours.compare(fao56::daylight(latitude, day).get(), row.number("n_hours"), 1e-6, &at);
    }
    radiation.end(216 * 3);
    water.end(216);
    hours.end(216);
}

#[test]
fn the_sun_above_the_air_is_that_of_pvlib() {
    // Header of sun_positions.csv: Spencer, 1366.1 W/m²; 1 % of the same model above 10° of elevation.
    let mut beams = Worst::of("sun_positions.csv e0n, share");
    let mut level = Worst::of("sun_positions.csv e0h above 10°, share");
    let mut night = Worst::of("sun_positions.csv e0h below -1°, W/m²");
    for row in table("sun_positions.csv") {
        let at = format!("{} {}", row.text("site"), row.text("utc"));
        let ms = utc_ms(row.text("utc"));
        let day = DayOfYear::of_utc(ms);
        let sun = position(ms, latitude(row.number("lat")), longitude(row.number("lon")));
        beams.compare(beam(day).get() / row.number("e0n"), 1.0, 1e-6, &at);
        let got = extraterrestrial(day, sun).get();
        if row.number("zenith") < 80.0 {
            level.compare(got / row.number("e0h"), 1.0, 0.01, &at);
        } else if row.number("zenith") > 91.0 {
            night.compare(got, row.number("e0h"), 0.0, &at);
        }
    }
    beams.end(336);
    level.end(129);
    night.end(170);
}

#[test]
fn each_cloudless_sky_is_that_of_pvlib() {
    // Tolerance of the header: 1 % of the same model above 10°.
    for (name, column) in [("solis", "solis_ghi"), ("ineichen", "ineichen_ghi"), ("haurwitz", "haurwitz_ghi")]
    {
        let mut worst = Worst::of("sun_positions.csv cloudless sky above 10°, share");
        for row in table("sun_positions.csv") {
            let at = format!("{name} {} {}", row.text("site"), row.text("utc"));
            let ms = utc_ms(row.text("utc"));
            let sun = position(ms, latitude(row.number("lat")), longitude(row.number("lon")));
            let got = model(name).global(sun, MEAN_BEAM, metres(row.number("elev_m"))).get();
            if row.number("zenith") < 80.0 {
                worst.compare(got / row.number(column), 1.0, 0.01, at);
            } else if row.number("zenith") > 91.0 {
                assert_eq!(got, 0.0, "{at}");
            }
        }
        worst.end(129);
    }
}

#[test]
fn days_of_radiation_are_those_of_fao56_and_of_the_integral_over_a_precise_sun() {
    // Tolerances of the header: 1e-6 for the columns of FAO-56, 0.5 % for the integrals.
    let mut ra = Worst::of("sun_radiation_daily.csv ra_fao, MJ/m²");
    let mut rso = Worst::of("sun_radiation_daily.csv rso_fao, MJ/m²");
    let mut length = Worst::of("sun_radiation_daily.csv n_fao_h, h");
    let mut above = Worst::of("sun_radiation_daily.csv ra_spa_integral, share");
    let mut solis = Worst::of("sun_radiation_daily.csv ghi_solis, share");
    let mut ineichen = Worst::of("sun_radiation_daily.csv ghi_ineichen, share");
    let events = table("sun_events.csv");
    for (row, event) in table("sun_radiation_daily.csv").iter().zip(&events) {
        let at = format!("{} {}", row.text("site"), row.text("local_date"));
        assert_eq!(
            (row.text("site"), row.text("local_date")),
            (event.text("site"), event.text("local_date"))
        );
        let (place, height, number) = (latitude(row.number("lat")), metres(row.number("elev_m")), day(row));
        let above_air = fao56::extraterrestrial_day(place, number);
        ra.compare(above_air.get(), row.number("ra_fao"), 1e-6, &at);
        rso.compare(fao56::clear_sky_day(above_air, height).get(), row.number("rso_fao"), 1e-6, &at);
        length.compare(fao56::daylight(place, number).get(), row.number("n_fao_h"), 1e-6, &at);
        // Five-minute steps around the noon of that day, as the table has them around that of the clock.
        let east = longitude(event.number("lon"));
        let start = utc_ms(event.text("transit_utc")) - MS_PER_DAY / 2;
        let integral = |power: &dyn Fn(i64) -> Irradiance| {
            (0..288).map(|step| power(start + step * 300_000 + 150_000).get() * 300.0 / 1e6).sum::<f64>()
        };
        let cloudless = |name: &str| {
            let model = model(name);
            integral(&|ms| model.global(position(ms, place, east), MEAN_BEAM, height))
        };
        let got = integral(&|ms| extraterrestrial(DayOfYear::of_utc(ms), position(ms, place, east)));
        for (worst, got, column) in [
            (&mut above, got, "ra_spa_integral"),
            (&mut solis, cloudless("solis"), "ghi_solis"),
            (&mut ineichen, cloudless("ineichen"), "ghi_ineichen"),
        ] {
            let expected = row.number(column);
            // The sun that only just clears the horizon leaves nothing to take shares of.
            let size = if expected < 0.1 { 1.0 } else { expected };
            worst.compare(got / size, expected / size, 0.005, &at);
        }
    }
    ra.end(42);
    rso.end(42);
    length.end(42);
    above.end(42);
    solis.end(42);
    ineichen.end(42);
}

#[test]
fn thin_air_and_a_clean_sky_let_more_through() {
    let noon = position(utc_ms("2024-06-20T12:00:00Z"), latitude(46.0), longitude(0.0));
    let beam = beam(DayOfYear::try_new(172).unwrap());
    let through = |sky: ClearSky, height| sky.global(noon, beam, metres(height)).get();
    for name in ["solis", "ineichen", "fao56"] {
        assert!(through(model(name), 1800.0) > through(model(name), 0.0), "{name}");
    }
    let solis = |haze, vapour| ClearSky::Solis {
        haze: HazeDepth::try_new(haze).unwrap(),
        vapour: VapourColumn::try_new(vapour).unwrap(),
    };
    assert!(through(solis(0.05, 1.4), 0.0) > through(solis(0.2, 1.4), 0.0));
    assert!(through(solis(0.1, 0.7), 0.0) > through(solis(0.1, 4.0), 0.0));
    let turbid = |turbidity| ClearSky::Ineichen { turbidity: Turbidity::try_new(turbidity).unwrap() };
    assert!(through(turbid(2.0), 0.0) > through(turbid(5.0), 0.0));
    assert!("cloudy".parse::<ClearSky>().unwrap_err().to_string().contains("ineichen"));
}

proptest! {
    #[test]
    fn no_place_no_time_and_no_sky_gives_anything_but_a_number(
        lat in -90.0..=90.0, lon in -180.0..=180.0, height in -500.0..=9000.0, ms in any::<i64>(),
    ) {
        let sun = position(ms, latitude(lat), longitude(lon));
        let day = DayOfYear::of_utc(ms);
        for (name, sky) in ClearSky::MODERATE {
            let got = sky.global(sun, beam(day), metres(height)).get();
            // No sky is clearer than none.
            let seen = apparent_altitude_deg(sun.altitude_deg, AirPressure::MAX);
            let limit = beam(day).get() * libm::sin(seen.to_radians()).max(0.0);
            prop_assert!((0.0..=limit).contains(&got), "{name}: {got} of {limit} at {sun:?}, {height} m");
            prop_assert_eq!(sky.as_str(), name);
        }
        let (place, hour) = (latitude(lat), UtcHour::try_new(ms.rem_euclid(MS_PER_DAY) as f64 / 3.6e6).unwrap());
        prop_assert!((0.0..=24.0).contains(&fao56::daylight(place, day).get()));
        prop_assert!((0.0..=60.0).contains(&fao56::extraterrestrial_day(place, day).get()));
        let in_hour = fao56::extraterrestrial_hour(place, day, fao56::solar_time(hour, longitude(lon)));
        prop_assert!((0.0..=6.0).contains(&in_hour.get()));
    }

    #[test]
    fn a_higher_sun_shines_stronger_through_the_same_sky(low in 1.0..80.0, more in 0.5..10.0) {
        for (name, sky) in ClearSky::MODERATE {
            let at = |altitude_deg| {
                let sun = agronomy::sun::Position { altitude_deg, azimuth_deg: 180.0 };
                sky.global(sun, MEAN_BEAM, metres(100.0)).get()
            };
            prop_assert!(at(low + more) > at(low), "{name}");
        }
    }

    #[test]
    fn refraction_lifts_the_sun_and_less_the_higher_it_is(low in -0.8..80.0, more in 0.1..9.0) {
        let lift = |altitude| apparent_altitude_deg(altitude, AirPressure::SEA_LEVEL) - altitude;
        prop_assert!(lift(low) > lift(low + more) && lift(low + more) > 0.0 && lift(low) < 0.65);
    }
}

#[test]
fn a_position_that_is_none_gives_no_light() {
    let sun = agronomy::sun::Position { altitude_deg: f64::NAN, azimuth_deg: f64::NAN };
    for (_, sky) in ClearSky::MODERATE {
        assert_eq!(sky.global(sun, MEAN_BEAM, metres(0.0)), Irradiance::MIN);
    }
    assert_eq!(extraterrestrial(DayOfYear::try_new(1).unwrap(), sun).get(), 0.0);
}
