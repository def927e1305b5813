//! Looking after the ledger of a running service: on the socket only, for whoever may open it owns the ledger anyway.
//!
//! What takes long is done through a reader on a thread that may wait, and bodies go out and come in piece by piece:
//! neither the keeper nor the page waits for a backup. Nothing here writes to a path that the asker names.

use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use axum::Json;
use axum::body::{Body, Bytes};
use axum::extract::{Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use futures_util::{StreamExt, stream};
use serde::Deserialize;
use serde_json::json;
use tempfile::NamedTempFile;
use tokio::io::{AsyncReadExt, AsyncWriteExt};

use super::interface::refused;
use super::routes::Shared;
use crate::ledger::{Copied, Inspection, LedgerError, PASSING, Pour, Reader};
use crate::readings_out::{Form, SeriesName, Sheet};

/// Bytes of a file sent at once.
const PIECE: usize = 64 * 1024;

/// What a refusal of the ledger, or of the keeper, is answered with.
struct Unable(StatusCode, String);

impl From<LedgerError> for Unable {
    fn from(error: LedgerError) -> Self {
        let given = matches!(
            error,
            LedgerError::NotALedger { .. } | LedgerError::Newer { .. } | LedgerError::OtherLedger
        );
        let status = if given { StatusCode::UNPROCESSABLE_ENTITY } else { StatusCode::INTERNAL_SERVER_ERROR };
        Self(status, error.to_string())
    }
}

impl From<crate::keeper::handle::Stopped> for Unable {
    fn from(stopped: crate::keeper::handle::Stopped) -> Self {
        Self(StatusCode::SERVICE_UNAVAILABLE, stopped.to_string())
    }
}

impl From<std::io::Error> for Unable {
    fn from(error: std::io::Error) -> Self {
        LedgerError::from(error).into()
    }
}

impl IntoResponse for Unable {
    fn into_response(self) -> Response {
        refused(self.0, &self.1)
    }
}

/// A reader of its own, for work that takes long.
async fn reader(shared: &Shared) -> Result<Reader, Unable> {
    Ok(shared.handle.tend(|core, _| core.ledger().reader()).await??)
}

/// Does what takes long where waiting is allowed. It is waited for here, so nothing runs on unseen.
async fn slowly<T: Send + 'static>(work: impl FnOnce() -> T + Send + 'static) -> Result<T, Unable> {
    let done = tokio::task::spawn_blocking(work).await;
    done.map_err(|error| Unable(StatusCode::INTERNAL_SERVER_ERROR, error.to_string()))
}

fn folder(reader: &Reader) -> Result<PathBuf, Unable> {
    let none = || Unable(StatusCode::CONFLICT, "this ledger is in memory only".to_owned());
    reader.folder().map(Path::to_owned).ok_or_else(none)
}

/// `POST /api/ledger/check`: looks at everything, puts right what can be, says what is damaged.
pub(super) async fn check(State(shared): State<Arc<Shared>>) -> Response {
    let done = async {
        let reader = reader(&shared).await?;
        let found: Inspection = slowly(move || reader.inspect()).await??;
        let for_keeper = found.clone();
        let renewed = shared.handle.tend(move |core, moment| core.tend(moment, &for_keeper)).await??;
        Ok::<_, Unable>(Json(json!({ "found": found, "renewed": renewed })))
    };
    done.await.into_response()
}

/// A copy of the ledger in a folder, gone when it is let go.
fn copy_in(reader: &Reader, folder: &Path) -> Result<NamedTempFile, LedgerError> {
    let file = tempfile::Builder::new().prefix(PASSING).tempfile_in(folder)?;
    reader.copy_to(file.path())?;
    Ok(file)
}

/// `GET /api/ledger/backup`: one state of the ledger as one file.
pub(super) async fn backup(State(shared): State<Arc<Shared>>) -> Response {
    let made = async {
        let reader = reader(&shared).await?;
        let folder = folder(&reader)?;
        let file = slowly(move || -> Result<NamedTempFile, LedgerError> {
            // Beside the ledger, where there usually is the most room: but its disk may be full, or gone read-only.
            copy_in(&reader, &folder).or_else(|refused| {
                let temporary = std::env::temp_dir();
                copy_in(&reader, &temporary).map_err(|error| LedgerError::NoTemporary {
                    folder: temporary.display().to_string(),
                    why: format!("{error}; beside the ledger: {refused}"),
                })
            })
        })
        .await??;
        let body = tokio::fs::File::from_std(file.reopen()?);
        // Open as it is, it needs no name any more: it is gone when it is sent, or we are.
        drop(file);
        Ok::<_, Unable>(body)
    };
    match made.await {
        Ok(file) => (
            [(header::CONTENT_TYPE, "application/vnd.sqlite3")],
            Body::from_stream(stream::unfold(Some(file), next_of_file)),
        )
            .into_response(),
        Err(unable) => unable.into_response(),
    }
}

type Step<T, S> = Option<(Result<T, std::io::Error>, Option<S>)>;

async fn next_of_file(file: Option<tokio::fs::File>) -> Step<Bytes, tokio::fs::File> {
    let mut file = file?;
    let mut piece = vec![0; PIECE];
    match file.read(&mut piece).await {
        Ok(0) => None,
        Ok(length) => {
            piece.truncate(length);
            Some((Ok(piece.into()), Some(file)))
        }
        Err(error) => Some((Err(error), None)),
    }
}

/// `POST /api/ledger/mend`: a backup as the body; brings back from it what is damaged.
pub(super) async fn mend(State(shared): State<Arc<Shared>>, body: Body) -> Response {
    let done = async {
        let folder = folder(&reader(&shared).await?)?;
        let file = tempfile::Builder::new().prefix(PASSING).tempfile_in(folder)?;
        let mut out = tokio::fs::File::from_std(file.reopen()?);
        let mut pieces = body.into_data_stream();
        while let Some(piece) = pieces.next().await {
            let piece = piece.map_err(|error| Unable(StatusCode::BAD_REQUEST, error.to_string()))?;
            out.write_all(&piece).await?;
        }
        out.flush().await?;
        let path = file.path().to_owned();
        let backup = slowly(move || Copied::open(&path)).await??;
        let mended = shared.handle.tend(move |core, moment| core.mend(moment, &backup)).await??;
        let left: Vec<_> =
            mended.left.iter().map(|fence| json!([fence.table, fence.row, fence.what])).collect();
        Ok::<_, Unable>(Json(json!({ "rows": mended.rows, "readings": mended.readings, "left": left })))
    };
    done.await.into_response()
}

/// Readings to be thrown away.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Forget {
    before_ms: i64,
    /// Whether to do it, or only to say what it would be.
    yes: bool,
}

/// `POST /api/ledger/forget`: throws old readings away, or says which those would be.
pub(super) async fn forget(State(shared): State<Arc<Shared>>, Json(asked): Json<Forget>) -> Response {
    let Forget { before_ms, yes } = asked;
    let done = shared.handle.tend(move |core, moment| {
        if yes { core.forget(moment, before_ms) } else { core.ledger().forgettable(before_ms) }
    });
    let done = async { Ok::<_, Unable>(Json(done.await??)) };
    done.await.into_response()
}

/// Which readings are asked for.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Wanted {
    form: Form,
    /// `PROBE/QUANTITY`, with commas between; every series where absent.
    series: Option<String>,
    from_ms: Option<i64>,
    to_ms: Option<i64>,
}

impl Wanted {
    fn range(&self) -> Range<i64> {
        self.from_ms.unwrap_or(0)..self.to_ms.unwrap_or(i64::MAX)
    }
}

/// `GET /api/ledger/lost?…`, asked after `/api/ledger/readings?…` with the same words: the damaged rows that were left
/// out.
pub(super) async fn lost(State(shared): State<Arc<Shared>>, Query(wanted): Query<Wanted>) -> Response {
    let found = async {
        let reader = reader(&shared).await?;
        let series = series(&reader, wanted.series.as_deref())?;
        Ok::<_, Unable>(Json(slowly(move || reader.lost(&series, wanted.range())).await??))
    };
    found.await.into_response()
}

/// Readings on their way out.
struct Outflow {
    reader: Reader,
    pour: Pour,
    sheet: Sheet,
    at: Stage,
}

#[derive(Clone, Copy)]
enum Stage {
    Head,
    Pieces,
}

/// `GET /api/ledger/readings?form=csv&series=…&from_ms=…&to_ms=…`: readings, a week of one series after the other.
pub(super) async fn readings(State(shared): State<Arc<Shared>>, Query(wanted): Query<Wanted>) -> Response {
    let begun = async {
        let reader = reader(&shared).await?;
        let ledger = shared.handle.tend(|core, _| core.ledger_mut().epoch()).await??;
        let (series, range) = (series(&reader, wanted.series.as_deref())?, wanted.range());
        let name = ledger.split('-').next().unwrap_or_default();
        let sheet = Sheet::new(wanted.form, name);
        Ok::<_, Unable>(Outflow { reader, pour: Pour::new(series, range), sheet, at: Stage::Head })
    };
    match begun.await {
        Ok(outflow) => (
            [(header::CONTENT_TYPE, wanted.form.media())],
            Body::from_stream(stream::unfold(Some(outflow), next_of_readings)),
        )
            .into_response(),
        Err(unable) => unable.into_response(),
    }
}

fn series(
    reader: &Reader,
    asked: Option<&str>,
) -> Result<Vec<(String, agronomy::quantity::Quantity)>, Unable> {
    let given = |why| Unable(StatusCode::UNPROCESSABLE_ENTITY, why);
    let known = reader.series()?;
    let Some(asked) = asked else { return Ok(known) };
    let mut series = Vec::new();
    for name in asked.split(',') {
        let SeriesName { probe, quantity } = name.parse().map_err(given)?;
        let found = known.iter().find(|(known, measured)| *known == probe && *measured == quantity);
        series.push(found.cloned().ok_or_else(|| given(format!("{name} was never heard")))?);
    }
    Ok(series)
}

async fn next_of_readings(outflow: Option<Outflow>) -> Step<String, Outflow> {
    let outflow = outflow?;
    let stepped = tokio::task::spawn_blocking(move || step(outflow)).await;
    Some(stepped.unwrap_or_else(|error| (Err(std::io::Error::other(error)), None)))
}

/// The next piece of text, and what is left; nothing is left after the end and after an error.
fn step(mut outflow: Outflow) -> (Result<String, std::io::Error>, Option<Outflow>) {
    if matches!(outflow.at, Stage::Head) {
        outflow.at = Stage::Pieces;
        return (Ok(outflow.sheet.head().to_owned()), Some(outflow));
    }
    match outflow.reader.look(|view| view.pour(&mut outflow.pour)) {
        Ok(Some(readings)) => (Ok(outflow.sheet.piece(&readings)), Some(outflow)),
        Ok(None) => (Ok(outflow.sheet.tail().to_owned()), None),
        Err(error) => (Err(std::io::Error::other(error)), None),
    }
}
