//! Where the outlook comes from: a forecast by HTTP or MQTT, and the place's usual temperatures.

use std::path::PathBuf;

use super::topics::is_filter;
use crate::reader::Table;

/// The table `[outlook]`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Outlook {
    /// The forecast that is fed in.
    pub feed: Option<Feed>,
    /// The place's usual day's highest and lowest, from a climate table.
    pub usual: Option<UsualMonths>,
}

/// A forecast that is fed in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Feed {
    /// From where.
    pub way: Way,
    /// Minutes between two fetches, or between two messages when all is well.
    pub every_min: u32,
    /// Its field map: the name of a shipped one, or the path of a file.
    pub map: String,
}

/// From where a forecast comes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Way {
    /// Fetched from an address.
    Url {
        /// The address, `http` or `https`.
        url: String,
        /// The certificates (PEM) that vouch for it; the system's where absent.
        ca: Option<PathBuf>,
    },
    /// Published on the broker.
    Topic(String),
}

/// Mean highest and lowest of the days of each month, January first \[°C\].
#[derive(Clone, Debug, PartialEq)]
pub struct UsualMonths {
    /// Highest.
    pub high_c: [f64; 12],
    /// Lowest.
    pub low_c: [f64; 12],
}

/// Reads `[outlook]`.
pub(super) fn outlook(root: &Table<'_, '_>) -> Option<Outlook> {
    let table = root.table("outlook", "[outlook]")?;
    let usual = usual(&table);
    let (url, topic, map) = (table.line("url"), table.line("topic"), table.line("map"));
    let every_min = table.whole("every_min", 10..=1440).unwrap_or(60) as u32;
    let ca = table.line("ca").map(PathBuf::from);
    if table.has("url") && table.has("topic") {
        table.fault("topic", "url and topic are both there; write one of them");
    }
    if !table.has("url") && !table.has("topic") {
        if !table.has("usual_high_c") && !table.has("usual_low_c") {
            table.need::<()>("url", "url = \"https://forecast.garden.example/hours.json\", or topic", None);
        }
        for key in ["map", "ca"].into_iter().filter(|key| table.has(key)) {
            table.fault(
                key,
                format!("there is no forecast for {key}; write url or topic, or leave {key} out"),
            );
        }
        return usual.map(|usual| Outlook { feed: None, usual: Some(usual) });
    }
    let map = table.need("map", "map = \"rows\", \"columns\" or the path of a field map", map);
    let way = if table.has("url") { by_url(&table, url, ca) } else { by_topic(root, &table, topic) };
    Some(Outlook { feed: Some(Feed { way: way?, every_min, map: map? }), usual })
}

fn by_url(table: &Table<'_, '_>, url: Option<String>, ca: Option<PathBuf>) -> Option<Way> {
    let url = url?;
    if ca.is_some() && url.starts_with("http://") {
        table.fault("ca", "ca vouches for nothing on an http address; write https, or leave ca out");
    }
    if !is_address(&url) {
        let example = "https://forecast.garden.example/hours.json";
        table.fault("url", format!("url {url} is no address without account to fetch from; write {example}"));
    }
    Some(Way::Url { url, ca })
}

/// `http` or `https` with a host, no account before it, no blank and no fragment in it.
fn is_address(url: &str) -> bool {
    let Some(rest) = url.strip_prefix("http://").or_else(|| url.strip_prefix("https://")) else {
        return false;
    };
    let host = rest.split(['/', '?']).next().unwrap_or_default();
    let sound = |c: char| c.is_ascii_graphic() && c != '#' && c != '"' && c != '<' && c != '>' && c != '\\';
    !host.is_empty() && !host.starts_with(':') && !host.contains('@') && rest.chars().all(sound)
}

fn by_topic(root: &Table<'_, '_>, table: &Table<'_, '_>, topic: Option<String>) -> Option<Way> {
    if !root.has("broker") {
        table.fault("topic", "the outlook has no broker to come from; write a table [broker] with its host");
    }
    for key in ["ca"].into_iter().filter(|key| table.has(key)) {
        table.fault(key, "ca is for a url; leave it out");
    }
    let topic = topic?;
    if !is_filter(&topic) || topic.contains(['+', '#']) {
        table.fault("topic", format!("topic {topic} is no single topic; write garden/outlook"));
    }
    Some(Way::Topic(topic))
}

fn usual(table: &Table<'_, '_>) -> Option<UsualMonths> {
    let (high, low) = (months(table, "usual_high_c"), months(table, "usual_low_c"));
    for (here, there) in [("usual_high_c", "usual_low_c"), ("usual_low_c", "usual_high_c")] {
        if table.has(here) && !table.has(there) {
            table.need::<()>(there, &format!("{there} too, twelve figures from January"), None);
        }
    }
    let (high_c, low_c) = (high?, low?);
    if high_c.iter().zip(&low_c).any(|(high, low)| high <= low) {
        table.fault("usual_high_c", "a month's usual highest is not above its lowest; write both anew");
        return None;
    }
    Some(UsualMonths { high_c, low_c })
}

fn months(table: &Table<'_, '_>, key: &str) -> Option<[f64; 12]> {
    let list = table.numbers(key)?;
    let months: Vec<f64> = list.iter().map(|month| month.value).collect();
    match <[f64; 12]>::try_from(months) {
        Ok(months) if months.iter().all(|month| (-60.0..=60.0).contains(month)) => Some(months),
        _ => {
            let message =
                format!("{key} is not twelve figures in °C; write one for each month, from January");
            table.fault(key, message);
            None
        }
    }
}
