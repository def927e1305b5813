//! Ways over the web: push messages to phones, and one address that each step is posted to.

use std::path::PathBuf;

use super::couriers::{When, is_address, is_base_url, when};
use crate::reader::Table;

/// Notices on phones by web push.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WebPush {
    /// Whom the people of a push service may write to: `mailto:` or `https:`.
    pub contact: String,
    /// A push service inside the house: scheme, host and port.
    pub own_service: Option<String>,
    /// What goes this way.
    pub when: When,
}

/// Each step posted to an address.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Webhook {
    /// Where to.
    pub url: String,
    /// The file that holds what the signature is made with.
    pub secret_file: PathBuf,
    /// The certificates (PEM) that vouch for an `https` server, beside the system's.
    pub ca: Option<PathBuf>,
    /// What goes this way.
    pub when: When,
}

/// Reads `[web_push]`.
pub(super) fn web_push(table: &Table<'_, '_>) -> Option<WebPush> {
    let example = "contact = \"mailto:you@garden.example\"";
    let contact = table.need("contact", example, table.line("contact"));
    let sound = |contact: &&String| {
        contact.strip_prefix("mailto:").is_some_and(is_address)
            || contact.strip_prefix("https://").is_some_and(|rest| !rest.is_empty() && is_one_word(rest))
    };
    if let Some(contact) = contact.as_ref().filter(|contact| !sound(contact)) {
        let message = format!("contact {contact} is no way to write to you; write mailto:you@garden.example");
        table.fault("contact", message);
    }
    let own_service = table.line("own_service");
    let own_service = own_service.map(|url| url.strip_suffix('/').map(str::to_owned).unwrap_or(url));
    if let Some(url) = own_service.as_ref().filter(|url| !is_base_url(url)) {
        let message = format!(
            "own_service {url} is more or less than scheme, host and port; write http://127.0.0.1:8090, or leave it \
             out: the push services of browsers need no word"
        );
        table.fault("own_service", message);
    }
    let own_service = own_service.map(|url| url.to_ascii_lowercase());
    let when = when(table);
    Some(WebPush { contact: contact?, own_service, when })
}

/// Reads `[webhook]`.
pub(super) fn webhook(table: &Table<'_, '_>) -> Option<Webhook> {
    let url = table.need("url", "url = \"https://hook.garden.example/notices\"", table.line("url"));
    let secret_file = table.need(
        "secret_file",
        "secret_file = \"/etc/glasshour/webhook.secret\"",
        table.line("secret_file").map(PathBuf::from),
    );
    let ca = table.line("ca").map(PathBuf::from);
    if let Some(url) = url.as_ref().filter(|url| !is_address_to_post_to(url)) {
        let message = format!(
            "url {url} is no address to post to; write scheme, host and path, without an account: \
             https://hook.garden.example/notices"
        );
        table.fault("url", message);
    }
    if ca.is_some() && url.as_ref().is_some_and(|url| url.starts_with("http://")) {
        table.fault("ca", "ca vouches for nothing on an http address; write https, or leave ca out");
    }
    let when = when(table);
    Some(Webhook { url: url?, secret_file: secret_file?, ca, when })
}

/// Scheme, host and port, then anything that holds together.
fn is_address_to_post_to(url: &str) -> bool {
    let Some((scheme, rest)) = url.split_once("://") else { return false };
    let end = rest.find(['/', '?']).unwrap_or(rest.len());
    is_base_url(&format!("{scheme}://{}", &rest[..end])) && is_one_word(&rest[end..]) && !rest.contains('#')
}

fn is_one_word(text: &str) -> bool {
    text.is_ascii() && !text.contains(|sign: char| sign.is_ascii_whitespace() || sign.is_ascii_control())
}
