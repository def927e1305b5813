//! The heat index against a table made with MetPy 1.7.1, thermofeel 2.3.0 and pythermalcomfort 4.8.1.

mod golden;

use agronomy::people::{Branch, heat_index};
use agronomy::units::{Celsius, RelativeHumidity};
use golden::{close, table};

#[test]
fn every_cell_of_the_heat_index_table_agrees_in_value_and_branch() {
    for row in table("heat_index.csv") {
        let (t, rh) = (row.number("t_c"), row.number("rh_pct"));
        let got = heat_index(Celsius::try_new(t).unwrap(), RelativeHumidity::try_new(rh).unwrap());
        close(got.celsius, row.number("heat_index_c"), 0.01, format_args!("{t} °C, {rh} %"));
        let branch = match got.branch {
            Branch::Simple => "simple",
            Branch::Regression => "rothfusz",
            Branch::Dry => "rothfusz-dry",
            Branch::Humid => "rothfusz-humid",
        };
        assert_eq!(branch, row.text("branch"), "{t} °C, {rh} %");
    }
}

#[test]
fn metpy_gives_the_same_wherever_the_regression_applies() {
    let mut compared = 0;
    for row in table("heat_index.csv") {
        // MetPy switches at 79 °F of the simple formula, this algorithm where its average reaches 80 °F.
        if row.number("simple_unaveraged_c") < (79.0 - 32.0) / 1.8 || row.text("branch") == "simple" {
            continue;
        }
        let (t, rh) = (row.number("t_c"), row.number("rh_pct"));
        let got = heat_index(Celsius::try_new(t).unwrap(), RelativeHumidity::try_new(rh).unwrap());
        close(got.celsius, row.number("metpy_c"), 1e-6, format_args!("{t} °C, {rh} %"));
        compared += 1;
    }
    assert!(compared > 300, "{compared}");
}
