//! Sun, radiation and the reference: examples 8 to 20.

use agronomy::sun::fao56 as sun;
use agronomy::units::{GaugeHeight, HourlyRadiation, HoursOfDay, Radians, SolarTime};
use agronomy::vapour::{pressure_at_altitude, saturation_pressure, vapour_pressure};
use agronomy::water::moisture;
use agronomy::water::net_radiation::{self as net, Setting};
use agronomy::water::{Day, DayReference, Hour, Surface, hargreaves, wind as breeze};

use super::Steps;
use crate::{celsius, day_of_year, fraction, kilopascal, latitude, metres, per_day, per_hour, percent, wind};

pub(super) fn radiation(steps: &mut Steps) {
    let (south, september) = (latitude(-20.0), day_of_year(246.0));
    // The products of sines and cosines are seen from the sun's height at true noon and true midnight.
    let noon = 12.0 - sun::seasonal_correction(september);
    let sine = |hours: f64| {
        let time = SolarTime::try_new(hours.rem_euclid(24.0)).unwrap();
        libm::sin(sun::sun_height(south, september, time).get())
    };
    let ra = sun::extraterrestrial_day(south, september);
    steps.all(
        "8",
        [
            ("dr", sun::inverse_distance(september)),
            ("decl", sun::declination(september).get()),
            ("ws", sun::sunset_angle(south, september).get()),
            ("sin sin", f64::midpoint(sine(noon), sine(noon - 12.0))),
            ("cos cos", f64::midpoint(sine(noon), -sine(noon - 12.0))),
            ("Ra", ra.get()),
            ("Ra equivalent", ra.evaporates().get()),
        ],
    );
    steps.put("9", "N", sun::daylight(south, september).get());
    may_at_the_coast(steps);
    let g = net::soil_heat_between_months(celsius(14.1), celsius(18.8));
    steps.all("13", [("G (eq 43)", g.get()), ("G equivalent", g.evaporates().get())]);
    let gauge = GaugeHeight::try_new(10.0).unwrap();
    steps.all(
        "14",
        [("factor", breeze::factor(gauge)), ("u2", breeze::at_two_metres(wind(3.2), gauge).get())],
    );
    let ra = sun::extraterrestrial_day(latitude(45.0 + 43.0 / 60.0), day_of_year(196.0));
    let rs = net::solar_from_temperatures(ra, celsius(14.8), celsius(26.6), Setting::Interior);
    steps.all("15", [("Ra", ra.get()), ("Rs (eq 50)", rs.get()), ("Rs equivalent", rs.evaporates().get())]);
    april_in_the_tropics(steps);
}

/// Examples 10 to 12.
fn may_at_the_coast(steps: &mut Steps) {
    let (place, may) = (latitude(-22.9), day_of_year(135.0));
    let (low, high, vapour) = (celsius(19.1), celsius(25.1), kilopascal(2.1));
    let ra = sun::extraterrestrial_day(place, may);
    let hours = sun::daylight(place, may);
    let rs = net::solar_from_sunshine(ra, HoursOfDay::try_new(220.0 / 31.0).unwrap(), hours);
    steps.all(
        "10",
        [("Ra", ra.get()), ("N", hours.get()), ("Rs", rs.get()), ("Rs equivalent", rs.evaporates().get())],
    );
    let rso = sun::clear_sky_day(ra, metres(0.0));
    let clearness = net::clearness_day(rs, rso);
    let rnl = net::longwave_day(low, high, vapour, clearness);
    steps.all(
        "11",
        [
            ("Rso (eq 36)", rso.get()),
            ("sigma Tmax^4", net::glow_day(high).get()),
            ("sigma Tmin^4", net::glow_day(low).get()),
            ("humidity term", net::humidity_term(vapour)),
            ("Rs/Rso", clearness.get()),
            ("cloud term", net::cloud_term(clearness)),
            ("Rnl", rnl.get()),
            ("Rnl equivalent", rnl.evaporates().get()),
        ],
    );
    let rns = net::shortwave_day(rs);
    let rn = per_day(rns.get() - rnl.get());
    steps.all("12", [("Rns", rns.get()), ("Rn", rn.get()), ("Rn equivalent", rn.evaporates().get())]);
}

/// Example 16.
fn april_in_the_tropics(steps: &mut Steps) {
    let (low, high) = (celsius(25.6), celsius(34.8));
    let ra = sun::extraterrestrial_day(latitude(13.0 + 44.0 / 60.0), day_of_year(105.0));
    let rs = net::solar_from_temperatures(ra, low, high, Setting::Coast);
    let rso = sun::clear_sky_day(ra, metres(0.0));
    let clearness = net::clearness_day(rs, rso);
    let rns = net::shortwave_day(rs);
    let rnl = net::longwave_day(low, high, kilopascal(2.85), clearness);
    let rn = per_day(rns.get() - rnl.get());
    steps.all(
        "16",
        [
            ("Ra", ra.get()),
            ("Rs", rs.get()),
            ("Rso (eq 36)", rso.get()),
            ("Rns", rns.get()),
            ("cloud term", net::cloud_term(clearness)),
            ("Rnl", rnl.get()),
            ("Rn", rn.get()),
            ("Rn equivalent", rn.evaporates().get()),
        ],
    );
}

/// The steps that examples 17, 18 and 20 have in common.
fn day_steps(steps: &mut Steps, example: &str, day: &Day, got: &DayReference) {
    let per_wind = got.dryness_part.get() / got.dryness_weight / got.deficit.get();
    steps.all(
        example,
        [
            ("delta", got.slope.get()),
            ("gamma", got.psychrometric.get()),
            ("delta/den", got.radiation_weight),
            ("gamma/den", got.dryness_weight),
            ("900u2/(T+273)", per_wind),
            ("es", got.saturation.get()),
            ("vpd", got.deficit.get()),
            ("Ra", got.extraterrestrial.get()),
            ("Rs", day.solar.get()),
            ("Rso", got.clear_sky.get()),
            ("Rs/Rso", got.clearness.get()),
            ("Rns", got.shortwave.get()),
            ("Rnl", got.longwave.get()),
            ("Rn", got.net.get()),
            ("ETo", got.total().get()),
        ],
    );
}

/// The further ones of examples 17 and 18.
fn more_day_steps(steps: &mut Steps, example: &str, day: &Day, got: &DayReference, sunshine: f64) {
    let hours = sun::daylight(day.latitude, day.day).get();
    let available = per_day(got.net.get() - day.soil_heat.get());
    steps.all(
        example,
        [
            ("tmean", got.mean.get()),
            ("P", pressure_at_altitude(day.altitude).get()),
            ("1+0.34u2", 1.0 / got.dryness_weight - got.slope.get() / got.psychrometric.get()),
            ("e0(tmax)", saturation_pressure(day.highest).get()),
            ("e0(tmin)", saturation_pressure(day.lowest).get()),
            ("N", hours),
            ("n/N", sunshine / hours),
            ("humidity term", net::humidity_term(day.vapour)),
            ("cloud term", net::cloud_term(got.clearness)),
            ("0.408(Rn-G)", available.evaporates().get()),
            ("radiation part", got.radiation_part.get()),
            ("aerodynamic part", got.dryness_part.get()),
        ],
    );
}

pub(super) fn example_17(steps: &mut Steps) {
    let (place, april) = (latitude(13.0 + 44.0 / 60.0), day_of_year(105.0));
    let ra = sun::extraterrestrial_day(place, april);
    let sunshine = HoursOfDay::try_new(8.5).unwrap();
    let day = Day {
        latitude: place,
        altitude: metres(2.0),
        day: april,
        lowest: celsius(25.6),
        highest: celsius(34.8),
        vapour: kilopascal(2.85),
        solar: net::solar_from_sunshine(ra, sunshine, sun::daylight(place, april)),
        wind: wind(2.0),
        soil_heat: net::soil_heat_since_last_month(celsius(29.2), celsius(30.2)),
    };
    let got = day.reference().unwrap();
    day_steps(steps, "17", &day, &got);
    more_day_steps(steps, "17", &day, &got, 8.5);
    steps.put("17", "G (eq 44)", day.soil_heat.get());
}

pub(super) fn example_18(steps: &mut Steps) {
    let (place, july) = (latitude(50.8), day_of_year(187.0));
    let (low, high) = (celsius(12.3), celsius(21.5));
    let ra = sun::extraterrestrial_day(place, july);
    let sunshine = HoursOfDay::try_new(9.25).unwrap();
    let day = Day {
        latitude: place,
        altitude: metres(100.0),
        day: july,
        lowest: low,
        highest: high,
        vapour: moisture::vapour_from_extremes((low, percent(84.0)), (high, percent(63.0))),
        solar: net::solar_from_sunshine(ra, sunshine, sun::daylight(place, july)),
        wind: breeze::at_two_metres(wind(10.0 / 3.6), GaugeHeight::try_new(10.0).unwrap()),
        soil_heat: per_day(0.0),
    };
    let got = day.reference().unwrap();
    day_steps(steps, "18", &day, &got);
    more_day_steps(steps, "18", &day, &got, 9.25);
    steps.all(
        "18",
        [
            ("u2", day.wind.get()),
            ("ea", day.vapour.get()),
            ("sigma Tmax^4", net::glow_day(high).get()),
            ("sigma Tmin^4", net::glow_day(low).get()),
        ],
    );
}

pub(super) fn example_20(steps: &mut Steps) {
    let (place, july) = (latitude(45.0 + 43.0 / 60.0), day_of_year(196.0));
    let (low, high) = (celsius(14.8), celsius(26.6));
    let ra = sun::extraterrestrial_day(place, july);
    let day = Day {
        latitude: place,
        altitude: metres(200.0),
        day: july,
        lowest: low,
        highest: high,
        vapour: moisture::vapour_from_lowest(low, false),
        solar: net::solar_from_temperatures(ra, low, high, Setting::Interior),
        wind: breeze::OPEN,
        soil_heat: per_day(0.0),
    };
    let got = day.reference().unwrap();
    day_steps(steps, "20", &day, &got);
    let blown = |speed: f64| Day { wind: wind(speed), ..day }.reference().unwrap().total().get();
    steps.all(
        "20",
        [
            ("ea", day.vapour.get()),
            ("sigma Tmax^4", net::glow_day(high).get()),
            ("sigma Tmin^4", net::glow_day(low).get()),
            ("ETo u2=1", blown(1.0)),
            ("ETo u2=3", blown(3.0)),
            ("ETo Hargreaves (eq 52)", hargreaves(place, july, low, high).unwrap().get()),
        ],
    );
}

pub(super) fn example_19(steps: &mut Steps) {
    let october = day_of_year(274.0);
    steps.all(
        "19",
        [
            ("dr", sun::inverse_distance(october)),
            ("decl", sun::declination(october).get()),
            ("Sc", sun::seasonal_correction(october)),
            ("b", 2.0 * std::f64::consts::PI * (274.0 - 81.0) / 364.0),
        ],
    );
    let hour = |clock: f64, air: f64, humidity: f64, speed: f64, solar: HourlyRadiation| Hour {
        latitude: latitude(16.0 + 13.0 / 60.0),
        altitude: metres(8.0),
        day: october,
        // The book rounds the fifteenth of an hour for each degree to 0.06667.
        middle: SolarTime::try_new(clock + 0.06667 * (15.0 - 16.25)).unwrap(),
        air: celsius(air),
        vapour: vapour_pressure(celsius(air), percent(humidity)),
        solar,
        wind: wind(speed),
    };
    let night = hour(2.5, 28.0, 90.0, 1.9, per_hour(0.0));
    let day = hour(14.5, 38.0, 52.0, 3.3, per_hour(2.45));
    assert_eq!(night.clearness(), None);
    hour_steps(steps, " 02-03h", &night, 0.8);
    hour_steps(steps, " 14-15h", &day, day.clearness().unwrap().get());
    let middle: Radians = sun::hour_angle(october, day.middle);
    let half = std::f64::consts::PI / 24.0;
    steps.all("19", [("omega1 14-15h", middle.get() - half), ("omega2 14-15h", middle.get() + half)]);
}

fn hour_steps(steps: &mut Steps, when: &str, hour: &Hour, clearness: f64) {
    let got = hour.reference(fraction(clearness), Surface::Fao56).unwrap();
    let available = per_hour(got.net.get() - got.soil_heat.get());
    for (quantity, value) in [
        ("delta", got.slope.get()),
        ("gamma", got.psychrometric.get()),
        ("e0(T)", saturation_pressure(hour.air).get()),
        ("ea", hour.vapour.get()),
        ("vpd", got.deficit.get()),
        ("omega", sun::hour_angle(hour.day, hour.middle).get()),
        ("Ra", hour.extraterrestrial().get()),
        ("Rso", hour.clear_sky().get()),
        ("Rns", net::shortwave_hour(hour.solar).get()),
        ("sigma T^4", net::glow_hour(hour.air).get()),
        ("humidity term", net::humidity_term(hour.vapour)),
        ("Rs/Rso", clearness),
        ("cloud term", net::cloud_term(fraction(clearness))),
        ("Rnl", got.longwave.get()),
        ("Rn", got.net.get()),
        ("G (eq 46/45)", got.soil_heat.get()),
        ("Rn-G", available.get()),
        ("0.408(Rn-G)", available.evaporates().get()),
        ("ETo (eq 53)", got.total().get()),
    ] {
        steps.put("19", &format!("{quantity}{when}"), value);
    }
}
