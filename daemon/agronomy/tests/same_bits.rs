//! Figures that go through `libm` have the same bits on every machine.
//!
//! The bits below were made by this code: they say nothing about whether a figure is right, only that another processor
//! or compiler gives the same one. How near each formula comes to its published figures is tested where its subject is:
//! `air.rs`, `people.rs`, `degree_days.rs`, `sun.rs`, `water/`.

use agronomy::degree_days::{Cutoff, Method, Rule, daily};
use agronomy::people::{humidex, wet_bulb_globe_in_shade};
use agronomy::sun::{DayOfYear, position};
use agronomy::units::{
    AirPressure, Celsius, DailyRadiation, Kilopascal, Latitude, Longitude, Metres, MetresPerSecond,
    RelativeHumidity,
};
use agronomy::vapour::{self, ashrae};
use agronomy::water::Day;

fn celsius(value: f64) -> Celsius {
    Celsius::try_new(value).unwrap()
}

fn percent(value: f64) -> RelativeHumidity {
    RelativeHumidity::try_new(value).unwrap()
}

/// FAO-56, example 18: a day in July at 50°48' N.
fn july() -> Day {
    Day {
        latitude: Latitude::try_new(50.8).unwrap(),
        altitude: Metres::try_new(100.0).unwrap(),
        day: DayOfYear::try_new(187).unwrap(),
        lowest: celsius(12.3),
        highest: celsius(21.5),
        vapour: Kilopascal::try_new(1.409).unwrap(),
        solar: DailyRadiation::try_new(22.07).unwrap(),
        wind: MetresPerSecond::try_new(2.078).unwrap(),
        soil_heat: DailyRadiation::try_new(0.0).unwrap(),
    }
}

#[test]
fn every_machine_gives_these_bits() {
    let sea = AirPressure::SEA_LEVEL;
    let place = (Latitude::try_new(50.8).unwrap(), Longitude::try_new(4.35).unwrap());
    // 2024-06-20T12:00:00Z.
    let noon = 1_718_884_800_000;
    let sun = position(noon, place.0, place.1);
    let sine =
        Rule::try_new(Method::SingleSine, celsius(10.0), Some(celsius(30.0)), Cutoff::Horizontal).unwrap();
    let cut =
        Rule::try_new(Method::DoubleSine, celsius(10.0), Some(celsius(30.0)), Cutoff::Vertical).unwrap();
    let figures = [
        (
            "saturation by FAO-56 at 31.7 °C",
            vapour::saturation_pressure(celsius(31.7)).get(),
            0x4012b2f4552f8593,
        ),
        (
            "dew point by FAO-56",
            vapour::dew_point(celsius(31.7), percent(37.0)).unwrap().get(),
            0x402e70b01e61259f,
        ),
        (
            "saturation by ASHRAE over water",
            ashrae::saturation_pressure(celsius(31.7)).get(),
            0x4012b6acbf42c3dd,
        ),
        (
            "saturation by ASHRAE over ice",
            ashrae::saturation_pressure(celsius(-11.3)).get(),
            0x3fcd9fd0a6c52ae3,
        ),
        ("wet bulb by FAO-56", vapour::wet_bulb(celsius(31.7), percent(37.0), sea).get(), 0x4034d59487743ed8),
        (
            "wet bulb by ASHRAE",
            ashrae::wet_bulb(celsius(31.7), percent(37.0), sea).unwrap().get(),
            0x4034bc9df5276bb0,
        ),
        ("humidex", humidex(celsius(31.7), percent(37.0)), 0x4041e832c43c99ac),
        (
            "wet-bulb globe",
            wet_bulb_globe_in_shade(celsius(31.7), percent(37.0), sea).unwrap().get(),
            0x4038069787c48df0,
        ),
        (
            "single sine",
            daily(&sine, celsius(7.3), celsius(33.1), None).unwrap().degree_days,
            0x402439d536fa6e5d,
        ),
        (
            "double sine, vertical",
            daily(&cut, celsius(7.3), celsius(33.1), Some(celsius(11.9))).unwrap().degree_days,
            0x401932b9030fc207,
        ),
        ("sun's altitude", sun.altitude_deg, 0x404f3c13a8404cbe),
        ("sun's azimuth", sun.azimuth_deg, 0x406779afaf4e278d),
        ("Penman-Monteith", july().reference().unwrap().total().get(), 0x400f093a877c868a),
    ];
    let told: Vec<_> = figures.iter().filter(|(_, value, bits)| value.to_bits() != *bits).collect();
    let shown: Vec<_> =
        told.iter().map(|(what, value, _)| format!("{what}: {value} {:#x}", value.to_bits())).collect();
    assert!(told.is_empty(), "{}", shown.join("\n"));
}
