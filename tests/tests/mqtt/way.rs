//! Whether a broker lets us in, and lets come what it granted.

use glasshour::clock::FastClock;

use super::*;

/// What is told of the topic garden/house, and where it is heard in the end, on a broker with this access list.
async fn starved(access: &str) -> Option<String> {
    let broker = Mosquitto::guarded(Some(access))?;
    let right = BrokerSettings {
        login: Some(("board".to_owned(), "right".to_owned())),
        keep_alive: Duration::from_secs(1),
        ..settings(broker.port())
    };
    // Three minutes within half a second.
    let clock = Arc::new(FastClock::new(1_784_034_120_000, 400.0));
    let mut source = Source::by(clock, right, vec![stamped("garden/house")], 64);
    assert_eq!(source.events.away("broker").await, None, "the subscription is granted all the same");
    let why = source.events.away("topic garden/house").await.unwrap();
    assert!(why.starts_with("connected, but nothing has ever come on garden/house"), "{why}");
    source.stop().await;
    Some(why)
}

#[tokio::test]
async fn m10_a_topic_that_the_access_list_starves_is_told_with_what_to_look_at() {
    // One who may read nothing; and one who may read what is ours, as `deploy/mosquitto.acl` has it, but no garden.
    let Some(nothing) = starved("user board\ntopic write glasshour/#\n").await else { return };
    assert!(
        nothing.contains("did not come back") && nothing.contains("the user board; let it read"),
        "{nothing}"
    );
    let own = starved("user board\ntopic readwrite glasshour/#\n").await.unwrap();
    assert!(own.contains("Our own message on glasshour/echo/glasshour-test came back"), "{own}");
}

#[tokio::test]
async fn m10_a_topic_on_which_something_came_is_not_told_as_silent() {
    let Some(broker) = Mosquitto::start() else { return };
    let clock = Arc::new(FastClock::new(1_784_034_120_000, 400.0));
    let quick = BrokerSettings { keep_alive: Duration::from_secs(1), ..settings(broker.port()) };
    let rules = vec![stamped("garden/house"), stamped("garden/other")];
    let mut source = Source::by(clock, quick, rules, 64);
    assert_eq!(source.events.away("broker").await, None);
    publish(broker.port(), vec![reading(1)]).await;
    assert_eq!(source.value().await, 1.0);
    assert!(source.events.away("topic garden/other").await.is_some());
    publish(broker.port(), vec![("garden/other", false, reading(2).2)]).await;
    assert_eq!(source.events.away("topic garden/other").await, None, "taken back");
    assert_eq!(source.value().await, 2.0);
    assert!(source.events.is_empty(), "nothing of garden/house, and no message of our own as a reading");
    source.stop().await;
}

#[tokio::test]
async fn m10_a_port_that_wants_an_encrypted_way_and_a_broker_that_wants_a_name_are_named() {
    let Some(broker) = Mosquitto::guarded(None) else { return };
    let mut source = Source::with(settings(broker.port()), vec![stamped("garden/house")], 64);
    let why = source.events.away("broker").await.unwrap();
    assert!(
        why.contains("without a name") && why.contains("write user and password_file under [broker]"),
        "{why}"
    );
    source.stop().await;
    let Some(maker) = tests::need("openssl", "openssl") else { return };
    let secret = Mosquitto::start_with(|folder| {
        let (key, certificate) = (folder.join("key.pem"), folder.join("certificate.pem"));
        let mut command = std::process::Command::new(maker);
        command.args([
            "req",
            "-x509",
            "-nodes",
            "-newkey",
            "rsa:2048",
            "-subj",
            "/CN=localhost",
            "-days",
            "1",
        ]);
        let made = command.arg("-keyout").arg(&key).arg("-out").arg(&certificate).output().unwrap();
        assert!(made.status.success());
        let (key, certificate) = (key.display(), certificate.display());
        format!("allow_anonymous true\nkeyfile {key}\ncertfile {certificate}\n")
    });
    let secret = secret.unwrap();
    let mut source = Source::with(settings(secret.port()), vec![stamped("garden/house")], 64);
    let why = source.events.away("broker").await.unwrap();
    assert!(why.contains("a port for an encrypted way (TLS)"), "{why}");
    source.stop().await;
}

#[tokio::test]
async fn a_wrong_password_is_named_once_and_tried_again_at_a_growing_pace() {
    let Some(broker) = Mosquitto::guarded(None) else { return };
    let wrong = BrokerSettings {
        login: Some(("board".to_owned(), "wrong".to_owned())),
        pause: Pause::new(Duration::from_millis(100), Duration::from_secs(60)),
        ..settings(broker.port())
    };
    let mut source = Source::with(wrong, vec![stamped("garden/house")], 64);
    let why = source.events.away("broker").await;
    let said = "the broker does not let board in: a wrong password, or not allowed; compare both with the broker's lists";
    assert_eq!(why.as_deref(), Some(said));
    // With pauses of at least 50, 100, 200, … ms, the eighth try comes after at least 6 s; unpaced, thousands
    // would come in the time the first four take.
    let tries = || broker.log().matches("New connection from").count();
    let some = async {
        while tries() < 5 {
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
    };
    timeout(DEADLINE, some).await.expect("further tries");
    assert!(tries() < 12, "{} tries", tries());
    assert!(source.events.is_empty(), "told once");
    source.stop().await;
}

#[tokio::test]
async fn with_the_right_password_it_hears() {
    let Some(broker) = Mosquitto::guarded(None) else { return };
    let right =
        BrokerSettings { login: Some(("board".to_owned(), "right".to_owned())), ..settings(broker.port()) };
    let mut source = Source::with(right, vec![stamped("garden/house")], 64);
    assert_eq!(source.events.away("broker").await, None);
    source.stop().await;
}
