use super::*;

fn args() -> SeasonArgs {
    SeasonArgs { csv: "-".into(), base: 10.0, upper: 30.0, hot: 32.0, dry: 2.5, step_min: None }
}

fn ran(args: &SeasonArgs, input: &str) -> (u8, String, String) {
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let exit = run(args, input.as_bytes(), &mut out, &mut err).unwrap();
    (exit, String::from_utf8(out).unwrap(), String::from_utf8(err).unwrap())
}

/// A day and two hours, by the hour: 20 °C and 50 % at night, 36 °C and 50 % from 10 to 15 h.
fn two_days() -> String {
    let mut sheet = "time,t_c,rh_pct\n".to_owned();
    for hour in 0..26 {
        let t = if (10..15).contains(&(hour % 24)) { "36" } else { "20.0" };
        sheet += &format!("2026-07-{:02}T{:02}:00:00Z,{t},50\n", 15 + hour / 24, hour % 24);
    }
    sheet
}

/// What is told of it: 19 h at 10 and 5 h at 20 degrees above base; FAO-56 Table 2.3 has 2.338 kPa at 20 °C and
/// 5.941 at 36 °C, half of which is missing.
fn is_two_days(out: &str) {
    let rows: Vec<_> = out.lines().collect();
    assert_eq!(rows[0], "date,readings,low_c,high_c,degree_days,hours_above,deficit_hours,mean_vpd_kpa");
    let (first, mean) = rows[1].rsplit_once(',').unwrap();
    assert_eq!(first, "2026-07-15,24,20,36,12.0833333333,5,5");
    let expected = (19.0 * 2.338 + 5.0 * 5.941) / 48.0;
    assert!((mean.parse::<f64>().unwrap() - expected).abs() < 0.0003, "{mean}, not {expected}");
    assert!(rows[2].starts_with("2026-07-16,2,20,20,0.833333333333,0,0,1.169"), "{}", rows[2]);
    assert_eq!(rows.len(), 3);
}

#[test]
fn a_plain_file_gives_a_row_for_each_day() {
    let (exit, out, err) = ran(&args(), &two_days());
    assert_eq!(
        (exit, err.as_str()),
        (0, "each reading stands for 60 min, as most of the first rows are apart\n")
    );
    is_two_days(&out);
}

#[test]
fn however_a_file_is_written_the_figures_are_the_same() {
    let plain = two_days();
    let (_, expected, _) = ran(&args(), &plain);
    let mut turned = String::new();
    for row in plain.lines() {
        let cells: Vec<_> = row.split(',').collect();
        turned += &format!("{},note,{},{}\n", cells[2], cells[1], cells[0]);
    }
    let unusual_in_the_middle =
        plain.replace("2026-07-15T07:00:00Z,20.0,50\n", "\n\"2026-07-15T09:00:00+02:00\", 2e1 ,+50\n");
    for other in [
        plain.replace('\n', "\r\n"),
        format!("\u{feff}{plain}"),
        plain.trim_end().to_owned(),
        plain.replace(":00Z,", ","),
        plain.replace('T', " "),
        unusual_in_the_middle,
        turned,
    ] {
        let (exit, out, err) = ran(&args(), &other);
        assert_eq!((exit, out.as_str()), (0, expected.as_str()), "{other}{err}");
    }
}

#[test]
fn empty_cells_and_absent_rows_add_nothing_and_are_counted() {
    let sheet = two_days()
        .replace("T00:00:00Z,20.0,50", "T00:00:00Z,,")
        .replace("2026-07-15T12:00:00Z,36,50", "2026-07-15T12:00:00Z,36,")
        .replace("2026-07-15T13:00:00Z,36,50\n", "")
        .replace("2026-07-16", "2026-07-18");
    let (exit, out, err) = ran(&args(), &sheet);
    assert_eq!(exit, 0);
    // Of 24 hours one has no reading and one no row: 18 h at 10 degrees and 4 h at 20.
    assert!(out.contains("\n2026-07-15,22,20,36,10.8333333333,4,3,"), "{out}");
    assert!(out.contains("\n2026-07-18,1,20,20,0.416666666667,0,0,"), "{out}");
    let said: Vec<_> = err.lines().collect();
    assert_eq!(said[1], "missing in 25 rows: temperatures 2, humidities 3");
    // Before 14:00 of the first day, and before the second.
    assert_eq!(said[2], "rows that do not follow the one before by 60 min: 2 of 25");
    assert_eq!(said[3], "days without a row between the first and the last: 2");
    let (_, out, _) = ran(&args(), "time,t_c,rh_pct\n2026-07-15T00:00Z,,\n2026-07-15T01:00Z,,\n");
    assert!(out.ends_with("\n2026-07-15,0,,,,,,\n"), "{out}");
    let (_, out, _) = ran(&args(), "time,t_c,rh_pct\n2026-07-15T00:00Z,20,\n2026-07-15T01:00Z,,\n");
    assert!(out.ends_with("\n2026-07-15,1,20,20,0.416666666667,0,,\n"), "{out}");
}

#[test]
fn a_row_that_cannot_be_is_told_with_its_line_and_left_out() {
    let good = two_days();
    let bad = [
        ("2026-07-15T05:30:00Z,400,50", "t_c: temperature 400"),
        ("2026-07-15T04:00:00Z,20,50", "after a later one"),
        ("2026-07-15T05:00:00Z,20,50", "there twice"),
        ("2026-07-15T05:30:00Z,20,105.1", "rh_pct: relative humidity 105.1"),
        ("2026-02-30T05:30:00Z,20,50", "is no time"),
        ("2026-07-15T05:30:00Z,warm,50", "t_c \"warm\" is no number"),
        ("2026-07-15T05:30:00Z,NaN,50", "leave the cell empty"),
        ("2026-07-15T05:30:00Z,20", "2 cells"),
    ];
    let rows = bad.map(|(row, _)| row).join("\n");
    let sheet = good.replace("2026-07-15T06:00:00Z", &format!("{rows}\n2026-07-15T06:00:00Z"));
    let (exit, out, err) = ran(&args(), &sheet);
    assert_eq!(exit, REFUSED);
    is_two_days(&out);
    // The heading and six rows stand before them.
    for ((line, (_, why)), said) in (8..).zip(bad).zip(err.lines()) {
        assert!(said.starts_with(&format!("line {line}: ")) && said.contains(why), "{said}");
    }
}

#[test]
fn the_step_is_that_of_the_flag_and_too_many_readings_are_told() {
    let (exit, out, err) = ran(&SeasonArgs { step_min: Some(30.0), ..args() }, &two_days());
    assert_eq!(exit, 0);
    assert!(out.contains(",6.04166666667,2.5,2.5,"), "{out}");
    assert_eq!(err, "rows that do not follow the one before by 30 min: 25 of 26\n");
    let (exit, out, err) = ran(&SeasonArgs { step_min: Some(90.0), ..args() }, &two_days());
    assert_eq!(exit, REFUSED);
    assert!(out.contains("\n2026-07-15,24,,,,,,\n2026-07-16,2,20,"), "{out}");
    assert!(
        err.starts_with("2026-07-15: 24 readings of 90 min each are more than a day; --step-min"),
        "{err}"
    );
    let one = "time,t_c,rh_pct\n2026-07-15T00:00:00Z,20,50\n";
    let (exit, _, err) = ran(&args(), one);
    assert!(exit == REFUSED && err.contains("no step is found"), "{err}");
    let (exit, out, _) = ran(&SeasonArgs { step_min: Some(60.0), ..args() }, one);
    assert!(exit == 0 && out.contains("2026-07-15,1,20,"), "{out}");
}

/// A day by ten minutes at 20 °C: 144 readings, 10 degree days above 10 °C.
fn ten_minutes() -> String {
    let rows = (0..144).map(|at| format!("2026-07-15T{:02}:{:02},20,50\n", at / 6, at % 6 * 10));
    "time,t_c,rh_pct\n".to_owned() + &rows.collect::<String>()
}

#[test]
fn a_second_row_that_is_wrong_or_not_there_spoils_no_file() {
    let sheet = ten_minutes();
    for (other, figures) in [
        (sheet.clone(), "144,20,20,10,0,0,"),
        (sheet.replace("T00:10,20,", "T00:10,warm,"), "143,20,20,9.93055555556,0,0,"),
        (sheet.replace("T00:10,20,50\n", "T00:10,20\n"), "143,20,20,9.93055555556,0,0,"),
        (sheet.replace("2026-07-15T00:10,20,50\n", ""), "143,20,20,9.93055555556,0,0,"),
        (sheet.replace("T00:10,", "T00:01,"), "144,20,20,10,0,0,"),
    ] {
        let (_, out, err) = ran(&args(), &other);
        assert!(out.contains(&format!("\n2026-07-15,{figures}")), "{out}{err}");
        assert!(err.contains("each reading stands for 10 min, as most"), "{err}");
    }
}

#[test]
fn of_distances_as_common_as_each_other_the_shortest_is_the_step() {
    let rows = ["00:00", "01:00", "01:20", "02:20", "02:40"].map(|at| format!("2026-07-15T{at},20,50\n"));
    let (_, _, err) = ran(&args(), &format!("time,t_c,rh_pct\n{}", rows.concat()));
    assert!(err.starts_with("each reading stands for 20 min,"), "{err}");
}

#[test]
fn rows_without_a_steady_step_are_told_as_doubtful() {
    let rows = ["00:00", "06:00", "06:10", "06:20"].map(|at| format!("2026-07-15T{at},36,50\n"));
    let sheet = format!("time,t_c,rh_pct\n{}", rows.concat());
    let (exit, out, err) = ran(&args(), &sheet);
    // Four readings of ten minutes.
    assert!(out.contains("\n2026-07-15,4,36,36,0.555555555556,0.666666666667,"), "{out}");
    assert!(exit == REFUSED && err.contains("by 10 min: 1 of 4\nthat is no steady step"), "{err}");
    // Who says what a reading stands for has said it.
    let (exit, _, err) = ran(&SeasonArgs { step_min: Some(10.0), ..args() }, &sheet);
    assert_eq!((exit, err.as_str()), (0, "rows that do not follow the one before by 10 min: 1 of 4\n"));
    // One row in ten is not more than a tenth.
    let nine = ten_minutes().lines().take(10).collect::<Vec<_>>().join("\n") + "\n2026-07-15T01:40,20,50\n";
    let (exit, _, err) = ran(&args(), &nine);
    assert!(exit == 0 && err.contains("by 10 min: 1 of 10\n"), "{err}");
}

#[test]
fn a_step_that_begins_after_the_rows_looked_at_is_told_as_doubtful() {
    let mut sheet = ten_minutes();
    for at in 0..2880 {
        sheet += &format!("2026-07-{:02}T{:02}:{:02},20,50\n", 16 + at / 1440, at / 60 % 24, at % 60);
    }
    let (exit, out, err) = ran(&args(), &sheet);
    assert!(exit == REFUSED && out.contains("\n2026-07-16,1440,,,,,,\n"), "{out}{err}");
    assert!(err.contains("2026-07-16: 1440 readings of 10 min each are more than a day"), "{err}");
    assert!(err.contains("by 10 min: 2879 of 3024\nthat is no steady step"), "{err}");
}

#[test]
fn lines_that_cannot_be_are_refused_before_anything_is_read() {
    for (bad, why) in [
        (SeasonArgs { base: f64::NAN, ..args() }, "--base: "),
        (SeasonArgs { upper: 10.0, ..args() }, "must lie above the base"),
        (SeasonArgs { hot: 101.0, ..args() }, "--hot: "),
        (SeasonArgs { dry: 121.0, ..args() }, "--dry: "),
        (SeasonArgs { step_min: Some(0.0), ..args() }, "more than 0"),
        (SeasonArgs { step_min: Some(f64::NAN), ..args() }, "more than 0"),
    ] {
        let (exit, out, err) = ran(&bad, &two_days());
        assert_eq!((exit, out.as_str()), (REFUSED, ""));
        assert!(err.contains(why), "{err}");
    }
    let (exit, out, err) = ran(&args(), "time,t_c\n");
    assert!(exit == REFUSED && out.is_empty() && err.contains("no column rh_pct"), "{err}");
    let (exit, _, err) = ran(&args(), "");
    assert!(exit == REFUSED && err.contains("found nothing"), "{err}");
    let (exit, out, err) = ran(&args(), "time,t_c,rh_pct\n");
    assert_eq!((exit, out.lines().count(), err.as_str()), (0, 1, ""));
}
