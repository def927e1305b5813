//! The other side: the call, and what its answers mean.
//!
//! The client library neither limits the time of a call nor tries again; it follows redirects and panics on a bad
//! address. All of that is settled here before it is asked.

use std::future::Future;
use std::time::Duration;

use influxdb2::api::write::TimestampPrecision;
use influxdb2::{Client, ClientBuilder, RequestError};
use reqwest011::Url;
use reqwest011::redirect::Policy;

use super::points::Point;

/// The longest a call may take, and the longest until the connection stands.
const LIMITS: (Duration, Duration) = (Duration::from_secs(30), Duration::from_secs(5));
/// Single points a server may refuse before anything was taken: then it is not the points.
const ENOUGH: usize = 16;

/// What the site file says of the database.
#[derive(Clone)]
pub struct Settings {
    /// `http://host:port`. Not encrypted: keep it within the local network.
    pub url: String,
    /// The organisation, as the database calls it; may be empty where it knows none.
    pub org: String,
    /// The bucket.
    pub bucket: String,
    /// The token; empty where it wants none.
    pub token: String,
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
    /// The client cannot be made.
    #[error("the mirror's client: {0}")]
    Client(String),
}

/// Why the other side did not take points.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Refusal {
    /// It cannot read some of them, or they are too many at once: halve and find out which.
    Points(String),
    /// It will not have any from us, until somebody changes something.
    Us(String),
    /// It is not there, or too busy: the same again later.
    Away(String),
}

/// A point that was set aside, and why.
#[derive(Clone, Debug, PartialEq)]
pub struct SetAside {
    /// The point.
    pub point: Point,
    /// The server's words.
    pub why: String,
}

/// Something that takes points.
pub trait Server: Send {
    /// Takes all of `points`, or says why not. May have taken some of them then.
    fn write(&self, points: Vec<Point>) -> impl Future<Output = Result<(), Refusal>> + Send;
}

/// A server behind the v2 write call.
pub struct Remote {
    client: Client,
    bucket: String,
}

impl Remote {
    /// Sets the client up; nothing is sent yet.
    ///
    /// # Errors
    ///
    /// [`Unusable`], in words for the grower.
    pub fn new(settings: &Settings) -> Result<Self, Unusable> {
        check_url(&settings.url)?;
        if !settings.token.bytes().all(|byte| byte.is_ascii_graphic() || byte == b' ') {
            return Err(Unusable::Token);
        }
        let http = reqwest011::ClientBuilder::new()
            .timeout(LIMITS.0)
            .connect_timeout(LIMITS.1)
            .redirect(Policy::none())
            .no_proxy();
        let client = ClientBuilder::with_builder(http, &settings.url, &settings.org, &settings.token)
            .gzip(true)
            .build()
            .map_err(|error| Unusable::Client(error.to_string()))?;
        Ok(Self { client, bucket: settings.bucket.clone() })
    }
}

impl Server for Remote {
    async fn write(&self, points: Vec<Point>) -> Result<(), Refusal> {
        let points = futures_util::stream::iter(points.into_iter().map(Point::line));
        let call = self.client.write_with_precision(&self.bucket, points, TimestampPrecision::Milliseconds);
        call.await.map_err(|error| match error {
            RequestError::Http { status, text } => judge(status.as_u16(), &text),
            other => Refusal::Away(other.to_string()),
        })
    }
}

/// What a status means (RFC 9110, 15). Only 204 is success, and does not come here.
fn judge(status: u16, text: &str) -> Refusal {
    let words: String = text.split_whitespace().collect::<Vec<_>>().join(" ").chars().take(200).collect();
    let why = format!("status {status}: {words}");
    match status {
        400 | 413 => Refusal::Points(why),
        408 | 429 | 500.. => Refusal::Away(why),
        _ => Refusal::Us(why),
    }
}

fn check_url(text: &str) -> Result<(), Unusable> {
    let wrong = |why: &str| Unusable::Url { url: text.to_owned(), why: why.to_owned() };
    let url = Url::parse(text).map_err(|error| wrong(&error.to_string()))?;
    if url.scheme() != "http" {
        return Err(wrong("write http://host:port; the mirror speaks no TLS"));
    }
    if url.path() != "/" || url.query().is_some() || url.fragment().is_some() {
        return Err(wrong("write http://host:port and nothing after it"));
    }
    if !url.username().is_empty() || url.password().is_some() {
        return Err(wrong("no user or password here: the token is for that"));
    }
    Ok(())
}

/// Writes all points; those the server cannot read are found by halving and come back, set aside.
///
/// # Errors
///
/// Any refusal that is not about single points. Also when point after point is refused and none was ever taken: then
/// the fault is not in the points, and nothing may be set aside for it.
pub async fn write_all<S: Server>(server: &S, points: Vec<Point>) -> Result<Vec<SetAside>, Refusal> {
    let mut to_do = vec![points];
    let mut aside = Vec::new();
    let mut taken = false;
    while let Some(mut part) = to_do.pop() {
        let Some(first) = part.first().cloned() else { continue };
        match server.write(part.clone()).await {
            Ok(()) => taken = true,
            Err(Refusal::Points(why)) if part.len() == 1 => {
                aside.push(SetAside { point: first, why: why.clone() });
                if aside.len() >= ENOUGH && !taken {
                    return Err(Refusal::Us(format!("every point is refused: {why}")));
                }
            }
            Err(Refusal::Points(_)) => {
                let rest = part.split_off(part.len() / 2);
                to_do.push(rest);
                to_do.push(part);
            }
            Err(other) => return Err(other),
        }
    }
    Ok(aside)
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicU32, Ordering};

    use agronomy::quantity::Quantity;

    use super::*;
    use crate::mirror::points::point;
    use crate::reading::{Reading, Reason};

    /// Refuses any part that holds one of its dislikes, as strict servers do.
    struct Picky {
        dislikes: Vec<Point>,
        calls: AtomicU32,
    }

    impl Server for Picky {
        fn write(&self, points: Vec<Point>) -> impl Future<Output = Result<(), Refusal>> + Send {
            self.calls.fetch_add(1, Ordering::Relaxed);
            let bad = points.iter().any(|point| self.dislikes.contains(point));
            std::future::ready(if bad { Err(Refusal::Points("no".to_owned())) } else { Ok(()) })
        }
    }

    fn points(count: i64) -> Vec<Point> {
        let reading = |at_ms| Reading {
            probe: "bench".into(),
            quantity: Quantity::AirTemperature,
            value: 20.0,
            at_ms,
            reason: Reason::None,
        };
        (0..count).map(|at_ms| point(&reading(at_ms)).unwrap()).collect()
    }

    #[tokio::test]
    async fn the_bad_points_are_found_by_halving_and_the_rest_goes_through() {
        let all = points(5000);
        let dislikes = vec![all[17].clone(), all[4999].clone()];
        let server = Picky { dislikes: dislikes.clone(), calls: AtomicU32::new(0) };
        let aside = write_all(&server, all).await.unwrap();
        assert_eq!(aside.into_iter().map(|aside| aside.point).collect::<Vec<_>>(), dislikes);
        // Two paths of a binary tree over 5,000 leaves: at most 2 * (1 + 2 * 13) calls.
        let calls = server.calls.into_inner();
        assert!(calls <= 54, "{calls}");
    }

    #[tokio::test]
    async fn a_server_that_refuses_everything_costs_no_point() {
        let all = points(5000);
        let server = Picky { dislikes: all.clone(), calls: AtomicU32::new(0) };
        assert!(matches!(write_all(&server, all).await, Err(Refusal::Us(_))));
    }

    #[test]
    fn each_status_has_one_meaning() {
        for status in [400, 413] {
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
    fn a_bad_address_is_told_and_never_panics() {
        let set = |url: &str, token: &str| Settings {
            url: url.to_owned(),
            org: "garden".to_owned(),
            bucket: "readings".to_owned(),
            token: token.to_owned(),
        };
        for url in ["", "garden", "https://db.lan", "http://db.lan/influx", "http://u:p@db.lan", "http://"] {
            assert!(matches!(Remote::new(&set(url, "")), Err(Unusable::Url { .. })), "{url}");
        }
        assert!(matches!(Remote::new(&set("http://db.lan:8428", "a\nb")), Err(Unusable::Token)));
        assert!(Remote::new(&set("http://db.lan:8428", "secret")).is_ok());
    }
}
