//! Keeps the connections: accepts, limits, and lets go within two seconds when told to stop.

use std::io;
use std::path::Path;
use std::time::Duration;

use axum::{Extension, Router};
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::GracefulShutdown;
use hyper_util::service::TowerToHyperService;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{TcpListener, UnixListener};
use tokio::task::JoinSet;
use tokio_util::sync::CancellationToken;

use super::seats::{Peer, Seats};
use crate::supervise::Outcome;

/// Connections kept at the same time; further ones wait in the listener's queue.
const CONNECTIONS: usize = 64;
/// How many of them from one address; further ones are closed. A web server on the board stands for many.
const CONNECTIONS_EACH: usize = 32;
/// Time a client has for the header of a request.
const HEADER_PATIENCE: Duration = Duration::from_secs(15);
/// Time open connections have to finish after the word to stop.
const PARTING: Duration = Duration::from_millis(1500);
/// Pause after a failed accept (too many open files): the next try would fail at once.
const BREATH: Duration = Duration::from_millis(200);

/// A listener of either kind.
trait Accepts {
    type Io: AsyncRead + AsyncWrite + Unpin + Send + 'static;
    async fn next(&self) -> io::Result<(Self::Io, Peer)>;
}

impl Accepts for TcpListener {
    type Io = tokio::net::TcpStream;
    async fn next(&self) -> io::Result<(Self::Io, Peer)> {
        let (stream, from) = self.accept().await?;
        // Events are small and should leave at once.
        stream.set_nodelay(true)?;
        Ok((stream, Peer(Some(from.ip()))))
    }
}

impl Accepts for UnixListener {
    type Io = tokio::net::UnixStream;
    async fn next(&self) -> io::Result<(Self::Io, Peer)> {
        self.accept().await.map(|(stream, _)| (stream, Peer(None)))
    }
}

/// Serves the page on a listening socket until `stop`.
///
/// # Errors
///
/// None after the start: a connection that fails is its own affair.
pub async fn serve(listener: TcpListener, router: Router, stop: CancellationToken) -> Outcome {
    keep(listener, router, stop).await;
    Ok(())
}

/// Serves the page on a Unix socket that only its owner may open (mode 0600), until `stop`; removes it afterwards.
/// A socket left behind by an earlier run is replaced.
///
/// # Errors
///
/// The socket cannot be made.
pub async fn serve_unix(path: &Path, router: Router, stop: CancellationToken) -> Outcome {
    let listener = bind(path).map_err(|error| format!("socket {}: {error}", path.display()))?;
    keep(listener, router, stop).await;
    let _ = std::fs::remove_file(path);
    Ok(())
}

/// Binds under another name, closes it to others, and only then gives it its name.
fn bind(path: &Path) -> io::Result<UnixListener> {
    use std::os::unix::fs::PermissionsExt;
    let unready = path.with_extension("new");
    match std::fs::remove_file(&unready) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
        _ => {}
    }
    let listener = UnixListener::bind(&unready)?;
    std::fs::set_permissions(&unready, std::fs::Permissions::from_mode(0o600))?;
    std::fs::rename(&unready, path)?;
    Ok(listener)
}

async fn keep(listener: impl Accepts, router: Router, stop: CancellationToken) {
    let mut connections = JoinSet::new();
    let graceful = GracefulShutdown::new();
    let seats = Seats::new(CONNECTIONS, CONNECTIONS_EACH);
    loop {
        let accepted = tokio::select! {
            () = stop.cancelled() => break,
            Some(_) = connections.join_next(), if !connections.is_empty() => continue,
            accepted = listener.next(), if connections.len() < CONNECTIONS => accepted,
        };
        match accepted {
            Ok((stream, peer)) => {
                let board = Peer(peer.0.filter(|address| !address.is_loopback()));
                let Some(seat) = seats.take(board) else { continue };
                let service = TowerToHyperService::new(router.clone().layer(Extension(peer)));
                let connection = http1::Builder::new()
                    .timer(TokioTimer::new())
                    .header_read_timeout(HEADER_PATIENCE)
                    .serve_connection(TokioIo::new(stream), service);
                let watched = graceful.watch(connection);
                connections.spawn(async move {
                    let _seat = seat;
                    if let Err(error) = watched.await {
                        tracing::debug!("page: connection ended: {error}");
                    }
                });
            }
            Err(error) => {
                tracing::warn!("page: accept: {error}");
                tokio::time::sleep(BREATH).await;
            }
        }
    }
    drop(listener);
    // What has not finished by then is cut off when the set is dropped.
    let _ = tokio::time::timeout(PARTING, graceful.shutdown()).await;
    connections.shutdown().await;
}
