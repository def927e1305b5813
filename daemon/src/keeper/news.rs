//! What the engine knows of the board and its sources besides readings: made from entries, so that a start and a look
//! back know the same.

use std::collections::BTreeMap;

use super::core::{Core, Moment};
use super::engine::Engine;
use crate::entry::{BoardNews, Entry, Note, Step};

/// Writes that took long are remembered for this long, ms.
pub const SLOW_WRITES_MS: i64 = 86_400_000;
/// Most of one day's that are entered: a card that is slow all day says nothing new.
const SLOW_WRITES: usize = 12;
/// Most changes of one source that are entered in a day: a line that comes and goes says nothing new.
const CHANGES: usize = 24;

/// Most stops and refusals that are entered in a day.
const MISHAPS: usize = 24;

/// What the card lost.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Loss {
    /// When that was entered, UTC ms.
    at_ms: i64,
    readings: u64,
    /// The newest commit that was seen, and the newest that was there at the start.
    seq: i64,
    began_seq: Option<i64>,
}

/// What is known of the board and its sources.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct News {
    /// Sources that are away, with the moment since when, UTC ms.
    away: BTreeMap<String, i64>,
    /// Since when each source was away last, also where it is back, UTC ms.
    outages: BTreeMap<String, i64>,
    /// Every source that ever was away, with the moments of its last changes, UTC ms.
    changes: BTreeMap<String, Vec<i64>>,
    /// Writes of the last day that took long: UTC ms, s.
    slow_writes: Vec<(i64, i64)>,
    /// Stops and refusals of the last day, with the moments at which they were entered, UTC ms.
    mishaps: Vec<(i64, BoardNews)>,
    /// When the service ran again after it last did not, UTC ms.
    ran_again_ms: Option<i64>,
    /// The chips that answered as each probe, with the moment since when, UTC ms: oldest first.
    chips: BTreeMap<String, Vec<(i64, u32)>>,
    /// What the card lost, one for each start after which it was seen.
    losses: Vec<Loss>,
    /// Why the clock is doubted.
    doubt: Option<String>,
}

impl News {
    /// What entries tell, in their order.
    fn of(entries: &[Entry]) -> Self {
        let mut news = Self::default();
        for entry in entries {
            match &entry.note {
                Note::Board(befell) => news.take(entry.at_ms, befell),
                // A backup brings along what an earlier card lost; it tells nothing of the one it was put back on.
                Note::Restored { other_board: false, .. } => news.losses.clear(),
                _ => {}
            }
        }
        news
    }

    /// Takes in what befell at a moment.
    pub fn take(&mut self, at_ms: i64, news: &BoardNews) {
        match news {
            BoardNews::Source { source, away_since_ms } => {
                match away_since_ms {
                    Some(since_ms) => {
                        self.away.insert(source.clone(), *since_ms);
                        self.outages.insert(source.clone(), *since_ms);
                    }
                    None => _ = self.away.remove(source),
                }
                let changes = self.changes.entry(source.clone()).or_default();
                changes.retain(|at| at_ms - at < SLOW_WRITES_MS);
                changes.push(at_ms);
            }
            BoardNews::SlowWrite { seconds } => {
                self.slow_writes.retain(|(at, _)| at_ms - at < SLOW_WRITES_MS);
                self.slow_writes.push((at_ms, *seconds));
            }
            BoardNews::Off { .. } | BoardNews::Refused { .. } => {
                if let BoardNews::Off { until_ms, .. } = news {
                    self.ran_again_ms = Some(*until_ms);
                }
                self.mishaps.retain(|(at, _)| at_ms - at < SLOW_WRITES_MS);
                self.mishaps.push((at_ms, news.clone()));
            }
            BoardNews::Lost { readings, seq, began_seq } => {
                // One page saw more of the same loss than another.
                self.losses.retain(|known| began_seq.is_none() || known.began_seq != *began_seq);
                let (readings, seq, began_seq) = (*readings, *seq, *began_seq);
                self.losses.push(Loss { at_ms, readings, seq, began_seq });
            }
            BoardNews::Chip { probe, serial } => {
                self.chips.entry(probe.clone()).or_default().push((at_ms, *serial));
            }
            BoardNews::Clock { doubt } => self.doubt.clone_from(doubt),
        }
    }

    /// Whether news is worth an entry: it says something that is not known, and not for the hundredth time today.
    fn is_worth(&self, at_ms: i64, news: &BoardNews) -> bool {
        match news {
            BoardNews::Source { source, away_since_ms } => {
                let lately =
                    |changes: &Vec<i64>| changes.iter().filter(|at| at_ms - **at < SLOW_WRITES_MS).count();
                let often = self.changes.get(source).map_or(0, lately) >= CHANGES;
                // That it is back is always worth knowing.
                self.away.contains_key(source) != away_since_ms.is_some()
                    && (away_since_ms.is_none() || !often)
            }
            BoardNews::SlowWrite { .. } => self.slow_writes(at_ms).count() < SLOW_WRITES,
            BoardNews::Off { .. } | BoardNews::Refused { .. } => self.mishaps(at_ms).count() < MISHAPS,
            BoardNews::Lost { seq, .. } => self.is_unknown_loss(*seq),
            BoardNews::Chip { probe, serial } => {
                let chips = self.chips_of(probe);
                let lately = chips.iter().filter(|(at, _)| at_ms - at < SLOW_WRITES_MS).count();
                lately < CHANGES && chips.last().is_none_or(|(_, last)| last != serial)
            }
            BoardNews::Clock { doubt } => self.doubt.is_some() != doubt.is_some(),
        }
    }

    /// Since when a source is away, UTC ms.
    pub fn away(&self) -> &BTreeMap<String, i64> {
        &self.away
    }

    /// Since when each source was away last, also where it is back: what fell silent with it has one cause, until it is
    /// heard again. UTC ms.
    pub fn outages(&self) -> &BTreeMap<String, i64> {
        &self.outages
    }

    /// Every source that ever was away.
    pub fn sources(&self) -> impl Iterator<Item = &str> {
        self.changes.keys().map(String::as_str)
    }

    /// Writes of the day before a moment that took long: UTC ms, s.
    pub fn slow_writes(&self, now_ms: i64) -> impl Iterator<Item = (i64, i64)> {
        self.slow_writes.iter().copied().filter(move |(at, _)| now_ms - at < SLOW_WRITES_MS)
    }

    /// Stops and refusals of the day before a moment, with when they were entered, UTC ms: oldest first.
    pub fn mishaps(&self, now_ms: i64) -> impl DoubleEndedIterator<Item = &(i64, BoardNews)> {
        self.mishaps.iter().filter(move |(at, _)| now_ms - at < SLOW_WRITES_MS)
    }

    /// When the service ran again after it last did not, as far as that was entered, UTC ms.
    pub fn ran_again_ms(&self) -> Option<i64> {
        self.ran_again_ms
    }

    /// Whether a loss up to this commit says more than is known: several pages may have seen it.
    pub fn is_unknown_loss(&self, seq: i64) -> bool {
        self.losses.iter().all(|known| known.seq < seq)
    }

    /// What the card lost since a moment: UTC ms, readings.
    pub fn losses(&self, since_ms: i64) -> impl Iterator<Item = (i64, u64)> {
        self.losses.iter().filter(move |it| it.at_ms > since_ms).map(|it| (it.at_ms, it.readings))
    }

    /// The chips that answered as a probe, with the moment since when, UTC ms: oldest first.
    pub fn chips_of(&self, probe: &str) -> &[(i64, u32)] {
        self.chips.get(probe).map_or(&[], Vec::as_slice)
    }

    /// The probe, other than this, as which a chip answered.
    pub fn was(&self, serial: u32, probe: &str) -> Option<&str> {
        let mut others = self.chips.iter().filter(|(other, _)| *other != probe);
        others.find(|(_, chips)| chips.iter().any(|(_, it)| *it == serial)).map(|(other, _)| other.as_str())
    }

    /// Why the clock is doubted.
    pub fn doubt(&self) -> Option<&str> {
        self.doubt.as_deref()
    }
}

impl Engine {
    /// Takes over what entries tell, at a start.
    pub(super) fn take_over_news(&mut self, entries: &[Entry]) {
        self.news = News::of(entries);
    }

    /// Takes in what befell at the present moment, and judges.
    pub(super) fn befell(&mut self, news: &BoardNews) -> Vec<Step> {
        self.news.take(self.now_ms(), news);
        self.judge()
    }
}

impl Core {
    /// Takes in what befell the board; the entry waits for the next [`flush`](Self::flush), as what is said to it does.
    /// Nothing where it is known already, or while nobody vouches for the clock.
    pub fn befell(&mut self, moment: Moment, news: BoardNews) {
        if !moment.trusted {
            return;
        }
        self.advance(moment);
        let at_ms = self.engine().now_ms();
        if self.engine().news().is_worth(at_ms, &news) {
            let steps = self.engine_mut().befell(&news);
            self.wait_for_news(at_ms, news, steps);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lost(readings: u64, seq: i64, began_seq: i64) -> BoardNews {
        BoardNews::Lost { readings, seq, began_seq: Some(began_seq) }
    }

    #[test]
    fn s3_two_pages_that_saw_one_loss_are_one_loss_and_the_larger_counts() {
        let mut news = News::default();
        news.take(1, &lost(41, 957, 950));
        news.take(2, &lost(44, 960, 950));
        assert_eq!(news.losses(0).collect::<Vec<_>>(), [(2, 44)]);
        news.take(3, &lost(5, 970, 965));
        assert_eq!(news.losses(0).count(), 2, "after another start it lost again");
        // Entries of an earlier program do not say from where.
        for at_ms in [4, 5] {
            news.take(at_ms, &BoardNews::Lost { readings: 1, seq: 980 + at_ms, began_seq: None });
        }
        assert_eq!(news.losses(0).count(), 4);
    }

    #[test]
    fn s3_what_an_earlier_card_lost_is_not_held_against_the_one_a_backup_was_put_back_on() {
        let entry = |id, note| Entry { id, at_ms: id, from_ms: id, note };
        let back = |other_board| Note::Restored { to_ms: 0, unsent: 0, other_board };
        let losses = |note| {
            let entries = [entry(1, Note::Board(lost(41, 957, 950))), entry(2, note)];
            News::of(&entries).losses(0).count()
        };
        assert_eq!(losses(back(false)), 0);
        assert_eq!(losses(back(true)), 1, "a card that was put into another board is the same card");
    }
}
