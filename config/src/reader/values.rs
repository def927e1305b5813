//! The values of a table: text, words, numbers, lists, dates, and the few kinds of text with a form.

use std::net::SocketAddr;
use std::ops::RangeBounds;

use chrono::{NaiveDate, NaiveDateTime, NaiveTime};
use toml::Spanned;
use toml::de::DeValue;

use super::{At, Table, one_of};
use crate::words::instead;

impl Table<'_, '_> {
    pub(super) fn wrong(&self, key: &str, value: &Spanned<DeValue<'_>>, wanted: &str) {
        let message = format!("{key} is {}; write {wanted}", kind(value.get_ref()));
        self.note(value.span().start, message);
    }

    /// Whether a table is written there. Notes nothing.
    pub(crate) fn holds_table(&self, key: &str) -> bool {
        self.find(key).is_some_and(|value| matches!(value.get_ref(), DeValue::Table(_)))
    }

    /// Whether a list is written there. Notes nothing.
    pub(crate) fn holds_list(&self, key: &str) -> bool {
        self.find(key).is_some_and(|value| matches!(value.get_ref(), DeValue::Array(_)))
    }

    /// Text.
    pub(crate) fn text(&self, key: &str) -> Option<String> {
        self.text_like(key, "text in quotation marks")
    }

    /// Text that is not empty and holds no line breaks or other control characters.
    pub(crate) fn line(&self, key: &str) -> Option<String> {
        let text = self.text(key)?;
        if text.trim().is_empty() || text.chars().any(char::is_control) {
            self.fault(key, format!("{key} is empty or holds control characters; write one line of text"));
            return None;
        }
        Some(text)
    }

    /// Text; `wanted` says in a message what to write.
    pub(crate) fn text_like(&self, key: &str, wanted: &str) -> Option<String> {
        let value = self.find(key)?;
        if let DeValue::String(text) = value.get_ref() {
            return Some(text.to_string());
        }
        self.wrong(key, value, wanted);
        None
    }

    /// One of some words.
    pub(crate) fn word<T>(&self, key: &str, words: &[(&str, T)]) -> Option<T>
    where
        T: Clone,
    {
        let wanted = one_of(words.iter().map(|(word, _)| *word));
        let written = self.text_like(key, &wanted)?;
        let found = self.choose(key, self.place(key), &written, words.iter().map(|(word, _)| *word))?;
        words.get(found).map(|(_, meaning)| meaning.clone())
    }

    /// The index of the written word among the known ones; a fault naming the nearest if there is none.
    pub(crate) fn choose<'w>(
        &self,
        what: &str,
        at: usize,
        written: &str,
        words: impl Iterator<Item = &'w str> + Clone,
    ) -> Option<usize> {
        let found = words.clone().position(|word| word == written);
        if found.is_none() {
            let instead = instead(written, words.clone()).unwrap_or_else(|| one_of(words));
            let what_then = match instead.as_str() {
                "" => format!("there is no {what} in this file yet; add one first"),
                word => format!("write {word}"),
            };
            self.note(at, format!("unknown {what} {written}; {what_then}"));
        }
        found
    }

    /// A finite number within bounds; `unit` stands behind numbers in messages and may be empty.
    pub(crate) fn number(&self, key: &str, unit: &str, bounds: impl RangeBounds<f64>) -> Option<f64> {
        let value = self.find(key)?;
        let Some(number) = as_number(value.get_ref()) else {
            self.wrong(key, value, &format!("a number{}", of(unit)));
            return None;
        };
        if number.is_finite() && bounds.contains(&number) {
            return Some(number);
        }
        let message = format!("{key} {number} is out of range; write {}{}", spoken(&bounds), after(unit));
        self.note(value.span().start, message);
        None
    }

    /// A whole number within bounds.
    pub(crate) fn whole(&self, key: &str, bounds: std::ops::RangeInclusive<i64>) -> Option<i64> {
        let value = self.find(key)?;
        let DeValue::Integer(digits) = value.get_ref() else {
            self.wrong(key, value, "a whole number");
            return None;
        };
        let number = i64::from_str_radix(digits.as_str(), digits.radix()).ok();
        if let Some(number) = number.filter(|number| bounds.contains(number)) {
            return Some(number);
        }
        let message = format!("{key} {digits} is out of range; write {} to {}", bounds.start(), bounds.end());
        self.note(value.span().start, message);
        None
    }

    /// A list of texts, each with its place.
    pub(crate) fn texts(&self, key: &str) -> Option<Vec<At<String>>> {
        self.all(key, "a list of texts in quotation marks", |value| match value {
            DeValue::String(text) => Some(text.to_string()),
            _ => None,
        })
    }

    /// A list of finite numbers, each with its place.
    pub(crate) fn numbers(&self, key: &str) -> Option<Vec<At<f64>>> {
        self.all(key, "a list of numbers", |value| as_number(value).filter(|number| number.is_finite()))
    }

    fn all<T>(
        &self,
        key: &str,
        wanted: &str,
        read: impl Fn(&DeValue<'_>) -> Option<T>,
    ) -> Option<Vec<At<T>>> {
        let value = self.find(key)?;
        let DeValue::Array(items) = value.get_ref() else {
            self.wrong(key, value, wanted);
            return None;
        };
        let mut list = Vec::with_capacity(items.len());
        for item in items {
            match read(item.get_ref()) {
                Some(value) => list.push(At { value, at: item.span().start }),
                None => self.wrong(key, item, wanted),
            }
        }
        (list.len() == items.len()).then_some(list)
    }

    /// A name made of letters, digits, `_`, `-` and `.` only, so that it can stand in a topic, a file name
    /// or a tag of the mirror without being escaped.
    pub(crate) fn id(&self, key: &str) -> Option<String> {
        let id = self.text_like(key, "letters, digits, _ - . in quotation marks")?;
        let fits = |c: char| c.is_ascii_alphanumeric() || matches!(c, '_' | '-' | '.');
        if id.is_empty() || id.len() > 64 || !id.chars().all(fits) {
            let instead: String = id.chars().map(|c| if fits(c) { c } else { '_' }).take(64).collect();
            let instead = if instead.is_empty() { "post" } else { &instead };
            self.fault(key, format!("{key} {id:?} has other signs than letters, digits, _ - . or is over 64 long; write {instead}"));
            return None;
        }
        Some(id)
    }

    /// An address to listen on, with its port.
    pub(crate) fn listen(&self, key: &str) -> Option<SocketAddr> {
        let wanted = "an address and a port such as 127.0.0.1:8087";
        let text = self.text_like(key, wanted)?;
        let address = text.parse().ok();
        if address.is_none() {
            self.fault(key, format!("{key} {text} is no address; write {wanted}"));
        }
        address
    }

    /// A time of day, written bare (`06:00:00`) or in quotation marks (`"06:00"`).
    pub(crate) fn clock(&self, key: &str) -> Option<NaiveTime> {
        let value = self.find(key)?;
        let written = match value.get_ref() {
            DeValue::Datetime(when) => when.to_string(),
            DeValue::String(text) => text.to_string(),
            other => kind(other).to_owned(),
        };
        let read = |form| NaiveTime::parse_from_str(&written, form).ok();
        let time = read("%H:%M").or_else(|| read("%H:%M:%S"));
        if time.is_none() {
            self.fault(key, format!("{key} is {written}; write a time of day such as \"06:00\""));
        }
        time
    }

    /// A date with a time of day, without an offset: a moment of the clock the file goes by.
    pub(crate) fn moment(&self, key: &str) -> Option<NaiveDateTime> {
        let value = self.find(key)?;
        let written = match value.get_ref() {
            DeValue::Datetime(when) => when.to_string(),
            DeValue::String(text) => text.to_string(),
            other => kind(other).to_owned(),
        };
        let read = |form| NaiveDateTime::parse_from_str(&written, form).ok();
        let moment = read("%Y-%m-%dT%H:%M").or_else(|| read("%Y-%m-%dT%H:%M:%S"));
        if moment.is_none() {
            self.fault(key, format!("{key} is {written}; write a moment such as \"2022-05-04T06:15\""));
        }
        moment
    }

    /// Text or a whole number: for what may be named or counted.
    pub(crate) fn named_or_numbered(&self, key: &str, wanted: &str) -> Option<Named> {
        let value = self.find(key)?;
        let read = named_or_numbered(value.get_ref());
        if read.is_none() {
            self.wrong(key, value, wanted);
        }
        read
    }

    /// One or several of those, in a list or alone.
    pub(crate) fn all_named_or_numbered(&self, key: &str, wanted: &str) -> Option<Vec<Named>> {
        let value = self.find(key)?;
        if matches!(value.get_ref(), DeValue::Array(_)) {
            let list = self.all(key, wanted, named_or_numbered)?;
            return Some(list.into_iter().map(|item| item.value).collect());
        }
        self.named_or_numbered(key, wanted).map(|one| vec![one])
    }

    /// A date, written bare (`2026-05-04`) or in quotation marks.
    pub(crate) fn date(&self, key: &str) -> Option<NaiveDate> {
        let value = self.find(key)?;
        let written = match value.get_ref() {
            DeValue::Datetime(when) => when.to_string(),
            DeValue::String(text) => text.to_string(),
            _ => String::new(),
        };
        let date = NaiveDate::parse_from_str(&written, "%Y-%m-%d").ok();
        if date.is_none() {
            let said = if written.is_empty() { kind(value.get_ref()).to_owned() } else { written };
            self.note(value.span().start, format!("{key} is {said}; write a date such as 2026-05-04"));
        }
        date
    }
}

/// A name, or a number from 1.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Named {
    /// By name.
    Text(String),
    /// By number.
    Number(usize),
}

fn named_or_numbered(value: &DeValue<'_>) -> Option<Named> {
    match value {
        DeValue::String(text) if !text.trim().is_empty() => Some(Named::Text(text.trim().to_owned())),
        DeValue::Integer(digits) => {
            let number = usize::from_str_radix(digits.as_str(), digits.radix()).ok();
            number.filter(|number| (1..=1000).contains(number)).map(Named::Number)
        }
        _ => None,
    }
}

fn as_number(value: &DeValue<'_>) -> Option<f64> {
    match value {
        DeValue::Integer(digits) => {
            i64::from_str_radix(digits.as_str(), digits.radix()).ok().map(|whole| whole as f64)
        }
        DeValue::Float(digits) => digits.as_str().parse().ok(),
        _ => None,
    }
}

/// What a value is, in words.
fn kind(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "text",
        DeValue::Integer(_) | DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date or time",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

fn of(unit: &str) -> String {
    if unit.is_empty() { String::new() } else { format!(" in {unit}") }
}

fn after(unit: &str) -> String {
    if unit.is_empty() { String::new() } else { format!(" {unit}") }
}

/// A range in words.
fn spoken(bounds: &impl RangeBounds<f64>) -> String {
    use std::ops::Bound::{Excluded, Included, Unbounded};
    match (bounds.start_bound(), bounds.end_bound()) {
        (Included(low) | Excluded(low), Included(high) | Excluded(high)) => format!("{low} to {high}"),
        (Included(low) | Excluded(low), Unbounded) => format!("{low} or more"),
        (Unbounded, Included(high) | Excluded(high)) => format!("{high} or less"),
        (Unbounded, Unbounded) => "a finite number".to_owned(),
    }
}
