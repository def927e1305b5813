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
    /// What the card lost: UTC ms, readings, the newest commit that was seen.
    losses: Vec<(i64, u64, i64)>,
    /// Why the clock is doubted.
    doubt: Option<String>,
}

impl News {
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
            BoardNews::Lost { readings, seq } => self.losses.push((at_ms, *readings, *seq)),
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
        self.losses.iter().all(|(.., known)| *known < seq)
    }

    /// What the card lost since a moment: UTC ms, readings.
    pub fn losses(&self, since_ms: i64) -> impl Iterator<Item = (i64, u64)> {
        self.losses.iter().filter(move |(at, ..)| *at > since_ms).map(|(at, readings, _)| (*at, *readings))
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
        self.news = News::default();
        for entry in entries {
            if let Note::Board(news) = &entry.note {
                self.news.take(entry.at_ms, news);
            }
        }
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
