//! Boots and their clocks: readings of a boot that did not know the time are dated by one update of the boot.

use std::collections::BTreeMap;

use rusqlite::{Connection, OptionalExtension};

use super::batch::{Content, Item};
use super::merge::Kept;
use super::shared::Shared;
use super::view::blob;
use super::week::MOST_MS;
use super::{LedgerError, View, chunk, commit, schema};

/// When the boots' monotonic clocks started, UTC ms; absent for boots that have not learnt the time.
#[derive(Clone, Debug, Default)]
pub(super) struct Boots {
    offsets: BTreeMap<i64, i64>,
}

impl Boots {
    pub(super) fn read(conn: &Connection) -> Result<Self, LedgerError> {
        let mut statement = conn.prepare("SELECT id, offset_ms FROM boot WHERE offset_ms IS NOT NULL")?;
        let offsets = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?;
        Ok(Self { offsets: offsets.collect::<Result<_, _>>()? })
    }

    /// When a commit was made, UTC ms; none while its boot does not know the time.
    pub(super) fn commit_ms(&self, content: &Content) -> Option<i64> {
        if content.dated {
            return Some(content.wall_ms);
        }
        self.offsets.get(&content.boot).map(|offset| at(content.mono_ms, *offset))
    }

    /// A batch with its readings dated, if its boot has learnt the time since.
    pub(super) fn date(&self, mut content: Content) -> Content {
        if content.dated {
            return content;
        }
        let Some(offset) = self.offsets.get(&content.boot) else { return content };
        for item in &mut content.items {
            item.at_ms = at(item.at_ms, *offset);
        }
        content.wall_ms = at(content.mono_ms, *offset);
        content.dated = true;
        content
    }
}

fn at(mono_ms: i64, offset_ms: i64) -> i64 {
    mono_ms.saturating_add(offset_ms).clamp(0, MOST_MS)
}

/// Begins a boot; returns its number.
pub(super) fn begin(
    conn: &Connection,
    started_ms: i64,
    dated: Option<(i64, &str)>,
) -> Result<i64, LedgerError> {
    let (offset_ms, vouched) = dated.unzip();
    let sql = "INSERT INTO boot (started_ms, offset_ms, vouched) VALUES (?1, ?2, ?3)";
    conn.execute(sql, (started_ms, offset_ms, vouched))?;
    Ok(conn.last_insert_rowid())
}

/// Dates a boot that has no date yet; what was put away of it comes back as one batch with the number `seq`.
/// Returns whether that number was used.
pub(super) fn date(
    View { conn, shared }: View<'_>,
    boot: i64,
    offset_ms: i64,
    voucher: &str,
    seq: i64,
) -> Result<bool, LedgerError> {
    let sql = "UPDATE boot SET offset_ms = ?2, vouched = ?3 WHERE id = ?1 AND offset_ms IS NULL";
    if conn.execute(sql, (boot, offset_ms, voucher))? == 0 {
        return Ok(false);
    }
    let (mut items, taken) = put_away(shared, conn, boot)?;
    if items.is_empty() {
        return Ok(false);
    }
    for item in &mut items {
        item.at_ms = at(item.at_ms, offset_ms);
    }
    let wall_ms = items.iter().map(|item| item.at_ms).max().unwrap_or(0);
    let content = Content { boot, wall_ms, mono_ms: wall_ms.saturating_sub(offset_ms), dated: true, items };
    commit::insert_batch(conn, seq, &content)?;
    for series in taken {
        conn.execute("DELETE FROM undated WHERE boot = ?1 AND series = ?2", (boot, series))?;
    }
    Ok(true)
}

/// The readings put away of a boot that ended without learning the time, and the series they are of. A damaged row
/// stays where it is, for whoever can mend it.
fn put_away(shared: &Shared, conn: &Connection, boot: i64) -> Result<(Vec<Item>, Vec<i64>), LedgerError> {
    let mut statement = conn.prepare("SELECT series, body FROM undated WHERE boot = ?1 ORDER BY series")?;
    let mut rows = statement.query([boot])?;
    let (mut items, mut taken) = (Vec::new(), Vec::new());
    while let Some(row) = rows.next()? {
        let series = row.get(0)?;
        match chunk::decode(&[boot, series], blob(row, 1)?) {
            Ok(kept) => {
                let item =
                    |kept: &Kept| Item { series, at_ms: kept.at_ms, ticks: kept.ticks, reason: kept.reason };
                items.extend(kept.iter().map(item));
                taken.push(series);
            }
            Err(spoilt) => shared.fence("undated", boot, &format!("series {series}: {spoilt}")),
        }
    }
    Ok((items, taken))
}

/// The newest boot.
pub(super) fn newest(conn: &Connection) -> Result<Option<i64>, LedgerError> {
    Ok(conn.query_row("SELECT max(id) FROM boot", [], |row| row.get(0)).optional()?.flatten())
}

/// The site's standard offset as the ledger froze it, ms.
pub(super) fn frozen_offset_ms(conn: &Connection) -> Result<i64, LedgerError> {
    let missing = || LedgerError::Damaged { what: "the site's standard offset is missing".to_owned() };
    schema::get(conn, "offset_ms")?.ok_or_else(missing)
}
