//! What an address of warnings serves: one message, or a feed that links to messages.
//!
//! Authorities list their messages in Atom or RSS feeds, an entry for each, with a link to the document. Which links are
//! followed is decided here and not by the feed: only those of the feed's own origin, or of origins that the site file
//! names. So a feed cannot make us ask an address of the house, or of the board itself.
//!
//! # Source
//!
//! RFC 4287 (Atom), 4.1.2, 4.2.7 and 4.2.15; RSS 2.0 Specification (RSS Advisory Board), item, link, enclosure and
//! pubDate; RFC 6454 (The Web Origin Concept), 4. Of RFC 3986, 5.2, dot segments and `xml:base` are left out.

use axum::http::Uri;
use chrono::DateTime;

use super::xml::{self, Element, XmlFault};

/// The longest feed that is read, bytes: a country's in bad weather has some hundred entries of a few kB.
pub const LONGEST: usize = 2 * 1024 * 1024;
/// The namespace of Atom (RFC 4287, 1.2).
const ATOM: &str = "http://www.w3.org/2005/Atom";
/// The media type of a message (CAP 1.2, 3.4 gives none; that in use).
const CAP_TYPE: &str = "application/cap+xml";

/// What a feed's address serves.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Served {
    /// A message itself.
    Message,
    /// Links to messages, the newest first.
    Links(Vec<Link>),
}

/// A link to a message.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Link {
    /// Where it leads, absolute.
    pub url: String,
    /// When its entry was changed last, as the feed writes it; empty where it does not say.
    pub changed: String,
}

/// Why what was served is no feed of warnings.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FeedFault {
    /// It is not read at all.
    #[error(transparent)]
    Xml(#[from] XmlFault),
    /// It is something else.
    #[error("it begins with {0:?}: neither a message by CAP 1.2 nor a feed by Atom or RSS")]
    Other(String),
}

/// Reads what was served at an address.
///
/// # Errors
///
/// When it is neither a message nor a feed.
pub fn read(bytes: &[u8], url: &str) -> Result<Served, FeedFault> {
    let root = xml::read(bytes, LONGEST)?;
    let entries: Vec<&Element> = match (root.name.as_str(), root.space.as_str()) {
        ("alert", _) => return Ok(Served::Message),
        ("feed", ATOM) => root.children.iter().filter(|child| child.name == "entry").collect(),
        // RSS 1.0 has its items beside the channel, RSS 2.0 within it.
        ("rss" | "RDF", _) => {
            let channel = root.child("channel").map_or(&[][..], |channel| &channel.children);
            root.children.iter().chain(channel).filter(|child| child.name == "item").collect()
        }
        (other, _) => return Err(FeedFault::Other(other.chars().take(80).collect())),
    };
    let mut links: Vec<(i64, Link)> = entries
        .into_iter()
        .filter_map(|entry| {
            let changed = changed(entry);
            let url = resolved(url, leads_to(entry)?)?;
            Some((moment(&changed), Link { url, changed }))
        })
        .collect();
    links.sort_by_key(|(changed_ms, _)| std::cmp::Reverse(*changed_ms));
    let mut links: Vec<Link> = links.into_iter().map(|(_, link)| link).collect();
    links.dedup();
    Ok(Served::Links(links))
}

/// Where an entry says its message is.
fn leads_to(entry: &Element) -> Option<&str> {
    let links = || entry.children.iter().filter(|child| matches!(child.name.as_str(), "link" | "enclosure"));
    // In RSS a link is text and an enclosure has an address; in Atom a link has a reference.
    let address = |link: &'_ Element| link.attribute("href").or(link.attribute("url")).is_some();
    let typed = links().find(|link| link.attribute("type") == Some(CAP_TYPE));
    let plain = || {
        links().find(|link| {
            let alternate = link.attribute("rel").is_none_or(|rel| rel == "alternate");
            let xml =
                link.attribute("type").is_none_or(|kind| kind.ends_with("xml") && !kind.contains("html"));
            link.name == "link" && alternate && xml && (address(link) || !link.text.trim().is_empty())
        })
    };
    let link = typed.or_else(plain)?;
    link.attribute("href").or(link.attribute("url")).or(Some(link.text.trim())).filter(|to| !to.is_empty())
}

/// What an entry says of when it was changed last.
fn changed(entry: &Element) -> String {
    let said = ["updated", "pubDate", "date"].iter().find_map(|name| entry.child(name));
    said.map(|said| said.text.trim().chars().take(64).collect()).unwrap_or_default()
}

/// The moment of an entry's change, UTC ms; long ago where it cannot be read.
fn moment(changed: &str) -> i64 {
    let read = DateTime::parse_from_rfc3339(changed).or_else(|_| DateTime::parse_from_rfc2822(changed));
    read.map_or(i64::MIN, |at| at.timestamp_millis())
}

/// Whether an address is of the same origin as one of the others.
pub fn is_of(url: &str, others: &[String]) -> bool {
    origin(url)
        .is_some_and(|origin_of_it| others.iter().any(|other| origin(other) == Some(origin_of_it.clone())))
}

/// Scheme, host in lower case and port of an `http` or `https` address without an account in it.
fn origin(url: &str) -> Option<(String, String, u16)> {
    let uri: Uri = url.parse().ok()?;
    let usual = match uri.scheme_str()? {
        "http" => 80,
        "https" => 443,
        _ => return None,
    };
    let authority = uri.authority()?;
    let host = authority.host();
    // A port that is none would be taken for the usual one; an account before the host is not the host.
    let port = match authority.as_str().strip_prefix(host)? {
        "" => usual,
        rest => rest.strip_prefix(':')?.parse().ok()?,
    };
    if host.is_empty() {
        return None;
    }
    Some((uri.scheme_str()?.to_owned(), host.to_lowercase(), port))
}

/// The absolute address that a link names on a page at `base`; none for anything but `http` and `https`.
fn resolved(base: &str, link: &str) -> Option<String> {
    let link = link.split('#').next().unwrap_or_default();
    let absolute = if link.contains("://") {
        link.to_owned()
    } else {
        let scheme_end = base.find("://")?;
        let (scheme, rest) = (&base[..scheme_end], &base[scheme_end + 3..]);
        let rest = rest.split(['?', '#']).next().unwrap_or_default();
        let (host, path) = rest.split_at(rest.find('/').unwrap_or(rest.len()));
        let folder = path.rfind('/').map_or("/", |end| &path[..=end]);
        match link.strip_prefix("//") {
            Some(elsewhere) => format!("{scheme}://{elsewhere}"),
            None if link.starts_with('/') => format!("{scheme}://{host}{link}"),
            None => format!("{scheme}://{host}{folder}{link}"),
        }
    };
    origin(&absolute).map(|_| absolute)
}

#[cfg(test)]
mod tests {
    use super::*;

    const AT: &str = "https://warnings.example/feeds/all.atom?region=1";

    fn links(text: &str) -> Vec<(String, String)> {
        match read(text.as_bytes(), AT).unwrap() {
            Served::Links(links) => links.into_iter().map(|link| (link.url, link.changed)).collect(),
            Served::Message => panic!("a message"),
        }
    }

    fn pair(url: &str, changed: &str) -> (String, String) {
        (url.to_owned(), changed.to_owned())
    }

    #[test]
    fn an_atom_feed_gives_the_links_to_its_messages_the_newest_first() {
        let text = r#"<feed xmlns="http://www.w3.org/2005/Atom"><title>t</title><link href="self.atom" rel="self"/>
            <entry><updated>2026-07-19T05:00:00Z</updated><link href="https://warnings.example/1.xml"/></entry>
            <entry><updated>2026-07-19T06:00:00Z</updated><link rel="alternate" type="text/html" href="/page"/>
                <link type="application/cap+xml" rel="related" href="/2.xml"/></entry>
            <entry><updated>2026-07-19T06:30:00+02:00</updated><link rel="alternate" type="text/xml" href="3.xml#a"/></entry>
            <entry><updated>2026-07-19T06:30:00+02:00</updated><link rel="alternate" type="text/xml" href="3.xml"/></entry>
            <entry><updated>2026-07-19T07:00:00Z</updated><link rel="self" href="/no.xml"/></entry></feed>"#;
        assert_eq!(
            links(text),
            [
                pair("https://warnings.example/2.xml", "2026-07-19T06:00:00Z"),
                pair("https://warnings.example/1.xml", "2026-07-19T05:00:00Z"),
                pair("https://warnings.example/feeds/3.xml", "2026-07-19T06:30:00+02:00"),
            ]
        );
    }

    #[test]
    fn both_forms_of_rss_are_read() {
        let item = "<item><title>t</title><link>http://w.example/1.xml</link><pubDate>Sun, 19 Jul 2026 05:00:00 GMT\
                    </pubDate></item><item><link>/page</link><enclosure type=\"application/cap+xml\" \
                    url=\"//w.example/2.xml\" length=\"1\"/></item>";
        let wanted = [
            pair("http://w.example/1.xml", "Sun, 19 Jul 2026 05:00:00 GMT"),
            pair("https://w.example/2.xml", ""),
        ];
        assert_eq!(links(&format!("<rss version=\"2.0\"><channel>{item}</channel></rss>")), wanted);
        let rdf = "<r:RDF xmlns:r=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\"><channel/>";
        assert_eq!(links(&format!("{rdf}{item}</r:RDF>")), wanted);
    }

    #[test]
    fn a_message_is_told_from_a_feed_and_anything_else_is_refused() {
        assert_eq!(read(b"<alert xmlns=\"urn:x\"/>", AT), Ok(Served::Message));
        assert!(matches!(read(b"<html/>", AT), Err(FeedFault::Other(name)) if name == "html"));
        assert!(matches!(read(b"<!DOCTYPE feed><feed/>", AT), Err(FeedFault::Xml(XmlFault::DocumentType))));
    }

    #[test]
    fn only_addresses_of_the_web_come_out_of_a_feed() {
        for link in [
            "file:///etc/passwd",
            "ftp://w.example/1",
            "https://user@w.example/1",
            "https:///1",
            "http://w.example:99999/",
        ] {
            let text = format!("<rss><channel><item><link>{link}</link></item></channel></rss>");
            assert_eq!(links(&text), [], "{link}");
        }
    }

    #[test]
    fn origins_are_scheme_host_and_port() {
        let feed = ["https://Warnings.example/feed".to_owned(), "http://[::1]:8080".to_owned()];
        for same in ["https://warnings.example/1", "https://WARNINGS.example:443/1?x", "http://[::1]:8080/x"]
        {
            assert!(is_of(same, &feed), "{same}");
        }
        for other in [
            "http://warnings.example/1",
            "https://warnings.example:8443/1",
            "https://warnings.example.evil.example/1",
            "https://evil.example/warnings.example",
            "https://warnings.example@evil.example/",
            "http://127.0.0.1/",
            "http://[::1]/",
            "warnings.example/1",
            "",
        ] {
            assert!(!is_of(other, &feed), "{other}");
        }
    }
}
