//! The body of a chunk: one week of one series, compressed.
//!
//! Form 2: form byte · count · times · values · exceptions as runs (gap, length, reason) · late readings as
//! runs of one arrival (gap, length, arrival less time of the first) · CRC-32 over the numbers of the row and all of
//! it. Values are ticks, packed by pco with its
//! default settings in a bare frame; readings without a value are left out of that column. Times are divided by the
//! greatest common divisor of their steps; a schedule kept without a gap is said by that alone, else the smaller of
//! two ways is taken: the steps themselves, or each step as a multiple of the median step and an offset, which is left
//! out where all offsets are zero.
//!
//! Form 1 is read, and written for weeks of more readings than a bare frame takes: every column in pco's stand-alone
//! frame, always one of the two ways for steps, late readings one by one (gap, arrival less time).

use std::ops::Range;

use super::bytes::{Bytes, Frame, MOST_BARE, Spoilt, put, put_column, put_signed, seal, unseal};
use super::merge::Kept;
use crate::reading::Reason;

const WHOLE: u8 = 1;
const BARE: u8 = 2;
const STEPS: u8 = 0;
const MULTIPLES: u8 = 1;
const MULTIPLES_AND_OFFSETS: u8 = 2;
const ALL_ONE_QUANTUM: u8 = 3;
/// More readings than this in a week of one series (over a hundred a second) is no honest count.
const MOST: usize = 1 << 26;

/// The body of the row with the numbers `row`; `kept` is in measured order.
pub(super) fn encode(row: &[i64], kept: &[Kept]) -> Vec<u8> {
    framed(row, if kept.len() > MOST_BARE { Frame::Whole } else { Frame::Bare }, kept)
}

fn framed(row: &[i64], frame: Frame, kept: &[Kept]) -> Vec<u8> {
    let mut out = vec![if frame == Frame::Whole { WHOLE } else { BARE }];
    put(&mut out, kept.len() as u64);
    put_times(&mut out, frame, kept);
    let valued = kept.iter().filter(|kept| kept.reason != Reason::Missing);
    put_column(&mut out, frame, &valued.map(|kept| kept.ticks).collect::<Vec<i32>>());
    put_exceptions(&mut out, kept);
    put_late(&mut out, frame, kept);
    seal(&mut out, row);
    out
}

/// How many readings a body says it holds, without checking it.
pub(super) fn count(body: &[u8]) -> u64 {
    let mut bytes = Bytes::unchecked(body);
    bytes.byte().and_then(|_| bytes.number()).unwrap_or(0)
}

/// What the body of the row with the numbers `row` holds.
pub(super) fn decode(row: &[i64], body: &[u8]) -> Result<Vec<Kept>, Spoilt> {
    let mut kept = Vec::new();
    decode_into(row, body, &mut kept)?;
    Ok(kept)
}

/// The same into memory that is used again, for those who read many.
pub(super) fn decode_into(row: &[i64], body: &[u8], kept: &mut Vec<Kept>) -> Result<(), Spoilt> {
    kept.clear();
    let mut bytes = unseal(body, row)?;
    let (frame, most) = match bytes.byte()? {
        WHOLE => (Frame::Whole, MOST),
        BARE => (Frame::Bare, MOST_BARE),
        _ => return Err(Spoilt::Unknown),
    };
    let count = bytes.count(most)?;
    let times = take_times(&mut bytes, frame, count)?;
    // The values stand before the exceptions, but how many there are is only known after: look ahead.
    let mut ahead = bytes.clone();
    let length = ahead.count(ahead.left())?;
    ahead.skip(length)?;
    let exceptions = take_exceptions(&mut ahead, count)?;
    let missing: usize = exceptions.iter().filter(|it| it.1 == Reason::Missing).map(|it| it.0.len()).sum();
    let ticks = bytes.column::<i32>(frame, count - missing)?;
    let plain = |(at_ms, ticks)| Kept { at_ms, ticks, reason: Reason::None, late: None };
    if missing == 0 {
        kept.extend(times.into_iter().zip(ticks).map(plain));
        mark(kept, exceptions);
    } else {
        kept.extend(times.into_iter().zip(std::iter::repeat(0)).map(plain));
        mark(kept, exceptions);
        let valued = kept.iter_mut().filter(|kept| kept.reason != Reason::Missing);
        for (kept, ticks) in valued.zip(ticks) {
            kept.ticks = ticks;
        }
    }
    take_late(&mut ahead, frame, kept)?;
    if ahead.left() > 0 { Err(Spoilt::Form) } else { Ok(()) }
}

fn mark(kept: &mut [Kept], exceptions: Vec<(Range<usize>, Reason)>) {
    for (run, reason) in exceptions {
        for kept in &mut kept[run] {
            kept.reason = reason;
        }
    }
}

fn put_times(out: &mut Vec<u8>, frame: Frame, kept: &[Kept]) {
    let Some(first) = kept.first() else { return };
    put_signed(out, first.at_ms);
    let mut steps: Vec<u64> =
        kept.windows(2).map(|two| two[1].at_ms.wrapping_sub(two[0].at_ms) as u64).collect();
    let quantum = steps.iter().copied().fold(0, divisor).max(1);
    put(out, quantum);
    if frame == Frame::Bare && steps.iter().all(|step| *step == quantum) {
        return out.push(ALL_ONE_QUANTUM);
    }
    for step in &mut steps {
        *step /= quantum;
    }
    let mut plain = vec![STEPS];
    put_column(&mut plain, frame, &steps);
    let other = multiples(frame, &steps);
    out.extend_from_slice(if other.len() < plain.len() { &other } else { &plain });
}

/// Steps as multiples of their median and offsets.
fn multiples(frame: Frame, steps: &[u64]) -> Vec<u8> {
    let mut sorted = steps.to_vec();
    sorted.sort_unstable();
    let median = sorted.get(steps.len() / 2).copied().unwrap_or(1).max(1);
    let whole: Vec<u64> = steps.iter().map(|step| step.saturating_add(median / 2) / median).collect();
    let offsets: Vec<i64> = steps
        .iter()
        .zip(&whole)
        .map(|(step, whole)| step.wrapping_sub(whole.wrapping_mul(median)) as i64)
        .collect();
    let exact = offsets.iter().all(|offset| *offset == 0);
    let mut out = vec![if exact { MULTIPLES } else { MULTIPLES_AND_OFFSETS }];
    put(&mut out, median);
    put_column(&mut out, frame, &whole);
    if !exact {
        put_column(&mut out, frame, &offsets);
    }
    out
}

fn divisor(mut a: u64, mut b: u64) -> u64 {
    while b > 0 {
        (a, b) = (b, a % b);
    }
    a
}

fn take_times(bytes: &mut Bytes<'_>, frame: Frame, count: usize) -> Result<Vec<i64>, Spoilt> {
    if count == 0 {
        return Ok(Vec::new());
    }
    let first = bytes.signed()?;
    let quantum = bytes.number()?;
    let steps = match bytes.byte()? {
        ALL_ONE_QUANTUM if frame == Frame::Bare => {
            let at = |index: usize| first.wrapping_add((index as u64).wrapping_mul(quantum) as i64);
            return Ok((0..count).map(at).collect());
        }
        STEPS => bytes.column::<u64>(frame, count - 1)?,
        way @ (MULTIPLES | MULTIPLES_AND_OFFSETS) => {
            let median = bytes.number()?;
            let mut steps = bytes.column::<u64>(frame, count - 1)?;
            for step in &mut steps {
                *step = step.wrapping_mul(median);
            }
            if way == MULTIPLES_AND_OFFSETS {
                let offsets = bytes.column::<i64>(frame, count - 1)?;
                steps.iter_mut().zip(offsets).for_each(|(step, by)| *step = step.wrapping_add(by as u64));
            }
            steps
        }
        _ => return Err(Spoilt::Unknown),
    };
    let mut times = Vec::with_capacity(count);
    times.push(first);
    let mut at_ms = first;
    for step in steps {
        at_ms = at_ms.wrapping_add(step.wrapping_mul(quantum) as i64);
        times.push(at_ms);
    }
    Ok(times)
}

fn put_exceptions(out: &mut Vec<u8>, kept: &[Kept]) {
    let mut runs = Vec::new();
    let mut index = 0;
    for run in kept.chunk_by(|a, b| a.reason == b.reason) {
        if run[0].reason != Reason::None {
            runs.push((index, run.len(), run[0].reason));
        }
        index += run.len();
    }
    put(out, runs.len() as u64);
    let mut next = 0;
    for (start, length, reason) in runs {
        put(out, (start - next) as u64);
        put(out, length as u64);
        out.push(reason as u8);
        next = start + length;
    }
}

/// Runs of one reason, in order, all within `count`.
fn take_exceptions(bytes: &mut Bytes<'_>, count: usize) -> Result<Vec<(Range<usize>, Reason)>, Spoilt> {
    let mut runs = Vec::new();
    let mut next = 0;
    for _ in 0..bytes.count(count)? {
        let start = next + bytes.count(count)?;
        next = start + bytes.count(count)?;
        let reason = Reason::from_code(bytes.byte()?).ok_or(Spoilt::Unknown)?;
        if next > count {
            return Err(Spoilt::Form);
        }
        runs.push((start..next, reason));
    }
    Ok(runs)
}

fn put_late(out: &mut Vec<u8>, frame: Frame, kept: &[Kept]) {
    let mut runs: Vec<(usize, &[Kept])> = Vec::new();
    let mut index = 0;
    for run in kept.chunk_by(|a, b| frame == Frame::Bare && a.late == b.late) {
        if run[0].late.is_some() {
            runs.push((index, run));
        }
        index += run.len();
    }
    put(out, runs.len() as u64);
    let mut next = 0;
    for (start, run) in runs {
        put(out, (start - next) as u64);
        if frame == Frame::Bare {
            put(out, run.len() as u64);
        }
        put_signed(out, run[0].late.unwrap_or(0).wrapping_sub(run[0].at_ms));
        next = start + run.len();
    }
}

fn take_late(bytes: &mut Bytes<'_>, frame: Frame, kept: &mut [Kept]) -> Result<(), Spoilt> {
    let mut next = 0;
    for _ in 0..bytes.count(kept.len())? {
        let start = next + bytes.count(kept.len())?;
        let length = if frame == Frame::Bare { bytes.count(kept.len())? } else { 1 };
        next = start + length;
        let run = kept.get_mut(start..next).ok_or(Spoilt::Form)?;
        let first = run.first().ok_or(Spoilt::Form)?;
        let arrival = first.at_ms.wrapping_add(bytes.signed()?);
        for kept in run {
            kept.late = Some(arrival);
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const ROW: [i64; 2] = [65_536 + 2_900, 77];

    fn minutes(count: i64, each: impl Fn(i64) -> i64) -> Vec<Kept> {
        let kept = |minute| Kept {
            at_ms: 1_795_000_020_000 + each(minute),
            ticks: 2_000 + (minute % 40) as i32,
            reason: Reason::None,
            late: None,
        };
        (0..count).map(kept).collect()
    }

    #[test]
    fn a_week_of_whole_minutes_takes_a_few_bytes_for_times_and_one_with_gaps_a_tenth_of_a_byte_each() {
        let mut out = Vec::new();
        put_times(&mut out, Frame::Bare, &minutes(10_080, |minute| minute * 60_000));
        assert!(out.len() < 12, "{} bytes", out.len());
        out.clear();
        put_times(&mut out, Frame::Bare, &minutes(10_080, |minute| (minute + minute / 20) * 60_000));
        assert!(out.len() < 1_008, "{} bytes", out.len());
    }

    #[test]
    fn every_flipped_byte_and_a_good_body_in_another_row_are_noticed() {
        let body = encode(&ROW, &minutes(300, |minute| minute * 60_000 + minute % 7));
        assert_eq!(decode(&[ROW[0] + 1, ROW[1]], &body), Err(Spoilt::Checksum));
        for place in 0..body.len() {
            for flip in [0x01, 0x80, 0xff] {
                let mut bad = body.clone();
                bad[place] ^= flip;
                assert_eq!(decode(&ROW, &bad), Err(Spoilt::Checksum), "byte {place}");
            }
        }
    }

    fn kept() -> impl Strategy<Value = Vec<Kept>> {
        let one = (0_i64..604_800_000, any::<i32>(), 0_u8..9, prop::option::of(0_i64..1 << 40));
        prop::collection::vec(one, 0..200).prop_map(|mut all| {
            all.sort_by_key(|one| one.0);
            let kept = |(at, ticks, code, late): (i64, i32, u8, Option<i64>)| {
                let reason = Reason::from_code(code).unwrap();
                let at_ms = 1_795_000_000_000 + at;
                let ticks = if reason == Reason::Missing { 0 } else { ticks };
                Kept { at_ms, ticks, reason, late: late.map(|by| at_ms + by) }
            };
            all.into_iter().map(kept).collect()
        })
    }

    #[test]
    fn a_whole_week_that_came_late_at_once_takes_a_few_bytes_more() {
        let live = minutes(10_080, |minute| minute * 60_000);
        let late: Vec<Kept> =
            live.iter().map(|kept| Kept { late: Some(1_899_000_000_000), ..*kept }).collect();
        let (live, body) = (encode(&ROW, &live), encode(&ROW, &late));
        assert!(body.len() <= live.len() + 12, "{} and {} bytes", live.len(), body.len());
        assert_eq!(decode(&ROW, &body), Ok(late));
    }

    proptest! {
        #[test]
        fn what_was_written_is_read(kept in kept()) {
            let body = encode(&ROW, &kept);
            prop_assert_eq!(count(&body), kept.len() as u64);
            prop_assert_eq!(decode(&ROW, &framed(&ROW, Frame::Whole, &kept)), Ok(kept.clone()));
            prop_assert_eq!(decode(&ROW, &body), Ok(kept));
        }

        #[test]
        fn schedules_with_gaps_and_jitter_come_back_to_the_millisecond(gaps in prop::collection::vec(1_i64..4, 1..300), jitter in 0_i64..40) {
            let mut at = 0;
            let times: Vec<i64> = gaps.iter().map(|gap| { at += gap * 60_000; at + gap * 7 % (jitter + 1) }).collect();
            let kept = minutes(times.len() as i64, |index| times[index as usize]);
            prop_assert_eq!(decode(&ROW, &encode(&ROW, &kept)), Ok(kept));
        }

        #[test]
        fn nonsense_under_a_good_checksum_is_refused_without_panic(mut body in prop::collection::vec(any::<u8>(), 0..80), form in 0_u8..4) {
            body.insert(0, form);
            seal(&mut body, &ROW);
            let _ = decode(&ROW, &body);
        }
    }
}
