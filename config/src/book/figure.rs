//! One figure of the book: a number or a span, its sources, its note.

use std::collections::BTreeMap;
use std::ops::RangeInclusive;

use agronomy::crop::Figure;

use crate::reader::Table;

/// What a figure is measured in and where it can lie.
pub(super) struct Kind {
    unit: &'static str,
    low: f64,
    high: f64,
}

/// Temperatures at which plants, people and compost are looked at.
pub(super) const CELSIUS: Kind = Kind { unit: "°C", low: -60.0, high: 90.0 };
/// Vapour-pressure deficits.
pub(super) const KPA: Kind = Kind { unit: "kPa", low: 0.0, high: 10.0 };
/// Shares of a hundred.
pub(super) const PERCENT: Kind = Kind { unit: "%", low: 0.0, high: 100.0 };
/// Days, hours, degree days, turns, litres, light sums.
pub(super) const COUNT: Kind = Kind { unit: "", low: 0.0, high: 10_000.0 };
/// Coefficients and shares, and metres of a plant.
pub(super) const SMALL: Kind = Kind { unit: "", low: 0.0, high: 10.0 };

/// A figure that must be there.
pub(super) fn need_figure(table: &Table<'_, '_>, key: &str, kind: &Kind) -> Option<Figure> {
    table.need(key, &format!("{key} = {{ v = 1.0, s = [\"practice\"] }}"), figure(table, key, kind))
}

/// A figure: `{ v, s }` or `{ lo, hi, s }`, with a note or without.
pub(super) fn figure(table: &Table<'_, '_>, key: &str, kind: &Kind) -> Option<Figure> {
    let inner = table.table(key, format!("{key} of {}", table.title()))?;
    let read = |name| inner.number(name, kind.unit, kind.low..=kind.high);
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
    Some(Figure { lo, hi, sources: sources?, note })
}

/// Every key of the table that has not been asked for yet, as figures under their names.
///
/// The book's figures carry their unit last in the name; where a table mixes units, a name that ends in
/// `_c` is a temperature whatever the kind says.
pub(super) fn figures(table: &Table<'_, '_>, kind: &Kind) -> BTreeMap<String, Figure> {
    let mut figures = BTreeMap::new();
    for key in table.unread() {
        let kind = if key.value.ends_with("_c") { &CELSIUS } else { kind };
        if let Some(figure) = figure(table, &key.value, kind) {
            figures.insert(key.value, figure);
        }
    }
    figures
}

/// The keys of the sources behind a figure; there must be at least one.
pub(super) fn sources(table: &Table<'_, '_>) -> Option<Vec<String>> {
    let list = table.need("s", "s = [\"practice\"]", table.texts("s"))?;
    if list.is_empty() || list.iter().any(|source| source.value.trim().is_empty()) {
        table.fault("s", format!("{} has an empty source; write s = [\"practice\"]", table.title()));
        return None;
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
