//! `glasshour check`: everything that is wrong with a file, or what was understood of it.

mod buses;
pub(super) mod files;
mod live;

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use config::site::Site;
use config::zone::Zones;
use config::{
    Fault, Faults, OutlookMap, crop_book, read_crop_book, read_ground, read_outlook_map, read_record,
    read_site,
};

use super::sheet::{REFUSED, unreadable, until_closed};
use super::summary;
use crate::clock::{Clock, SystemClock};
use crate::outlook;
use crate::service::settings;

/// Check a file before anything is started from it.
///
/// Prints every fault as FILE:LINE:COLUMN with what to write instead, and exits with 2; or says what was
/// understood, and exits with 0. The secrets and certificates that a site file names are opened too; with --live also
/// every bus, broker and address, and the exit code is 1 where one of them fails.
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
    /// A forecast as the service writes it, to try the field map on: what was read of it is told too.
    #[arg(long, value_name = "FORECAST", requires = "outlook")]
    pub sample: Option<PathBuf>,
    /// It is a crop book.
    #[arg(long)]
    pub crops: bool,
    /// Opens each bus, the broker, the mail account and every address as the service would, and says which fails and
    /// why. No notice is sent.
    #[arg(long, conflicts_with_all = ["ground", "record", "outlook", "crops"])]
    pub live: bool,
}

/// Runs the command.
///
/// # Errors
///
/// Writing `out` or `err`; that the reader of `out` went away is no error.
pub fn run(args: &CheckArgs, mut out: impl Write, mut err: impl Write) -> io::Result<u8> {
    let bytes = match std::fs::read(&args.file) {
        Ok(bytes) => bytes,
        Err(error) => return unreadable(&mut err, &args.file, &error),
    };
    let understood = match text(&bytes) {
        Ok(text) => understood(args, text),
        Err(faults) => Err(named(faults, &args.file)),
    };
    match understood {
        Ok(Understood { summary, site }) => {
            until_closed(write(&mut out, &summary).and_then(|good| match site {
                Some(site) if args.live => live::run(&site, &mut out),
                _ => Ok(good),
            }))
        }
        Err(faults) => {
            writeln!(err, "{faults}")?;
            Ok(REFUSED)
        }
    }
}

fn named(faults: Faults, file: &Path) -> String {
    faults.named(&file.display().to_string()).to_string()
}

fn write(mut out: impl Write, summary: &str) -> io::Result<u8> {
    out.write_all(summary.as_bytes())?;
    out.flush()?;
    Ok(0)
}

/// What was understood of a file.
struct Understood {
    summary: String,
    /// Where it is a site file.
    site: Option<Box<Site>>,
}

fn understood(args: &CheckArgs, text: &str) -> Result<Understood, String> {
    if args.crops || args.record || args.outlook || args.ground {
        return of_another_kind(args, text).map(|summary| Understood { summary, site: None });
    }
    let in_file = |faults| named(faults, &args.file);
    let crops = crop_book().map_err(in_file)?;
    let site = read_site(text, &crops, &Zones::system()).map_err(in_file)?;
    let warnings = files::files(&site, text).map_err(|list| in_file(Faults { file: String::new(), list }))?;
    let map = outlook_map(&site, text).map_err(|faults| match faults {
        // What is wrong with the map itself bears the map's own name.
        MapFault::Within(faults) => faults,
        MapFault::Unreadable(fault) => in_file(Faults { file: String::new(), list: vec![fault] }),
    })?;
    let warnings = buses::notes(&site.buses).into_iter().chain(warnings).map(|warning| warning + "\n");
    let summary = summary::site(&site, map.as_ref()) + &warnings.collect::<String>();
    Ok(Understood { summary, site: Some(Box::new(site)) })
}

/// What was understood of a file that is no site file.
fn of_another_kind(args: &CheckArgs, text: &str) -> Result<String, String> {
    let zones = Zones::system();
    let in_file = |faults| named(faults, &args.file);
    if args.crops {
        return read_crop_book(text).map(|book| summary::crops(&book)).map_err(in_file);
    }
    if args.record {
        return read_record(text, &zones).map(|record| summary::record(&record)).map_err(in_file);
    }
    if args.outlook {
        let map = read_outlook_map(text, &zones).map_err(in_file)?;
        let tried = args.sample.as_deref().map(|sample| tried(&map, sample)).transpose()?;
        return Ok(summary::outlook(&map) + &tried.unwrap_or_default());
    }
    let crops = crop_book().map_err(in_file)?;
    read_ground(text, &crops, &zones).map(|ground| summary::ground(&ground)).map_err(in_file)
}

/// What was read of a sample by a map, in words.
fn tried(map: &OutlookMap, sample: &Path) -> Result<String, String> {
    let name = sample.display();
    let body = std::fs::read(sample).map_err(|error| format!("{name}: {error}"))?;
    let now_ms = SystemClock::new(None).wall_ms();
    let read = outlook::sample::sample(&body, map, now_ms).map_err(|why| format!("{name}: {why}"))?;
    Ok(summary::sample(map, &read))
}

/// What is wrong with the map that a site file names.
pub(super) enum MapFault {
    /// The map is there, and these are its faults, by its name.
    Within(String),
    /// It is not there: where the site file names it.
    Unreadable(Fault),
}

/// The field map that a site file names: what would only be found missing at the start.
pub(super) fn outlook_map(site: &Site, text: &str) -> Result<Option<OutlookMap>, MapFault> {
    let Some(feed) = site.outlook.as_ref().and_then(|outlook| outlook.feed.as_ref()) else {
        return Ok(None);
    };
    if config::shipped_outlook_map(&feed.map).is_none()
        && let Err(error) = std::fs::metadata(&feed.map)
    {
        let (line, column) = files::place(text, "outlook", "map");
        let message = format!(
            "map {}: {error}; write \"rows\", \"columns\" or the path of a field map, from the folder the \
             program is started in",
            feed.map
        );
        return Err(MapFault::Unreadable(Fault { line, column, message }));
    }
    settings::outlook_map(feed).map(Some).map_err(MapFault::Within)
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
            sample: None,
            crops: kind == "crops",
            live: false,
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
    fn a_map_whose_rows_name_their_own_probe_is_not_called_empty() {
        let (exit, out, err) = ran("record", include_bytes!("../../../config/examples/records/export.toml"));
        assert_eq!((exit, err.as_str()), (0, ""));
        assert!(out.contains("names its probe") && !out.contains("0 series"), "{out}");
    }

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
            sample: None,
            crops: false,
            live: false,
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

    #[test]
    fn the_map_that_a_site_file_names_is_read_too_and_what_comes_in_is_named() {
        let outlook = "[outlook]\nurl = \"http://127.0.0.1:9/hours.json\"\nmap = \"MAP\"\n\n[warnings]\n\
                       url = \"http://127.0.0.1:9/feed\"\n\n[board]\nevery_s = 300\n";
        let with = |map: &str| format!("{SITE}\n{}", outlook.replace("MAP", map));
        let (exit, out, err) = ran("site", with("rows").as_bytes());
        assert_eq!((exit, err.as_str()), (0, ""));
        for part in [
            "Outlook from http://127.0.0.1:9/hours.json, every 60 min, by the map rows:",
            "    air_temperature in °C at /air",
            "Public warnings from http://127.0.0.1:9/feed, every ",
            "The board reads itself every 300 s",
            "Bindweed Yard, 52.10° N, 5.30° E",
        ] {
            assert!(out.contains(part), "no {part:?} in:\n{out}");
        }
        assert!(out.lines().last().unwrap().starts_with("Off: broker, mail"), "{out}");
        let (exit, out, err) = ran("site", with("row").as_bytes());
        assert_eq!((exit, out.as_str()), (REFUSED, ""));
        let line = with("row").lines().position(|line| line.starts_with("map")).unwrap() + 1;
        assert!(err.contains(&format!(":{line}:1: map row: ")) && err.contains("write \"rows\""), "{err}");
        let folder = tempfile::tempdir().unwrap();
        let bad = folder.path().join("mine.toml");
        std::fs::write(&bad, config::shipped_outlook_map("rows").unwrap().replace("\"/air\"", "\"air\""))
            .unwrap();
        let (exit, _, err) = ran("site", with(bad.to_str().unwrap()).as_bytes());
        assert_eq!(exit, REFUSED);
        assert!(err.contains("mine.toml:") && err.contains("write \"/air\""), "{err}");
    }

    #[test]
    fn a_map_is_tried_on_a_sample_and_what_it_reads_or_misses_is_told() {
        let folder = tempfile::tempdir().unwrap();
        let file = |name: &str, text: &str| {
            let path = folder.path().join(name);
            std::fs::write(&path, text).unwrap();
            path
        };
        let map = file("map.toml", config::shipped_outlook_map("rows").unwrap());
        let hours: Vec<String> =
            (10..24).map(|hour| format!(r#"{{"at":"2020-06-01T{hour}:00Z","air":{hour}.5}}"#)).collect();
        let all = format!(
            r#"{{"issued":"2020-06-01T10:00Z","latitude":1,"longitude":2,"hours":[{}]}}"#,
            hours.join(",")
        );
        let tried = |sample: &str| {
            let args = CheckArgs {
                file: map.clone(),
                ground: false,
                record: false,
                outlook: true,
                sample: Some(file("sample.json", sample)),
                crops: false,
                live: false,
            };
            let (mut out, mut err) = (Vec::new(), Vec::new());
            let exit = run(&args, &mut out, &mut err).unwrap();
            (exit, String::from_utf8(out).unwrap(), String::from_utf8(err).unwrap())
        };
        let (exit, out, err) = tried(&all);
        assert_eq!((exit, err.as_str()), (0, ""));
        assert!(out.contains("The sample tells 14 hours, 2020-06-01T10:00Z to 2020-06-01T23:00Z:"), "{out}");
        assert!(out.contains("  air_temperature: 10.5 to 23.5 °C"), "{out}");
        assert!(out.contains("  wind: nothing at "), "{out}");
        let (exit, _, err) = tried(&all.replace("\"air\"", "\"warmth\""));
        assert_eq!(exit, REFUSED);
        assert!(err.contains("sample.json: there is no air temperature at \"/air\""), "{err}");
        // As the service says it of a forecast.
        let (exit, _, err) = tried(&all.replace("\"latitude\"", "\"lat\""));
        assert_eq!(exit, REFUSED);
        assert!(err.contains("sample.json: there is no latitude at \"/latitude\""), "{err}");
    }
}
