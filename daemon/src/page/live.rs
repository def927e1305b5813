//! `/live`: one small event whenever the glance changes. The page then fetches itself again.

use std::convert::Infallible;
use std::sync::Arc;

use axum::extract::{Extension, State};
use axum::http::StatusCode;
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use futures_util::StreamExt;
use futures_util::stream;

use super::routes::Shared;
use super::seats::Peer;

/// Opens a stream of events. Where too many are open, 204, upon which a browser does not ask again by itself (HTML
/// standard, server-sent events); the page then fetches itself now and then. It ends when the page stops.
pub(crate) async fn live(State(shared): State<Arc<Shared>>, peer: Option<Extension<Peer>>) -> Response {
    let Some(seat) = shared.seats.take(peer.map_or(Peer(None), |Extension(peer)| peer)) else {
        return StatusCode::NO_CONTENT.into_response();
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
