//! Fetching from a service of the tests' own, which answers what it is told to.

use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use serde_json::json;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpListener;
use tokio::sync::mpsc;

use super::*;
use crate::clock::Clock;
use crate::keeper::event::Event;

/// `date -u -d '2026-07-14 05:00' +%s` of GNU coreutils says 1784005200.
const NOW_MS: i64 = 1_784_005_200_000;

/// A clock that the tests move.
#[derive(Default)]
struct Moved(AtomicI64);

impl Clock for Moved {
    fn wall_ms(&self) -> i64 {
        NOW_MS + self.monotonic_ms()
    }

    fn monotonic_ms(&self) -> i64 {
        self.0.load(Ordering::Relaxed)
    }

    fn vouched_by(&self) -> Option<String> {
        Some("the test".to_owned())
    }
}

fn forecast() -> String {
    let hour = |at: i64| json!({ "at": crate::calendar::iso(NOW_MS + at * 3_600_000), "air": 25 });
    let hours: Vec<_> = (0..60).map(hour).collect();
    json!({ "issued": crate::calendar::iso(NOW_MS), "latitude": 52.1, "longitude": 5.3, "hours": hours })
        .to_string()
}

fn answer(head: &str, body: &str) -> String {
    format!("HTTP/1.1 {head}\r\nContent-Length: {}\r\nConnection: close\r\n\r\n{body}", body.len())
}

/// What came of fetching.
#[derive(Default)]
struct Seen {
    /// What the keeper was told, in words.
    told: Vec<String>,
    /// What the service was asked.
    asked: Vec<String>,
    /// When it would have been asked again.
    next: Vec<Next>,
}

/// Fetches once for each answer of the service, so many minutes after the one before.
async fn fetched(answers: &[(i64, String)]) -> Seen {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let url: Uri = format!("http://{}/f", listener.local_addr().unwrap()).parse().unwrap();
    let (events, mut heard) = mpsc::channel(8);
    let map =
        config::read_outlook_map(config::shipped_outlook_map("rows").unwrap(), &config::Zones::system());
    let clock = Arc::new(Moved::default());
    let shared: Arc<dyn Clock> = clock.clone();
    let mut intake =
        Intake::new(map.unwrap(), (52.0, 5.0), Duration::from_secs(3600), events, shared).asked();
    let client = Client::new(None, Duration::from_secs(60)).unwrap();
    let (mut asked, mut next, mut told) = (Vec::new(), Vec::new(), Vec::new());
    let fetching = async {
        let mut mark = None;
        for (minutes, answer) in answers {
            clock.0.fetch_add(minutes * 60_000, Ordering::Relaxed);
            let service = async {
                let (mut line, _) = listener.accept().await.unwrap();
                let mut request = [0; 4096];
                let read = line.read(&mut request).await.unwrap();
                line.write_all(answer.as_bytes()).await.unwrap();
                String::from_utf8_lossy(&request[..read]).to_lowercase()
            };
            let (came, request) = tokio::join!(once(&url, &client, &mut intake, &mut mark), service);
            next.push(came.unwrap());
            asked.push(request);
        }
        drop(intake);
    };
    let keeper = async {
        while let Some(event) = heard.recv().await {
            match event {
                Event::Outlook { read, answer } => {
                    told.push(format!("{} hours", read.hours.len()));
                    answer.send(Ok(true)).unwrap();
                }
                Event::Away { why, .. } => told.push(why.unwrap_or_else(|| "back".to_owned())),
                _ => told.push("something else".to_owned()),
            }
        }
    };
    tokio::join!(fetching, keeper);
    Seen { told, asked, next }
}

#[tokio::test]
async fn a_forecast_is_taken_and_not_fetched_again_while_its_mark_is_the_same() {
    let unchanged = answer("304 Not Modified", "");
    let first = answer("200 OK\r\nETag: \"seven\"", &forecast());
    let seen = fetched(&[(0, first), (60, unchanged.clone()), (60, unchanged)]).await;
    assert_eq!(seen.told, ["60 hours"]);
    assert!(!seen.asked[0].contains("if-none-match"), "{}", seen.asked[0]);
    assert!(seen.asked[1..].iter().all(|asked| asked.contains("if-none-match: \"seven\"")));
    assert_eq!(seen.next, [Next::AtTheInterval, Next::AtTheInterval, Next::AtTheInterval]);
}

#[tokio::test]
async fn what_cannot_be_used_is_said_once_with_its_reason_and_taken_back_when_it_can() {
    let elsewhere = answer("200 OK\r\nETag: \"eight\"", &forecast().replace("52.1", "12.1"));
    let seen = fetched(&[(0, elsewhere.clone()), (60, elsewhere), (60, answer("200 OK", &forecast()))]).await;
    let doubt = "outlook doubtful: it is for 12.10° N, 5.30° E, which is not here; asked again within 60 min";
    assert_eq!(seen.told, [doubt, "60 hours", "back"]);
    assert!(!seen.asked[1].contains("if-none-match"), "what was not taken is to come again whole");
}

#[tokio::test]
async fn a_service_that_never_answered_is_said_at_once_and_a_redirect_is_not_followed() {
    let redirect = answer("302 Found\r\nLocation: http://127.0.0.1:1/", "");
    let seen = fetched(&[(0, redirect.clone()), (1, redirect)]).await;
    assert_eq!(
        seen.told,
        ["the service sends us elsewhere (status 302), which is not followed; asked again within 60 min"]
    );
    assert_eq!(seen.next, [Next::Sooner(None), Next::Sooner(None)]);
}

#[tokio::test]
async fn a_service_that_says_when_to_come_back_is_said_with_that_time() {
    let seen = fetched(&[(0, answer("503 Busy\r\nRetry-After: 900", ""))]).await;
    assert_eq!(seen.told, ["the service answers with status 503; asked again within 15 min"]);
}

#[tokio::test]
async fn one_that_fails_for_a_while_is_said_only_after_twice_its_interval_and_its_wish_is_heard() {
    let fails = answer("500 Oops", "");
    let busy = answer("503 Busy\r\nRetry-After: 900", "");
    let seen =
        fetched(&[(0, answer("200 OK", &forecast())), (60, fails.clone()), (60, busy), (1, fails)]).await;
    let said = "the service answers with status 500; asked again within 60 min";
    assert_eq!(seen.told, ["60 hours", said], "two hours are no news yet");
    assert_eq!(seen.next[2], Next::Sooner(Some(Duration::from_secs(900))));
}

#[tokio::test]
async fn more_than_a_forecast_can_be_is_not_read_to_its_end() {
    let endless = answer("200 OK", &" ".repeat(LARGEST + 1));
    let seen = fetched(&[(0, endless)]).await;
    assert_eq!(seen.told, ["the answer is longer than 1048576 bytes; asked again within 60 min"]);
}
