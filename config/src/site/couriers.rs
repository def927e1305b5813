//! Where word goes: mail, the broker, the mirror; and when it may.

use std::net::IpAddr;
use std::path::PathBuf;

use chrono::NaiveTime;

use super::secret::{Secret, account};
use super::topics::{Topic, overlap};
use super::wires::Broker;
use crate::reader::{At, Table};

/// The mail account.
#[derive(Clone, Debug, PartialEq)]
pub struct Mail {
    /// The server that takes mail in.
    pub host: String,
    /// Its port.
    pub port: u16,
    /// How the line to it is kept private.
    pub tls: MailTls,
    /// The account, if the server asks for one.
    pub user: Option<String>,
    /// Its password.
    pub password: Option<Secret>,
    /// The sender.
    pub from: String,
    /// Who gets the letter and the notices.
    pub to: Vec<String>,
    /// Who gets a severe notice that nobody has seen for half an hour, one after the other.
    pub then_to: Vec<String>,
    /// What goes to `to`; the letter goes all the same.
    pub when: When,
}

/// What goes by a courier.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum When {
    /// All that it is for, at once.
    #[default]
    AtOnce,
    /// Only what is severe and was seen by nobody for half an hour.
    Unseen,
}

const WHEN: [(&str, When); 2] = [("at-once", When::AtOnce), ("unseen", When::Unseen)];

/// Reads `when`; at once if not told.
pub(super) fn when(table: &Table<'_, '_>) -> When {
    table.word("when", &WHEN).unwrap_or_default()
}

/// How the line to the mail server is kept private.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MailTls {
    /// Begins in the open and must change over before anything is said.
    StartTls,
    /// Private from the first byte.
    Wrapped,
    /// Not at all: only to a server on this same board.
    NoneOnLoopback,
}

const TLS: [(&str, MailTls); 3] = [
    ("starttls", MailTls::StartTls),
    ("wrapped", MailTls::Wrapped),
    ("none-on-loopback", MailTls::NoneOnLoopback),
];

/// Notices published on the broker.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MqttNotices {
    /// What their topics begin with.
    pub prefix: String,
}

/// A copy of the readings kept in a time-series database elsewhere.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mirror {
    /// Scheme, host and port, without a path.
    pub url: String,
    /// The certificates (PEM) that vouch for an `https` server; the system's where absent.
    pub ca: Option<PathBuf>,
    /// The organisation there.
    pub org: String,
    /// The bucket there.
    pub bucket: String,
    /// The file that holds the token, if one is asked for.
    pub token_file: Option<PathBuf>,
}

/// The morning letter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Letter {
    /// When it goes out, by the civil clock.
    pub at: NaiveTime,
}

/// Hours in which only severe things may buzz, by the civil clock; may run over midnight.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Quiet {
    /// From this time.
    pub from: NaiveTime,
    /// To this time.
    pub to: NaiveTime,
}

/// Reads `[mail]`.
pub(super) fn mail(table: &Table<'_, '_>) -> Option<Mail> {
    let host = table.need("host", "host = \"mail.example\"", table.line("host"));
    let tls = table.word("tls", &TLS).unwrap_or(MailTls::StartTls);
    let usual = match tls {
        MailTls::StartTls => 587,
        MailTls::Wrapped => 465,
        MailTls::NoneOnLoopback => 25,
    };
    let port = table.whole("port", 1..=65_535).unwrap_or(usual) as u16;
    let (user, password) = account(table);
    let from = table.need("from", "from = \"glasshour@garden.example\"", table.line("from"));
    let to = table.need("to", "to = [\"you@garden.example\"]", table.texts("to"));
    if let Some(from) = from.as_ref().filter(|from| !is_address(from)) {
        table.fault("from", format!("from {from} is no mail address; write glasshour@garden.example"));
    }
    let then_to = table.texts("then_to").unwrap_or_default();
    for wrong in to.iter().flatten().chain(&then_to).filter(|to| !is_address(&to.value)) {
        table.book.note(wrong.at, format!("{} is no mail address; write you@garden.example", wrong.value));
    }
    if to.as_ref().is_some_and(Vec::is_empty) {
        table.fault("to", "to is empty; write to = [\"you@garden.example\"]");
    }
    if let Some(host) = host.as_ref().filter(|host| tls == MailTls::NoneOnLoopback && !is_loopback(host)) {
        let message = format!(
            "{host} is not this board, and mail would cross the network in the open; write starttls or wrapped"
        );
        table.fault("tls", message);
    }
    let plain = |list: Vec<At<String>>| list.into_iter().map(|it| it.value).collect();
    let when = when(table);
    Some(Mail {
        host: host?,
        port,
        tls,
        user,
        password,
        from: from?,
        to: plain(to?),
        then_to: plain(then_to),
        when,
    })
}

/// Enough to catch a slip, no more: the server is the judge of the rest.
pub(super) fn is_address(text: &str) -> bool {
    let sound = |part: &str| !part.is_empty() && part.chars().all(|c| !c.is_whitespace() && !c.is_control());
    let plain = !text.contains(['<', '>', ',', ';', '"']);
    plain
        && text.split_once('@').is_some_and(|(name, host)| sound(name) && sound(host) && !host.contains('@'))
}

fn is_loopback(host: &str) -> bool {
    host == "localhost" || host.parse::<IpAddr>().is_ok_and(|address| address.is_loopback())
}

/// Reads `[mqtt_notices]`, which needs `[broker]`, and none of whose topics may be among those that are heard.
pub(super) fn mqtt_notices(root: &Table<'_, '_>, broker: Option<&Broker>) -> Option<MqttNotices> {
    let table = root.table("mqtt_notices", "[mqtt_notices]")?;
    if !root.has("broker") {
        root.fault("mqtt_notices", "notices have no broker to go to; write a table [broker] with its host");
    }
    let prefix = table.line("prefix").unwrap_or_else(|| "glasshour/notices".to_owned());
    if prefix.contains(['+', '#', '\0']) || prefix.starts_with('$') || prefix.ends_with('/') {
        table.fault("prefix", format!("prefix {prefix} is no topic to publish on; write glasshour/notices"));
    }
    let ours = format!("{prefix}/#");
    let heard = broker.iter().flat_map(|broker| &broker.topics).find(|topic| overlap(&topic.filter, &ours));
    if let Some(Topic { filter, .. }) = heard {
        table.fault(
            "prefix",
            format!("what goes out under {prefix} would come in by {filter}; write another prefix, or a narrower filter"),
        );
    }
    Some(MqttNotices { prefix })
}

/// Reads `[mirror]`.
pub(super) fn mirror(table: &Table<'_, '_>) -> Option<Mirror> {
    let url = table.need("url", "url = \"http://127.0.0.1:8428\"", table.line("url"));
    let org = table.line("org").unwrap_or_else(|| "garden".to_owned());
    let bucket = table.line("bucket").unwrap_or_else(|| "glasshour".to_owned());
    let token_file = table.line("token_file").map(PathBuf::from);
    let ca = table.line("ca").map(PathBuf::from);
    if ca.is_some() && url.as_ref().is_some_and(|url| url.starts_with("http://")) {
        table.fault("ca", "ca vouches for nothing on an http address; write https, or leave ca out");
    }
    let url = url.map(|url| url.strip_suffix('/').map(str::to_owned).unwrap_or(url));
    if let Some(url) = url.as_ref().filter(|url| !is_base_url(url)) {
        let why = "a path, a query or an account would be lost on the way";
        table.fault(
            "url",
            format!(
                "url {url} is more or less than scheme, host and port ({why}); write http://127.0.0.1:8428"
            ),
        );
    }
    Some(Mirror { url: url?, ca, org, bucket, token_file })
}

/// `http` or `https`, a host, perhaps a port, and nothing else.
pub(super) fn is_base_url(url: &str) -> bool {
    let Some(rest) = url.strip_prefix("http://").or_else(|| url.strip_prefix("https://")) else {
        return false;
    };
    let (host, port) = match rest.strip_prefix('[').and_then(|rest| rest.split_once(']')) {
        Some((inner, port)) if inner.parse::<std::net::Ipv6Addr>().is_ok() => ("v6", port),
        Some(_) => return false,
        None => rest.find(':').map_or((rest, ""), |colon| rest.split_at(colon)),
    };
    let host_sound =
        !host.is_empty() && host.chars().all(|c| c.is_ascii_alphanumeric() || matches!(c, '-' | '.'));
    let port_sound =
        port.is_empty() || port.strip_prefix(':').is_some_and(|port| port.parse::<u16>().is_ok());
    host_sound && port_sound
}

/// Reads `[letter]`; six in the morning if not told.
pub(super) fn letter(root: &Table<'_, '_>) -> Letter {
    let at = root.table("letter", "[letter]").and_then(|table| table.clock("at"));
    Letter { at: at.unwrap_or_else(|| hour(6)) }
}

/// Reads `[quiet]`; ten at night to five in the morning if not told.
pub(super) fn quiet(root: &Table<'_, '_>) -> Quiet {
    let table = root.table("quiet", "[quiet]");
    let from = table.as_ref().and_then(|table| table.clock("from"));
    let to = table.as_ref().and_then(|table| table.clock("to"));
    Quiet { from: from.unwrap_or_else(|| hour(22)), to: to.unwrap_or_else(|| hour(5)) }
}

fn hour(hour: u32) -> NaiveTime {
    NaiveTime::from_hms_opt(hour, 0, 0).unwrap_or(NaiveTime::MIN)
}
