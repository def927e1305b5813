//! The commented sample, and that all of it stands at its defaults.

use config::{crop_book, read_site};

use super::{LEAST, read, zones};

const SAMPLE: &str = include_str!("../../examples/site.toml");

/// The sample with every optional line taken in. Its zone is one of those beside the tests.
fn whole_sample() -> String {
    let uncommented: Vec<_> = SAMPLE
        .lines()
        .map(|line| match line.strip_prefix('#') {
            Some(rest) if rest.starts_with(|c: char| c.is_ascii_lowercase() || c == '[') => rest,
            _ => line,
        })
        .collect();
    uncommented.join("\n").replace("Europe/Amsterdam", "Europe/Rome")
}

#[test]
fn the_sample_as_it_stands_says_no_more_than_the_defaults() {
    let sample = read(&SAMPLE.replace("Europe/Amsterdam", "Europe/Rome"));
    let least = read(&format!(
        "{LEAST}
        [[start.place]]
        id = \"long-house\"
        name = \"Long House\"
        kind = \"house\"
        [[start.planting]]
        id = \"tomatoes\"
        crop = \"tomato\"
        place = \"long-house\"
        planted_out = 2026-05-04
        [[start.probe]]
        probe = \"post\"
        place = \"long-house\""
    ));
    assert_eq!(sample, least);
}

/// What has no default in the sample, and nothing else of it.
const LEAN: &str = r#"
[clock]
chip = "rtc0"
vouched_by = "system"
[[bus]]
[[bus.instrument]]
kind = "sht4x"
probe = "post"
[broker]
host = "127.0.0.1"
user = "glasshour"
password_file = "/etc/glasshour/broker.password"
[[broker.topic]]
filter = "garden/wall/air"
probe = "wall"
fields = { air_temperature = { pointer = "/t", unit = "°C" },
relative_humidity = { pointer = "/rh", unit = "%" } }
time = { pointer = "/at", format = "unix_s" }
number = { pointer = "/n" }
[[broker.topic]]
filter = "garden/pots/moisture"
probe = "pot"
bare = { quantity = "soil_moisture", unit = "%" }
[door]
[[door.probe]]
name = "shelf"
password = "seven lean cabbages"
[[door.topic]]
filter = "shelf/air"
probe = "shelf"
bare = { quantity = "air_temperature", unit = "°C" }
[outlook]
url = "https://forecast.garden.example/hours.json"
map = "rows"
usual_high_c = [5.5, 6.0, 10.0, 14.5, 18.0, 21.0, 23.0, 23.0, 19.0, 14.0, 9.0, 6.0]
usual_low_c = [0.5, 0.5, 2.0, 4.0, 8.0, 11.0, 13.0, 12.5, 9.5, 6.5, 3.5, 1.5]
[board]
[mail]
host = "mail.garden.example"
user = "glasshour"
password_file = "/etc/glasshour/mail.password"
from = "glasshour@garden.example"
to = ["you@garden.example"]
then_to = ["neighbour@garden.example"]
[mqtt_notices]
[web_push]
contact = "mailto:you@garden.example"
own_service = "http://127.0.0.1:8090/"
[webhook]
url = "https://hook.garden.example/notices"
secret_file = "/etc/glasshour/webhook.secret"
ca = "/etc/glasshour/authority.pem"
[mirror]
url = "http://127.0.0.1:8428"
token_file = "/etc/glasshour/mirror.token"
[warnings]
url = "https://warnings.example/feed.atom"
also_from = ["https://files.warnings.example"]
ca = "/etc/glasshour/ca.pem"
topic = "garden/warnings"
geocodes = { DISTRICT = ["1234", "1235"] }
language = "en"
heat_events = ["heat", "high temperature"]
frost_events = ["frost", "freeze"]
[page]
address = "http://garden.local:8087"
[picture]
put = "https://place.example/garden.html"
token_file = "/etc/glasshour/picture.token"
[life_sign]
url = "https://watch.example/garden"
[[start.place]]
id = "long-house"
name = "Long House"
kind = "house"
[[start.planting]]
id = "tomatoes"
crop = "tomato"
place = "long-house"
variety = "Old Red"
container_l = 10
sown = 2026-03-01
planted_out = 2026-05-04
ended = 2026-10-31
figures.heat_rule.day_severe.threshold = 35.0
[[start.probe]]
probe = "post"
place = "long-house"
dry_mark = 12
wet_mark = 34
"#;

#[test]
fn every_optional_setting_of_the_sample_stands_at_its_default() {
    let whole = read(&whole_sample());
    let lean = read(&format!("{LEAST}{LEAN}"));
    assert_eq!(whole, lean);
    assert_eq!(whole.site.standard_offset_s, 3600);
    assert!(whole.clock_vouched_by_system && whole.door.is_some() && whole.mirror.is_some());
}

#[test]
fn passwords_are_not_printed() {
    let shown = format!(
        "{:?}",
        read(
            &whole_sample()
                .replace("password_file = \"/etc/glasshour/broker", "password = \"/etc/glasshour/broker")
        )
    );
    assert!(!shown.contains("cabbages") && !shown.contains("broker.password"), "{shown}");
    assert!(shown.contains("shelf"));
}

#[test]
fn no_text_makes_the_reader_panic() {
    let (crops, zones) = (crop_book().unwrap(), zones());
    let whole = whole_sample();
    let mut refused = 0;
    let mut attempt = |text: &str| {
        if let Err(faults) = read_site(text, &crops, &zones) {
            assert!(!faults.list.is_empty(), "{text}");
            assert_eq!(faults.to_string().lines().count(), faults.list.len(), "{faults}");
            refused += 1;
        }
    };
    for (at, _) in whole.char_indices().step_by(7) {
        attempt(&whole[..at]);
        for sign in ["\"", "[", "=", "\n", "é", "\0", "{", "'''\n", "-1e999"] {
            attempt(&format!("{}{sign}{}", &whole[..at], &whole[at..]));
        }
    }
    attempt(&format!("a = {}", "[".repeat(100_000)));
    attempt("[site]\nname = \"\"\"two\nlines\"\"\"\nzone = \"\"\"two\nlines\"\"\"\n");
    assert!(refused > 1000, "{refused}");
}
