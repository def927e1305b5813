//! Mistakes of form: what is said of them, and where.

use super::{LEAST, faults};

#[test]
fn thirteen_mistakes_in_one_file_are_told_at_once() {
    let text = r#"[site]
nmae = "Bindweed Yard"
latitude = 95.2
longitude = "east"
zone = "Europe/Rom"

[ledger]
commit_every_s = 0

[[bus]]
[[bus.instrument]]
kind = "sht4"
probe = "post one"

[broker]
host = "127.0.0.1"
[[broker.topic]]
filter = "garden/wall"
probe = "wall"
fields = { "air_temperature" = { pointer = "/t", unit = "%" } }

[door]
listen = "0.0.0.0:1883"
[[door.topic]]
filter = "shelf"
probe = "shelf"
bare = { quantity = "air_temperatur", unit = "°C" }

[[start.place]]
id = "house"
kind = "house"
[[start.planting]]
id = "a"
crop = "tomatos"
place = "huose"
planted_out = "4 May"
"#;
    let expected = "\
site.toml:2:1: unknown key nmae in [site]; write name
site.toml:3:12: latitude 95.2 is out of range; write -90 to 90 ° north
site.toml:4:13: longitude is text; write a number in ° east
site.toml:5:8: unknown time zone Europe/Rom; write Europe/Rome
site.toml:8:18: commit_every_s 0 is out of range; write 0.1 to 300 s
site.toml:12:8: unknown kind sht4; write sht4x
site.toml:13:9: probe \"post one\" has other signs than letters, digits, _ - . or is over 64 long; write post_one
site.toml:20:57: air_temperature is not measured in %; write °C, C, degC, °F, F, degF, K, 0.1 °C, 0.1 C, 0.01 °C or 0.01 C
site.toml:23:10: anyone on the network can reach 0.0.0.0:1883 and could tell you false readings; write a [[door.probe]] with name and password, or listen = \"127.0.0.1:1883\"
site.toml:27:21: unknown quantity air_temperatur; write air_temperature
site.toml:34:8: unknown crop tomatos; write tomato
site.toml:35:9: unknown place huose; write house
site.toml:36:15: planted_out is 4 May; write a date such as 2026-05-04";
    assert_eq!(faults(text), expected);
}

#[test]
fn an_empty_file_is_told_where_to_begin() {
    assert_eq!(faults(""), "site.toml:1:1: this file has no site; write a table [site]");
}

#[test]
fn broken_syntax_and_faults_elsewhere_are_told_together() {
    let said = faults(
        "[site]\nname = Bindweed Yard\nlatitude = 52.1\nlongitude = 5.3\nzone = \"Europe/Rome\"\nheight = 3\n",
    );
    let lines: Vec<_> = said.lines().collect();
    assert!(lines[0].starts_with("site.toml:2:"), "{said}");
    assert!(lines.contains(&"site.toml:6:1: unknown key height in [site]; leave it out"), "{said}");
    assert!(lines.iter().all(|line| line.contains("; write ") || line.contains("; leave it out")), "{said}");
}

#[test]
fn columns_count_characters_not_bytes() {
    let said =
        faults(&format!("{LEAST}[ledger]\nfolder = \"/größe\"\n\"höhe\" = 3\n[page]\n\"größe\" = 1\n"));
    assert_eq!(
        said,
        "site.toml:9:1: unknown key höhe in [ledger]; leave it out\n\
         site.toml:11:1: unknown key größe in [page]; leave it out"
    );
    let said = faults(&LEAST.replace("name = \"Bindweed Yard\"", "name = \"Größe\", x = 1"));
    assert!(said.starts_with("site.toml:3:19:"), "{said}");
}

#[test]
fn a_heading_that_is_not_closed_is_told_alone_at_its_line_with_what_to_write() {
    let garden = "\n[[start.place]]\nid = \"house\"\nkind = \"house\"\n[[start.planting]]\nid = \"a\"\ncrop = \"tomato\"\n\
                  place = \"house\"\nplanted_out = 2026-05-04\n";
    let text = format!("{LEAST}{garden}");
    for (right, wrong, said) in [
        ("[site]", "[site", "the heading [site is not closed; write [site]"),
        (
            "[[start.place]]",
            "  [[start.place] # the long one",
            "the heading [[start.place] is not closed; write [[start.place]]",
        ),
    ] {
        let text = text.replace(right, wrong);
        let (at, line) = text.lines().enumerate().find(|(_, line)| line.ends_with(wrong)).unwrap();
        let column = 1 + line.len() - line.trim_start().len();
        assert_eq!(faults(&text), format!("site.toml:{}:{column}: {said}", at + 1));
    }
}
