//! Reads a TOML tree by name and collects every fault on the way.
//!
//! A getter returns `None` both for "absent" and for "wrong"; a wrong value has already been noted, so the
//! caller puts in its default and reads on. Only when the whole file has been read does
//! [`Notebook::close`] say whether there was anything.

use std::cell::RefCell;
use std::ops::Range;

use agronomy::crop::figures::Listed;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::faults::{Fault, Faults};
use crate::words::nearest;

mod values;

pub(crate) use values::Named;

/// The text being read and what has been found wrong with it.
pub(crate) struct Notebook<'t> {
    text: &'t str,
    /// Byte offset, and the message. Syntax faults first.
    notes: RefCell<Vec<(usize, String)>>,
    syntax: usize,
    /// A heading was not closed: what stands below it seems to belong to another.
    astray: bool,
    figures: RefCell<Vec<Found>>,
}

/// The fault of a heading such as `[site` that nobody closed, at its beginning; none for other faults of form.
fn unclosed(text: &str, at: usize, message: &str) -> Option<(usize, String)> {
    let close = match message.split(',').next()? {
        "unclosed table" => "]",
        "unclosed array table" => "]]",
        _ => return None,
    };
    let at = at.min(text.len());
    let begins = text.get(..at)?.rfind('\n').map_or(0, |end| end + 1);
    let line = text.get(begins..)?.lines().next()?;
    let heading = line.split('#').next()?.trim();
    let name = heading.trim_matches(['[', ']']).trim();
    let open = "[".repeat(close.len());
    let begins = begins + line.len() - line.trim_start().len();
    Some((begins, format!("the heading {heading} is not closed; write {open}{name}{close}")))
}

/// A figure of a crop book, and where it was found.
pub(crate) struct Found {
    /// Its dotted name.
    pub(crate) name: String,
    /// Where it starts in the text.
    pub(crate) at: usize,
    /// The figure.
    pub(crate) listed: Listed,
}

impl<'t> Notebook<'t> {
    /// Parses; keeps what could be read of a text with mistakes in it.
    pub(crate) fn open(text: &'t str) -> (Self, Spanned<DeTable<'t>>) {
        let (tree, errors) = DeTable::parse_recoverable(text);
        let mut astray = false;
        let broken = |error: &toml::de::Error| {
            let at = error.span().map_or(0, |span| span.start);
            if let Some(fault) = unclosed(text, at, error.message()) {
                astray = true;
                return fault;
            }
            (at, format!("{}; write it as TOML asks", error.message().replace(char::is_control, " ")))
        };
        let notes: Vec<_> = errors.iter().map(broken).collect();
        let syntax = notes.len();
        (Self { text, notes: RefCell::new(notes), syntax, astray, figures: RefCell::default() }, tree)
    }

    /// Notes a fault at a place of the text. What it quotes of the text may hold line breaks or worse; a
    /// message stays one line whatever it quotes.
    pub(crate) fn note(&self, at: usize, message: impl Into<String>) {
        let message: String = message.into();
        let message = message.chars().map(|c| if c.is_control() { '\u{fffd}' } else { c }).collect();
        self.notes.borrow_mut().push((at, message));
    }

    /// The figures listed since this was last asked.
    pub(crate) fn take_figures(&self) -> Vec<Found> {
        self.figures.take()
    }

    /// The value, if nothing was wrong.
    ///
    /// What a broken line led to is not told beside the break itself: both would be mended in one go; nor what stands
    /// below a heading that was not closed, where everything would seem to be missing or strange.
    pub(crate) fn close<T>(self, file: &str, value: Option<T>) -> Result<T, Faults> {
        let notes = self.notes.take();
        let mut list: Vec<Fault> = Vec::with_capacity(notes.len());
        let mut broken: Vec<usize> = Vec::new();
        for (index, (at, message)) in notes.into_iter().enumerate() {
            let (line, column) = position(self.text, at);
            if index < self.syntax {
                broken.push(line);
            } else if self.astray || broken.contains(&line) {
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
    tree: &'r DeTable<'t>,
    span: Range<usize>,
    title: String,
    /// Whose table it is and which of theirs, where messages say so: `tomato`, `gdd`.
    path: Option<(String, String)>,
    known: RefCell<Vec<String>>,
    missing: RefCell<Vec<(String, String)>>,
}

impl<'r, 't> Table<'r, 't> {
    /// A table of the text. `title` is what messages call it: `[site]`, `a heat rule`.
    pub(crate) fn new(
        book: &'r Notebook<'t>,
        tree: &'r DeTable<'t>,
        span: Range<usize>,
        title: impl Into<String>,
    ) -> Self {
        let (title, path) = (title.into(), None);
        Self { book, tree, span, title, path, known: RefCell::default(), missing: RefCell::default() }
    }

    /// The same table as somebody's own: from here on messages say whose, and where in it.
    pub(crate) fn of(mut self, whose: &str) -> Self {
        self.path = Some((whose.to_owned(), String::new()));
        self
    }

    /// The same table under another name for the last part of its path: a rule by its id, not by its number.
    pub(crate) fn called(mut self, name: &str) -> Self {
        if let Some((_, within)) = &mut self.path {
            within.push('.');
            within.push_str(name);
        }
        self
    }

    /// Whose it is and where in it, under a key of this table.
    fn path_of(&self, key: &str) -> Option<(String, String)> {
        let (whose, within) = self.path.as_ref()?;
        let within = if within.is_empty() { key.to_owned() } else { format!("{within}.{key}") };
        Some((whose.clone(), within))
    }

    /// Notes a fault at a place of the text, with whose table it is where that is known.
    pub(crate) fn note(&self, at: usize, message: impl Into<String>) {
        let message = message.into();
        match &self.path {
            None => self.book.note(at, message),
            Some((whose, within)) if within.is_empty() => self.book.note(at, format!("{whose}: {message}")),
            Some((whose, within)) => self.book.note(at, format!("{whose}, {within}: {message}")),
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
        self.tree.get(key).map_or(self.span.start, |value| value.span().start)
    }

    /// Lists a figure under its dotted name, where this is somebody's table.
    pub(crate) fn list(&self, key: &str, listed: Listed) {
        if let Some((_, name)) = self.path_of(key) {
            self.book.figures.borrow_mut().push(Found { name, at: self.place(key), listed });
        }
    }

    /// Notes a fault at the value of a key.
    pub(crate) fn fault(&self, key: &str, message: impl Into<String>) {
        self.note(self.place(key), message);
    }

    /// Every key with the place it stands at, in the order of the alphabet. Makes them known.
    pub(crate) fn keys(&self) -> Vec<At<String>> {
        let keys: Vec<_> = self
            .tree
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
        self.tree.get(key)
    }

    /// Notes that a key is missing, unless it is there. `example` is a line to write.
    pub(crate) fn need<T>(&self, key: &str, example: &str, got: Option<T>) -> Option<T> {
        if got.is_none() && self.tree.get(key).is_none() {
            let message = format!("{} has no {key}; write {example}", self.title);
            self.missing.borrow_mut().push((key.to_owned(), message));
        }
        got
    }

    /// A table within this one.
    pub(crate) fn table(&self, key: &str, title: impl Into<String>) -> Option<Table<'r, 't>> {
        let value = self.find(key)?;
        if let DeValue::Table(table) = value.get_ref() {
            let mut table = Table::new(self.book, table, value.span(), title);
            table.path = self.path_of(key);
            return Some(table);
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
        for item in items {
            if let DeValue::Table(table) = item.get_ref() {
                let mut table = Table::new(self.book, table, item.span(), title);
                table.path = self.path_of(key);
                tables.push(table);
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
        for (key, _) in self.tree {
            let name = key.get_ref().as_ref();
            if known.iter().any(|word| word == name) {
                continue;
            }
            let unused = known.iter().map(String::as_str).filter(|word| !self.tree.contains_key(*word));
            let meant = nearest(name, unused);
            missing.retain(|(missed, _)| Some(missed.as_str()) != meant);
            let advice = meant.map_or_else(|| "leave it out".to_owned(), |word| format!("write {word}"));
            self.note(key.span().start, format!("unknown key {name} in {}; {advice}", self.title));
        }
        for (_, message) in missing {
            self.note(self.span.start, message);
        }
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
