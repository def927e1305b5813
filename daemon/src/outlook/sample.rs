//! A forecast as a sample of what a service writes, to try a field map on before anything relies on it.

use config::OutlookMap;
use serde_json::Value;

use super::parse::{Here, Hours, Refused, moments, place, read, stamp_at};
use super::stamp::Instant;

/// Reads a sample by a map as the service reads a forecast, but as of the hour in which it was issued and in the place for
/// which it is: a file saved last week, or the service's own example, tries a map just as well. `now_ms` (UTC) stands in
/// where it names no moment.
///
/// # Errors
///
/// [`Refused`], as a forecast of today for here would be.
pub fn sample(body: &[u8], map: &OutlookMap, now_ms: i64) -> Result<Hours, Refused> {
    let document: Option<Value> = serde_json::from_slice(body).ok();
    let now_ms = document.as_ref().and_then(|document| begins(document, map)).unwrap_or(now_ms);
    let place = document.as_ref().and_then(|document| place(document, map).ok().flatten());
    let (latitude, longitude) = place.unwrap_or_default();
    read(body, map, &Here { now_ms, latitude, longitude, may_be_old: false })
}

/// When it was issued, or else its first moment, UTC ms; none where it tells neither, which `read` then says.
fn begins(document: &Value, map: &OutlookMap) -> Option<i64> {
    let issued = match &map.issued {
        Some(pointer) => match stamp_at(document.pointer(pointer)?, map).ok()? {
            Instant::At(at) | Instant::Either(_, at) => Some(at),
            Instant::Never => None,
        },
        None => None,
    };
    issued.or_else(|| moments(document, map).ok()?.into_iter().flatten().next())
}
