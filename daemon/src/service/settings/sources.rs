//! What the sources need: topics, broker, public warnings, the door.

use std::collections::BTreeMap;
use std::time::Duration;

use config::site::{Payload, StampFormat, Topic};

use super::login;
use crate::reading::ProbeName;
use crate::sources::mqtt::BrokerSettings;
use crate::sources::pause::Pause;
use crate::sources::payload::{Field, Shape, Stamp, TopicRule};
use crate::sources::stamp::TimeFormat;
use crate::sources::warnings::{FeedSettings, TopicSettings};
use crate::warnings::taken::{Events, Listening};

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
            number: topic.number.clone(),
        },
    };
    TopicRule {
        filter: topic.filter.clone(),
        probe: topic.probe.as_str().into(),
        shape,
        usual_interval_s: topic.usual_interval_s.max(1.0) as u32,
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

/// Passwords of the door's probes.
pub fn door_passwords(door: &config::site::Door) -> BTreeMap<ProbeName, String> {
    let known = door.probes.iter();
    known.filter_map(|probe| Some((probe.name.as_str().into(), probe.password.clone()?))).collect()
}
