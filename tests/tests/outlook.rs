//! A forecast comes in by HTTP and by MQTT, is shown, survives a kill, and is refused with its reason when it cannot be.

use glasshour::calendar::iso;
use glasshour::clock::{Clock, SystemClock};
use serde_json::{Value, json};
use tests::program::{Garden, Service};
use tests::publisher::publish;
use tests::servers::broker::{self, Broker};
use tests::servers::http::Small;
use tests::servers::process::until;

const HOUR_MS: i64 = 3_600_000;

/// Six days of hours from the last midnight but one of UTC, in the shape of the shipped map `columns`: 15 to 35 °C.
fn forecast() -> Vec<u8> {
    let now_ms = SystemClock::new(None).wall_ms();
    let start = (now_ms / (24 * HOUR_MS) - 1) * 24 * HOUR_MS;
    let air: Vec<i64> = (0..8 * 24).map(|hour| 15 + (20 - (hour % 24 - 14_i64).abs() * 2).max(0)).collect();
    let document = json!({ "issued": iso(now_ms / 1000 * 1000),
        "outlook": { "start": iso(start), "step": "PT1H", "air": air, "humidity": vec![50; 192],
                     "wind": vec![2; 192], "sun": vec![300; 192], "rain": vec![0; 192] } });
    document.to_string().into_bytes()
}

fn yard(outlook: &str) -> Garden {
    Garden::new(&format!(
        "{outlook}\n[start]\n[[start.place]]\nid = \"yard\"\nname = \"The Yard\"\nkind = \"outdoors\"\n\
         [[start.place]]\nid = \"long\"\nname = \"Long House\"\nkind = \"house\"\n"
    ))
}

fn by_address(server: &Small) -> Garden {
    yard(&format!("[outlook]\nurl = \"{}/hours.json?key=7\"\nmap = \"columns\"\n", server.url()))
}

/// What is expected outside, once a forecast was taken in.
fn outside(service: &Service) -> Value {
    until("a forecast is taken in", || {
        let now = service.now();
        (now["outlook"]["fresh"] == true).then(|| now["outlook"].clone())
    })
}

fn assert_is_shown(service: &Service) {
    let outlook = outside(service);
    let days = outlook["outside"].as_array().unwrap();
    assert!(days.len() >= 5, "{outlook}");
    for day in &days[1..] {
        assert_eq!((&day["high"]["middle_c"], &day["origin"]), (&json!(35.0), &json!("forecast")), "{day}");
        assert_eq!(day["low"]["middle_c"], 15.0, "{day}");
    }
    let places = outlook["places"].as_array().unwrap();
    assert_eq!(places.len(), 1, "nothing is told of a house whose own way is not known");
    let (status, page) = service.get("/ahead");
    assert!(status == 200 && page.contains("The Yard") && page.contains("Forecast of"), "{page}");
    assert!(!page.contains("cannot see a heat wave coming"));
}

#[test]
fn a_forecast_from_an_address_is_shown_and_known_after_a_kill_when_the_service_is_gone() {
    let body = forecast();
    let server = Small::start(move |request| {
        assert_eq!((request.method.as_str(), request.path.as_str()), ("GET", "/hours.json?key=7"));
        Some((200, String::new(), body.clone()))
    });
    let garden = by_address(&server);
    let service = garden.start();
    assert_is_shown(&service);
    assert_eq!(server.asked(), 1);
    service.kill();
    drop(server);
    assert_is_shown(&garden.start());
}

#[test]
fn a_forecast_on_a_topic_of_the_broker_is_shown() {
    if !broker::available() {
        return;
    }
    let broker = Broker::start();
    let garden = yard(&format!(
        "[broker]\nhost = \"127.0.0.1\"\nport = {}\n[outlook]\ntopic = \"yard/outlook\"\nmap = \"columns\"\n",
        broker.port
    ));
    let service = garden.start();
    let body = String::from_utf8(forecast()).unwrap();
    until("the topic is heard", || {
        publish(broker.port, [("yard/outlook".to_owned(), body.clone())]);
        (service.now()["outlook"]["fresh"] == true).then_some(())
    });
    assert_is_shown(&service);
}

#[test]
fn a_forecast_that_cannot_be_is_shown_as_doubtful_and_the_page_says_that_it_cannot_see() {
    let server = Small::start(|_| {
        let document = String::from_utf8(forecast()).unwrap().replacen("[15,", "[1e308,", 1);
        Some((200, String::new(), document.into_bytes()))
    });
    let service = by_address(&server).start();
    let away = until("the doubt is said", || {
        let away = service.now()["board"]["away"].as_array()?.clone();
        away.iter().find_map(|line| line.as_str()?.contains("outlook doubtful").then(|| line.to_string()))
    });
    assert!(away.contains("air_temperature of 1") && away.contains("cannot be"), "{away}");
    let (_, page) = service.get("/ahead");
    assert!(page.contains("No forecast: this board cannot see a heat wave coming."));
    assert!(page.contains("utlook doubtful"), "{page}");
}
