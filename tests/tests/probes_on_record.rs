//! Ten sensors of one plastic tunnel, a year of quarters of an hour. Four failed, and each is told within a day of its
//! first reading that no air of the tunnel had. Of the other six none is ever told, but for two winter noons of one of
//! them with the low sun on it.
//!
//! Which of them failed, and when, is said by the account that goes with the record: readings past 70 °C, and between 50
//! and 70 °C where the air was not.

use std::collections::BTreeSet;
use std::path::Path;

use agronomy::quantity::Quantity;
use config::read_record;
use config::zone::Zones;
use glasshour::calendar::date;
use glasshour::keeper::tracks::Taken;
use glasshour::minders::doubtful::{self, Neighbour, ProbeSays, SeriesNow, WET_FILM_MS};
use glasshour::minders::word::Says;
use glasshour::reading::Reason;
use glasshour::record;
use tests::records::{plain, records, shipped};

const HOUR_MS: i64 = 3_600_000;
const QUARTER_MS: i64 = HOUR_MS / 4;
const HALF_MS: i64 = HOUR_MS / 2;
/// The record's stamps are an hour east of UTC.
const EAST_MS: i64 = HOUR_MS;
/// September 2021 by the record's stamps, UTC ms (`date -u -d 2021-08-31T23:00 +%s` of GNU coreutils).
const SEPTEMBER: std::ops::Range<i64> = 1_630_450_800_000..1_633_042_800_000;

struct Channel {
    name: String,
    taken: Vec<Taken>,
}

fn channels(folder: &Path, map: &str, file: &str) -> Vec<Channel> {
    let text = std::fs::read_to_string(shipped(map)).unwrap();
    let map = read_record(&text, &Zones::system()).unwrap_or_else(|faults| panic!("{}", faults.named(map)));
    let scratch = tempfile::tempdir().unwrap();
    let file = plain(&folder.join("it-tunnel-greenhouse-1").join(file), scratch.path());
    let recorded = record::read(&map, &[file]).unwrap_or_else(|error| panic!("{error}"));
    let mut channels: Vec<Channel> = Vec::new();
    for heard in recorded.readings.iter().filter(|heard| heard.quantity == Quantity::AirTemperature) {
        let (Some(value), Some(at_ms)) = (heard.value, heard.measured_ms) else { continue };
        let reason = if value > 70.0 { Reason::OutOfRange } else { Reason::None };
        let taken = (at_ms, value, reason);
        match channels.iter_mut().find(|channel| channel.name == *heard.probe) {
            Some(channel) => channel.taken.push(taken),
            None => channels.push(Channel { name: heard.probe.to_string(), taken: vec![taken] }),
        }
    }
    channels
}

fn lately(channel: &Channel, now_ms: i64) -> &[Taken] {
    let at = |ms: i64| channel.taken.partition_point(|(at, ..)| *at <= ms);
    &channel.taken[at(now_ms - WET_FILM_MS - 2 * QUARTER_MS)..at(now_ms)]
}

/// What is asked of a probe that may have been moved.
const ASKED: &str = "been moved?";

/// The moments at which a channel was told of in such words, UTC ms.
fn told(channel: &Channel, others: &[&Channel], words: &[&str]) -> Vec<i64> {
    let (first, last) = (channel.taken[0].0, channel.taken[channel.taken.len() - 1].0);
    let mut hours = Vec::new();
    // As the minder does: at each whole and half hour.
    for now_ms in (first - first % HALF_MS + HALF_MS..=last).step_by(HALF_MS as usize) {
        let neighbours =
            others.iter().map(|it| Neighbour { probe: &it.name, outside: false, taken: lately(it, now_ms) });
        let verdict = doubtful::judge(&ProbeSays {
            now_ms,
            probe: &channel.name,
            place_name: "the tunnel",
            usual_interval_ms: QUARTER_MS,
            series: vec![SeriesNow { quantity: Quantity::AirTemperature, taken: lately(channel, now_ms) }],
            hour: ((now_ms + EAST_MS) % (24 * HOUR_MS)) as f64 / HOUR_MS as f64,
            neighbours: neighbours.collect(),
            // The harder case all year: no earlier sun ends the night's narrower lines.
            sunrise_h: 6.0,
            covered: true,
            placed_ms: i64::MIN,
            ..ProbeSays::default()
        });
        if let Says::Word(word) = verdict.says
            && words.iter().any(|words| word.title.contains(words) || word.text.contains(words))
        {
            hours.push(now_ms);
        }
    }
    hours
}

/// The ten channels.
fn tunnel(folder: &Path) -> Vec<Channel> {
    let files = [
        ("tunnel-four-channel.toml", "Temp_4ch_1.csv.gz"),
        ("tunnel-four-channel.toml", "Temp_4ch_2.csv.gz"),
        ("tunnel-loggers.toml", "TRH_1.csv"),
        ("tunnel-loggers.toml", "TRH_2.csv"),
    ];
    files.iter().flat_map(|(map, file)| channels(folder, map, file)).collect()
}

#[test]
fn u4_no_sound_sensor_is_asked_whether_it_was_moved_and_one_that_is_carried_off_is() {
    let Some(folder) = records() else { return };
    let all = tunnel(&folder);
    let failed = |it: &&Channel| it.taken.iter().any(|(_, value, _)| (50.0..=70.0).contains(value));
    let (_, sound): (Vec<&Channel>, Vec<&Channel>) = all.iter().partition(failed);
    assert_eq!(sound.len(), 6);
    for channel in &sound {
        let others: Vec<&Channel> = all.iter().filter(|it| it.name != channel.name).collect();
        let asked = told(channel, &others, &[ASKED]);
        assert!(asked.is_empty(), "{}: {asked:?}", channel.name);
        // Carried at each midnight of September 2021 to where it is five degrees warmer, and back the next midnight.
        let carried = |at_ms: i64| (at_ms + EAST_MS).div_euclid(24 * HOUR_MS) % 2 == 0;
        let moved =
            |(at_ms, t_c, reason): &Taken| (*at_ms, t_c + if carried(*at_ms) { 5.0 } else { 0.0 }, *reason);
        let september = channel.taken.iter().filter(|(at_ms, ..)| SEPTEMBER.contains(at_ms)).map(moved);
        let moved = Channel { name: channel.name.clone(), taken: september.collect() };
        let hours = told(&moved, &others, &[ASKED]);
        let nights: BTreeSet<i64> = hours.iter().map(|at| (at + EAST_MS).div_euclid(24 * HOUR_MS)).collect();
        assert!(nights.len() >= 28, "{}: {} of 29 nights", channel.name, nights.len());
    }
}

#[test]
fn v3_failing_sensors_are_told_and_sound_ones_beside_them_are_not() {
    let Some(folder) = records() else { return };
    let all = tunnel(&folder);
    let mut failing = 0;
    let mut noons = Vec::new();
    for channel in &all {
        let others: Vec<&Channel> = all.iter().filter(|it| it.name != channel.name).collect();
        let hours = told(channel, &others, &["leapt", "for three hours"]);
        // No air of that tunnel was ever so hot; what is hotter still is refused by itself.
        match channel.taken.iter().find(|(_, value, _)| (50.0..=70.0).contains(value)) {
            Some((failed_ms, ..)) => {
                failing += 1;
                let within_a_day = hours.first().is_some_and(|first| *first <= failed_ms + 24 * HOUR_MS);
                assert!(within_a_day, "{}: {hours:?}, failed at {failed_ms}", channel.name);
            }
            None => {
                let local = hours.iter().map(|at| at + EAST_MS);
                noons.extend(local.map(|at| (&channel.name, at.div_euclid(24 * HOUR_MS), at / HOUR_MS % 24)));
            }
        }
    }
    assert_eq!((failing, all.len()), (4, 10));
    let sunny: BTreeSet<_> = noons.iter().map(|(name, day, _)| (*name, *day)).collect();
    let names: BTreeSet<_> = noons.iter().map(|(name, ..)| *name).collect();
    assert_eq!((names.len(), sunny.len()), (1, 2), "{noons:?}");
    // Told while three hours are looked back on: the sun itself was on it earlier.
    assert!(noons.iter().all(|(.., hour)| (11..=17).contains(hour)), "{noons:?}");
    let is_winter = |day: i64| ["-11-", "-12-", "-01-", "-02-"].iter().any(|month| date(day).contains(month));
    assert!(sunny.iter().all(|(_, day)| is_winter(*day)), "{noons:?}");
}
