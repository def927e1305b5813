//! From the site file to what each part needs. No decision is taken here: the file was checked when it was read.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use agronomy::crop::CropBook;
use agronomy::own_estimate::Usual;
use agronomy::units::{Celsius, Latitude, Longitude};
use chrono::Timelike;
use config::ground::Start;
use config::position::Position;
use config::site::{MailTls, Payload, Secret, StampFormat, Topic, When};

use crate::calendar::Calendar;
use crate::couriers::route::UNSEEN_MS;
use crate::couriers::shelf::Shelf;
use crate::couriers::{email, notice_topic, web_push, webhook};
use crate::entry::{Began, Note, PlaceKind};
use crate::keeper::core::Route;
use crate::ledger::Reader;
use crate::mirror::server;
use crate::outward::picture;
use crate::site::{Limits, Site, UsualTable};
use crate::sources::mqtt::BrokerSettings;
use crate::sources::pause::Pause;
use crate::sources::payload::{Field, Shape, Stamp, TopicRule};
use crate::sources::stamp::TimeFormat;
use crate::sources::warnings::{FeedSettings, TopicSettings};
use crate::warnings::taken::{Events, Listening};

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
        usual: None,
    })
}

/// What is usual outdoors, from the site file's climate table.
///
/// # Errors
///
/// When a figure is no temperature on Earth, in words.
pub fn usual(file: &config::site::Site) -> Result<Option<UsualTable>, String> {
    let Some(table) = file.outlook.as_ref().and_then(|outlook| outlook.usual.as_ref()) else {
        return Ok(None);
    };
    let months = |table: [f64; 12]| {
        let months: Result<Vec<_>, _> = table.into_iter().map(Celsius::try_new).collect();
        let months = months.map_err(|error| error.to_string())?;
        months
            .try_into()
            .map(|months| Usual::of_months(&months))
            .map_err(|_| "a year has twelve months".to_owned())
    };
    Ok(Some(UsualTable { high: months(table.high_c)?, low: months(table.low_c)? }))
}

/// The field map of a forecast: a shipped one by its name, or a file.
///
/// # Errors
///
/// When the file cannot be read, or everything that is wrong with it.
pub fn outlook_map(feed: &config::site::Feed) -> Result<config::OutlookMap, String> {
    let zones = config::Zones::system();
    if let Some(text) = config::shipped_outlook_map(&feed.map) {
        return config::read_outlook_map(text, &zones).map_err(|faults| faults.to_string());
    }
    let text =
        std::fs::read_to_string(&feed.map).map_err(|error| format!("reading {}: {error}", feed.map))?;
    config::read_outlook_map(&text, &zones).map_err(|faults| faults.named(&feed.map).to_string())
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

/// What the sources of public warnings need.
pub struct Warnings {
    /// What is listened for.
    pub listening: Listening,
    /// An address to ask.
    pub feed: Option<FeedSettings>,
    /// A topic to hear.
    pub topic: Option<TopicSettings>,
}

/// The settings of the sources of public warnings.
///
/// # Errors
///
/// When the broker's password cannot be read.
pub fn warnings(site: &config::site::Site) -> Result<Option<Warnings>, String> {
    let Some(warnings) = &site.warnings else { return Ok(None) };
    let events = |lines: &[String]| Events::of(lines.iter().map(String::as_str));
    let feed = warnings.url.clone().map(|url| FeedSettings {
        url,
        also_from: warnings.also_from.clone(),
        authority: warnings.ca.clone(),
        every: Duration::from_secs_f64(warnings.every_s),
    });
    let topic = match (&warnings.topic, broker(site)?) {
        (Some(filter), Some(broker)) => Some(TopicSettings { broker, filter: filter.clone() }),
        _ => None,
    };
    let listening = Listening {
        place: (site.site.latitude, site.site.longitude),
        geocodes: warnings.geocodes.clone(),
        language: warnings.language.clone(),
        heat: events(&warnings.heat_events),
        frost: events(&warnings.frost_events),
    };
    Ok(Some(Warnings { listening, feed, topic }))
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

/// Passwords of the door's probes.
pub fn door_passwords(door: &config::site::Door) -> BTreeMap<crate::reading::ProbeName, String> {
    let known = door.probes.iter();
    known.filter_map(|probe| Some((probe.name.as_str().into(), probe.password.clone()?))).collect()
}
