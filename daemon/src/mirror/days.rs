//! A day as the ledger has it, point by point: what the copy is held against.
//!
//! A day is 24 h of the site's standard offset, counted from 1970. The ledger of a running service is asked over its
//! socket, that of a stopped one through a reader; one day is held at a time.

use std::ops::RangeInclusive;

use agronomy::series::MS_PER_DAY;
use axum::Json;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use serde::{Deserialize, Serialize};

use super::points::{NoPoint, Point, of_page, of_reading, of_step};
use crate::entry::Note;
use crate::ledger::{LedgerError, Reader};

/// From when to when the ledger has readings.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Extent {
    /// The site's standard offset, ms east of UTC.
    pub offset_ms: i64,
    /// First and last day; none where nothing was measured yet.
    pub days: Option<RangeInclusive<i64>>,
}

impl Extent {
    /// When a day begins, UTC ms.
    pub fn start_of(&self, day: i64) -> i64 {
        day.saturating_mul(MS_PER_DAY).saturating_sub(self.offset_ms)
    }
}

/// The extent of a ledger.
///
/// # Errors
///
/// When it cannot be read.
pub fn extent(reader: &Reader) -> Result<Extent, LedgerError> {
    let offset_ms = reader.offset_ms()?;
    let mut ends: Option<(i64, i64)> = None;
    for (probe, quantity) in reader.series()? {
        if let Some((first, last)) = reader.span(&probe, quantity)? {
            let (low, high) = ends.unwrap_or((first, last));
            ends = Some((low.min(first), high.max(last)));
        }
    }
    let day = |ms: i64| (ms + offset_ms).div_euclid(MS_PER_DAY);
    Ok(Extent { offset_ms, days: ends.map(|(first, last)| day(first)..=day(last)) })
}

/// Everything of a day that the copy should have: readings, the pages of every edition, steps of notices.
///
/// # Errors
///
/// When the ledger cannot be read.
pub fn points_of(reader: &Reader, day: i64) -> Result<Vec<Point>, LedgerError> {
    let offset_ms = reader.offset_ms()?;
    let from = day.saturating_mul(MS_PER_DAY).saturating_sub(offset_ms);
    let range = from..from.saturating_add(MS_PER_DAY);
    let mut points = Vec::new();
    let mut put = |point: Result<Point, NoPoint>| points.extend(point.ok());
    for (probe, quantity) in reader.series()? {
        for reading in reader.readings(&probe, quantity, range.clone())? {
            put(of_reading(&reading));
        }
    }
    for entry in reader.steps_of(range)? {
        if let Note::Step(step) = &entry.note {
            put(of_step(step));
        }
    }
    for page in reader.pages_of_day(day)? {
        points.extend(of_page(&page, offset_ms).unwrap_or_default());
    }
    Ok(points)
}

/// `GET /api/mirror/extent` and `GET /api/mirror/day/DAY`, for the socket of a running service.
pub fn router(reader: Reader) -> axum::Router {
    axum::Router::new()
        .route("/api/mirror/extent", get(get_extent))
        .route("/api/mirror/day/{day}", get(get_day))
        .with_state(reader)
}

async fn get_extent(State(reader): State<Reader>) -> Response {
    answer(reader, extent).await
}

async fn get_day(State(reader): State<Reader>, Path(day): Path<i64>) -> Response {
    answer(reader, move |reader| points_of(reader, day)).await
}

/// Asks away from the tasks that must not wait.
async fn answer<T: Serialize + Send + 'static>(
    reader: Reader,
    ask: impl FnOnce(&Reader) -> Result<T, LedgerError> + Send + 'static,
) -> Response {
    match tokio::task::spawn_blocking(move || ask(&reader)).await {
        Ok(Ok(answer)) => Json(answer).into_response(),
        Ok(Err(error)) => refused(&error.to_string()),
        Err(_) => refused("the question ended unexpectedly"),
    }
}

fn refused(why: &str) -> Response {
    (StatusCode::SERVICE_UNAVAILABLE, Json(serde_json::json!({ "refused": why }))).into_response()
}
