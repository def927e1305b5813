//! E-mail: the first courier.
//!
//! Each errand is one letter with the whole glance in it, so that the place can be judged from the letter alone. Its
//! Message-ID is the errand's public id (RFC 5322, 3.6.4): the same at each try, so a letter that arrives twice because
//! an answer was lost shows once in most mail programs. All letters of a notice refer to its first step, and so form one
//! thread. `Auto-Submitted` (RFC 3834) keeps absence replies away.
//!
//! The connection is encrypted before anything is said on it, or it does not leave the machine. Headers are built by
//! the library from typed parts, so no text of ours or anybody's can add a line to them.

use std::net::IpAddr;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, UNIX_EPOCH};

use lettre::message::header::{ContentType, HeaderName, HeaderValue};
use lettre::message::{Attachment, Mailbox, MessageBuilder, MultiPart, SinglePart};
use lettre::transport::smtp::authentication::Credentials;
use lettre::transport::smtp::client::{Certificate, Tls, TlsParameters};
use lettre::transport::smtp::extension::ClientId;
use lettre::{AsyncSmtpTransport, AsyncTransport, Message, Tokio1Executor};
use tokio::sync::watch;

use super::letter::Written;
use super::outbox::{Delivery, Errand, Waiting};
use super::public_id;
use super::route::rises;
use super::runner::Courier;
use super::subject::subject;
use crate::calendar_out::desk::{self, Desk, Enclosure};
use crate::entry::Step;
use crate::glance::Glance;
use crate::http_out::untimely;
use crate::keeper::handle::Handle;

/// How long one exchange with the server may take; shorter than a whole try, so that its own words reach the grower.
const EXCHANGE_LIMIT: Duration = Duration::from_secs(12);
/// When to ask again after the account was refused or the mailbox was full: somebody has to do something first, ms.
const SLOW_MS: i64 = 30 * 60_000;

/// How the way to the server is protected.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Protection {
    /// Plain at first, then STARTTLS, which must succeed (RFC 3207; usually port 587).
    StartTls,
    /// TLS from the first byte (RFC 8314; usually port 465).
    Wrapped,
    /// None: only to this machine itself.
    None,
}

/// What the site file says of the mail account.
#[derive(Clone)]
pub struct Settings {
    /// The courier's name in the outbox and on the page.
    pub name: String,
    /// Name or address of the server.
    pub host: String,
    /// Its port.
    pub port: u16,
    /// How the way there is protected.
    pub protection: Protection,
    /// User and password, where the server wants them.
    pub login: Option<(String, String)>,
    /// PEM file with further authorities to trust, beside those of the system.
    pub authority: Option<PathBuf>,
    /// Who writes: `Name <address>` or an address.
    pub from: String,
    /// Who reads: at least one.
    pub to: Vec<String>,
}

/// Why the mail account cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Unusable {
    /// An unprotected way that leaves the machine.
    #[error("mail to {0} without TLS: that is allowed to this machine only (127.0.0.1, ::1, localhost)")]
    Unprotected(String),
    /// Not an address.
    #[error("{0:?} is no mail address: {1}")]
    Address(String, lettre::address::AddressError),
    /// Nobody to write to.
    #[error("nobody to write to: give at least one address")]
    Nobody,
    /// The file with authorities cannot be used.
    #[error("authority file {0}: {1}")]
    Authority(PathBuf, String),
    /// TLS cannot be set up for this host.
    #[error("TLS with {0}: {1}")]
    Tls(String, lettre::transport::smtp::Error),
}

/// Writes the whole glance as a letter.
pub type Write = fn(&Glance) -> Written;

/// The calendar, and who knows the seasons that stand in it.
struct Calendar {
    desk: Arc<Desk>,
    keeper: Handle,
}

/// The mail courier.
pub struct Email {
    name: String,
    transport: AsyncSmtpTransport<Tokio1Executor>,
    encrypted: bool,
    from: Mailbox,
    to: Vec<Mailbox>,
    epoch: String,
    glance: watch::Receiver<Arc<Glance>>,
    write: Write,
    page: Option<String>,
    calendar: Option<Calendar>,
    next: bool,
}

/// Said to somebody whom an alarm reaches because nobody else has seen it.
const NOBODY: &str = "\n\nNobody has seen this for half an hour, so it comes to you.";

impl Email {
    /// Sets the courier up; nothing is sent or looked up yet.
    ///
    /// `epoch` names the ledger (letters, digits, `_`, `-`, `.`).
    ///
    /// # Errors
    ///
    /// [`Unusable`], in words for the grower.
    pub fn new(
        settings: &Settings,
        epoch: String,
        glance: watch::Receiver<Arc<Glance>>,
        write: Write,
    ) -> Result<Self, Unusable> {
        let mailbox = |text: &String| text.parse().map_err(|error| Unusable::Address(text.clone(), error));
        let to = settings.to.iter().map(mailbox).collect::<Result<Vec<Mailbox>, _>>()?;
        if to.is_empty() {
            return Err(Unusable::Nobody);
        }
        Ok(Self {
            name: settings.name.clone(),
            transport: transport(settings)?,
            encrypted: settings.protection != Protection::None,
            from: mailbox(&settings.from)?,
            to,
            epoch,
            glance,
            write,
            page: None,
            calendar: None,
            next: false,
        })
    }

    /// With the address of the page (scheme, host, port), so that each notice says where it is answered.
    #[must_use]
    pub fn answered_at(self, page: Option<String>) -> Self {
        Self { page, ..self }
    }

    /// To somebody whom only that reaches which nobody else has seen: an alarm says so.
    #[must_use]
    pub fn to_the_next(self, next: bool) -> Self {
        Self { next, ..self }
    }

    /// With the calendar, which the letter encloses when there is something new in it.
    #[must_use]
    pub fn enclosing(self, desk: Arc<Desk>, keeper: Handle) -> Self {
        Self { calendar: Some(Calendar { desk, keeper }), ..self }
    }

    fn head(&self, waiting: &Waiting, at_ms: i64) -> MessageBuilder {
        let id = |entry| format!("<{}@glasshour>", public_id(entry, &self.epoch));
        let mut head = Message::builder()
            .from(self.from.clone())
            .message_id(Some(id(waiting.entry)))
            // The moment of the decision, not of the try: each try is the same letter.
            .date(UNIX_EPOCH + Duration::from_millis(at_ms.max(0) as u64));
        for to in &self.to {
            head = head.to(to.clone());
        }
        if waiting.first != waiting.entry {
            head = head.in_reply_to(id(waiting.first)).references(id(waiting.first));
        }
        head.raw_header(HeaderValue::new(
            HeaderName::new_from_ascii_str("Auto-Submitted"),
            "auto-generated".to_owned(),
        ))
    }

    fn message(
        &self,
        waiting: &Waiting,
        glance: &Glance,
        enclosed: Option<&Enclosure>,
    ) -> Result<Message, lettre::error::Error> {
        let written = (self.write)(glance);
        match &waiting.errand {
            Errand::Step(step) => self
                .head(waiting, step.at_ms)
                .subject(one_line(&subject(step, glance)))
                .singlepart(SinglePart::plain(self.step_text(step, &written.text))),
            Errand::Letter { .. } => self
                .head(waiting, glance.at_ms)
                .subject(one_line(&written.subject))
                .multipart(letter(written, enclosed)),
        }
    }

    /// The step, the whole glance, and at the end where it can be answered.
    fn step_text(&self, step: &Step, glance: &str) -> String {
        let nobody = if self.next && rises(step.turn) { NOBODY } else { "" };
        let mut text = format!("{}{nobody}\n\n{}", step.text_under_title(), glance);
        if let Some(page) = &self.page {
            let answer = format!("On it, or later? {page}/answer/{}", in_address(&step.notice));
            text = format!("{}\n\n{answer}\n", text.trim_end());
        }
        text
    }

    /// What is new in the calendar, for a letter.
    async fn enclosed(&self, waiting: &Waiting, glance: &Glance) -> Option<Enclosure> {
        let calendar = self.calendar.as_ref()?;
        let Errand::Letter { .. } = &waiting.errand else { return None };
        let seasons = desk::seasons(&calendar.keeper, glance).await;
        calendar.desk.enclosure(glance, &seasons, self.from.email.as_ref())
    }
}

/// Goes the way of a letter up to where one would be given, and gives none.
///
/// # Errors
///
/// Why a letter could not be given, in words.
pub async fn try_out(settings: &Settings) -> Result<(), String> {
    let transport = transport(settings).map_err(|error| error.to_string())?;
    match transport.test_connection().await {
        Ok(true) => Ok(()),
        Ok(false) => Err("the server let us in and then did not answer".to_owned()),
        Err(error) => Err(with_causes(&error)),
    }
}

fn transport(settings: &Settings) -> Result<AsyncSmtpTransport<Tokio1Executor>, Unusable> {
    let transport = AsyncSmtpTransport::<Tokio1Executor>::builder_dangerous(&settings.host)
        .port(settings.port)
        .hello_name(ClientId::Domain("glasshour".to_owned()))
        .timeout(Some(EXCHANGE_LIMIT))
        .tls(tls(settings)?);
    Ok(match &settings.login {
        Some((user, password)) => {
            transport.credentials(Credentials::new(user.clone(), password.clone())).build()
        }
        None => transport.build(),
    })
}

/// The letter in both its forms, the picture of Now, and what is new in the calendar.
fn letter(written: Written, enclosed: Option<&Enclosure>) -> MultiPart {
    let twins = MultiPart::alternative_plain_html(written.text, written.html);
    let picture = Attachment::new("now.html".to_owned()).body(written.picture, ContentType::TEXT_HTML);
    let mixed = MultiPart::mixed().multipart(twins).singlepart(picture);
    // RFC 6047, 2.4: the method stands beside the type as well, and is the one inside.
    let kind = ContentType::parse("text/calendar; method=PUBLISH; charset=UTF-8");
    match (enclosed, kind) {
        (Some(enclosed), Ok(kind)) => {
            mixed.singlepart(Attachment::new("garden.ics".to_owned()).body(enclosed.text.clone(), kind))
        }
        _ => mixed,
    }
}

/// A notice's name as a part of an address (RFC 3986, 2.1 and 2.3).
fn in_address(name: &str) -> String {
    let mut address = String::new();
    for byte in name.bytes() {
        match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' => {
                address.push(char::from(byte));
            }
            _ => address.push_str(&format!("%{byte:02X}")),
        }
    }
    address
}

impl Courier for Email {
    fn name(&self) -> &str {
        &self.name
    }

    fn needs_the_time(&self) -> bool {
        self.encrypted
    }

    async fn carry(&self, waiting: &Waiting) -> Delivery {
        let glance = self.glance.borrow().clone();
        let enclosed = self.enclosed(waiting, &glance).await;
        let message = match self.message(waiting, &glance, enclosed.as_ref()) {
            Ok(message) => message,
            Err(error) => return Delivery::Never { why: format!("the letter cannot be written: {error}") },
        };
        match self.transport.send(message).await {
            Ok(_) => {
                if let (Some(calendar), Some(enclosed)) = (&self.calendar, &enclosed) {
                    calendar.desk.mailed(&enclosed.tells);
                }
                Delivery::Sent
            }
            Err(error) => judge(error.status().map(u16::from), with_causes(&error)),
        }
    }
}

/// What a refusal means for the errand (RFC 5321, 4.2.1; RFC 4954, 6).
///
/// A 4xx, or no answer at all: later. A 5xx: never, but for those that somebody can put right while the errand is
/// still of use: the account (530, 534, 535, 538) and the full mailbox (552); these are asked again slowly.
fn judge(code: Option<u16>, why: String) -> Delivery {
    match code {
        Some(530 | 534 | 535 | 538 | 552) => Delivery::Later { why, after_ms: Some(SLOW_MS) },
        Some(500..) => Delivery::Never { why },
        _ => Delivery::Later { why, after_ms: None },
    }
}

/// An error with what caused it, in one line.
fn with_causes(error: &(dyn std::error::Error + 'static)) -> String {
    if let Some(words) = untimely(error) {
        return words;
    }
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(inner) = cause {
        let inner_text = inner.to_string();
        if !text.contains(&inner_text) {
            text = format!("{text}: {inner_text}");
        }
        cause = inner.source();
    }
    one_line(&text)
}

fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn tls(settings: &Settings) -> Result<Tls, Unusable> {
    let host = &settings.host;
    if settings.protection == Protection::None {
        return if is_this_machine(host) { Ok(Tls::None) } else { Err(Unusable::Unprotected(host.clone())) };
    }
    one_provider();
    let mut parameters = TlsParameters::builder(host.clone());
    if let Some(path) = &settings.authority {
        let unusable = |why: String| Unusable::Authority(path.clone(), why);
        let pem = std::fs::read(path).map_err(|error| unusable(error.to_string()))?;
        let certificate = Certificate::from_pem(&pem).map_err(|error| unusable(error.to_string()))?;
        parameters = parameters.add_root_certificate(certificate);
    }
    let parameters = parameters.build_rustls().map_err(|error| Unusable::Tls(host.clone(), error))?;
    Ok(match settings.protection {
        Protection::StartTls => Tls::Required(parameters),
        Protection::Wrapped | Protection::None => Tls::Wrapper(parameters),
    })
}

/// Installs the one provider of cryptography. Whoever comes second finds it there already, which is as good.
fn one_provider() {
    if rustls::crypto::ring::default_provider().install_default().is_err() {
        tracing::debug!("the provider of cryptography was installed before");
    }
}

fn is_this_machine(host: &str) -> bool {
    host == "localhost" || host.parse::<IpAddr>().is_ok_and(|address| address.is_loopback())
}

#[cfg(test)]
#[path = "email_tests.rs"]
mod tests;
