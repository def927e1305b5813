//! Against worked figures: AGRONOMY's table of daily demand (FAO-56 Penman-Monteith, latitude 45, mid July), its
//! comparison with Hargreaves, and its range for a house.

use agronomy::crop::Stages;

use super::*;
use crate::ground::Planting;
use crate::ground::fixture::planted;

const HOUR: i64 = 3_600_000;
const DAY_MS: i64 = 24 * HOUR;

fn north() -> Latitude {
    Latitude::try_new(45.0).unwrap()
}

/// 15 July 2026.
fn july() -> Day {
    crate::calendar::day("2026-07-15").unwrap()
}

fn span(low_c: f64, high_c: f64) -> Span {
    Span { low_c, high_c, basis: Basis::Temperatures }
}

fn near(value: f64, wanted: f64, within: f64) {
    assert!((value - wanted).abs() <= within, "{value}, not {wanted}");
}

#[test]
fn with_the_sun_measured_a_hot_day_asks_for_what_the_table_has() {
    // AGRONOMY 1.3: hot, 33/18 °C, 1.6 kPa, 1.5 m/s, 27 MJ: ETo 6.1 mm. Its vapour is 45 % of the day's saturation
    // (FAO-56 annex 2: 5.030 and 2.064 kPa). Heat wave, dry: 39/22, 1.5 kPa, wind of 2 there and 1.5 here: 7.9 mm.
    let hot = DayWeather {
        span: Some(span(18.0, 33.0)),
        humidity_pct: Some(100.0 * 1.6 / 3.547),
        sun: Some(Sun::Outside(27.0)),
    };
    let (mm, basis) = open_mm(north(), july(), &hot).unwrap();
    near(mm, 6.1, 0.06);
    assert_eq!(basis, Basis::Light);
    let mild = DayWeather {
        span: Some(span(13.0, 24.0)),
        humidity_pct: Some(100.0 * 1.3 / 2.240),
        sun: Some(Sun::Outside(22.0)),
    };
    near(open_mm(north(), july(), &mild).unwrap().0, 4.2, 0.06);
}

#[test]
fn with_temperatures_alone_the_hot_day_asks_for_a_fifth_of_a_millimetre_more() {
    // AGRONOMY 2.8: Hargreaves 6.3 mm against 6.1 on the hot test day, which is some day of mid July.
    let hot = DayWeather { span: Some(span(18.0, 33.0)), ..DayWeather::default() };
    let (mm, basis) = open_mm(north(), july(), &hot).unwrap();
    near(mm, 6.3, 0.1);
    assert_eq!(basis, Basis::Temperatures);
    assert_eq!(
        open_mm(north(), july(), &DayWeather::default()),
        None,
        "air under cover says nothing of the open"
    );
}

#[test]
fn a_full_canopy_under_cover_uses_what_the_sun_there_can_lift() {
    // AGRONOMY 1.3: 2.9 to 4.8 mm/d on a 26 MJ day. By hand: 0.625 · 0.70 · 26 / 2.45 = 4.64.
    let measured = DayWeather { sun: Some(Sun::Outside(26.0)), ..DayWeather::default() };
    near(covered_mm(north(), july(), &measured, 1.0).unwrap().0, 4.64, 0.01);
    let inside = DayWeather { sun: Some(Sun::Inside(18.2)), ..DayWeather::default() };
    near(covered_mm(north(), july(), &inside, 1.0).unwrap().0, 4.64, 0.01);
    // Half the light leaves more than half the water (0.713, by hand), wherever the light was measured.
    near(covered_mm(north(), july(), &measured, SHADE).unwrap().0, 4.64 * 0.713, 0.01);
    let inside = DayWeather { sun: Some(Sun::Inside(9.1)), ..DayWeather::default() };
    near(covered_mm(north(), july(), &inside, SHADE).unwrap().0, 4.64 * 0.713, 0.01);
    let (clear, basis) = covered_mm(north(), july(), &DayWeather::default(), 1.0).unwrap();
    // Ra of 15 July at 45 °N: 40.5 MJ (FAO-56 annex 2, Table 2.6, from memory), 0.75 of it clear.
    near(clear, 0.625 * 0.70 * 0.75 * 40.5 / 2.45, 0.05);
    assert_eq!(basis, Basis::ClearSky);
    let spread = DayWeather { span: Some(span(18.0, 33.0)), ..DayWeather::default() };
    assert!(covered_mm(north(), july(), &spread, 1.0).unwrap().0 < clear);
}

fn days(references: &[f64]) -> Demand {
    let of = |(number, reference_mm): (usize, &f64)| {
        let start = number as i64 * DAY_MS;
        DayDemand { sun: start + 5 * HOUR..start + 19 * HOUR, reference_mm: *reference_mm }
    };
    Demand { days: references.iter().enumerate().map(of).collect(), today: 0, basis: Basis::Light }
}

#[test]
fn demand_follows_the_sun_and_sleeps_by_night() {
    let demand = days(&[8.0, 8.0]);
    near(demand.between(0, DAY_MS), 8.0, 1e-9);
    near(demand.between(0, 12 * HOUR), 4.0, 1e-9);
    assert_eq!(demand.between(19 * HOUR, DAY_MS + 5 * HOUR), 0.0);
    // 10:00 to 16:00 of 05:00 to 19:00, by hand: (cos 5π/14 − cos 11π/14) / 2.
    near(demand.between(10 * HOUR, 16 * HOUR) / 8.0, f64::midpoint(0.43388, 0.78183), 1e-4);
}

#[test]
fn a_moment_of_demand_is_found_again_over_nights() {
    let demand = days(&[8.0, 6.0, 4.0]);
    for (from, depth) in [(0, 1.0), (9 * HOUR, 0.5), (12 * HOUR, 6.0), (15 * HOUR, 9.0), (21 * HOUR, 2.0)] {
        let at = demand.when(from, depth).unwrap();
        near(demand.between(from, at), depth, 1e-3);
    }
    assert_eq!(demand.when(0, 0.0), Some(5 * HOUR), "nothing is asked for before sunrise");
    assert_eq!(demand.when(0, 18.5), None);
}

fn planting(began: Began, first_flower_ms: Option<i64>) -> Planting {
    Planting { began, first_flower_ms, ..planted("tomato") }
}

#[test]
fn a_plant_takes_millimetres_times_the_ground_it_shades() {
    // AGRONOMY 1.3: tomato, Kc 1.15, 0.4 m²: 1.9, 2.8, 3.6, 5.2 and 2.6 L for 4.2, 6.1, 7.9, 11.3 and 5.7 mm.
    let plant = Plant { area_m2: 0.4, factor: 1.15, share: 0.4 };
    for (mm, litres) in [(4.2, 1.9), (6.1, 2.8), (7.9, 3.6), (11.3, 5.2), (5.7, 2.6)] {
        near(plant.takes_l(mm), litres, 0.05);
    }
    near(plant.reference_mm(plant.takes_l(6.1)), 6.1, 1e-9);
    // A can loses a fifth (AGRONOMY 1.3).
    near(plant.gives_l(6.1).unwrap().get(), 2.806 / 0.8, 1e-3);
}

#[test]
fn young_plants_take_less_until_they_have_closed_or_flower() {
    let book = config::crop_book().unwrap();
    let factor = |planting: &Planting, days: i64, under_cover| {
        let crop = std::borrow::Cow::Borrowed(&book.crops["tomato"]);
        Plant::of(&Standing::new(planting, crop, Stages::default(), 40.0), days * DAY_MS, under_cover).factor
    };
    // FAO-56, Table 12, tomato: 0.6 at first, 1.15 in the middle.
    let out = planting(Began::PlantedOut, None);
    assert_eq!([10, 35, 60].map(|days| factor(&out, days, false)), [0.6, 0.6 + 0.5 * (1.15 - 0.6), 1.15]);
    assert_eq!(factor(&planting(Began::Sown, None), 40, false), 0.6);
    assert_eq!(factor(&planting(Began::PlantedOut, Some(5 * DAY_MS)), 10, false), 1.15);
    assert_eq!(factor(&out, 60, true), 1.0, "a full canopy under cover is the reference itself");
}

#[test]
fn ground_that_the_book_does_not_give_is_that_of_its_band_for_a_heat_wave() {
    let book = config::crop_book().unwrap();
    for crop in book.crops.values() {
        let planting = planting(Began::PlantedOut, Some(0));
        let standing = Standing::new(&planting, std::borrow::Cow::Borrowed(crop), Stages::default(), 40.0);
        let plant = Plant::of(&standing, DAY_MS, false);
        let band = &crop.water.heatwave_l_per_plant_day;
        let drinks = plant.takes_l(8.0);
        assert!(drinks >= 0.4 * band.lo && drinks <= 2.5 * band.hi, "{}: {drinks} of {band:?}", crop.key);
    }
}
