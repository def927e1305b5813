//! The zone reader against Python's, over the five zone files committed beside the table.

use std::path::{Path, PathBuf};

use config::zone::{Local, Zone, ZoneError, Zones};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/zones")
}

/// Rows made by Python 3.11.7's zoneinfo over these same files (tests/zones/make_expected.py).
fn expected() -> Vec<Vec<String>> {
    let text = std::fs::read_to_string(folder().join("expected.csv")).unwrap();
    text.lines().skip(1).map(|line| line.split(',').map(str::to_owned).collect()).collect()
}

#[test]
fn offsets_and_local_times_agree_with_python() {
    let zones = Zones::in_folder(folder());
    let mut compared = [0; 4];
    for row in expected() {
        let zone = zones.load(&row[0]).unwrap();
        let number = |index: usize| row[index].parse::<i64>().unwrap();
        let asked = number(2) * 1000;
        match row[3].as_str() {
            "offset" => {
                assert_eq!(i64::from(zone.offset_at(asked)), number(4), "{row:?}");
                compared[0] += 1;
            }
            "one" => {
                assert_eq!(zone.local(asked), Local::One(number(4) * 1000), "{row:?}");
                compared[1] += 1;
            }
            "twice" => {
                assert_eq!(zone.local(asked), Local::Twice(number(4) * 1000, number(5) * 1000), "{row:?}");
                compared[2] += 1;
            }
            _ => {
                assert!(matches!(zone.local(asked), Local::Gap(_)), "{row:?}");
                compared[3] += 1;
            }
        }
    }
    assert!(compared.iter().all(|count| *count >= 10), "{compared:?}");
}

#[test]
fn a_time_the_clocks_jumped_over_is_met_just_after_the_jump() {
    // Rome, 28 March 2021, 02:00 to 03:00 does not exist (Python's zoneinfo finds it neither with fold 0
    // nor with fold 1); 02:30 without the jump would be 01:30 UTC.
    let rome = Zones::in_folder(folder()).load("Europe/Rome").unwrap();
    let ms = |text: &str| chrono::DateTime::parse_from_rfc3339(text).unwrap().timestamp_millis();
    assert_eq!(rome.local(ms("2021-03-28T02:30:00Z")), Local::Gap(ms("2021-03-28T01:30:00Z")));
}

#[test]
fn c7_midnights_that_are_missing_or_come_twice_and_a_day_that_never_was_are_in_the_table() {
    let rows = expected();
    let count = |zone: &str, kind: &str, from: i64, until: i64| {
        let within = |row: &&Vec<String>| (from..until).contains(&row[2].parse::<i64>().unwrap());
        rows.iter().filter(|row| row[0] == zone && row[1] == "local" && row[3] == kind).filter(within).count()
    };
    // `date -u +%s`: 2024-04-25 is 1714003200, 2024-10-31 is 1730332800, 2011-12-30 is 1325203200.
    let day = 86_400;
    assert_eq!(
        count("Africa/Cairo", "gap", 1_714_003_200, 1_714_003_200 + 2 * day),
        4,
        "an hour of quarters"
    );
    assert_eq!(count("Africa/Cairo", "twice", 1_730_332_800, 1_730_332_800 + 2 * day), 4);
    assert!(count("Pacific/Apia", "gap", 1_325_203_200, 1_325_203_200 + day) > 20);
}

#[test]
fn standard_offsets_are_those_of_winter() {
    // tzdata: Rome UTC+1, Los Angeles UTC-8, Lord Howe UTC+10:30 (its summer time is half an hour).
    let zones = Zones::in_folder(folder());
    let standard = |name| zones.load(name).unwrap().standard_offset();
    assert_eq!(standard("Europe/Rome"), 3600);
    assert_eq!(standard("America/Los_Angeles"), -8 * 3600);
    assert_eq!(standard("Australia/Lord_Howe"), 10 * 3600 + 1800);
    // Cairo UTC+2, Apia UTC+13 since the day it left out.
    assert_eq!((standard("Africa/Cairo"), standard("Pacific/Apia")), (2 * 3600, 13 * 3600));
}

#[test]
fn the_folder_lists_its_zones_and_nothing_else() {
    let names = Zones::in_folder(folder()).names();
    assert_eq!(
        names,
        ["Africa/Cairo", "America/Los_Angeles", "Australia/Lord_Howe", "Europe/Rome", "Pacific/Apia"]
    );
}

#[test]
fn a_hostile_file_is_refused_or_read_but_never_panics() {
    let sound = std::fs::read(folder().join("Australia/Lord_Howe")).unwrap();
    let mut refused = 0;
    for cut in 0..sound.len() {
        assert!(
            matches!(Zone::from_bytes("X", &sound[..cut]), Err(ZoneError::Damaged { .. })),
            "cut at {cut}"
        );
    }
    for at in 0..sound.len() {
        for value in [0x00, 0x7f, 0x80, 0xff, sound[at] ^ 1] {
            let mut bytes = sound.clone();
            bytes[at] = value;
            match Zone::from_bytes("X", &bytes) {
                Ok(zone) => {
                    for ms in [i64::MIN, -1, 0, 1_700_000_000_000, 4_102_444_800_000, i64::MAX] {
                        zone.offset_at(ms);
                        zone.local(ms);
                    }
                }
                Err(_) => refused += 1,
            }
        }
    }
    assert!(refused > 500, "{refused}");
}

#[test]
fn every_zone_of_this_system_can_be_read() {
    let zones = Zones::system();
    for name in zones.names() {
        if let Err(error) = zones.load(&name) {
            panic!("{error}");
        }
    }
}
