//! What the README shows is read by the readers it speaks of: examples that no longer hold are found here.

use std::path::Path;

use agronomy::quantity::Quantity;
use config::zone::Zones;
use config::{crop_book, read_ground, read_record, read_site};

const README: &str = include_str!("../../README.md");

fn zones() -> Zones {
    Zones::in_folder(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/zones"))
}

/// The bodies of the fenced blocks with this word after the fence, in order.
fn blocks(word: &str) -> Vec<String> {
    let mut found = Vec::new();
    let mut lines = README.lines();
    while let Some(line) = lines.next() {
        if let Some(opened) = line.strip_prefix("```") {
            let body: Vec<_> = lines.by_ref().take_while(|line| !line.starts_with("```")).collect();
            if opened == word {
                found.push(body.join("\n"));
            }
        }
    }
    found
}

#[test]
fn the_first_two_blocks_are_the_two_commands() {
    let plain = blocks("");
    assert_eq!(plain[..2], ["cargo run --release -- demo", "cargo test --workspace"]);
}

#[test]
fn the_site_file_of_the_readme_is_sound_and_has_ten_lines() {
    let text = &blocks("toml")[0];
    // The zone is one of those beside the tests, so that they do not hang on the machine's.
    let read = text.replace("Europe/Amsterdam", "Europe/Rome");
    let site = read_site(&read, &crop_book().unwrap(), &zones()).unwrap_or_else(|faults| panic!("{faults}"));
    assert_eq!(text.lines().count(), 10);
    assert_eq!(site.buses[0].instruments[0].probe, "post");
}

#[test]
fn the_field_map_of_the_readme_is_sound() {
    let record = read_record(&blocks("toml")[1], &zones()).unwrap_or_else(|faults| panic!("{faults}"));
    assert_eq!(record.series.len(), 1);
    assert!(record.series[0].limits.is_some());
}

#[test]
fn the_ground_file_of_the_readme_is_sound() {
    let ground = read_ground(&blocks("toml")[2], &crop_book().unwrap(), &zones());
    let ground = ground.unwrap_or_else(|faults| panic!("{faults}"));
    assert_eq!(ground.start.plantings[0].crop, "tomato");
}

#[test]
fn the_readme_names_every_quantity_and_no_unit_that_is_not_read() {
    let rows = README.lines().skip_while(|line| !line.starts_with("| quantity | kept in")).skip(2);
    let mut named = Vec::new();
    for row in rows.take_while(|line| line.starts_with('|')) {
        let cells: Vec<_> = row.split('|').map(str::trim).collect();
        for quantity in cells[1].split(", ").map(|quantity| quantity.trim_matches('`')) {
            let known: Quantity = quantity.parse().unwrap();
            assert_eq!(known.unit(), cells[2], "{quantity} is kept in another unit");
            for unit in cells[3].split(", ") {
                assert!(known.from_unit(17.3, unit).is_ok(), "{quantity} does not arrive in {unit}");
            }
            named.push(known.as_str());
        }
    }
    let mut every = Quantity::ALL.map(Quantity::as_str).to_vec();
    named.sort_unstable();
    every.sort_unstable();
    assert_eq!(named, every);
}
