//! The plainest peer: SQLite, a row for each reading, series first.

use rusqlite::{Connection, params};

use super::made::{DAY, DAY_MS, FROM_MS, MINUTE_MS, Made, SERIES};
use super::stopwatch::Stopwatch;
use super::table::{Table, spread};

const WHO: &str = "SQLite rows";

/// Measures and fills in.
pub(crate) fn measure(table: &mut Table, days: i64) {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let conn = Connection::open(folder.path().join("rows")).expect("a new database");
    let sql = "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL;
        CREATE TABLE reading (series INTEGER, at INTEGER, value REAL, PRIMARY KEY (series, at)) WITHOUT ROWID;";
    conn.execute_batch(sql).expect("a new table");
    let watch = Stopwatch::start();
    let mut made = Made::new();
    let mut insert =
        conn.prepare("INSERT INTO reading VALUES (?1, ?2, ?3)").expect("the table was made above");
    for day in 0..days {
        conn.execute_batch("BEGIN").expect("nobody else writes");
        for minute in 0..DAY {
            let at_ms = FROM_MS + day * DAY_MS + minute * MINUTE_MS;
            for (series, hundredths) in made.next().into_iter().enumerate() {
                let row = params![series as i64, at_ms, f64::from(hundredths) / 100.0];
                insert.execute(row).expect("room for a row");
            }
        }
        conn.execute_batch("COMMIT").expect("room for a commit");
    }
    let readings = (days * DAY) as f64 * SERIES as f64;
    let seconds = watch.seconds();
    table.row("loaded from memory", WHO, &format!("{:.2} M/s, {seconds:.1} s", readings / seconds / 1e6), "");
    let number = |sql| conn.query_row(sql, [], |row| row.get::<_, i64>(0)).expect("a pragma answers");
    let bytes = (number("PRAGMA page_count") - number("PRAGMA freelist_count")) * number("PRAGMA page_size");
    table.row("bytes per reading", WHO, &format!("{:.2} B", bytes as f64 / readings), "");
    let until_ms = FROM_MS + days * DAY_MS;
    let sql = "SELECT series, at, value FROM reading WHERE series = ?1 AND at >= ?2 AND at < ?3";
    let mut last_day = conn.prepare(sql).expect("a sound query");
    let day = times(|| {
        let mut all: Vec<(i64, i64, f64)> = Vec::new();
        for series in 0..SERIES as i64 {
            let rows = last_day.query_map((series, until_ms - DAY_MS, until_ms), |row| {
                Ok((row.get(0)?, row.get(1)?, row.get(2)?))
            });
            all.extend(rows.expect("an answer").map(|row| row.expect("a row")));
        }
        all.len()
    });
    table.row("last 24 h of twenty series", WHO, &format!("{} ms", spread(&day, 2)), "");
    let sql =
        "SELECT at / 3600000, min(value), avg(value), max(value) FROM reading WHERE series = 7 GROUP BY 1";
    let mut hourly = conn.prepare(sql).expect("a sound query");
    let hours = times(|| {
        let rows = hourly.query_map([], |row| row.get::<_, f64>(2)).expect("an answer");
        rows.map(|row| row.expect("a row")).filter(|mean| mean.is_finite()).count()
    });
    table.row(&format!("{days} days of one series, hourly"), WHO, &format!("{} ms", spread(&hours, 2)), "");
}

fn times(mut ask: impl FnMut() -> usize) -> Vec<f64> {
    let mut time = || {
        let watch = Stopwatch::start();
        assert!(ask() > 0, "an answer");
        watch.ms()
    };
    time();
    (0..9).map(|_| time()).collect()
}
