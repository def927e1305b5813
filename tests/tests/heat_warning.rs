//! "I heard a heat warning": the notice opens with its plan, and goes out by a real mail server and a real broker.

use glasshour::calendar::{Calendar, date};
use glasshour::clock::{Clock, SystemClock};
use serde_json::Value;
use tests::program::{Garden, Service};
use tests::servers::broker::{self, Broker};
use tests::servers::process::until;
use tests::servers::smtp::{self, Smtp, header};

/// The morning letter is half a day away at any hour of the test, so that the notice alone is mailed.
fn garden(mail: &Smtp, broker: &Broker) -> Garden {
    let hour = (SystemClock::new(None).wall_ms() / 3_600_000 + 12) % 24;
    Garden::new(&format!(
        "[letter]\nat = \"{hour:02}:00\"\n\n\
         [broker]\nhost = \"127.0.0.1\"\nport = {}\n\n\
         [[broker.topic]]\nfilter = \"yard/house\"\nprobe = \"post\"\nusual_interval_s = 60\n\
         bare = {{ quantity = \"air_temperature\", unit = \"°C\" }}\n\n\
         [mqtt_notices]\nprefix = \"yard/notices\"\n\n\
         [mail]\nhost = \"127.0.0.1\"\nport = {}\ntls = \"none-on-loopback\"\n\
         from = \"glasshour@garden.example\"\nto = [\"grower@garden.example\"]\n\n\
         [start]\n[[start.place]]\nid = \"long\"\nname = \"Long House\"\nkind = \"house\"\n\
         [[start.planting]]\nid = \"reds\"\ncrop = \"tomato\"\nplace = \"long\"\nplanted_out = 2026-05-04\n",
        broker.port, mail.port
    ))
}

/// A day so many days from now, by the garden's clock.
fn in_days(days: i64) -> String {
    date(Calendar::fixed(3_600_000).day_of(SystemClock::new(None).wall_ms()) + days)
}

fn warn(garden: &Garden, from: i64, to: i64) -> i64 {
    garden.note(&["heat-warning", "--from", &in_days(from), "--to", &in_days(to), "--about", "41"])
}

/// The open heat notice, once there is one.
fn open(service: &Service) -> Value {
    until("the notice opens", || {
        let now = service.now();
        now["open"].as_array()?.iter().find(|notice| notice["minder"] == "heat-dome").cloned()
    })
}

/// Words of the plan whose time is still to come three days ahead (common practice).
const PLAN: [&str; 4] = ["mulch", "pick everything pickable", "drip and alarm checked", "before sunrise"];

#[test]
fn a_warning_heard_becomes_a_plan_that_arrives_by_mail_and_by_mqtt() {
    if !smtp::available() || !broker::available() {
        return;
    }
    let (mail, broker) = (Smtp::start(&[]), Broker::start());
    let garden = garden(&mail, &broker);
    let mut onlooker = broker.onlooker("yard/notices/notice/#");
    let service = garden.start();
    // Four days ahead, so that midnight during the test changes no word.
    warn(&garden, 4, 7);
    let notice = open(&service);
    let step = &notice["steps"][0];
    assert_eq!(
        (&step["turn"], &step["severity"], &step["push"]),
        (&"opened".into(), &"severe".into(), &true.into())
    );
    let text = step["text"].as_str().unwrap();
    for words in PLAN.iter().chain(&["41 °C"]) {
        assert!(text.contains(words), "no {words:?} in {text}");
    }
    let letter = until("the mail arrives", || mail.letters().into_iter().next());
    let subject = format!("Severe heat, Bindweed Yard: {}", step["title"].as_str().unwrap());
    assert_eq!(header(&letter, "subject"), [subject]);
    assert_eq!(letter["readers"], serde_json::json!(["grower@garden.example"]));
    let plain = letter["plain"].as_str().unwrap();
    let joined = plain.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(joined.contains(text), "the step's own text: {plain}");
    // The whole glance: site, places and plantings.
    for words in ["Bindweed Yard", "Long House", "omato"] {
        assert!(joined.contains(words), "no {words:?} in {plain}");
    }
    let id = header(&letter, "message-id");
    assert!(id.len() == 1 && id[0].starts_with("<step-") && id[0].ends_with("@glasshour>"), "{id:?}");
    let (retained, topic, payload) = onlooker.message();
    let payload: Value = serde_json::from_str(&payload).unwrap();
    assert_eq!(retained, "0");
    assert_eq!(topic, format!("yard/notices/notice/{}", notice["id"].as_str().unwrap()));
    assert_eq!(payload["turn"], step["turn"]);
    // A topic carries nothing else, so the caution travels within the text.
    let carried = payload["text"].as_str().unwrap();
    assert!(carried.starts_with(text) && carried.contains("Local rules"), "{carried}");
    assert_eq!(format!("<{}@glasshour>", payload["id"].as_str().unwrap()), id[0], "one id for one step");

    // A restart tells nothing twice: the next step, when a warning comes closer, is the second letter.
    assert!(service.stop().success(), "{}", garden.log());
    let service = garden.start();
    // Begun yesterday, so that it is a day of heat at any hour of the test.
    warn(&garden, -1, 7);
    let letters = until("the second mail arrives", || Some(mail.letters()).filter(|all| all.len() >= 2));
    assert_eq!(letters.len(), 2);
    assert_eq!(header(&letters[1], "references"), header(&letters[0], "message-id"), "one thread");
    let notice = open(&service);
    assert_eq!(notice["severity"], "extreme");
    assert_eq!(notice["steps"].as_array().unwrap().len(), 2);
    assert!(service.stop().success(), "{}", garden.log());
}

#[test]
fn an_answer_is_kept_with_the_notice_and_a_warning_undone_closes_it() {
    let garden = Garden::new("");
    let service = garden.start();
    let entry = warn(&garden, 4, 7);
    let id = open(&service)["id"].as_str().unwrap().to_owned();
    garden.note(&["reply", &id, "on-it"]);
    until("the answer is shown", || open(&service)["on_it_ms"].as_i64());
    garden.note(&["undo", &entry.to_string()]);
    let closed = until("the notice closes", || {
        let now = service.now();
        now["closed_lately"].as_array()?.iter().find(|notice| notice["id"] == id.as_str()).cloned()
    });
    assert!(closed["closed_ms"].is_i64(), "{closed}");
    assert!(service.stop().success(), "{}", garden.log());
}

#[test]
fn a_warning_that_cannot_be_is_refused_with_words() {
    let garden = Garden::new("");
    for (from, to, about, word) in [
        (in_days(4), in_days(2), "41", "before"),
        ("tomorrow".to_owned(), in_days(2), "41", "2026-07-15"),
        (in_days(1), in_days(2), "410", "410"),
    ] {
        let output = garden.ask(&["note", "heat-warning", "--from", &from, "--to", &to, "--about", about]);
        assert_eq!(output.status.code(), Some(2), "{from} {to} {about}");
        assert!(tests::program::said(&output).contains(word), "{word}: {}", tests::program::said(&output));
    }
}
