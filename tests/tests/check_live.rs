//! `glasshour check --live` against real far ends: what works, what does not and why, and that nothing is sent.

use tests::mosquitto::{Mosquitto, free_port};
use tests::program::{Garden, program, run, said};
use tests::servers::faketime::{self, Faketime};
use tests::servers::hook::{self, Hook};
use tests::servers::smtp::{self, Smtp};

const SECRET: &str = "seven lean cabbages";

fn broker(port: u16, password: &str) -> String {
    format!(
        "[broker]\nhost = \"127.0.0.1\"\nport = {port}\nuser = \"board\"\npassword = \"{password}\"\n\n\
         [[broker.topic]]\nfilter = \"yard/house\"\nprobe = \"post\"\n\
         bare = {{ quantity = \"air_temperature\", unit = \"°C\" }}\n\n"
    )
}

/// The exit code of the command for a garden, and what it said of each way.
fn checked(garden: &Garden) -> (Option<i32>, Vec<String>) {
    let output = run(&["check", "--live", garden.site_file().to_str().unwrap()]);
    ways(&output)
}

fn ways(output: &std::process::Output) -> (Option<i32>, Vec<String>) {
    let text = String::from_utf8_lossy(&output.stdout);
    let ways = text.lines().filter(|line| line.starts_with("well: ") || line.starts_with("FAILS: "));
    let ways: Vec<String> = ways.map(str::to_owned).collect();
    assert!(!ways.is_empty(), "{text}{}", said(output));
    (output.status.code(), ways)
}

/// Whether the way that begins so was told with all of these words.
fn told(ways: &[String], way: &str, words: &[&str]) {
    let line = ways.iter().find(|line| line.starts_with(way)).unwrap_or_else(|| panic!("no {way}: {ways:?}"));
    assert!(words.iter().all(|part| line.contains(part)), "{line}");
}

#[test]
fn b9_where_all_is_well_it_says_so_and_sends_nothing() {
    if !smtp::available() || !hook::available() {
        return;
    }
    let Some(mosquitto) =
        Mosquitto::guarded(Some("user board\ntopic read yard/#\ntopic readwrite glasshour/#\n"))
    else {
        return;
    };
    let (mail, hook) = (Smtp::start(&[]), Hook::start(SECRET, true, &[]));
    let garden = Garden::new(&format!(
        "{}[mail]\nhost = \"127.0.0.1\"\ntls = \"none-on-loopback\"\nport = {}\n\
         from = \"house@garden.example\"\nto = [\"you@garden.example\"]\n\n\
         [webhook]\nurl = \"https://127.0.0.1:{}/in\"\nsecret_file = {:?}\nca = {:?}\n\n\
         [life_sign]\nurl = \"https://127.0.0.1:{}/alive\"\nca = {:?}\n",
        broker(mosquitto.port(), "right"),
        mail.port,
        hook.port,
        hook.authority(),
        hook.authority(),
        hook.port,
        hook.authority(),
    ));
    let (code, ways) = checked(&garden);
    assert!(code == Some(0) && ways.len() == 5, "{code:?} {ways:?}");
    assert!(ways.iter().all(|line| line.starts_with("well: ")), "{ways:?}");
    told(&ways, "well: clock", &["vouched for by the system"]);
    told(&ways, "well: broker", &[&format!("127.0.0.1:{}", mosquitto.port())]);
    assert!(mail.letters().is_empty() && hook.came().is_empty(), "no notice, and no sign of life");
    let log = mosquitto.log();
    assert!(
        log.contains("as glasshour-check") && !log.contains("as glasshour "),
        "a name of its own:\n{log}"
    );
}

#[test]
fn b9_each_way_that_fails_is_told_with_why_in_one_run() {
    if !smtp::available() || !hook::available() || !faketime::available() {
        return;
    }
    let Some(mosquitto) = Mosquitto::guarded(Some("user board\ntopic read yard/#\n")) else { return };
    // A certificate that nobody vouches for, and one that was good until yesterday.
    let (mail, hook) = (Smtp::start(&["--tls", "starttls"]), Hook::of_today(SECRET));
    let gone = free_port();
    let rest = format!(
        "[[bus]]\ndevice = \"/dev/there-is-no-such-bus\"\n[[bus.instrument]]\nkind = \"sht4x\"\nprobe = \"wall\"\n\n\
         {}[mail]\nhost = \"127.0.0.1\"\ntls = \"starttls\"\nport = {}\n\
         from = \"house@garden.example\"\nto = [\"you@garden.example\"]\n\n\
         [webhook]\nurl = \"https://127.0.0.1:{}/in\"\nsecret_file = {:?}\nca = {:?}\n\n\
         [life_sign]\nurl = \"http://127.0.0.1:{gone}/alive\"\n",
        broker(mosquitto.port(), "right"),
        mail.port,
        hook.port,
        hook.authority(),
        hook.authority(),
    );
    let garden = Garden::new(&rest);
    let mut command = std::process::Command::new(program());
    command.args(["check", "--live", garden.site_file().to_str().unwrap()]);
    let clock = Faketime::new("+2d");
    let late = command.envs(clock.environment()).output().unwrap();
    let (code, ways) = ways(&late);
    assert_eq!(code, Some(1), "{ways:?}");
    told(&ways, "FAILS: bus /dev/there-is-no-such-bus", &["is the bus switched on, the adapter plugged in?"]);
    assert!(!ways.iter().any(|line| line.contains("wall at 0x44")), "no bus, no instrument: {ways:?}");
    told(
        &ways,
        "FAILS: broker",
        &["glasshour/echo/glasshour-check did not come back", "let the user board read"],
    );
    told(&ways, "FAILS: mail", &["certificate"]);
    told(&ways, "FAILS: webhook", &["the far end's certificate has run out"]);
    told(&ways, "FAILS: life sign", &["no connection: ", "refused"]);
    assert!(mail.letters().is_empty() && hook.came().is_empty());

    let (code, ways) = checked(&Garden::new(&broker(mosquitto.port(), "wrong")));
    assert_eq!(code, Some(1));
    told(&ways, "FAILS: broker", &["does not let board in: a wrong password, or not allowed"]);
    let (code, ways) = checked(&Garden::new(&broker(gone, "right")));
    assert_eq!(code, Some(1));
    told(&ways, "FAILS: broker", &[&format!("nothing listens at 127.0.0.1:{gone}")]);
}
