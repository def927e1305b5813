//! From the site file to what each part needs. No decision is taken here: the file was checked when it was read.

mod known;
mod sources;

use std::path::Path;
use std::time::Duration;

use chrono::Timelike;
use config::site::{MailTls, Secret, When};

use crate::couriers::route::UNSEEN_MS;
use crate::couriers::shelf::Shelf;
use crate::couriers::{email, notice_topic, web_push, webhook};
use crate::keeper::core::Route;
use crate::ledger::Reader;
use crate::mirror::server;
use crate::outward::picture;

pub use known::{clock, outlook_map, site, start_notes, usual};
pub use sources::{Warnings, broker, door_passwords, rules, warnings};

/// The name of the e-mail courier in the outbox.
pub const EMAIL: &str = "e-mail";
/// The name of the MQTT courier in the outbox.
pub const MQTT: &str = "notice topic";

/// A password from where the site file says it is.
///
/// # Errors
///
/// When its file cannot be read, in words.
pub fn password(secret: &Secret) -> Result<String, String> {
    match secret {
        Secret::Written(text) => Ok(text.clone()),
        Secret::File(path) => read_secret(path),
    }
}

/// The first line of a file that holds a secret.
///
/// # Errors
///
/// When the file cannot be read, in words.
pub fn read_secret(path: &Path) -> Result<String, String> {
    let text =
        std::fs::read_to_string(path).map_err(|error| format!("reading {}: {error}", path.display()))?;
    Ok(text.lines().next().unwrap_or_default().trim().to_owned())
}

fn login(user: Option<&String>, secret: Option<&Secret>) -> Result<Option<(String, String)>, String> {
    match (user, secret) {
        (Some(user), Some(secret)) => Ok(Some((user.clone(), password(secret)?))),
        _ => Ok(None),
    }
}

/// The MQTT courier's settings: our notices on the same broker that we listen to.
///
/// # Errors
///
/// When its password cannot be read.
pub fn notices(site: &config::site::Site) -> Result<Option<notice_topic::Settings>, String> {
    let (Some(broker), Some(notices)) = (&site.broker, &site.mqtt_notices) else { return Ok(None) };
    Ok(Some(notice_topic::Settings {
        host: broker.host.clone(),
        port: broker.port,
        login: login(broker.user.as_ref(), broker.password.as_ref())?,
        site: site.site.name.clone(),
        prefix: notices.prefix.clone(),
    }))
}

/// The e-mail couriers' settings: of the one that tells the grower, and of those that tell the next persons when nobody
/// has seen what is severe. None where no mail is set up.
///
/// # Errors
///
/// When its password cannot be read.
pub fn mail(site: &config::site::Site) -> Result<Vec<email::Settings>, String> {
    let Some(mail) = &site.mail else { return Ok(Vec::new()) };
    let first = email::Settings {
        name: EMAIL.to_owned(),
        host: mail.host.clone(),
        port: mail.port,
        protection: match mail.tls {
            MailTls::StartTls => email::Protection::StartTls,
            MailTls::Wrapped => email::Protection::Wrapped,
            MailTls::NoneOnLoopback => email::Protection::None,
        },
        login: login(mail.user.as_ref(), mail.password.as_ref())?,
        authority: None,
        from: mail.from.clone(),
        to: mail.to.clone(),
    };
    let next = |(number, to): (usize, &String)| email::Settings {
        name: next_name(number),
        to: vec![to.clone()],
        ..first.clone()
    };
    let then: Vec<_> = mail.then_to.iter().enumerate().map(next).collect();
    Ok(std::iter::once(first).chain(then).collect())
}

/// The name of the courier that tells the next person but `number`.
fn next_name(number: usize) -> String {
    format!("{EMAIL} {}", number + 2)
}

/// The web push courier's settings.
pub fn web_push(site: &config::site::Site) -> Option<web_push::Settings> {
    let push = site.web_push.as_ref()?;
    Some(web_push::Settings { contact: push.contact.clone(), own_service: push.own_service.clone() })
}

/// The webhook's settings.
///
/// # Errors
///
/// When its secret cannot be read, or is empty.
pub fn webhook(site: &config::site::Site) -> Result<Option<webhook::Settings>, String> {
    let Some(hook) = &site.webhook else { return Ok(None) };
    let secret = read_secret(&hook.secret_file)?;
    if secret.is_empty() {
        let path = hook.secret_file.display();
        return Err(format!("{path} has nothing in its first line; write the webhook's secret there"));
    }
    Ok(Some(webhook::Settings {
        url: hook.url.clone(),
        secret,
        authority: hook.ca.clone(),
        site: site.site.name.clone(),
    }))
}

/// Where a picture of Now is put.
///
/// # Errors
///
/// When its token cannot be read.
pub fn picture(site: &config::site::Site) -> Result<Option<picture::Settings>, String> {
    let Some(picture) = &site.picture else { return Ok(None) };
    Ok(Some(picture::Settings {
        put: picture.put.clone(),
        token: picture.token_file.as_deref().map(read_secret).transpose()?,
        authority: picture.ca.clone(),
        every: Duration::from_secs(u64::from(picture.every_min) * 60),
    }))
}

/// The mirror's settings.
///
/// # Errors
///
/// When its token cannot be read.
pub fn mirror(site: &config::site::Site) -> Result<Option<server::Settings>, String> {
    let Some(mirror) = &site.mirror else { return Ok(None) };
    let token = mirror.token_file.as_deref().map(read_secret).transpose()?;
    Ok(Some(server::Settings {
        url: mirror.url.clone(),
        org: mirror.org.clone(),
        bucket: mirror.bucket.clone(),
        token: token.unwrap_or_default(),
        authority: mirror.ca.clone(),
        limits: server::LIMITS,
    }))
}

/// Which steps go by which courier.
pub fn routes(site: &config::site::Site) -> Vec<Route> {
    let hour = |time: chrono::NaiveTime| time.hour();
    let quiet = Some((hour(site.quiet.from), hour(site.quiet.to)));
    let mut routes = Vec::new();
    if let Some(mail) = &site.mail {
        let first = mail.when;
        routes.push(Route {
            courier: EMAIL.to_owned(),
            pushes_only: true,
            quiet,
            letter_at: Some(site.letter.at),
            unseen_ms: unseen_ms(first),
        });
        routes.extend((0..mail.then_to.len()).map(|number| Route {
            courier: next_name(number),
            pushes_only: true,
            // Half an hour after the one before, whenever that one is told.
            unseen_ms: Some((number as i64 + 1) * UNSEEN_MS + unseen_ms(first).unwrap_or(0)),
            ..Route::default()
        }));
    }
    if site.mqtt_notices.is_some() && site.broker.is_some() {
        routes.push(Route { courier: MQTT.to_owned(), ..Route::default() });
    }
    if let Some(push) = &site.web_push {
        let courier = web_push::NAME.to_owned();
        let unseen_ms = unseen_ms(push.when);
        routes.push(Route { courier, pushes_only: true, quiet, letter_at: None, unseen_ms });
    }
    if let Some(hook) = &site.webhook {
        let courier = webhook::NAME.to_owned();
        let unseen_ms = unseen_ms(hook.when);
        routes.push(Route { courier, pushes_only: unseen_ms.is_some(), unseen_ms, ..Route::default() });
    }
    routes
}

/// For how long nobody must have seen what goes by a courier, ms.
fn unseen_ms(when: When) -> Option<i64> {
    (when == When::Unseen).then_some(UNSEEN_MS)
}

/// The shelf of a courier.
pub(super) fn shelf(reader: Reader, when: When) -> Shelf {
    match when {
        When::AtOnce => Shelf::new(reader),
        When::Unseen => Shelf::of_unseen(reader),
    }
}
