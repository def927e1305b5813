//! Field maps of outlooks: the two that are shipped, and what is said of maps with mistakes.

use std::path::Path;

use agronomy::quantity::Quantity;
use config::outlook::{Layout, OutlookMap, Step, Times};
use config::zone::Zones;
use config::{read_outlook_map, shipped_outlook_map};

fn zones() -> Zones {
    Zones::in_folder(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/zones"))
}

fn shipped(name: &str) -> OutlookMap {
    let text = shipped_outlook_map(name).unwrap();
    read_outlook_map(text, &zones()).unwrap_or_else(|faults| panic!("{faults}"))
}

const LEAST: &str = "layout = \"columns\"\n[time]\nat = \"/at\"\n[[value]]\nquantity = \"air_temperature\"\npointer = \"/t\"\nunit = \"K\"\n";

fn faults(text: &str) -> String {
    read_outlook_map(text, &zones()).unwrap_err().to_string()
}

#[test]
fn the_shipped_maps_are_sound_and_point_to_all_that_an_outlook_may_tell() {
    let (rows, columns) = (shipped("rows"), shipped("columns"));
    assert_eq!(rows.layout, Layout::Rows("/hours".to_owned()));
    assert_eq!(rows.times, Times::Stamps("/at".to_owned()));
    assert_eq!(rows.place, Some(("/latitude".to_owned(), "/longitude".to_owned())));
    assert_eq!(columns.layout, Layout::Columns);
    let step = Step::At("/outlook/step".to_owned());
    assert_eq!(columns.times, Times::Even { start: "/outlook/start".to_owned(), step });
    for map in [&rows, &columns] {
        let told: Vec<Quantity> = map.values.iter().map(|value| value.measured.quantity).collect();
        assert_eq!(told, config::outlook::QUANTITIES);
        assert_eq!((map.issued.as_deref(), &map.clock), (Some("/issued"), &None));
    }
    assert_eq!(shipped_outlook_map("../secret"), None);
}

#[test]
fn a_map_may_name_the_clock_of_stamps_that_bear_none_and_a_fixed_step() {
    let text = LEAST.replace("at = \"/at\"", "start = \"/from\"\nevery = \"PT3H\"\nzone = \"Europe/Rome\"");
    let map = read_outlook_map(&text, &zones()).unwrap();
    let step = Step::Fixed(3 * 3_600_000);
    assert_eq!(map.times, Times::Even { start: "/from".to_owned(), step });
    assert_eq!(map.clock.unwrap().name(), "Europe/Rome");
}

#[test]
fn every_mistake_is_told_with_what_to_write() {
    for (from, to, said) in [
        ("layout = \"columns\"\n", "", "has no layout; write layout = \"rows\""),
        ("\"columns\"", "\"rows\"", "has no rows; write rows = \"/hours\""),
        ("layout = \"columns\"", "layout = \"columns\"\nrows = \"/r\"", "columns have no list of rows"),
        ("\"columns\"", "\"colums\"", "unknown layout colums; write columns"),
        ("at = \"/at\"", "", "has no at; write at = \"/at\", or start"),
        ("at = \"/at\"", "start = \"/s\"", "has no every; write every = \"PT1H\", or step = \"/step\""),
        (
            "at = \"/at\"",
            "start = \"/s\"\nevery = \"1h\"",
            "every \"1h\" is no length of time; write it as \"PT1H\"",
        ),
        ("at = \"/at\"", "at = \"/at\"\nevery = \"PT1H\"", "at and every are both there"),
        ("at = \"/at\"", "start = \"/s\"\nstep = \"/p\"\nevery = \"PT1H\"", "step and every are both there"),
        ("at = \"/at\"", "at = \"at\"", "pointer \"at\" is no JSON pointer; write \"/at\""),
        ("at = \"/at\"", "at = \"/at\"\noffset = \"one\"", "offset one is no offset; write it as \"+01:00\""),
        (
            "at = \"/at\"",
            "at = \"/at\"\nzone = \"Europe/Rom\"",
            "unknown time zone Europe/Rom; write Europe/Rome",
        ),
        ("\"air_temperature\"", "\"wind\"", "wind is not measured in K"),
        (
            "\"air_temperature\"\npointer = \"/t\"\nunit = \"K\"",
            "\"wind\"\npointer = \"/t\"\nunit = \"m/s\"",
            "no value tells the air temperature",
        ),
        (
            "\"air_temperature\"\npointer = \"/t\"\nunit = \"K\"",
            "\"co2\"\npointer = \"/t\"\nunit = \"ppm\"",
            "an outlook tells no co2; write air_temperature",
        ),
        ("pointer = \"/t\"", "", "has no pointer; write pointer = \"/air\""),
        ("pointer = \"/t\"", "pointr = \"/t\"", "unknown key pointr"),
        (
            "[time]",
            "[place]\nlatitude = \"/lat\"\n[time]",
            "has no longitude; write longitude = \"/longitude\"",
        ),
    ] {
        let text = LEAST.replacen(from, to, 1);
        assert_ne!(text, LEAST, "{from}");
        let faults = faults(&text);
        assert!(faults.contains(said), "{text}\n{faults}");
    }
    let twice = format!("{LEAST}[[value]]\nquantity = \"air_temperature\"\npointer = \"/u\"\nunit = \"K\"\n");
    assert!(faults(&twice).contains("air_temperature is told twice"));
}
