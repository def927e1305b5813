//! The mail courier against a real mail server. What arrived is read by Python's own mail library.

use std::sync::Arc;
use std::time::Duration;

use glasshour::calendar_out::Desk;
use glasshour::clock::FastClock;
use glasshour::couriers::email::{Email, Protection, Settings};
use glasshour::couriers::letter::Written;
use glasshour::couriers::outbox::Delivery;
use glasshour::couriers::outbox::{Errand, Waiting};
use glasshour::couriers::runner::{self, Courier};
use glasshour::glance::Glance;
use glasshour::supervise::Tasks;
use serde_json::Value;
use tests::servers::smtp::{self, Smtp, header};
use tests::stand_in::{NOON_MS, StandIn, glance, step, waiting};
use tokio::sync::watch;

const LOGIN: (&str, &str) = ("grower", "basil and thyme");

fn settings(server: &Smtp, protection: Protection) -> Settings {
    Settings {
        name: "e-mail".to_owned(),
        host: "127.0.0.1".to_owned(),
        port: server.port,
        protection,
        login: None,
        authority: (protection != Protection::None).then(|| server.authority()),
        from: "Glasshour <house@garden.example>".to_owned(),
        to: vec!["grower@garden.example".to_owned(), "Neighbour <neighbour@garden.example>".to_owned()],
    }
}

fn with_login(settings: Settings, password: &str) -> Settings {
    Settings { login: Some((LOGIN.0.to_owned(), password.to_owned())), ..settings }
}

/// Stands for the page's own letter: long enough to tell whether the whole of it arrives.
fn write(glance: &Glance) -> Written {
    let lines: Vec<String> = (0..200).map(|n| format!(".line {n} of the glance, {} °C", n % 45)).collect();
    Written {
        subject: format!("Today in the {}", glance.site),
        text: lines.join("\n"),
        html: format!("<p>{}</p>", glance.sentence.order),
        picture: format!("<!DOCTYPE html><title>{}, 36.1 °C</title>", glance.site),
    }
}

fn courier(settings: &Settings) -> Email {
    let (_, seen) = watch::channel(Arc::new(glance()));
    Email::new(settings, "e5".to_owned(), seen, write).unwrap()
}

fn first_step() -> Waiting {
    waiting(
        41,
        41,
        step("too-hot.house.1", 1, "Open the far door", "Tomatoes: 36.1 °C, limit 35, since 13:40."),
    )
}

fn why(delivery: &Delivery) -> &str {
    match delivery {
        Delivery::Sent => "sent",
        Delivery::Later { why, .. } | Delivery::Never { why } => why,
    }
}

/// The same lines, but for what a letter's end adds.
fn same_lines(text: &Value, wanted: &str) -> bool {
    text.as_str().unwrap().trim_end().lines().eq(wanted.lines())
}

#[tokio::test]
async fn a_step_arrives_encrypted_and_with_the_whole_glance() {
    if !smtp::available() {
        return;
    }
    let server = Smtp::start(&["--tls", "starttls", "--login", "grower:basil and thyme"]);
    let settings = with_login(settings(&server, Protection::StartTls), LOGIN.1);
    assert_eq!(courier(&settings).carry(&first_step()).await, Delivery::Sent);
    let letters = server.letters();
    let [letter] = letters.as_slice() else { panic!("{} letters", letters.len()) };
    assert_eq!(letter["encrypted"], true);
    assert_eq!(letter["logged_in"], true);
    assert_eq!(letter["sender"], "house@garden.example");
    assert_eq!(letter["readers"], serde_json::json!(["grower@garden.example", "neighbour@garden.example"]));
    assert_eq!(header(letter, "subject"), ["Severe heat, house: Open the far door"]);
    assert_eq!(header(letter, "message-id"), ["<step-41.e5@glasshour>"]);
    assert_eq!(header(letter, "auto-submitted"), ["auto-generated"]);
    // RFC 2045, section 4: without it the letter's encoding need not be understood.
    assert_eq!(header(letter, "mime-version"), ["1.0"]);
    assert_eq!(header(letter, "date"), ["Wed, 02 Jul 2031 12:00:00 +0000"]);
    let whole = format!("Tomatoes: 36.1 °C, limit 35, since 13:40.\n\n{}", write(&glance()).text);
    assert!(same_lines(&letter["plain"], &whole), "{}", letter["plain"]);
}

#[tokio::test]
async fn tls_from_the_first_byte_works_too() {
    if !smtp::available() {
        return;
    }
    let server = Smtp::start(&["--tls", "wrapped", "--login", "grower:basil and thyme"]);
    let settings = with_login(settings(&server, Protection::Wrapped), LOGIN.1);
    assert_eq!(courier(&settings).carry(&first_step()).await, Delivery::Sent);
    assert_eq!(server.letters()[0]["encrypted"], true);
}

#[tokio::test]
async fn the_steps_of_a_notice_are_one_thread() {
    if !smtp::available() {
        return;
    }
    let server = Smtp::start(&[]);
    let courier = courier(&settings(&server, Protection::None));
    courier.carry(&first_step()).await;
    let second = waiting(57, 41, step("too-hot.house.1", 2, "Net on", "Now 38.2."));
    courier.carry(&second).await;
    let letters = server.letters();
    assert_eq!(header(&letters[0], "references"), [""; 0]);
    assert_eq!(header(&letters[1], "message-id"), ["<step-57.e5@glasshour>"]);
    assert_eq!(header(&letters[1], "references"), header(&letters[0], "message-id"));
    assert_eq!(header(&letters[1], "in-reply-to"), header(&letters[0], "message-id"));
}

#[tokio::test]
async fn the_morning_letter_has_the_glance_as_text_and_as_html() {
    if !smtp::available() {
        return;
    }
    let server = Smtp::start(&[]);
    let errand = Errand::Letter { date: "2031-07-02".to_owned() };
    let courier = courier(&settings(&server, Protection::None));
    assert_eq!(courier.carry(&Waiting { errand, ..first_step() }).await, Delivery::Sent);
    let letter = &server.letters()[0];
    assert_eq!(header(letter, "subject"), ["Today in the garden"]);
    assert!(same_lines(&letter["plain"], &write(&glance()).text));
    assert!(same_lines(&letter["html"], &write(&glance()).html));
}

#[tokio::test]
async fn the_letter_encloses_the_picture_and_what_is_new_in_the_calendar_once() {
    if !smtp::available() {
        return;
    }
    let server = Smtp::start(&["--refuse-first", "1"]);
    let folder = tempfile::tempdir().unwrap();
    let desk = Arc::new(Desk::open(folder.path(), "e5", NOON_MS).unwrap());
    let clock = Arc::new(FastClock::new(NOON_MS, 100.0));
    let keeper = StandIn::new(vec![], clock);
    let courier = courier(&settings(&server, Protection::None)).enclosing(desk, keeper.handle.clone());
    let errand = Errand::Letter { date: "2031-07-02".to_owned() };
    let letter = Waiting { errand, ..first_step() };
    // What was refused told nobody: it is still new.
    assert!(matches!(courier.carry(&letter).await, Delivery::Later { .. }));
    assert_eq!(courier.carry(&letter).await, Delivery::Sent);
    assert_eq!(courier.carry(&letter).await, Delivery::Sent);
    let letters = server.letters();
    let enclosed = |nth: usize| letters[nth]["enclosed"].as_array().unwrap();
    assert_eq!((enclosed(0).len(), enclosed(1).len()), (2, 1));
    assert_eq!(enclosed(0)[0][0], "now.html");
    assert_eq!(enclosed(0)[0][2].as_str().unwrap().trim_end(), write(&glance()).picture);
    assert_eq!(enclosed(0)[1][0], "garden.ics");
    let kind = enclosed(0)[1][1].as_str().unwrap();
    // RFC 6047, 2.4: text/calendar with the method and the charset.
    assert!(kind.starts_with("text/calendar;") && kind.replace('"', "").contains("method=PUBLISH"), "{kind}");
    let calendar = enclosed(0)[1][2].as_str().unwrap();
    assert!(
        calendar.contains("METHOD:PUBLISH") && calendar.contains("ORGANIZER:mailto:house@garden.example")
    );
    assert!(same_lines(&letters[0]["plain"], &write(&glance()).text));
}

#[tokio::test]
async fn a_notice_by_mail_ends_with_the_address_where_it_is_answered() {
    if !smtp::available() {
        return;
    }
    let server = Smtp::start(&[]);
    let page = Some("http://garden.local:8087".to_owned());
    let courier = courier(&settings(&server, Protection::None)).answered_at(page);
    let odd = waiting(57, 57, step("too-hot.a b/c.1", 1, "Net on", "Now 38.2."));
    for waiting in [first_step(), odd] {
        assert_eq!(courier.carry(&waiting).await, Delivery::Sent);
    }
    let letters = server.letters();
    let end =
        |nth: usize| letters[nth]["plain"].as_str().unwrap().trim_end().lines().last().unwrap().to_owned();
    assert_eq!(end(0), "On it, or later? http://garden.local:8087/answer/too-hot.house.1");
    assert_eq!(end(1), "On it, or later? http://garden.local:8087/answer/too-hot.a%20b%2Fc.1");
}

#[tokio::test]
async fn a_text_that_looks_like_headers_stays_a_text() {
    if !smtp::available() {
        return;
    }
    let server = Smtp::start(&[]);
    let title = "Open it\r\nBcc: thief@elsewhere.example\r\n\r\nGo away °";
    let waiting =
        waiting(41, 41, step("too-hot.house.1", 1, title, ".\r\nRCPT TO:<thief@elsewhere.example>"));
    assert_eq!(courier(&settings(&server, Protection::None)).carry(&waiting).await, Delivery::Sent);
    let letter = &server.letters()[0];
    assert_eq!(
        header(letter, "subject"),
        ["Severe heat, house: Open it Bcc: thief@elsewhere.example Go away °"]
    );
    assert_eq!(header(letter, "bcc"), [""; 0]);
    assert_eq!(letter["readers"], serde_json::json!(["grower@garden.example", "neighbour@garden.example"]));
    let text = format!(".\nRCPT TO:<thief@elsewhere.example>\n\n{}", write(&glance()).text);
    assert!(same_lines(&letter["plain"], &text), "{letter}");
}

#[tokio::test]
async fn nothing_is_said_to_a_server_that_cannot_prove_its_name() {
    if !smtp::available() {
        return;
    }
    for (mode, protection) in [("starttls", Protection::StartTls), ("wrapped", Protection::Wrapped)] {
        let server = Smtp::start(&["--tls", mode]);
        let stranger = Settings { authority: None, ..settings(&server, protection) };
        let delivery = courier(&stranger).carry(&first_step()).await;
        assert!(matches!(delivery, Delivery::Later { .. }), "{delivery:?}");
        assert!(why(&delivery).to_lowercase().contains("certificate"), "{delivery:?}");
        assert_eq!(server.letters(), [Value::Null; 0]);
    }
}

#[tokio::test]
async fn nothing_is_said_to_a_server_that_offers_no_encryption() {
    if !smtp::available() {
        return;
    }
    let server = Smtp::start(&[]);
    let delivery = courier(&settings(&server, Protection::StartTls)).carry(&first_step()).await;
    assert!(matches!(delivery, Delivery::Later { .. }), "{delivery:?}");
    assert_eq!(server.letters(), [Value::Null; 0]);
}

#[tokio::test]
async fn a_wrong_password_is_tried_slowly_and_told() {
    if !smtp::available() {
        return;
    }
    let server = Smtp::start(&["--tls", "starttls", "--login", "grower:basil and thyme"]);
    let settings = with_login(settings(&server, Protection::StartTls), "mint");
    let delivery = courier(&settings).carry(&first_step()).await;
    assert!(matches!(delivery, Delivery::Later { after_ms: Some(1_800_000), .. }), "{delivery:?}");
    // RFC 4954, section 6: 535, authentication credentials invalid.
    assert!(why(&delivery).contains("535"), "{delivery:?}");
}

#[tokio::test]
async fn a_letter_refused_for_good_is_not_tried_again() {
    if !smtp::available() {
        return;
    }
    let server = Smtp::start(&["--refuse-first", "9", "--refusal", "554 5.7.1 not from you"]);
    let delivery = courier(&settings(&server, Protection::None)).carry(&first_step()).await;
    assert!(matches!(&delivery, Delivery::Never { why } if why.contains("not from you")), "{delivery:?}");
}

#[tokio::test]
async fn a_full_mailbox_is_tried_slowly() {
    if !smtp::available() {
        return;
    }
    let server = Smtp::start(&["--refuse-first", "9", "--refusal", "552 5.2.2 mailbox full"]);
    let delivery = courier(&settings(&server, Protection::None)).carry(&first_step()).await;
    assert!(matches!(delivery, Delivery::Later { after_ms: Some(1_800_000), .. }), "{delivery:?}");
}

/// The runner, the courier and a keeper's stand-in against a server, a hundred times as fast as life.
async fn deliver(server: &Smtp, tries: usize) -> Vec<Delivery> {
    let clock = Arc::new(FastClock::new(NOON_MS, 100.0));
    let mut keeper = StandIn::new(vec![first_step()], clock.clone());
    let courier = courier(&settings(server, Protection::None));
    let (rows, handle) = (keeper.rows.clone(), keeper.handle.clone());
    let mut tasks = Tasks::new();
    tasks.spawn("e-mail", |stop| runner::run(courier, rows, handle, clock, stop));
    let mut deliveries = Vec::new();
    for _ in 0..tries {
        let (entry, delivery) = keeper.tried().await;
        assert_eq!(entry, 41);
        deliveries.push(delivery);
    }
    tasks.stop().cancel();
    tasks.join(Duration::from_secs(5)).await.unwrap();
    deliveries
}

#[tokio::test]
async fn a_letter_that_is_put_off_is_sent_again_and_arrives_once() {
    if !smtp::available() {
        return;
    }
    let server = Smtp::start(&["--refuse-first", "2"]);
    let deliveries = deliver(&server, 3).await;
    assert!(
        deliveries[..2].iter().all(|delivery| why(delivery).contains("come back later")),
        "{deliveries:?}"
    );
    assert_eq!(deliveries[2], Delivery::Sent);
    assert_eq!(server.letters().len(), 1);
}

#[tokio::test]
async fn a_letter_whose_answer_was_lost_comes_again_under_the_same_id() {
    if !smtp::available() {
        return;
    }
    let server = Smtp::start(&["--lose-reply", "1"]);
    let deliveries = deliver(&server, 2).await;
    assert!(matches!(deliveries[0], Delivery::Later { .. }), "{deliveries:?}");
    assert_eq!(deliveries[1], Delivery::Sent);
    let letters = server.letters();
    assert_eq!(letters.len(), 2);
    assert_eq!(header(&letters[0], "message-id"), header(&letters[1], "message-id"));
}
