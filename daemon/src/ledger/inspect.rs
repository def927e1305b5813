//! What `ledger check` says: every checksum, the file's own structure, every chunk decoded, every roll-up made again
//! and compared.

use super::hours;
use super::view::blob;
use super::{Ledger, LedgerError, View, batch, chunk, compaction, fence, health, schema};
use crate::entry::Fenced;
use crate::reading::Reason;

/// What was found.
#[derive(Clone, Debug, Default, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Inspection {
    /// Number of the schema.
    pub schema: i64,
    /// Readings in chunks and batches, those without a date included, repeated ones left out.
    pub readings: u64,
    /// When the first of them was measured, UTC ms.
    pub first_ms: Option<i64>,
    /// When the last was.
    pub last_ms: Option<i64>,
    /// Chunks.
    pub chunks: u64,
    /// Damaged rows, with what is known of each.
    pub fenced: Vec<Fenced>,
    /// Bytes of file and log.
    pub bytes: u64,
    /// Bytes for each reading in chunks, roll-ups included; none while there are no chunks.
    pub bytes_per_archived_reading: Option<f64>,
    /// Readings a day at the present rate; none while too little has come to tell.
    pub readings_per_day: Option<f64>,
    /// Chunks whose roll-ups are damaged or not what their readings give.
    pub stale_hours: Vec<i64>,
}

/// What the readings of the ledger come to.
#[derive(Default)]
struct Tally {
    readings: u64,
    first_ms: Option<i64>,
    last_ms: Option<i64>,
}

impl Tally {
    fn take(&mut self, at_ms: i64) {
        self.readings += 1;
        self.first_ms = Some(self.first_ms.map_or(at_ms, |first| first.min(at_ms)));
        self.last_ms = self.last_ms.max(Some(at_ms));
    }
}

impl View<'_> {
    /// Looks at everything in the ledger; changes nothing.
    ///
    /// # Errors
    ///
    /// [`LedgerError::Damaged`] where the file's own structure is, or when the storage refuses.
    pub fn inspect(&self) -> Result<Inspection, LedgerError> {
        health::whole(self.conn)?;
        self.at_once(|| {
            health::checksums(*self)?;
            let sizes = health::sizes(*self)?;
            let mut tally = Tally::default();
            let stale_hours = self.compare(&mut tally)?;
            self.each_batch(0, usize::MAX, |_, content| {
                for item in content.items.iter().filter(|item| item.reason != Reason::Repeated) {
                    if content.dated { tally.take(item.at_ms) } else { tally.readings += 1 }
                }
            })?;
            let all = self.shared.fences();
            let lost = all.iter().filter(|fence| !fence.is_of_hours_only());
            Ok(Inspection {
                schema: schema::number(self.conn, "user_version")?,
                readings: tally.readings + self.put_away()?,
                first_ms: tally.first_ms,
                last_ms: tally.last_ms,
                chunks: sizes.chunks,
                fenced: lost.map(|it| fence::describe(*self, it)).collect::<Result<_, _>>()?,
                bytes: sizes.file_bytes + sizes.log_bytes,
                bytes_per_archived_reading: (sizes.chunk_readings > 0)
                    .then(|| sizes.bytes_per_archived_reading()),
                readings_per_day: self.readings_per_day()?,
                stale_hours,
            })
        })
    }

    /// Decodes every chunk and makes its roll-ups again; the chunks whose own are others.
    fn compare(&self, tally: &mut Tally) -> Result<Vec<i64>, LedgerError> {
        let sql = "SELECT id, last_seq, hours, body FROM chunk WHERE id > 0 ORDER BY id";
        let mut statement = self.conn.prepare(sql)?;
        let mut rows = statement.query([])?;
        let mut stale = Vec::new();
        while let Some(row) = rows.next()? {
            let numbers = [row.get(0)?, row.get(1)?];
            let Ok(kept) = chunk::decode(&numbers, blob(row, 3)?) else { continue };
            for reading in &kept {
                tally.take(reading.at_ms);
            }
            let made = compaction::hours_of(*self, numbers[0], &kept)?;
            if hours::decode(&numbers, blob(row, 2)?).ok() != Some(made) {
                stale.push(numbers[0]);
            }
        }
        Ok(stale)
    }

    /// Readings put away because their boot never learnt the time.
    fn put_away(&self) -> Result<u64, LedgerError> {
        let mut statement = self.conn.prepare("SELECT boot, series, body FROM undated WHERE boot > 0")?;
        let mut rows = statement.query([])?;
        let mut count = 0;
        while let Some(row) = rows.next()? {
            let numbers = [row.get(0)?, row.get(1)?];
            count += chunk::decode(&numbers, blob(row, 2)?).map_or(0, |kept| kept.len() as u64);
        }
        Ok(count)
    }

    /// Readings a day, by the commits of the last two days or so; none where they span less than an hour.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    pub fn readings_per_day(&self) -> Result<Option<f64>, LedgerError> {
        let (mut readings, mut first, mut last) = (0_u64, i64::MAX, i64::MIN);
        let mut take = |content: batch::Content| {
            // What was taken in from a record says nothing of how often probes speak.
            let live =
                content.items.iter().filter(|item| content.wall_ms - item.at_ms < super::week::HOUR_MS);
            let live = live.count() as u64;
            if content.dated && live > 0 {
                readings += live;
                (first, last) = (first.min(content.wall_ms), last.max(content.wall_ms));
            }
        };
        self.each_batch(0, usize::MAX, |_, content| take(content))?;
        let span_ms = last.saturating_sub(first);
        let long = last > i64::MIN && span_ms >= super::week::HOUR_MS;
        Ok(long.then(|| readings as f64 * 86_400_000.0 / span_ms as f64))
    }
}

impl Ledger {
    /// Makes the roll-ups of these chunks afresh from their readings. How many were written.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    pub fn renew_hours(&mut self, chunks: &[i64]) -> Result<u64, LedgerError> {
        let shared = std::sync::Arc::clone(&self.shared);
        let renewed = self.write(|conn, _, _| {
            let view = View { conn, shared: &shared };
            let mut renewed = 0;
            for id in chunks {
                renewed += u64::from(compaction::renew_hours(view, *id)?);
            }
            Ok(renewed)
        })?;
        self.shared.forget_hours();
        Ok(renewed)
    }
}
