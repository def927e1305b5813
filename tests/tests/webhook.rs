//! The webhook against a far end that checks each signature with Python's own library, over HTTP and over TLS.

use std::sync::Arc;

use glasshour::clock::FastClock;
use glasshour::couriers::outbox::Delivery;
use glasshour::couriers::runner::Courier;
use glasshour::couriers::webhook::{Settings, Webhook};
use serde_json::{Value, json};
use tests::program::Garden;
use tests::servers::hook::{self, Hook};
use tests::servers::process::until;
use tests::stand_in::{NOON_MS, step, waiting};

const SECRET: &str = "seven lean cabbages";

fn settings(far: &Hook) -> Settings {
    Settings {
        url: format!("http://127.0.0.1:{}/in?from=garden", far.port),
        secret: SECRET.to_owned(),
        authority: None,
        site: "garden".to_owned(),
    }
}

fn courier(settings: &Settings) -> Webhook {
    Webhook::new(settings, "e5".to_owned(), Arc::new(FastClock::new(NOON_MS, 1.0))).unwrap()
}

fn first_step() -> glasshour::couriers::outbox::Waiting {
    waiting(41, 41, step("too-hot.house.1", 1, "Open the far door", "Tomatoes: 36.1 °C."))
}

#[tokio::test]
async fn a_step_comes_signed_with_its_fields_by_name() {
    if !hook::available() {
        return;
    }
    let far = Hook::start(SECRET, false, &[]);
    assert_eq!(courier(&settings(&far)).carry(&first_step()).await, Delivery::Sent);
    let came = far.came();
    let [one] = came.as_slice() else { panic!("{} came", came.len()) };
    assert_eq!(one["signed"], true);
    assert_eq!((&one["path"], &one["type"]), (&json!("/in?from=garden"), &json!("application/json")));
    assert_eq!(one["key"], "step-41.e5");
    let time: i64 = one["time"].as_str().unwrap().parse().unwrap();
    assert!((0..600).contains(&(time - NOON_MS / 1000)), "{time}");
    let body: Value = serde_json::from_str(one["body"].as_str().unwrap()).unwrap();
    let wanted = json!({
        "id": "step-41.e5", "site": "garden", "notice": "too-hot.house.1", "step": 1, "minder": "too-hot",
        "place": "house", "planting": "tomatoes-by-the-door", "at": "2031-07-02T12:00:00.000Z", "turn": "opened",
        "severity": "severe", "push": true, "title": "Open the far door", "text": "Tomatoes: 36.1 °C.",
    });
    assert_eq!(body, wanted);
}

#[tokio::test]
async fn who_has_another_secret_sees_that_it_is_not_ours() {
    if !hook::available() {
        return;
    }
    let far = Hook::start("eight fat ones", false, &[]);
    courier(&settings(&far)).carry(&first_step()).await;
    assert_eq!(far.came()[0]["signed"], false);
}

#[tokio::test]
async fn over_tls_it_speaks_only_to_whom_the_authority_vouches_for() {
    if !hook::available() {
        return;
    }
    let far = Hook::start(SECRET, true, &[]);
    let stranger = Settings { url: format!("https://127.0.0.1:{}/in", far.port), ..settings(&far) };
    let delivery = courier(&stranger).carry(&first_step()).await;
    assert!(
        matches!(&delivery, Delivery::Later { why, .. } if why.to_lowercase().contains("certificate")),
        "{delivery:?}"
    );
    assert_eq!(far.came(), [Value::Null; 0]);
    let known = Settings { authority: Some(far.authority()), ..stranger };
    assert_eq!(courier(&known).carry(&first_step()).await, Delivery::Sent);
    assert_eq!(far.came()[0]["signed"], true);
}

#[tokio::test]
async fn k1_after_a_lost_reply_the_same_body_comes_under_the_same_key() {
    if !hook::available() {
        return;
    }
    let far = Hook::start(SECRET, false, &["--lose-reply", "1"]);
    let courier = courier(&settings(&far));
    let lost = courier.carry(&first_step()).await;
    assert!(matches!(&lost, Delivery::Later { why, .. } if why.contains("may have arrived")), "{lost:?}");
    assert_eq!(courier.carry(&first_step()).await, Delivery::Sent);
    let came = far.came();
    assert_eq!((came.len(), &came[0]["key"], &came[0]["body"]), (2, &came[1]["key"], &came[1]["body"]));
}

#[tokio::test]
async fn k3_busy_is_asked_later_by_its_own_wish_and_a_refusal_not_again() {
    if !hook::available() {
        return;
    }
    let busy = ["--refuse-first", "1", "--refusal", "503", "--retry-after", "90"];
    let far = Hook::start(SECRET, false, &busy);
    let later = courier(&settings(&far)).carry(&first_step()).await;
    assert!(matches!(&later, Delivery::Later { after_ms: Some(90_000), .. }), "{later:?}");
    let far = Hook::start(SECRET, false, &["--refuse-first", "1", "--refusal", "403"]);
    let never = courier(&settings(&far)).carry(&first_step()).await;
    // What the far end wrote is shown to nobody.
    assert!(matches!(&never, Delivery::Never { why } if !why.contains("secret")), "{never:?}");
}

#[tokio::test]
async fn t13_no_redirect_is_followed() {
    if !hook::available() {
        return;
    }
    let target = Hook::start(SECRET, false, &[]);
    let to = format!("http://127.0.0.1:{}/", target.port);
    for status in ["301", "302", "307", "308"] {
        let far =
            Hook::start(SECRET, false, &["--refuse-first", "1", "--refusal", status, "--location", &to]);
        let never = courier(&settings(&far)).carry(&first_step()).await;
        assert!(matches!(&never, Delivery::Never { why } if why.contains("points elsewhere")), "{never:?}");
    }
    assert_eq!(target.came(), [Value::Null; 0]);
}

#[test]
fn k1_killed_between_sending_and_marking_the_program_posts_the_same_again() {
    if !hook::available() {
        return;
    }
    let far = Hook::start(SECRET, false, &["--lose-reply", "1"]);
    let folder = tempfile::tempdir().unwrap();
    let secret = folder.path().join("secret");
    std::fs::write(&secret, format!("{SECRET}\n")).unwrap();
    let garden = Garden::new(&format!(
        "[webhook]\nurl = \"http://127.0.0.1:{}/in\"\nsecret_file = \"{}\"\n\n\
         [start]\n[[start.place]]\nid = \"long\"\nname = \"Long House\"\nkind = \"house\"\n\
         [[start.planting]]\nid = \"reds\"\ncrop = \"tomato\"\nplace = \"long\"\nplanted_out = 2026-05-04\n",
        far.port,
        secret.display()
    ));
    let program = garden.start();
    let now_ms = glasshour::clock::Clock::wall_ms(&glasshour::clock::SystemClock::new(None));
    let today = glasshour::calendar::Calendar::fixed(3_600_000).day_of(now_ms);
    let day = |days| glasshour::calendar::date(today + days);
    garden.note(&["heat-warning", "--from", &day(4), "--to", &day(6), "--about", "41"]);
    let first = until("it is posted", || far.came().into_iter().next());
    program.kill();
    let program = garden.start();
    let again = until("it is posted again", || far.came().into_iter().nth(1));
    assert_eq!((&first["signed"], &again["signed"]), (&json!(true), &json!(true)));
    assert_eq!((&first["key"], &first["body"]), (&again["key"], &again["body"]));
    assert!(program.stop().success());
    // Marked as sent by now: a further start posts nothing.
    let program = garden.start();
    until("the board has looked", || {
        program.now()["open"].as_array().filter(|it| !it.is_empty()).map(|_| ())
    });
    assert!(program.stop().success());
    assert_eq!(far.came().len(), 2);
}
