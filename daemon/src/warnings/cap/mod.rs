//! Messages of the Common Alerting Protocol, version 1.2.
//!
//! One message is one `alert`: who says something (`sender`), under which name of its own (`identifier`), when (`sent`),
//! and whether it is meant (`status`), for whom (`scope`) and new (`msgType`). What it says stands in `info` blocks, each
//! in one language, with the `area`s it is about. The elements come in a fixed order, and most words are from closed
//! lists in which case matters; a document that breaks any of this is refused whole, because half a warning misleads.
//!
//! # Source
//!
//! OASIS, Common Alerting Protocol Version 1.2, OASIS Standard, 1 July 2010: sections 3.2 (elements), 3.3.2 (times) and
//! 3.4 (schema). Section numbers in this folder are its.

mod children;
mod fault;
mod info;
mod shapes;
mod time;
mod words;

#[cfg(test)]
mod tests;

pub use fault::CapFault;
pub use info::{Area, Info};
pub use shapes::{Circle, Polygon};
pub use words::{Category, Certainty, MessageKind, Response, Scope, Status, Urgency};

use serde::{Deserialize, Serialize};

use children::Children;
use fault::cut;
use time::moment;

use crate::warnings::xml;

/// The longest message that is read, bytes.
pub const LONGEST: usize = 256 * 1024;
/// The namespace of the standard's elements (3.4).
pub const SPACE: &str = "urn:oasis:names:tc:emergency:cap:1.2";
/// The namespace of an enveloped signature, which may follow the blocks (3.3.4). It is not checked: the address that the
/// site file trusts is.
const SIGNATURE: &str = "http://www.w3.org/2000/09/xmldsig#";

/// The three by which a message is told from all others (3.2.1 `references`).
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Reference {
    /// Who sent it.
    pub sender: String,
    /// What the sender calls it.
    pub identifier: String,
    /// When it was sent, UTC ms.
    pub sent_ms: i64,
}

/// One message (3.2.1).
#[derive(Clone, Debug, PartialEq)]
pub struct Alert {
    /// Sender, identifier and time of the message itself.
    pub name: Reference,
    /// Whether it is meant.
    pub status: Status,
    /// Whether it is new, or about earlier messages.
    pub kind: MessageKind,
    /// For whom it is.
    pub scope: Scope,
    /// The earlier messages it is about.
    pub references: Vec<Reference>,
    /// What it says.
    pub infos: Vec<Info>,
}

/// Reads a message.
///
/// # Errors
///
/// The first thing that breaks the standard, or a limit.
pub fn read(bytes: &[u8]) -> Result<Alert, CapFault> {
    let root = xml::read(bytes, LONGEST)?;
    if root.name != "alert" || root.space != SPACE {
        return Err(CapFault::NotCap { name: cut(&root.name), space: cut(&root.space) });
    }
    let mut children = Children::of("alert", &root)?;
    let identifier = name("identifier", children.needed("identifier")?)?;
    let sender = name("sender", children.needed("sender")?)?;
    let sent_ms = time("sent", children.needed("sent")?)?;
    let status = word("status", children.needed("status")?, Status::of)?;
    let kind = word("msgType", children.needed("msgType")?, MessageKind::of)?;
    children.text("source")?;
    let scope = word("scope", children.needed("scope")?, Scope::of)?;
    let restriction = children.text("restriction")?;
    let addresses = children.text("addresses")?;
    children.texts("code")?;
    children.text("note")?;
    let references = children.text("references")?.map_or(Ok(Vec::new()), references)?;
    children.text("incidents")?;
    let infos = children.elements("info").into_iter().map(info::read).collect::<Result<_, _>>()?;
    children.end(SIGNATURE)?;
    if matches!(kind, MessageKind::Update | MessageKind::Cancel) && references.is_empty() {
        return Err(CapFault::NoReferences);
    }
    match scope {
        Scope::Restricted if restriction.is_none() => {
            return Err(CapFault::ForWhom { scope: "Restricted", name: "restriction" });
        }
        Scope::Private if addresses.is_none() => {
            return Err(CapFault::ForWhom { scope: "Private", name: "addresses" });
        }
        _ => {}
    }
    Ok(Alert { name: Reference { sender, identifier, sent_ms }, status, kind, scope, references, infos })
}

/// A name without spaces, commas and the two signs that XML keeps for itself (3.2.1 `identifier`, `sender`).
fn name(element: &'static str, said: &str) -> Result<String, CapFault> {
    if said.is_empty() || said.contains(|sign: char| sign.is_whitespace() || matches!(sign, ',' | '<' | '&'))
    {
        return Err(CapFault::Name { name: element, said: cut(said) });
    }
    Ok(said.to_owned())
}

fn word<T>(name: &'static str, said: &str, of: impl Fn(&str) -> Option<T>) -> Result<T, CapFault> {
    of(said).ok_or_else(|| CapFault::Word { name, said: cut(said) })
}

/// A time; the schema's dateTime is read without the space around it.
fn time(name: &'static str, said: &str) -> Result<i64, CapFault> {
    moment(said.trim()).ok_or_else(|| CapFault::Time { name, said: cut(said) })
}

/// `sender,identifier,sent`, one or several with space between them (3.2.1 `references`).
fn references(said: &str) -> Result<Vec<Reference>, CapFault> {
    let one = |said: &str| {
        let mut parts = said.split(',');
        let (Some(sender), Some(identifier), Some(sent), None) =
            (parts.next(), parts.next(), parts.next(), parts.next())
        else {
            return None;
        };
        let sender = name("references", sender).ok()?;
        let identifier = name("references", identifier).ok()?;
        Some(Reference { sender, identifier, sent_ms: moment(sent)? })
    };
    said.split_whitespace()
        .map(|said| one(said).ok_or_else(|| CapFault::Reference { said: cut(said) }))
        .collect()
}
