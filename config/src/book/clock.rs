//! A crop's heat clock, and how its seed comes up.

use agronomy::crop::figures::Kind;
use agronomy::crop::{Alternative, Gdd, Germination, GerminationRow, METHODS, Milestone};

use super::figure::{figure, need_figure, sources};
use crate::reader::Table;

/// Reads `[crop.X.gdd]`.
pub(super) fn gdd(table: &Table<'_, '_>) -> Option<Gdd> {
    let method = table.need("method", "method = \"integral\"", method(table, "method"));
    let base = need_figure(table, "t_base_c", Kind::Celsius);
    let upper = figure(table, "t_upper_c", Kind::Celsius);
    // The optimum of a curve that is used with a flat cap instead; kept in the book for the reader.
    let _ = figure(table, "t_opt_cap_c", Kind::Celsius);
    let alt_method = self::method(table, "alt_method");
    let alt_base = figure(table, "alt_t_base_c", Kind::Celsius);
    let alt_upper = figure(table, "alt_t_upper_c", Kind::Celsius);
    let milestones = milestones(table, alt_method.is_some());
    let (base, upper) = (base?.lo, upper.map(|upper| upper.lo));
    // A second method without limits of its own shares those of the first.
    let alt = alt_method.map(|method| match &alt_base {
        Some(own) => Alternative { method, base: own.lo, upper: alt_upper.map(|upper| upper.lo) },
        None => Alternative { method, base, upper },
    });
    Some(Gdd { method: method?, base, upper, alt, milestones })
}

fn method(table: &Table<'_, '_>, key: &str) -> Option<String> {
    let written = table.line(key)?;
    table.choose("degree-day method", table.place(key), &written, METHODS.into_iter())?;
    Some(written)
}

fn milestones(table: &Table<'_, '_>, has_alt: bool) -> Vec<Milestone> {
    let mut milestones = Vec::new();
    for step in table.tables("milestone", "a milestone") {
        let from = step.need("from", "from = \"sow\"", step.line("from"));
        let to = step.need("to", "to = \"harvest\"", step.line("to"));
        let step = match (&from, &to) {
            (Some(from), Some(to)) => step.called(&format!("{from}_to_{to}")),
            _ => step,
        };
        let model = step.need("model", "model = \"main\"", step.line("model"));
        let other = model.as_deref() == Some("ontario_units");
        let sum = need_figure(&step, "dd_c", if other { Kind::HeatUnits } else { Kind::DegreeDays });
        let own_note = step.line("note");
        if let Some(model) = &model {
            let known =
                if has_alt { &["main", "ontario_units", "alt"][..] } else { &["main", "ontario_units"][..] };
            step.choose("model", step.place("model"), model, known.iter().copied());
        }
        if let (Some(from), Some(to), Some(sum), Some(model)) = (from, to, sum, model) {
            let note = own_note.or(sum.note);
            milestones.push(Milestone {
                from,
                to,
                lo: sum.lo,
                hi: sum.hi,
                model,
                note,
                sources: sum.sources,
            });
        }
    }
    milestones
}

/// Reads `[crop.X.germination]`.
pub(super) fn germination(table: &Table<'_, '_>) -> Option<Germination> {
    let min = need_figure(table, "t_min_c", Kind::Celsius);
    let opt = need_figure(table, "t_opt_c", Kind::Celsius);
    let max = need_figure(table, "t_max_c", Kind::Celsius);
    let emerge_base = figure(table, "emerge_t_base_c", Kind::Celsius);
    let emerge_sum = figure(table, "emerge_dd", Kind::DegreeDays);
    let inner = table.table("table", "the germination table");
    let rows = inner.as_ref().map(rows).unwrap_or_default();
    let table_sources = inner.as_ref().and_then(sources).unwrap_or_default();
    let table_note = inner.and_then(|inner| inner.line("note"));
    Some(Germination {
        min: min?,
        opt: opt?,
        max: max?,
        emerge_base,
        emerge_sum,
        table: rows,
        table_sources,
        table_note,
    })
}

fn rows(table: &Table<'_, '_>) -> Vec<GerminationRow> {
    let soil = table.need("soil_c", "soil_c = [10, 15, 20]", table.numbers("soil_c")).unwrap_or_default();
    let days = table.need("days", "days = [43, 14, 8]", table.numbers("days")).unwrap_or_default();
    let normal = table.numbers("normal_pct");
    if !soil.is_sorted_by(|a, b| a.value < b.value) {
        table.fault("soil_c", "soil_c does not rise; write each soil temperature above the one before");
    }
    let lengths = [Some(days.len()), normal.as_ref().map(Vec::len)];
    if lengths.into_iter().flatten().any(|length| length != soil.len()) {
        let count = soil.len();
        table.fault(
            "days",
            format!("the columns differ in length; write {count} values in each, like soil_c"),
        );
    }
    // The book writes -1 for "not tested" and "not stated".
    let told = |value: f64| (value >= 0.0).then_some(value);
    let column = |index: usize| normal.as_ref().and_then(|column| column.get(index)).map(|pct| pct.value);
    soil.iter()
        .zip(&days)
        .enumerate()
        .map(|(index, (soil, days))| GerminationRow {
            soil: soil.value,
            days: told(days.value),
            normal_pct: column(index).and_then(told),
        })
        .collect()
}
