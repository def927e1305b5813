//! A topic's rule, and what a message says by it.
//!
//! Probes speak in two ways: a bare number (`23.4`), or a JSON document in which the rule finds each quantity,
//! and the time where there is one, by a JSON pointer (RFC 6901). Anything else is [`Malformed`]: counted,
//! shown under the probe with the beginning of it, acknowledged, and never a crash.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use agronomy::quantity::{Quantity, UnitError};
use config::site::overlap;
use serde_json::Value;

use super::stamp::{StampFault, TimeFormat, read_stamp};
use super::topic::{FilterFault, check_filter, matches};
use crate::reading::{Heard, ProbeName};

/// The longest payload that is looked at, bytes; the limit of the broker settings we ship.
pub const LONGEST: usize = 65_536;

/// The longest sample of a malformed payload that is kept, characters.
const SAMPLE: usize = 80;

/// The stamp of a sender whose clock was never set: the beginning of 1970, which is no time of any reading.
const NEVER_SET_MS: i64 = 0;

/// What the messages of a topic mean.
#[derive(Clone, Debug, PartialEq)]
pub struct TopicRule {
    /// The topics, as an MQTT filter.
    pub filter: String,
    /// Which probe speaks there.
    pub probe: ProbeName,
    /// How.
    pub shape: Shape,
    /// How often it usually speaks, s.
    pub usual_interval_s: u32,
}

/// How a message is written.
#[derive(Clone, Debug, PartialEq)]
pub enum Shape {
    /// One number and nothing else.
    Bare {
        /// What it is.
        quantity: Quantity,
        /// In which unit.
        unit: String,
    },
    /// A JSON document.
    Fields {
        /// Where each quantity stands.
        quantities: BTreeMap<Quantity, Field>,
        /// Where the time stands; none where messages carry none.
        time: Option<Stamp>,
        /// Where the sender's running number stands, as a JSON pointer; none where it counts nothing.
        number: Option<String>,
    },
}

/// Where a quantity stands in a document.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Field {
    /// JSON pointer, RFC 6901.
    pub pointer: String,
    /// In which unit it is.
    pub unit: String,
}

/// Where the time stands in a document.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stamp {
    /// JSON pointer, RFC 6901.
    pub pointer: String,
    /// How it is written.
    pub format: TimeFormat,
}

impl TopicRule {
    /// Where its sender's running number stands, as a JSON pointer, where it counts.
    fn number(&self) -> Option<&str> {
        match &self.shape {
            Shape::Fields { number, .. } => number.as_deref(),
            Shape::Bare { .. } => None,
        }
    }

    /// Whether its messages carry their own time, so that they may wait in a queue and come twice.
    pub fn is_stamped(&self) -> bool {
        matches!(self.shape, Shape::Fields { time: Some(_), .. })
    }
}

/// Why a payload says nothing.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Malformed {
    /// Nothing in it.
    #[error("empty")]
    Empty,
    /// Over [`LONGEST`].
    #[error("{0} bytes, over {LONGEST}")]
    TooLong(usize),
    /// Not a plain decimal number.
    #[error("not a plain number")]
    NotANumber,
    /// A number past what can be kept.
    #[error("not a finite number")]
    NotFinite,
    /// Not a JSON document, or one nested over 127 deep.
    #[error("not JSON: {0}")]
    NotJson(String),
    /// None of the rule's pointers leads anywhere.
    #[error("nothing at {0}")]
    NothingThere(String),
    /// A pointer leads to something that is no number.
    #[error("no number at {0}")]
    NoNumberAt(String),
    /// The rule says that there is a time, and there is none.
    #[error("no time at {0}")]
    NoTime(String),
    /// The time is none.
    #[error("{0}")]
    Stamp(#[from] StampFault),
    /// The rule's unit is not one of the quantity; the site file's check says so too.
    #[error("{} is not measured in {unit:?}", .quantity.as_str())]
    Unit {
        /// What was measured.
        quantity: Quantity,
        /// The unit of the rule.
        unit: String,
    },
}

/// Reads a payload by its rule.
///
/// `repeated` says that it did not arrive live: the broker had retained it, or sends it again. That makes its readings
/// stale, which matters where they have no time of their own, or one that cannot be.
///
/// A quantity that a document leaves out is not said; one that is `null` is said to be missing.
///
/// # Errors
///
/// [`Malformed`].
pub fn read_payload(rule: &TopicRule, payload: &[u8], repeated: bool) -> Result<Vec<Heard>, Malformed> {
    if payload.len() > LONGEST {
        return Err(Malformed::TooLong(payload.len()));
    }
    if payload.iter().all(u8::is_ascii_whitespace) {
        return Err(Malformed::Empty);
    }
    match &rule.shape {
        Shape::Bare { quantity, unit } => {
            let text = str::from_utf8(payload).map_err(|_| Malformed::NotANumber)?;
            let value = plain_number(text).ok_or(Malformed::NotANumber)?;
            let value = Some(canonical(*quantity, value, unit)?);
            Ok(vec![heard(rule, *quantity, value, None, repeated)])
        }
        Shape::Fields { quantities, time, .. } => {
            let document: Value =
                serde_json::from_slice(payload).map_err(|error| Malformed::NotJson(error.to_string()))?;
            read_document(rule, quantities, time.as_ref(), &document, repeated)
        }
    }
}

fn read_document(
    rule: &TopicRule,
    quantities: &BTreeMap<Quantity, Field>,
    time: Option<&Stamp>,
    document: &Value,
    repeated: bool,
) -> Result<Vec<Heard>, Malformed> {
    let measured_ms = match time {
        None => None,
        Some(stamp) => {
            let value = document.pointer(&stamp.pointer).filter(|value| !value.is_null());
            let value = value.ok_or_else(|| Malformed::NoTime(stamp.pointer.clone()))?;
            match read_stamp(value, &stamp.format) {
                Ok(stamp) => Some(stamp),
                // The sender's clock was never set. Its values are as good as ever: dated by arrival, if live.
                Err(StampFault::Before2000) => Some(NEVER_SET_MS),
                Err(fault) => return Err(fault.into()),
            }
        }
    };
    let mut readings = Vec::with_capacity(quantities.len());
    for (quantity, field) in quantities {
        let value = match document.pointer(&field.pointer) {
            None => continue,
            Some(Value::Null) => None,
            Some(value) => {
                let number = number(value).ok_or_else(|| Malformed::NoNumberAt(field.pointer.clone()))?;
                Some(canonical(*quantity, number, &field.unit)?)
            }
        };
        readings.push(heard(rule, *quantity, value, measured_ms, repeated));
    }
    if readings.is_empty() {
        let pointers: Vec<_> = quantities.values().map(|field| field.pointer.as_str()).collect();
        return Err(Malformed::NothingThere(pointers.join(", ")));
    }
    Ok(readings)
}

fn heard(
    rule: &TopicRule,
    quantity: Quantity,
    value: Option<f64>,
    measured_ms: Option<i64>,
    repeated: bool,
) -> Heard {
    Heard { probe: rule.probe.clone(), quantity, value, measured_ms, stale: repeated }
}

fn number(value: &Value) -> Option<f64> {
    match value {
        Value::Number(number) => number.as_f64(),
        Value::String(text) => plain_number(text),
        _ => None,
    }
}

/// A decimal number with a point, surrounded by white space at most: no words for infinity or nothing, no
/// comma, no unit, no hexadecimals. `1e999` is one, and infinite.
pub(crate) fn plain_number(text: &str) -> Option<f64> {
    let text = text.trim_ascii();
    let plain = |byte: u8| byte.is_ascii_digit() || matches!(byte, b'+' | b'-' | b'.' | b'e' | b'E');
    if text.bytes().all(plain) { text.parse().ok() } else { None }
}

/// Converts to the canonical unit of the quantity: the one place where units change on their way in.
fn canonical(quantity: Quantity, value: f64, unit: &str) -> Result<f64, Malformed> {
    quantity.from_unit(value, unit).map_err(|error| match error {
        UnitError::NotFinite { .. } => Malformed::NotFinite,
        UnitError::Unknown { quantity, unit } => Malformed::Unit { quantity, unit },
    })
}

/// The beginning of a payload for people: at most 80 characters, whatever cannot be seen written out.
pub fn sample(payload: &[u8]) -> String {
    // Four bytes are the longest character, so this much holds 80 of any kind.
    let head = &payload[..payload.len().min(4 * SAMPLE)];
    let mut shown = String::new();
    for char in String::from_utf8_lossy(head).chars() {
        match char {
            '"' | '\'' => shown.push(char),
            // Writing to a String cannot fail.
            _ => _ = write!(shown, "{}", char.escape_debug()),
        }
    }
    match shown.char_indices().nth(SAMPLE) {
        None => shown,
        Some(_) => shown.chars().take(SAMPLE - 1).chain(['…']).collect(),
    }
}

/// Why a set of rules cannot be used together.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RuleFault {
    /// A filter is none.
    #[error("topic {filter:?}: {fault}")]
    Filter {
        /// As written.
        filter: String,
        /// What is wrong with it.
        fault: FilterFault,
    },
    /// Two different filters share a topic: its messages would come twice.
    #[error("topics {one:?} and {other:?} overlap: the same message would come twice")]
    Overlap {
        /// As written.
        one: String,
        /// As written.
        other: String,
    },
    /// One topic is stamped for one probe and not for another.
    #[error("topic {0:?} has a time by one rule and none by another")]
    HalfStamped(String),
}

/// The rules of all topics, checked against each other.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TopicRules(Vec<TopicRule>);

/// What one rule makes of a message: whose it is, and what it says.
pub type Said = (ProbeName, Result<Vec<Heard>, Malformed>);

impl TopicRules {
    /// Checks the filters, each alone and against the others.
    ///
    /// Several rules may share one filter word for word, where one message speaks for several probes.
    ///
    /// # Errors
    ///
    /// The first [`RuleFault`].
    pub fn new(rules: Vec<TopicRule>) -> Result<Self, RuleFault> {
        for (index, rule) in rules.iter().enumerate() {
            check_filter(&rule.filter)
                .map_err(|fault| RuleFault::Filter { filter: rule.filter.clone(), fault })?;
            for other in &rules[..index] {
                if other.filter == rule.filter {
                    if other.is_stamped() != rule.is_stamped() {
                        return Err(RuleFault::HalfStamped(rule.filter.clone()));
                    }
                } else if overlap(&other.filter, &rule.filter) {
                    return Err(RuleFault::Overlap { one: other.filter.clone(), other: rule.filter.clone() });
                }
            }
        }
        Ok(Self(rules))
    }

    /// The rules for messages that carry their time (`true`), or that do not.
    #[must_use]
    pub fn stamped(&self, stamped: bool) -> Self {
        Self(self.0.iter().filter(|rule| rule.is_stamped() == stamped).cloned().collect())
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The filters, each once, in the order written.
    pub fn filters(&self) -> Vec<&str> {
        let mut filters: Vec<&str> = Vec::new();
        for rule in &self.0 {
            if !filters.contains(&rule.filter.as_str()) {
                filters.push(&rule.filter);
            }
        }
        filters
    }

    /// How often something usually comes by a filter, s: by the most patient of its rules.
    pub fn usual_interval_s(&self, filter: &str) -> u32 {
        let of = self.0.iter().filter(|rule| rule.filter == filter);
        of.map(|rule| rule.usual_interval_s).max().unwrap_or_default()
    }

    /// The rules that meet a topic.
    pub fn meeting<'a>(&'a self, topic: &'a str) -> impl Iterator<Item = &'a TopicRule> {
        self.0.iter().filter(move |rule| matches(&rule.filter, topic))
    }

    /// The running numbers that a message bears, and whose each is, where its sender counts and it can be read.
    pub fn numbers<'a>(&'a self, topic: &'a str, payload: &[u8]) -> Vec<(&'a ProbeName, u64)> {
        let counting = self.meeting(topic).filter_map(|rule| Some((&rule.probe, rule.number()?)));
        let counting: Vec<_> = counting.collect();
        if counting.is_empty() || payload.len() > LONGEST {
            return Vec::new();
        }
        let Ok(document) = serde_json::from_slice::<Value>(payload) else { return Vec::new() };
        let number = |pointer| match document.pointer(pointer)? {
            Value::String(text) => text.trim_ascii().parse().ok(),
            value => value.as_u64(),
        };
        counting.into_iter().filter_map(|(probe, pointer)| Some((probe, number(pointer)?))).collect()
    }

    /// What a message says, by each rule that meets its topic; empty when none does.
    pub fn hear(&self, topic: &str, payload: &[u8], repeated: bool) -> Vec<Said> {
        self.meeting(topic).map(|rule| (rule.probe.clone(), read_payload(rule, payload, repeated))).collect()
    }
}

#[cfg(test)]
#[path = "payload_tests.rs"]
mod tests;
