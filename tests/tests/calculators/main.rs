//! The calculators over the golden tables, as a person runs them: CSV in, CSV out.

mod evaporation;
mod sun_and_chill;
#[path = "../../../daemon/agronomy/tests/golden/synthetic.rs"]
mod synthetic;

use std::collections::BTreeMap;

use agronomy::vapour::Formula;
use glasshour::calendar;
use glasshour::cli::air::{self, AirArgs};
use glasshour::cli::degree_days::{self, DegreeDaysArgs};
use glasshour::cli::heat_index::{self, HeatIndexArgs};
use glasshour::cli::season::{self, SeasonArgs};
use synthetic::COLUMNS;

type Row = BTreeMap<String, String>;

fn rows(text: &str) -> Vec<Row> {
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(text.as_bytes());
    let names = reader.headers().unwrap().clone();
    let rows = reader.records().map(|record| {
        let record = record.unwrap();
        names.iter().zip(&record).map(|(name, cell)| (name.to_owned(), cell.to_owned())).collect()
    });
    rows.collect()
}

fn table(name: &str) -> Vec<Row> {
    let path = format!("{}/reference/{name}", env!("CARGO_MANIFEST_DIR"));
    rows(&std::fs::read_to_string(path).unwrap())
}

fn number(row: &Row, column: &str) -> f64 {
    row[column].parse().unwrap_or_else(|_| panic!("{column} of {row:?}"))
}

#[track_caller]
fn close(got: f64, expected: f64, tolerance: f64, what: &str) {
    assert!((got - expected).abs() <= tolerance, "{what}: got {got}, table says {expected} ± {tolerance}");
}

fn air(formula: Formula, sheet: &str) -> (u8, String, String) {
    let args = AirArgs {
        csv: Some("-".into()),
        formula,
        t_c: None,
        rh_pct: None,
        p_kpa: 101.325,
        leaf_c: None,
        json: false,
    };
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let exit = air::run(&args, sheet.as_bytes(), &mut out, &mut err).unwrap();
    (exit, String::from_utf8(out).unwrap(), String::from_utf8(err).unwrap())
}

/// The grid as a sheet with its columns in another order than the help names them, and one that is none of ours.
fn grid_as_sheet(grid: &[Row]) -> String {
    let mut sheet = "note,p_kpa,rh_pct,t_c\n".to_owned();
    for (index, row) in grid.iter().enumerate() {
        let pressure = number(row, "p_pa") / 1000.0;
        sheet += &format!("\"row {index}, as given\",{pressure},{},{}\n", row["rh_pct"], row["t_c"]);
    }
    sheet
}

#[test]
fn air_by_ashrae_gives_the_whole_grid_of_psychrolib() {
    // Tolerances for the same equations: header of psychro_grid.csv.
    let grid = table("psychro_grid.csv");
    let (exit, out, err) = air(Formula::Ashrae, &grid_as_sheet(&grid));
    assert_eq!((exit, err.as_str()), (0, ""));
    let told = rows(&out);
    assert!(grid.len() > 1300 && told.len() == grid.len(), "{} of {}", told.len(), grid.len());
    for (index, (got, row)) in told.iter().zip(&grid).enumerate() {
        assert_eq!(got["note"], format!("row {index}, as given"));
        let what = format!("{} °C, {} %, {} Pa", row["t_c"], row["rh_pct"], row["p_pa"]);
        for (ours, theirs, scale) in [
            ("svp_kpa", "es_pa", 1000.0),
            ("vp_kpa", "e_pa", 1000.0),
            ("vpd_kpa", "vpd_pa", 1000.0),
            ("humidity_ratio_kg_kg", "humratio_kg_per_kg", 1.0),
            ("absolute_humidity_g_m3", "abs_humidity_g_m3", 1.0),
            ("humidity_deficit_g_m3", "hum_deficit_g_m3", 1.0),
        ] {
            let expected = number(row, theirs) / scale;
            close(number(got, ours), expected, expected.abs() * 1e-6 + 1e-12, &format!("{ours} at {what}"));
        }
        close(number(got, "dew_point_c"), number(row, "dewpoint_c"), 0.002, &format!("dew point at {what}"));
        let wet = number(row, "wetbulb_c");
        // Within 0.6 °C of freezing an iced and a wet bulb both solve the equations: the table accepts either.
        let tolerance = if wet.abs() < 0.6 { 0.75 } else { 0.002 };
        close(number(got, "wet_bulb_c"), wet, tolerance, &format!("wet bulb at {what}"));
        let enthalpy = number(row, "enthalpy_j_per_kg_da") / 1000.0;
        close(number(got, "enthalpy_kj_kg"), enthalpy, 1e-4, &format!("enthalpy at {what}"));
    }
}

#[test]
fn air_by_fao56_stays_within_the_grids_tolerance_for_another_formula() {
    let grid = table("psychro_grid.csv");
    let (exit, out, _) = air(Formula::Fao56, &grid_as_sheet(&grid));
    assert_eq!(exit, 0);
    let mut compared = 0;
    for (got, row) in rows(&out).iter().zip(&grid).filter(|(_, row)| number(row, "t_c") > 0.0) {
        let share = if number(row, "t_c") <= 40.0 { 0.005 } else { 0.007 };
        for (ours, theirs) in [("svp_kpa", "es_pa"), ("vp_kpa", "e_pa"), ("vpd_kpa", "vpd_pa")] {
            let expected = number(row, theirs) / 1000.0;
            close(number(got, ours), expected, expected.abs() * share + 1e-12, ours);
        }
        compared += 1;
    }
    assert!(compared > 900, "{compared}");
}

#[test]
fn air_prints_the_printed_table_of_fao56_and_the_leaf_only_where_it_is_asked_for() {
    // FAO-56 Annex 2, Table 2.3: e°(35 °C) = 5.623 kPa; at 50 % half of it is missing, and a leaf of 35 °C misses
    // as much. 101.325 kPa is what the help says without a column p_kpa.
    let (exit, out, _) = air(Formula::Fao56, "t_c,rh_pct,leaf_c\n35,50,35\n35,50,\n");
    assert_eq!(exit, 0);
    let told = rows(&out);
    close(number(&told[0], "svp_kpa"), 5.623, 0.0005, "Table 2.3");
    close(number(&told[0], "leaf_vpd_kpa"), 2.8115, 0.0003, "half of it");
    assert_eq!((told[1]["leaf_vpd_kpa"].as_str(), &told[1]["vpd_kpa"]), ("", &told[0]["vpd_kpa"]));
    let (_, given, _) = air(Formula::Fao56, "t_c,rh_pct,p_kpa\n35,50,101.325\n");
    assert_eq!(rows(&given)[0]["humidity_ratio_kg_kg"], told[0]["humidity_ratio_kg_kg"]);
    assert!(!given.contains("leaf_vpd_kpa"));
}

#[test]
fn impossible_rows_of_air_get_empty_cells_and_their_line_and_good_rows_still_come_out() {
    let sheet = "t_c,rh_pct,note\n30,40,good\nNaN,40,a\n30,101,b\n30,-1,c\n\n30,,d\nwarm,40,e\n30\n30,40,x,y\n\
                 999,40,f\n30,inf,g\n31,40,last\n";
    let (exit, out, err) = air(Formula::Fao56, sheet);
    assert_eq!(exit, 2);
    let told = rows(&out);
    assert_eq!(told.len(), 11);
    let empty: Vec<bool> = told.iter().map(|row| row["vpd_kpa"].is_empty()).collect();
    assert_eq!(empty, [false, true, true, true, true, true, true, true, true, true, false]);
    let lines: Vec<_> = err.lines().map(|line| line.split(':').next().unwrap()).collect();
    let expected =
        ["line 3", "line 4", "line 5", "line 7", "line 8", "line 9", "line 10", "line 11", "line 12"];
    assert_eq!(lines, expected, "{err}");
    assert_eq!((told[4]["note"].as_str(), told[10]["note"].as_str()), ("d", "last"));
}

#[test]
fn a_sheet_with_the_line_ends_of_another_system_is_read_the_same() {
    let plain = air(Formula::Fao56, "t_c,rh_pct\n30,40\n30,140\n31,50\n");
    let other = air(Formula::Fao56, "\u{feff}t_c,rh_pct\r\n30,40\r\n30,140\r\n31,50");
    assert_eq!(plain, other);
    assert!(plain.2.starts_with("line 3: "), "{}", plain.2);
}

fn degree_days(args: &DegreeDaysArgs, sheet: &str) -> (u8, Vec<Row>, String) {
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let exit = degree_days::run(args, sheet.as_bytes(), &mut out, &mut err).unwrap();
    (exit, rows(&String::from_utf8(out).unwrap()), String::from_utf8(err).unwrap())
}

/// Every day of the table is followed by one whose minimum is the table's next minimum.
fn days_as_sheet(days: &[&Row]) -> String {
    let mut sheet = "date,min_c,max_c\n".to_owned();
    for (at, row) in days.iter().enumerate() {
        let (today, next) = (calendar::date(2 * at as i64), calendar::date(2 * at as i64 + 1));
        sheet += &format!("{today},{},{}\n{next},{},70\n", row["tmin"], row["tmax"], row["tmin_next"]);
    }
    sheet
}

#[test]
fn degree_days_by_every_method_and_cutoff_agree_with_quadrature() {
    let table = table("degree_days_synthetic.csv");
    let mut pairs: BTreeMap<(String, String), Vec<&Row>> = BTreeMap::new();
    for row in &table {
        pairs.entry((row["lower"].clone(), row["upper"].clone())).or_default().push(row);
    }
    assert_eq!((table.len(), pairs.len()), (336, 6));
    for ((lower, upper), days) in pairs {
        for (column, method, capped, cutoff) in COLUMNS {
            let args = DegreeDaysArgs {
                base: lower.parse().unwrap(),
                upper: capped.then(|| upper.parse().unwrap()),
                method,
                cutoff,
                csv: "-".into(),
                json: false,
            };
            let (exit, told, err) = degree_days(&args, &days_as_sheet(&days));
            assert_eq!((exit, told.len()), (0, 2 * days.len()), "{err}");
            let mut before = 0.0;
            for (pair, row) in told.chunks(2).zip(&days) {
                let what = format!("{column} of {row:?}");
                let expected = number(row, column);
                close(number(&pair[0], "degree_days"), expected, 1e-6, &what);
                close(number(&pair[0], "total") - before, expected, 1e-6, &what);
                before = number(&pair[1], "total");
            }
            let last = &told[told.len() - 1];
            assert_eq!(last["degree_days"].is_empty(), method.uses_next_minimum(), "{column}");
        }
    }
}

#[test]
fn the_tables_have_as_many_rows_as_their_headings_say() {
    // "Degree days for 336 synthetic days"; the grid is every temperature with every humidity and pressure.
    assert_eq!(table("degree_days_synthetic.csv").len(), 336);
    let grid = table("psychro_grid.csv");
    let kinds =
        |column: &str| grid.iter().map(|row| &row[column]).collect::<std::collections::BTreeSet<_>>().len();
    assert_eq!(grid.len(), kinds("t_c") * kinds("rh_pct") * kinds("p_pa"));
}

/// Leaves of the table as a sheet at sea level, and its rows.
fn leaves_as_sheet() -> (Vec<Row>, String) {
    let leaves = table("leaf_vpd.csv");
    let mut sheet = "t_c,rh_pct,leaf_c\n".to_owned();
    for row in &leaves {
        sheet += &format!("{},{},{}\n", row["t_air_c"], row["rh_pct"], row["t_leaf_c"]);
    }
    (leaves, sheet)
}

#[test]
fn air_gives_every_leaf_of_the_table_by_both_formulas() {
    let (leaves, sheet) = leaves_as_sheet();
    for (formula, column, tolerance) in
        [(Formula::Fao56, "vpd_leaf", 1e-9), (Formula::Ashrae, "vpd_leaf_ashrae", 1e-6)]
    {
        let (exit, out, err) = air(formula, &sheet);
        assert_eq!((exit, err.as_str()), (0, ""));
        let told = rows(&out);
        assert_eq!((told.len(), leaves.len()), (728, 728));
        for (got, row) in told.iter().zip(&leaves) {
            close(
                number(got, "leaf_vpd_kpa"),
                number(row, column),
                tolerance,
                &format!("{column} of {row:?}"),
            );
        }
    }
}

fn heat_index(sheet: &str) -> (u8, Vec<Row>, String) {
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let exit =
        heat_index::run(&HeatIndexArgs { csv: "-".into() }, sheet.as_bytes(), &mut out, &mut err).unwrap();
    (exit, rows(&String::from_utf8(out).unwrap()), String::from_utf8(err).unwrap())
}

#[test]
fn heat_index_gives_every_cell_of_the_three_tables() {
    // heat_index.csv: the US National Weather Service's algorithm. humidex_wbgt.csv: Environment Canada's humidex, and
    // 0.7 Tw + 0.3 T with PsychroLib's wet bulb. Tolerances of their headings: 0.01 °C.
    for (name, cells, pairs) in [
        ("heat_index.csv", 476, &[("heat_index_c", "heat_index_c")][..]),
        (
            "humidex_wbgt.csv",
            160,
            &[("humidex_c", "humidex"), ("wet_bulb_globe_shade_c", "wbgt_shade_07_03")],
        ),
    ] {
        let table = table(name);
        let mut sheet = "note,rh_pct,t_c\n".to_owned();
        for row in &table {
            sheet += &format!("\"damp, warm\",{},{}\n", row["rh_pct"], row["t_c"]);
        }
        let (exit, told, err) = heat_index(&sheet);
        assert_eq!((exit, told.len(), table.len()), (0, cells, cells));
        // The heading of heat_index.csv: the regression is fitted to 80-112 °F, hotter rows are extrapolation.
        let beyond = table.iter().filter(|row| number(row, "t_c") * 1.8 + 32.0 > 112.0).count();
        let said = err.lines().collect::<Vec<_>>();
        assert_eq!(said.len(), usize::from(beyond > 0), "{err}");
        assert!(
            said.iter().all(|it| it.starts_with(&format!("rows warmer than 44.4 °C: {beyond};"))),
            "{err}"
        );
        for (got, row) in told.iter().zip(&table) {
            assert_eq!(got["note"], "damp, warm");
            for (ours, theirs) in pairs {
                close(number(got, ours), number(row, theirs), 0.01, &format!("{ours} of {row:?}"));
            }
        }
    }
}

#[test]
fn season_over_the_printed_saturation_pressures_of_fao56_has_their_mean() {
    // The 96 temperatures of Table 2.3 are a day of quarter hours, one of them missing here; in air without vapour the
    // deficit is the saturation pressure, printed with three decimals.
    let printed: Vec<Row> =
        table("fao56_annex2.csv").into_iter().filter(|row| row["table"] == "2.3").collect();
    let mut sheet = "time,t_c,rh_pct\n".to_owned();
    for (index, row) in printed.iter().enumerate() {
        let (hour, minute) = (index / 4, index % 4 * 15);
        sheet += &format!("2026-07-15T{hour:02}:{minute:02}:00Z,{},0\n", row["x"]);
    }
    let sheet = sheet.replace("T12:00:00Z,25,0", "T12:00:00Z,,");
    let args = SeasonArgs { csv: "-".into(), base: 10.0, upper: 30.0, hot: 32.0, dry: 2.5, step_min: None };
    let (mut out, mut err) = (Vec::new(), Vec::new());
    assert_eq!(season::run(&args, sheet.as_bytes(), &mut out, &mut err).unwrap(), 0);
    let told = rows(&String::from_utf8(out).unwrap());
    let told = &told[0];
    let held: Vec<&Row> = printed.iter().filter(|row| row["x"] != "25").collect();
    assert_eq!((told["date"].as_str(), told["readings"].as_str(), held.len()), ("2026-07-15", "95", 95));
    assert_eq!((told["low_c"].as_str(), told["high_c"].as_str()), ("1", "48.5"));
    let quarters = |holds: &dyn Fn(&Row) -> bool| held.iter().filter(|row| holds(row)).count() as f64 / 4.0;
    close(number(told, "hours_above"), quarters(&|row| number(row, "x") > 32.0), 1e-9, "hours above 32 °C");
    close(
        number(told, "deficit_hours"),
        quarters(&|row| number(row, "printed") > 2.5),
        1e-9,
        "hours above 2.5 kPa",
    );
    let degrees: f64 = held.iter().map(|row| number(row, "x").clamp(10.0, 30.0) - 10.0).sum();
    close(number(told, "degree_days"), degrees / 96.0, 1e-9, "degree days");
    let mean = held.iter().map(|row| number(row, "printed")).sum::<f64>() / 95.0;
    close(number(told, "mean_vpd_kpa"), mean, 0.0005, "mean deficit");
    let err = String::from_utf8(err).unwrap();
    assert!(err.contains("missing in 96 rows: temperatures 1, humidities 1"), "{err}");
}
