//! The shipped field maps and the ground file, and what is said of field maps with mistakes.

use std::path::{Path, PathBuf};

use config::record::{Column, Delimiter, FileMatch, Record, Series, Values};
use config::zone::{Local, Zones};
use config::{crop_book, read_ground, read_record};

fn package() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).to_path_buf()
}

fn zones() -> Zones {
    Zones::in_folder(package().join("tests/zones"))
}

fn shipped(name: &str) -> String {
    std::fs::read_to_string(package().join("examples/records").join(name)).unwrap()
}

fn map(name: &str) -> Record {
    read_record(&shipped(name), &zones()).unwrap_or_else(|faults| panic!("{}", faults.named(name)))
}

fn fields(series: &Series, row: &str) -> Vec<String> {
    match series.delimiter {
        Delimiter::Sign(sign) => row.split(sign).map(str::to_owned).collect(),
        Delimiter::Blanks => row.split_whitespace().map(str::to_owned).collect(),
    }
}

/// What each series of a map makes of a file's heading and one row: probe, quantity, unit, values, and the
/// stamp in UTC.
fn told(name: &str, file: &str, heading: &str, row: &str) -> Vec<String> {
    let map = map(name);
    let mut lines = Vec::new();
    for series in map.series.iter().filter(|series| series.file.fits(file, 1)) {
        let row = fields(series, row);
        let headings = if series.header { fields(series, heading) } else { row.clone() };
        let cell = |column: &Column| {
            let index = column
                .find(headings.iter().map(String::as_str))
                .unwrap_or_else(|| panic!("{file}: {column:?}"));
            row[index].trim().to_owned()
        };
        let value = match &series.values {
            Values::Reading(column) => cell(column),
            Values::Daily { min, max } => format!("{}..{}", cell(min), cell(max)),
        };
        let stamp: Vec<_> = series.stamps.columns.iter().map(cell).collect();
        let moment = series.stamps.moment(&stamp.join(" ")).unwrap_or_else(|| panic!("{file}: {stamp:?}"));
        let Local::One(at) = series.stamps.instant(moment, series.stamps.shift_s) else {
            panic!("{file}: {moment}")
        };
        let at = chrono::DateTime::from_timestamp_millis(at).unwrap();
        let (probe, measured) = (&series.probe, &series.measured);
        lines.push(format!(
            "{probe} {} {value} {} {}",
            measured.quantity,
            measured.unit,
            at.format("%d %H:%M")
        ));
    }
    lines
}

#[test]
fn every_shipped_map_and_the_ground_file_is_without_fault() {
    let mut maps = 0;
    for entry in std::fs::read_dir(package().join("examples/records")).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        if name == "tunnel-ground.toml" {
            continue;
        }
        let map = map(&name);
        assert!(!map.series.is_empty() || map.each_row.is_some(), "{name}");
        maps += 1;
    }
    assert_eq!(maps, 13);
}

// Headings and first rows below are those of the records named in the maps, copied from the files.

#[test]
fn the_station_of_the_tunnel_is_read_in_both_its_ways_of_writing_a_date() {
    assert_eq!(
        told("tunnel-ref.toml", "Ref_AirTemp.csv", "Temperature (°C),Timestamp", "33.6,22/06/2021 11:15:00"),
        ["ref air_temperature 33.6 °C 22 10:15"]
    );
    assert_eq!(
        told("tunnel-ref.toml", "Ref_RH.csv", "Humidity (%),Timestamp", "49.9,2021-06-22 11:15:00"),
        ["ref relative_humidity 49.9 % 22 10:15"]
    );
    assert_eq!(
        told(
            "tunnel-soil.toml",
            "Ref_SoilTemp.csv",
            "Substrate temperature (°C),Europe/Rome",
            "31.1,2021-06-22 11:15:00"
        ),
        ["ref soil_temperature 31.1 °C 22 10:15"]
    );
    let map = map("tunnel-ref.toml");
    assert!(
        map.series.iter().all(|series| series.usual_interval_s == 900.0 && series.missing == ["", "NaN"])
    );
}

#[test]
fn headings_are_found_after_trimming_and_by_number_where_they_repeat() {
    let heading = "Read_NO,Timestamp,Soil Temperature (°C),Plant Temperature (°C), PAR (µmol/m²/s), \
                   Water Content 1 (m³/m³),  Water Content 1 (m³/m³)";
    assert_eq!(
        told(
            "tunnel-micro.toml",
            "Micro_1.csv",
            heading,
            "1,18/08/2021 11:45:00,24.291,27.85,2553.7,0.256,0.2257"
        ),
        [
            "micro-1 soil_temperature 24.291 °C 18 10:45",
            "micro-1 leaf_temperature 27.85 °C 18 10:45",
            "micro-1 light 2553.7 µmol/m²/s 18 10:45",
            "micro-1 soil_moisture 0.256 m³/m³ 18 10:45",
            "micro-1.second soil_moisture 0.2257 m³/m³ 18 10:45",
        ]
    );
}

#[test]
fn the_other_loggers_of_the_tunnel_are_read() {
    let trh = "Read_NO,Timestamp,Temperature (°C),Relative Humidity (%)";
    assert_eq!(
        told("tunnel-loggers.toml", "TRH_2.csv", trh, "1,18/08/2021 12:30:00,35.431,35.9625"),
        ["trh-2 air_temperature 35.431 °C 18 11:30", "trh-2 relative_humidity 35.9625 % 18 11:30"]
    );
    let four =
        "Read_NO,Timestamp,Temperature 1 (°C),Temperature 2 (°C), Temperature 3 (°C), Temperature 4 (°C)";
    let row = "13921,26/08/2021 10:00:00,23.899,29.737,25.691,28.157";
    let said = told("tunnel-four-channel.toml", "Temp_4ch_1.csv", four, row);
    assert_eq!(said.len(), 4);
    assert_eq!(said[3], "four-1.4 air_temperature 28.157 °C 26 09:00");
    for (file, heading, row, last) in [
        (
            "Valid_A.csv",
            "Read_NO,Timestamp,Temperature (°C)",
            "1,21/06/2022 09:30:00,35.806",
            "valid-a air_temperature 35.806",
        ),
        (
            "Valid_B.csv",
            "Read_NO,Timestamp,Temperature 1(°C),Temperature 2(°C)",
            "12622,21/06/2022 09:30:00,36.065,38.84",
            "valid-b.2 air_temperature 38.84",
        ),
        (
            "Valid_C.csv",
            "Read_NO,Timestamp,Temperature 1 (°C),Temperature 2 (°C)",
            "12622,21/06/2022 09:30:00,41.327,39.093",
            "valid-c.2 air_temperature 39.093",
        ),
        (
            "Valid_D.csv",
            "Read_NO,Timestamp,Temperature (°C)",
            "1,21/06/2022 09:30:00,35.35",
            "valid-d air_temperature 35.35",
        ),
    ] {
        assert!(told("tunnel-valid.toml", file, heading, row).last().unwrap().starts_with(last), "{file}");
    }
}

#[test]
fn a_change_of_unit_has_its_moment() {
    let map = map("tunnel-light.toml");
    let light = &map.series[0];
    assert_eq!((light.measured.unit.as_str(), light.changes.len()), ("klx", 1));
    assert_eq!(light.changes[0].unit.as_deref(), Some("lx"));
    assert_eq!(light.changes[0].from.to_string(), "2022-05-04 06:15:00");
}

#[test]
fn compartments_weather_and_days_read_by_hand_are_read() {
    let heading = "timestamp,thermal_opening,blackout_opening,co2_Air,rh_Air,T_Air,par,humidity_deficit,lee_vent,wind_vent,\
                   net_radiation__ridder,T_Canopy__ridder,transpiration__ridder,rh_Air__sigrow,T_Air__sigrow,par__sigrow,\
                   stomata_conductivity__sigrow";
    let row = "2022-05-02 13:15:00,79.8,0.2,589,40.2,26.3,604,14.79,99.8,100,,,,40.6,27.1,525,0";
    let said = told("lettuce-compartment.toml", "Reference_climate_data.csv", heading, row);
    assert_eq!(said[0], "compartment-2 air_temperature 26.3 °C 02 12:15");
    assert_eq!(said[3], "compartment-2 leaf_temperature  °C 02 12:15");
    assert_eq!(said.len(), 8);
    let heading =
        "timestamp,T_Out,airflow_Out,heat_emission,is_rain,par_Out,rad_Out,rad_Out_sum,rh_Out,wind_direction";
    let said = told(
        "lettuce-weather.toml",
        "weather.csv",
        heading,
        "2022-05-03 00:00:00,9.7,2,-80,0,1,1,2511,76.6,1",
    );
    assert_eq!(said[3], "outside wind 2 m/s 02 23:00");
    assert_eq!(
        told(
            "field-tomato-daily.toml",
            "weather_daily.csv",
            "DATE,Tx,Tn,P,RAD,RHx,RHn,W",
            "2005-04-28,27.7,7.2,0.0,0.0,91.0,32.5,0.04"
        ),
        ["by-hand air_temperature 7.2..27.7 °C 27 23:00", "by-hand relative_humidity 32.5..91.0 % 27 23:00"]
    );
}

#[test]
fn hours_stamped_at_their_end_are_moved_to_their_start() {
    let heading = "utc_end,lst_end,t_last5min_c,t_avg_c,t_max_c,t_min_c,rain_mm,solar_w_m2,rh_pct,surface_c,soil5_c,soil10_c,soil20_c";
    let row = "2021-06-15T09:00:00Z,2021-06-15T01:00:00-08:00,9.4,9.6,10.3,9.0,0.0,0,90,9.1,18.3,19.2,19.1";
    let said = told("climate-station.toml", "heat_dome_2021-06-15_to_07-10.csv", heading, row);
    assert_eq!(said[0], "station air_temperature 9.6 °C 15 08:00");
    // The same hour in the network's own form; fields by the numbers of its own list.
    let row = "04236 20210616 1600 20210616 0800  2.622 -123.33   44.42    15.8    15.0    15.9    13.9     0.0    440 0 \
               526 0    247 0 C    19.2 0    22.0 0    17.0 0    72 0   0.193   0.130   0.246   0.396   0.357    16.4 \
               17.1    18.3    18.0    16.2";
    assert_eq!(
        told("climate-station-hourly.toml", "CRNH0203-2021-OR_Corvallis_10_SSW.txt", "", row),
        [
            "station air_temperature 15.0 °C 16 15:00",
            "station relative_humidity 72 % 16 15:00",
            "station light 440 W/m² 16 15:00",
            "station rain 0.0 mm 16 15:00",
            "station soil_moisture 0.130 m³/m³ 16 15:00",
            "station soil_temperature 17.1 °C 16 15:00",
        ]
    );
}

#[test]
fn the_ground_of_the_tunnel_has_three_crops_in_each_of_two_summers() {
    let ground = read_ground(&shipped("tunnel-ground.toml"), &crop_book().unwrap(), &zones());
    let ground = ground.unwrap_or_else(|faults| panic!("{faults}"));
    assert_eq!(ground.site.standard_offset_s, 3600);
    assert_eq!((ground.start.places.len(), ground.start.probes.len()), (1, 1));
    assert_eq!(
        (ground.start.probes[0].probe.as_str(), ground.start.probes[0].usual_interval_s),
        ("ref", 900.0)
    );
    let said: Vec<_> = ground
        .start
        .plantings
        .iter()
        .map(|p| format!("{} {} {} {}", p.id, p.crop, p.planted_out.unwrap(), p.ended.unwrap()))
        .collect();
    assert_eq!(
        said,
        [
            "tomato-2021 tomato 2021-05-01 2021-10-31",
            "sweet_pepper-2021 sweet_pepper 2021-05-01 2021-10-31",
            "lettuce-2021 lettuce 2021-05-01 2021-10-31",
            "tomato-2022 tomato 2022-05-01 2022-10-31",
            "sweet_pepper-2022 sweet_pepper 2022-05-01 2022-10-31",
            "lettuce-2022 lettuce 2022-05-01 2022-10-31",
        ]
    );
}

#[test]
fn a_file_may_be_named_by_its_position() {
    assert!(FileMatch::Position(2).fits("x.csv", 2) && !FileMatch::Position(2).fits("x.csv", 1));
    assert!(FileMatch::Ending("x.csv".to_owned()).fits("max.csv", 9));
}

#[test]
fn a_clock_with_summer_time_says_where_an_hour_is_missing_or_comes_twice() {
    let text = shipped("tunnel-ref.toml").replace("offset = \"+01:00\" }", "zone = \"Europe/Rome\" }");
    let map = read_record(&text, &zones()).unwrap();
    let stamps = &map.series[0].stamps;
    let at = |text: &str| stamps.instant(stamps.moment(text).unwrap(), 0);
    // Summer time of 2021 in the European Union: 28 March and 31 October, 01:00 UTC.
    assert!(matches!(at("28/03/2021 02:30:00"), Local::Gap(_)));
    assert!(matches!(at("31/10/2021 02:30:00"), Local::Twice(..)));
    assert!(matches!(at("31/10/2021 03:30:00"), Local::One(_)));
    assert_eq!(stamps.moment("31/02/2021 03:30:00"), None);
    assert_eq!(stamps.moment("noon"), None);
}

#[test]
fn every_mistake_of_a_map_is_told_at_once() {
    let text = r#"[usual]
delimiter = "tab"
tiem = { column = "Timestamp" }

[[series]]
file = "a.csv"
probe = "a"
column = "T"
quantity = "air_temperature"
unit = "klx"
time = { column = "Timestamp", formats = ["%d/%m/%Y %Q"], offset = "+1" }
limits = { low = 80, high = -40 }

[[series]]
file = 0
quantity = "light"
unit = "lx"
time = { column = "When", formats = ["%Y-%m-%d"], zone = "Europe/Roma" }

[[series]]
file = "b.csv"
probe = "b"
column = "L"
quantity = "light"
unit = "klx"
time = { column = "When", formats = ["%Y-%m-%d"], offset = "+01:00" }
[[series.change]]
from = "4 May"
unit = "°C"

[[series]]
file = "c.csv"
probe = "c"
kind = "daily"
min = "Tn"
quantity = "air_temperature"
unit = "°C"
"#;
    let said = read_record(text, &zones()).unwrap_err().named("map.toml").to_string();
    let expected = r#"map.toml:2:13: unknown delimiter "tab"; write ",", ";", "\t", "|" or "blanks"
map.toml:3:1: unknown key tiem in [usual]; write time
map.toml:10:8: air_temperature is not measured in klx; write °C, C, degC, °F, F, degF, K, 0.1 °C, 0.1 C, 0.01 °C or 0.01 C
map.toml:11:43: format "%d/%m/%Y %Q" does not tell a date; write one such as "%d/%m/%Y %H:%M:%S"
map.toml:11:68: offset +1 is no offset; write it as "+01:00"
map.toml:12:29: high -40 is not above low 80; write more than 80
map.toml:14:1: a [[series]] has no column; write column = "Temperature"
map.toml:14:1: a [[series]] has no probe; write probe = "post"
map.toml:15:8: file is a number; write the end of a file name, or its position in the command
map.toml:18:58: unknown time zone Europe/Roma; write Europe/Rome
map.toml:26:8: the stamps %Y-%m-%d tell no hour; write kind = "daily" with min and max, or a format with %H
map.toml:28:8: from is 4 May; write a moment such as "2022-05-04T06:15"
map.toml:29:8: light is not measured in °C; write W/m², W/m2, lx, klx, µmol/m²/s or umol/m2/s
map.toml:31:1: a [[series]] has no max; write max = "Tx", the column of the day's highest
map.toml:31:1: the time of this series has no column and formats and offset; write time = { column = "Timestamp", formats = ["%Y-%m-%d %H:%M:%S"], offset = "+01:00" }"#;
    assert_eq!(said, expected);
}

#[test]
fn a_long_table_says_which_columns_name_probe_quantity_and_unit() {
    let each_row = map("export.toml").each_row.unwrap();
    let headings = ["time", "probe", "quantity", "unit", "value", "grade", "reason"];
    let columns = [&each_row.probe, &each_row.quantity, &each_row.unit, &each_row.value];
    assert_eq!(columns.map(|column| column.find(headings)), [Some(1), Some(2), Some(3), Some(4)]);
    let bare =
        read_record("[each_row]\nfile = \".csv\"\nprobe = \"who\"\n", &zones()).unwrap_err().to_string();
    for missing in ["quantity = ", "unit = ", "value = ", "time = "] {
        assert!(bare.contains(missing), "{missing}: {bare}");
    }
    assert!(read_record("", &zones()).unwrap_err().to_string().contains("[[series]]"));
}
