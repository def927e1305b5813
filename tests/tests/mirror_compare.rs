//! `glasshour mirror compare` as a process: a ledger, its copy, and what differs between them.

use std::process::Output;

use glasshour::almanac::day_page::DayPage;
use glasshour::almanac::pages::Made;
use glasshour::almanac::planting_page::PlantingPage;
use glasshour::ledger::{Commit, Founding, Ledger, PageRow};
use serde_json::{Value, json};
use tests::copied::{START_DAY, START_MS, minute, put, put_step};
use tests::program::{Garden, run};
use tests::servers::metrics::{self, Metrics};
use tests::servers::process::until;
use tests::servers::series::{self, Series};

/// The standard offset of the tests' gardens.
const OFFSET_MS: i64 = 3_600_000;
/// Minutes in the ledger; each is eight readings.
const MINUTES: i64 = 2_000;

/// The day page of a place and of the planting in it, which has a text field.
fn put_pages(ledger: &mut Ledger, boot: i64) {
    let place = DayPage { measured_share: 0.75, t_max_c: Some(36.12), ..DayPage::default() };
    let planting = PlantingPage {
        planting: "tomatoes-by-the-door".to_owned(),
        crop: "tomato".to_owned(),
        place: "house".to_owned(),
        rule: "mean-capped 7/28".to_owned(),
        degree_days: Some(14.25),
        ..PlantingPage::default()
    };
    let body = serde_json::to_string(&Made { place, plantings: vec![planting] }).unwrap();
    let pages = [PageRow { subject: "house", day: START_DAY, edition: "7+3", body: &body }];
    ledger.commit(&Commit { pages: &pages, ..Commit::empty(boot, START_MS, 1) }).unwrap();
}

/// A garden whose mirror is there, its ledger filled with a day and a half (a day of it in chunks), the day pages of a
/// place and of a planting, and a step of a notice.
fn garden(url: &str) -> Garden {
    let garden = Garden::new(&format!("[mirror]\nurl = \"{url}\"\n"));
    let founding = Founding { offset_ms: OFFSET_MS, program: "test".to_owned() };
    let mut ledger = Ledger::open(&garden.ledger(), &founding).unwrap();
    let boot = ledger.begin_boot(0, Some((0, "test"))).unwrap();
    for number in 0..MINUTES / 100 {
        let readings: Vec<_> = (number * 100..(number + 1) * 100).flat_map(minute).collect();
        put(&mut ledger, boot, START_MS + (number + 1) * 100 * 60_000, &readings);
    }
    ledger.compact(START_MS + 1440 * 60_000).unwrap();
    put_pages(&mut ledger, boot);
    put_step(&mut ledger, boot);
    ledger.commit(&Commit { cursors: &[("mirror", 3)], ..Commit::empty(boot, 1, 1) }).unwrap();
    garden
}

fn mirror(garden: &Garden, more: &[&str]) -> Output {
    let site = garden.site_file();
    run(&[&["mirror", "compare", "--site", site.to_str().unwrap()], more].concat())
}

/// Exit code and answer of a comparison.
fn compared(garden: &Garden, more: &[&str]) -> (i32, Value) {
    let output = mirror(garden, &[&["--json"], more].concat());
    let text = String::from_utf8_lossy(&output.stdout);
    let value = serde_json::from_str(&text).unwrap_or_else(|_| panic!("{text}{output:?}"));
    (output.status.code().unwrap(), value)
}

/// Nothing, then all of it by `--send`, then what somebody spoilt; first without a service, then asking a running one.
fn differs_until_sent(url: &str, spoil: impl Fn(&str)) {
    let garden = garden(url);
    let readings = MINUTES * 8;
    let (code, all) = compared(&garden, &[]);
    assert_eq!(
        (code, &all["missing"], &all["other"], &all["extra"]),
        (3, &all["numbers"], &json!(0), &json!(0))
    );
    // Each reading; of the place's page share, by hand, highest; of the planting's share, by hand, degree days, line,
    // stress, warm night; of the step number, pushed, rank.
    assert_eq!(all["numbers"], json!(readings + 3 + 6 + 3));
    let (code, sent) = compared(&garden, &["--send"]);
    assert_eq!((code, &sent["set_aside"]), (3, &json!(0)));
    assert_eq!(sent["sent"], json!(readings + 3));
    until("the copy has everything", || (compared(&garden, &[]).0 == 0).then_some(()));
    spoil(&format!(
        "reading,grade=sound,probe=bench-1,quantity=air_temperature value=99 {}\n\
         reading,grade=sound,probe=stranger,quantity=co2 value=1 {}\n",
        START_MS + 60_001 * 2,
        START_MS + 5,
    ));
    let service = garden.start();
    let differ = until("the difference shows", || {
        let (code, value) = compared(&garden, &["--to", "2024-07-02"]);
        // One of the databases shows what it took a moment later, series by series.
        (value["extra"] == json!(2)).then_some((code, value))
    });
    assert_eq!((differ.0, &differ.1["missing"], &differ.1["other"]), (3, &json!(0), &json!(0)));
    let series: Vec<&Value> =
        differ.1["differences"].as_array().unwrap().iter().map(|it| &it["series"]).collect();
    let name = |grade: &str, probe: &str, quantity: &str| {
        format!("reading_value{{grade=\"{grade}\",probe=\"{probe}\",quantity=\"{quantity}\"}}")
    };
    let (ours, strange) = (name("sound", "bench-1", "air_temperature"), name("sound", "stranger", "co2"));
    assert_eq!(series, [&json!(ours), &json!(strange)]);
    // The service mirrors on its own and says how far it is.
    until("the mirror has everything", || {
        let standing = &service.now()["board"]["mirror"];
        let through = standing["behind"] == json!(0) && standing["filling_in"] == json!(false);
        (through && standing["reached"] == json!(true)).then_some(())
    });
    let page = service.get("/").1;
    assert!(page.contains("The mirror has everything"), "{page}");
    assert!(service.stop().success());
    // How far it came is in the ledger.
    let founding = Founding { offset_ms: OFFSET_MS, program: "test".to_owned() };
    let reader = Ledger::open(&garden.ledger(), &founding).unwrap().reader().unwrap();
    let newest = reader.newest_seq().unwrap();
    assert_eq!((reader.cursor("mirror").unwrap(), reader.cursor("mirror-page").unwrap()), (newest, 1));
    assert!(newest >= MINUTES / 100);
}

#[test]
fn what_the_first_database_lacks_is_counted_listed_and_sent() {
    if !metrics::available() {
        return;
    }
    let database = Metrics::start();
    differs_until_sent(&database.url(), |lines| assert_eq!(database.write(lines), 204));
}

#[test]
fn what_the_second_database_lacks_is_counted_listed_and_sent() {
    if !series::available() {
        return;
    }
    let database = Series::start();
    differs_until_sent(&database.url(), |lines| assert_eq!(database.write(lines).0, 204));
}

#[test]
fn only_comparing_notices_points_that_were_thrown_away_with_a_polite_answer() {
    if !metrics::available() {
        return;
    }
    // It keeps a month, as it comes: what is older it drops, and answers 204.
    let database = Metrics::start_with(&[]);
    let garden = garden(&database.url());
    let before = database.thrown_away();
    let (_, sent) = compared(&garden, &["--send", "--to", "2024-07-02"]);
    assert_eq!(sent["set_aside"], json!(0), "it did not say so");
    until("it counts what it threw away", || (database.thrown_away() > before).then_some(()));
    let (code, again) = compared(&garden, &["--to", "2024-07-02"]);
    assert_eq!((code, &again["missing"]), (3, &again["numbers"]));
}

#[test]
fn days_the_wrong_way_round_and_a_folder_without_a_ledger_are_wrong_usage_and_nothing_is_made() {
    let garden = Garden::new("[mirror]\nurl = \"http://127.0.0.1:9\"\n");
    let output = mirror(&garden, &["--from", "2026-07-02", "--to", "2026-07-01"]);
    assert_eq!(output.status.code(), Some(2));
    let told = String::from_utf8_lossy(&output.stderr);
    assert!(told.contains("--from 2026-07-02 is later than --to 2026-07-01"), "{told}");
    let mistyped = garden.ledger().join("mistyped");
    let output = mirror(&garden, &["--folder", mistyped.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(2));
    let told = String::from_utf8_lossy(&output.stderr);
    assert!(told.contains("there is no ledger in") && !mistyped.exists(), "{told}");
}

#[test]
fn a_site_without_a_mirror_has_nothing_to_compare() {
    let output = mirror(&Garden::new(""), &[]);
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("no [mirror]"));
}
