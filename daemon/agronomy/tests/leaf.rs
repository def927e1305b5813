//! Deficit from leaf to air, against a table reckoned with FAO-56 eq. 11 and with PsychroLib 2.5.0.

mod golden;

use agronomy::units::{AirPressure, Celsius, RelativeHumidity};
use agronomy::vapour::{self, AirState, Formula, LeafKind};
use golden::{Worst, close, table};

fn celsius(value: f64) -> Celsius {
    Celsius::try_new(value).unwrap()
}

fn percent(value: f64) -> RelativeHumidity {
    RelativeHumidity::try_new(value).unwrap()
}

#[test]
fn every_leaf_of_the_leaf_table_agrees_in_both_formulas() {
    let [mut air_column, mut leaf_column, mut ashrae_column, mut other] = [
        "leaf_vpd.csv air",
        "leaf_vpd.csv leaf",
        "leaf_vpd.csv leaf, ASHRAE",
        "leaf_vpd.csv leaf, FAO-56 beside ASHRAE",
    ]
    .map(Worst::of);
    for row in table("leaf_vpd.csv") {
        let (air, humidity) = (celsius(row.number("t_air_c")), percent(row.number("rh_pct")));
        let leaf = celsius(row.number("t_leaf_c"));
        let what = format!("{leaf} leaf in {air}, {humidity}");
        air_column.compare(vapour::deficit(air, humidity).get(), row.number("vpd_air"), 1e-9, &what);
        let got = vapour::leaf_deficit(air, humidity, leaf).get();
        leaf_column.compare(got, row.number("vpd_leaf"), 1e-9, &what);
        assert_eq!(got < 0.0, row.text("condensing") == "true", "{what}");
        let state = AirState::try_new(Formula::Ashrae, air, humidity, AirPressure::SEA_LEVEL, Some(leaf));
        let by_ashrae = state.unwrap().leaf_vpd_kpa.unwrap();
        // The column has ten digits; the equations are the same as PsychroLib's.
        ashrae_column.compare(by_ashrae, row.number("vpd_leaf_ashrae"), 1e-6, &what);
        let tolerance = if air.get() <= 40.0 { 0.02 } else { 0.04 };
        other.compare(got, row.number("vpd_leaf_ashrae"), tolerance, &what);
    }
    for kept in [air_column, leaf_column, ashrae_column, other] {
        kept.end(728);
    }
}

#[test]
fn the_span_of_a_leaf_that_nobody_measured_is_that_of_its_coolest_and_warmest() {
    // Worked out by independent code: 35 °C and 40 %, leaf 2 °C cooler 2.78 kPa, 3 °C hotter 4.38 kPa.
    let (air, humidity) = (celsius(35.0), percent(40.0));
    let (least, most) = vapour::leaf_deficit_span(air, humidity, LeafKind::Any);
    close(least.get(), 2.78, 0.005, "coolest");
    close(most.get(), 4.38, 0.005, "warmest");
    let (_, shaded) = vapour::leaf_deficit_span(air, humidity, LeafKind::WateredInShade);
    let (dry, _) = vapour::leaf_deficit_span(air, humidity, LeafKind::DryOrInSun);
    assert!(shaded < vapour::deficit(air, humidity) && vapour::deficit(air, humidity) < dry);
}
