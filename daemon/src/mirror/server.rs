//! The other side: the call, and what its answers mean.
//!
//! The client library neither limits the time of a call nor tries again; it follows redirects and panics on a bad
//! address. All of that is settled here before it is asked.

use std::future::Future;
use std::path::PathBuf;
use std::time::Duration;

use influxdb2::api::write::TimestampPrecision;
use influxdb2::{Client, ClientBuilder, RequestError};
use reqwest011::Url;
use reqwest011::redirect::Policy;

use super::pipe::{self, Pipe, Trouble};
use super::points::Point;
use super::words::one_line;

/// The longest a call may take, and the longest until the connection stands.
pub const LIMITS: (Duration, Duration) = (Duration::from_secs(30), Duration::from_secs(5));

/// What the site file says of the database.
#[derive(Clone)]
pub struct Settings {
    /// `http://host:port`, not encrypted, for the local network; or `https://host:port`.
    pub url: String,
    /// The organisation, as the database calls it; may be empty where it knows none.
    pub org: String,
    /// The bucket.
    pub bucket: String,
    /// The token; empty where it wants none.
    pub token: String,
    /// Who vouches for the server of an `https` address (PEM); the system's authorities where absent.
    pub authority: Option<PathBuf>,
    /// The longest a call may take, and the longest until the connection stands.
    pub limits: (Duration, Duration),
}

/// Why the mirror cannot be used as it is set.
#[derive(Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum Unusable {
    /// Not an address.
    #[error("{url:?} is no address: {why}")]
    Url {
        /// What was written.
        url: String,
        /// What is wrong with it.
        why: String,
    },
    /// A token that cannot stand in a header.
    #[error("the mirror's token holds a character that cannot be sent")]
    Token,
    /// The encrypted way cannot be laid.
    #[error("the mirror's encrypted way: {0}")]
    Pipe(String),
    /// The client cannot be made.
    #[error("the mirror's client: {0}")]
    Client(String),
}

/// Why the other side did not take points.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Refusal {
    /// It cannot read some of them, or they are too many at once: halve and find out which.
    Points(String),
    /// Some are older than it keeps; it took the others.
    TooOld {
        /// How many, where it says so.
        count: Option<u64>,
        /// Its words.
        why: String,
    },
    /// It will not have any from us, until somebody changes something.
    Us(String),
    /// It is not there, or too busy: the same again later.
    Away(String),
}

/// Something that takes points.
pub trait Server: Send {
    /// A number of its address and bucket, never 0: cursors of one server say nothing of another.
    fn number(&self) -> i64;

    /// Takes all of `points`, or says why not. May have taken some of them then.
    fn write(&self, points: Vec<Point>) -> impl Future<Output = Result<(), Refusal>> + Send;
}

/// A server behind the v2 write call.
pub struct Remote {
    client: Client,
    bucket: String,
    number: i64,
    trouble: Option<Trouble>,
}

impl Remote {
    /// Sets the client up; nothing is sent yet. A pipe that comes with it must run for as long as the server is used.
    ///
    /// # Errors
    ///
    /// [`Unusable`], in words for the grower.
    pub fn new(settings: &Settings) -> Result<(Self, Option<Pipe>), Unusable> {
        let (http, url, pipe) = line(settings)?;
        let client = ClientBuilder::with_builder(http, url, &settings.org, &settings.token)
            .gzip(true)
            .build()
            .map_err(|error| Unusable::Client(error.to_string()))?;
        let trouble = pipe.as_ref().map(Pipe::trouble);
        let (bucket, number) = (settings.bucket.clone(), number(&settings.url, &settings.bucket));
        Ok((Self { client, bucket, number, trouble }, pipe))
    }
}

impl Server for Remote {
    fn number(&self) -> i64 {
        self.number
    }

    async fn write(&self, points: Vec<Point>) -> Result<(), Refusal> {
        let points = futures_util::stream::iter(points.into_iter().map(Point::line));
        let call = self.client.write_with_precision(&self.bucket, points, TimestampPrecision::Milliseconds);
        call.await.map_err(|error| match error {
            RequestError::Http { status, text } => judge(status.as_u16(), &text),
            other => Refusal::Away(pipe::why(self.trouble.as_ref(), &other)),
        })
    }
}

/// Tells servers apart: 64-bit FNV-1a over address and bucket, without its sign and never 0.
fn number(url: &str, bucket: &str) -> i64 {
    let text = url.trim_end_matches('/').bytes().chain([0]).chain(bucket.bytes());
    let sum = text
        .fold(0xcbf2_9ce4_8422_2325_u64, |sum, byte| (sum ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3));
    ((sum >> 1) as i64).max(1)
}

/// A client with our limits, the address it is to be given, and the pipe where that leads through one.
pub(super) fn line(
    settings: &Settings,
) -> Result<(reqwest011::ClientBuilder, String, Option<Pipe>), Unusable> {
    let url = check_url(&settings.url)?;
    if !settings.token.bytes().all(|byte| byte.is_ascii_graphic() || byte == b' ') {
        return Err(Unusable::Token);
    }
    let http = reqwest011::ClientBuilder::new()
        .timeout(settings.limits.0)
        .connect_timeout(settings.limits.1)
        .redirect(Policy::none())
        .no_proxy();
    if url.scheme() == "http" {
        return Ok((http, settings.url.clone(), None));
    }
    let pipe = pipe::open(&url, settings.authority.as_deref(), settings.limits.1).map_err(Unusable::Pipe)?;
    let near = format!("http://{}", pipe.near());
    Ok((http, near, Some(pipe)))
}

/// What a status means (RFC 9110, 15). Only 204 is success, and does not come here.
fn judge(status: u16, text: &str) -> Refusal {
    let why = format!("status {status}: {}", one_line(text));
    match status {
        400 | 422 if text.contains("beyond retention policy") => {
            let dropped = text.split("dropped=").nth(1).map(str::trim_start);
            let digits =
                dropped.map(|rest| rest.split(|c: char| !c.is_ascii_digit()).next().unwrap_or_default());
            Refusal::TooOld { count: digits.and_then(|digits| digits.parse().ok()), why }
        }
        400 | 413 | 422 => Refusal::Points(why),
        408 | 429 | 500.. => Refusal::Away(why),
        _ => Refusal::Us(why),
    }
}

fn check_url(text: &str) -> Result<Url, Unusable> {
    let wrong = |why: &str| Unusable::Url { url: text.to_owned(), why: why.to_owned() };
    let url = Url::parse(text).map_err(|error| wrong(&error.to_string()))?;
    if !matches!(url.scheme(), "http" | "https") {
        return Err(wrong("write http://host:port or https://host:port"));
    }
    if url.path() != "/" || url.query().is_some() || url.fragment().is_some() {
        return Err(wrong("write scheme, host and port and nothing after it"));
    }
    if !url.username().is_empty() || url.password().is_some() {
        return Err(wrong("no user or password here: the token is for that"));
    }
    Ok(url)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_status_has_one_meaning() {
        for status in [400, 413, 422] {
            assert!(matches!(judge(status, ""), Refusal::Points(_)), "{status}");
        }
        for status in [200, 202, 301, 308, 401, 403, 404, 405] {
            assert!(matches!(judge(status, ""), Refusal::Us(_)), "{status}");
        }
        for status in [408, 429, 500, 502, 503, 504] {
            assert!(matches!(judge(status, ""), Refusal::Away(_)), "{status}");
        }
    }

    #[test]
    fn points_beyond_the_retention_are_told_from_bad_ones() {
        // The words of a real server (influxd 1.6.7); how many are dropped stands at their end.
        let text = r#"{"error":"partial write: points beyond retention policy dropped=37"}"#;
        assert!(matches!(judge(400, text), Refusal::TooOld { count: Some(37), .. }));
        assert!(matches!(judge(422, "points beyond retention policy"), Refusal::TooOld { count: None, .. }));
    }

    #[test]
    fn servers_are_told_apart_by_address_and_bucket() {
        let first = number("http://db.lan:8428", "garden");
        assert_eq!(number("http://db.lan:8428/", "garden"), first);
        for (url, bucket) in [
            ("http://db.lan:8429", "garden"),
            ("https://db.lan:8428", "garden"),
            ("http://db.lan:8428", "other"),
            ("http://db.lan:842", "8garden"),
        ] {
            let other = number(url, bucket);
            assert!(other > 0 && other != first, "{url} {bucket}");
        }
    }

    #[test]
    fn a_bad_address_is_told_and_never_panics() {
        let set = |url: &str, token: &str| Settings {
            url: url.to_owned(),
            org: "garden".to_owned(),
            bucket: "readings".to_owned(),
            token: token.to_owned(),
            authority: None,
            limits: LIMITS,
        };
        let bad = ["", "garden", "ftp://db.lan", "http://db.lan/influx", "http://u:p@db.lan", "http://"];
        for url in bad {
            assert!(matches!(Remote::new(&set(url, "")), Err(Unusable::Url { .. })), "{url}");
        }
        assert!(matches!(Remote::new(&set("http://db.lan:8428", "a\nb")), Err(Unusable::Token)));
        assert!(Remote::new(&set("http://db.lan:8428", "secret")).is_ok());
    }
}
