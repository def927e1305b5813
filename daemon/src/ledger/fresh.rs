//! What lies in batches: readings that are not compacted yet, of many series in one pass.

use std::ops::{Range, RangeInclusive};

use super::batch::{self, Content, Head, Item};
use super::dating::Boots;
use super::merge::Kept;
use super::reach::Reach;
use super::view::blob;
use super::{LedgerError, View};

impl View<'_> {
    /// The dated readings in a range of each series (numbers in ascending order), in order of arrival.
    ///
    /// A batch stays a row until everything in it is in chunks, so after an interrupted compaction some of these are
    /// in chunks as well: [`merge`](super::merge::merge) tells them apart from new ones.
    pub(super) fn in_batches(
        &self,
        series: &[i64],
        range: &Range<i64>,
    ) -> Result<Vec<Vec<Kept>>, LedgerError> {
        let mut kept = vec![Vec::new(); series.len()];
        let (Some(lowest), Some(highest)) = (series.first(), series.last()) else { return Ok(kept) };
        let wanted = |head: &Head| {
            head.series.0 <= *highest
                && head.series.1 >= *lowest
                && (!head.dated || head.one_time.is_none_or(|at_ms| range.contains(&at_ms)))
        };
        let numbers = self.reaching(range)?;
        // A series has seldom more than one reading in a batch.
        let likely: i64 =
            numbers.iter().map(|numbers| numbers.end().saturating_sub(*numbers.start()) + 1).sum();
        let likely = likely.clamp(0, 2_048) as usize;
        let mut place = 0;
        let mut take = |_, _, items: &[Item]| {
            for item in items.iter().filter(|item| range.contains(&item.at_ms)) {
                // Series follow one another in batches as in the question.
                if series.get(place) != Some(&item.series) {
                    let Ok(found) = series.binary_search(&item.series) else { continue };
                    place = found;
                }
                if kept[place].is_empty() {
                    kept[place].reserve(likely);
                }
                kept[place].push(Kept {
                    at_ms: item.at_ms,
                    ticks: item.ticks,
                    reason: item.reason,
                    late: None,
                });
                place += 1;
            }
        };
        for numbers in numbers {
            self.dated_items(numbers, wanted, &mut take)?;
        }
        Ok(kept)
    }

    /// Every sound batch between two numbers whose head is wanted and whose readings have dates: number, when it was
    /// committed (UTC ms), readings.
    pub(super) fn dated_items(
        &self,
        numbers: RangeInclusive<i64>,
        wanted: impl Fn(&Head) -> bool,
        mut each: impl FnMut(i64, i64, &[Item]),
    ) -> Result<(), LedgerError> {
        // Few ledgers have batches without dates, and the list of boots may be long.
        let mut boots: Option<Boots> = None;
        let mut statement =
            self.conn.prepare("SELECT seq, body FROM batch WHERE seq BETWEEN ?1 AND ?2 ORDER BY seq")?;
        let mut rows = statement.query((numbers.start(), numbers.end()))?;
        let mut items = Vec::new();
        while let Some(row) = rows.next()? {
            let seq = row.get(0)?;
            let head = match batch::decode_into(seq, blob(row, 1)?, &mut items, &wanted) {
                Ok(head) => head,
                Err(spoilt) => {
                    self.shared.fence("batch", seq, &spoilt);
                    continue;
                }
            };
            if head.dated {
                each(seq, head.wall_ms, &items);
                continue;
            }
            let boots = match &mut boots {
                Some(boots) => boots,
                none => none.insert(Boots::read(self.conn)?),
            };
            let Head { boot, wall_ms, mono_ms, dated, .. } = head;
            let content = Content { boot, wall_ms, mono_ms, dated, items };
            let content = boots.date(content);
            if content.dated {
                each(seq, content.wall_ms, &content.items);
            }
            items = content.items;
        }
        Ok(())
    }

    /// Stretches of numbers in which every batch lies that may hold something of a range, as far as this look at the
    /// ledger sees.
    fn reaching(&self, range: &Range<i64>) -> Result<Vec<RangeInclusive<i64>>, LedgerError> {
        let sql = "SELECT (SELECT min(seq) FROM batch), (SELECT max(seq) FROM batch)";
        let ends: (Option<i64>, Option<i64>) =
            self.conn.query_row(sql, [], |row| Ok((row.get(0)?, row.get(1)?)))?;
        let (Some(oldest), Some(newest)) = ends else { return Ok(Vec::new()) };
        let mut reach = self.shared.reach();
        if reach.has_forgotten(oldest) {
            return Ok(vec![oldest..=i64::MAX]);
        }
        if newest > reach.upto() {
            self.extend(&mut reach)?;
        }
        Ok(reach.of(range))
    }

    /// Takes into the index what was committed since.
    fn extend(&self, reach: &mut Reach) -> Result<(), LedgerError> {
        let mut statement = self.conn.prepare("SELECT seq, body FROM batch WHERE seq > ?1 ORDER BY seq")?;
        let mut rows = statement.query([reach.upto()])?;
        let mut items = Vec::new();
        while let Some(row) = rows.next()? {
            let seq = row.get(0)?;
            let head = batch::decode_into(seq, blob(row, 1)?, &mut items, |head| {
                head.dated && head.one_time.is_none()
            });
            // What is damaged may be mended, and what has no date may get one.
            let times = head.ok().filter(|head| head.dated).and_then(|head| {
                let both = head.one_time.map(|at_ms| (at_ms, at_ms));
                let times = || items.iter().map(|item| item.at_ms);
                both.or_else(|| times().min().zip(times().max()))
            });
            reach.take(seq, times);
        }
        Ok(())
    }
}
