//! The nights on which clocks are put forward or back: days stay 24 h of the frozen offset, only the shown clock follows.

use std::sync::Arc;

use config::zone::Zones;
use glasshour::calendar::Calendar;
use glasshour::keeper::core::Core;
use glasshour::ledger::{Founding, Ledger};
use glasshour::site::Site;

use super::garden::*;

/// Zone, frozen offset, two minutes with their civil time.
type Night = (&'static str, i64, [(&'static str, &'static str); 2]);

/// Zone, frozen standard offset (minutes), and two neighbouring minutes (UTC) with the civil time Python 3.11's zoneinfo
/// gives for each over tzdata 2026f.
const NIGHTS: [Night; 7] = [
    (
        "Europe/Rome",
        60,
        [("2021-03-28T00:59Z", "2021-03-28 01:59"), ("2021-03-28T01:00Z", "2021-03-28 03:00")],
    ),
    (
        "Europe/Rome",
        60,
        [("2021-10-31T00:59Z", "2021-10-31 02:59"), ("2021-10-31T01:00Z", "2021-10-31 02:00")],
    ),
    (
        "Africa/Cairo",
        120,
        [("2024-04-25T21:59Z", "2024-04-25 23:59"), ("2024-04-25T22:00Z", "2024-04-26 01:00")],
    ),
    (
        "Africa/Cairo",
        120,
        [("2024-10-31T20:59Z", "2024-10-31 23:59"), ("2024-10-31T21:00Z", "2024-10-31 23:00")],
    ),
    (
        "Australia/Lord_Howe",
        630,
        [("2021-04-03T14:59Z", "2021-04-04 01:59"), ("2021-04-03T15:00Z", "2021-04-04 01:30")],
    ),
    (
        "Australia/Lord_Howe",
        630,
        [("2021-10-02T15:29Z", "2021-10-03 01:59"), ("2021-10-02T15:30Z", "2021-10-03 02:30")],
    ),
    (
        "Pacific/Apia",
        -660,
        [("2011-12-30T09:59Z", "2011-12-29 23:59"), ("2011-12-30T10:00Z", "2011-12-31 00:00")],
    ),
];

fn ms(text: &str) -> i64 {
    let full = text.replace('Z', ":00Z");
    chrono::DateTime::parse_from_rfc3339(&full).unwrap().timestamp_millis()
}

fn calendar_of(zone: &str, offset_minutes: i64) -> Calendar {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../config/tests/zones");
    let zone = Zones::in_folder(folder).load(zone).unwrap();
    Calendar::new(offset_minutes * MINUTE, Arc::new(move |at_ms| zone.offset_at(at_ms)))
}

#[test]
fn c7_the_shown_clock_follows_the_civil_zone_over_every_such_night() {
    for (zone, offset, pair) in NIGHTS {
        let calendar = calendar_of(zone, offset);
        for (utc, civil) in pair {
            assert_eq!(calendar.civil_format(ms(utc), "%Y-%m-%d %H:%M"), civil, "{zone} {utc}");
        }
    }
}

#[test]
fn c7_a_day_page_of_such_a_night_is_of_24_hours_in_the_frozen_offset_and_holds_exactly_them() {
    for (zone, offset, pair) in NIGHTS {
        let calendar = calendar_of(zone, offset);
        let day = calendar.day_of(ms(pair[1].0));
        let start = calendar.start_of(day);
        assert_eq!(calendar.start_of(day + 1) - start, DAY);
        let founding = Founding { offset_ms: offset * MINUTE, program: "glasshour test".to_owned() };
        let mut ledger = Ledger::in_memory(&founding).unwrap();
        let boot = ledger.begin_boot(0, Some((0, "test"))).unwrap();
        let at =
            |at_ms: i64| glasshour::keeper::core::Moment { wall_ms: at_ms, mono_ms: at_ms, trusted: true };
        let notes: Vec<_> = tomato_house().into_iter().map(|note| (start - 40 * DAY, note)).collect();
        glasshour::keeper::start::seed(&mut ledger, boot, at(start - DAY), &notes).unwrap();
        let site = Site { calendar: calendar.clone(), ..site() };
        let mut core = Core::start(site, ledger, boot, at(start - DAY), Vec::new()).unwrap();
        // One degree more each hour from midnight to midnight, and another value before and after.
        let mut now = start - 2 * HOUR;
        while now < start + DAY + 2 * HOUR {
            let hour = (now - start).div_euclid(HOUR);
            let value = if (0..24).contains(&hour) { 5.0 + hour as f64 } else { 39.0 };
            let message = glasshour::keeper::core::Message {
                readings: vec![heard("post", AIR, now, value)],
                arrived_ms: now,
            };
            core.hear(at(now), &[message]);
            now += MINUTE;
        }
        core.flush(at(now)).unwrap();
        let date = glasshour::calendar::date(day);
        let all = everything(&mut core);
        let pages = all["day_pages"].as_array().unwrap();
        let page = pages.iter().find(|page| page["date"] == date.as_str()).unwrap();
        assert_eq!(page["measured_share"], 1.0, "{zone} {date}");
        // The mean of 5, 6 … 28, an hour each, is 16.5.
        assert_eq!(
            (&page["t_min_c"], &page["t_max_c"], &page["t_mean_c"]),
            (&5.0.into(), &28.0.into(), &16.5.into())
        );
    }
}
