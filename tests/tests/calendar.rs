//! The calendar as others read it: by a general reader, by its address, and how it ends.

use agronomy::crop::Severity;
use glasshour::calendar::{Calendar, date};
use glasshour::calendar_out::Desk;
use glasshour::clock::{Clock, SystemClock};
use glasshour::entry::{Entry, Note};
use glasshour::glance::{Glance, HeatAhead, NoticeView};
use serde_json::{Value, json};
use tests::program::{Garden, get, post};
use tests::servers::process::until;
use tests::servers::python;
use tests::stand_in::{NOON_MS, glance, step};

const START: &str = "[start]\n[[start.place]]\nid = \"long\"\nname = \"Long House\"\nkind = \"house\"\n\
                     [[start.planting]]\nid = \"reds\"\ncrop = \"tomato\"\nplace = \"long\"\nplanted_out = 2026-05-04\n";

/// A glance with a heat wave of two days ahead: 4 and 5 July 2031.
fn warned(to: &str) -> Glance {
    let note = Note::HeatWarning {
        from: "2031-07-04".to_owned(),
        to: to.to_owned(),
        about_c: 42.0,
        said_by: Some("a neighbour".to_owned()),
    };
    let mut glance = glance();
    glance.site = "Gärten, Höfe; \"Süd\"".to_owned();
    glance.entries = vec![Entry { id: 7, at_ms: NOON_MS, from_ms: NOON_MS, note }];
    let id = "heat-dome..2031-07-02";
    let (notice, from) = (id.to_owned(), "2031-07-04".to_owned());
    glance.heat = Some(HeatAhead { notice, from, to: to.to_owned(), about_c: Some(42.0), pots: true });
    glance.open = vec![NoticeView {
        seen: false,
        rang_in_quiet: false,
        deliveries: Vec::new(),
        id: id.to_owned(),
        minder: "heat-dome".to_owned(),
        place: String::new(),
        planting: None,
        severity: Severity::Severe,
        pushed: true,
        opened_ms: NOON_MS,
        closed_ms: None,
        steps: vec![step(id, 1, "Mend the drip", "Heat comes.")],
        now: None,
        on_it_ms: None,
        later_until_ms: None,
        undelivered: vec![],
    }];
    glance
}

fn read(text: &str) -> Option<Value> {
    // RFC 5545, 3.1: lines end in CR LF and have no more than 75 octets.
    assert!(text.ends_with("\r\n") && text.split("\r\n").all(|line| line.len() <= 75), "{text}");
    assert!(!text.replace("\r\n", "").contains(['\r', '\n']), "{text:?}");
    Some(python::read(&python::available()?, "calendar_read.py", &[], text))
}

/// Of each event what changes: day or moment of the beginning, end, sequence, status.
fn course(calendar: &Value) -> Vec<(String, String, u64, String)> {
    let events = calendar["events"].as_array().unwrap().iter();
    let text = |event: &Value, name: &str| event[name].as_str().unwrap().to_owned();
    events
        .filter(|event| !event["uid"].as_str().unwrap().starts_with("drill"))
        .map(|it| {
            (text(it, "starts"), text(it, "ends"), it["sequence"].as_u64().unwrap(), text(it, "status"))
        })
        .collect()
}

#[test]
fn a_general_reader_finds_the_heat_plan_its_change_and_its_end() {
    let folder = tempfile::tempdir().unwrap();
    let desk = Desk::open(folder.path(), "e5", NOON_MS).unwrap();
    let Some(first) = read(&desk.feed(&warned("2031-07-05"), &[])) else { return };
    assert_eq!(
        (&first["version"], &first["method"], &first["errors"]),
        (&json!("2.0"), &Value::Null, &json!([]))
    );
    for event in first["events"].as_array().unwrap() {
        assert_eq!(
            (&event["errors"], &event["stamp"]),
            (&json!([]), &json!("2031-07-02T12:00:00+00:00")),
            "{event}"
        );
    }
    let day = |from: &str, to: &str, sequence, status: &str| {
        (from.to_owned(), to.to_owned(), sequence, status.to_owned())
    };
    assert_eq!(
        course(&first),
        [
            day("2031-07-02", "2031-07-03", 0, "TENTATIVE"),
            day("2031-07-03", "2031-07-04", 0, "TENTATIVE"),
            day("2031-07-04", "2031-07-05", 0, "CONFIRMED"),
            day("2031-07-05", "2031-07-06", 0, "CONFIRMED"),
        ]
    );
    let of_the_fourth =
        first["events"].as_array().unwrap().iter().find(|it| it["starts"] == "2031-07-04").unwrap();
    assert_eq!(of_the_fourth["uid"], "heat-dome..2031-07-02.2031-07-04.e5@glasshour");
    assert_eq!(
        of_the_fourth["summary"],
        "Heat, day 1 of 2, about 42 °C outside: Water before sunrise; open all; shade on before ten."
    );
    // One day less: what is left changes its words, what will not be is called off.
    let Some(second) = read(&desk.feed(&warned("2031-07-04"), &[])) else { return };
    assert_eq!(
        course(&second),
        [
            day("2031-07-02", "2031-07-03", 0, "TENTATIVE"),
            day("2031-07-03", "2031-07-04", 0, "TENTATIVE"),
            day("2031-07-04", "2031-07-05", 1, "CONFIRMED"),
            day("2031-07-05", "2031-07-06", 1, "CANCELLED"),
        ]
    );
}

#[test]
fn what_goes_by_mail_is_published_and_holds_only_what_is_new() {
    let folder = tempfile::tempdir().unwrap();
    let desk = Desk::open(folder.path(), "e5", NOON_MS).unwrap();
    let publisher = "glasshour@garden.example";
    let first = desk.enclosure(&warned("2031-07-05"), &[], publisher).unwrap();
    let Some(calendar) = read(&first.text) else { return };
    assert_eq!(calendar["method"], "PUBLISH");
    assert_eq!(calendar["events"][0]["organizer"], "mailto:glasshour@garden.example");
    desk.mailed(&first.tells);
    assert_eq!(desk.enclosure(&warned("2031-07-05"), &[], publisher), None);
    let second = desk.enclosure(&warned("2031-07-04"), &[], publisher).unwrap();
    let changed: Vec<_> = course(&read(&second.text).unwrap()).into_iter().map(|it| (it.0, it.3)).collect();
    let wanted = [("2031-07-04", "CONFIRMED"), ("2031-07-05", "CANCELLED")];
    assert_eq!(changed, wanted.map(|(day, status)| (day.to_owned(), status.to_owned())));
}

/// The address of the feed as Ground shows it, without scheme and host.
fn feed(address: &str) -> String {
    let (status, ground) = get(address, "/ground").unwrap();
    assert_eq!(status, 200);
    let from = ground.find("/calendar.ics?key=").expect("Ground shows the address");
    ground[from..].chars().take_while(|c| !matches!(c, '"' | '<')).collect()
}

#[test]
fn t21_a_revoked_address_is_a_404_from_the_answer_on_and_its_use_is_shown() {
    let garden = Garden::new(START);
    let service = garden.start();
    let old = feed(service.address());
    assert!(service.get("/ground").1.contains("never used"));
    let (status, text) = service.get(&old);
    assert_eq!(status, 200);
    assert!(text.starts_with("BEGIN:VCALENDAR\r\n") && text.contains("UID:drill."), "{text}");
    assert!(service.get("/ground").1.contains("last used"));
    for wrong in ["/calendar.ics", "/calendar.ics?key=", &old[..old.len() - 1], &format!("{old}0")] {
        assert_eq!(service.get(wrong).0, 404, "{wrong}");
    }
    assert_eq!(post(service.address(), "/calendar-key", &Value::Null).unwrap().0, 303);
    assert_eq!(service.get(&old).0, 404);
    let new = feed(service.address());
    assert_eq!(service.get(&new).0, 200);
    // Also after a restart; and a look at the answer's page does not change it.
    assert!(service.stop().success(), "{}", garden.log());
    let service = garden.start();
    assert_eq!((service.get(&old).0, service.get(&new).0), (404, 200));
    assert!(service.stop().success(), "{}", garden.log());
}

#[test]
fn a_notice_is_shown_at_its_own_address_and_to_look_changes_nothing() {
    let garden = Garden::new(START);
    let service = garden.start();
    let now_ms = SystemClock::new(None).wall_ms();
    let day = |days: i64| date(Calendar::fixed(3_600_000).day_of(now_ms) + days);
    garden.note(&["heat-warning", "--from", &day(4), "--to", &day(6), "--about", "41"]);
    let notice = until("the notice opens", || {
        service.now()["open"].as_array()?.iter().find(|it| it["minder"] == "heat-dome").cloned()
    });
    let id = notice["id"].as_str().unwrap();
    for _ in 0..2 {
        let (status, page) = service.get(&format!("/answer/{id}"));
        assert_eq!(status, 200);
        assert!(page.contains("value=\"on-it\"") && page.contains("value=\"tomorrow\""), "{page}");
    }
    let same = service.now()["open"].as_array().unwrap().iter().find(|it| it["id"] == id).cloned().unwrap();
    assert_eq!((&same["on_it_ms"], &same["later_until_ms"]), (&Value::Null, &Value::Null));
    assert_eq!(service.get("/answer/none").0, 404);
    // The calendar has its plan, day by day, from the day on which the notice opened.
    let text = service.get(&feed(service.address())).1;
    let days: Vec<String> = (0..=6).map(|days| day(days).replace('-', "")).collect();
    for day in &days {
        assert!(
            day.parse::<u32>().is_ok() && text.contains(&format!("DTSTART;VALUE=DATE:{day}")),
            "{day}: {text}"
        );
    }
    assert!(service.stop().success(), "{}", garden.log());
}
