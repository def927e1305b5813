//! Which address leads where.

use std::future::ready;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::rejection::QueryRejection;
use axum::extract::{DefaultBodyLimit, Form, Path, Query, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::middleware::from_fn_with_state;
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use maud::Markup;
use serde::Deserialize;
use tokio_util::sync::CancellationToken;
use tower_http::compression::CompressionLayer;
use tower_http::timeout::TimeoutLayer;

use super::forms::{self, Fields, Filled};
use super::frame::{self, Did};
use super::ground::Taps;
use super::guard::{Listening, guard};
use super::seats::Seats;
use super::{ahead, answer, calendar, diary, ground, interface, letter, live, now, phones, season, tending};
use crate::entry::Note;
use crate::glance::Glance;
use crate::keeper::handle::Handle;

/// Pages that may listen to `/live` at the same time.
const SEATS: usize = 32;
/// How many of them at one address: a browser opens six connections to one board, and wants some for the pages.
const SEATS_EACH: usize = 4;
/// Longest time an answer may take, s: a keeper with a full queue is busy, not gone.
const PATIENCE: Duration = Duration::from_secs(20);
/// Largest piece of past readings taken, bytes.
const PAST_LIMIT: usize = 4 * 1024 * 1024;
/// Largest form or note taken, bytes.
const BODY_LIMIT: usize = 64 * 1024;

/// What every handler needs.
pub(crate) struct Shared {
    pub(crate) handle: Handle,
    pub(crate) crops: Vec<(String, String)>,
    pub(crate) seats: Arc<Seats>,
    pub(crate) stop: CancellationToken,
}

/// Past readings come in over the socket only: whoever may open it owns the ledger anyway. They are answered once they are
/// durable, which may be minutes on a board that writes seldom: whoever sends them waits.
fn past(listening: &Listening) -> Router<Arc<Shared>> {
    if *listening != Listening::Socket {
        return Router::new();
    }
    Router::new().route("/api/readings", post(interface::readings).layer(DefaultBodyLimit::max(PAST_LIMIT)))
}

/// Looking after the ledger, on the socket only. Years may have to be read: whoever asks waits.
fn tended(listening: &Listening) -> Router<Arc<Shared>> {
    if *listening != Listening::Socket {
        return Router::new();
    }
    Router::new()
        .route("/api/ledger/check", post(tending::check))
        .route("/api/ledger/backup", get(tending::backup))
        .route("/api/ledger/mend", post(tending::mend))
        .route("/api/ledger/forget", post(tending::forget))
        .route("/api/ledger/readings", get(tending::readings))
        .route("/api/ledger/lost", get(tending::lost))
}

/// The whole service. `crops` are key and name of each crop of the book, as offered when planting; `stop` ends the
/// event streams.
pub fn router(
    handle: Handle,
    listening: Listening,
    crops: impl IntoIterator<Item = (String, String)>,
    stop: CancellationToken,
) -> Router {
    let crops = ground::named(crops);
    let shared = Arc::new(Shared { handle, crops, seats: Seats::new(SEATS, SEATS_EACH), stop });
    // Years of days may have to be made afresh first: whoever asks for all of it waits for all of it.
    let slow = Router::new().route("/api/export", get(interface::export));
    let slow = slow.merge(tended(&listening)).merge(past(&listening)).with_state(Arc::clone(&shared));
    Router::new()
        .route("/", get(now_page))
        .route("/ahead", get(ahead_page))
        .route("/season", get(season_list))
        .route("/season/{planting}", get(season_page))
        .route("/ground", get(ground_page).post(ground_form))
        .route("/diary", get(diary_page).post(diary_form))
        .route("/letter", get(letter_page))
        .route("/picture.html", get(picture_page))
        .route("/answer/{notice}", get(answer_page))
        .route("/calendar.ics", get(calendar::feed))
        .route("/calendar-key", post(calendar::renew))
        .route("/heard-warning", post(heard_form))
        .route("/reply", post(reply_form))
        .route("/drill", post(drill_form))
        .route("/undo", post(undo_form))
        .route("/phones", post(phones_form))
        .route("/live", get(live::live))
        .route("/api/now", get(interface::now))
        .route("/api/season/{planting}", get(interface::season))
        .route("/api/note", post(interface::note))
        .route("/api/clock", post(interface::clock))
        .route("/clock", post(clock_form))
        .route("/page.css", get(|| ready(file("text/css; charset=utf-8", include_str!("page.css")))))
        .route("/page.js", get(|| ready(file("text/javascript; charset=utf-8", include_str!("page.js")))))
        .route("/phones.js", get(|| ready(file("text/javascript; charset=utf-8", include_str!("phones.js")))))
        .route("/sw.js", get(|| ready(file("text/javascript; charset=utf-8", include_str!("sw.js")))))
        .route("/mark.svg", get(|| ready(file("image/svg+xml", include_str!("mark.svg")))))
        .fallback(lost)
        .with_state(shared)
        .layer(DefaultBodyLimit::max(BODY_LIMIT))
        .layer(TimeoutLayer::with_status_code(StatusCode::SERVICE_UNAVAILABLE, PATIENCE))
        .merge(slow)
        .layer(from_fn_with_state(Arc::new(listening), guard))
        .layer(CompressionLayer::new().gzip(true))
}

fn file(kind: &'static str, text: &'static str) -> Response {
    ([(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, "no-cache")], text).into_response()
}

/// What the address of a page may say after the question mark.
#[derive(Debug, Default, Deserialize)]
pub(crate) struct Asked {
    noted: Option<i64>,
    undone: Option<i64>,
    place: Option<String>,
    crop: Option<String>,
    did: Option<String>,
}

impl Asked {
    fn outcome(&self) -> Did {
        Did { noted: self.noted, undone: self.undone }
    }
}

/// An address with nonsense after the question mark is the address without it.
fn asked(query: Result<Query<Asked>, QueryRejection>) -> Asked {
    query.map(|Query(asked)| asked).unwrap_or_default()
}

async fn now_page(State(shared): State<Arc<Shared>>, query: Result<Query<Asked>, QueryRejection>) -> Markup {
    now::view(&shared.handle.now(), asked(query).outcome())
}

async fn ahead_page(
    State(shared): State<Arc<Shared>>,
    query: Result<Query<Asked>, QueryRejection>,
) -> Markup {
    ahead::view(&shared.handle.now(), asked(query).outcome())
}

async fn season_list(State(shared): State<Arc<Shared>>) -> Markup {
    season::list(&shared.handle.now())
}

async fn season_page(State(shared): State<Arc<Shared>>, Path(planting): Path<String>) -> Response {
    let glance = shared.handle.now();
    match shared.handle.season(planting).await {
        Ok(Some(season)) => season::one(&glance, &season).into_response(),
        Ok(None) => {
            let page = frame::other(&glance, "No such planting.", "It may have been undone.", "/season");
            (StatusCode::NOT_FOUND, page).into_response()
        }
        Err(stopped) => {
            let page = frame::other(&glance, "The board is stopping.", &format!("{stopped}."), "/");
            (StatusCode::SERVICE_UNAVAILABLE, page).into_response()
        }
    }
}

async fn ground_page(
    State(shared): State<Arc<Shared>>,
    kept: calendar::Kept,
    headers: HeaderMap,
    query: Result<Query<Asked>, QueryRejection>,
) -> Markup {
    let asked = asked(query);
    let did = asked.outcome();
    let glance = shared.handle.now();
    let calendar = calendar::section(&glance, &kept, &headers);
    ground::view(&glance, &shared.crops, &Taps { place: asked.place, crop: asked.crop }, did, &calendar)
}

async fn diary_page(
    State(shared): State<Arc<Shared>>,
    query: Result<Query<Asked>, QueryRejection>,
) -> Markup {
    let asked = asked(query);
    diary::view(&shared.handle.now(), asked.did.as_deref(), asked.outcome())
}

async fn letter_page(State(shared): State<Arc<Shared>>) -> Markup {
    letter::view(&shared.handle.now())
}

/// The picture as it is mailed and put elsewhere. It carries its style in its elements, which our own policy forbids: so
/// it has one of its own, under which it may do nothing else.
async fn picture_page(State(shared): State<Arc<Shared>>) -> Response {
    let policy = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; frame-ancestors 'none'";
    let kind = (header::CONTENT_TYPE, "text/html; charset=utf-8");
    let picture = super::picture::picture(&shared.handle.now());
    ([kind, (header::CONTENT_SECURITY_POLICY, policy)], picture).into_response()
}

async fn answer_page(State(shared): State<Arc<Shared>>, Path(notice): Path<String>) -> Response {
    let glance = shared.handle.now();
    answer::view(&glance, &notice).map_or_else(
        || {
            let why = "It closed more than a day ago, or its address is not whole.";
            (StatusCode::NOT_FOUND, frame::other(&glance, "No such notice stands.", why, "/")).into_response()
        },
        IntoResponse::into_response,
    )
}

async fn ground_form(State(shared): State<Arc<Shared>>, Form(fields): Form<Fields>) -> Response {
    let glance = shared.handle.now();
    store(&shared, &glance, forms::ground(&fields, &glance), "/ground").await
}

async fn diary_form(State(shared): State<Arc<Shared>>, Form(fields): Form<Fields>) -> Response {
    let glance = shared.handle.now();
    store(&shared, &glance, forms::diary(&fields, &glance), "/diary").await
}

async fn heard_form(State(shared): State<Arc<Shared>>, Form(fields): Form<Fields>) -> Response {
    store(&shared, &shared.handle.now(), forms::heard_warning(&fields), "/").await
}

async fn reply_form(State(shared): State<Arc<Shared>>, Form(fields): Form<Fields>) -> Response {
    let glance = shared.handle.now();
    store(&shared, &glance, forms::reply(&fields, &glance), "/").await
}

async fn drill_form(State(shared): State<Arc<Shared>>) -> Response {
    store(&shared, &shared.handle.now(), Ok((Note::Drill {}, None)), "/ground").await
}

async fn phones_form(State(shared): State<Arc<Shared>>, Form(fields): Form<Fields>) -> Response {
    let noted = match phones::form(&fields) {
        Ok((note, from_ms)) => shared.handle.note(note, from_ms).await,
        Err(refusal) => Err(refusal),
    };
    match noted {
        // No entry to show or to undo: a phone is stopped by its own button.
        Ok(_) => Redirect::to("/ground#phones").into_response(),
        Err(refusal) => {
            let page = frame::other(&shared.handle.now(), "That was not noted.", &refusal, "/ground");
            (StatusCode::UNPROCESSABLE_ENTITY, page).into_response()
        }
    }
}

async fn clock_form(State(shared): State<Arc<Shared>>, Form(fields): Form<Fields>) -> Response {
    let glance = shared.handle.now();
    let said = match forms::clock(&fields, &glance) {
        Ok(word) => shared.handle.clock(word).await,
        Err(why) => Err(why.into()),
    };
    match said {
        Ok(entry) => Redirect::to(&format!("/?noted={entry}#noted")).into_response(),
        Err(refusal) => {
            let page = now::not_taken(&glance, &refusal, &fields);
            (StatusCode::UNPROCESSABLE_ENTITY, page).into_response()
        }
    }
}

async fn undo_form(State(shared): State<Arc<Shared>>, Form(fields): Form<Fields>) -> Response {
    let back = match fields.get("back").map(String::as_str) {
        Some("/ground") => "/ground",
        Some("/diary") => "/diary",
        _ => "/",
    };
    store(&shared, &shared.handle.now(), forms::undo(&fields), back).await
}

/// Notes what a form says and leads back to its page; what is refused is said on a page of its own.
async fn store(shared: &Shared, glance: &Glance, filled: Filled, back: &str) -> Response {
    let noted = match filled {
        Ok((note, from_ms)) => {
            let undone = if let Note::Undo { entry } = note { Some(entry) } else { None };
            shared.handle.note(note, from_ms).await.map(|entry| (entry, undone))
        }
        Err(refusal) => Err(refusal),
    };
    match noted {
        Ok((_, Some(undone))) => Redirect::to(&format!("{back}?undone={undone}#noted")).into_response(),
        Ok((entry, None)) => Redirect::to(&format!("{back}?noted={entry}#noted")).into_response(),
        Err(refusal) => {
            let page = frame::other(glance, "That was not noted.", &refusal, back);
            (StatusCode::UNPROCESSABLE_ENTITY, page).into_response()
        }
    }
}

async fn lost(State(shared): State<Arc<Shared>>) -> Response {
    nothing(&shared.handle.now())
}

/// The answer to an address that leads nowhere.
pub(super) fn nothing(glance: &Glance) -> Response {
    let page = frame::other(glance, "Nothing hangs here.", "This address leads to no page.", "/");
    (StatusCode::NOT_FOUND, page).into_response()
}
