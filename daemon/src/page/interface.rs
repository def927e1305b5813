//! The JSON interface, for the command line and for whoever wants to read along.

use std::sync::Arc;

use axum::Json;
use axum::extract::rejection::JsonRejection;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::{Deserialize, Serialize};
use serde_json::json;

use super::routes::Shared;
use crate::entry::Note;
use crate::keeper::event::ClockWord;
use crate::reading::Heard;

/// A note as it is sent.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Wish {
    note: Note,
    #[serde(default)]
    from_ms: Option<i64>,
}

/// The answer to a note: its entry number.
#[derive(Debug, Serialize)]
struct Noted {
    entry: i64,
}

/// A refusal with its reason, as every part of the interface gives it.
pub(super) fn refused(status: StatusCode, why: &str) -> Response {
    (status, Json(json!({ "refused": why }))).into_response()
}

/// `GET /api/now`: the glance.
pub(crate) async fn now(State(shared): State<Arc<Shared>>) -> Response {
    Json(&*shared.handle.now()).into_response()
}

/// `GET /api/season/{planting}`.
pub(crate) async fn season(State(shared): State<Arc<Shared>>, Path(planting): Path<String>) -> Response {
    match shared.handle.season(planting).await {
        Ok(Some(season)) => Json(season).into_response(),
        Ok(None) => refused(StatusCode::NOT_FOUND, "no such planting"),
        Err(stopped) => refused(StatusCode::SERVICE_UNAVAILABLE, &stopped.to_string()),
    }
}

/// `GET /api/export`: the same JSON as `replay`.
pub(crate) async fn export(State(shared): State<Arc<Shared>>) -> Response {
    match shared.handle.export().await {
        Ok(export) => Json(export).into_response(),
        Err(stopped) => refused(StatusCode::SERVICE_UNAVAILABLE, &stopped.to_string()),
    }
}

/// `POST /api/note`: `{"note": ..., "from_ms": ...}` becomes `{"entry": number}`.
pub(crate) async fn note(
    State(shared): State<Arc<Shared>>,
    wish: Result<Json<Wish>, JsonRejection>,
) -> Response {
    let Wish { note, from_ms } = match wish {
        Ok(Json(wish)) => wish,
        Err(rejection) => return refused(rejection.status(), &rejection.body_text()),
    };
    if note.is_told() {
        return refused(StatusCode::UNPROCESSABLE_ENTITY, "steps of notices are told by minders, not noted");
    }
    match shared.handle.note(note, from_ms).await {
        Ok(entry) => Json(Noted { entry }).into_response(),
        Err(refusal) => refused(StatusCode::UNPROCESSABLE_ENTITY, &refusal),
    }
}

/// `POST /api/clock`: somebody's word on the time becomes `{"entry": number}`.
pub(crate) async fn clock(
    State(shared): State<Arc<Shared>>,
    word: Result<Json<ClockWord>, JsonRejection>,
) -> Response {
    let word = match word {
        Ok(Json(word)) => word,
        Err(rejection) => return refused(rejection.status(), &rejection.body_text()),
    };
    match shared.handle.clock(word).await {
        Ok(entry) => Json(Noted { entry }).into_response(),
        Err(refusal) => refused(StatusCode::UNPROCESSABLE_ENTITY, &refusal.to_string()),
    }
}

/// `POST /api/readings`: past readings for the ledger, `[{probe, quantity, value, measured_ms, stale}]`, on the
/// socket only; answered once they are durable.
pub(crate) async fn readings(
    State(shared): State<Arc<Shared>>,
    readings: Result<Json<Vec<Heard>>, JsonRejection>,
) -> Response {
    let readings = match readings {
        Ok(Json(readings)) => readings,
        Err(rejection) => return refused(rejection.status(), &rejection.body_text()),
    };
    if readings.iter().any(|heard| heard.measured_ms.is_none()) {
        return refused(StatusCode::UNPROCESSABLE_ENTITY, "a past reading needs the time it was measured");
    }
    let count = readings.len();
    match shared.handle.take_in(readings).await {
        Ok(()) => Json(json!({ "taken": count })).into_response(),
        Err(stopped) => refused(StatusCode::SERVICE_UNAVAILABLE, &stopped.to_string()),
    }
}
