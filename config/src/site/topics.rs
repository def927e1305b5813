//! Which MQTT topics carry readings, and what stands where in their payloads.

use std::collections::BTreeSet;

use crate::ground::usual_interval;
use crate::quantity::{Measured, known_quantity, measured, unit_for};
use crate::reader::Table;

/// One topic, or one filter for several.
#[derive(Clone, Debug, PartialEq)]
pub struct Topic {
    /// The filter, with `+` and `#` as MQTT has them.
    pub filter: String,
    /// The probe whose readings these are.
    pub probe: String,
    /// How a payload is read.
    pub payload: Payload,
    /// Where the payload says when it was measured; without it, arrival dates the reading.
    pub stamp: Option<Stamp>,
    /// Where the payload has the sender's running number: a JSON pointer, RFC 6901.
    pub number: Option<String>,
    /// Time between messages when all is well \[s\].
    pub usual_interval_s: f64,
}

/// How a payload is read.
#[derive(Clone, Debug, PartialEq)]
pub enum Payload {
    /// The payload is one number.
    Bare(Measured),
    /// The payload is JSON with these values in it.
    Fields(Vec<Field>),
}

/// One value of a JSON payload.
#[derive(Clone, Debug, PartialEq)]
pub struct Field {
    /// What it is.
    pub measured: Measured,
    /// Where it stands: a JSON pointer, RFC 6901.
    pub pointer: String,
}

/// Where and how a payload tells its time.
#[derive(Clone, Debug, PartialEq)]
pub struct Stamp {
    /// Where it stands: a JSON pointer, RFC 6901.
    pub pointer: String,
    /// How it is written.
    pub format: StampFormat,
}

/// How a time is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StampFormat {
    /// Text of RFC 3339 with its offset, `2026-07-15T13:20:00Z`.
    Rfc3339,
    /// Seconds since 1970 UTC.
    UnixSeconds,
    /// Milliseconds since 1970 UTC.
    UnixMilliseconds,
}

const FORMATS: [(&str, StampFormat); 3] = [
    ("rfc3339", StampFormat::Rfc3339),
    ("unix_s", StampFormat::UnixSeconds),
    ("unix_ms", StampFormat::UnixMilliseconds),
];

/// Reads every `[[broker.topic]]` or `[[door.topic]]`; `told` gathers what each probe measures.
pub(super) fn topics(
    parent: &Table<'_, '_>,
    title: &str,
    told: &mut BTreeSet<(String, String)>,
) -> Vec<Topic> {
    parent.tables("topic", title).iter().filter_map(|table| topic(table, told)).collect()
}

fn topic(table: &Table<'_, '_>, told: &mut BTreeSet<(String, String)>) -> Option<Topic> {
    let filter = table.need("filter", "filter = \"garden/post\"", table.text("filter"));
    if let Some(text) = filter.as_ref().filter(|text| !is_filter(text)) {
        let why = "# only stands alone at the end, + only alone between slashes";
        table.fault("filter", format!("filter {text:?} is none that MQTT has; write one in which {why}"));
    }
    let probe = table.need("probe", "probe = \"post\"", table.id("probe"));
    let stamp = table.table("time", "time").map(|time| stamp(&time));
    let number = table.table("number", "number").map(|number| pointer(&number));
    let usual_interval_s = usual_interval(table);
    let payload = payload(table);
    if let (Some(probe), Some(payload)) = (&probe, &payload) {
        for measured in payload.measured() {
            once(table, "probe", probe, measured.quantity.as_str(), told);
        }
    }
    let stamp = match stamp {
        Some(stamp) => Some(stamp?),
        None => None,
    };
    let number = match number {
        Some(number) => Some(number?),
        None => None,
    };
    Some(Topic { filter: filter?, probe: probe?, payload: payload?, stamp, number, usual_interval_s })
}

impl Payload {
    /// What the payload tells.
    pub fn measured(&self) -> Vec<&Measured> {
        match self {
            Self::Bare(measured) => vec![measured],
            Self::Fields(fields) => fields.iter().map(|field| &field.measured).collect(),
        }
    }
}

/// Notes a quantity that the same probe already tells elsewhere: its readings would fall on each other.
pub(super) fn once(
    table: &Table<'_, '_>,
    key: &str,
    probe: &str,
    quantity: &str,
    told: &mut BTreeSet<(String, String)>,
) {
    if !told.insert((probe.to_owned(), quantity.to_owned())) {
        table.fault(
            key,
            format!("{quantity} of probe {probe} already comes from elsewhere; write another probe"),
        );
    }
}

fn payload(table: &Table<'_, '_>) -> Option<Payload> {
    let bare = table.table("bare", "bare").map(|bare| measured(&bare));
    let fields = table.table("fields", "fields").map(|fields| read_fields(&fields));
    match (bare, fields) {
        (Some(bare), None) => {
            for (key, what) in [("time", "no time"), ("number", "no running number")] {
                if table.has(key) {
                    let why = format!(
                        "a bare number tells {what}; write fields instead of bare, or leave {key} out"
                    );
                    table.fault(key, why);
                }
            }
            Some(Payload::Bare(bare?))
        }
        (None, Some(fields)) => Some(Payload::Fields(fields?)),
        (Some(_), Some(_)) => {
            table.fault("bare", "bare and fields are both there; write one of them");
            None
        }
        (None, None) => {
            let example = "fields = { air_temperature = { pointer = \"/t\", unit = \"°C\" } }";
            table.need("fields", example, None)
        }
    }
}

fn read_fields(table: &Table<'_, '_>) -> Option<Vec<Field>> {
    let keys = table.keys();
    if keys.is_empty() {
        table.need::<()>("air_temperature", "air_temperature = { pointer = \"/t\", unit = \"°C\" }", None);
    }
    let fields: Vec<_> = keys
        .iter()
        .filter_map(|key| {
            let quantity = known_quantity(table, key.at, &key.value)?;
            let inner = table.table(quantity.as_str(), quantity.as_str())?;
            let (pointer, unit) = (pointer(&inner), unit_for(&inner, "unit", quantity));
            Some(Field { measured: Measured { quantity, unit: unit? }, pointer: pointer? })
        })
        .collect();
    (!fields.is_empty()).then_some(fields)
}

fn stamp(table: &Table<'_, '_>) -> Option<Stamp> {
    let pointer = pointer(table);
    let format = table.need("format", "format = \"unix_s\"", table.word("format", &FORMATS));
    Some(Stamp { pointer: pointer?, format: format? })
}

fn pointer(table: &Table<'_, '_>) -> Option<String> {
    table.need("pointer", "pointer = \"/t\"", crate::pointer::pointer(table, "pointer"))
}

/// MQTT 3.1.1 section 4.7.1: wildcards fill a whole level, `#` only the last.
pub(super) fn is_filter(text: &str) -> bool {
    let levels: Vec<_> = text.split('/').collect();
    !text.is_empty()
        && text.len() <= 65_535
        && !text.contains('\0')
        && levels.iter().enumerate().all(|(index, level)| {
            !level.contains(['+', '#']) || *level == "+" || (*level == "#" && index + 1 == levels.len())
        })
}

/// Whether some topic is met by both filters (MQTT 3.1.1, section 4.7).
pub fn overlap(one: &str, other: &str) -> bool {
    let own = |a: &str, b: &str| a.starts_with('$') && b.starts_with(['+', '#']);
    if own(one, other) || own(other, one) {
        return false;
    }
    let (mut one, mut other) = (one.split('/'), other.split('/'));
    loop {
        match (one.next(), other.next()) {
            (Some("#"), _) | (_, Some("#")) | (None, None) => return true,
            (Some(a), Some(b)) if a == b || a == "+" || b == "+" => {}
            _ => return false,
        }
    }
}
