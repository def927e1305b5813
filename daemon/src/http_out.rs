//! HTTP out of the house: one call to an address that the grower or a phone gave us.
//!
//! The far end is a stranger: it may be silent, send without end, or point elsewhere. So each call has one time limit
//! for the whole of it, the body is read up to a number of bytes the caller names, and no redirect is followed: what
//! comes with status 3xx is handed back like anything else, because an address that was checked once must not lead to
//! one that was not. Nothing is sent twice from here: whoever calls decides about another try.
//!
//! An address that a phone gave must not lead into the house: for those there is a client that connects outside only,
//! whatever a name is looked up to be.
//!
//! Certificates are checked against the system's authorities and, where one is given, an authority of the grower's own.

mod certificate;
mod open;
mod reach;

use std::error::Error;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use axum::body::Bytes;
use axum::http::{HeaderMap, Request, StatusCode, header};
use chrono::NaiveDateTime;
use http_body_util::{BodyExt, Full, LengthLimitError, Limited};
use hyper_rustls::{HttpsConnector, HttpsConnectorBuilder};
use hyper_util::client::legacy::connect::HttpConnector;
use hyper_util::rt::TokioExecutor;
use rustls::pki_types::CertificateDer;
use rustls::pki_types::pem::PemObject;
use rustls::{ClientConfig, RootCertStore};

pub(crate) use self::certificate::untimely;
use self::reach::{INSIDE, Names};
pub use self::reach::{Reach, is_outside};

/// Why there can be no client.
#[derive(Debug, thiserror::Error)]
pub enum Unusable {
    /// The file with the authority's certificate cannot be read or holds none.
    #[error("{path}: {why}")]
    Authority {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        why: String,
    },
    /// The encryption cannot be set up.
    #[error("TLS: {0}")]
    Tls(#[from] rustls::Error),
}

/// Why a call brought no answer.
#[derive(Debug, thiserror::Error)]
pub enum Trouble {
    /// Nobody answered in time; what was sent may have arrived.
    #[error("no answer within {} s; it may have arrived", .limit.as_secs())]
    Silent {
        /// The limit of the whole call.
        limit: Duration,
    },
    /// No connection came about: nothing was sent.
    #[error("no connection: {0}")]
    NotReached(String),
    /// The address lies where the client may not connect to: nothing was sent.
    #[error("{INSIDE}")]
    Inside,
    /// The connection broke after the call had begun; what was sent may have arrived.
    #[error("the connection was lost: {0}; it may have arrived")]
    Lost(String),
    /// The answer is longer than the caller wants to read.
    #[error("the answer is longer than {most} bytes")]
    TooLong {
        /// The caller's limit.
        most: usize,
    },
}

/// What came back.
#[derive(Debug)]
pub struct Answer {
    /// The status, 3xx included.
    pub status: StatusCode,
    /// The headers.
    pub headers: HeaderMap,
    /// When the far end wants to be asked again, ms from its answer, where it said so.
    pub retry_after_ms: Option<i64>,
    /// The body, whole.
    pub body: Bytes,
}

/// A client: cheap to clone, each call a connection of its own.
#[derive(Clone, Debug)]
pub struct Client {
    inner: hyper_util::client::legacy::Client<HttpsConnector<HttpConnector<Names>>, Full<Bytes>>,
    connector: HttpsConnector<HttpConnector<Names>>,
    limit: Duration,
    reach: Reach,
}

impl Client {
    /// A client for addresses of the site file. It trusts the system's authorities and the one in the PEM file
    /// `authority`, and gives each call `limit`, from looking up the name to the last byte of the answer.
    ///
    /// # Errors
    ///
    /// When the file cannot be used, or the encryption cannot be set up.
    pub fn new(authority: Option<&Path>, limit: Duration) -> Result<Self, Unusable> {
        Self::reaching(Reach::SiteFile, authority, limit)
    }

    /// The same, and it connects as far as `reach` says.
    ///
    /// # Errors
    ///
    /// As for [`new`](Self::new).
    pub fn reaching(reach: Reach, authority: Option<&Path>, limit: Duration) -> Result<Self, Unusable> {
        let mut roots = RootCertStore::empty();
        roots.add_parsable_certificates(rustls_native_certs::load_native_certs().certs);
        if let Some(path) = authority {
            add_authority(&mut roots, path)
                .map_err(|why| Unusable::Authority { path: path.to_path_buf(), why })?;
        }
        let provider = Arc::new(rustls::crypto::ring::default_provider());
        let config = ClientConfig::builder_with_provider(provider)
            .with_safe_default_protocol_versions()?
            .with_root_certificates(roots)
            .with_no_client_auth();
        let mut plain = HttpConnector::new_with_resolver(Names(reach));
        plain.enforce_http(false);
        let connector = HttpsConnectorBuilder::new()
            .with_tls_config(config)
            .https_or_http()
            .enable_http1()
            .wrap_connector(plain);
        // A connection kept for the next call would mostly be dead by then, an hour or a day later.
        let inner = hyper_util::client::legacy::Client::builder(TokioExecutor::new())
            .pool_max_idle_per_host(0)
            .retry_canceled_requests(false)
            .build(connector.clone());
        Ok(Self { inner, connector, limit, reach })
    }

    /// Makes one call; the answer's body may have `most_bytes`.
    ///
    /// # Errors
    ///
    /// When no whole answer came: see [`Trouble`]. An answer of any status is none of them.
    pub async fn call(&self, request: Request<Bytes>, most_bytes: usize) -> Result<Answer, Trouble> {
        // An address that is no name is never looked up.
        let host = request.uri().host().unwrap_or_default().trim_matches(['[', ']']);
        if host.parse().is_ok_and(|address| !self.reach.allows(address)) {
            return Err(Trouble::Inside);
        }
        let called = async {
            let answer = self.inner.request(request.map(Full::new)).await.map_err(|error| trouble(&error))?;
            let (head, body) = answer.into_parts();
            let body = Limited::new(body, most_bytes).collect().await.map_err(|error| {
                if error.is::<LengthLimitError>() {
                    Trouble::TooLong { most: most_bytes }
                } else {
                    Trouble::Lost(causes(error.as_ref()))
                }
            })?;
            let retry_after_ms = retry_after_ms(&head.headers);
            Ok(Answer { status: head.status, headers: head.headers, retry_after_ms, body: body.to_bytes() })
        };
        let ended = tokio::time::timeout(self.limit, called).await;
        ended.unwrap_or(Err(Trouble::Silent { limit: self.limit }))
    }
}

/// Adds the certificates of a PEM file to those that are trusted.
///
/// # Errors
///
/// What is wrong with the file, in words.
pub(crate) fn add_authority(roots: &mut RootCertStore, path: &Path) -> Result<(), String> {
    let before = roots.len();
    for certificate in CertificateDer::pem_file_iter(path).map_err(|error| error.to_string())? {
        roots.add(certificate.map_err(|error| error.to_string())?).map_err(|error| error.to_string())?;
    }
    if roots.len() == before { Err("there is no certificate in it".to_owned()) } else { Ok(()) }
}

fn trouble(error: &hyper_util::client::legacy::Error) -> Trouble {
    let why = untimely(error).unwrap_or_else(|| causes(error));
    if error.is_connect() { Trouble::NotReached(why) } else { Trouble::Lost(why) }
}

/// What an error says last: the outer ones only repeat that a call went wrong.
fn causes(error: &dyn Error) -> String {
    let mut innermost = error;
    while let Some(source) = innermost.source() {
        innermost = source;
    }
    innermost.to_string()
}

/// The wait that `Retry-After` asks for (RFC 9110, 10.2.3), ms: seconds, or a date, which is held against the answer's
/// own `Date`. So our clock does not matter, nor does the far end's.
fn retry_after_ms(headers: &HeaderMap) -> Option<i64> {
    let text = |name| headers.get(name).and_then(|value| value.to_str().ok()).map(str::trim);
    let wish = text(header::RETRY_AFTER)?;
    if !wish.is_empty() && wish.bytes().all(|byte| byte.is_ascii_digit()) {
        // More than fits is a wish for ever.
        return Some(wish.parse().unwrap_or(i64::MAX).saturating_mul(1000));
    }
    let wait = http_date_ms(wish)? - http_date_ms(text(header::DATE)?)?;
    Some(wait.max(0))
}

/// A time in one of the three forms of RFC 9110, 5.6.7, UTC ms.
fn http_date_ms(text: &str) -> Option<i64> {
    ["%a, %d %b %Y %H:%M:%S GMT", "%A, %d-%b-%y %H:%M:%S GMT", "%a %b %e %H:%M:%S %Y"]
        .iter()
        .find_map(|form| NaiveDateTime::parse_from_str(text, form).ok())
        .map(|at| at.and_utc().timestamp_millis())
}

#[cfg(test)]
mod tests {
    use std::io::Write;
    use std::task::Poll;

    use tokio::io::{AsyncReadExt, AsyncWriteExt};
    use tokio::net::TcpListener;

    use super::*;

    const LIMIT: Duration = Duration::from_secs(10);

    /// What one call brings when the far end sends `sent` as it is, and then keeps the line open.
    async fn called(sent: String, most_bytes: usize) -> Result<Answer, Trouble> {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let url = format!("http://{}/there", listener.local_addr().unwrap());
        let far_end = async {
            let mut lines = Vec::new();
            while let Ok((mut line, _)) = listener.accept().await {
                let mut asked = [0; 4096];
                let read = line.read(&mut asked).await.unwrap();
                assert!(asked[..read].starts_with(b"POST /there HTTP/1.1\r\n"), "{:?}", &asked[..read]);
                line.write_all(sent.as_bytes()).await.unwrap();
                lines.push(line);
                assert_eq!(lines.len(), 1, "a call must not be made twice");
            }
        };
        let request = Request::post(url).body(Bytes::from_static(b"hello")).unwrap();
        let client = Client::new(None, LIMIT).unwrap();
        tokio::select! {
            called = client.call(request, most_bytes) => called,
            () = far_end => panic!("the far end does not end"),
        }
    }

    fn answer(head: &str, body: &str) -> String {
        format!("HTTP/1.1 {head}\r\nContent-Length: {}\r\n\r\n{body}", body.len())
    }

    #[tokio::test]
    async fn status_headers_and_body_come_back() {
        let answer = called(answer("201 Created\r\nLocation: /m/1", "taken"), 5).await.unwrap();
        assert_eq!((answer.status.as_u16(), &answer.body[..]), (201, b"taken".as_slice()));
        assert_eq!((answer.headers["location"].to_str().unwrap(), answer.retry_after_ms), ("/m/1", None));
    }

    #[tokio::test]
    async fn a_redirect_is_handed_back_and_not_followed() {
        let answer = called(answer("307 Temporary Redirect\r\nLocation: /elsewhere", ""), 9).await.unwrap();
        assert_eq!(answer.status.as_u16(), 307);
    }

    #[tokio::test]
    async fn an_answer_longer_than_wanted_is_given_up() {
        let said = called(answer("200 OK", "123456"), 5).await;
        assert!(matches!(said, Err(Trouble::TooLong { most: 5 })), "{said:?}");
        let endless = "HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n6\r\n123456\r\n".to_owned();
        let said = called(endless, 5).await;
        assert!(matches!(said, Err(Trouble::TooLong { most: 5 })), "{said:?}");
    }

    #[tokio::test]
    async fn the_wish_to_be_asked_later_is_read_in_seconds_and_as_a_date() {
        let seconds = called(answer("429 Too Many Requests\r\nRetry-After: 120", ""), 9).await.unwrap();
        assert_eq!((seconds.status.as_u16(), seconds.retry_after_ms), (429, Some(120_000)));
        let head =
            "503 Busy\r\nDate: Sun, 06 Nov 1994 08:49:37 GMT\r\nRetry-After: Sun, 06 Nov 1994 08:51:00 GMT";
        assert_eq!(called(answer(head, ""), 9).await.unwrap().retry_after_ms, Some(83_000));
    }

    #[test]
    fn the_three_forms_of_a_date_are_one_moment() {
        // RFC 9110, 5.6.7: its three examples; the moment by `date -u -d` of coreutils.
        for text in
            ["Sun, 06 Nov 1994 08:49:37 GMT", "Sunday, 06-Nov-94 08:49:37 GMT", "Sun Nov  6 08:49:37 1994"]
        {
            assert_eq!(http_date_ms(text), Some(784_111_777_000), "{text}");
        }
    }

    #[test]
    fn wishes_that_cannot_be_understood_are_none_and_none_lies_in_the_past() {
        let wish = |retry: &str, date: Option<&str>| {
            let mut headers = HeaderMap::new();
            headers.insert(header::RETRY_AFTER, retry.parse().unwrap());
            if let Some(date) = date {
                headers.insert(header::DATE, date.parse().unwrap());
            }
            retry_after_ms(&headers)
        };
        let date = "Sun, 06 Nov 1994 08:49:37 GMT";
        assert_eq!(wish("soon", Some(date)), None);
        assert_eq!(wish("-5", Some(date)), None);
        assert_eq!(wish("", Some(date)), None);
        assert_eq!(wish(date, None), None);
        assert_eq!(wish("Sun, 06 Nov 1994 08:00:00 GMT", Some(date)), Some(0));
        assert_eq!(wish("99999999999999999999", None), Some(i64::MAX));
    }

    #[tokio::test(start_paused = true)]
    async fn a_far_end_that_takes_the_call_and_stays_silent_meets_the_time_limit() {
        let said = called(String::new(), 9).await;
        assert!(matches!(said, Err(Trouble::Silent { limit: LIMIT })), "{said:?}");
    }

    #[tokio::test(start_paused = true)]
    async fn a_body_that_never_ends_meets_the_same_limit() {
        let said = called("HTTP/1.1 200 OK\r\nContent-Length: 9\r\n\r\n1234".to_owned(), 9).await;
        assert!(matches!(said, Err(Trouble::Silent { limit: LIMIT })), "{said:?}");
    }

    #[tokio::test]
    async fn nobody_at_the_far_end_is_told_from_a_call_that_was_cut_off() {
        let gone = TcpListener::bind("127.0.0.1:0").await.unwrap().local_addr().unwrap();
        let request = Request::get(format!("http://{gone}/")).body(Bytes::new()).unwrap();
        let said = Client::new(None, LIMIT).unwrap().call(request, 9).await;
        assert!(matches!(said, Err(Trouble::NotReached(_))), "{said:?}");
        let said = called("no HTTP at all\r\n\r\n".to_owned(), 9).await;
        assert!(matches!(said, Err(Trouble::Lost(_))), "{said:?}");
    }

    #[tokio::test]
    async fn no_address_and_no_name_leads_to_where_a_client_may_not_call() {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let port = listener.local_addr().unwrap().port();
        let here = ["127.0.0.1", "[::1]", "[::ffff:127.0.0.1]", "169.254.1.1", "localhost"];
        let client = Client::reaching(Reach::Outside, None, LIMIT).unwrap();
        for host in here.iter().chain(&["192.168.1.1"]) {
            let request = Request::post(format!("http://{host}:{port}/")).body(Bytes::new()).unwrap();
            let said = client.call(request, 9).await.unwrap_err().to_string();
            assert!(said.ends_with(INSIDE), "{host}: {said}");
        }
        // Nobody connected: the listener has nothing to accept.
        let waits = std::future::poll_fn(|context| Poll::Ready(listener.poll_accept(context).is_pending()));
        assert!(waits.await);
    }

    #[test]
    fn an_authority_that_is_none_is_named() {
        let missing = Client::new(Some(Path::new("/nowhere/authority.pem")), LIMIT).unwrap_err();
        assert!(missing.to_string().starts_with("/nowhere/authority.pem: "), "{missing}");
        let mut file = tempfile::NamedTempFile::new().unwrap();
        file.write_all(b"not a certificate\n").unwrap();
        let empty = Client::new(Some(file.path()), LIMIT).unwrap_err();
        assert!(empty.to_string().ends_with("there is no certificate in it"), "{empty}");
    }
}
