//! The encrypted way to the other side: a listener on the loopback address whose connections go on by TLS.
//!
//! The client library's own HTTP stack is old, and so is the certificate code it would bring. It speaks plain HTTP to
//! this pipe instead, and the pipe speaks TLS with the one provider the whole program uses.

use std::net::{Ipv4Addr, SocketAddr, TcpListener};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use futures_util::StreamExt;
use futures_util::stream::FuturesUnordered;
use reqwest011::Url;
use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, ServerName};
use rustls::{ClientConfig, RootCertStore};
use tokio::net::TcpStream;
use tokio_rustls::TlsConnector;

/// Connections at one time; the client keeps one or two.
const AT_ONCE: usize = 8;

/// A pipe: open, and to be run.
pub struct Pipe {
    listener: TcpListener,
    near: SocketAddr,
    far: (String, u16),
    name: ServerName<'static>,
    connector: TlsConnector,
    patience: Duration,
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
    Ok(Pipe { listener, near, far: (host, port), name, connector: Arc::new(config).into(), patience })
}

fn roots(authority: Option<&Path>) -> Result<RootCertStore, String> {
    let mut roots = RootCertStore::empty();
    let Some(path) = authority else {
        roots.add_parsable_certificates(rustls_native_certs::load_native_certs().certs);
        return Ok(roots);
    };
    let wrong = |error: &dyn std::fmt::Display| format!("{}: {error}", path.display());
    for certificate in CertificateDer::pem_file_iter(path).map_err(|error| wrong(&error))? {
        roots.add(certificate.map_err(|error| wrong(&error))?).map_err(|error| wrong(&error))?;
    }
    if roots.is_empty() { Err(wrong(&"there is no certificate in it")) } else { Ok(roots) }
}

impl Pipe {
    /// Where the near end listens.
    pub(super) fn near(&self) -> SocketAddr {
        self.near
    }

    /// Carries connections for ever. Why one failed is logged when it is another reason than the last time.
    ///
    /// # Errors
    ///
    /// When the near end cannot listen.
    pub async fn run(self) -> Result<(), String> {
        let Self { listener, far, name, connector, patience, .. } = self;
        let listener = tokio::net::TcpListener::from_std(listener).map_err(|error| error.to_string())?;
        let mut carried = FuturesUnordered::new();
        let mut last = None;
        loop {
            tokio::select! {
                accepted = listener.accept(), if carried.len() < AT_ONCE => if let Ok((near, _)) = accepted {
                    carried.push(carry(near, &far, name.clone(), &connector, patience));
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
    connector: &TlsConnector,
    patience: Duration,
) -> Result<(), String> {
    let reached = async {
        let stream = TcpStream::connect((far.0.as_str(), far.1)).await?;
        connector.connect(name, stream).await
    };
    let reached = tokio::time::timeout(patience, reached).await;
    let mut far = reached.map_err(|_| "no answer".to_owned())?.map_err(|error| error.to_string())?;
    // How a connection that stood ends is no news: the client at its near end says what that means.
    let _ = tokio::io::copy_bidirectional(&mut near, &mut far).await;
    Ok(())
}
