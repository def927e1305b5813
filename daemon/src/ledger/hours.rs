//! Hourly roll-ups: 168 hours of a week, in the hours of the site's standard offset.
//!
//! Sound readings only. A reading holds until the next one, at most twice the probe's usual interval; an hour's mean
//! is weighted by the time its values held, its lowest and highest are over the values that held in it.
//!
//! Form 2 of the row: form byte · time of the first reading and how much later the last one is, of any grade · a byte
//! that says whether all hours are covered whole, and if not, the seconds covered of every hour · and of the hours with
//! any: steps of the mean in sixteenths of a tick (folded, the first from nought and by itself), whole ticks from the
//! lowest up to the mean, whole ticks from the mean up to the highest · CRC-32 over the numbers of the row and all of
//! it. All are packed in groups of a day: for so few numbers pco saves nothing and takes ten times as long. Lowest and
//! highest lie near the mean, so their distances take fewer bits than they do. The span spares whoever looks for a
//! range the readings of chunks that end before it.
//!
//! Form 1, still read: form byte · seconds covered · lowest · highest · mean, in pco's stand-alone frame.

use super::bytes::{Bytes, Frame, Spoilt, folded, put, put_packed, put_signed, seal, unfolded, unseal};
use super::merge::Kept;
use super::week::HOUR_MS;
use crate::reading::Grade;

const PLAIN: u8 = 1;
const SPANNED: u8 = 2;
const ALL_WHOLE: u8 = 1;
const WHOLE_HOUR_S: u32 = 3_600;
/// Hours in a week.
pub(super) const HOURS: usize = 168;

/// One hour, in ticks.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct HourTicks {
    /// Seconds of the hour in which a value held; the rest means nothing where it is 0.
    pub(super) covered_s: u32,
    pub(super) min: i32,
    pub(super) max: i32,
    /// Sixteenths of a tick.
    pub(super) mean_16: i64,
}

/// A sum in the making.
#[derive(Clone, Copy)]
struct Gathering {
    min: i32,
    max: i32,
    weighted: i128,
    covered_ms: i64,
}

/// Rolls up the hours from `start_ms` on; `kept` is in measured order and begins early enough to hold into the first.
pub(super) fn roll(kept: &[Kept], start_ms: i64, hours: usize, usual_ms: i64) -> Vec<HourTicks> {
    let empty = Gathering { min: i32::MAX, max: i32::MIN, weighted: 0, covered_ms: 0 };
    let mut gathered = vec![empty; hours];
    let end_ms = start_ms + hours as i64 * HOUR_MS;
    let mut sound = kept.iter().filter(|kept| kept.reason.grade() == Grade::Sound).peekable();
    while let Some(reading) = sound.next() {
        let next_ms = sound.peek().map_or(i64::MAX, |next| next.at_ms);
        let until = next_ms.min(reading.at_ms.saturating_add(usual_ms.saturating_mul(2))).min(end_ms);
        let mut from = reading.at_ms.max(start_ms);
        while from < until {
            let index = (from - start_ms) / HOUR_MS;
            let to = until.min(start_ms + (index + 1) * HOUR_MS);
            let hour = &mut gathered[index as usize];
            hour.min = hour.min.min(reading.ticks);
            hour.max = hour.max.max(reading.ticks);
            hour.weighted += i128::from(reading.ticks) * i128::from(to - from);
            hour.covered_ms += to - from;
            from = to;
        }
    }
    gathered.iter().map(finish).collect()
}

fn finish(gathered: &Gathering) -> HourTicks {
    let covered_s = ((gathered.covered_ms + 500) / 1000) as u32;
    if covered_s == 0 {
        return HourTicks::default();
    }
    let covered = i128::from(gathered.covered_ms);
    let mean_16 = (gathered.weighted * 32 + covered).div_euclid(2 * covered) as i64;
    HourTicks { covered_s, min: gathered.min, max: gathered.max, mean_16 }
}

/// First and last time of a chunk's readings, whatever their grade.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Span {
    pub(super) first_ms: i64,
    pub(super) last_ms: i64,
}

impl Span {
    /// Of readings in measured order; none of none.
    pub(super) fn of(kept: &[Kept]) -> Option<Self> {
        Some(Self { first_ms: kept.first()?.at_ms, last_ms: kept.last()?.at_ms })
    }

    /// Whether a range may hold something of it.
    pub(super) fn meets(self, range: &std::ops::Range<i64>) -> bool {
        self.first_ms < range.end && self.last_ms >= range.start
    }
}

/// The roll-ups of the row with the numbers `row`, whose chunk reaches over `span`.
pub(super) fn encode(row: &[i64], span: Span, hours: &[HourTicks]) -> Vec<u8> {
    let mut out = vec![SPANNED];
    put_signed(&mut out, span.first_ms);
    put(&mut out, span.last_ms.wrapping_sub(span.first_ms) as u64);
    let all_whole = hours.len() == HOURS && hours.iter().all(|hour| hour.covered_s == WHOLE_HOUR_S);
    out.push(u8::from(all_whole));
    if !all_whole {
        put_packed(&mut out, &hours.iter().map(|hour| u64::from(hour.covered_s)).collect::<Vec<u64>>());
    }
    let covered: Vec<&HourTicks> = hours.iter().filter(|hour| hour.covered_s > 0).collect();
    let mut before = covered.first().map_or(0, |hour| hour.mean_16);
    // The first is far from all others: it stands alone.
    put_signed(&mut out, before);
    let step = |hour: &&HourTicks| folded(hour.mean_16 - std::mem::replace(&mut before, hour.mean_16));
    put_packed(&mut out, &covered.iter().map(step).collect::<Vec<u64>>());
    let below = |hour: &&HourTicks| (whole(hour.mean_16) - i64::from(hour.min)) as u64;
    put_packed(&mut out, &covered.iter().map(below).collect::<Vec<u64>>());
    let above = |hour: &&HourTicks| folded(i64::from(hour.max) - whole(hour.mean_16));
    put_packed(&mut out, &covered.iter().map(above).collect::<Vec<u64>>());
    seal(&mut out, row);
    out
}

fn whole(mean_16: i64) -> i64 {
    mean_16.div_euclid(16)
}

/// How far the chunk reaches, by the roll-ups of the row with the numbers `row`: none where their form does not say
/// or they are damaged.
pub(super) fn span(row: &[i64], body: &[u8]) -> Option<Span> {
    let mut bytes = unseal(body, row).ok()?;
    if bytes.byte().ok()? == SPANNED { take_span(&mut bytes).ok() } else { None }
}

fn take_span(bytes: &mut Bytes<'_>) -> Result<Span, Spoilt> {
    let first_ms = bytes.signed()?;
    Ok(Span { first_ms, last_ms: first_ms.wrapping_add(bytes.number()? as i64) })
}

/// The hours in the row with the numbers `row`.
pub(super) fn decode(row: &[i64], body: &[u8]) -> Result<Vec<HourTicks>, Spoilt> {
    let mut bytes = unseal(body, row)?;
    match bytes.byte()? {
        PLAIN => decode_plain(&mut bytes),
        SPANNED => {
            take_span(&mut bytes)?;
            let seconds = match bytes.byte()? {
                ALL_WHOLE => vec![WHOLE_HOUR_S; HOURS],
                _ => bytes.packed(HOURS)?.into_iter().map(|seconds| seconds as u32).collect(),
            };
            let covered = seconds.iter().filter(|seconds| **seconds > 0).count();
            let mut mean_16 = bytes.signed()?;
            let (steps, below) = (bytes.packed(covered)?, bytes.packed(covered)?);
            let above = bytes.packed(covered)?;
            let columns = steps.into_iter().zip(below).zip(above).map(|((step, below), above)| {
                mean_16 = mean_16.wrapping_add(unfolded(step));
                let whole = whole(mean_16);
                (
                    whole.wrapping_sub_unsigned(below) as i32,
                    whole.wrapping_add(unfolded(above)) as i32,
                    mean_16,
                )
            });
            Ok(joined(&seconds, columns))
        }
        _ => Err(Spoilt::Unknown),
    }
}

fn decode_plain(bytes: &mut Bytes<'_>) -> Result<Vec<HourTicks>, Spoilt> {
    let seconds = bytes.column::<u32>(Frame::Whole, HOURS)?;
    let covered = seconds.iter().filter(|seconds| **seconds > 0).count();
    let min = bytes.column::<i32>(Frame::Whole, covered)?;
    let max = bytes.column::<i32>(Frame::Whole, covered)?;
    let mean = bytes.column::<i64>(Frame::Whole, covered)?;
    Ok(joined(&seconds, min.into_iter().zip(max).zip(mean).map(|((min, max), mean)| (min, max, mean))))
}

/// Hours out of the seconds covered of each and (lowest, highest, mean) of those with any.
fn joined(seconds: &[u32], mut columns: impl Iterator<Item = (i32, i32, i64)>) -> Vec<HourTicks> {
    let mut hour = |covered_s: &u32| {
        let (min, max, mean_16) = if *covered_s > 0 { columns.next() } else { None }.unwrap_or_default();
        HourTicks { covered_s: *covered_s, min, max, mean_16 }
    };
    seconds.iter().map(&mut hour).collect()
}

#[cfg(test)]
mod tests {
    use super::super::bytes::put_column;
    use super::*;
    use proptest::prelude::*;

    const ROW: [i64; 2] = [65_536 + 2_900, 77];

    fn hours() -> impl Strategy<Value = Vec<HourTicks>> {
        let one = (prop_oneof![Just(0_u32), Just(3_600), 1_u32..3_600], any::<i32>(), any::<u32>(), 0.0..1.0);
        prop::collection::vec(one, HOURS).prop_map(|all| {
            let hour = |(covered_s, min, wide, part): (u32, i32, u32, f64)| {
                if covered_s == 0 {
                    return HourTicks::default();
                }
                let max = min.saturating_add_unsigned(wide);
                let mean = f64::from(min) + (f64::from(max) - f64::from(min)) * part;
                HourTicks { covered_s, min, max, mean_16: (mean * 16.0) as i64 }
            };
            all.into_iter().map(hour).collect()
        })
    }

    proptest! {
        #[test]
        fn what_was_written_is_read_in_both_forms(hours in hours(), first_ms in any::<i32>(), long in any::<u32>()) {
            let span = Span { first_ms: i64::from(first_ms), last_ms: i64::from(first_ms) + i64::from(long) };
            let body = encode(&ROW, span, &hours);
            prop_assert_eq!(super::span(&ROW, &body), Some(span));
            prop_assert_eq!(decode(&ROW, &body), Ok(hours.clone()));
            let mut plain = vec![PLAIN];
            let covered: Vec<&HourTicks> = hours.iter().filter(|hour| hour.covered_s > 0).collect();
            put_column(&mut plain, Frame::Whole, &hours.iter().map(|hour| hour.covered_s).collect::<Vec<u32>>());
            put_column(&mut plain, Frame::Whole, &covered.iter().map(|hour| hour.min).collect::<Vec<i32>>());
            put_column(&mut plain, Frame::Whole, &covered.iter().map(|hour| hour.max).collect::<Vec<i32>>());
            put_column(&mut plain, Frame::Whole, &covered.iter().map(|hour| hour.mean_16).collect::<Vec<i64>>());
            seal(&mut plain, &ROW);
            prop_assert_eq!(decode(&ROW, &plain), Ok(hours));
            prop_assert_eq!(super::span(&ROW, &plain), None);
        }

        #[test]
        fn nonsense_under_a_good_checksum_is_refused_without_panic(mut body in prop::collection::vec(any::<u8>(), 0..80), form in 0_u8..4) {
            body.insert(0, form);
            seal(&mut body, &ROW);
            let _ = (decode(&ROW, &body), span(&ROW, &body));
        }
    }

    #[test]
    fn a_whole_week_says_so_in_one_byte() {
        let hour = HourTicks { covered_s: 3_600, min: 2_000, max: 2_050, mean_16: 16 * 2_025 };
        let span = Span { first_ms: 0, last_ms: 1 };
        let body = encode(&ROW, span, &[hour; HOURS]);
        let mut hours = [hour; HOURS];
        hours[90].covered_s = 3_599;
        // Twelve bits for each hour and a byte for each day, were it not said in one.
        assert_eq!(encode(&ROW, span, &hours).len(), body.len() + HOURS * 12 / 8 + HOURS / 24);
        assert_eq!(decode(&ROW, &body), Ok(vec![hour; HOURS]));
    }
}
