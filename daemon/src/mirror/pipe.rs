//! The encrypted way to the other side: a listener on the loopback address whose connections go on by TLS.
//!
//! The client library's own HTTP stack is old, and so is the certificate code it would bring. It speaks plain HTTP to
//! this pipe instead, and the pipe speaks TLS with the one provider the whole program uses.

use std::net::{Ipv4Addr, SocketAddr, TcpListener};
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use futures_util::StreamExt;
use futures_util::stream::FuturesUnordered;
use reqwest011::Url;
use rustls::pki_types::ServerName;
use rustls::{ClientConfig, RootCertStore};
use tokio::net::TcpStream;
use tokio_rustls::TlsConnector;

use super::words::causes;
use crate::http_out::add_authority;

/// Connections at one time; the client keeps one or two.
const AT_ONCE: usize = 8;

/// Why the far end was not reached the last time; none while it is.
pub(super) type Trouble = Arc<Mutex<Option<String>>>;

/// Why a call through a pipe failed: the client at the near end knows only that nobody answered.
pub(super) fn why(trouble: Option<&Trouble>, error: &dyn std::error::Error) -> String {
    let known = trouble.and_then(|trouble| trouble.lock().unwrap_or_else(PoisonError::into_inner).clone());
    known.unwrap_or_else(|| causes(error))
}

/// A pipe: open, and to be run.
pub struct Pipe {
    listener: TcpListener,
    near: SocketAddr,
    far: (String, u16),
    name: ServerName<'static>,
    connector: TlsConnector,
    patience: Duration,
    trouble: Trouble,
}

/// Opens a pipe to an `https` address, vouched for by `authority` (a PEM file) or the system's authorities.
///
/// # Errors
///
/// In words: what is wrong with the address or the certificates.
pub(super) fn open(url: &Url, authority: Option<&Path>, patience: Duration) -> Result<Pipe, String> {
    let host = url.host_str().unwrap_or_default().trim_matches(['[', ']']).to_owned();
    let name = ServerName::try_from(host.clone()).map_err(|error| format!("{host}: {error}"))?;
    let port = url.port_or_known_default().unwrap_or(443);
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let config = ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .map_err(|error| error.to_string())?
        .with_root_certificates(roots(authority)?)
        .with_no_client_auth();
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).map_err(|error| error.to_string())?;
    listener.set_nonblocking(true).map_err(|error| error.to_string())?;
    let near = listener.local_addr().map_err(|error| error.to_string())?;
    Ok(Pipe {
        listener,
        near,
        far: (host, port),
        name,
        connector: Arc::new(config).into(),
        patience,
        trouble: Trouble::default(),
    })
}

fn roots(authority: Option<&Path>) -> Result<RootCertStore, String> {
    let mut roots = RootCertStore::empty();
    let Some(path) = authority else {
        roots.add_parsable_certificates(rustls_native_certs::load_native_certs().certs);
        return Ok(roots);
    };
    add_authority(&mut roots, path).map_err(|why| format!("{}: {why}", path.display()))?;
    Ok(roots)
}

impl Pipe {
    /// Where the near end listens.
    pub(super) fn near(&self) -> SocketAddr {
        self.near
    }

    /// Where it is to be seen why the far end was not reached.
    pub(super) fn trouble(&self) -> Trouble {
        Arc::clone(&self.trouble)
    }

    /// Carries connections for ever. Why one failed is logged when it is another reason than the last time.
    ///
    /// # Errors
    ///
    /// When the near end cannot listen.
    pub async fn run(self) -> Result<(), String> {
        let Self { listener, far, name, connector, patience, trouble, .. } = self;
        let listener = tokio::net::TcpListener::from_std(listener).map_err(|error| error.to_string())?;
        let mut carried = FuturesUnordered::new();
        let mut last = None;
        loop {
            tokio::select! {
                accepted = listener.accept(), if carried.len() < AT_ONCE => if let Ok((near, _)) = accepted {
                    carried.push(carry(near, &far, name.clone(), (&connector, patience), &trouble));
                },
                Some(ended) = carried.next() => if let Err(why) = ended && last.as_ref() != Some(&why) {
                    tracing::warn!(%why, "the mirror's encrypted way");
                    last = Some(why);
                },
            }
        }
    }
}

/// One connection, to its end.
async fn carry(
    mut near: TcpStream,
    far: &(String, u16),
    name: ServerName<'static>,
    (connector, patience): (&TlsConnector, Duration),
    trouble: &Trouble,
) -> Result<(), String> {
    let reached = async {
        let stream = TcpStream::connect((far.0.as_str(), far.1)).await?;
        connector.connect(name, stream).await
    };
    let reached = tokio::time::timeout(patience, reached).await;
    let reached =
        reached.map_or_else(|_| Err("no answer".to_owned()), |it| it.map_err(|error| words(&error)));
    // Before the near end is let go: whoever waits there asks at once.
    *trouble.lock().unwrap_or_else(PoisonError::into_inner) = reached.as_ref().err().cloned();
    let mut far = reached?;
    // How a connection that stood ends is no news: the client at its near end says what that means.
    let _ = tokio::io::copy_bidirectional(&mut near, &mut far).await;
    Ok(())
}

/// What an error says; where it is the one that most home-made certificates run into, also what to do.
fn words(error: &std::io::Error) -> String {
    let text = error.to_string();
    if text.contains("CaUsedAsEndEntity") {
        return format!("{text}: the server shows the certificate of an authority; make one with CA:FALSE");
    }
    text
}
