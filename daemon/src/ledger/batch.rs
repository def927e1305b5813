//! The body of a batch: the readings of one commit, small enough that a commit a minute wears no card out.
//!
//! Form 1: form byte · boot · wall ms · monotonic ms · flags · base time less wall · count · runs of consecutive
//! series · differences of times, unless all are equal · exceptions (index, reason) · values in ticks · CRC-32 over
//! `seq` and all of it. Readings without a value take no bytes for one.

use super::bytes::{Bytes, Spoilt, put, put_signed, seal, unseal};
use crate::reading::Reason;

const FORM: u8 = 1;
const DATED: u8 = 1;
const ONE_TIME: u8 = 2;

/// One reading of a batch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Item {
    /// Number of its series.
    pub(super) series: i64,
    /// UTC ms; monotonic ms of the boot in an undated batch.
    pub(super) at_ms: i64,
    /// Value times ten to the decimals of the series; 0 where it is missing.
    pub(super) ticks: i32,
    /// Why it has its grade.
    pub(super) reason: Reason,
}

/// What one batch row holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Content {
    /// Boot it was committed in.
    pub(super) boot: i64,
    /// Commit's wall time, UTC ms.
    pub(super) wall_ms: i64,
    /// Commit's monotonic time, ms.
    pub(super) mono_ms: i64,
    /// Whether the readings carry wall times.
    pub(super) dated: bool,
    /// The readings as they came.
    pub(super) items: Vec<Item>,
}

/// The body of row `seq`.
pub(super) fn encode(seq: i64, content: &Content) -> Vec<u8> {
    let items = &content.items;
    let base = items.first().map_or(content.wall_ms, |item| item.at_ms);
    let one_time = items.iter().all(|item| item.at_ms == base);
    let mut out = vec![FORM];
    put_signed(&mut out, content.boot);
    put_signed(&mut out, content.wall_ms);
    put_signed(&mut out, content.mono_ms);
    out.push(if content.dated { DATED } else { 0 } | if one_time { ONE_TIME } else { 0 });
    put_signed(&mut out, base.wrapping_sub(content.wall_ms));
    put(&mut out, items.len() as u64);
    put_series(&mut out, items);
    if !one_time {
        let mut before = base;
        for item in items {
            put_signed(&mut out, item.at_ms.wrapping_sub(before));
            before = item.at_ms;
        }
    }
    put_exceptions(&mut out, items);
    for item in items.iter().filter(|item| item.reason != Reason::Missing) {
        put_signed(&mut out, i64::from(item.ticks));
    }
    seal(&mut out, &[seq]);
    out
}

fn put_series(out: &mut Vec<u8>, items: &[Item]) {
    let mut next = 0;
    for run in items.chunk_by(|a, b| b.series == a.series + 1) {
        put_signed(out, run[0].series - next);
        put(out, run.len() as u64);
        next = run[0].series + run.len() as i64;
    }
}

fn put_exceptions(out: &mut Vec<u8>, items: &[Item]) {
    let marked = items.iter().enumerate().filter(|(_, item)| item.reason != Reason::None);
    put(out, marked.clone().count() as u64);
    let mut next = 0;
    for (index, item) in marked {
        put(out, (index - next) as u64);
        out.push(item.reason as u8);
        next = index + 1;
    }
}

/// What the body of row `seq` holds.
pub(super) fn decode(seq: i64, body: &[u8]) -> Result<Content, Spoilt> {
    let mut items = Vec::new();
    let head = decode_into(seq, body, &mut items, |_| true)?;
    let Head { boot, wall_ms, mono_ms, dated, .. } = head;
    Ok(Content { boot, wall_ms, mono_ms, dated, items })
}

/// What stands before the readings of a batch.
#[derive(Clone, Copy, Debug)]
pub(super) struct Head {
    pub(super) boot: i64,
    pub(super) wall_ms: i64,
    pub(super) mono_ms: i64,
    pub(super) dated: bool,
    /// The time of all readings, where it is the same.
    pub(super) one_time: Option<i64>,
    base_ms: i64,
    /// Lowest and highest number of a series in it.
    pub(super) series: (i64, i64),
}

/// The same into memory that is used again; `items` is left empty where `wanted` says no to the head.
pub(super) fn decode_into(
    seq: i64,
    body: &[u8],
    items: &mut Vec<Item>,
    wanted: impl FnOnce(&Head) -> bool,
) -> Result<Head, Spoilt> {
    items.clear();
    let mut bytes = unseal(body, &[seq])?;
    if bytes.byte()? != FORM {
        return Err(Spoilt::Unknown);
    }
    let (boot, wall_ms, mono_ms) = (bytes.signed()?, bytes.signed()?, bytes.signed()?);
    let flags = bytes.byte()?;
    let base_ms = wall_ms.wrapping_add(bytes.signed()?);
    let one_time = (flags & ONE_TIME != 0).then_some(base_ms);
    // Each reading takes at least one byte, for its value or for the reason that it has none.
    let count = bytes.count(bytes.left())?;
    let series = series_of(&mut bytes.clone(), count)?;
    let head = Head { boot, wall_ms, mono_ms, dated: flags & DATED != 0, one_time, base_ms, series };
    if wanted(&head) {
        take_items(&mut bytes, count, &head, items)?;
    }
    Ok(head)
}

/// Lowest and highest number of a series, by the runs alone.
fn series_of(bytes: &mut Bytes<'_>, count: usize) -> Result<(i64, i64), Spoilt> {
    let (mut next, mut left) = (0_i64, count);
    let (mut lowest, mut highest) = (i64::MAX, i64::MIN);
    while left > 0 {
        next = next.wrapping_add(bytes.signed()?);
        let length = bytes.count(left)?;
        if length == 0 {
            continue;
        }
        lowest = lowest.min(next);
        next = next.wrapping_add(length as i64);
        highest = highest.max(next.wrapping_sub(1));
        left -= length;
    }
    Ok((lowest, highest))
}

fn take_items(bytes: &mut Bytes<'_>, count: usize, head: &Head, items: &mut Vec<Item>) -> Result<(), Spoilt> {
    take_series(bytes, count, head.base_ms, items)?;
    if head.one_time.is_none() {
        let mut before = head.base_ms;
        for item in items.iter_mut() {
            before = before.wrapping_add(bytes.signed()?);
            item.at_ms = before;
        }
    }
    take_exceptions(bytes, items)?;
    for item in items.iter_mut().filter(|item| item.reason != Reason::Missing) {
        item.ticks = bytes.signed()?.try_into().map_err(|_| Spoilt::Form)?;
    }
    if bytes.left() > 0 { Err(Spoilt::Form) } else { Ok(()) }
}

fn take_series(bytes: &mut Bytes<'_>, count: usize, at_ms: i64, items: &mut Vec<Item>) -> Result<(), Spoilt> {
    items.reserve(count);
    let mut next: i64 = 0;
    while items.len() < count {
        next = next.wrapping_add(bytes.signed()?);
        for _ in 0..bytes.count(count - items.len())? {
            items.push(Item { series: next, at_ms, ticks: 0, reason: Reason::None });
            next = next.wrapping_add(1);
        }
    }
    Ok(())
}

fn take_exceptions(bytes: &mut Bytes<'_>, items: &mut [Item]) -> Result<(), Spoilt> {
    let mut next = 0;
    for _ in 0..bytes.count(items.len())? {
        let index = next + bytes.count(items.len())?;
        let reason = Reason::from_code(bytes.byte()?).ok_or(Spoilt::Unknown)?;
        items.get_mut(index).ok_or(Spoilt::Form)?.reason = reason;
        next = index + 1;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn item() -> impl Strategy<Value = Item> {
        (1_i64..40, -5_000_i64..2_000_000_000_000, any::<i32>(), 0_u8..9).prop_map(
            |(series, at_ms, ticks, code)| {
                let reason = Reason::from_code(code).unwrap();
                Item { series, at_ms, ticks: if reason == Reason::Missing { 0 } else { ticks }, reason }
            },
        )
    }

    fn twenty() -> Content {
        let item = |series| Item {
            series,
            at_ms: 1_795_000_000_000,
            ticks: 2_000 + series as i32,
            reason: Reason::None,
        };
        let items = (1..=20).map(item).collect();
        Content { boot: 3, wall_ms: 1_795_000_012_345, mono_ms: 86_400_000, dated: true, items }
    }

    #[test]
    fn twenty_readings_of_one_minute_take_about_three_bytes_each() {
        let length = encode(1_000_000, &twenty()).len();
        assert!(length <= 66, "{length} bytes");
    }

    #[test]
    fn any_flipped_bit_and_a_wrong_row_are_noticed() {
        let body = encode(7, &twenty());
        assert_eq!(decode(8, &body), Err(Spoilt::Checksum));
        for place in 0..body.len() * 8 {
            let mut bad = body.clone();
            bad[place / 8] ^= 1 << (place % 8);
            assert_eq!(decode(7, &bad), Err(Spoilt::Checksum), "bit {place}");
        }
    }

    proptest! {
        #[test]
        fn what_was_written_is_read(items in prop::collection::vec(item(), 0..60), seq in 1_i64..1 << 40,
            boot in 1_i64..1000, wall_ms in any::<i64>(), mono_ms in 0_i64..1 << 50, dated in any::<bool>()) {
            let content = Content { boot, wall_ms, mono_ms, dated, items };
            let body = encode(seq, &content);
            let mut items = content.items.clone();
            let head = decode_into(seq, &body, &mut items, |_| false).unwrap();
            prop_assert!(items.is_empty(), "what is not wanted is passed over");
            let numbers = || content.items.iter().map(|item| item.series);
            prop_assert_eq!(head.series, (numbers().min().unwrap_or(i64::MAX), numbers().max().unwrap_or(i64::MIN)));
            prop_assert!(head.one_time.is_none_or(|at_ms| content.items.iter().all(|item| item.at_ms == at_ms)));
            prop_assert_eq!(decode(seq, &body), Ok(content));
        }

        #[test]
        fn nonsense_under_a_good_checksum_is_refused_without_panic(mut body in prop::collection::vec(any::<u8>(), 0..80), form in 0_u8..3) {
            body.insert(0, form);
            seal(&mut body, &[1]);
            let _ = decode(1, &body);
        }
    }
}
