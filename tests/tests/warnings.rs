//! Public warnings with the running program: a server that serves a feed of good and hostile documents, and a broker.

use std::collections::BTreeMap;
use std::process::Command;
use std::sync::{Arc, Mutex};

use glasshour::calendar::iso;
use glasshour::clock::{Clock, SystemClock};
use serde_json::Value;
use tests::program::{Garden, Service};
use tests::servers::broker::{self, Broker};
use tests::servers::http::Small;
use tests::servers::process::{until, until_within};

const HOUR_MS: i64 = 3_600_000;

/// What a server serves, by path: status, headers, body; and how often each was asked for.
#[derive(Clone, Default)]
struct Shelf(Arc<Mutex<BTreeMap<String, Served>>>);

/// Status, kind, body, how often it was fetched.
type Served = (u16, String, Vec<u8>, usize);

impl Shelf {
    fn put(&self, path: &str, status: u16, headers: &str, body: impl Into<Vec<u8>>) {
        let mut shelf = self.0.lock().unwrap();
        let asked = shelf.get(path).map_or(0, |(.., asked)| *asked);
        shelf.insert(path.to_owned(), (status, headers.to_owned(), body.into(), asked));
    }

    fn asked(&self, path: &str) -> usize {
        self.0.lock().unwrap().get(path).map_or(0, |(.., asked)| *asked)
    }

    /// An Atom feed of these links, in this order, each changed at `changed`.
    fn feed(&self, links: &[&str], changed: &str) {
        let entry =
            |link: &&str| format!("<entry><updated>{changed}</updated><link href=\"{link}\"/></entry>");
        let entries: String = links.iter().map(entry).collect();
        let feed = format!("<feed xmlns=\"http://www.w3.org/2005/Atom\"><title>t</title>{entries}</feed>");
        self.put("/feed", 200, "Content-Type: application/atom+xml\r\n", feed);
    }

    fn serve(&self) -> Small {
        let shelf = self.clone();
        Small::start(move |request| {
            let mut shelf = shelf.0.lock().unwrap();
            let Some((status, headers, body, asked)) = shelf.get_mut(&request.path) else {
                return Some((404, String::new(), Vec::new()));
            };
            *asked += 1;
            // Status 0: never an answer.
            (*status > 0).then(|| (*status, headers.clone(), body.clone()))
        })
    }
}

/// A moment so many hours from now, as the standard writes it.
fn hours(from_now: i64) -> String {
    let at_ms = SystemClock::new(None).wall_ms() + from_now * HOUR_MS;
    iso(at_ms - at_ms.rem_euclid(1000)).replace('Z', "-00:00")
}

/// The golden base document, moved to the garden and to the present: sent three hours ago, from two hours ago to two days
/// from now.
fn alert() -> String {
    let text = include_str!("../reference/cap/alert.xml");
    text.replace("2026-07-19T05:30:00+02:00", &hours(-3))
        .replace("2026-07-20T11:00:00+02:00", &hours(-2))
        .replace("2026-07-22T21:00:00+02:00", &hours(48))
        .replace("48.10,11.40 48.30,11.40 48.30,11.80 48.10,11.80 48.10,11.40", "52,5 53,5 53,6 52,6 52,5")
        .replace("48.20,11.60 25.0", "10.0,10.0 5")
}

/// Its `sent`.
fn sent(alert: &str) -> &str {
    alert.split("<sent>").nth(1).unwrap().split("</sent>").next().unwrap()
}

/// A message about another: kind, its own identifier, sender, block.
fn about(alert: &str, kind: &str, identifier: &str, sender: &str, hours_ago: i64, info: &str) -> String {
    let sent = sent(alert);
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?><alert xmlns=\"urn:oasis:names:tc:emergency:cap:1.2\">\
         <identifier>{identifier}</identifier><sender>{sender}</sender><sent>{}</sent><status>Actual</status>\
         <msgType>{kind}</msgType><scope>Public</scope>\
         <references>greenhouse@example.org,gh-example-2026-07-19-0001,{sent}</references>{info}</alert>",
        hours(-hours_ago)
    )
}

fn info(alert: &str) -> &str {
    &alert[alert.find("<info>").unwrap()..alert.find("</alert>").unwrap()]
}

/// The headlines of the warnings shown.
fn headlines(service: &Service) -> Vec<String> {
    let now = service.now();
    let warnings = now["warnings"].as_array().cloned().unwrap_or_default();
    warnings.iter().map(|warning| warning["headline"].as_str().unwrap_or_default().to_owned()).collect()
}

fn away(service: &Service) -> String {
    service.now()["board"]["away"]
        .as_array()
        .map(|all| all.iter().map(Value::to_string).collect())
        .unwrap_or_default()
}

fn garden(url: &str) -> Garden {
    Garden::new(&format!("[warnings]\nurl = \"{url}/feed\"\nevery_s = 5\n"))
}

const VERY_HOT: &str = "Very hot days from Monday to Wednesday";

#[test]
fn a_warning_is_shown_survives_a_kill_is_updated_and_goes_with_its_cancel() {
    let shelf = Shelf::default();
    let server = shelf.serve();
    let alert = alert();
    shelf.put("/1", 200, "", alert.clone());
    shelf.feed(&["/1"], "2026-01-01T00:00:00Z");
    let garden = garden(&server.url());
    let service = garden.start();
    until("the warning is shown", || (headlines(&service) == [VERY_HOT]).then_some(()));
    let (_, page) = service.get("/");
    for words in [
        "Public warning of heat",
        "<bdi>Example test office</bdi>: severe, likely; in force since",
        "Daytime maxima of 37 to 40 °C, nights above 20 °C.",
        "Shade and vent early, water before sunrise, rest people out of the glasshouse from noon to five.",
        "For <bdi>Test valley</bdi>. Sent",
    ] {
        assert!(page.contains(words), "{words} missing");
    }
    assert!(page.contains(&format!("read from <bdi>{}/1</bdi>", server.url())), "the source is named");
    service.kill();

    // Dark, it still knows what it was told; and the document is asked for again without being stored twice.
    shelf.put("/feed", 503, "", "");
    let service = garden.start();
    assert_eq!(headlines(&service), [VERY_HOT]);
    shelf.feed(&["/1"], "2026-01-01T00:00:00Z");
    let asked = shelf.asked("/1");
    until("the document is read again", || (shelf.asked("/1") > asked).then_some(()));

    let update = info(&alert).replace(VERY_HOT, "Now until Friday");
    shelf.put("/2", 200, "", about(&alert, "Update", "u", "greenhouse@example.org", 2, &update));
    shelf.feed(&["/2", "/1"], "2026-01-01T00:00:00Z");
    until("the update takes its place", || (headlines(&service) == ["Now until Friday"]).then_some(()));

    // The Cancel names the first message only, and the feed has it before what it takes back.
    shelf.put("/3", 200, "", about(&alert, "Cancel", "c", "greenhouse@example.org", 1, ""));
    shelf.feed(&["/3", "/2", "/1"], "2026-01-01T00:00:00Z");
    until("the cancel takes it back", || headlines(&service).is_empty().then_some(()));
    let (_, page) = service.get("/");
    assert!(!page.contains("Public warning"), "nothing of it is left on the page");

    // The first message again, as if it were news: asked for, and without effect.
    shelf.put("/4", 200, "", alert);
    shelf.feed(&["/4"], "2026-02-01T00:00:00Z");
    until("the replay is read", || (shelf.asked("/4") > 0).then_some(()));
    // The look after it shows that the one before was taken in.
    let looks = shelf.asked("/feed");
    until("another look", || (shelf.asked("/feed") > looks + 1).then_some(()));
    assert_eq!(headlines(&service), [""; 0]);
    assert!(service.stop().success());
}

#[test]
fn hostile_documents_are_refused_named_on_the_page_and_hinder_no_other() {
    let (shelf, trap) = (Shelf::default(), Shelf::default());
    let (server, inner) = (shelf.serve(), trap.serve());
    let alert = alert();
    trap.put("/secret", 200, "", alert.replace(VERY_HOT, "From within"));
    let secret = format!("{}/secret", inner.url());
    let laughs = "<!DOCTYPE a [<!ENTITY a \"ha\"><!ENTITY b \"&a;&a;&a;\">]>";
    shelf.put("/bomb", 200, "", alert.replace("<alert", &format!("{laughs}<alert")));
    shelf.put("/big", 200, "", alert.replace(VERY_HOT, &"x".repeat(10_000_000)));
    shelf.put("/deep", 200, "", alert.replace("<info>", &format!("<info>{}", "<a>".repeat(10_000))));
    shelf.put("/many", 200, "", alert.replace("<info>", &format!("<info>{}", "<a/>".repeat(60_000))));
    shelf.put("/moved", 302, &format!("Location: {secret}\r\n"), "");
    shelf.put("/test", 200, "", alert.replace("Actual", "Test").replace(VERY_HOT, "A test"));
    let stranger = about(&alert, "Cancel", "forged", "stranger@example.org", 1, "");
    shelf.put("/forged", 200, "", stranger);
    let elsewhere = alert.replace("52,5 53,5 53,6 52,6 52,5", "12,5 13,5 13,6 12,6 12,5");
    shelf.put("/elsewhere", 200, "", elsewhere.replace("0001<", "0009<").replace(VERY_HOT, "Elsewhere"));
    let over = alert.replace("0001<", "0008<").replace(&hours(48), &hours(-1));
    shelf.put("/over", 200, "", over.replace(VERY_HOT, "Over"));
    shelf.put("/good", 200, "", alert);
    let links = [
        "/bomb",
        "/big",
        "/deep",
        "/many",
        "/moved",
        &secret,
        "file:///etc/passwd",
        "/test",
        "/forged",
        "/elsewhere",
        "/over",
        "/good",
    ];
    shelf.feed(&links, "2026-01-01T00:00:00Z");
    let garden = garden(&server.url());
    let service = garden.start();
    until_within(90, "the good one is shown", || (headlines(&service) == [VERY_HOT]).then_some(()));
    let said = until("the page names a refusal", || Some(away(&service)).filter(|said| !said.is_empty()));
    assert!(said.contains("warnings feed away since") && said.contains("(and "), "{said}");
    let looks = shelf.asked("/feed");
    until("another look", || (shelf.asked("/feed") > looks + 1).then_some(()));
    assert_eq!(headlines(&service), [VERY_HOT]);
    assert_eq!(inner.asked(), 0, "no document and no redirect led within");
    for path in ["/bomb", "/big", "/deep", "/moved", "/test", "/forged", "/elsewhere", "/over", "/good"] {
        assert!(shelf.asked(path) > 0, "{path} was not read");
    }
    // What may be wrong for ever is not asked for at each look; what did not come whole is.
    for path in ["/bomb", "/deep", "/many", "/test", "/forged", "/good"] {
        assert_eq!(shelf.asked(path), 1, "{path}");
    }
    assert!(service.stop().success());
}

#[test]
fn a_feed_that_falls_silent_is_told_as_blindness_and_so_is_its_return() {
    let shelf = Shelf::default();
    let server = shelf.serve();
    // The address may serve a message itself.
    shelf.put("/feed", 200, "", alert());
    let garden = garden(&server.url());
    let service = garden.start();
    until("the warning is shown", || (headlines(&service) == [VERY_HOT]).then_some(()));
    assert_eq!(away(&service), "");
    shelf.put("/feed", 500, "", "");
    let said = until_within(60, "blindness is told", || Some(away(&service)).filter(|said| !said.is_empty()));
    assert!(said.contains("it answers with status 500; a public warning would not be seen here"), "{said}");
    assert_eq!(headlines(&service), [VERY_HOT], "what stands, stands");
    let (_, page) = service.get("/");
    assert!(page.contains("a public warning would not be seen here"));
    shelf.put("/feed", 200, "", alert());
    until("it is back", || away(&service).is_empty().then_some(()));
    assert!(service.stop().success());
}

/// Publishes a retained message by the distribution's own client.
fn publish(broker: &Broker, topic: &str, text: &str) {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("message");
    std::fs::write(&file, text).unwrap();
    let mut command = Command::new("mosquitto_pub");
    command.args(["-h", "127.0.0.1", "-p", &broker.port.to_string(), "-q", "1", "-r", "-t", topic, "-f"]);
    assert!(command.arg(file).status().unwrap().success());
}

#[test]
fn warnings_come_by_a_topic_of_the_broker_too() {
    if !broker::available() {
        return;
    }
    let broker = Broker::start();
    let garden = Garden::new(&format!(
        "[broker]\nhost = \"127.0.0.1\"\nport = {}\n[warnings]\ntopic = \"yard/warnings/+\"\n\
         heat_events = [\"EXAMPLE=7\", \"hitze\"]\nlanguage = \"de\"\ngeocodes = {{ DISTRICT = [\"1234\"] }}\n",
        broker.port
    ));
    let alert = alert();
    let german = "<info><language>de</language><category>Met</category><event>Hitze</event>\
                  <urgency>Expected</urgency><severity>Severe</severity><certainty>Likely</certainty>";
    let expires = &alert[alert.find("<expires>").unwrap()..alert.find("<senderName>").unwrap()];
    let german = format!("{german}{expires}<headline>Sehr heiß</headline></info></alert>");
    let text = alert
        .replace("52,5 53,5 53,6 52,6 52,5", "12,5 13,5 13,6 12,6 12,5")
        .replace(
            "<geocode><valueName>EMMA_ID</valueName><value>DE999",
            "<geocode><valueName>DISTRICT</valueName><value>1234",
        )
        .replace("</alert>", &german);
    publish(&broker, "yard/warnings/a", &text);
    let service = garden.start();
    until("the retained warning is shown", || (headlines(&service) == ["Sehr heiß"]).then_some(()));
    let (_, page) = service.get("/");
    assert!(page.contains("<h3 lang=\"de\" dir=\"auto\">Sehr heiß</h3>"));
    assert!(page.contains("read from <bdi>the topic yard/warnings/a</bdi>"));
    publish(&broker, "yard/warnings/b", "<!DOCTYPE alert><alert/>");
    let said = until("the refusal is told", || Some(away(&service)).filter(|said| !said.is_empty()));
    assert!(
        said.contains("warnings on yard/warnings/+ away since") && said.contains("document type"),
        "{said}"
    );
    publish(&broker, "yard/warnings/a", &about(&alert, "Cancel", "c", "greenhouse@example.org", 1, ""));
    until("the cancel takes it back", || headlines(&service).is_empty().then_some(()));
    until("the next good message ends the trouble", || away(&service).is_empty().then_some(()));
    assert!(service.stop().success());
}
