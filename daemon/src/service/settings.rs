//! From the site file to what each part needs. No decision is taken here: the file was checked when it was read.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use agronomy::crop::CropBook;
use agronomy::units::{Latitude, Longitude};
use chrono::Timelike;
use config::ground::Start;
use config::position::Position;
use config::site::{MailTls, Payload, Secret, StampFormat, Topic};

use crate::calendar::Calendar;
use crate::couriers::{email, notice_topic};
use crate::entry::{Began, Note, PlaceKind};
use crate::keeper::core::Route;
use crate::mirror::server;
use crate::site::{Limits, Site};
use crate::sources::mqtt::BrokerSettings;
use crate::sources::pause::Pause;
use crate::sources::payload::{Field, Shape, Stamp, TopicRule};
use crate::sources::stamp::TimeFormat;

/// The name of the e-mail courier in the outbox.
pub const EMAIL: &str = "e-mail";
/// The name of the MQTT courier in the outbox.
pub const MQTT: &str = "notice topic";

/// The site as the core knows it. `offset_ms`: the standard offset frozen in the ledger.
///
/// # Errors
///
/// When the position is none on Earth, in words.
pub fn site(position: &Position, book: CropBook, offset_ms: i64) -> Result<Site, String> {
    let zone = position.zone.clone();
    Ok(Site {
        name: position.name.clone(),
        latitude: Latitude::try_new(position.latitude).map_err(|error| error.to_string())?,
        longitude: Longitude::try_new(position.longitude).map_err(|error| error.to_string())?,
        calendar: Calendar::new(offset_ms, Arc::new(move |at_ms| zone.offset_at(at_ms))),
        book,
        limits: Limits::new(),
    })
}

/// The notes that a `[start]` section stands for, with the moments from which they hold (UTC ms).
///
/// Everything stands from its own date on; places and probes from `from_ms`, or from the first planting where
/// that is earlier.
pub fn start_notes(start: &Start, calendar: &Calendar, from_ms: i64) -> Vec<(i64, Note)> {
    let day = |date: chrono::NaiveDate| {
        calendar.start_of(date.signed_duration_since(chrono::NaiveDate::default()).num_days())
    };
    let began = |planting: &config::ground::Planting| {
        let planted = planting.planted_out.map(|date| (day(date), Began::PlantedOut));
        planted
            .or_else(|| planting.sown.map(|date| (day(date), Began::Sown)))
            .unwrap_or((from_ms, Began::PlantedOut))
    };
    let earliest = start.plantings.iter().map(|planting| began(planting).0).fold(from_ms, i64::min);
    let mut notes = Vec::new();
    for place in &start.places {
        let kind = serde_json::from_value::<PlaceKind>(place.kind.as_str().into()).unwrap_or(PlaceKind::Bed);
        notes.push((earliest, Note::Place { place: place.id.clone(), name: place.name.clone(), kind }));
    }
    for hung in &start.probes {
        notes.push((
            earliest,
            Note::Hang {
                probe: hung.probe.clone(),
                place: hung.place.clone(),
                height_m: Some(hung.height_m),
                shelter: Some(hung.shelter.as_str().to_owned()),
                usual_interval_s: hung.usual_interval_s.max(1.0) as u32,
            },
        ));
        let marks = |(dry_pct, wet_pct)| Note::Marks { probe: hung.probe.clone(), dry_pct, wet_pct };
        notes.extend(hung.marks.map(|of| (earliest, marks(of))));
    }
    for planting in &start.plantings {
        let (from, began) = began(planting);
        notes.push((
            from,
            Note::Planting {
                planting: planting.id.clone(),
                crop: planting.crop.clone(),
                place: planting.place.clone(),
                variety: planting.variety.clone(),
                count: Some(planting.count),
                began,
                container_l: planting.container_l,
            },
        ));
        notes.extend(planting.figures.iter().map(|(figure, [lo, hi])| {
            let (planting, to) = (planting.id.clone(), (lo != hi).then_some(*hi));
            (from, Note::OwnFigure { planting, figure: figure.clone(), from: *lo, to })
        }));
        if let Some(ended) = planting.ended {
            // The last day still counts.
            let until = day(ended) + agronomy::series::MS_PER_DAY;
            notes.push((until, Note::End { planting: planting.id.clone() }));
        }
    }
    notes
}

/// Topics as the sources know them.
pub fn rules(topics: &[Topic]) -> Vec<TopicRule> {
    topics.iter().map(rule).collect()
}

fn rule(topic: &Topic) -> TopicRule {
    let shape = match &topic.payload {
        Payload::Bare(measured) => Shape::Bare { quantity: measured.quantity, unit: measured.unit.clone() },
        Payload::Fields(fields) => Shape::Fields {
            quantities: fields
                .iter()
                .map(|field| {
                    let unit = field.measured.unit.clone();
                    (field.measured.quantity, Field { pointer: field.pointer.clone(), unit })
                })
                .collect(),
            time: topic.stamp.as_ref().map(|stamp| Stamp {
                pointer: stamp.pointer.clone(),
                format: match stamp.format {
                    StampFormat::Rfc3339 => TimeFormat::Rfc3339,
                    StampFormat::UnixSeconds => TimeFormat::UnixSeconds,
                    StampFormat::UnixMilliseconds => TimeFormat::UnixMilliseconds,
                },
            }),
        },
    };
    TopicRule {
        filter: topic.filter.clone(),
        probe: topic.probe.as_str().into(),
        shape,
        usual_interval_s: topic.usual_interval_s.max(1.0) as u32,
    }
}

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

/// The broker source's settings.
///
/// # Errors
///
/// When its password cannot be read.
pub fn broker(site: &config::site::Site) -> Result<Option<BrokerSettings>, String> {
    let Some(broker) = &site.broker else { return Ok(None) };
    Ok(Some(BrokerSettings {
        host: broker.host.clone(),
        port: broker.port,
        client_id: broker.client_id.clone(),
        login: login(broker.user.as_ref(), broker.password.as_ref())?,
        own_prefix: site.mqtt_notices.as_ref().map_or_else(String::new, |notices| notices.prefix.clone()),
        keep_alive: Duration::from_secs(u64::from(broker.keep_alive_s)),
        pause: Pause::default(),
    }))
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

/// The e-mail courier's settings.
///
/// # Errors
///
/// When its password cannot be read.
pub fn mail(site: &config::site::Site) -> Result<Option<email::Settings>, String> {
    let Some(mail) = &site.mail else { return Ok(None) };
    Ok(Some(email::Settings {
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
    if site.mail.is_some() {
        routes.push(Route {
            courier: EMAIL.to_owned(),
            pushes_only: true,
            quiet,
            letter_at: Some(site.letter.at),
        });
    }
    if site.mqtt_notices.is_some() && site.broker.is_some() {
        routes.push(Route { courier: MQTT.to_owned(), pushes_only: false, quiet: None, letter_at: None });
    }
    routes
}

/// Passwords of the door's probes.
pub fn door_passwords(door: &config::site::Door) -> BTreeMap<crate::reading::ProbeName, String> {
    let known = door.probes.iter();
    known.filter_map(|probe| Some((probe.name.as_str().into(), probe.password.clone()?))).collect()
}
