//! Small records of each kind, written by hand.

use config::read_record;
use config::zone::Zones;

use super::*;
use crate::calendar::{Calendar, date};

struct Folder(tempfile::TempDir);

impl Folder {
    fn new(files: &[(&str, &str)]) -> Self {
        let folder = tempfile::tempdir().unwrap();
        for (name, text) in files {
            std::fs::write(folder.path().join(name), text).unwrap();
        }
        Self(folder)
    }

    fn read(&self, map: &str, files: &[&str]) -> Result<Recorded, RecordError> {
        let map = read_record(map, &Zones::system()).unwrap_or_else(|faults| panic!("{faults}"));
        let files: Vec<_> = files.iter().map(|file| self.0.path().join(file)).collect();
        read(&map, &files)
    }
}

fn shipped(name: &str) -> String {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../config/examples/records/");
    std::fs::read_to_string(format!("{folder}{name}")).unwrap()
}

/// `probe quantity value hh:mm` of each reading, times in UTC.
fn lines(recorded: &Recorded) -> Vec<String> {
    recorded
        .readings
        .iter()
        .map(|heard| {
            let at = chrono::DateTime::from_timestamp_millis(heard.measured_ms.unwrap()).unwrap();
            let value = heard.value.map_or_else(|| "none".to_owned(), |value| format!("{value:.2}"));
            format!("{} {} {value} {}", heard.probe, heard.quantity, at.format("%d %H:%M"))
        })
        .collect()
}

#[test]
fn two_files_in_two_date_styles_become_one_row_of_time() {
    let folder = Folder::new(&[
        (
            "Ref_AirTemp.csv",
            "Temperature (°C),Timestamp\r\n33.6,22/06/2021 11:15:00\r\nNaN,22/06/2021 11:30:00\r\n",
        ),
        ("Ref_RH.csv", "Humidity (%),Timestamp\n49.9,2021-06-22 11:15:00\n36.7,2021-06-22 11:30:00\n"),
    ]);
    // Handed over in the other order: the order of the map decides.
    let recorded = folder.read(&shipped("tunnel-ref.toml"), &["Ref_RH.csv", "Ref_AirTemp.csv"]).unwrap();
    assert_eq!(
        lines(&recorded),
        [
            "ref air_temperature 33.60 22 10:15",
            "ref relative_humidity 49.90 22 10:15",
            "ref air_temperature none 22 10:30",
            "ref relative_humidity 36.70 22 10:30",
        ]
    );
    assert_eq!(recorded.usual_interval_ms[&ProbeName::from("ref")], 900_000);
    assert!(recorded.files.iter().all(|file| (file.rows, file.unread) == (2, 0)), "{:?}", recorded.files);
}

const MAP: &str = r#"
[usual]
file = "log.csv"
probe = "post"
time = { column = "when", formats = ["%Y-%m-%d %H:%M"], offset = "+01:00" }
[[series]]
column = "t"
quantity = "air_temperature"
unit = "°F"
limits = { low = -40, high = 176 }
[[series]]
column = "lux"
quantity = "light"
unit = "klx"
[[series.change]]
from = "2021-06-02T00:00"
unit = "lx"
shift_s = 3600
"#;

#[test]
fn units_shifts_and_limits_come_out_canonical() {
    let folder =
        Folder::new(&[("log.csv", "when,t,lux\n2021-06-01 23:59,50,111.24\n2021-06-02 00:00,212,1112.4\n")]);
    let recorded = folder.read(MAP, &["log.csv"]).unwrap();
    // Definition of °F; daylight of 111.24 lx for 1 W/m² as agronomy::quantity states it.
    assert_eq!(
        lines(&recorded),
        [
            "post air_temperature 10.00 01 22:59",
            "post light 1000.00 01 22:59",
            "post air_temperature 100.00 01 23:00",
            "post light 10.00 02 00:00",
        ]
    );
    let limits = recorded.limits[&(ProbeName::from("post"), Quantity::AirTemperature)];
    assert_eq!(limits, (-40.0, 80.0));
}

#[test]
fn what_cannot_be_read_is_counted_and_the_first_three_are_told() {
    let folder = Folder::new(&[(
        "log.csv",
        "when,t,lux\n\nyesterday,50,1\n2021-06-01 10:00,5o,1\n2021-06-01 10:15,50\n2021-06-01 10:30,inf,-\n",
    )]);
    let recorded = folder.read(MAP, &["log.csv"]).unwrap();
    assert_eq!(lines(&recorded), ["post light 8.99 01 09:00", "post air_temperature 10.00 01 09:15"]);
    let told = &recorded.files[0];
    assert_eq!((told.rows, told.unread), (4, 5));
    let first: Vec<_> =
        told.first.iter().map(|one| (one.line, one.column.as_str(), one.text.as_str())).collect();
    assert_eq!(first, [(3, "\"when\"", "\"yesterday\""), (4, "\"t\"", "\"5o\""), (5, "\"lux\"", "")]);
}

#[test]
fn rows_apart_by_blanks_with_codes_and_a_time_in_two_columns_are_read() {
    // Layout of the hourly product of the network that the map names: 38 fields, no headings.
    let row = |date_time: &str, t: &str| {
        let mut fields = vec!["0"; 38];
        let (date, time) = date_time.split_once(' ').unwrap();
        (fields[1], fields[2], fields[9], fields[26], fields[29]) = (date, time, t, "90", "0.250");
        fields[34] = "-9999.0";
        format!("  {}\n", fields.join("   "))
    };
    let text = row("20210628 2300", "41.7") + &row("20210629 0000", "-9999.0");
    let folder = Folder::new(&[("station.txt", &text)]);
    let recorded = folder.read(&shipped("climate-station-hourly.toml"), &["station.txt"]).unwrap();
    let told = lines(&recorded);
    assert_eq!(told.len(), 12);
    assert_eq!(told[0], "station air_temperature 41.70 28 22:00");
    assert!(told.contains(&"station air_temperature none 28 23:00".to_owned()), "{told:?}");
    assert!(told.contains(&"station soil_moisture 25.00 28 23:00".to_owned()), "{told:?}");
    assert!(told.contains(&"station soil_temperature none 28 22:00".to_owned()), "{told:?}");
}

#[test]
fn a_day_known_by_its_extremes_falls_on_its_own_day_page() {
    let sheet =
        "DATE,Tx,Tn,P,RAD,RHx,RHn,W\n2005-04-28,27.7,7.2,0,0,91,32.5,0\n2005-04-29,,10.4,0,0,91,35,0\n";
    let folder = Folder::new(&[("weather_daily.csv", sheet)]);
    let recorded = folder.read(&shipped("field-tomato-daily.toml"), &["weather_daily.csv"]).unwrap();
    assert!(recorded.readings.is_empty());
    assert_eq!(recorded.files[0].left_out, 2, "humidity is not read by hand");
    let [day] = recorded.by_hand.as_slice() else { panic!("{:?}", recorded.by_hand) };
    assert_eq!((day.low_c, day.high_c), (7.2, 27.7));
    // The almanac gives a thermometer's low and high to the day it was read on from noon on; see pages::by_hand.
    for offset_h in [-4, 1, 6] {
        let calendar = Calendar::fixed(offset_h * 3_600_000);
        assert_eq!(date(calendar.day_of(day.from_ms)), "2005-04-28", "{offset_h}");
        assert!(calendar.hour_of(day.from_ms) >= 12.0, "{offset_h}");
    }
    let Note::Thermometer { place, now_c, low_c, high_c } = day.note("field") else { panic!() };
    assert_eq!((place.as_str(), now_c, low_c, high_c), ("field", None, Some(7.2), Some(27.7)));
}

#[test]
fn a_file_that_does_not_fit_is_an_error_with_its_own_headings() {
    let folder = Folder::new(&[("other.csv", "when,t\n"), ("log.csv", "when,temp,lux\n"), ("2log.csv", "")]);
    let message = |file: &str| folder.read(MAP, &[file]).unwrap_err().to_string();
    let other = message("other.csv");
    assert!(other.contains("log.csv") && other.ends_with("headed \"when\", \"t\""), "{other}");
    let log = message("log.csv");
    assert!(log.contains("no column \"t\" for air_temperature of probe post"), "{log}");
    assert!(log.ends_with("headed \"when\", \"temp\", \"lux\""), "{log}");
    assert!(message("2log.csv").ends_with("it is empty"));
    assert!(matches!(folder.read(MAP, &["3log.csv"]), Err(RecordError::Input { .. })));
}

#[test]
fn a_file_given_by_its_place_in_the_command_is_read_whatever_its_name() {
    let map = MAP.replace("file = \"log.csv\"", "file = 2").replace("column = \"t\"", "column = 3");
    let folder = Folder::new(&[("a", "x\n"), ("b", "when,lux,t\n2021-06-01 10:00,1,50\n")]);
    assert!(matches!(folder.read(&map, &["a", "b"]), Err(RecordError::NoSeries { .. })));
    let recorded = folder.read(&map.replace("file = 2", "file = 1"), &["b"]).unwrap();
    assert_eq!(lines(&recorded)[0], "post air_temperature 10.00 01 09:00");
}
