//! Series by number: each probe and quantity has one for each number of decimals it was ever kept with.

use std::collections::BTreeMap;

use agronomy::quantity::Quantity;
use rusqlite::Connection;

use super::bytes::checksum;
use super::{LedgerError, schema};
use crate::reading::ProbeName;

/// A series as the writer knows it: its number and its ticks per unit.
#[derive(Clone, Copy, Debug)]
pub(super) struct Series {
    pub(super) id: i64,
    pub(super) decimals: u8,
}

/// The series of a ledger, by probe and quantity, each at the decimals in force.
pub(super) type SeriesBook = BTreeMap<(ProbeName, Quantity), Series>;

/// The series that readings of today go to.
pub(super) fn series_book(conn: &Connection) -> Result<SeriesBook, LedgerError> {
    let mut statement = conn.prepare("SELECT id, probe, quantity, decimals FROM series ORDER BY id")?;
    let mut rows = statement.query([])?;
    let mut book = SeriesBook::new();
    while let Some(row) = rows.next()? {
        let (id, probe, quantity, decimals): (i64, String, String, u8) =
            (row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?);
        let Ok(quantity) = quantity.parse::<Quantity>() else { continue };
        if quantity.decimals() == decimals {
            book.insert((probe.into(), quantity), Series { id, decimals });
        }
    }
    Ok(book)
}

/// Where the checksum of a series' names is kept.
pub(super) fn series_key(id: i64) -> String {
    format!("series {id}")
}

/// The checksum of a series' names: a name that changes by itself would take all its readings along.
pub(super) fn series_checksum(probe: &str, quantity: &str, id: i64, decimals: u8) -> i64 {
    i64::from(checksum(format!("{probe} {quantity}").as_bytes(), &[id, i64::from(decimals)]))
}

/// The series of a probe and quantity, new if need be.
pub(super) fn series_for(
    conn: &Connection,
    book: &mut SeriesBook,
    key: (ProbeName, Quantity),
) -> Result<Series, LedgerError> {
    Ok(match book.get(&key) {
        Some(series) => *series,
        None => {
            let series = new_series(conn, &key.0, key.1)?;
            *book.entry(key).or_insert(series)
        }
    })
}

fn new_series(conn: &Connection, probe: &str, quantity: Quantity) -> Result<Series, LedgerError> {
    let decimals = quantity.decimals();
    let sql = "INSERT INTO series (probe, quantity, decimals) VALUES (?1, ?2, ?3)";
    conn.execute(sql, (probe, quantity.as_str(), decimals))?;
    let id = conn.last_insert_rowid();
    let sum = series_checksum(probe, quantity.as_str(), id, decimals);
    schema::set(conn, &series_key(id), &sum)?;
    Ok(Series { id, decimals })
}
