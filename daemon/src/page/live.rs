//! `/live`: one small event whenever the glance changes. The page then fetches itself again.

use std::convert::Infallible;
use std::sync::Arc;

use axum::extract::{Extension, Query, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use futures_util::StreamExt;
use futures_util::stream;
use serde::Deserialize;

use super::routes::Shared;
use super::seats::Peer;

/// What a page says that was open before.
#[derive(Debug, Deserialize)]
pub(crate) struct Seen {
    /// The mark of the newest glance that it had; a browser that comes again by itself says it in `Last-Event-ID`.
    seen: Option<String>,
}

fn header<'a>(headers: &'a HeaderMap, name: &str) -> Option<&'a str> {
    headers.get(name).and_then(|value| value.to_str().ok())
}

/// Opens a stream of events. Where too many are open, 204, upon which a browser does not ask again by itself (HTML
/// standard, server-sent events); the page then fetches itself now and then. It ends when the page stops.
pub(crate) async fn live(
    State(shared): State<Arc<Shared>>,
    Query(query): Query<Seen>,
    peer: Option<Extension<Peer>>,
    headers: HeaderMap,
) -> Response {
    let peer = peer.map_or(Peer(None), |Extension(peer)| peer);
    let Some(seat) = shared.seats.take(behind(peer, &headers)) else {
        return StatusCode::NO_CONTENT.into_response();
    };
    let mut glance = shared.handle.glance.clone();
    // A browser that comes again by itself does so by the address it had, so its header is newer.
    if let Some(mark) = header(&headers, "last-event-id").map(str::to_owned).or(query.seen) {
        // Whoever saw more than the ledger holds tells of a card that lied; a keeper that is busy hears it from another.
        let _ = shared.handle.events.try_send(crate::keeper::event::Event::Witness { mark });
    }
    // The first event says which glance is the newest: a page older than that fetches itself at once.
    glance.mark_changed();
    let events = stream::unfold((glance, seat), |(mut glance, seat)| async move {
        glance.changed().await.ok()?;
        let newest = glance.borrow_and_update().clone();
        let mark = newest.board.mark.as_str();
        let event = Event::default().event("glance").id(mark).data(newest.at_ms.to_string());
        Some((Ok::<_, Infallible>(event), (glance, seat)))
    });
    let stop = shared.stop.clone();
    Sse::new(events.take_until(stop.cancelled_owned())).keep_alive(KeepAlive::default()).into_response()
}

/// Whose seat it is: a web server on the board speaks for many phones, and says for which in a header of its own. Nobody
/// is let in by it; whoever lies about it shares no seats, and there is an end to all of them.
fn behind(peer: Peer, headers: &HeaderMap) -> Peer {
    let last =
        header(headers, "x-forwarded-for").and_then(|said| said.rsplit(',').next()?.trim().parse().ok());
    match peer.0 {
        Some(address) if address.is_loopback() => Peer(last.or(peer.0)),
        _ => peer,
    }
}

#[cfg(test)]
mod tests {
    use std::net::IpAddr;

    use super::*;

    #[test]
    fn phones_behind_a_web_server_on_the_board_have_seats_of_their_own_and_nobody_elses_word_counts() {
        let address = |text: &str| Peer(Some(text.parse::<IpAddr>().unwrap()));
        let mut headers = HeaderMap::new();
        assert_eq!(behind(address("127.0.0.1"), &headers), address("127.0.0.1"));
        headers.insert("x-forwarded-for", "198.51.100.7, 192.0.2.4".parse().unwrap());
        assert_eq!(
            behind(address("127.0.0.1"), &headers),
            address("192.0.2.4"),
            "the one the server saw itself"
        );
        assert_eq!(behind(address("192.0.2.9"), &headers), address("192.0.2.9"));
        headers.insert("x-forwarded-for", "a phone".parse().unwrap());
        assert_eq!(behind(address("::1"), &headers), address("::1"));
    }
}
