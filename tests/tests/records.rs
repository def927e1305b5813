//! The record reader over the open records that the shipped maps are for.

use std::collections::BTreeMap;
use std::path::Path;

use config::read_record;
use config::zone::Zones;
use glasshour::calendar;
use glasshour::record::{self, Recorded};
use tests::records::{plain, records, shipped};

fn read(folder: &Path, map: &str, file: &str) -> Recorded {
    let text = std::fs::read_to_string(shipped(map)).unwrap();
    let map = read_record(&text, &Zones::system()).unwrap_or_else(|faults| panic!("{}", faults.named(map)));
    let scratch = tempfile::tempdir().unwrap();
    let file = plain(&folder.join(file), scratch.path());
    record::read(&map, &[file]).unwrap_or_else(|error| panic!("{error}"))
}

/// The stamp as the files write it, an hour east of UTC as the maps say.
fn stamp(at_ms: i64) -> String {
    let local = at_ms + 3_600_000;
    let second = local.rem_euclid(86_400_000) / 1000;
    let (h, m, s) = (second / 3600, second / 60 % 60, second % 60);
    format!("{} {h:02}:{m:02}:{s:02}", calendar::date(local.div_euclid(86_400_000)))
}

/// Map, file, series in the map, rows, first and last stamp: the tables of the records' README.
const TABLE: [(&str, &str, usize, u64, &str, &str); 18] = [
    (
        "tunnel-ref",
        "it-tunnel-greenhouse-1/Ref_AirTemp.csv",
        1,
        29031,
        "2021-06-22 11:15:00",
        "2023-01-16 01:16:28",
    ),
    (
        "tunnel-ref",
        "it-tunnel-greenhouse-1/Ref_RH.csv",
        1,
        23476,
        "2021-06-22 11:15:00",
        "2022-07-21 12:30:00",
    ),
    (
        "tunnel-light",
        "it-tunnel-greenhouse-1/Ref_PAR.csv",
        1,
        23381,
        "2021-06-22 11:15:00",
        "2022-07-21 12:15:00",
    ),
    (
        "tunnel-soil",
        "it-tunnel-greenhouse-1/Ref_SoilTemp.csv",
        1,
        23419,
        "2021-06-22 11:15:00",
        "2022-07-21 12:30:00",
    ),
    (
        "tunnel-soil",
        "it-tunnel-greenhouse-1/Ref_WaterCont.csv",
        1,
        24156,
        "2021-06-22 11:15:00",
        "2022-08-05 09:15:00",
    ),
    (
        "tunnel-loggers",
        "it-tunnel-greenhouse-1/TRH_1.csv",
        2,
        10858,
        "2021-08-18 12:15:00",
        "2022-02-03 10:45:00",
    ),
    (
        "tunnel-loggers",
        "it-tunnel-greenhouse-1/TRH_2.csv",
        2,
        10720,
        "2021-08-18 12:30:00",
        "2022-02-03 11:00:00",
    ),
    (
        "tunnel-four-channel",
        "it-tunnel-greenhouse-1/Temp_4ch_1.csv.gz",
        4,
        27520,
        "2021-08-26 10:00:00",
        "2022-07-11 09:00:00",
    ),
    (
        "tunnel-four-channel",
        "it-tunnel-greenhouse-1/Temp_4ch_2.csv.gz",
        4,
        27520,
        "2021-08-26 10:00:00",
        "2022-07-11 09:00:00",
    ),
    (
        "tunnel-valid",
        "it-tunnel-greenhouse-1/Valid_A.csv",
        1,
        2878,
        "2022-06-21 09:30:00",
        "2022-07-11 09:00:00",
    ),
    (
        "tunnel-valid",
        "it-tunnel-greenhouse-1/Valid_B.csv",
        2,
        2878,
        "2022-06-21 09:30:00",
        "2022-07-11 09:00:00",
    ),
    (
        "tunnel-valid",
        "it-tunnel-greenhouse-1/Valid_C.csv",
        2,
        2876,
        "2022-06-21 09:30:00",
        "2022-07-11 08:45:00",
    ),
    (
        "tunnel-valid",
        "it-tunnel-greenhouse-1/Valid_D.csv",
        1,
        2878,
        "2022-06-21 09:30:00",
        "2022-07-11 09:00:00",
    ),
    (
        "tunnel-micro",
        "it-tunnel-greenhouse-1/Micro_1.csv",
        5,
        12779,
        "2021-08-18 11:45:00",
        "2022-02-03 10:45:00",
    ),
    (
        "tunnel-micro",
        "it-tunnel-greenhouse-1/Micro_2.csv",
        5,
        12779,
        "2021-08-18 11:45:00",
        "2022-02-03 11:15:00",
    ),
    (
        "lettuce-compartment",
        "agc2022-lettuce-exp2/Koala_climate_data.csv.gz",
        9,
        12874,
        "2022-05-03 00:00:00",
        "2022-06-16 16:45:00",
    ),
    (
        "lettuce-compartment",
        "agc2022-lettuce-exp2/Reference_climate_data.csv",
        8,
        3692,
        "2022-05-02 13:15:00",
        "2022-06-09 23:45:00",
    ),
    (
        "lettuce-weather",
        "agc2022-lettuce-exp2/weather.csv",
        4,
        11920,
        "2022-05-03 00:00:00",
        "2022-06-17 17:30:00",
    ),
];

#[test]
fn every_row_of_every_record_is_read_and_no_stamp_is_lost() {
    let Some(folder) = records() else { return };
    for (map, file, series, rows, first, last) in TABLE {
        let recorded = read(&folder, &format!("{map}.toml"), file);
        let told = &recorded.files[0];
        assert_eq!((told.rows, told.unread), (rows, 0), "{file}: {:?}", told.first);
        assert_eq!(recorded.readings.len() as u64, rows * series as u64, "{file}");
        let times: Vec<_> = recorded.readings.iter().map(|heard| heard.measured_ms.unwrap()).collect();
        assert!(times.is_sorted(), "{file}");
        assert_eq!(
            (stamp(times[0]), stamp(times[times.len() - 1])),
            (first.to_owned(), last.to_owned()),
            "{file}"
        );
    }
}

#[test]
fn readings_without_a_value_are_as_many_as_the_records_own_account_says() {
    let Some(folder) = records() else { return };
    let missing = |map: &str, file: &str| {
        let mut missing: BTreeMap<String, usize> = BTreeMap::new();
        for heard in read(&folder, map, file).readings.iter().filter(|heard| heard.value.is_none()) {
            *missing.entry(format!("{} {}", heard.probe, heard.quantity)).or_default() += 1;
        }
        missing.into_iter().map(|(series, count)| format!("{series} {count}")).collect::<Vec<_>>()
    };
    // Quirk 9 of the tunnel's record, quirk 5 of the lettuce record.
    let tunnel = |map, file: &str| missing(map, &format!("it-tunnel-greenhouse-1/{file}"));
    assert_eq!(tunnel("tunnel-ref.toml", "Ref_AirTemp.csv"), ["ref air_temperature 1398"]);
    assert_eq!(tunnel("tunnel-ref.toml", "Ref_RH.csv"), ["ref relative_humidity 1398"]);
    assert_eq!(tunnel("tunnel-soil.toml", "Ref_SoilTemp.csv"), ["ref soil_temperature 654"]);
    assert_eq!(tunnel("tunnel-soil.toml", "Ref_WaterCont.csv"), ["ref soil_moisture 2233"]);
    assert_eq!(tunnel("tunnel-micro.toml", "Micro_1.csv"), ["micro-1.second soil_moisture 871"]);
    assert_eq!(
        missing("lettuce-compartment.toml", "agc2022-lettuce-exp2/Reference_climate_data.csv"),
        [
            "compartment-2 leaf_temperature 1236",
            "compartment-2.second air_temperature 2366",
            "compartment-2.second light 2366",
            "compartment-2.second relative_humidity 2366",
        ]
    );
}

#[test]
fn light_that_changes_its_unit_stays_within_what_the_sun_can_give() {
    // Quirk 4 of the tunnel's record: the highest klux is 91, and 99573 after the change is lux. As daylight
    // (54 lx for 1 µmol/m²/s and 2.06 µmol/J, Thimijan & Heins 1983) that is 818 and 895 W/m².
    let Some(folder) = records() else { return };
    let recorded = read(&folder, "tunnel-light.toml", "it-tunnel-greenhouse-1/Ref_PAR.csv");
    let highest = recorded.readings.iter().filter_map(|heard| heard.value).fold(0.0, f64::max);
    assert!((highest - 99573.0 / (54.0 * 2.06)).abs() < 0.01, "{highest}");
}

#[test]
fn the_station_and_the_field_are_read_whole() {
    let Some(folder) = records() else { return };
    // Its account: 8760 hourly rows from 2021-01-01 01:00 to 2022-01-01 00:00 UTC; an hour is stamped at its end, so the map
    // moves it back.
    let hourly = "uscrn-corvallis-2021/CRNH0203-2021-OR_Corvallis_10_SSW.txt.gz";
    let station = read(&folder, "climate-station-hourly.toml", hourly);
    assert_eq!((station.files[0].rows, station.files[0].unread), (8760, 0), "{:?}", station.files);
    assert_eq!(station.readings.len(), 6 * 8760);
    let without = |quantity: &str| {
        let readings = station.readings.iter().filter(|heard| heard.quantity.as_str() == quantity);
        readings.filter(|heard| heard.value.is_none()).count()
    };
    // Quirk 3: missing hours by field.
    assert_eq!(["air_temperature", "relative_humidity", "light"].map(without), [38, 36, 33]);
    assert_eq!(without("soil_moisture"), 36);
    assert_eq!(station.readings[0].measured_ms, Some(1_609_459_200_000), "2021-01-01 00:00 UTC");
    let dome = "uscrn-corvallis-2021/heat_dome_2021-06-15_to_07-10.csv";
    let dome = read(&folder, "climate-station.toml", dome);
    // 624 rows, and no missing codes in the span.
    assert_eq!((dome.files[0].rows, dome.files[0].unread), (624, 0));
    assert!(dome.readings.iter().all(|heard| heard.value.is_some()));
    let days = read(&folder, "field-tomato-daily.toml", "foggia-tomato/weather_daily.csv");
    // 527 days by the record's own account.
    assert_eq!((days.files[0].rows, days.files[0].unread, days.by_hand.len()), (527, 0, 527));
}
