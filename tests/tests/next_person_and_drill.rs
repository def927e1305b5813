//! Q2 and Q3 of the project's table of faults on the real program, a real mail server and a real far end: what nobody has
//! seen for half an hour goes to the next person, and a drill says of each way whether it came.

use std::path::Path;

use glasshour::calendar::{Calendar, date};
use glasshour::clock::{Clock, SystemClock};
use glasshour::couriers::route::UNSEEN_MS;
use glasshour::entry::Note;
use glasshour::keeper::core::{Core, Moment, Route};
use glasshour::ledger::{Founding, Ledger};
use glasshour::site::{Limits, Site};
use serde_json::{Value, json};
use tests::program::Garden;
use tests::servers::hook::{self, Hook};
use tests::servers::process::until;
use tests::servers::smtp::{self, Smtp, header};

const MINUTE: i64 = 60_000;
const OFFSET_MS: i64 = 3_600_000;
const SECRET: &str = "four dry pods";

fn now_ms() -> i64 {
    SystemClock::new(None).wall_ms()
}

/// Mail to the grower, then to the neighbour; the morning letter is half a day away at any hour of the test.
fn mail(server: &Smtp) -> String {
    let hour = (now_ms() / 3_600_000 + 12) % 24;
    format!(
        "[letter]\nat = \"{hour:02}:00\"\n\n\
         [mail]\nhost = \"127.0.0.1\"\nport = {}\ntls = \"none-on-loopback\"\n\
         from = \"glasshour@garden.example\"\nto = [\"grower@garden.example\"]\n\
         then_to = [\"neighbour@garden.example\"]\n\n",
        server.port
    )
}

/// What the service of such a garden sends by mail, as its site file has it.
fn routes() -> Vec<Route> {
    let route = |courier: &str, unseen_ms| Route {
        courier: courier.to_owned(),
        pushes_only: true,
        unseen_ms,
        ..Route::default()
    };
    vec![route("e-mail", None), route("e-mail 2", Some(UNSEEN_MS))]
}

/// Writes into the garden's ledger what happened while a service ran half an hour ago: a heat warning was heard 33
/// minutes ago and told; and its notice was seen, where somebody saw it.
fn told_half_an_hour_ago(ledger: &Path, seen: bool) {
    let now_ms = now_ms();
    let moment = |minutes: i64| Moment {
        wall_ms: now_ms - minutes * MINUTE,
        mono_ms: (60 - minutes) * MINUTE,
        trusted: true,
    };
    let calendar = Calendar::fixed(OFFSET_MS);
    let site = Site {
        name: "Bindweed Yard".to_owned(),
        latitude: agronomy::units::Latitude::try_new(52.1).unwrap(),
        longitude: agronomy::units::Longitude::try_new(5.3).unwrap(),
        calendar: calendar.clone(),
        book: config::crop_book().unwrap(),
        limits: Limits::new(),
        usual: None,
    };
    let founding = Founding { offset_ms: OFFSET_MS, program: "glasshour test".to_owned() };
    let mut ledger = Ledger::open(ledger, &founding).unwrap();
    let boot = ledger.begin_boot(0, Some((now_ms - 60 * MINUTE, "test"))).unwrap();
    let mut core = Core::start(site, ledger, boot, moment(34), routes()).unwrap();
    let today = calendar.day_of(now_ms);
    let warning =
        Note::HeatWarning { from: date(today + 4), to: date(today + 6), about_c: 41.0, said_by: None };
    core.note(moment(33), warning, None).unwrap();
    core.flush(moment(33)).unwrap();
    let entries = core.ledger().entries().unwrap();
    let step =
        entries.into_iter().find_map(|it| if let Note::Step(step) = it.note { Some(step) } else { None });
    if seen {
        core.note(moment(10), Note::Seen { notice: step.unwrap().notice }, None).unwrap();
    }
}

/// How far the heat dome's notice has come by a courier, once it is settled.
fn settled(now: &Value, courier: &str) -> Option<Value> {
    let notice = now["open"].as_array()?.iter().find(|notice| notice["minder"] == "heat-dome")?;
    let way = notice["deliveries"].as_array()?.iter().find(|way| way["courier"] == courier)?;
    (way["waits"] == false).then(|| way.clone())
}

fn readers(server: &Smtp) -> Vec<Value> {
    server.letters().iter().map(|letter| letter["readers"].clone()).collect()
}

#[test]
fn q2_a_severe_step_that_nobody_saw_for_half_an_hour_is_mailed_to_the_neighbour_and_one_that_was_seen_is_not()
{
    if !smtp::available() {
        return;
    }
    for seen in [false, true] {
        let server = Smtp::start(&[]);
        let garden = Garden::new(&mail(&server));
        told_half_an_hour_ago(&garden.ledger(), seen);
        let program = garden.start();
        let second = until("the neighbour's turn has come", || settled(&program.now(), "e-mail 2"));
        until("the grower has it", || settled(&program.now(), "e-mail"));
        assert_eq!((&second["sent"], &second["needless"]), (&json!(!seen), &json!(seen)), "{second}");
        let mut got = readers(&server);
        got.sort_by_key(Value::to_string);
        let grower = json!(["grower@garden.example"]);
        let both = [grower.clone(), json!(["neighbour@garden.example"])];
        assert_eq!(got, if seen { vec![grower] } else { both.to_vec() });
        let letters = server.letters();
        let nobody = |letter: &Value| letter.to_string().contains("Nobody has seen this for half an hour");
        let told = letters.iter().filter(|letter| nobody(letter)).count();
        assert_eq!(told, usize::from(!seen), "it is said to the neighbour alone: {letters:?}");
        let ids: Vec<_> = letters.iter().map(|letter| header(letter, "message-id")).collect();
        assert!(ids.windows(2).all(|pair| pair[0] == pair[1]), "one step, one id: {ids:?}");
        assert!(program.stop().success(), "{}", garden.log());
    }
}

/// A garden with mail and a webhook.
fn with_hook(server: &Smtp, far: &Hook) -> Garden {
    let rest = mail(server);
    let port = far.port;
    Garden::of(|folder| {
        let (ledger, secret) = (folder.join("ledger"), folder.join("secret"));
        std::fs::write(&secret, format!("{SECRET}\n")).unwrap();
        format!(
            "{}{}\n[ledger]\nfolder = \"{}\"\ncommit_every_s = 0.2\n\n{rest}\
             [webhook]\nurl = \"http://127.0.0.1:{port}/in\"\nsecret_file = \"{}\"\n",
            Garden::head(),
            tests::program::VOUCHED,
            ledger.display(),
            secret.display()
        )
    })
}

#[test]
fn q3_a_drill_says_of_each_courier_whether_it_came_and_fails_where_one_refuses() {
    if !smtp::available() || !hook::available() {
        return;
    }
    for refuses in [true, false] {
        let server = Smtp::start(&[]);
        let refusal: &[&str] = if refuses { &["--refuse-first", "9", "--refusal", "403"] } else { &[] };
        let far = Hook::start(SECRET, false, refusal);
        let garden = with_hook(&server, &far);
        let program = garden.start();
        let output = garden.ask(&["drill", "--json", "--wait", "40"]);
        assert_eq!(output.status.code(), Some(i32::from(refuses)), "{}", garden.log());
        let said: Value = serde_json::from_slice(&output.stdout).unwrap();
        let ways = said["deliveries"].as_array().unwrap();
        let outcome: Vec<_> =
            ways.iter().map(|way| (way["courier"].as_str().unwrap(), &way["sent"])).collect();
        assert_eq!(outcome, [("e-mail", &json!(true)), ("webhook", &json!(!refuses))], "{said}");
        if refuses {
            assert!(ways[1]["why"].as_str().unwrap().contains("403"), "{said}");
            let plain = String::from_utf8(output.stderr).unwrap();
            assert!(plain.contains("did not go through everywhere"), "{plain}");
        }
        // It came marked, to the grower alone: a drill troubles no neighbour.
        let letters = server.letters();
        let [letter] = letters.as_slice() else { panic!("{letters:?}") };
        assert_eq!(header(letter, "subject"), ["Drill: did this come?"]);
        assert_eq!(letter["readers"], json!(["grower@garden.example"]));
        let body: Value = serde_json::from_str(far.came()[0]["body"].as_str().unwrap()).unwrap();
        assert_eq!((&body["minder"], &body["title"]), (&json!("drill"), &json!("Drill: did this come?")));
        // The page says the same, and what was answered.
        let notice = said["notice"].as_str().unwrap();
        garden.note(&["reply", notice, "on-it"]);
        let (_, page) = program.get("/ground");
        assert!(page.contains("e-mail: sent, and taken by the far end"), "the page tells the outcome");
        assert_eq!(page.contains("webhook: not sent"), refuses);
        // Asked for again while it stands, it is tried again: nothing listens for mail any more.
        drop(server);
        let output = garden.ask(&["drill", "--json", "--wait", "20"]);
        let said: Value = serde_json::from_slice(&output.stdout).unwrap();
        assert_ne!(said["notice"], notice);
        assert_eq!(
            (output.status.code(), &said["deliveries"][0]["sent"]),
            (Some(1), &json!(false)),
            "{said}"
        );
        assert!(program.stop().success(), "{}", garden.log());
    }
}
