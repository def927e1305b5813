//! Asking a running service over its socket: plain HTTP on a Unix socket that only its owner can open.

use std::path::Path;

use http_body_util::{BodyExt, Full};
use hyper::body::Bytes;
use hyper::{Method, Request};
use hyper_util::rt::TokioIo;
use serde_json::Value;

use super::Trouble;

/// Asks for a document.
pub(super) fn get(socket: &Path, path: &str) -> Result<Value, Trouble> {
    ask(socket, Method::GET, path, None)
}

/// Sends a document and hands back the answer.
pub(super) fn post(socket: &Path, path: &str, body: &Value) -> Result<Value, Trouble> {
    ask(socket, Method::POST, path, Some(body))
}

fn ask(socket: &Path, method: Method, path: &str, body: Option<&Value>) -> Result<Value, Trouble> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let failed = |what: String| Trouble::Failed(format!("asking the running service: {what}"));
    let (status, text) = runtime.block_on(exchange(socket, method, path, body)).map_err(failed)?;
    match status {
        200..=299 => {}
        400..=499 => return Err(Trouble::Given(refusal(&text))),
        _ => return Err(failed(format!("status {status} {}", refusal(&text)))),
    }
    serde_json::from_slice(&text).map_err(|error| failed(error.to_string()))
}

async fn exchange(
    socket: &Path,
    method: Method,
    path: &str,
    body: Option<&Value>,
) -> Result<(u16, Bytes), String> {
    let words = |error: &dyn std::error::Error| error.to_string();
    let stream = tokio::net::UnixStream::connect(socket).await.map_err(|error| words(&error))?;
    let (mut sender, connection) =
        hyper::client::conn::http1::handshake(TokioIo::new(stream)).await.map_err(|error| words(&error))?;
    let bytes = body.map(ToString::to_string).unwrap_or_default();
    let request = Request::builder()
        .method(method)
        .uri(path)
        .header("Host", "glasshour")
        .header("Content-Type", "application/json")
        .body(Full::new(Bytes::from(bytes)))
        .map_err(|error| words(&error))?;
    let answer = async {
        let answer = sender.send_request(request).await.map_err(|error| words(&error))?;
        let status = answer.status().as_u16();
        let body = answer.into_body().collect().await.map_err(|error| words(&error))?.to_bytes();
        Ok((status, body))
    };
    // The connection must be driven while the answer is awaited; it ends with it.
    tokio::select! {
        answer = answer => answer,
        ended = connection => Err(ended.map_or_else(|error| words(&error), |()| "it hung up".to_owned())),
    }
}

/// The reason out of `{"refused": …}`, or the text itself.
fn refusal(text: &[u8]) -> String {
    let value = serde_json::from_slice::<Value>(text).ok();
    let reason = value.as_ref().and_then(|value| value.get("refused")).and_then(Value::as_str);
    reason.map_or_else(|| String::from_utf8_lossy(text).trim().to_owned(), str::to_owned)
}
