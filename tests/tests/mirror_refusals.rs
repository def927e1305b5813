//! What the other side may do instead of taking points, one test for each row of what was seen of real servers.

use std::time::Duration;

use agronomy::quantity::Quantity;
use glasshour::mirror::points::of_reading;
use glasshour::mirror::server::{Refusal, Remote, Server as _};
use glasshour::reading::{Reading, Reason};
use serde_json::json;
use tests::copied::{self, Running, START_MS, minute, put, settings};
use tests::servers::http::Small;
use tests::servers::metrics::{self, Metrics};
use tests::servers::process::until;
use tests::servers::series::{self, Series};

const WEEK_MS: i64 = 7 * 86_400_000;

fn reading(at_ms: i64, value: f64) -> Reading {
    Reading { probe: "bench-1".into(), quantity: Quantity::Co2, value, at_ms, reason: Reason::None }
}

/// What one call with one point comes to, with the patience of a test.
async fn one_call(url: String) -> Result<(), Refusal> {
    let mut settings = settings(url);
    settings.limits = (Duration::from_millis(300), Duration::from_secs(5));
    let (remote, _) = Remote::new(&settings).unwrap();
    remote.write(vec![of_reading(&reading(START_MS, 1.0)).unwrap()]).await
}

#[test]
fn the_first_server_takes_a_line_end_in_a_tag_for_a_new_series_and_drops_what_is_no_number() {
    if !metrics::available() {
        return;
    }
    // Why names are checked before they become tags, and values before they become fields: it answers 204 to all this.
    let database = Metrics::start();
    let lines = format!(
        "reading,probe=a\nforged,probe=b value=1 {START_MS}\nodd,probe=c\\,grade=d value=2 {START_MS}\n\
         empty,probe=,grade=e value=3 {START_MS}\nnan,probe=f value=NaN {START_MS}\nnan,probe=f value=4 {}\n\
         words,probe=g text=\"x\" {START_MS}\n",
        START_MS + 1
    );
    assert_eq!(database.write(&lines), 204);
    let names = |name: &str| database.export(name).into_keys().collect::<Vec<_>>();
    let forged = until("it shows the forged series", || names("forged_value").pop());
    assert_eq!(forged, json!({ "__name__": "forged_value", "probe": "b" }).to_string());
    assert_eq!(names("odd_value"), [json!({ "__name__": "odd_value", "probe": "c,grade=d" }).to_string()]);
    assert_eq!(names("empty_value"), [json!({ "__name__": "empty_value", "grade": "e" }).to_string()]);
    let nan = database.export("nan_value").into_values().next().unwrap();
    assert_eq!(nan, [(START_MS + 1, 4.0)]);
    assert_eq!(database.export("words_text").into_values().next().unwrap(), [(START_MS, 0.0)]);
}

#[test]
fn the_second_server_refuses_all_that_but_stores_the_good_lines_beside_it() {
    if !series::available() {
        return;
    }
    let database = Series::start();
    let good = format!("good,probe=z value=5 {START_MS}\n");
    for bad in [
        "reading,probe=a\nb value=1",
        "reading,probe=c\\,grade=d value=2",
        "reading,probe= value=3",
        "reading,probe=f value=NaN",
        "reading,probe=f value=inf",
        "reading,probe=a\\\\ value=1",
    ] {
        let (status, words) = database.write(&format!("{bad} {START_MS}\n{good}"));
        assert_eq!(status, 400, "{bad}: {words}");
    }
    let names = database.query("SHOW MEASUREMENTS")["series"][0]["values"].clone();
    // Even here what follows a line end in a tag is a line of its own, and stored.
    assert_eq!(names, json!([["b"], ["good"]]));
}

#[tokio::test]
async fn a_point_the_server_cannot_take_is_found_and_set_aside_and_the_good_ones_are_kept() {
    if !series::available() {
        return;
    }
    let database = Series::start();
    // The field holds text in one week (fields have one type in each of its stretches of a week), so a number in that
    // week is refused: 400, and the rest of the call is stored.
    let odd_ms = START_MS - 10 * WEEK_MS;
    let (status, words) = database.write(&format!("reading,probe=x value=\"text\" {odd_ms}\n"));
    assert_eq!(status, 204, "{words}");
    let (mut ledger, boot) = copied::ledger();
    let mut all: Vec<Reading> = (1..300).flat_map(minute).collect();
    all.push(reading(odd_ms + 1, 400.0));
    all.extend((300..400).flat_map(minute));
    let good = all.len() - 1;
    put(&mut ledger, boot, START_MS, &all);
    let mut running = Running::start(&settings(database.url()), ledger.reader().unwrap(), boot);
    running.has_everything().await;
    assert_eq!(running.standing.set_aside, 1);
    let why = running.standing.set_aside_why.clone().unwrap();
    assert!(why.contains("field type conflict"), "{why}");
    running.end().await;
    let answer = database.query(&format!("SELECT count(value) FROM reading WHERE time >= {START_MS}ms"));
    assert_eq!(answer["series"][0]["values"][0][1], json!(good));
}

#[tokio::test]
async fn a_body_over_the_servers_limit_is_halved_until_it_fits() {
    if !series::available() {
        return;
    }
    let database = Series::start_with("6000", "CREATE DATABASE glasshour");
    let (mut ledger, boot) = copied::ledger();
    let all: Vec<Reading> = (1..600).flat_map(minute).collect();
    put(&mut ledger, boot, START_MS, &all);
    let mut running = Running::start(&settings(database.url()), ledger.reader().unwrap(), boot);
    running.has_everything().await;
    assert_eq!(running.standing.set_aside, 0);
    running.end().await;
    assert!(database.calls() > 1, "one call was enough");
    let answer = database.query("SELECT count(value) FROM reading");
    assert_eq!(answer["series"][0]["values"][0][1], json!(all.len()));
}

#[tokio::test]
async fn points_older_than_the_server_keeps_are_counted_and_do_not_hold_up_the_rest() {
    if !series::available() {
        return;
    }
    let create = "CREATE DATABASE glasshour WITH DURATION 1h REPLICATION 1";
    let database = Series::start_with("25000000", create);
    let (mut ledger, boot) = copied::ledger();
    let old: Vec<Reading> = (1..10).flat_map(minute).collect();
    put(&mut ledger, boot, START_MS, &old);
    let mut running = Running::start(&settings(database.url()), ledger.reader().unwrap(), boot);
    running.has_everything().await;
    assert_eq!(running.standing.set_aside, old.len() as u64);
    let why = running.standing.set_aside_why.clone().unwrap();
    assert!(why.contains("beyond retention policy"), "{why}");
    running.end().await;
}

#[tokio::test]
async fn a_silent_server_holds_the_mirror_no_longer_than_its_limit() {
    let silent = Small::start(|_| None);
    let refused = one_call(silent.url()).await;
    assert!(matches!(&refused, Err(Refusal::Away(why)) if why.contains("timed out")), "{refused:?}");
}

#[tokio::test]
async fn a_refused_connection_is_a_server_that_is_away() {
    let port = tests::servers::process::free_port();
    let refused = one_call(format!("http://127.0.0.1:{port}")).await;
    assert!(matches!(&refused, Err(Refusal::Away(why)) if why.contains("refused")), "{refused:?}");
}

#[tokio::test]
async fn no_redirect_is_followed() {
    let elsewhere = Small::start(|_| Some((204, String::new(), vec![])));
    for status in [301, 302, 307, 308] {
        let location = format!("Location: {}/api/v2/write\r\n", elsewhere.url());
        let redirects = Small::start(move |_| Some((status, location.clone(), vec![])));
        let refused = one_call(redirects.url()).await;
        assert!(
            matches!(&refused, Err(Refusal::Us(why)) if why.contains(&status.to_string())),
            "{refused:?}"
        );
    }
    assert_eq!(elsewhere.asked(), 0);
}

#[tokio::test]
async fn each_answer_of_a_server_means_what_it_should_and_only_204_is_success() {
    let answer =
        |status| Small::start(move |_| Some((status, String::new(), b"words\nof\tthe server".to_vec())));
    assert_eq!(one_call(answer(204).url()).await, Ok(()));
    for (status, expected) in [
        (200, Refusal::Us as fn(String) -> Refusal),
        (401, Refusal::Us),
        (403, Refusal::Us),
        (404, Refusal::Us),
        (400, Refusal::Points),
        (413, Refusal::Points),
        (429, Refusal::Away),
        (500, Refusal::Away),
        (503, Refusal::Away),
    ] {
        let server = answer(status);
        assert_eq!(
            one_call(server.url()).await,
            Err(expected(format!("status {status}: words of the server")))
        );
    }
}

#[tokio::test]
async fn https_is_spoken_with_a_server_of_ones_own_authority_and_with_no_other() {
    if !metrics::available() || !tests::servers::smtp::available() {
        return;
    }
    let database = Metrics::start_encrypted();
    for host in ["localhost", "127.0.0.1"] {
        let mut trusting = settings(format!("https://{host}:{}", database.port));
        trusting.authority = Some(database.authority());
        let (mut ledger, boot) = copied::ledger();
        put(&mut ledger, boot, START_MS, &minute(1));
        let mut running = Running::start(&trusting, ledger.reader().unwrap(), boot);
        running.has_everything().await;
        assert_eq!(running.standing.words(), "the mirror has everything", "{host}");
        running.end().await;
        // Nobody vouches for it among the system's authorities.
        let stranger = settings(trusting.url);
        let mut running = Running::start(&stranger, ledger.reader().unwrap(), boot);
        let why = running.keeper.away("mirror").await;
        assert!(why.contains("invalid peer certificate") && why.contains("UnknownIssuer"), "{why}");
        running.end().await;
    }
}

#[tokio::test]
async fn a_certificate_that_may_sign_others_is_refused_with_the_reason_and_what_to_do() {
    if !metrics::available() || !tests::servers::smtp::available() {
        return;
    }
    // What openssl makes of a request as it comes (openssl-req(1), -x509): CA:TRUE.
    let database = Metrics::start_certified("CA:TRUE");
    let mut trusting = settings(format!("https://localhost:{}", database.port));
    trusting.authority = Some(database.authority());
    let (mut ledger, boot) = copied::ledger();
    put(&mut ledger, boot, START_MS, &minute(1));
    let mut running = Running::start(&trusting, ledger.reader().unwrap(), boot);
    let why = running.keeper.away("mirror").await;
    assert!(why.contains("CaUsedAsEndEntity") && why.contains("CA:FALSE"), "{why}");
    running.end().await;
    let (mut shown, pipe) = glasshour::mirror::shown::Shown::new(&trusting).unwrap();
    let asked = async { shown.numbers(&(START_MS..START_MS + 1)).await.unwrap_err().to_string() };
    let why = tokio::select! { why = asked => why, ended = pipe.unwrap().run() => panic!("{ended:?}") };
    assert!(why.contains("CaUsedAsEndEntity"), "{why}");
}

#[tokio::test]
async fn a_ledger_that_was_copied_to_one_server_is_copied_whole_to_another() {
    if !metrics::available() {
        return;
    }
    let (one, other) = (Metrics::start(), Metrics::start());
    let (mut ledger, boot) = copied::ledger();
    for number in 1..=3 {
        put(&mut ledger, boot, START_MS + number * 60_000, &minute(number));
    }
    let mut running = Running::start(&settings(one.url()), ledger.reader().unwrap(), boot);
    running.has_everything().await;
    let cursors = running.cursors.clone();
    running.end().await;
    let moved: Vec<(&str, i64)> = cursors.iter().map(|(name, at)| (name.as_str(), *at)).collect();
    ledger
        .commit(&glasshour::ledger::Commit {
            cursors: &moved,
            ..glasshour::ledger::Commit::empty(boot, 1, 1)
        })
        .unwrap();
    let mut running = Running::start(&settings(other.url()), ledger.reader().unwrap(), boot);
    running.has_everything().await;
    assert!(running.standing.from_beginning, "{:?}", running.standing);
    running.end().await;
    // Four probes, two quantities, three minutes.
    let (mut shown, _) = glasshour::mirror::shown::Shown::new(&settings(other.url())).unwrap();
    until_shown(&mut shown, 24).await;
}

/// Waits until the server shows so many numbers.
async fn until_shown(shown: &mut glasshour::mirror::shown::Shown, wanted: usize) {
    for _ in 0..600 {
        let numbers = shown.numbers(&(START_MS..START_MS + 3_600_000)).await.unwrap();
        if numbers.values().map(std::collections::BTreeMap::len).sum::<usize>() == wanted {
            return;
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    panic!("not within a minute");
}
