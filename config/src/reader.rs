//! Reads a TOML tree by name and collects every fault on the way.
//!
//! A getter returns `None` both for "absent" and for "wrong"; a wrong value has already been noted, so the
//! caller puts in its default and reads on. Only when the whole file has been read does
//! [`Notebook::close`] say whether there was anything.

use std::cell::RefCell;
use std::ops::{Range, RangeBounds};

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::faults::{Fault, Faults};
use crate::words::nearest;

/// The text being read and what has been found wrong with it.
pub(crate) struct Notebook<'t> {
    text: &'t str,
    /// Byte offset, and the message. Syntax faults first.
    notes: RefCell<Vec<(usize, String)>>,
    syntax: usize,
}

impl<'t> Notebook<'t> {
    /// Parses; keeps what could be read of a text with mistakes in it.
    pub(crate) fn open(text: &'t str) -> (Self, Spanned<DeTable<'t>>) {
        let (tree, errors) = DeTable::parse_recoverable(text);
        let notes: Vec<_> = errors
            .iter()
            .map(|error| {
                let at = error.span().map_or(0, |span| span.start);
                (at, format!("{}; write it as TOML asks", error.message().replace('\n', ", ")))
            })
            .collect();
        let syntax = notes.len();
        (Self { text, notes: RefCell::new(notes), syntax }, tree)
    }

    /// Notes a fault at a place of the text.
    pub(crate) fn note(&self, at: usize, message: impl Into<String>) {
        self.notes.borrow_mut().push((at, message.into()));
    }

    /// The value, if nothing was wrong.
    ///
    /// What a broken line led to is not told beside the break itself: both would be mended in one go.
    pub(crate) fn close<T>(self, file: &str, value: Option<T>) -> Result<T, Faults> {
        let notes = self.notes.take();
        let mut list: Vec<Fault> = Vec::with_capacity(notes.len());
        let mut broken: Vec<usize> = Vec::new();
        for (index, (at, message)) in notes.into_iter().enumerate() {
            let (line, column) = position(self.text, at);
            if index < self.syntax {
                broken.push(line);
            } else if broken.contains(&line) {
                continue;
            }
            list.push(Fault { line, column, message });
        }
        list.sort();
        list.dedup();
        match value {
            Some(value) if list.is_empty() => Ok(value),
            _ => Err(Faults { file: file.to_owned(), list }),
        }
    }
}

/// Line and column of a byte offset, both from 1, columns in characters.
fn position(text: &str, at: usize) -> (usize, usize) {
    let mut end = at.min(text.len());
    while !text.is_char_boundary(end) {
        end -= 1;
    }
    let before = &text[..end];
    let line_start = before.rfind('\n').map_or(0, |newline| newline + 1);
    (before.matches('\n').count() + 1, before[line_start..].chars().count() + 1)
}

/// A value with the place it stands at.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct At<T> {
    /// The value.
    pub(crate) value: T,
    /// Where it starts in the text.
    pub(crate) at: usize,
}

/// One table, read by name.
pub(crate) struct Table<'r, 't> {
    pub(crate) book: &'r Notebook<'t>,
    table: &'r DeTable<'t>,
    span: Range<usize>,
    title: String,
    known: RefCell<Vec<String>>,
    missing: RefCell<Vec<(String, String)>>,
}

impl<'r, 't> Table<'r, 't> {
    /// A table of the text. `title` is what messages call it: `[site]`, `a heat rule`.
    pub(crate) fn new(
        book: &'r Notebook<'t>,
        table: &'r DeTable<'t>,
        span: Range<usize>,
        title: impl Into<String>,
    ) -> Self {
        Self {
            book,
            table,
            span,
            title: title.into(),
            known: RefCell::default(),
            missing: RefCell::default(),
        }
    }

    /// The whole text.
    pub(crate) fn root(book: &'r Notebook<'t>, tree: &'r Spanned<DeTable<'t>>) -> Self {
        Self::new(book, tree.get_ref(), 0..0, "this file")
    }

    /// What messages call it.
    pub(crate) fn title(&self) -> &str {
        &self.title
    }

    /// Whether the key is written at all. Makes it a known one.
    pub(crate) fn has(&self, key: &str) -> bool {
        self.find(key).is_some()
    }

    /// Where the value of a key starts, or the table if the key is absent.
    pub(crate) fn place(&self, key: &str) -> usize {
        self.table.get(key).map_or(self.span.start, |value| value.span().start)
    }

    /// Notes a fault at the value of a key.
    pub(crate) fn fault(&self, key: &str, message: impl Into<String>) {
        self.book.note(self.place(key), message);
    }

    /// Every key with the place it stands at, in the order of the alphabet. Makes them known.
    pub(crate) fn keys(&self) -> Vec<At<String>> {
        let keys: Vec<_> = self
            .table
            .iter()
            .map(|(key, _)| At { value: key.get_ref().to_string(), at: key.span().start })
            .collect();
        self.known.borrow_mut().extend(keys.iter().map(|key| key.value.clone()));
        keys
    }

    /// Every key that nobody has asked for yet, with its place.
    pub(crate) fn unread(&self) -> Vec<At<String>> {
        let known = self.known.borrow().clone();
        let mut keys = self.keys();
        keys.retain(|key| !known.contains(&key.value));
        keys
    }

    fn find(&self, key: &str) -> Option<&'r Spanned<DeValue<'t>>> {
        self.known.borrow_mut().push(key.to_owned());
        self.table.get(key)
    }

    /// Notes that a key is missing, unless it is there. `example` is a line to write.
    pub(crate) fn need<T>(&self, key: &str, example: &str, got: Option<T>) -> Option<T> {
        if got.is_none() && self.table.get(key).is_none() {
            let message = format!("{} has no {key}; write {example}", self.title);
            self.missing.borrow_mut().push((key.to_owned(), message));
        }
        got
    }

    fn wrong(&self, key: &str, value: &Spanned<DeValue<'_>>, wanted: &str) {
        let message = format!("{key} is {}; write {wanted}", kind(value.get_ref()));
        self.book.note(value.span().start, message);
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
            let instead = nearest(written, words.clone()).map_or_else(|| one_of(words), str::to_owned);
            self.book.note(at, format!("unknown {what} {written}; write {instead}"));
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
        self.book.note(value.span().start, message);
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
        self.book.note(value.span().start, message);
        None
    }

    /// Yes or no.
    pub(crate) fn switch(&self, key: &str) -> Option<bool> {
        let value = self.find(key)?;
        if let DeValue::Boolean(on) = value.get_ref() {
            return Some(*on);
        }
        self.wrong(key, value, "true or false");
        None
    }

    /// A list of texts, each with its place.
    pub(crate) fn texts(&self, key: &str) -> Option<Vec<At<String>>> {
        self.list(key, "a list of texts in quotation marks", |value| match value {
            DeValue::String(text) => Some(text.to_string()),
            _ => None,
        })
    }

    /// A list of finite numbers, each with its place.
    pub(crate) fn numbers(&self, key: &str) -> Option<Vec<At<f64>>> {
        self.list(key, "a list of numbers", |value| as_number(value).filter(|number| number.is_finite()))
    }

    fn list<T>(
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
        for item in items.iter() {
            match read(item.get_ref()) {
                Some(value) => list.push(At { value, at: item.span().start }),
                None => self.wrong(key, item, wanted),
            }
        }
        (list.len() == items.len()).then_some(list)
    }

    /// A date, written bare (`2026-05-04`) or in quotation marks.
    pub(crate) fn date(&self, key: &str) -> Option<chrono::NaiveDate> {
        let value = self.find(key)?;
        let written = match value.get_ref() {
            DeValue::Datetime(when) => when.to_string(),
            DeValue::String(text) => text.to_string(),
            _ => String::new(),
        };
        let date = chrono::NaiveDate::parse_from_str(&written, "%Y-%m-%d").ok();
        if date.is_none() {
            let said = if written.is_empty() { kind(value.get_ref()).to_owned() } else { written };
            self.book.note(value.span().start, format!("{key} is {said}; write a date such as 2026-05-04"));
        }
        date
    }

    /// A table within this one.
    pub(crate) fn table(&self, key: &str, title: impl Into<String>) -> Option<Table<'r, 't>> {
        let value = self.find(key)?;
        if let DeValue::Table(table) = value.get_ref() {
            return Some(Table::new(self.book, table, value.span(), title));
        }
        self.wrong(key, value, &format!("a table [{key}]"));
        None
    }

    /// A list of tables within this one, `[[key]]`; empty if absent.
    pub(crate) fn tables(&self, key: &str, title: &str) -> Vec<Table<'r, 't>> {
        let Some(value) = self.find(key) else { return Vec::new() };
        let DeValue::Array(items) = value.get_ref() else {
            self.wrong(key, value, &format!("one [[{key}]] for each"));
            return Vec::new();
        };
        let mut tables = Vec::with_capacity(items.len());
        for item in items.iter() {
            if let DeValue::Table(table) = item.get_ref() {
                tables.push(Table::new(self.book, table, item.span(), title));
            } else {
                self.wrong(key, item, &format!("one [[{key}]] for each"));
            }
        }
        tables
    }
}

/// Whatever a table held that nobody asked for is told when the reading of it ends, with the nearest word
/// that somebody did ask for. A missing key that was only misspelt is told once, as misspelt.
impl Drop for Table<'_, '_> {
    fn drop(&mut self) {
        let known = self.known.borrow();
        let mut missing = self.missing.take();
        for (key, _) in self.table {
            let name = key.get_ref().as_ref();
            if known.iter().any(|word| word == name) {
                continue;
            }
            let unused = known.iter().map(String::as_str).filter(|word| !self.table.contains_key(*word));
            let meant = nearest(name, unused);
            missing.retain(|(missed, _)| Some(missed.as_str()) != meant);
            let advice = meant.map_or_else(|| "leave it out".to_owned(), |word| format!("write {word}"));
            self.book.note(key.span().start, format!("unknown key {name} in {}; {advice}", self.title));
        }
        for (_, message) in missing {
            self.book.note(self.span.start, message);
        }
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

/// `a, b or c`.
pub(crate) fn one_of<'w>(words: impl Iterator<Item = &'w str>) -> String {
    let words: Vec<_> = words.collect();
    match words.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} or {last}", rest.join(", ")),
        Some((last, _)) => (*last).to_owned(),
        None => String::new(),
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
