//! A humidity sensor that has lost its upper end, as they do after sprays, solvents or years of wet: it still follows the
//! weather, and tops out at 92 %.
//!
//! Nothing but damp air shows it, and a dry summer has none: in the tunnel record's two summers the sound reference never
//! reached 95 % for weeks. So only nights count of which another probe says that this one's air was saturated.

use crate::almanac::humid_nights::HumidNight;

/// In a damp night a sound sensor says this at least, % (FAULTS practice: two makers state 2 to 3 % at this end).
const TOP_PCT: f64 = 95.0;
/// So many damp nights in a row below it are no chance (practice).
const NIGHTS: usize = 10;

/// That a probe never comes near saturation, though its air does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReadsLow<'a> {
    /// In how many damp nights in a row.
    pub nights: usize,
    /// The most that it said in any of them, %.
    pub top_pct: f64,
    /// The probe that said of the last of them that it was damp.
    pub by: &'a str,
}

/// Whether a probe reads low by its nights, the last first; those before it was noted where it hangs (UTC ms) do not count.
pub fn reads_low<'a>(nights: impl Iterator<Item = &'a HumidNight>, placed_ms: i64) -> Option<ReadsLow<'a>> {
    let row = nights.take_while(|it| it.from_ms >= placed_ms && it.top_pct < TOP_PCT);
    let mut damp = row.filter_map(|it| Some((it.damp_by.as_deref()?, it.top_pct)));
    let (by, last_pct) = damp.next()?;
    let (nights, top_pct) = damp.fold((1, last_pct), |(nights, top), (_, pct)| (nights + 1, pct.max(top)));
    (nights >= NIGHTS).then_some(ReadsLow { nights, top_pct, by })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn v5_ten_damp_nights_in_a_row_count_and_dry_ones_neither_count_nor_break_the_row() {
        let night = |day, top_pct, damp: bool| HumidNight {
            day,
            from_ms: day,
            top_pct,
            damp_by: damp.then(|| "ridge".to_owned()),
        };
        let mut nights: Vec<HumidNight> =
            (0..10).map(|day| night(day, 90.0 + day as f64 / 10.0, true)).collect();
        let low = ReadsLow { nights: 10, top_pct: 90.9, by: "ridge" };
        let by = |nights: &[HumidNight]| reads_low(nights.iter().rev(), 0).map(|it| (it.nights, it.top_pct));
        assert_eq!(reads_low(nights.iter().rev(), 0), Some(low));
        assert_eq!(reads_low(nights.iter().rev(), 1), None, "noted where it hangs since");
        assert_eq!(by(&nights[1..]), None);
        nights.push(night(10, 70.0, false));
        assert_eq!(by(&nights), Some((10, 90.9)));
        nights.push(night(11, 95.0, true));
        assert_eq!(by(&nights), None, "it can");
        let drought: Vec<HumidNight> = (0..30).map(|day| night(day, 85.0, false)).collect();
        assert_eq!(by(&drought), None);
    }
}
