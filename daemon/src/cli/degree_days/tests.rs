use super::*;
use clap::{Args as _, FromArgMatches as _};

fn ran(words: &str, input: &str) -> (u8, String, String) {
    let command = DegreeDaysArgs::augment_args(clap::Command::new("degree-days"));
    let words = ["degree-days", "--csv", "-"].into_iter().chain(words.split_whitespace());
    let args = DegreeDaysArgs::from_arg_matches(&command.try_get_matches_from(words).unwrap()).unwrap();
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let exit = run(&args, input.as_bytes(), &mut out, &mut err).unwrap();
    (exit, String::from_utf8(out).unwrap(), String::from_utf8(err).unwrap())
}

#[test]
fn days_add_up_and_columns_may_stand_in_any_order() {
    // By hand: 34 is clipped to 30 and 8 to 10, so (30 + 12) / 2 - 10 = 11 and (30 + 10) / 2 - 10 = 10.
    let sheet = "max_c,date,sky,min_c\n34,2026-07-01,clear,12\n34,2026-07-02,clear,8\n";
    let (exit, out, err) = ran("--base 10 --upper 30 --method extremes-clipped", sheet);
    assert_eq!((exit, err.as_str()), (0, ""));
    assert_eq!(out, "date,degree_days,total\n2026-07-01,11,11\n2026-07-02,10,21\n");
}

#[test]
fn refused_rows_are_named_and_the_total_goes_on_without_them() {
    let sheet = "date,min_c,max_c\n2026-07-01,12,20\n2026-07-01,12,20\n2026-06-30,12,20\n2026-07-02,NaN,20\n\
                 2026-07-03,22,20\n2026-07-04,12\n2026-7-5,12,20\n2026-07-06,12,warm\n2026-07-07,14,20\n";
    let (exit, out, err) = ran("--base 10 --method mean", sheet);
    assert_eq!(exit, 2);
    let told: Vec<_> = out.lines().skip(1).collect();
    assert_eq!(told[0], "2026-07-01,6,6");
    assert_eq!(told[3], "2026-07-02,,");
    assert_eq!(told[8], "2026-07-07,7,13");
    assert_eq!(told.iter().filter(|line| line.ends_with(",,")).count(), 7);
    let lines: Vec<_> = err.lines().map(|line| line.split(':').next().unwrap()).collect();
    let (missing, lines) = lines.split_last().unwrap();
    assert_eq!(lines, ["line 3", "line 4", "line 5", "line 6", "line 7", "line 8", "line 9"]);
    assert_eq!(*missing, "days missing between the first and the last");
    assert!(err.contains("2026-07-01 is there twice") && err.contains("\"warm\" is no number"), "{err}");
}

#[test]
fn a_double_method_closes_each_day_by_the_next_rows_minimum() {
    let sheet = "date,min_c,max_c\n2026-07-01,12,20\n2026-07-02,10,18\nrubbish,1,2\n2026-07-03,19,22\n";
    let (exit, out, err) = ran("--base 10 --method double-triangle", sheet);
    assert_eq!(exit, 2);
    // 1 July: halves (12+20)/2-10 = 6 and (10+20)/2-10 = 5. 2 July: (10+18)/2-10 = 4 and, 19 being above 18,
    // (18+18)/2-10 = 8.
    let expected =
        "date,degree_days,total\n2026-07-01,5.5,5.5\n2026-07-02,6,11.5\nrubbish,,\n2026-07-03,,11.5\n";
    assert_eq!(out, expected);
    assert!(err.ends_with("stood in for a higher minimum of the next: 1\n"), "{err}");
}

#[test]
fn the_integral_and_rules_without_sense_are_refused_before_anything_is_read() {
    for method in ["integral", "integral-peak"] {
        let (exit, out, err) = ran(&format!("--base 10 --upper 30 --method {method}"), "date,min_c,max_c\n");
        assert_eq!((exit, out.as_str()), (2, ""));
        assert!(err.starts_with(&format!("{method} needs readings through the day")), "{err}");
        assert!(err.contains("write --method single-sine"), "{err}");
    }
    let (exit, _, err) = ran("--base 30 --upper 10 --method single-sine", "");
    assert_eq!(exit, 2);
    assert!(err.contains("must lie above the base"), "{err}");
    let (exit, _, err) = ran("--base 10 --method mean", "day,min_c,max_c\n");
    assert_eq!(exit, 2);
    assert!(err.contains("date, min_c, max_c"), "{err}");
}

#[test]
fn ontario_units_are_reckoned_from_their_own_thresholds_alone() {
    // By hand from the formula: (3.33 x 20 - 0.084 x 400 + 1.8 x 10) / 2 = 25.5.
    let (exit, out, err) = ran("--base 10 --method ontario-units", "date,min_c,max_c\n2026-07-01,14.4,30\n");
    assert_eq!((exit, err.as_str()), (0, ""));
    assert_eq!(out, "date,degree_days,total\n2026-07-01,25.5,25.5\n");
    let (exit, _, err) = ran("--base 7 --method ontario-units", "");
    assert_eq!(exit, 2);
    assert!(err.contains("has its own thresholds"), "{err}");
}

#[test]
fn rows_of_other_lengths_than_the_heading_are_refused() {
    let sheet = "date,min_c,max_c\n2026-07-01,12,20\n2026-07-02,12,20,5,6\n2026-07-03,12\n";
    let (exit, out, err) = ran("--base 10 --method mean", sheet);
    assert_eq!(exit, 2);
    assert_eq!(
        err,
        "line 3: the row has 5 cells, the heading 3\nline 4: the row has 2 cells, the heading 3\n"
    );
    assert!(out.ends_with("\n2026-07-01,6,6\n2026-07-02,,\n2026-07-03,,\n"), "{out}");
}

#[test]
fn days_that_are_not_there_are_counted_and_no_fault() {
    let sheet = "date,min_c,max_c\n2026-06-29,12,20\n2026-07-02,12,20\n2026-07-03,12,20\n2026-07-05,12,20\n";
    let (exit, out, err) = ran("--base 10 --method mean", sheet);
    assert_eq!(exit, 0);
    assert!(out.ends_with("\n2026-07-05,6,24\n"), "{out}");
    assert_eq!(err, "days missing between the first and the last: 3; the total does not hold them\n");
}

#[test]
fn an_upper_threshold_that_the_method_does_not_know_is_told() {
    let (exit, out, err) = ran("--base 10 --upper 30 --method mean", "date,min_c,max_c\n2026-07-01,30,40\n");
    assert_eq!(exit, 0);
    assert!(out.ends_with(",25,25\n"), "{out}");
    assert_eq!(err, "mean knows no upper threshold: --upper 30 changes nothing\n");
}

#[test]
fn json_holds_rule_days_and_total() {
    let sheet = "date,min_c,max_c\n2026-07-01,12,20\n2026-07-02,x,20\n";
    let (_, out, _) = ran("--base 10 --method mean --json", sheet);
    let told: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!(told["rule"], "mean 10");
    assert_eq!(told["days"][0], json!({ "date": "2026-07-01", "degree_days": 6.0, "total": 6.0 }));
    assert!(told["days"][1]["degree_days"].is_null());
    assert_eq!(told["total"], 6.0);
}
