//! `/live`: one small event whenever the glance changes. The page then fetches itself again.

use std::convert::Infallible;
use std::sync::Arc;

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use futures_util::StreamExt;
use futures_util::stream;

use super::routes::Shared;

/// Opens a stream of events; 503 when too many are open. It ends when the page stops.
pub(crate) async fn live(State(shared): State<Arc<Shared>>) -> Response {
    let Ok(seat) = Arc::clone(&shared.seats).try_acquire_owned() else {
        return (StatusCode::SERVICE_UNAVAILABLE, "too many pages are open\n").into_response();
    };
    let mut glance = shared.handle.glance.clone();
    // The first event says which glance is the newest: a page older than that fetches itself at once.
    glance.mark_changed();
    let events = stream::unfold((glance, seat), |(mut glance, seat)| async move {
        glance.changed().await.ok()?;
        let at_ms = glance.borrow_and_update().at_ms;
        let event = Event::default().event("glance").data(at_ms.to_string());
        Some((Ok::<_, Infallible>(event), (glance, seat)))
    });
    let stop = shared.stop.clone();
    Sse::new(events.take_until(stop.cancelled_owned())).keep_alive(KeepAlive::default()).into_response()
}
