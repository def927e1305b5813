//! The sign of life and the picture, against servers that misbehave.

use std::collections::VecDeque;
use std::os::linux::net::SocketAddrExt as _;
use std::os::unix::net::{SocketAddr, UnixDatagram};
use std::process::{Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use glasshour::clock::{Clock, FastClock};
use glasshour::glance::Glance;
use glasshour::keeper::event::Event;
use glasshour::keeper::handle::Question;
use glasshour::outward::life_sign::LifeSign;
use glasshour::outward::picture::{Picture, Settings};
use glasshour::service::manager::Manager;
use glasshour::supervise::Tasks;
use tests::program::{Garden, program, signal};
use tests::servers::http::{Request, Small};
use tests::servers::process::until;
use tests::stand_in::{NOON_MS, StandIn};

type Asked = Arc<Mutex<Vec<Request>>>;

/// A server that gives these answers in turn, the last one for ever, and keeps what it was asked.
fn server(answers: Vec<(u16, String, Vec<u8>)>) -> (Small, Asked) {
    let asked = Asked::default();
    let (kept, mut answers) = (Arc::clone(&asked), VecDeque::from(answers));
    let small = Small::start(move |request| {
        kept.lock().unwrap().push(request.clone());
        Some(if answers.len() > 1 { answers.pop_front().unwrap() } else { answers[0].clone() })
    });
    (small, asked)
}

fn status(code: u16, headers: &str) -> (u16, String, Vec<u8>) {
    (code, headers.to_owned(), Vec::new())
}

fn clock() -> Arc<dyn Clock> {
    Arc::new(FastClock::new(NOON_MS, 1200.0))
}

fn draw(glance: &Glance) -> String {
    format!("<!DOCTYPE html><title>{}</title>", glance.sentence.order)
}

#[tokio::test]
async fn a_picture_is_put_again_after_every_refusal_and_the_page_hears_why() {
    let elsewhere = Small::start(|_| Some(status(200, "")));
    let location = format!("Location: {}/\r\n", elsewhere.url());
    let refusals =
        vec![status(503, "Retry-After: 60\r\n"), status(302, &location), status(401, ""), status(201, "")];
    let (small, asked) = server(refusals);
    let clock = clock();
    let mut keeper = StandIn::new(vec![], Arc::clone(&clock));
    let settings = Settings {
        put: format!("{}/garden.html?of=now", small.url()),
        token: Some("basil.thyme".to_owned()),
        authority: None,
        every: Duration::from_secs(300),
    };
    let picture = Picture::new(settings, draw, keeper.handle.clone(), clock).unwrap();
    let mut tasks = Tasks::new();
    tasks.spawn("picture", |stop| picture.run(stop));
    assert!(keeper.away("picture").await.contains("503"));
    let why = keeper.away("picture").await;
    assert!(why.contains("302") && why.contains("not followed"), "{why}");
    assert!(keeper.away("picture").await.contains("401"));
    assert!(keeper.back("picture").await);
    tasks.stop().cancel();
    tasks.join(Duration::from_secs(5)).await.unwrap();
    assert_eq!(elsewhere.asked(), 0, "no redirect is followed");
    let asked = asked.lock().unwrap();
    for request in asked.iter() {
        assert_eq!((request.method.as_str(), request.path.as_str()), ("PUT", "/garden.html?of=now"));
        let has = |line: &str| request.headers.iter().any(|it| it.eq_ignore_ascii_case(line));
        assert!(has("content-type: text/html; charset=utf-8") && has("authorization: Bearer basil.thyme"));
        assert_eq!(request.body, b"<!DOCTYPE html><title>Open the far door from outside</title>");
    }
}

#[tokio::test]
async fn a_dead_or_stuck_keeper_gives_no_sign() {
    let (small, _) = server(vec![status(200, "")]);
    let clock = clock();
    let mut keeper = StandIn::new(vec![], Arc::clone(&clock));
    let url = Some((small.url(), None));
    let (life, signs) = LifeSign::new(url, keeper.handle.clone(), clock).unwrap();
    let mut tasks = Tasks::new();
    tasks.spawn("life sign", |stop| life.run(stop));
    // It is asked, and does not answer: nothing is said, for as long as that lasts.
    let Event::Ask(question) = keeper.next().await else { panic!("not a question") };
    assert_eq!((small.asked(), *signs.borrow()), (0, None));
    drop(question);
    let ended = tasks.join(Duration::from_secs(5)).await.unwrap_err();
    assert_eq!(ended.to_string(), "life sign: the keeper has stopped");
    assert_eq!((small.asked(), *signs.borrow()), (0, None));
}

/// A service manager's socket, and what came there since it was last looked at.
fn words(socket: &UnixDatagram) -> Vec<String> {
    let mut bytes = [0; 256];
    let next = || socket.recv(&mut bytes).ok().map(|length| String::from_utf8_lossy(&bytes[..length]).into());
    std::iter::from_fn(next).collect()
}

// sd_notify(3): one datagram, `READY=1`, `WATCHDOG=1` or `STOPPING=1`.
#[tokio::test]
async fn u6_the_service_manager_gets_a_sign_for_each_answer_of_the_keeper_and_none_while_it_is_stuck() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("notify");
    let socket = UnixDatagram::bind(&path).unwrap();
    socket.set_nonblocking(true).unwrap();
    let manager = Manager::at(path.to_str().unwrap(), Some("30000")).unwrap();
    let clock = clock();
    let mut keeper = StandIn::new(vec![], Arc::clone(&clock));
    manager.ready();
    assert_eq!(words(&socket), ["READY=1"]);
    let mut tasks = Tasks::new();
    let handle = keeper.handle.clone();
    tasks.spawn("service manager", |stop| manager.run(handle, clock, stop));
    let Event::Ask(Question::Breathe(mut question)) = keeper.next().await else { panic!("not a question") };
    for sign in 0..3 {
        assert_eq!(words(&socket), [""; 0], "asked, and not answered for the {sign}. time");
        question.send(()).unwrap();
        let Event::Ask(Question::Breathe(next)) = keeper.next().await else { panic!("not a question") };
        // The next question comes after the sign.
        assert_eq!(words(&socket), ["WATCHDOG=1"]);
        question = next;
    }
    drop(question);
    let ended = tasks.join(Duration::from_secs(5)).await.unwrap_err();
    assert_eq!(ended.to_string(), "service manager: the keeper has stopped");
    assert_eq!(words(&socket), ["STOPPING=1"], "no sign of a keeper that is gone");
}

#[test]
fn u6_a_living_service_says_once_that_it_is_up_then_gives_signs_and_says_that_it_stops() {
    let name = format!("glasshour-test-{}", std::process::id());
    let socket = UnixDatagram::bind_addr(&SocketAddr::from_abstract_name(&name).unwrap()).unwrap();
    socket.set_nonblocking(true).unwrap();
    let garden = Garden::new("");
    let mut command = Command::new(program());
    command.arg("run").arg(garden.site_file()).stdout(Stdio::null()).stderr(Stdio::null());
    let mut child = command
        .env("NOTIFY_SOCKET", format!("@{name}"))
        .env("WATCHDOG_USEC", "300000")
        .env_remove("WATCHDOG_PID")
        .spawn()
        .unwrap();
    let mut heard = Vec::new();
    let signs = until("it is up and gives signs", || {
        heard.extend(words(&socket));
        (heard.len() >= 4).then(|| heard.clone())
    });
    signal(child.id(), "TERM");
    assert!(until("it ends", || child.try_wait().unwrap()).success());
    let (first, rest) = signs.split_first().unwrap();
    assert_eq!(first, "READY=1");
    assert!(rest.iter().all(|word| word == "WATCHDOG=1"), "{rest:?}");
    assert_eq!(words(&socket).last().map(String::as_str), Some("STOPPING=1"));
}

#[test]
fn a_living_service_calls_at_once_and_shows_where_nobody_takes_the_call() {
    let (small, asked) = server(vec![status(200, "")]);
    let garden = Garden::new(&format!("[life_sign]\nurl = \"{}/yard?key=a\"\n", small.url()));
    let service = garden.start();
    until("the call", || (small.asked() > 0).then_some(()));
    assert!(service.stop().success(), "{}", garden.log());
    let first = asked.lock().unwrap()[0].clone();
    assert_eq!((first.method.as_str(), first.path.as_str(), first.body.len()), ("GET", "/yard?key=a", 0));

    let (busy, _) = server(vec![status(500, "")]);
    let garden = Garden::new(&format!("[life_sign]\nurl = \"{}\"\n", busy.url()));
    let service = garden.start();
    let away = until("it is said", || {
        let now = service.now();
        now["board"]["away"].as_array()?.first()?.as_str().map(str::to_owned)
    });
    assert!(away.starts_with("life sign away since") && away.contains("500"), "{away}");
    assert!(service.stop().success(), "{}", garden.log());
}
