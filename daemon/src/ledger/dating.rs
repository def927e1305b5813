//! Boots and their clocks: readings of a boot that did not know the time are dated by one update of the boot.

use std::collections::BTreeMap;

use agronomy::series::MS_PER_DAY;
use rusqlite::{Connection, OptionalExtension};

use super::batch::{Content, Item};
use super::commit::NO_EXPIRY_MS;
use super::merge::Kept;
use super::shared::Shared;
use super::view::blob;
use super::week::MOST_MS;
use super::{LedgerError, OutboxState, View, chunk, commit, records, schema};
use crate::couriers::STEP_LIFE_MS;
use crate::entry::{Entry, Note};
use crate::glance::UndatedBoot;

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
    let boot = conn.last_insert_rowid();
    // How old a step of a boot that never knew the time is, nobody can say: it is no news any more.
    let sql = "UPDATE outbox SET state = ?1 WHERE state = 0 AND expires_ms = ?2";
    conn.execute(sql, (OutboxState::Expired as u8, NO_EXPIRY_MS))?;
    Ok(boot)
}

/// When a boot's monotonic clock started, UTC ms, and who vouched; none while it has not learnt the time.
pub(super) fn of_boot(conn: &Connection, boot: i64) -> Result<Option<(i64, String)>, LedgerError> {
    let sql = "SELECT offset_ms, ifnull(vouched, '') FROM boot WHERE id = ?1 AND offset_ms IS NOT NULL";
    Ok(conn.query_row(sql, [boot], |row| Ok((row.get(0)?, row.get(1)?))).optional()?)
}

/// Where somebody's word on the time stands in the ledger. What came before it counts no more for what time it must be
/// by now, beside the commit that the word was later than: an earlier word may have been wrong.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Word {
    /// The entry.
    entry: i64,
    /// The boot in which it was said.
    boot: i64,
    /// The newest batch before it.
    pub(super) seq: i64,
    /// What it said, UTC ms.
    pub(super) at_ms: i64,
    /// The commit it was later than, UTC ms.
    pub(super) after_ms: i64,
}

impl Word {
    /// The last one, if there ever was one.
    pub(super) fn last(conn: &Connection) -> Result<Option<Self>, LedgerError> {
        let sql = "SELECT id, seq, kind, subject, at_ms, from_ms, body, sum FROM entry WHERE kind = 'clock'
            ORDER BY id DESC";
        let mut statement = conn.prepare(sql)?;
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            // A damaged row says nothing; its fence is put up by whoever reads all entries.
            let Ok(Entry { id: entry, at_ms, note, .. }) = records::entry(row) else { continue };
            if let Note::Clock { boot, after_ms: Some(after_ms), .. } = note {
                return Ok(Some(Self { entry, boot, seq: row.get(1)?, at_ms, after_ms }));
            }
        }
        Ok(None)
    }
}

/// When something was last told since a word, or a boot that knew the time began, UTC ms. What a site file brought in on
/// its first day does not count: that may be before anybody knew the time.
pub(super) fn newest_told_ms(conn: &Connection, since: Word) -> Result<Option<i64>, LedgerError> {
    let sql = "SELECT max(at_ms) FROM entry WHERE id >= ?1 AND kind IN ('step', 'letter', 'reply', 'clock')";
    let told: Option<i64> = conn.query_row(sql, [since.entry], |row| row.get(0))?;
    let sql = "SELECT max(started_ms + offset_ms) FROM boot WHERE id > ?1 AND offset_ms IS NOT NULL";
    let begun: Option<i64> = conn.query_row(sql, [since.boot], |row| row.get(0))?;
    Ok(told.max(begun))
}

/// What a word on the time changes beside its entry, where it goes back: deliveries that were to wait for a time that is
/// not believed any more are due at that word, and live on from there (no quiet hours last a day); and what went into
/// chunks counts as committed no later than `after_ms`.
pub(super) fn bring_back(conn: &Connection, at_ms: i64, after_ms: i64) -> Result<(), LedgerError> {
    for key in ["before_compacted_ms", "compacted_ms"] {
        if schema::get(conn, key)?.is_some_and(|newest| newest > after_ms) {
            schema::set(conn, key, &after_ms)?;
        }
    }
    let sql = "UPDATE outbox SET due_ms = ?1, expires_ms = ?2
        WHERE state = 0 AND expires_ms < ?3 AND due_ms > ?4";
    let (expires_ms, later_ms) = (at_ms.saturating_add(STEP_LIFE_MS), at_ms.saturating_add(MS_PER_DAY));
    conn.execute(sql, (at_ms, expires_ms, NO_EXPIRY_MS, later_ms))?;
    Ok(())
}

/// Dates what was told in a boot that did not know the time: entries that stand at its monotonic time, marked by the
/// boot's number below zero in `from_ms`. Their deliveries live as long from then on as those of any step.
fn date_told(conn: &Connection, boot: i64, offset_ms: i64) -> Result<(), LedgerError> {
    let sql = "SELECT id, seq, kind, subject, at_ms, from_ms, body, sum FROM entry WHERE from_ms = ?1";
    let mut statement = conn.prepare(sql)?;
    let mut rows = statement.query([-boot])?;
    while let Some(row) = rows.next()? {
        // A damaged row stays as it is; its fence is put up by whoever reads it.
        let Ok(Entry { id, at_ms: mono_ms, mut note, .. }) = records::entry(row) else { continue };
        let at_ms = at(mono_ms, offset_ms);
        if let Note::Step(step) = &mut note {
            step.at_ms = at_ms;
        }
        commit::write_again(conn, row.get(1)?, &Entry { id, at_ms, from_ms: at_ms, note })?;
        let sql = "UPDATE outbox SET due_ms = ?2, expires_ms = ?3 WHERE step = ?1 AND expires_ms = ?4";
        conn.execute(sql, (id, at_ms, at_ms.saturating_add(STEP_LIFE_MS), NO_EXPIRY_MS))?;
    }
    Ok(())
}

/// Readings of one boot that wait for a date: how many, first and last monotonic ms.
type Waiting = BTreeMap<i64, (u64, i64, i64)>;

/// The boots before `running` that never learnt the time.
pub(super) fn undated_boots(view: &View<'_>, running: i64) -> Result<Vec<UndatedBoot>, LedgerError> {
    let boots = Boots::read(view.conn)?;
    let mut waiting = Waiting::new();
    let mut newest = BTreeMap::new();
    let mut count = |boot: i64, at_ms: i64| {
        let (many, first, last) = waiting.entry(boot).or_insert((0, at_ms, at_ms));
        (*many, *first, *last) = (*many + 1, at_ms.min(*first), at_ms.max(*last));
    };
    view.each_batch(0, usize::MAX, |_, content| match boots.commit_ms(&content) {
        Some(at_ms) => _ = newest.insert(content.boot, at_ms),
        None => content.items.iter().for_each(|item| count(content.boot, item.at_ms)),
    })?;
    let mut statement = view.conn.prepare("SELECT DISTINCT boot FROM undated WHERE boot > 0")?;
    let stored: Vec<i64> = statement.query_map([], |row| row.get(0))?.collect::<Result<_, _>>()?;
    for boot in stored {
        put_away(view.shared, view.conn, boot)?.0.iter().for_each(|item| count(boot, item.at_ms));
    }
    waiting.retain(|boot, _| *boot < running);
    let begun = |boot: i64, way: &str| -> Result<Option<i64>, LedgerError> {
        let (most, than) = if way == "before" { ("max", "<") } else { ("min", ">") };
        let sql = format!(
            "SELECT {most}(started_ms + offset_ms) FROM boot WHERE offset_ms IS NOT NULL AND id {than} ?1"
        );
        Ok(view.conn.query_row(&sql, [boot], |row| row.get(0))?)
    };
    let boot = |(boot, (readings, first, last)): (i64, (u64, i64, i64))| {
        let before_ms = begun(boot, "after")?;
        // What stands after the next boot began was stored under a word that was taken back.
        let sound = |at_ms: &i64| before_ms.is_none_or(|before| *at_ms <= before);
        let committed = newest.range(..boot).map(|(_, at_ms)| *at_ms).filter(sound).max();
        let after_ms = committed.max(begun(boot, "before")?.filter(sound));
        Ok(UndatedBoot { boot, readings, span_ms: last - first, after_ms, before_ms })
    };
    waiting.into_iter().map(boot).collect()
}

/// The monotonic time of a boot's first reading that waits for a date, ms.
pub(super) fn first_undated_ms(view: &View<'_>, boot: i64) -> Result<Option<i64>, LedgerError> {
    let mut first: Option<i64> = None;
    view.each_batch(0, usize::MAX, |_, content| {
        if content.boot == boot && !content.dated {
            first = content.items.iter().map(|item| item.at_ms).chain(first).min();
        }
    })?;
    let stored = put_away(view.shared, view.conn, boot)?.0;
    Ok(stored.iter().map(|item| item.at_ms).chain(first).min())
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
    date_told(conn, boot, offset_ms)?;
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
