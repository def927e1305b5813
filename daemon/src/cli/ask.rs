//! Asking a running service over its socket: plain HTTP on a Unix socket that only its owner can open.

use std::io::Write;
use std::path::Path;

use http_body_util::{BodyExt, Full};
use hyper::body::Bytes;
use hyper::{Method, Request};
use hyper_util::rt::TokioIo;
use serde::de::DeserializeOwned;
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

/// Sends a file and hands back the answer.
pub(super) fn send(socket: &Path, path: &str, bytes: Vec<u8>) -> Result<Value, Trouble> {
    let mut text = Vec::new();
    talk(socket, Method::POST, path, bytes, &mut text)?;
    serde_json::from_slice(&text).map_err(|error| failed(&error.to_string()))
}

/// Asks for something long and writes it out as it comes.
pub(super) fn fetch(socket: &Path, path: &str, out: &mut impl Write) -> Result<(), Trouble> {
    talk(socket, Method::GET, path, Vec::new(), out)
}

/// Reads what was answered.
pub(super) fn read<T: DeserializeOwned>(answer: Value) -> Result<T, Trouble> {
    serde_json::from_value(answer).map_err(|error| Trouble::Failed(error.to_string()))
}

fn ask(socket: &Path, method: Method, path: &str, body: Option<&Value>) -> Result<Value, Trouble> {
    let bytes = body.map(ToString::to_string).unwrap_or_default().into_bytes();
    let mut text = Vec::new();
    talk(socket, method, path, bytes, &mut text)?;
    serde_json::from_slice(&text).map_err(|error| failed(&error.to_string()))
}

fn failed(what: &str) -> Trouble {
    Trouble::Failed(format!("asking the running service: {what}"))
}

fn talk(
    socket: &Path,
    method: Method,
    path: &str,
    body: Vec<u8>,
    out: &mut impl Write,
) -> Result<(), Trouble> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let (status, text) =
        runtime.block_on(exchange(socket, method, path, body, out)).map_err(|what| failed(&what))?;
    match status {
        200..=299 => Ok(()),
        400..=499 => Err(Trouble::Given(refusal(&text))),
        _ if text.is_empty() => Err(failed(&format!("it refused and did not say why ({status})"))),
        _ => Err(failed(&refusal(&text))),
    }
}

/// One question and its answer. A good answer is written out as it comes; a refusal comes back as text.
async fn exchange(
    socket: &Path,
    method: Method,
    path: &str,
    body: Vec<u8>,
    out: &mut impl Write,
) -> Result<(u16, Vec<u8>), String> {
    let words = |error: &dyn std::error::Error| error.to_string();
    let stream = tokio::net::UnixStream::connect(socket).await.map_err(|error| words(&error))?;
    let (mut sender, connection) =
        hyper::client::conn::http1::handshake(TokioIo::new(stream)).await.map_err(|error| words(&error))?;
    let request = Request::builder()
        .method(method)
        .uri(path)
        .header("Host", "glasshour")
        .header("Content-Type", "application/json")
        .body(Full::new(Bytes::from(body)))
        .map_err(|error| words(&error))?;
    let answer = async {
        let mut answer = sender.send_request(request).await.map_err(|error| words(&error))?;
        let status = answer.status().as_u16();
        let mut refusal = Vec::new();
        while let Some(frame) = answer.frame().await {
            let Ok(piece) = frame.map_err(|error| words(&error))?.into_data() else { continue };
            let written = if status < 300 { out.write_all(&piece) } else { refusal.write_all(&piece) };
            written.map_err(|error| words(&error))?;
        }
        Ok((status, refusal))
    };
    tokio::pin!(answer);
    // The connection must be driven while the answer is awaited. It may end first, with the rest of the answer read
    // already.
    tokio::select! {
        answer = &mut answer => answer,
        ended = connection => match ended {
            Ok(()) => answer.await,
            Err(error) => Err(words(&error)),
        },
    }
}

/// The reason out of `{"refused": …}`, or the text itself.
fn refusal(text: &[u8]) -> String {
    let value = serde_json::from_slice::<Value>(text).ok();
    let reason = value.as_ref().and_then(|value| value.get("refused")).and_then(Value::as_str);
    reason.map_or_else(|| String::from_utf8_lossy(text).trim().to_owned(), str::to_owned)
}
