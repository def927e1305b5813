//! `glasshour check`: everything that is wrong with a file, or what was understood of it.

use std::io::{self, Write};
use std::path::PathBuf;

use config::zone::Zones;
use config::{
    Fault, Faults, crop_book, read_crop_book, read_ground, read_outlook_map, read_record, read_site,
};

use super::sheet::{REFUSED, unreadable, until_closed};
use super::summary;

/// Check a file before anything is started from it.
///
/// Prints every fault as FILE:LINE:COLUMN with what to write instead, and exits with 2; or says what was
/// understood, and exits with 0.
#[derive(Clone, Debug, clap::Args)]
pub struct CheckArgs {
    /// The file: a site file, unless an option names another kind.
    pub file: PathBuf,
    /// It is a ground file: what stood where during a record.
    #[arg(long, conflicts_with_all = ["record", "outlook", "crops"])]
    pub ground: bool,
    /// It is a field map: what the columns of a record mean.
    #[arg(long, conflicts_with_all = ["outlook", "crops"])]
    pub record: bool,
    /// It is a field map of an outlook: what stands where in a forecast.
    #[arg(long, conflicts_with = "crops")]
    pub outlook: bool,
    /// It is a crop book.
    #[arg(long)]
    pub crops: bool,
}

/// Runs the command.
///
/// # Errors
///
/// Writing `out` or `err`; that the reader of `out` went away is no error.
pub fn run(args: &CheckArgs, out: impl Write, mut err: impl Write) -> io::Result<u8> {
    let bytes = match std::fs::read(&args.file) {
        Ok(bytes) => bytes,
        Err(error) => return unreadable(&mut err, &args.file, &error),
    };
    match text(&bytes).and_then(|text| understood(args, text)) {
        Ok(summary) => until_closed(write(out, &summary)),
        Err(faults) => {
            writeln!(err, "{}", faults.named(&args.file.display().to_string()))?;
            Ok(REFUSED)
        }
    }
}

fn write(mut out: impl Write, summary: &str) -> io::Result<u8> {
    out.write_all(summary.as_bytes())?;
    out.flush()?;
    Ok(0)
}

fn understood(args: &CheckArgs, text: &str) -> Result<String, Faults> {
    let zones = Zones::system();
    if args.crops {
        return read_crop_book(text).map(|book| summary::crops(&book));
    }
    if args.record {
        return read_record(text, &zones).map(|record| summary::record(&record));
    }
    if args.outlook {
        return read_outlook_map(text, &zones).map(|map| summary::outlook(&map));
    }
    let crops = crop_book()?;
    if args.ground {
        return read_ground(text, &crops, &zones).map(|ground| summary::ground(&ground));
    }
    read_site(text, &crops, &zones).map(|site| summary::site(&site))
}

/// The text of a file, or the place where it stops being text.
fn text(bytes: &[u8]) -> Result<&str, Faults> {
    std::str::from_utf8(bytes).map_err(|error| {
        let before = String::from_utf8_lossy(&bytes[..error.valid_up_to()]);
        let line = before.matches('\n').count() + 1;
        let column = before.rsplit('\n').next().map_or(0, |rest| rest.chars().count()) + 1;
        let message = "this is no UTF-8 text; write the file anew with your editor set to UTF-8".to_owned();
        Faults { file: String::new(), list: vec![Fault { line, column, message }] }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ran(kind: &str, text: &[u8]) -> (u8, String, String) {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("garden.toml");
        std::fs::write(&file, text).unwrap();
        let args = CheckArgs {
            file,
            ground: kind == "ground",
            record: kind == "record",
            outlook: kind == "outlook",
            crops: kind == "crops",
        };
        let (mut out, mut err) = (Vec::new(), Vec::new());
        let exit = run(&args, &mut out, &mut err).unwrap();
        (exit, String::from_utf8(out).unwrap(), String::from_utf8(err).unwrap())
    }

    const SITE: &str = r#"
[site]
name = "Bindweed Yard"
latitude = 52.1
longitude = 5.3
standard_offset = "+01:00"

[[bus]]
[[bus.instrument]]
kind = "sht4x"
probe = "post"

[door]
[[door.topic]]
filter = "shelf/air"
probe = "shelf"
bare = { quantity = "air_temperature", unit = "°C" }

[[start.place]]
id = "long"
name = "Long House"
kind = "house"

[[start.planting]]
id = "reds"
crop = "tomato"
place = "long"
planted_out = 2026-05-04

[[start.probe]]
probe = "post"
place = "long"
shelter = "screened"

[[start.probe]]
probe = "wall"
place = "long"
"#;

    #[test]
    fn a_sound_site_file_is_told_place_by_place_with_what_is_off() {
        let (exit, out, err) = ran("site", SITE.as_bytes());
        assert_eq!((exit, err.as_str()), (0, ""), "{err}");
        for part in [
            "Bindweed Yard",
            "Long House (long), house",
            "reds: tomato, 1 plant, planted out 2026-05-04",
            "post: 1.5 m, screened",
            "post: air_temperature, relative_humidity from sht4x at 0x44 on /dev/i2c-1",
            "shelf: air_temperature from topic shelf/air at the door 127.0.0.1:1883",
            "shelf hangs nowhere yet",
            "wall hangs in long, and nothing here brings its readings",
            "Off: broker, outlook, the board's own readings, public warnings, mail, web push, webhook, notices by MQTT, \
             life sign, mirror",
        ] {
            assert!(out.contains(part), "no {part:?} in:\n{out}");
        }
    }

    #[test]
    fn every_fault_is_told_in_one_run_with_its_place_and_what_to_write() {
        let wrong =
            SITE.replace("tomato", "tomatoe").replace("\"°C\"", "\"psi\"").replace("kind = \"house\"", "");
        let (exit, out, err) = ran("site", wrong.as_bytes());
        assert_eq!((exit, out.as_str()), (2, ""));
        assert_eq!(err.lines().count(), 3, "{err}");
        for (line, instead) in err.lines().zip(["write °C", "write kind", "write tomato"]) {
            assert!(line.contains("garden.toml:") && line.contains(instead), "{line}");
        }
        assert!(err.lines().next().unwrap().contains("garden.toml:17:47: "), "{err}");
    }

    #[test]
    fn other_kinds_are_told_by_option() {
        let (exit, out, _) = ran("crops", include_bytes!("../../../config/crops.toml"));
        assert_eq!(exit, 0);
        assert!(out.contains("33 crops"), "{out}");
        let (exit, out, err) =
            ran("record", include_bytes!("../../../config/examples/records/tunnel-ref.toml"));
        assert_eq!(exit, 0, "{err}");
        assert!(out.contains("Ref_AirTemp.csv") && out.contains("air_temperature of probe ref"), "{out}");
        let (exit, out, err) =
            ran("ground", include_bytes!("../../../config/examples/records/tunnel-ground.toml"));
        assert_eq!(exit, 0, "{err}");
        assert!(out.contains("lettuce-2022: lettuce"), "{out}");
        assert_eq!(ran("ground", SITE.as_bytes()).0, 2, "a site file is no ground file");
    }

    #[test]
    fn a_file_that_is_no_text_or_not_there_is_told_without_a_panic() {
        let (exit, _, err) = ran("site", b"[site]\nname = \"\xff\"\n");
        assert_eq!(exit, 2);
        assert!(err.contains(":2:9: this is no UTF-8"), "{err}");
        let args = CheckArgs {
            file: "no-such.toml".into(),
            ground: false,
            record: false,
            outlook: false,
            crops: false,
        };
        let mut err = Vec::new();
        assert_eq!(run(&args, io::sink(), &mut err).unwrap(), 2);
        assert!(String::from_utf8(err).unwrap().starts_with("no-such.toml: "));
    }

    #[test]
    fn a_field_map_of_an_outlook_is_told_quantity_by_quantity_or_with_its_faults() {
        let rows = config::shipped_outlook_map("rows").unwrap();
        let (exit, out, _) = ran("outlook", rows.as_bytes());
        assert_eq!(exit, 0);
        assert!(out.contains("air_temperature in °C at /air"), "{out}");
        let (exit, _, err) = ran("outlook", rows.replace("\"/air\"", "\"air\"").as_bytes());
        assert_eq!(exit, REFUSED);
        assert!(err.contains("is no JSON pointer; write \"/air\""), "{err}");
    }
}
