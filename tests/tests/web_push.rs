//! The web push courier against a push service on this machine. What came is decrypted, and the token beside it
//! verified, by another implementation than ours. The way over a real push service is not run here.

use std::sync::Arc;

use glasshour::clock::FastClock;
use glasshour::couriers::outbox::Delivery;
use glasshour::couriers::runner::Courier;
use glasshour::couriers::web_push::vapid::{Vapid, new_key};
use glasshour::couriers::web_push::{Settings, WebPush};
use glasshour::entry::{Entry, Note};
use glasshour::keeper::event::Event;
use serde_json::{Value, json};
use tests::program::{Garden, Service, post};
use tests::servers::http::{HANG_UP, SILENT};
use tests::servers::process::until;
use tests::servers::push::{self, Phone, field};
use tests::stand_in::{NOON_MS, StandIn, step, waiting};

const CONTACT: &str = "mailto:grower@garden.example";

/// A phone of that service, as the ledger has it.
fn subscribed(id: i64, name: &str, service: &push::Service, keys: &Phone) -> Entry {
    let note = Note::Phone {
        phone: name.to_owned(),
        name: format!("{name}'s phone"),
        endpoint: format!("{}/to/{name}", service.origin()),
        p256dh: keys.p256dh().to_owned(),
        auth: keys.auth().to_owned(),
    };
    Entry { id, at_ms: NOON_MS, from_ms: NOON_MS, note }
}

/// A courier for these phones, and the keeper it speaks to.
fn courier(own_service: Option<String>, phones: Vec<Entry>) -> (WebPush, StandIn) {
    let clock = Arc::new(FastClock::new(NOON_MS, 1.0));
    let keeper = StandIn::new(vec![], clock.clone());
    let settings = Settings { contact: CONTACT.to_owned(), own_service };
    let vapid = Vapid::new(&new_key().unwrap(), CONTACT.to_owned()).unwrap();
    let read = move |after| Ok(phones.iter().filter(|entry| entry.id > after).cloned().collect());
    let handle = keeper.handle.clone();
    let courier = WebPush::new(&settings, vapid, "e5".to_owned(), Box::new(read), handle, clock).unwrap();
    (courier, keeper)
}

fn first_step() -> glasshour::couriers::outbox::Waiting {
    waiting(41, 41, step("too-hot.house.1", 1, "Open the far door", "Tomatoes: 36.1 °C, limit 35."))
}

fn paths(service: &push::Service) -> Vec<String> {
    service.came().into_iter().map(|request| request.path).collect()
}

#[tokio::test]
async fn a_step_arrives_encrypted_for_the_phone_and_signed_by_us() {
    if !push::available() {
        return;
    }
    let (service, keys) = (push::Service::start(|_, _| (201, "Location: /m/1\r\n")), Phone::new());
    let (courier, _keeper) = courier(Some(service.origin()), vec![subscribed(1, "ann", &service, &keys)]);
    assert_eq!(courier.carry(&first_step()).await, Delivery::Sent);
    let came = service.came();
    let [pushed] = came.as_slice() else { panic!("{} messages", came.len()) };
    assert_eq!((pushed.method.as_str(), pushed.path.as_str()), ("POST", "/to/ann"));
    // RFC 8030, 5.2 and 5.3; RFC 8188, 2. Six hours of life, of which a moment is over.
    assert_eq!(field(pushed, "content-encoding"), Some("aes128gcm"));
    assert_eq!(field(pushed, "urgency"), Some("high"));
    let life: i64 = field(pushed, "ttl").unwrap().parse().unwrap();
    assert!((21_000..=21_600).contains(&life), "{life}");
    assert_eq!(field(pushed, "topic").unwrap().len(), 32);
    let read = keys.read(pushed).unwrap();
    assert_eq!(
        serde_json::from_str::<Value>(read["text"].as_str().unwrap()).unwrap(),
        json!({
            "id": "step-41.e5", "notice": "too-hot.house.1", "step": 1, "title": "Open the far door",
            "text": "Tomatoes: 36.1 °C, limit 35.", "severity": "severe", "loud": true,
            "buttons": ["on-it", "later"],
        })
    );
    // RFC 8292, 2: for whom, whom to write to, and less than 24 hours.
    assert_eq!((&read["claims"]["aud"], &read["claims"]["sub"]), (&json!(service.origin()), &json!(CONTACT)));
    let until_s = read["claims"]["exp"].as_i64().unwrap() - NOON_MS / 1000;
    assert!((1..=12 * 3600 + 60).contains(&until_s), "{until_s}");
    // Another phone reads nothing in it.
    assert!(Phone::new().read(pushed).is_err());
}

#[tokio::test]
async fn k1_after_a_lost_reply_the_same_step_comes_under_the_same_topic_and_id() {
    if !push::available() {
        return;
    }
    let service = push::Service::start(|nth, _| if nth == 0 { (HANG_UP, "") } else { (201, "") });
    let keys = Phone::new();
    let (courier, _keeper) = courier(Some(service.origin()), vec![subscribed(1, "ann", &service, &keys)]);
    let lost = courier.carry(&first_step()).await;
    assert!(matches!(&lost, Delivery::Later { why, .. } if why.contains("may have arrived")), "{lost:?}");
    assert_eq!(courier.carry(&first_step()).await, Delivery::Sent);
    let came = service.came();
    assert_eq!(came.len(), 2);
    assert_eq!(field(&came[0], "topic"), field(&came[1], "topic"));
    assert_eq!(keys.told(&came[0]), keys.told(&came[1]));
    // But never the same bytes: salt and key are new each time.
    assert_ne!(came[0].body, came[1].body);
}

#[tokio::test]
async fn k2_a_phone_that_is_gone_is_dropped_by_an_entry_and_the_other_is_told() {
    if !push::available() {
        return;
    }
    for status in [404, 410] {
        let service = push::Service::start(move |_, path| (if path == "/to/ann" { status } else { 201 }, ""));
        let (ann, ben) = (Phone::new(), Phone::new());
        let phones = vec![subscribed(1, "ann", &service, &ann), subscribed(2, "ben", &service, &ben)];
        let (courier, mut keeper) = courier(Some(service.origin()), phones);
        let errand = first_step();
        let (delivery, dropped) = tokio::join!(courier.carry(&errand), async {
            let Event::Note { note, answer, .. } = keeper.next().await else { panic!("no note") };
            answer.send(Ok(3)).unwrap();
            note
        });
        assert_eq!(delivery, Delivery::Sent);
        let Note::PhoneGone { phone, why } = dropped else { panic!("{dropped:?}") };
        assert!(phone == "ann" && why.contains(&status.to_string()), "{phone}: {why}");
    }
}

#[tokio::test]
async fn k3_the_wish_to_be_left_alone_is_obeyed_and_those_who_took_it_are_not_told_again() {
    if !push::available() {
        return;
    }
    let service = push::Service::start(|_, path| match path {
        "/to/ann" => (429, "Retry-After: 120\r\n"),
        _ => (201, ""),
    });
    let (ann, ben) = (Phone::new(), Phone::new());
    let phones = vec![subscribed(1, "ann", &service, &ann), subscribed(2, "ben", &service, &ben)];
    let (courier, _keeper) = courier(Some(service.origin()), phones);
    let later = courier.carry(&first_step()).await;
    assert!(
        matches!(&later, Delivery::Later { why, after_ms: Some(120_000) } if why.contains("ann's phone")),
        "{later:?}"
    );
    // Asked again too early, by whomever: it is not called, and nobody else is told twice.
    let later = courier.carry(&first_step()).await;
    assert!(matches!(&later, Delivery::Later { after_ms: Some(110_000..=120_000), .. }), "{later:?}");
    let mut came = paths(&service);
    came.sort();
    assert_eq!(came, ["/to/ann", "/to/ben"]);
    // A newer step is news to the one that took the older.
    let newer = waiting(57, 41, step("too-hot.house.1", 2, "Net on", "Now 38.2 °C."));
    courier.carry(&newer).await;
    assert_eq!(paths(&service).last().unwrap(), "/to/ben");
    assert_eq!(ben.told(service.came().last().unwrap())["step"], 2);
}

#[tokio::test]
async fn k3_what_is_out_of_order_is_asked_later_and_what_refuses_is_not() {
    if !push::available() {
        return;
    }
    let cases =
        [(500, true), (503, true), (401, true), (403, true), (413, false), (400, false), (307, false)];
    for (status, again) in cases {
        let service = push::Service::start(move |_, _| (status, "Location: /elsewhere\r\n"));
        let keys = Phone::new();
        let (courier, _keeper) = courier(Some(service.origin()), vec![subscribed(1, "ann", &service, &keys)]);
        let delivery = courier.carry(&first_step()).await;
        assert_eq!(matches!(delivery, Delivery::Later { .. }), again, "{status}: {delivery:?}");
        assert!(delivery != Delivery::Sent, "{status}");
        assert_eq!(paths(&service), ["/to/ann"], "{status}: no redirect is followed");
    }
}

#[tokio::test]
async fn t13_an_address_inside_the_house_is_not_called_unless_the_site_file_names_it() {
    if !push::available() {
        return;
    }
    let (service, keys) = (push::Service::start(|_, _| (201, "")), Phone::new());
    for named in [None, Some("http://127.0.0.1:9".to_owned())] {
        let (courier, _keeper) = courier(named, vec![subscribed(1, "ann", &service, &keys)]);
        let delivery = courier.carry(&first_step()).await;
        assert!(matches!(delivery, Delivery::Later { .. }), "{delivery:?}");
        assert_eq!(paths(&service), [""; 0]);
    }
}

#[tokio::test]
async fn without_a_phone_it_says_where_one_is_subscribed() {
    let (courier, _keeper) = courier(None, vec![]);
    let delivery = courier.carry(&first_step()).await;
    assert!(matches!(&delivery, Delivery::Never { why } if why.contains("page Ground")), "{delivery:?}");
    assert!(courier.needs_the_time());
}

/// A garden with web push; the morning letter plays no part.
fn garden(service: &push::Service) -> Garden {
    Garden::new(&format!(
        "[web_push]\ncontact = \"{CONTACT}\"\nown_service = \"{}\"\n\n\
         [start]\n[[start.place]]\nid = \"long\"\nname = \"Long House\"\nkind = \"house\"\n\
         [[start.planting]]\nid = \"reds\"\ncrop = \"tomato\"\nplace = \"long\"\nplanted_out = 2026-05-04\n",
        service.origin()
    ))
}

/// Has a phone subscribe as the page does; the number of the entry.
fn subscribe(program: &Service, name: &str, service: &push::Service, keys: &Phone) -> i64 {
    let note = serde_json::to_value(subscribed(1, name, service, keys).note).unwrap();
    let (status, body) = post(program.address(), "/api/note", &json!({ "note": note })).unwrap();
    assert_eq!(status, 200, "{body}");
    serde_json::from_str::<Value>(&body).unwrap()["entry"].as_i64().unwrap()
}

/// A warning heard makes a notice that may push at any hour.
fn warn(garden: &Garden) {
    let now_ms = glasshour::clock::Clock::wall_ms(&glasshour::clock::SystemClock::new(None));
    let day = |days: i64| {
        let calendar = glasshour::calendar::Calendar::fixed(3_600_000);
        glasshour::calendar::date(calendar.day_of(now_ms) + days)
    };
    garden.note(&["heat-warning", "--from", &day(4), "--to", &day(6), "--about", "41"]);
}

#[test]
fn k1_killed_between_sending_and_marking_the_program_sends_the_same_step_again_and_a_gone_phone_is_dropped() {
    if !push::available() {
        return;
    }
    // The first reply never comes back; ben's phone is gone from the start.
    let service = push::Service::start(|_, path| if path == "/to/ben" { (410, "") } else { (HANG_UP, "") });
    let garden = garden(&service);
    let (ann, ben) = (Phone::new(), Phone::new());
    let program = garden.start();
    subscribe(&program, "ann", &service, &ann);
    subscribe(&program, "ben", &service, &ben);
    let board = program.now()["board"].clone();
    assert_eq!(board["phones"].as_array().unwrap().len(), 2);
    assert_eq!(board["push_key"].as_str().unwrap().len(), 87);
    warn(&garden);
    let first = until("ann is told", || service.came().into_iter().find(|it| it.path == "/to/ann"));
    let gone = until("ben is dropped", || {
        let board = program.now()["board"].clone();
        board["phones_gone"].as_array()?.first().cloned()
    });
    assert!(gone["why"].as_str().unwrap().contains("410"), "{gone}");
    // Addresses and secrets come to no page.
    for path in ["/api/now", "/ground", "/diary", "/api/export"] {
        let (_, body) = program.get(path);
        assert!(!body.contains("/to/ann") && !body.contains(ann.auth()), "{path}");
    }
    program.kill();

    let before = service.came().len();
    let program = garden.start();
    let again = until("ann is told again", || {
        service.came().split_off(before).into_iter().find(|it| it.path == "/to/ann")
    });
    assert_eq!(field(&first, "topic"), field(&again, "topic"));
    let (told, told_again) = (ann.told(&first), ann.told(&again));
    assert_eq!(told, told_again);
    assert_eq!(told["buttons"], json!(["on-it", "later"]));
    // The key survives the kill: the phone subscribed for it.
    assert_eq!(ann.read(&first).unwrap()["key"], ann.read(&again).unwrap()["key"]);
    assert_eq!(ann.read(&again).unwrap()["key"], program.now()["board"]["push_key"]);
    assert!(!service.came()[before..].iter().any(|it| it.path == "/to/ben"));
    assert!(program.stop().success());
}

#[test]
fn p10_a_push_service_that_takes_a_call_and_stays_silent_holds_back_neither_another_phone_nor_another_notice()
{
    if !push::available() {
        return;
    }
    // Silent to ann's first message; the others are taken.
    let mut silent = true;
    let service = push::Service::start(move |_, path| match path {
        "/to/ann" if std::mem::take(&mut silent) => (SILENT, ""),
        _ => (201, ""),
    });
    let garden = garden(&service);
    let (ann, ben) = (Phone::new(), Phone::new());
    let program = garden.start();
    subscribe(&program, "ann", &service, &ann);
    subscribe(&program, "ben", &service, &ben);
    warn(&garden);
    let came_to = |name: &str, count: usize| {
        let came: Vec<_> = service.came().into_iter().filter(|it| it.path == format!("/to/{name}")).collect();
        (came.len() == count).then_some(came)
    };
    until("the first notice is on its way to both", || came_to("ann", 1).and(came_to("ben", 1)));
    let (status, body) = post(program.address(), "/api/note", &json!({ "note": Note::Drill {} })).unwrap();
    assert_eq!(status, 200, "{body}");
    let push_of = |now: &Value, minder: &str| {
        let notice = now["open"].as_array()?.iter().find(|notice| notice["minder"] == minder)?;
        Some(notice["deliveries"].as_array()?.first()?.clone())
    };
    let glance = until("the second notice is marked as sent", || {
        let now = program.now();
        (push_of(&now, "drill")?["sent"] == true).then_some(now)
    });
    // Had it waited behind the first, that one would have been given up by now.
    let first = push_of(&glance, "heat-dome").unwrap();
    assert_eq!((&first["sent"], &first["waits"], &first["tries"]), (&json!(false), &json!(true), &json!(0)));
    let (anns, bens) = (came_to("ann", 2).unwrap(), came_to("ben", 2).unwrap());
    for (ann, ben) in anns.iter().zip(&bens) {
        assert_eq!(field(ann, "topic"), field(ben, "topic"));
    }
    assert_ne!(field(&bens[0], "topic"), field(&bens[1], "topic"));
    assert!(program.stop().success(), "{}", garden.log());
}

#[test]
fn a_stopped_phone_is_told_nothing_more_and_nonsense_is_no_phone() {
    if !push::available() {
        return;
    }
    let service = push::Service::start(|_, _| (201, ""));
    let garden = garden(&service);
    let (ann, ben) = (Phone::new(), Phone::new());
    let program = garden.start();
    subscribe(&program, "ann", &service, &ann);
    subscribe(&program, "ben", &service, &ben);
    let note = |note: Value| post(program.address(), "/api/note", &json!({ "note": note })).unwrap();
    let stop = json!({ "what": "phone_gone", "phone": "ann", "why": "stopped on the page" });
    assert_eq!(note(stop.clone()).0, 200);
    assert_eq!(note(stop).0, 422);
    for (field, wrong) in [
        ("endpoint", "http://192.168.1.1/x"),
        ("endpoint", "https://10.0.0.1/x"),
        ("p256dh", "AAAA"),
        ("auth", "AAAA"),
        ("name", " "),
        ("phone", "a b"),
    ] {
        let mut phone = serde_json::to_value(subscribed(1, "eve", &service, &ann).note).unwrap();
        phone[field] = json!(wrong);
        assert_eq!(note(phone).0, 422, "{field} {wrong}");
    }
    warn(&garden);
    until("ben is told", || service.came().into_iter().find(|it| it.path == "/to/ben"));
    until("it is marked", || {
        program.now()["open"][0]["undelivered"].as_array().filter(|it| it.is_empty()).map(|_| ())
    });
    assert_eq!(paths(&service), ["/to/ben"]);
    assert!(program.stop().success());
}
