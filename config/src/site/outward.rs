//! What may be known elsewhere: where the page is met, a picture of it put somewhere, a sign of life.

use std::net::IpAddr;
use std::path::PathBuf;

use crate::reader::Table;

/// A picture of Now, put where it can be looked at from away.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Picture {
    /// The whole address it is put to (HTTP PUT).
    pub put: String,
    /// The file that holds the token, if one is asked for.
    pub token_file: Option<PathBuf>,
    /// The certificates (PEM) that vouch for an `https` server beside the system's.
    pub ca: Option<PathBuf>,
    /// Minutes from one picture to the next.
    pub every_min: u32,
}

/// An address that is called each hour while all is well with the service.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LifeSign {
    /// The whole address (HTTP GET).
    pub url: String,
    /// The certificates (PEM) that vouch for an `https` server beside the system's.
    pub ca: Option<PathBuf>,
}

/// Reads `address` of `[page]`: how the page is met from a phone, without the last slash.
pub(super) fn page_address(page: &Table<'_, '_>) -> Option<String> {
    let address = page.line("address")?;
    let base = address.strip_suffix('/').unwrap_or(&address);
    let bare = parts(base).is_some_and(|it| it.rest.is_empty());
    if !bare {
        page.fault(
            "address",
            format!(
                "address {address} is more or less than scheme, host and port; write http://garden.local:8087"
            ),
        );
    }
    // As browsers write an origin: without the port that its scheme means anyway (RFC 6454 6.1).
    let usual_port = if base.starts_with("https:") { ":443" } else { ":80" };
    bare.then(|| base.strip_suffix(usual_port).unwrap_or(base).to_owned())
}

/// Reads `[picture]`.
pub(super) fn picture(table: &Table<'_, '_>) -> Option<Picture> {
    let put = table.need("put", "put = \"https://place.example/garden.html\"", table.line("put"));
    let token_file = table.line("token_file").map(PathBuf::from);
    let ca = table.line("ca").map(PathBuf::from);
    let every_min = table.whole("every_min", 5..=1440).unwrap_or(60) as u32;
    let put = whole_address(table, "put", put?, ca.is_some())?;
    if token_file.is_some() && is_open(&put) {
        let message =
            "the token would cross the network in the open; write an https address, or leave token_file out";
        table.fault("token_file", message);
    }
    Some(Picture { put, token_file, ca, every_min })
}

/// Reads `[life_sign]`.
pub(super) fn life_sign(table: &Table<'_, '_>) -> Option<LifeSign> {
    let url = table.need("url", "url = \"https://watch.example/garden\"", table.line("url"));
    let ca = table.line("ca").map(PathBuf::from);
    let url = whole_address(table, "url", url?, ca.is_some())?;
    Some(LifeSign { url, ca })
}

/// An address with scheme and host, perhaps port, path and query; no account, no fragment.
fn whole_address(table: &Table<'_, '_>, key: &str, address: String, has_ca: bool) -> Option<String> {
    let Some(parts) = parts(&address) else {
        let message = format!("{key} {address} is no address to call; write https://place.example/garden");
        table.fault(key, message);
        return None;
    };
    if has_ca && !parts.encrypted {
        table.fault("ca", "ca vouches for nothing on an http address; write https, or leave ca out");
    }
    Some(address)
}

/// Whether what is sent there can be read on the way: not encrypted, and not to this board itself.
fn is_open(address: &str) -> bool {
    parts(address).is_some_and(|it| !it.encrypted && !it.on_this_board)
}

struct Parts<'a> {
    encrypted: bool,
    on_this_board: bool,
    /// Path and query.
    rest: &'a str,
}

/// Takes an address apart (RFC 3986, 3); none where it is not an `http` or `https` one of plain signs.
fn parts(address: &str) -> Option<Parts<'_>> {
    let (encrypted, rest) = match address.strip_prefix("https://") {
        Some(rest) => (true, rest),
        None => (false, address.strip_prefix("http://")?),
    };
    let plain = |c: char| {
        c.is_ascii_graphic() && !matches!(c, '"' | '<' | '>' | '\\' | '^' | '`' | '{' | '|' | '}' | '#')
    };
    if !rest.chars().all(plain) {
        return None;
    }
    let (authority, rest) = rest.split_at(rest.find(['/', '?']).unwrap_or(rest.len()));
    let (host, port) = match authority.strip_prefix('[').and_then(|inner| inner.split_once(']')) {
        Some((inner, port)) => (inner.parse::<std::net::Ipv6Addr>().ok().map(|_| inner)?, port),
        None => authority.split_at(authority.find(':').unwrap_or(authority.len())),
    };
    let sound = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '.' | ':');
    let port_sound =
        port.is_empty() || port.strip_prefix(':').is_some_and(|port| port.parse::<u16>().is_ok());
    let on_this_board = host == "localhost" || host.parse::<IpAddr>().is_ok_and(|ip| ip.is_loopback());
    let whole = !host.is_empty() && host.chars().all(sound) && port_sound;
    whole.then_some(Parts { encrypted, on_this_board, rest })
}
