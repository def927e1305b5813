//! A forecast as a sample of what a service writes, to try a field map on before anything relies on it.

use config::OutlookMap;
use serde_json::Value;

use super::parse::{Here, Hours, Refused, moments, read, stamp_at};
use super::stamp::Instant;

/// Reads a sample by a map, as of the hour in which it was issued and for whichever place it is: a file saved last
/// week, or the service's own example, tries a map just as well. `now_ms` (UTC) stands in where it names no moment.
///
/// # Errors
///
/// [`Refused`], as a forecast of today would be.
pub fn sample(body: &[u8], map: &OutlookMap, now_ms: i64) -> Result<Hours, Refused> {
    let map = OutlookMap { place: None, ..map.clone() };
    let now_ms = begins(body, &map).unwrap_or(now_ms);
    read(body, &map, &Here { now_ms, latitude: 0.0, longitude: 0.0, may_be_old: false })
}

/// When it was issued, or else its first moment, UTC ms; none where it tells neither, which `read` then says.
fn begins(body: &[u8], map: &OutlookMap) -> Option<i64> {
    let document: Value = serde_json::from_slice(body).ok()?;
    let issued = match &map.issued {
        Some(pointer) => match stamp_at(document.pointer(pointer)?, map).ok()? {
            Instant::At(at) | Instant::Either(_, at) => Some(at),
            Instant::Never => None,
        },
        None => None,
    };
    issued.or_else(|| moments(&document, map).ok()?.into_iter().flatten().next())
}
