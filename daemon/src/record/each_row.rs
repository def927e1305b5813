//! Files in which each row names its own probe, quantity and unit: what `glasshour export --csv` writes, and long
//! tables of others.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use agronomy::quantity::Quantity;
use config::record::{Column, EachRow};

use super::columns::{between, listed};
use super::stamp::Clockwork;
use super::{FileTold, RecordError, Recorded, Taker, column_text, input, open, sheet};
use crate::reading::ProbeName;
use crate::rows::{Rows, shown};

/// Where the columns stand in one file.
struct Places {
    stamp: Vec<usize>,
    probe: usize,
    quantity: usize,
    unit: usize,
    value: usize,
}

/// Reads a file: readings to the taker, the rest into what was recorded.
pub(super) fn read(
    map: &EachRow,
    file: &Path,
    taker: &mut dyn Taker,
    recorded: &mut Recorded,
) -> Result<(), RecordError> {
    let mut rows = Rows::new(open(file)?, between(file, map.delimiter)?);
    let mut told = FileTold { file: file.to_owned(), ..FileTold::default() };
    let step = |rows: &mut Rows<_>| rows.step().map_err(|source| input(file, source));
    let headings = if step(&mut rows)? { rows.texts() } else { Vec::new() };
    let places = places(map, file, &headings)?;
    let mut clockwork = Clockwork::new(&map.stamps);
    let mut places_of: BTreeMap<(ProbeName, Quantity), usize> = BTreeMap::new();
    let mut stamp = Vec::new();
    while step(&mut rows)? {
        told.rows += 1;
        match one(map, &places, &rows, &mut clockwork, &mut stamp) {
            Ok((probe, quantity, at_ms, value)) => {
                let key = (probe, quantity);
                let at = match places_of.get(&key) {
                    Some(at) => *at,
                    None => {
                        let at = taker.series(&key.0, key.1);
                        *places_of.entry(key).or_insert(at)
                    }
                };
                if taker.take(at, at_ms, value).is_break() {
                    break;
                }
            }
            Err(column) => {
                let text = rows.cell(column).map(shown).unwrap_or_default();
                let column = headings.get(column).cloned().unwrap_or_default();
                sheet::unread(&mut told, || super::Unread { line: rows.line(), column, text });
            }
        }
    }
    for (name, _) in places_of.into_keys() {
        let longest = recorded.usual_interval_ms.entry(name).or_default();
        *longest = ((map.usual_interval_s * 1000.0) as i64).max(*longest);
    }
    recorded.files.push(told);
    Ok(())
}

fn places(map: &EachRow, file: &Path, headings: &[String]) -> Result<Places, RecordError> {
    let find = |column: &Column| {
        column.find(headings.iter().map(String::as_str)).ok_or_else(|| RecordError::NoHeading {
            file: file.to_owned(),
            column: column_text(column),
            headings: listed(headings),
        })
    };
    Ok(Places {
        stamp: map.stamps.columns.iter().map(find).collect::<Result<_, _>>()?,
        probe: find(&map.probe)?,
        quantity: find(&map.quantity)?,
        unit: find(&map.unit)?,
        value: find(&map.value)?,
    })
}

/// What a row says, or the column that cannot be read.
fn one<R: std::io::Read>(
    map: &EachRow,
    places: &Places,
    rows: &Rows<R>,
    clockwork: &mut Clockwork<'_>,
    stamp: &mut Vec<u8>,
) -> Result<(ProbeName, Quantity, i64, Option<f64>), usize> {
    let text = |column: usize| {
        let cell = rows.cell(column).and_then(|cell| std::str::from_utf8(cell).ok());
        cell.map(plain).filter(|text| !text.is_empty()).ok_or(column)
    };
    stamp.clear();
    for (index, column) in places.stamp.iter().enumerate() {
        if index > 0 {
            stamp.push(b' ');
        }
        stamp.extend_from_slice(rows.cell(*column).ok_or(*column)?);
    }
    let first = places.stamp.first().copied().unwrap_or_default();
    let moment = clockwork.moment(stamp).ok_or(first)?;
    let probe: ProbeName = Arc::from(text(places.probe)?);
    let quantity: Quantity = text(places.quantity)?.parse().map_err(|_| places.quantity)?;
    let cell = rows.cell(places.value).ok_or(places.value)?;
    let value = if map.missing.iter().any(|code| code.as_bytes() == cell) {
        None
    } else {
        let number: f64 =
            std::str::from_utf8(cell).ok().and_then(|it| it.parse().ok()).ok_or(places.value)?;
        Some(quantity.from_unit(number, text(places.unit)?).map_err(|_| places.unit)?)
    };
    Ok((probe, quantity, clockwork.instant_ms(moment) + map.stamps.shift_s * 1000, value))
}

/// Text without the apostrophe that keeps a spreadsheet from taking it for a formula.
fn plain(text: &str) -> &str {
    let bare = text.strip_prefix('\'');
    bare.filter(|rest| rest.starts_with(['=', '+', '-', '@', '\t', '\r'])).unwrap_or(text)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::{Heard, Reading, Reason};
    use crate::readings_out::{Form, Sheet};

    const MAP: &str = include_str!("../../../config/examples/records/export.toml");

    fn read_back(text: &str) -> Recorded {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("readings.csv");
        std::fs::write(&file, text).unwrap();
        let map = config::read_record(MAP, &config::zone::Zones::system()).unwrap();
        super::super::read(&map, &[file]).unwrap()
    }

    #[test]
    fn what_was_exported_is_read_back_to_the_last_digit_and_millisecond() {
        let at = |minute: i64| 1_780_272_000_250 + minute * 60_000;
        let reading = |probe: &str, quantity, minute, value, reason| Reading {
            probe: probe.into(),
            quantity,
            value,
            at_ms: at(minute),
            reason,
        };
        let all = [
            reading("-bench.2", Quantity::AirTemperature, 0, -0.07, Reason::None),
            reading("-bench.2", Quantity::AirTemperature, 1, 0.0, Reason::Missing),
            reading("post", Quantity::Pressure, 0, 101.325, Reason::None),
            reading("post", Quantity::Rain, 2, 0.2, Reason::FromTheFuture),
        ];
        let mut sheet = Sheet::new(Form::Csv, "a");
        let text = sheet.head().to_owned() + &sheet.piece(&all) + sheet.tail();
        let recorded = read_back(&text);
        let mut expected: Vec<Heard> = all
            .iter()
            .map(|it| Heard {
                probe: it.probe.clone(),
                quantity: it.quantity,
                value: (it.reason != Reason::Missing).then_some(it.value),
                measured_ms: Some(it.at_ms),
                stale: false,
            })
            .collect();
        expected.sort_by_key(|heard| heard.measured_ms);
        assert_eq!((recorded.readings, recorded.files[0].unread), (expected, 0));
    }

    #[test]
    fn a_row_that_cannot_be_read_is_counted_with_its_line_and_column() {
        let recorded = read_back(
            "time,probe,quantity,unit,value,grade,reason\r\n\
             2026-06-01T00:00:00Z,post,air_temperature,K,300,sound,\r\n\
             yesterday,post,air_temperature,K,300,sound,\r\n\
             2026-06-01T00:00:00Z,post,heat,K,300,sound,\r\n\
             2026-06-01T00:00:00Z,post,air_temperature,stone,300,sound,\r\n\
             2026-06-01T00:00:00Z,post,air_temperature,K,warm,sound,\r\n",
        );
        assert_eq!((recorded.readings.len(), recorded.files[0].rows, recorded.files[0].unread), (1, 5, 4));
        assert!((recorded.readings[0].value.unwrap() - 26.85).abs() < 1e-9);
        let first: Vec<_> = recorded.files[0].first.iter().map(|it| (it.line, it.column.as_str())).collect();
        assert_eq!(first, [(3, "time"), (4, "quantity"), (5, "unit")]);
    }
}
