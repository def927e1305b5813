//! The peer of the ledger: SQLite with a row for each reading, series first, as one would write it in an afternoon.

use std::path::Path;

use agronomy::quantity::Quantity;
use glasshour::reading::Reading;
use rusqlite::{Connection, params};

use super::garden::{Garden, MINUTE_MS};

/// Rows in a file.
pub(crate) struct Rows {
    conn: Connection,
    garden: Garden,
    now_ms: i64,
}

impl Rows {
    /// Opens it: write-ahead log, synchronous FULL, everything else as SQLite comes (but for `fdatasync`, which this
    /// workspace builds it with; that spares the peer as much as us).
    pub(crate) fn open(file: &Path, garden: Garden, from_ms: i64) -> Self {
        let conn = Connection::open(file).expect("a new database");
        let sql = "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL;
            CREATE TABLE reading (series INTEGER, at INTEGER, value REAL, PRIMARY KEY (series, at)) WITHOUT ROWID;";
        conn.execute_batch(sql).expect("a new table");
        Self { conn, garden, now_ms: from_ms }
    }

    /// Writes the next minute durably: a row for each reading, all in one transaction.
    pub(crate) fn commit(&mut self) {
        let mut readings = Vec::new();
        self.garden.minute(self.now_ms, &mut readings);
        self.now_ms += MINUTE_MS;
        let transaction = self.conn.transaction().expect("nobody else writes");
        {
            let sql = "INSERT INTO reading VALUES (?1, ?2, ?3)";
            let mut insert = transaction.prepare(sql).expect("the table was made above");
            for (index, reading) in readings.iter().enumerate() {
                insert.execute(params![index as i64, reading.at_ms, reading.value]).expect("room for a row");
            }
        }
        transaction.commit().expect("room for a commit");
    }

    /// Bytes of pages in use for each reading.
    pub(crate) fn bytes_per_reading(&self) -> f64 {
        let number =
            |sql| self.conn.query_row(sql, [], |row| row.get::<_, i64>(0)).expect("a pragma answers");
        let pages = number("PRAGMA page_count") - number("PRAGMA freelist_count");
        (pages * number("PRAGMA page_size")) as f64 / number("SELECT count(*) FROM reading") as f64
    }
}

/// The air temperatures of a garden's first series in hundredths, for the floor under every store.
pub(crate) fn ticks_of_first(mut garden: Garden, minutes: i64) -> Vec<i32> {
    let mut readings: Vec<Reading> = Vec::new();
    let mut ticks = Vec::new();
    for _ in 0..minutes {
        readings.clear();
        garden.minute(0, &mut readings);
        let first = readings.iter().find(|reading| reading.quantity == Quantity::AirTemperature);
        ticks.extend(first.map(|reading| libm::round(reading.value * 100.0) as i32));
    }
    ticks
}
