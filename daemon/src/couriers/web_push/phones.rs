//! Which phones receive, as the ledger's entries say: each subscribed at one time, and some were stopped, dropped by
//! their push service, or left behind when the ledger came to another board (its key is another, so no push service
//! would take a message for them).

use std::net::IpAddr;

use axum::http::Uri;
use axum::http::uri::Scheme;

use super::base64url::decode;
use super::encrypt::Receiver;
use crate::entry::{Entry, Note};

/// The most phones that may receive at one time.
pub const MOST: usize = 20;
/// The longest address of a phone taken, bytes: the ones in use have about 200.
const LONGEST_ADDRESS: usize = 1000;
/// How many of those that receive no more are remembered.
const GONE: usize = 5;

/// A phone that receives.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Phone {
    /// Its identifier.
    pub phone: String,
    /// What its owner calls it.
    pub name: String,
    /// Where its push service takes messages for it. Whoever knows it can send rubbish there: keep it to ourselves.
    pub endpoint: String,
    /// For whom messages are encrypted.
    pub receiver: Receiver,
    /// When it subscribed, UTC ms.
    pub since_ms: i64,
}

/// A phone that no longer receives.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Gone {
    /// What its owner called it.
    pub name: String,
    /// Why, in words.
    pub why: String,
    /// Since when, UTC ms.
    pub since_ms: i64,
}

/// All phones.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Phones {
    /// Those that receive, in the order in which they subscribed.
    pub here: Vec<Phone>,
    /// The last of those that receive no more, newest last.
    pub gone: Vec<Gone>,
}

impl Phones {
    /// The phones after these entries, in the order of their numbers.
    pub fn of(entries: &[Entry]) -> Self {
        let mut phones = Self::default();
        for entry in entries {
            phones.learn(entry);
        }
        phones
    }

    /// Learns one further entry.
    pub fn learn(&mut self, entry: &Entry) {
        match &entry.note {
            Note::Phone { phone, name, endpoint, p256dh, auth } => {
                let Ok(receiver) = receiver(p256dh, auth) else { return };
                // A phone that subscribes again is the same phone, whatever it calls itself now.
                self.here.retain(|it| it.phone != *phone && it.endpoint != *endpoint);
                self.gone.retain(|it| it.name != *name);
                self.here.push(Phone {
                    phone: phone.clone(),
                    name: name.clone(),
                    endpoint: endpoint.clone(),
                    receiver,
                    since_ms: entry.at_ms,
                });
            }
            Note::PhoneGone { phone, why } => self.leave(|it| it.phone == *phone, why, entry.at_ms),
            Note::Restored { other_board: true, .. } => {
                self.leave(|_| true, "the ledger came to another board: subscribe it again", entry.at_ms);
            }
            _ => {}
        }
    }

    /// The phone with this identifier.
    pub fn phone(&self, phone: &str) -> Option<&Phone> {
        self.here.iter().find(|it| it.phone == phone)
    }

    fn leave(&mut self, which: impl Fn(&Phone) -> bool, why: &str, at_ms: i64) {
        for phone in self.here.extract_if(.., |it| which(it)) {
            self.gone.push(Gone { name: phone.name, why: why.to_owned(), since_ms: at_ms });
        }
        let surplus = self.gone.len().saturating_sub(GONE);
        self.gone.drain(..surplus);
    }
}

/// The phone's key and secret from what its browser wrote.
///
/// # Errors
///
/// What is wrong, in words.
pub fn receiver(p256dh: &str, auth: &str) -> Result<Receiver, String> {
    let public = decode(p256dh).and_then(|bytes| bytes.try_into().ok());
    let public: [u8; 65] = public.filter(|bytes: &[u8; 65]| bytes[0] == 4).ok_or_else(|| {
        "the phone's key is none: it has 65 bytes, the first of them 4, in base64url".to_owned()
    })?;
    let auth = decode(auth).and_then(|bytes| bytes.try_into().ok());
    let auth = auth.ok_or_else(|| "the phone's secret has 16 bytes, in base64url".to_owned())?;
    Ok(Receiver { public, auth })
}

/// Scheme, host and port of a phone's address, as it stands in a token.
///
/// # Errors
///
/// Why no message may be sent there, in words. The machine itself passes, so that a push service of one's own can be
/// tried; whether it is called is for the courier to decide.
pub fn origin(endpoint: &str) -> Result<String, String> {
    if endpoint.len() > LONGEST_ADDRESS {
        return Err(format!("the phone's address is longer than {LONGEST_ADDRESS} bytes"));
    }
    let no_address = || "the phone's address is none: it begins with https:// and a host".to_owned();
    let uri: Uri = endpoint.parse().map_err(|_| no_address())?;
    let (Some(scheme), Some(authority)) = (uri.scheme(), uri.authority()) else { return Err(no_address()) };
    if authority.as_str().contains('@') {
        return Err("an address with an account in it is not taken".to_owned());
    }
    let loopback = literal(authority.host()).is_some_and(|address| address.is_loopback());
    if *scheme != Scheme::HTTPS && !(*scheme == Scheme::HTTP && loopback) {
        return Err("the phone's address does not begin with https://".to_owned());
    }
    if !loopback && literal(authority.host()).is_some_and(|address| !crate::http_out::is_outside(address)) {
        return Err("the phone's address lies inside the house, where no push service is".to_owned());
    }
    Ok(format!("{scheme}://{authority}").to_ascii_lowercase())
}

fn literal(host: &str) -> Option<IpAddr> {
    host.trim_matches(['[', ']']).parse().ok()
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// Key and secret of RFC 8291, section 5.
    pub(crate) const KEY: &str =
        "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4";
    pub(crate) const AUTH: &str = "BTBZMqHH6r4Tts7J_aSIgg";

    pub(crate) fn phone(id: i64, phone: &str, endpoint: &str) -> Entry {
        let note = Note::Phone {
            phone: phone.to_owned(),
            name: format!("{phone}'s"),
            endpoint: endpoint.to_owned(),
            p256dh: KEY.to_owned(),
            auth: AUTH.to_owned(),
        };
        Entry { id, at_ms: id, from_ms: id, note }
    }

    fn gone(id: i64, phone: &str) -> Entry {
        let note = Note::PhoneGone { phone: phone.to_owned(), why: "stopped on the page".to_owned() };
        Entry { id, at_ms: id, from_ms: id, note }
    }

    fn names(phones: &Phones) -> Vec<&str> {
        phones.here.iter().map(|it| it.phone.as_str()).collect()
    }

    #[test]
    fn phones_come_go_and_come_again() {
        let mut entries =
            vec![phone(1, "ann", "https://push.example/1"), phone(2, "ben", "https://push.example/2")];
        assert_eq!(names(&Phones::of(&entries)), ["ann", "ben"]);
        entries.push(gone(3, "ann"));
        let phones = Phones::of(&entries);
        assert_eq!(names(&phones), ["ben"]);
        let why = "stopped on the page".to_owned();
        assert_eq!(phones.gone, [Gone { name: "ann's".to_owned(), why, since_ms: 3 }]);
        entries.push(phone(4, "ann", "https://push.example/3"));
        let phones = Phones::of(&entries);
        assert_eq!((names(&phones), phones.gone.len()), (vec!["ben", "ann"], 0));
        assert_eq!(phones.phone("ann").unwrap().endpoint, "https://push.example/3");
    }

    #[test]
    fn one_address_is_one_phone() {
        let entries = [phone(1, "ann", "https://push.example/1"), phone(2, "new", "https://push.example/1")];
        assert_eq!(names(&Phones::of(&entries)), ["new"]);
    }

    #[test]
    fn another_board_leaves_all_phones_behind_and_a_restored_backup_none() {
        let restored = |id, other_board| Entry {
            id,
            at_ms: id,
            from_ms: id,
            note: Note::Restored { to_ms: 0, unsent: 0, other_board },
        };
        let here = phone(1, "ann", "https://push.example/1");
        assert_eq!(names(&Phones::of(&[here.clone(), restored(2, false)])), ["ann"]);
        let phones = Phones::of(&[here.clone(), restored(2, true)]);
        assert_eq!(names(&phones), [""; 0]);
        assert!(phones.gone[0].why.contains("subscribe it again"));
        assert_eq!(names(&Phones::of(&[restored(1, true), here])), ["ann"]);
    }

    #[test]
    fn an_address_is_a_public_one_by_https_or_this_machine() {
        let origins = [
            ("https://push.example/send/a?b=c", "https://push.example"),
            ("https://Push.Example:8443/x", "https://push.example:8443"),
            ("http://127.0.0.1:9000/x", "http://127.0.0.1:9000"),
            ("http://[::1]:9000/x", "http://[::1]:9000"),
            ("https://8.8.8.8/x", "https://8.8.8.8"),
        ];
        for (endpoint, wanted) in origins {
            assert_eq!(origin(endpoint).as_deref(), Ok(wanted), "{endpoint}");
        }
        let refused = [
            "http://push.example/x",
            "http://localhost/x",
            "ftp://push.example/x",
            "//push.example/x",
            "push.example/x",
            "/x",
            "",
            "https:///x",
            "https://user@push.example/x",
            "https://192.168.1.1/x",
            "https://10.0.0.1/x",
            "https://169.254.169.254/latest",
            "https://[fe80::1]/x",
            "https://[fd00::1]/x",
            "https://[::ffff:10.0.0.1]/x",
            "https://0.0.0.0/x",
            "https://push.example/\u{e9} x",
        ];
        for endpoint in refused {
            assert!(origin(endpoint).is_err(), "{endpoint}");
        }
        assert!(origin(&format!("https://push.example/{}", "x".repeat(1000))).is_err());
    }

    #[test]
    fn a_key_or_secret_of_another_length_is_none() {
        assert!(receiver(KEY, AUTH).is_ok());
        assert!(receiver(&KEY[..80], AUTH).is_err());
        assert!(receiver(&format!("A{}", &KEY[1..]), AUTH).is_err());
        assert!(receiver(KEY, &AUTH[..20]).is_err());
        assert!(receiver(KEY, "").is_err());
    }
}
