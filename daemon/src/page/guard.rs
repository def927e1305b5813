//! Who may ask: hosts, origins, and what a browser may do with the page.
//!
//! Until phones are paired, the page answers whoever reaches it, so two doors must stay shut. A foreign name that
//! leads to this address (rebinding) is told 421; a form or note sent from another site is told 403. Both are checks
//! of the `Host` and `Origin` header fields (RFC 9110 7.2 and 15.5.20, RFC 6454 7).

use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;

use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

/// What a browser may load and do on our pages: only our own files, nothing inline.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; \
                      form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// Where the page is listened for, and thus who may ask.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Listening {
    /// At an address, under these further host names (without port).
    At {
        /// The address.
        address: SocketAddr,
        /// Names besides the loopback ones and the address itself: `garden.local`.
        names: Vec<String>,
        /// The origin under which phones meet the page where that is another one: `https://garden.example`, of a
        /// web server that ends TLS and passes on what is asked, with the `Host` field as it came.
        met_at: Option<String>,
    },
    /// At a socket in the data folder: whoever may open it may ask.
    Socket,
}

impl Listening {
    /// Whether a `Host` field names this page.
    pub(crate) fn is_ours(&self, host: &str) -> bool {
        let Self::At { address, names, .. } = self else { return true };
        if self.is_met_at(host) {
            return true;
        }
        let Some((name, port)) = split(host) else { return false };
        if port != address.port() {
            return false;
        }
        if let Ok(ip) = name.trim_matches(['[', ']']).parse::<IpAddr>() {
            // A literal address cannot be made to point elsewhere; an open listener has many.
            return ip.is_loopback() || ip == address.ip() || address.ip().is_unspecified();
        }
        let name = name.trim_end_matches('.');
        name.eq_ignore_ascii_case("localhost") || names.iter().any(|own| own.eq_ignore_ascii_case(name))
    }
}

impl Listening {
    fn is_met_at(&self, host: &str) -> bool {
        let Self::At { met_at: Some(origin), .. } = self else { return false };
        origin.split_once("://").is_some_and(|(_, authority)| authority.eq_ignore_ascii_case(host))
    }

    /// Whether an `Origin` field is that of the page asked for under `host`.
    fn is_from(&self, origin: &str, host: &str) -> bool {
        match self {
            Self::At { met_at: Some(met_at), .. } if self.is_met_at(host) => {
                origin.eq_ignore_ascii_case(met_at)
            }
            _ => origin.strip_prefix("http://") == Some(host),
        }
    }
}

/// Name and port of a `Host` field; port 80 where it is left out.
fn split(host: &str) -> Option<(&str, u16)> {
    let end = host.rfind(']').map_or(0, |bracket| bracket + 1);
    match host[end..].rfind(':') {
        Some(colon) => Some((&host[..end + colon], host[end + colon + 1..].parse().ok()?)),
        None => Some((host, 80)),
    }
}

fn field<'h>(headers: &'h HeaderMap, name: &HeaderName) -> Option<&'h str> {
    headers.get(name).and_then(|value| value.to_str().ok())
}

/// Lets in who may ask, and adds the header fields that bind the browser.
pub(crate) async fn guard(State(listening): State<Arc<Listening>>, request: Request, next: Next) -> Response {
    let headers = request.headers();
    let host = field(headers, &header::HOST).unwrap_or_default().to_owned();
    let answer = if !listening.is_ours(&host) {
        (StatusCode::MISDIRECTED_REQUEST, "this page has another address\n").into_response()
    } else if changes(request.method()) && !same_origin(&listening, headers, &host) {
        (StatusCode::FORBIDDEN, "only the page itself may send this\n").into_response()
    } else {
        next.run(request).await
    };
    bound(answer)
}

fn changes(method: &Method) -> bool {
    !matches!(*method, Method::GET | Method::HEAD)
}

fn same_origin(listening: &Listening, headers: &HeaderMap, host: &str) -> bool {
    *listening == Listening::Socket
        || field(headers, &header::ORIGIN).is_some_and(|origin| listening.is_from(origin, host))
}

fn bound(mut answer: Response) -> Response {
    let fields = [
        (header::CONTENT_SECURITY_POLICY, POLICY),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        // Not "no-referrer": browsers then send forms with the origin "null".
        (header::REFERRER_POLICY, "same-origin"),
    ];
    for (name, value) in fields {
        // A page of ours may bind the browser more closely than this does, in its own way.
        answer.headers_mut().entry(name).or_insert(HeaderValue::from_static(value));
    }
    answer.headers_mut().entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    answer
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(address: &str) -> Listening {
        Listening::At {
            address: address.parse().unwrap(),
            names: vec!["garden.local".to_owned()],
            met_at: None,
        }
    }

    #[test]
    fn loopback_names_the_address_and_own_names_are_ours_with_the_right_port() {
        let here = at("192.0.2.7:8080");
        for ours in ["localhost:8080", "127.0.0.1:8080", "[::1]:8080", "192.0.2.7:8080", "Garden.local.:8080"]
        {
            assert!(here.is_ours(ours), "{ours}");
        }
        for foreign in
            ["localhost", "localhost:80", "192.0.2.8:8080", "garden.local.example:8080", "", ":8080", "a:b"]
        {
            assert!(!here.is_ours(foreign), "{foreign}");
        }
    }

    #[test]
    fn an_open_listener_takes_any_literal_address_but_no_foreign_name() {
        let open = at("0.0.0.0:8080");
        assert!(open.is_ours("192.0.2.9:8080"));
        assert!(!open.is_ours("rebound.example:8080"));
    }

    #[test]
    fn a_web_server_in_front_is_ours_under_its_name_and_only_from_its_own_origin() {
        let met_at = |origin: &str| Listening::At {
            address: "127.0.0.1:8087".parse().unwrap(),
            names: Vec::new(),
            met_at: Some(origin.to_owned()),
        };
        let here = met_at("https://garden.example");
        assert!(here.is_ours("garden.example") && here.is_ours("Garden.example"));
        assert!(here.is_from("https://garden.example", "garden.example"));
        for (foreign, host) in [
            ("http://garden.example", "garden.example"),
            ("https://garden.example:444", "garden.example"),
            ("https://other.example", "garden.example"),
            ("https://garden.example", "localhost:8087"),
        ] {
            assert!(!here.is_from(foreign, host), "{foreign} of {host}");
        }
        assert!(!here.is_ours("garden.example:8443") && !here.is_ours("other.example"));
        assert!(here.is_from("http://localhost:8087", "localhost:8087"));
        assert!(met_at("https://192.0.2.7:8443").is_ours("192.0.2.7:8443"));
    }

    #[test]
    fn port_80_may_be_left_out() {
        assert!(at("192.0.2.7:80").is_ours("192.0.2.7"));
    }
}
