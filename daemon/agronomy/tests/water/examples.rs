//! Every step of FAO-56's worked examples.

mod weather;

use std::collections::BTreeMap;

use agronomy::units::{CropCoefficient, Days};
use agronomy::vapour::{pressure_at_altitude, saturation_pressure};
use agronomy::water::evaporation::{EvaporableLayer, Wetting, ceiling, covered, soil_coefficient};
use agronomy::water::moisture::{self, Psychrometer};
use agronomy::water::{Coefficients, RootZone, SoilWater, StageLengths, climate_adjusted};

use crate::golden::{Worst, table};
use crate::{celsius, depth, fraction, height, metres, millimetres, percent, wind};

/// Our figure for each step, by example and quantity.
#[derive(Default)]
struct Steps(BTreeMap<(String, String), f64>);

impl Steps {
    fn put(&mut self, example: &str, quantity: &str, got: f64) {
        let twice = self.0.insert((example.to_owned(), quantity.to_owned()), got);
        assert!(twice.is_none(), "{example} {quantity} twice");
    }

    fn all<const N: usize>(&mut self, example: &str, steps: [(&str, f64); N]) {
        for (quantity, got) in steps {
            self.put(example, quantity, got);
        }
    }
}

/// Steps that are no function of ours: degrees in radians, and the units and means of the examples' own data.
const NOT_OURS: [(&str, &str); 4] = [("7", "lat Bangkok"), ("7", "lat Rio"), ("10", "n"), ("18", "u10")];

#[test]
fn every_step_of_the_worked_examples_comes_out_as_printed() {
    let mut steps = Steps::default();
    air(&mut steps);
    weather::radiation(&mut steps);
    weather::example_17(&mut steps);
    weather::example_18(&mut steps);
    weather::example_20(&mut steps);
    weather::example_19(&mut steps);
    coefficients(&mut steps);
    soils(&mut steps);
    let (mut printed, mut exact) =
        (Worst::of("fao56_examples.csv printed"), Worst::of("fao56_examples.csv unrounded, relative"));
    let rows = table("fao56_examples.csv");
    assert_eq!(rows.len(), 227);
    let mut left = Vec::new();
    for row in &rows {
        let key = (row.text("example").to_owned(), row.text("quantity").to_owned());
        let Some(got) = steps.0.remove(&key) else {
            left.push((row.text("example"), row.text("quantity")));
            continue;
        };
        let what = format!("example {}, {}", key.0, key.1);
        // A hair for figures that lie half way between two printed ones.
        printed.compare(got, row.number("printed"), row.number("tolerance") + 1e-12, &what);
        let computed = row.number("computed");
        // Ten digits are given, so that a nought is a nought to 1e-9.
        let size = computed.abs().max(1e-3);
        exact.compare(got / size, computed / size, 1e-6, &what);
    }
    assert_eq!(left, NOT_OURS);
    assert!(steps.0.is_empty(), "not in the table: {:?}", steps.0);
    printed.end(223);
    exact.end(223);
}

fn air(steps: &mut Steps) {
    let saturation = |t: f64| saturation_pressure(celsius(t)).get();
    let constant = |z: f64| moisture::psychrometric_constant(pressure_at_altitude(metres(z))).get();
    let pressure = |z: f64| pressure_at_altitude(metres(z));
    steps.all("2", [("P", pressure(1800.0).get()), ("gamma", constant(1800.0))]);
    steps.all(
        "3",
        [
            ("e0(tmax)", saturation(24.5)),
            ("e0(tmin)", saturation(15.0)),
            ("es", moisture::day_saturation(celsius(15.0), celsius(24.5)).get()),
            ("e0(tmean)", saturation(19.75)),
        ],
    );
    let bulbs =
        moisture::vapour_from_bulbs(celsius(25.6), celsius(19.5), pressure(1200.0), Psychrometer::Ventilated);
    steps.all("4", [("P", pressure(1200.0).get()), ("e0(twet)", saturation(19.5)), ("ea", bulbs.get())]);
    let (low, high) = (celsius(18.0), celsius(25.0));
    let extremes = moisture::vapour_from_extremes((low, percent(82.0)), (high, percent(54.0))).get();
    steps.all(
        "5",
        [
            ("e0(tmin)", saturation(18.0)),
            ("e0(tmax)", saturation(25.0)),
            ("ea (eq 17)", extremes),
            ("ea (eq 19, RHmean=68)", moisture::vapour_from_mean(low, high, percent(68.0)).get()),
        ],
    );
    steps.put("6", "vpd", moisture::day_saturation(low, high).get() - extremes);
}

fn coefficient(value: f64) -> CropCoefficient {
    CropCoefficient::try_new(value).unwrap()
}

fn coefficients(steps: &mut Steps) {
    let adjusted = |table: f64, speed: f64, humidity: f64, tall: f64| {
        climate_adjusted(coefficient(table), wind(speed), percent(humidity), height(tall)).get()
    };
    steps.put("27", "Kc mid Taipei", adjusted(1.20, 1.3, 75.0, 2.0));
    steps.put("27", "Kc mid Mocha", adjusted(1.20, 4.6, 44.0, 2.0));
    steps.put("Box 15", "Kc mid beans", adjusted(1.15, 2.2, 30.0, 0.4));
    let days = |value: f64| Days::try_new(value).unwrap();
    let lengths =
        StageLengths { initial: days(25.0), development: days(25.0), middle: days(30.0), late: days(20.0) };
    let curve = |[initial, middle, end]: [f64; 3]| Coefficients {
        initial: coefficient(initial),
        middle: coefficient(middle),
        end: coefficient(end),
    };
    for day in [20, 40, 70, 95] {
        let got = curve([0.15, 1.19, 0.35]).at(&lengths, days(f64::from(day)));
        steps.put("28", &format!("Kc day {day}"), got.get());
    }
    for day in [12, 37, 65, 90] {
        let got = curve([0.15, 1.14, 0.25]).at(&lengths, days(f64::from(day)));
        steps.put("30", &format!("Kcb day {day}"), got.get());
    }
    let basal = coefficient(0.9);
    let most = ceiling(basal, wind(3.0), percent(20.0), height(1.0));
    let cover = covered(basal, most, height(1.0));
    steps.all("32", [("Kc max", most.get()), ("fc (eq 76)", cover.get())]);
    let wet = EvaporableLayer::new(millimetres(20.0), millimetres(9.0), millimetres(0.0));
    for (example, wetting) in
        [("32", Wetting::All), ("33", Wetting::Part(fraction(0.3))), ("34", Wetting::Drip(fraction(0.3)))]
    {
        let exposed = wetting.exposed(cover);
        let ke = soil_coefficient(wet.reduction(), most, basal, exposed).get();
        let limit = exposed.get() * most.get();
        let steps_of = [("few", exposed.get()), ("few*Kcmax", limit), ("Ke", ke), ("Kc", basal.get() + ke)];
        steps.all(example, steps_of);
    }
    let most = ceiling(coefficient(0.3), wind(1.6), percent(35.0), height(0.3));
    steps.put("35", "Kc max", most.get());
}

fn soils(steps: &mut Steps) {
    let soil =
        |capacity: f64, wilting: f64| SoilWater::try_new(fraction(capacity), fraction(wilting)).unwrap();
    steps.put("35", "TEW", soil(0.23, 0.10).evaporable(depth(0.1)).get());
    let soils =
        [("loamy sand", soil(0.15, 0.06)), ("silt", soil(0.32, 0.15)), ("silty clay", soil(0.35, 0.23))];
    for (crop, roots, share) in [("onion", 0.4, 0.3), ("tomato", 0.8, 0.4), ("maize", 1.2, 0.55)] {
        for (name, soil) in &soils {
            let zone = RootZone::new(soil.available(depth(roots)), millimetres(0.0));
            steps.put("36", &format!("TAW {crop} {name}"), zone.total().get());
            let readily = zone.readily_available(fraction(share));
            steps.put("36", &format!("RAW {crop} {name}"), readily.get());
        }
    }
    let zone = RootZone::new(soil(0.32, 0.12).available(depth(0.8)), millimetres(0.0));
    steps.put("37", "TAW", zone.total().get());
    steps.put("37", "RAW", zone.readily_available(fraction(0.40)).get());
}
