//! The service as a browser or the command line meets it: status codes, forms, events, stopping.

use std::sync::Arc;
use std::time::Duration;

use axum::body::Body;
use axum::http::{Request, Response, StatusCode, header};
use http_body_util::BodyExt;
use hyper::service::Service;
use hyper_util::service::TowerToHyperService;
use tokio::io::{AsyncBufReadExt, AsyncReadExt, AsyncWriteExt, BufReader};
use tokio::net::{TcpListener, TcpStream, UnixStream};
use tokio::sync::{mpsc, watch};
use tokio::task::JoinSet;
use tokio_util::sync::CancellationToken;

use super::fixtures;
use super::{Listening, router, serve, serve_unix};
use crate::entry::Note;
use crate::glance::Glance;
use crate::keeper::event::Event;
use crate::keeper::handle::{Handle, Question};

const HOST: &str = "127.0.0.1:8080";
/// Longest wait for something that must happen.
const DEADLINE: Duration = Duration::from_secs(20);

fn here() -> Listening {
    Listening::At { address: HOST.parse().unwrap(), names: Vec::new(), met_at: None }
}

fn crops() -> Vec<(String, String)> {
    vec![("tomato".to_owned(), "Tomato (standard)".to_owned()), ("chard".to_owned(), "Chard".to_owned())]
}

/// A keeper that answers from these fixtures; it takes every note but remarks that say "no".
fn keeper(glance: Glance) -> (Handle, watch::Sender<Arc<Glance>>, impl Future<Output = Vec<Note>>) {
    let (events, mut queue) = mpsc::channel(16);
    let (publish, glance) = watch::channel(Arc::new(glance));
    let work = async move {
        let mut notes = Vec::new();
        while let Some(event) = queue.recv().await {
            match event {
                Event::Note { note: Note::Remark { text }, answer, .. } if text == "no" => {
                    let _ = answer.send(Err("the keeper will not have it".to_owned()));
                }
                Event::Note { note, answer, .. } => {
                    notes.push(note);
                    let _ = answer.send(Ok(40 + notes.len() as i64));
                }
                Event::Ask(Question::Season { planting, answer }) => {
                    let _ = answer.send((planting == "tomato-1").then(fixtures::season));
                }
                Event::Ask(Question::Export(answer)) => {
                    let _ = answer.send(serde_json::json!({ "day_pages": [] }));
                }
                _ => {}
            }
        }
        notes
    };
    (Handle::new(events, glance), publish, work)
}

/// Sends requests to the service, then says what the keeper was told.
async fn ask(glance: Glance, requests: Vec<Request<Body>>) -> (Vec<Response<Body>>, Vec<Note>) {
    let (handle, publish, work) = keeper(glance);
    let mut running = JoinSet::new();
    running.spawn(work);
    let mut answers = Vec::new();
    {
        let service = TowerToHyperService::new(router(handle, here(), crops(), CancellationToken::new()));
        for request in requests {
            answers.push(service.call(request).await.unwrap());
        }
    }
    drop(publish);
    (answers, running.join_next().await.unwrap().unwrap())
}

fn get(path: &str) -> Request<Body> {
    Request::get(path).header(header::HOST, HOST).body(Body::empty()).unwrap()
}

#[tokio::test(start_paused = true)]
async fn past_readings_are_answered_once_they_are_durable_however_seldom_the_board_writes() {
    let (events, mut queue) = mpsc::channel(1);
    let (_publish, glance) = watch::channel(Arc::new(fixtures::calm()));
    let keeper = async move {
        while let Some(event) = queue.recv().await {
            if let Event::Heard { done: Some(done), .. } = event {
                // The longest that a site file may ask for.
                tokio::time::sleep(Duration::from_secs(300)).await;
                done();
            }
        }
    };
    let mut running = JoinSet::new();
    running.spawn(keeper);
    let router = router(Handle::new(events, glance), Listening::Socket, crops(), CancellationToken::new());
    let past = r#"[{"probe":"post","quantity":"air_temperature","value":21.5,"measured_ms":1777629600000,"stale":true}]"#;
    let request = Request::post("/api/readings").header(header::HOST, HOST);
    let request = request.header(header::CONTENT_TYPE, "application/json").body(Body::from(past)).unwrap();
    let answer = TowerToHyperService::new(router).call(request).await.unwrap();
    assert_eq!(answer.status(), StatusCode::OK, "{}", text(answer).await);
}

fn form(path: &str, fields: &'static str) -> Request<Body> {
    Request::post(path)
        .header(header::HOST, HOST)
        .header(header::ORIGIN, format!("http://{HOST}"))
        .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
        .body(Body::from(fields))
        .unwrap()
}

async fn text(answer: Response<Body>) -> String {
    String::from_utf8(answer.into_body().collect().await.unwrap().to_bytes().to_vec()).unwrap()
}

fn statuses(answers: &[Response<Body>]) -> Vec<u16> {
    answers.iter().map(|answer| answer.status().as_u16()).collect()
}

#[tokio::test]
async fn every_page_and_file_answers() {
    let paths = [
        "/",
        "/ahead",
        "/season",
        "/season/tomato-1",
        "/ground",
        "/ground?place=bed&crop=chard",
        "/diary?did=watered",
        "/letter",
        "/page.css",
        "/page.js",
        "/mark.svg",
        "/phones.js",
        "/sw.js",
        "/api/now",
        "/api/season/tomato-1",
        "/api/export",
        "/?noted=nonsense",
    ];
    let (answers, _) = ask(fixtures::heat(), paths.map(get).into()).await;
    assert_eq!(statuses(&answers), vec![200; paths.len()]);
}

#[tokio::test]
async fn what_is_not_there_is_404_and_a_wrong_method_405() {
    let wrong = Request::delete("/ground")
        .header(header::HOST, HOST)
        .header(header::ORIGIN, format!("http://{HOST}"));
    let requests = vec![
        get("/nowhere"),
        get("/season/mango-9"),
        get("/api/season/mango-9"),
        get("/undo"),
        wrong.body(Body::empty()).unwrap(),
    ];
    let (mut answers, _) = ask(fixtures::calm(), requests).await;
    assert_eq!(statuses(&answers), [404, 404, 404, 405, 405]);
    assert!(text(answers.remove(0)).await.contains("Nothing hangs here."));
}

#[tokio::test]
async fn a_foreign_host_is_421_and_a_foreign_origin_403() {
    let host = |host: &str| Request::get("/").header(header::HOST, host).body(Body::empty()).unwrap();
    let origin = |origin: Option<&str>| {
        let mut request = form("/diary", "did=remark&text=hello");
        request.headers_mut().remove(header::ORIGIN);
        if let Some(origin) = origin {
            request.headers_mut().insert(header::ORIGIN, origin.parse().unwrap());
        }
        request
    };
    let requests = vec![
        host("rebound.example:8080"),
        host("127.0.0.1:9090"),
        Request::get("/").body(Body::empty()).unwrap(),
        origin(Some("http://rebound.example:8080")),
        origin(Some("http://127.0.0.1:9090")),
        origin(Some("https://127.0.0.1:8080")),
        origin(Some("null")),
        origin(None),
    ];
    let (answers, notes) = ask(fixtures::calm(), requests).await;
    assert_eq!(statuses(&answers), [421, 421, 421, 403, 403, 403, 403, 403]);
    assert!(notes.is_empty());
}

#[tokio::test]
async fn forms_become_notes_and_lead_back_with_their_number() {
    let requests = vec![
        form("/diary", "did=watered&subject=bed&litres=12%2C5"),
        form("/ground", "do=plant&place=bed&crop=chard&when=sown%2Ftoday"),
        form("/ground", "do=place&name=Far+Bed&kind=bed"),
        form("/reply", "notice=n-1&answer=on-it"),
        form("/heard-warning", "from=2026-07-16&to=2026-07-20&about=42&said_by=radio"),
        form("/undo", "entry=41&back=%2Fdiary"),
        form("/undo", "entry=41&back=http%3A%2F%2Felsewhere.example"),
    ];
    let (answers, notes) = ask(fixtures::heat(), requests).await;
    assert_eq!(statuses(&answers), [303; 7]);
    let places: Vec<_> =
        answers.iter().map(|answer| answer.headers()[header::LOCATION].to_str().unwrap()).collect();
    assert_eq!(places[..2], ["/diary?noted=41#noted", "/ground?noted=42#noted"]);
    assert_eq!(
        places[5..],
        ["/diary?undone=41#noted", "/?undone=41#noted"],
        "never to an address from the form"
    );
    assert_eq!(notes[0], Note::Watered { subject: "bed".to_owned(), litres: 12.5 });
    assert_eq!(notes[3], Note::Reply { notice: "n-1".to_owned(), on_it: true, until_ms: None });
    assert_eq!(notes[5], Note::Undo { entry: 41 });
}

#[tokio::test]
async fn a_phone_subscribes_and_stops_and_its_secrets_stay_out_of_the_address() {
    let requests = vec![
        form("/phones", "do=subscribe&name=Ann&endpoint=https%3A%2F%2Fpush.example%2F1&p256dh=k&auth=a"),
        form("/phones", "do=stop&phone=0a1b"),
        form("/phones", "do=subscribe&name=Ann"),
    ];
    let (answers, notes) = ask(fixtures::heat(), requests).await;
    assert_eq!(statuses(&answers), [303, 303, 422]);
    assert!(answers[..2].iter().all(|answer| answer.headers()[header::LOCATION] == "/ground#phones"));
    assert!(matches!(&notes[0], Note::Phone { name, endpoint, .. }
        if name == "Ann" && endpoint == "https://push.example/1"));
    assert!(matches!(&notes[1], Note::PhoneGone { phone, .. } if phone == "0a1b"));
    assert_eq!(notes.len(), 2);
}

#[tokio::test]
async fn a_refusal_is_said_in_words_and_not_noted() {
    let requests =
        vec![form("/diary", "did=watered&subject=bed&litres=many"), form("/diary", "did=remark&text=no")];
    let (mut answers, notes) = ask(fixtures::calm(), requests).await;
    assert_eq!(statuses(&answers), [422, 422]);
    assert!(notes.is_empty());
    assert!(text(answers.remove(1)).await.contains("the keeper will not have it"));
    assert!(text(answers.remove(0)).await.contains("“many” is not a number"));
}

#[tokio::test]
async fn the_interface_takes_notes_but_no_steps_and_names_what_is_wrong() {
    let send = |body: &'static str| {
        let mut request = form("/api/note", body);
        request.headers_mut().insert(header::CONTENT_TYPE, "application/json".parse().unwrap());
        request
    };
    let requests = vec![
        send(r#"{"note": {"what": "shade", "place": "house", "on": true}, "from_ms": 5}"#),
        send(r#"{"note": {"what": "no_such_note"}}"#),
        send("{"),
        send(
            r#"{"note": {"what": "step", "notice": "n", "number": 1, "minder": "too-hot", "place": "house",
            "at_ms": 1, "turn": "opened", "severity": "minor", "push": true, "title": "a", "text": "b"}}"#,
        ),
    ];
    let (mut answers, notes) = ask(fixtures::calm(), requests).await;
    assert_eq!(statuses(&answers), [200, 422, 400, 422]);
    assert_eq!(notes.len(), 1);
    assert_eq!(text(answers.remove(0)).await, r#"{"entry":41}"#);
}

#[tokio::test]
async fn the_glance_of_the_interface_is_the_glance() {
    let (mut answers, _) = ask(fixtures::heat(), vec![get("/api/now")]).await;
    let glance: Glance = serde_json::from_str(&text(answers.remove(0)).await).unwrap();
    assert_eq!(glance, fixtures::heat());
}

#[tokio::test]
async fn browsers_are_bound_and_the_first_load_stays_under_60_kb() {
    let mut requests: Vec<_> = ["/", "/page.css", "/page.js", "/mark.svg"].map(get).into();
    for request in &mut requests {
        request.headers_mut().insert(header::ACCEPT_ENCODING, "gzip".parse().unwrap());
    }
    let (answers, _) = ask(fixtures::heat(), requests).await;
    let policy = answers[0].headers()[header::CONTENT_SECURITY_POLICY].to_str().unwrap();
    assert!(policy.contains("default-src 'none'") && policy.contains("frame-ancestors 'none'"));
    assert!(!policy.contains("unsafe"));
    assert_eq!(answers[0].headers()[header::CONTENT_ENCODING], "gzip");
    let mut sent = 0;
    for answer in answers {
        sent += answer.into_body().collect().await.unwrap().to_bytes().len();
    }
    assert!(sent < 60_000, "{sent} bytes");
}

#[tokio::test]
async fn a_form_that_is_too_large_is_refused() {
    let large: &'static str = Box::leak("text=x".repeat(20_000).into_boxed_str());
    let (answers, _) = ask(fixtures::calm(), vec![form("/diary", large)]).await;
    assert_eq!(answers[0].status(), StatusCode::PAYLOAD_TOO_LARGE);
}

/// Reads lines until one says which glance is the newest.
async fn next_event(stream: &mut BufReader<TcpStream>) -> String {
    let read = async {
        loop {
            let mut line = String::new();
            assert!(stream.read_line(&mut line).await.unwrap() > 0, "the stream ended");
            if let Some(data) = line.strip_prefix("data:") {
                return data.trim().to_owned();
            }
        }
    };
    tokio::time::timeout(DEADLINE, read).await.unwrap()
}

#[tokio::test]
async fn an_event_follows_each_change_and_open_streams_do_not_hold_up_the_stop() {
    let (handle, publish, work) = keeper(fixtures::calm());
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let stop = CancellationToken::new();
    let listening = Listening::At { address, names: Vec::new(), met_at: None };
    let mut running = JoinSet::new();
    running.spawn(serve(listener, router(handle, listening, crops(), stop.clone()), stop.clone()));
    let mut keeping = JoinSet::new();
    keeping.spawn(work);
    let mut stream = TcpStream::connect(address).await.unwrap();
    stream.write_all(format!("GET /live HTTP/1.1\r\nHost: {address}\r\n\r\n").as_bytes()).await.unwrap();
    let mut stream = BufReader::new(stream);
    assert_eq!(next_event(&mut stream).await, fixtures::calm().at_ms.to_string());
    let later = Glance { at_ms: fixtures::calm().at_ms + 60_000, ..fixtures::calm() };
    publish.send(Arc::new(later.clone())).unwrap();
    assert_eq!(next_event(&mut stream).await, later.at_ms.to_string());
    stop.cancel();
    let ended = tokio::time::timeout(DEADLINE, running.join_next()).await.unwrap().unwrap().unwrap();
    assert_eq!(ended, Ok(()));
}

#[tokio::test]
async fn s3_a_page_that_comes_again_says_how_far_it_saw_the_ledger() {
    let (events, mut queue) = mpsc::channel(16);
    let mut calm = fixtures::calm();
    calm.board.mark = "c0ffee-1.b.960.4050".to_owned();
    let (_publish, glance) = watch::channel(Arc::new(calm));
    let handle = Handle::new(events, glance);
    let service = TowerToHyperService::new(router(handle, here(), crops(), CancellationToken::new()));
    let mut told = Vec::new();
    for (path, header) in [("/live", None), ("/live?seen=older", None), ("/live?seen=older", Some("newer"))] {
        let mut request = get(path);
        if let Some(mark) = header {
            request.headers_mut().insert("last-event-id", mark.parse().unwrap());
        }
        let mut stream = service.call(request).await.unwrap().into_body();
        let first = stream.frame().await.unwrap().unwrap().into_data().unwrap();
        let first = String::from_utf8(first.to_vec()).unwrap();
        assert!(first.lines().any(|line| line == "id: c0ffee-1.b.960.4050"), "{first}");
        if let Ok(Event::Witness { mark }) = queue.try_recv() {
            told.push(mark);
        }
    }
    assert_eq!(told, ["older", "newer"]);
}

#[tokio::test]
async fn the_socket_is_its_owners_alone_and_needs_no_origin() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("glasshour.socket");
    std::fs::write(&path, "left behind").unwrap();
    let (handle, _publish, work) = keeper(fixtures::calm());
    let stop = CancellationToken::new();
    let mut running = JoinSet::new();
    running.spawn(work);
    let mut serving = JoinSet::new();
    let (router, at, word) =
        (router(handle, Listening::Socket, crops(), stop.clone()), path.clone(), stop.clone());
    serving.spawn(async move { serve_unix(&at, router, word).await });
    let connect = async {
        loop {
            match UnixStream::connect(&path).await {
                Ok(stream) => return stream,
                Err(_) => tokio::task::yield_now().await,
            }
        }
    };
    let mut stream = tokio::time::timeout(DEADLINE, connect).await.unwrap();
    assert_eq!(std::fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
    let body = r#"{"note":{"what":"end","planting":"tomato-1"}}"#;
    let request = format!(
        "POST /api/note HTTP/1.1\r\nHost: board\r\nConnection: close\r\nContent-Type: application/json\r\n\
         Content-Length: {}\r\n\r\n{body}",
        body.len()
    );
    stream.write_all(request.as_bytes()).await.unwrap();
    let mut answer = String::new();
    tokio::time::timeout(DEADLINE, stream.read_to_string(&mut answer)).await.unwrap().unwrap();
    assert!(answer.starts_with("HTTP/1.1 200") && answer.ends_with(r#"{"entry":41}"#), "{answer}");
    stop.cancel();
    let ended = tokio::time::timeout(DEADLINE, serving.join_next()).await.unwrap().unwrap().unwrap();
    assert_eq!(ended, Ok(()));
    assert!(!path.exists(), "the socket is gone with its server");
}
