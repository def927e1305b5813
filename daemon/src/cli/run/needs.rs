//! What a site file names and a start must have: files, a field map, addresses to listen at.
//!
//! They are tried before anything is started, so that a slip in a name is found while there is still something to fall
//! back on.

use std::net::{SocketAddr, TcpListener};

use config::Fault;
use config::site::Site;

use super::super::check::{MapFault, files, outlook_map};

/// The first thing that a site file with this text names and cannot have, with its line; none: it has all.
pub(super) fn unmet(site: &Site, text: &str) -> Option<String> {
    if let Err(faults) = files::files(site, text) {
        return faults.first().map(at_its_line);
    }
    match outlook_map(site, text) {
        Err(MapFault::Within(faults)) => return faults.lines().next().map(str::to_owned),
        Err(MapFault::Unreadable(fault)) => return Some(at_its_line(&fault)),
        Ok(_) => {}
    }
    let page = unheard(text, "page", site.page_listen);
    let door = || site.door.as_ref().and_then(|door| unheard(text, "door", door.listen));
    page.or_else(door).as_ref().map(at_its_line)
}

/// What keeps the board from listening at an address, where something does. The listener is closed again at once.
fn unheard(text: &str, table: &str, address: SocketAddr) -> Option<Fault> {
    let why = TcpListener::bind(address).err()?;
    let (line, column) = files::place(text, table, "listen");
    let message =
        format!("listen of [{table}], {address}: {why}; write an address of this board that is free");
    Some(Fault { line, column, message })
}

/// A fault with its line.
pub(super) fn at_its_line(fault: &Fault) -> String {
    format!("line {}: {}", fault.line, fault.message)
}
