//! Phones: which of them receive notices by web push, and the form that subscribes the one that looks.
//!
//! A browser lets a page subscribe only where the way to it is safe: by https, or on the board itself. The form is
//! shown by `phones.js` where that is so; elsewhere one line says why not. What a phone's browser hands over (its
//! address at a push service, its key, its secret) goes into the ledger and comes to no page again.

use maud::{Markup, html};
use ring::digest::{SHA256, digest};

use super::figures::Civil;
use super::forms::{Fields, Filled};
use crate::couriers::hexadecimal;
use crate::entry::Note;
use crate::glance::Glance;

/// Which phones there are, and how another is added. Nothing where the site file has no web push.
pub(super) fn section(glance: &Glance) -> Markup {
    let Some(key) = &glance.board.push_key else { return html! {} };
    let civil = Civil(glance.civil_offset_s);
    html! {
        section.pg aria-labelledby="phones" {
            h2 id="phones" { "Phones" }
            @if glance.board.phones.is_empty() { p { "No phone receives notices yet." } }
            @else {
                ul.list {
                    @for phone in &glance.board.phones {
                        li.with-undo data-phone=(phone.phone) {
                            span { strong { (phone.name) } ", since " (civil.date(phone.since_ms, glance.at_ms)) }
                            form.undo method="post" action="/phones" {
                                input type="hidden" name="do" value="stop";
                                input type="hidden" name="phone" value=(phone.phone);
                                button aria-label={ "stop notices to " (phone.name) } { "stop" }
                            }
                        }
                    }
                }
            }
            @for gone in &glance.board.phones_gone {
                p { strong { (gone.name) } " no longer receives: " (gone.why) ", " (civil.date(gone.since_ms, glance.at_ms)) "." }
            }
            p id="phone-no" { "Open this page on the phone by https (or on the board itself) to let it receive notices." }
            form.fields id="phone-form" method="post" action="/phones" data-key=(key) hidden {
                input type="hidden" name="do" value="subscribe";
                input type="hidden" name="endpoint";
                input type="hidden" name="p256dh";
                input type="hidden" name="auth";
                label { "this phone's name" input.wide name="name" maxlength="40" required placeholder="grower's phone"; }
                button { "tell this phone too" }
                p.whole id="phone-says" role="status" {}
            }
            script src="/phones.js" defer {}
        }
    }
}

/// A form of this section.
pub(super) fn form(fields: &Fields) -> Filled {
    let given =
        |name: &str| fields.get(name).map(|text| text.trim().to_owned()).filter(|text| !text.is_empty());
    let phone = match fields.get("do").map(String::as_str) {
        Some("subscribe") => {
            let missing = "The phone's browser gave no address. Reload the page and try again.";
            let endpoint = given("endpoint").ok_or(missing)?;
            Note::Phone {
                phone: identifier(&endpoint),
                name: given("name").ok_or("Say what you call this phone.")?,
                endpoint,
                p256dh: given("p256dh").ok_or(missing)?,
                auth: given("auth").ok_or(missing)?,
            }
        }
        Some("stop") => Note::PhoneGone {
            phone: given("phone").ok_or("Say which phone.")?,
            why: "stopped on the page".to_owned(),
        },
        _ => return Err("Nothing was chosen.".to_owned()),
    };
    Ok((phone, None))
}

/// A phone is known by its address, which nobody can guess from this; so the same subscription is the same phone.
/// `phones.js` reckons it too, to tell which line is its own.
fn identifier(endpoint: &str) -> String {
    hexadecimal(&digest(&SHA256, endpoint.as_bytes()).as_ref()[..8])
}

#[cfg(test)]
mod tests {
    use super::super::fixtures;
    use super::*;
    use crate::glance::{PhoneGlance, PhoneGone};

    fn fields(pairs: &[(&str, &str)]) -> Fields {
        pairs.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect()
    }

    #[test]
    fn without_web_push_in_the_site_file_nothing_is_said_of_phones() {
        assert_eq!(section(&fixtures::calm()).into_string(), "");
    }

    #[test]
    fn each_phone_has_its_stop_and_the_gone_say_why() {
        let mut glance = fixtures::calm();
        glance.board.push_key = Some("BKey".to_owned());
        let since_ms = glance.at_ms;
        let phone = PhoneGlance { phone: "0a1b".to_owned(), name: "<b>Ann's".to_owned(), since_ms };
        glance.board.phones.push(phone);
        let why = "its push service does not know it any more (410)".to_owned();
        glance.board.phones_gone.push(PhoneGone { name: "old one".to_owned(), why, since_ms });
        let html = section(&glance).into_string();
        assert!(html.contains("data-key=\"BKey\"") && html.contains("value=\"0a1b\""), "{html}");
        assert!(html.contains("&lt;b&gt;Ann's") && !html.contains("<b>Ann"), "{html}");
        assert!(html.contains("</strong> no longer receives: its push service does not know it"), "{html}");
        // Shown by the script only where the browser can.
        assert!(html.contains("data-key=\"BKey\" hidden"), "{html}");
    }

    #[test]
    fn the_forms_are_notes_and_one_address_is_one_phone() {
        let given = [
            ("do", "subscribe"),
            ("name", " Ann's "),
            ("endpoint", "https://push.example/1"),
            ("p256dh", "k"),
            ("auth", "a"),
        ];
        let Ok((Note::Phone { phone, name, .. }, None)) = form(&fields(&given)) else { panic!("a phone") };
        // By `printf https://push.example/1 | sha256sum`.
        assert_eq!((phone.as_str(), name.as_str()), ("5ba15fff965f44af", "Ann's"));
        for missing in 1..given.len() {
            let mut less = given.to_vec();
            less.remove(missing);
            assert!(form(&fields(&less)).is_err(), "{missing}");
        }
        let stop = form(&fields(&[("do", "stop"), ("phone", &phone)])).unwrap().0;
        assert_eq!(stop, Note::PhoneGone { phone, why: "stopped on the page".to_owned() });
        assert!(form(&fields(&[("do", "stop")])).is_err());
        assert!(form(&fields(&[])).is_err());
    }
}
