//! An address that serves warnings: asked every few minutes.
//!
//! Each document behind a link is read once, and again only when the feed says that its entry has changed; where a feed
//! never says, once an hour. The newest are read first, at most fifty an hour; of one look they are taken in the order
//! they were sent, so that a message comes before what takes it back.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;
use std::time::Duration;

use axum::body::Bytes;
use axum::http::{Request, header};
use tokio_util::sync::CancellationToken;

use super::{HOUR_MS, Hourly, Intake, Taken};
use crate::http_out::Client;
use crate::keeper::handle::Stopped;
use crate::sources::told::Told;
use crate::supervise::Outcome;
use crate::warnings::cap::{self, Alert, CapFault};
use crate::warnings::feed::{self, Link, Served, is_of};

/// How the source is called in what we say.
const SOURCE: &str = "warnings feed";
/// The time limit of one call.
const LIMIT: Duration = Duration::from_secs(30);
/// The longest that a feed can have us wait by its own wish, ms.
const LONGEST_WISH_MS: i64 = 6 * HOUR_MS;

/// Where warnings are fetched.
#[derive(Clone, Debug, PartialEq)]
pub struct FeedSettings {
    /// A message or a feed of them.
    pub url: String,
    /// Origins besides the feed's own to which its links may lead.
    pub also_from: Vec<String>,
    /// Certificates (PEM) that vouch for the address, besides the system's.
    pub authority: Option<PathBuf>,
    /// Time between two looks.
    pub every: Duration,
}

/// Asks the address until told to stop.
///
/// # Errors
///
/// When its certificates cannot be used. An address that does not answer is no error: it is told and asked again.
pub async fn run(settings: FeedSettings, intake: Intake, stop: CancellationToken) -> Outcome {
    let client = Client::new(settings.authority.as_deref(), LIMIT);
    let client = client.map_err(|unusable| format!("{SOURCE}: {unusable}"))?;
    let mut origins = vec![settings.url.clone()];
    origins.extend(settings.also_from.iter().cloned());
    let began_ms = intake.clock.monotonic_ms();
    let mut look = Looker { settings, origins, client, intake, seen: Seen::default(), heard_ms: began_ms };
    let mut told = Told::nothing(SOURCE.to_owned());
    loop {
        let looked = tokio::select! {
            () = stop.cancelled() => return Ok(()),
            looked = look.look() => looked,
        };
        // The keeper stops only with the program.
        let Ok((standing, wait)) = looked else { return Ok(()) };
        let why = match standing {
            Standing::Well => Some(None),
            Standing::Wrong(why) => Some(Some(why)),
            Standing::AsBefore => None,
        };
        if let Some(news) = why.and_then(|why| told.news(why))
            && look.intake.handle.events.send(news).await.is_err()
        {
            return Ok(());
        }
        tokio::select! {
            () = stop.cancelled() => return Ok(()),
            () = tokio::time::sleep(look.intake.clock.real(wait)) => {}
        }
    }
}

/// How the source stands after a look.
enum Standing {
    Well,
    Wrong(String),
    /// A look that failed is no silence yet: the next may find all that there was to see.
    AsBefore,
}

/// A document that was read.
#[derive(Debug)]
struct Read {
    /// When, by the monotonic clock, ms.
    at_ms: i64,
    /// Why it was refused, where it was.
    refused: Option<CapFault>,
}

/// The documents of the feed that were read.
#[derive(Debug, Default)]
struct Seen {
    read: BTreeMap<Link, Read>,
    /// Where nothing came when they were asked for last: they come after all others.
    failed: BTreeSet<Link>,
    hourly: Hourly,
}

impl Seen {
    /// Which links are to be followed now, and how many that may not be for the time being. What left the feed is
    /// forgotten.
    fn wanted(&mut self, links: Vec<Link>, now_ms: i64) -> (Vec<Link>, usize) {
        self.read.retain(|link, _| links.contains(link));
        self.failed.retain(|link| links.contains(link));
        let stale = |link: &Link| {
            let read = self.read.get(link);
            read.is_none_or(|read| link.changed.is_empty() && now_ms - read.at_ms >= HOUR_MS)
        };
        let mut wanted: Vec<Link> = links.into_iter().filter(stale).collect();
        wanted.sort_by_key(|link| self.failed.contains(link));
        let left = self.hourly.left(now_ms);
        let waiting = wanted.len().saturating_sub(left);
        wanted.truncate(left);
        (wanted, waiting)
    }
}

/// What came of asking an address.
struct Failed {
    why: String,
    /// When to ask again, by its own wish, ms.
    after_ms: Option<i64>,
}

struct Looker {
    settings: FeedSettings,
    origins: Vec<String>,
    client: Client,
    intake: Intake,
    seen: Seen,
    /// When the address answered last, by the monotonic clock, ms.
    heard_ms: i64,
}

impl Looker {
    /// One look: how the source stands, and how long to wait for the next.
    async fn look(&mut self) -> Result<(Standing, Duration), Stopped> {
        let every = self.settings.every;
        let url = self.settings.url.clone();
        let failed = match self.fetch(&url, feed::LONGEST).await {
            Ok(body) => {
                let wrong = match feed::read(&body, &url) {
                    Ok(served) => {
                        self.heard_ms = self.intake.clock.monotonic_ms();
                        self.serve(served, &body).await?
                    }
                    Err(fault) => Some(format!("refused: {fault}")),
                };
                return Ok((wrong.map_or(Standing::Well, Standing::Wrong), every));
            }
            Err(failed) => failed,
        };
        let silent_ms = self.intake.clock.monotonic_ms() - self.heard_ms;
        let standing = if silent_ms >= 2 * every.as_millis() as i64 {
            Standing::Wrong(format!("{}; a public warning would not be seen here", failed.why))
        } else {
            Standing::AsBefore
        };
        let wish_ms = failed.after_ms.unwrap_or(0).clamp(0, LONGEST_WISH_MS);
        Ok((standing, every.max(Duration::from_millis(wish_ms as u64))))
    }

    /// Takes in what was served; what is to be said of it.
    async fn serve(&mut self, served: Served, body: &[u8]) -> Result<Option<String>, Stopped> {
        let mut refused = Vec::new();
        let mut waiting = 0;
        let mut alerts: Vec<(Option<Link>, String, Alert)> = Vec::new();
        match served {
            Served::Message => match Intake::read(body) {
                Ok(alert) => alerts.push((None, self.settings.url.clone(), alert)),
                Err(fault) => refused.push(format!("refused: {fault}")),
            },
            Served::Links(links) => {
                let (ours, others): (Vec<_>, Vec<_>) =
                    links.into_iter().partition(|link| is_of(&link.url, &self.origins));
                if let Some(other) = others.first() {
                    let (count, url) = (others.len(), cut(&other.url));
                    refused.push(format!("{count} of its links lead elsewhere and are not followed: {url}"));
                }
                let (wanted, left) = self.seen.wanted(ours, self.intake.clock.monotonic_ms());
                waiting = left;
                for link in wanted {
                    match self.follow(&link).await {
                        Ok(Some(alert)) => alerts.push((Some(link.clone()), link.url, alert)),
                        Ok(None) => {}
                        Err(why) => refused.push(format!("{}: {why}", cut(&link.url))),
                    }
                }
                // Told as long as the feed has it: it is not read again at each look.
                refused.extend(self.seen.read.iter().filter_map(|(link, read)| {
                    read.refused.as_ref().map(|fault| format!("{}: refused: {fault}", cut(&link.url)))
                }));
            }
        }
        alerts.sort_by_key(|(_, _, alert)| alert.name.sent_ms);
        for (link, url, alert) in alerts {
            if self.intake.take(&alert, &url).await? == Taken::Later
                && let Some(link) = link
            {
                self.seen.read.remove(&link);
            }
        }
        if waiting > 0 {
            refused.push(format!(
                "{waiting} documents wait: at most {} are read in an hour",
                super::MOST_AN_HOUR
            ));
        }
        // One is enough for the page; a feed that is all wrong would fill it.
        let more =
            if refused.len() > 1 { format!(" (and {} more)", refused.len() - 1) } else { String::new() };
        Ok(refused.first().map(|first| format!("{first}{more}")))
    }

    /// Reads the document behind a link; none where it is refused, which is remembered. Where nothing came, it was not
    /// read.
    async fn follow(&mut self, link: &Link) -> Result<Option<Alert>, String> {
        let at_ms = self.intake.clock.monotonic_ms();
        self.seen.hourly.spend(at_ms);
        self.seen.failed.insert(link.clone());
        let body = self.fetch(&link.url, cap::LONGEST).await.map_err(|failed| failed.why)?;
        self.seen.failed.remove(link);
        let (alert, refused) = match Intake::read(&body) {
            Ok(alert) => (Some(alert), None),
            Err(fault) => (None, Some(fault)),
        };
        self.seen.read.insert(link.clone(), Read { at_ms, refused });
        Ok(alert)
    }

    async fn fetch(&self, url: &str, most: usize) -> Result<Bytes, Failed> {
        let failed = |why: String, after_ms| Failed { why, after_ms };
        let request = Request::get(url)
            .header(header::USER_AGENT, "Glasshour")
            .header(
                header::ACCEPT,
                "application/cap+xml, application/atom+xml, application/rss+xml, text/xml",
            )
            .body(Bytes::new())
            .map_err(|error| failed(error.to_string(), None))?;
        let answer =
            self.client.call(request, most).await.map_err(|trouble| failed(trouble.to_string(), None))?;
        match answer.status.as_u16() {
            200 => Ok(answer.body),
            300..=399 => Err(failed("it points to another address, which is not followed".to_owned(), None)),
            status => Err(failed(format!("it answers with status {status}"), answer.retry_after_ms)),
        }
    }
}

fn cut(url: &str) -> String {
    url.chars().take(200).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn link(url: &str, changed: &str) -> Link {
        Link { url: url.to_owned(), changed: changed.to_owned() }
    }

    fn follow(seen: &mut Seen, links: &[Link], now_ms: i64) -> Vec<String> {
        let (wanted, _) = seen.wanted(links.to_vec(), now_ms);
        for link in &wanted {
            seen.hourly.spend(now_ms);
            seen.read.insert(link.clone(), Read { at_ms: now_ms, refused: None });
        }
        wanted.into_iter().map(|link| link.url).collect()
    }

    #[test]
    fn a_document_is_read_once_and_again_when_its_entry_changed_or_after_an_hour_where_no_time_is_told() {
        let mut seen = Seen::default();
        let links = [link("a", "1"), link("b", "")];
        assert_eq!(follow(&mut seen, &links, 0), ["a", "b"]);
        assert_eq!(follow(&mut seen, &links, HOUR_MS - 1), [""; 0]);
        assert_eq!(follow(&mut seen, &[link("a", "2"), link("b", "")], HOUR_MS), ["a", "b"]);
        assert_eq!(follow(&mut seen, &[], HOUR_MS), [""; 0]);
        assert!(seen.read.is_empty(), "what left the feed is forgotten");
    }

    #[test]
    fn of_a_long_feed_the_newest_fifty_are_read_and_the_rest_an_hour_later() {
        let mut seen = Seen::default();
        let links: Vec<Link> = (0..120).map(|index| link(&index.to_string(), "1")).collect();
        assert_eq!(seen.wanted(links.clone(), 0).1, 70);
        let first = follow(&mut seen, &links, 0);
        assert_eq!((first.len(), first[0].as_str(), first[49].as_str()), (50, "0", "49"));
        assert_eq!(follow(&mut seen, &links, 60_000), [""; 0]);
        assert_eq!(follow(&mut seen, &links, HOUR_MS)[0], "50");
    }

    #[test]
    fn a_link_where_nothing_came_does_not_keep_the_others_waiting() {
        let mut seen = Seen::default();
        seen.failed.insert(link("0", "1"));
        let links: Vec<Link> = (0..51).map(|index| link(&index.to_string(), "1")).collect();
        let first = follow(&mut seen, &links, 0);
        assert!(first.len() == 50 && !first.contains(&"0".to_owned()));
        assert_eq!(follow(&mut seen, &links, HOUR_MS), ["0"]);
    }
}
