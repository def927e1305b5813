//! What the mirror asks: chunks by the batches merged into them, pages and steps in the order they were made.
//!
//! A number that is missing from the batches is in the chunks: compaction takes batches away, never their numbers. So
//! whoever follows the ledger by batch numbers and finds a gap reads the chunks whose `last_seq` lies beyond the last
//! number it had. Chunks that are written past the batches (mended from a backup) leave a mark instead, one cursor row a
//! chunk: its number counts how often, and whoever has read the chunk takes away the mark it saw, not a newer one.

use std::ops::Range;

use agronomy::quantity::Quantity;
use rusqlite::{Connection, OptionalExtension, Row};

use super::bytes::{seal_text, unseal_text};
use super::records::text;
use super::week::{of_chunk, value};
use super::{LedgerError, Reader, View, schema};
use crate::entry::Entry;
use crate::reading::{ProbeName, Reading};

/// What the name of a mark begins with; the chunk's number follows.
pub const MARK: &str = "mirror-again-";

/// A day page with its number: later ones have higher numbers, also where they replace an earlier one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NumberedPage {
    /// Its number.
    pub number: i64,
    /// A place.
    pub subject: String,
    /// Days since 1970 in the site's standard offset.
    pub day: i64,
    /// The edition it belongs to.
    pub edition: String,
    /// JSON.
    pub body: String,
}

/// Marks a chunk that was written past the batches, so that the mirror reads it (again). Inside the transaction that
/// writes the chunk.
pub(super) fn mark(conn: &Connection, chunk: i64) -> Result<(), LedgerError> {
    let sql = "INSERT INTO cursor (name, seq) VALUES (?1, 1) ON CONFLICT DO UPDATE SET seq = seq + 1";
    conn.execute(sql, [format!("{MARK}{chunk}")])?;
    Ok(())
}

/// Moves a cursor inside a commit; a negative number takes the cursor away where it still stands at that number.
pub(super) fn move_cursor(conn: &Connection, name: &str, seq: i64) -> Result<(), LedgerError> {
    if seq < 0 {
        conn.execute("DELETE FROM cursor WHERE name = ?1 AND seq = ?2", (name, -seq))?;
    } else {
        conn.execute("INSERT OR REPLACE INTO cursor (name, seq) VALUES (?1, ?2)", (name, seq))?;
    }
    Ok(())
}

/// Puts a page in; it gets the next page number for good, so that whoever follows the numbers meets it.
pub(super) fn put_page(conn: &Connection, page: &super::PageRow<'_>) -> Result<(), LedgerError> {
    let newest: Option<i64> = conn.query_row("SELECT max(rowid) FROM day_page", [], |row| row.get(0))?;
    // Pages may be deleted, their numbers are not given again.
    let number = newest.max(schema::get(conn, "page_number")?).unwrap_or(0) + 1;
    schema::set(conn, "page_number", &number)?;
    let sql =
        "INSERT OR REPLACE INTO day_page (rowid, subject, day, edition, body) VALUES (?1, ?2, ?3, ?4, ?5)";
    conn.execute(sql, (number, page.subject, page.day, page.edition, seal_text(page.body, &[page.day])))?;
    Ok(())
}

impl View<'_> {
    /// The highest batch number there is: in batches, or merged into chunks.
    fn newest_seq(&self) -> Result<i64, LedgerError> {
        let batch: Option<i64> = self.conn.query_row("SELECT max(seq) FROM batch", [], |row| row.get(0))?;
        Ok(batch.unwrap_or(0).max(self.newest_archived()?))
    }

    /// The highest batch number merged into chunks, or put away.
    fn newest_archived(&self) -> Result<i64, LedgerError> {
        Ok(schema::get(self.conn, "compacted_seq")?.unwrap_or(0))
    }

    /// The first chunk after `chunk` that holds readings of batches beyond `seq`.
    fn archived_after(&self, chunk: i64, seq: i64) -> Result<Option<i64>, LedgerError> {
        let sql = "SELECT id FROM chunk WHERE id > ?1 AND last_seq > ?2 ORDER BY id LIMIT 1";
        Ok(self.conn.query_row(sql, (chunk.max(0), seq), |row| row.get(0)).optional()?)
    }

    /// The readings of a chunk in measured order; none of one that is gone or damaged.
    fn archived(&self, chunk: i64) -> Result<Vec<Reading>, LedgerError> {
        let sql = "SELECT probe, quantity, decimals FROM series WHERE id = ?1";
        let series = |row: &Row<'_>| Ok((row.get(0)?, row.get(1)?, row.get(2)?));
        let found: Option<(String, String, u8)> =
            self.conn.query_row(sql, [of_chunk(chunk).0], series).optional()?;
        let Some((probe, quantity, decimals)) = found else { return Ok(Vec::new()) };
        let Ok(quantity) = quantity.parse::<Quantity>() else { return Ok(Vec::new()) };
        let probe: ProbeName = probe.into();
        let mut readings = Vec::new();
        self.chunks(chunk..=chunk, &(0..i64::MAX), |_, kept| {
            readings.extend(kept.iter().map(|kept| Reading {
                probe: probe.clone(),
                quantity,
                value: value(kept.ticks, decimals),
                at_ms: kept.at_ms,
                reason: kept.reason,
            }));
        })?;
        Ok(readings)
    }

    /// The first mark: chunk, and how often it was written past the batches.
    fn marked(&self) -> Result<Option<(i64, i64)>, LedgerError> {
        let sql = "SELECT name, seq FROM cursor WHERE name > ?1 AND name < ?2 ORDER BY name LIMIT 1";
        // ':' follows the digits.
        let ends = (MARK, format!("{MARK}:"));
        let found: Option<(String, i64)> =
            self.conn.query_row(sql, ends, |row| Ok((row.get(0)?, row.get(1)?))).optional()?;
        Ok(found.and_then(|(name, times)| Some((name.strip_prefix(MARK)?.parse().ok()?, times))))
    }

    /// How many boots know the time.
    fn dated_boots(&self) -> Result<i64, LedgerError> {
        let sql = "SELECT count(*) FROM boot WHERE offset_ms IS NOT NULL";
        Ok(self.conn.query_row(sql, [], |row| row.get(0))?)
    }

    /// Up to `limit` pages of any edition with numbers above `number`, in order.
    fn pages_after(&self, number: i64, limit: usize) -> Result<Vec<NumberedPage>, LedgerError> {
        self.numbered("rowid > ?1 ORDER BY rowid LIMIT ?2", (number, limit as i64))
    }

    /// The pages of a day, of every edition, in the order they were made.
    fn pages_of_day(&self, day: i64) -> Result<Vec<NumberedPage>, LedgerError> {
        // The key begins with the subject: subject by subject, not through the pages of every day.
        let which = "rowid IN (
            WITH RECURSIVE known(subject) AS (
                SELECT min(subject) FROM day_page
                UNION ALL
                SELECT (SELECT min(subject) FROM day_page WHERE subject > known.subject) FROM known
                WHERE known.subject IS NOT NULL)
            SELECT page.rowid FROM known JOIN day_page AS page ON page.subject = known.subject AND page.day = ?1)
            ORDER BY rowid";
        self.numbered(which, [day])
    }

    fn numbered(&self, which: &str, of: impl rusqlite::Params) -> Result<Vec<NumberedPage>, LedgerError> {
        let sql = format!("SELECT rowid, subject, day, edition, body FROM day_page WHERE {which}");
        let mut statement = self.conn.prepare(&sql)?;
        let mut rows = statement.query(of)?;
        let mut pages = Vec::new();
        while let Some(row) = rows.next()? {
            let (number, subject, day) = (row.get(0)?, row.get(1)?, row.get(2)?);
            match unseal_text(text(row, 4)?, &[day]) {
                Ok(body) => {
                    pages.push(NumberedPage {
                        number,
                        subject,
                        day,
                        edition: row.get(3)?,
                        body: body.to_owned(),
                    });
                }
                Err(spoilt) => self.shared.fence("day_page", day, &format!("{subject}: {spoilt}")),
            }
        }
        Ok(pages)
    }

    /// Up to `limit` steps of notices with numbers above `entry`, in the order they were told.
    fn steps_after(&self, entry: i64, limit: usize) -> Result<Vec<Entry>, LedgerError> {
        let which = "id IN (SELECT id FROM entry WHERE id > ?1 AND kind = 'step' ORDER BY id LIMIT ?2)";
        self.entries_where(which, (entry, limit as i64))
    }

    /// The steps of notices told in a stretch of time (UTC ms).
    fn steps_of(&self, range: Range<i64>) -> Result<Vec<Entry>, LedgerError> {
        self.entries_where("at_ms >= ?1 AND at_ms < ?2 AND kind = 'step'", (range.start, range.end))
    }
}

/// The questions above, asked through a reader.
macro_rules! mirror_questions {
    ($($(#[$doc:meta])* $name:ident($($arg:ident: $type:ty),*) -> $answer:ty;)*) => {
        impl Reader {
            $(
                $(#[$doc])*
                ///
                /// # Errors
                ///
                /// When the storage refuses or the ledger is closed.
                pub fn $name(&self, $($arg: $type),*) -> Result<$answer, LedgerError> {
                    self.look(|view| view.$name($($arg),*))
                }
            )*
        }
    };
}

mirror_questions! {
    /// The highest batch number there is: in batches, or merged into chunks.
    newest_seq() -> i64;
    /// The highest batch number that was merged into chunks, or put away undated.
    newest_archived() -> i64;
    /// The first chunk after `chunk` that holds readings of batches beyond `seq`.
    archived_after(chunk: i64, seq: i64) -> Option<i64>;
    /// The readings of a chunk in measured order; none of one that is gone or damaged.
    archived(chunk: i64) -> Vec<Reading>;
    /// The first chunk that was written past the batches, and how often that happened.
    marked() -> Option<(i64, i64)>;
    /// How many boots know the time.
    dated_boots() -> i64;
    /// Up to `limit` pages of any edition with numbers above `number`, in order.
    pages_after(number: i64, limit: usize) -> Vec<NumberedPage>;
    /// The pages of a day (since 1970 in the standard offset), of every edition, in the order they were made.
    pages_of_day(day: i64) -> Vec<NumberedPage>;
    /// Up to `limit` steps of notices with numbers above `entry`, in the order they were told.
    steps_after(entry: i64, limit: usize) -> Vec<Entry>;
    /// The steps of notices told in a stretch of time (UTC ms).
    steps_of(range: Range<i64>) -> Vec<Entry>;
}

impl Reader {
    /// The site's standard offset as frozen in the ledger, ms east of UTC.
    ///
    /// # Errors
    ///
    /// When the ledger is closed.
    pub fn offset_ms(&self) -> Result<i64, LedgerError> {
        self.look(|view| Ok(view.shared.offset_ms))
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Commit, Founding, Ledger, PageRow};
    use super::*;

    fn ledger() -> (Ledger, i64) {
        let founding = Founding { offset_ms: 0, program: "test".to_owned() };
        let mut ledger = Ledger::in_memory(&founding).unwrap();
        let boot = ledger.begin_boot(0, Some((0, "test"))).unwrap();
        (ledger, boot)
    }

    fn page(ledger: &mut Ledger, boot: i64, day: i64, body: &str) {
        let pages = [PageRow { subject: "house", day, edition: "e", body }];
        ledger.commit(&Commit { pages: &pages, ..Commit::empty(boot, 1, 1) }).unwrap();
    }

    #[test]
    fn a_page_made_again_gets_a_new_number_even_after_the_newest_was_deleted() {
        let (mut ledger, boot) = ledger();
        page(&mut ledger, boot, 1, "a");
        page(&mut ledger, boot, 2, "b");
        page(&mut ledger, boot, 1, "c");
        let reader = ledger.reader().unwrap();
        let seen = |after| {
            let pages = reader.pages_after(after, 9).unwrap();
            pages.into_iter().map(|page| (page.number, page.body)).collect::<Vec<_>>()
        };
        assert_eq!(seen(0), [(2, "b".to_owned()), (3, "c".to_owned())]);
        assert_eq!(ledger.pages("e").unwrap().len(), 2, "one page for each day");
        ledger.write(|conn, _, _| Ok(conn.execute("DELETE FROM day_page", [])?)).unwrap();
        page(&mut ledger, boot, 2, "d");
        assert_eq!(seen(3), [(4, "d".to_owned())]);
    }

    #[test]
    fn the_pages_of_a_day_are_found_without_reading_those_of_other_days() {
        let (mut ledger, boot) = ledger();
        for (subject, day, edition) in
            [("house", 1, "e"), ("bed", 1, "e"), ("bed", 2, "e"), ("house", 1, "f")]
        {
            let pages = [PageRow { subject, day, edition, body: edition }];
            ledger.commit(&Commit { pages: &pages, ..Commit::empty(boot, 1, 1) }).unwrap();
        }
        let reader = ledger.reader().unwrap();
        let of = |day| -> Vec<(i64, String, String)> {
            let pages = reader.pages_of_day(day).unwrap().into_iter();
            pages.map(|page| (page.number, page.subject, page.body)).collect()
        };
        let page = |number, subject: &str, body: &str| (number, subject.to_owned(), body.to_owned());
        assert_eq!(of(1), [page(1, "house", "e"), page(2, "bed", "e"), page(4, "house", "f")]);
        assert_eq!((of(2), of(3)), (vec![page(3, "bed", "e")], vec![]));
    }

    #[test]
    fn a_mark_is_taken_away_only_by_whoever_saw_the_newest_writing() {
        let (mut ledger, boot) = ledger();
        let reader = ledger.reader().unwrap();
        for _ in 0..2 {
            ledger.write(|conn, _, _| mark(conn, 70_000)).unwrap();
        }
        assert_eq!(reader.marked().unwrap(), Some((70_000, 2)));
        let name = format!("{MARK}70000");
        for (seen, left) in [(1, Some((70_000, 2))), (2, None)] {
            ledger.commit(&Commit { cursors: &[(&name, -seen)], ..Commit::empty(boot, 1, 1) }).unwrap();
            assert_eq!(reader.marked().unwrap(), left);
        }
    }
}
