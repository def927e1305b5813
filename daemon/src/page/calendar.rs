//! The calendar's feed, and on Ground the address it has.
//!
//! Calendar programs carry no password, so the address itself holds the secret, and all that it opens is this file.
//! Wrong, missing and revoked secrets are answered alike: nothing hangs there.

use std::sync::Arc;

use axum::extract::rejection::QueryRejection;
use axum::extract::{Extension, Query, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use maud::{Markup, html};
use serde::Deserialize;

use super::figures::{Civil, span};
use super::frame;
use super::routes::Shared;
use crate::calendar_out::{Desk, desk};
use crate::glance::Glance;

/// The calendar's desk as the service hands it to the page; none where no calendar is kept.
pub(super) type Kept = Option<Extension<Arc<Desk>>>;

/// What stands after the question mark.
#[derive(Debug, Deserialize)]
pub(super) struct Shown {
    key: String,
}

/// `GET /calendar.ics?key=SECRET`.
pub(super) async fn feed(
    State(shared): State<Arc<Shared>>,
    kept: Kept,
    shown: Result<Query<Shown>, QueryRejection>,
) -> Response {
    let glance = shared.handle.now();
    let (Some(Extension(desk)), Ok(Query(shown))) = (kept, shown) else {
        return super::routes::nothing(&glance);
    };
    if !desk.opens(&shown.key) {
        return super::routes::nothing(&glance);
    }
    let seasons = desk::seasons(&shared.handle, &glance).await;
    // The secret may have been changed while the keeper was asked.
    if !desk.opens(&shown.key) {
        return super::routes::nothing(&glance);
    }
    let kind = (header::CONTENT_TYPE, "text/calendar; charset=utf-8");
    let name = (header::CONTENT_DISPOSITION, "inline; filename=\"garden.ics\"");
    ([kind, name], desk.feed(&glance, &seasons)).into_response()
}

/// `POST /calendar-key`: another secret; the old address opens nothing from now on.
pub(super) async fn renew(State(shared): State<Arc<Shared>>, kept: Kept) -> Response {
    let glance = shared.handle.now();
    let Some(Extension(desk)) = kept else { return super::routes::nothing(&glance) };
    match desk.renew_key(glance.at_ms) {
        Ok(()) => Redirect::to("/ground#calendar").into_response(),
        Err(error) => {
            let page = frame::other(&glance, "The address was not changed.", &format!("{error}."), "/ground");
            (StatusCode::SERVICE_UNAVAILABLE, page).into_response()
        }
    }
}

/// The section on Ground. The address is the one by which the page was asked.
pub(super) fn section(glance: &Glance, kept: &Kept, headers: &HeaderMap) -> Markup {
    let Some(Extension(desk)) = kept else { return html! {} };
    let civil = Civil(glance.civil_offset_s);
    let key = desk.key();
    let host = headers.get(header::HOST).and_then(|host| host.to_str().ok()).unwrap_or("localhost");
    let address = format!("http://{host}/calendar.ics?key={}", key.secret);
    html! {
        section.pg aria-labelledby="calendar" {
            h2 id="calendar" { "In your calendar" }
            p { "Heat plan, watering before sunrise, what ripens when, the spring drill: add this address to your calendar as a subscription. It reads and changes nothing." }
            p { a href=(address) { code { (address) } } }
            p.source {
                "Made " (civil.date(key.made_ms, glance.at_ms)) ", " (span(glance.at_ms - key.made_ms)) " old; "
                @match key.used_ms { Some(ms) => { "last used " (civil.when(ms, glance.at_ms)) }, None => "never used" }
                ". Whoever holds it can read the calendar, until you change it."
            }
            form method="post" action="/calendar-key" { button { "change the address; the old one stops" } }
        }
    }
}
