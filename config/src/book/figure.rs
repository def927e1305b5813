//! One figure of the book: a number or a span, its sources, its note.

use std::collections::BTreeMap;
use std::ops::RangeInclusive;

use agronomy::crop::Figure;
use agronomy::crop::figures::{Kind, Listed};

use super::sources::{is_cited_from_memory, sources_of_book, words_for_sources};
use crate::reader::Table;
use crate::words::nearest;

/// A figure that must be there.
pub(super) fn need_figure(table: &Table<'_, '_>, key: &str, kind: Kind) -> Option<Figure> {
    table.need(key, &format!("{key} = {{ v = 1.0, s = [\"practice\"] }}"), figure(table, key, kind))
}

/// A figure: `{ v, s }` or `{ lo, hi, s }`, with a note or without. It is listed under its dotted name.
pub(super) fn figure(table: &Table<'_, '_>, key: &str, kind: Kind) -> Option<Figure> {
    let inner = table.table(key, key)?;
    let read = |name| number(&inner, name, kind);
    let (value, lo, hi) = (read("v"), read("lo"), read("hi"));
    let sources = sources(&inner);
    let note = inner.line("note");
    let (lo, hi) = match (inner.has("v"), inner.has("lo"), inner.has("hi")) {
        (true, false, false) => (value?, value?),
        (false, true, true) => (lo?, hi?),
        _ => {
            table.fault(key, format!("{key} is neither one number nor a span; write v, or lo and hi"));
            return None;
        }
    };
    if lo > hi {
        table.fault(key, format!("lo {lo} of {key} is above hi {hi}; write the smaller first"));
        return None;
    }
    let figure = Figure { lo, hi, sources: sources?, note };
    table.list(key, Listed { kind, figure: figure.clone() });
    Some(figure)
}

fn number(table: &Table<'_, '_>, key: &str, kind: Kind) -> Option<f64> {
    let (low, high) = kind.range();
    let number = table.number(key, kind.unit(), low..=high)?;
    if !kind.holds(number) {
        table.fault(key, format!("{key} {number} is no whole number; write {}", kind.bounds()));
        return None;
    }
    Some(number)
}

/// Every key of the table that has not been asked for yet, as figures under their names.
///
/// The book's figures carry their unit last in the name, and where a table mixes units the name goes before `kind`.
pub(super) fn figures(table: &Table<'_, '_>, kind: Kind) -> BTreeMap<String, Figure> {
    let mut figures = BTreeMap::new();
    for key in table.unread() {
        let kind = match key.value.as_str() {
            name if name.ends_with("_c") => Kind::Celsius,
            name if name.split('_').any(|word| word == "weeks") => Kind::Weeks,
            name if name.ends_with("_h") => Kind::Hours,
            _ => kind,
        };
        if let Some(figure) = figure(table, &key.value, kind) {
            figures.insert(key.value, figure);
        }
    }
    figures
}

/// The keys of the sources behind a figure; there must be at least one, and the source list must know each. Where the
/// list marks one as cited from memory, `memory` must stand beside it, so that the figure does not pass for published.
pub(super) fn sources(table: &Table<'_, '_>) -> Option<Vec<String>> {
    let list = table.need("s", "s = [\"practice\"]", table.texts("s"))?;
    if list.is_empty() || list.iter().any(|source| source.value.trim().is_empty()) {
        table.fault("s", format!("{} has an empty source; write s = [\"practice\"]", table.title()));
        return None;
    }
    let known = || words_for_sources().chain(sources_of_book().keys().copied());
    for source in list.iter().filter(|source| known().all(|key| key != source.value)) {
        let instead = nearest(&source.value, known()).unwrap_or("practice, or a key of crop-sources.md");
        table.note(source.at, format!("unknown source {}; write {instead}", source.value));
    }
    if list.iter().all(|source| source.value != "memory") {
        for source in list.iter().filter(|source| is_cited_from_memory(&source.value)) {
            let key = &source.value;
            table.note(source.at, format!("{key} is cited from memory; write \"memory\" beside it"));
        }
    }
    Some(list.into_iter().map(|source| source.value).collect())
}

/// Lowest and highest, `[0.18, 0.28]`.
pub(super) fn span(table: &Table<'_, '_>, key: &str, bounds: RangeInclusive<f64>) -> Option<[f64; 2]> {
    let list = table.numbers(key)?;
    match list.as_slice() {
        [low, high]
            if low.value <= high.value && [low, high].iter().all(|end| bounds.contains(&end.value)) =>
        {
            Some([low.value, high.value])
        }
        _ => {
            let (low, high) = (bounds.start(), bounds.end());
            table.fault(key, format!("{key} is no span; write [lowest, highest] within {low} to {high}"));
            None
        }
    }
}
