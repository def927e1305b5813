//! The last days of readings in memory: what the minders look at, and what a closing day is made from.

use std::collections::BTreeMap;
use std::ops::Range;

use agronomy::quantity::Quantity;
use agronomy::series::MS_PER_HOUR;

use crate::almanac::pages::Readings;
use crate::reading::{Grade, Reading, Reason};

/// How much is kept, ms: today, yesterday, and the evening before for the night.
const KEPT_MS: i64 = 54 * MS_PER_HOUR;

/// A reading as it is remembered: UTC ms, value, why it has its grade.
pub type Taken = (i64, f64, Reason);

/// One quantity of one probe.
#[derive(Clone, Debug, Default, PartialEq)]
struct Track {
    /// By time; of several with one time, in order of arrival.
    recent: Vec<Taken>,
    /// Oldest moment that is surely whole in `recent`.
    whole_from_ms: i64,
}

/// All tracks.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tracks {
    tracks: BTreeMap<(String, Quantity), Track>,
}

/// What is known of an earlier reading at the same moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Known {
    /// Nothing at that moment.
    Nothing,
    /// A reading with this value.
    Value(f64),
    /// The moment lies before what memory holds: ask the ledger.
    Forgotten,
}

impl Tracks {
    /// States that the ledger holds older readings of a series, which memory has only from a moment on.
    pub fn remember_from(&mut self, probe: &str, quantity: Quantity, from_ms: i64) {
        let key = (probe.to_owned(), quantity);
        self.tracks.entry(key).or_default().whole_from_ms = from_ms;
    }

    /// Takes in a graded reading at a moment (UTC ms). What is repeated leaves no trace here.
    pub fn take(&mut self, reading: &Reading, now_ms: i64) {
        if reading.reason == Reason::Repeated {
            return;
        }
        let key = (reading.probe.to_string(), reading.quantity);
        // A series that begins here has no past that memory could lack.
        let new = || Track { recent: Vec::new(), whole_from_ms: i64::MIN };
        let track = self.tracks.entry(key).or_insert_with(new);
        if reading.at_ms < track.whole_from_ms {
            return;
        }
        let place = track.recent.partition_point(|(at, ..)| *at <= reading.at_ms);
        track.recent.insert(place, (reading.at_ms, reading.value, reading.reason));
        let newest = track.recent.last().map_or(reading.at_ms, |(at, ..)| *at);
        // Trimmed now and then, not at each reading: a drain moves the whole track.
        // A stamp in the future is no reason to forget the present.
        let keep_from = newest.min(now_ms).saturating_sub(KEPT_MS);
        let old = track.recent.partition_point(|(at, ..)| *at < keep_from);
        if old > 256 || old * 2 > track.recent.len() {
            track.recent.drain(..old);
            track.whole_from_ms = track.whole_from_ms.max(keep_from);
        }
    }

    /// What is known at exactly this moment; refused readings do not count. Of a series nobody spoke of there is none.
    pub fn at(&self, probe: &str, quantity: Quantity, at_ms: i64) -> Known {
        let Some(track) = self.tracks.get(&(probe.to_owned(), quantity)) else { return Known::Nothing };
        if at_ms < track.whole_from_ms {
            return Known::Forgotten;
        }
        let first = track.recent.partition_point(|(at, ..)| *at < at_ms);
        track.recent[first..]
            .iter()
            .take_while(|(at, ..)| *at == at_ms)
            .find(|(.., reason)| reason.grade() != Grade::Refused)
            .map_or(Known::Nothing, |(_, value, _)| Known::Value(*value))
    }

    /// Newest sound reading up to a moment (UTC ms, value).
    pub fn newest(&self, probe: &str, quantity: Quantity, until_ms: i64) -> Option<(i64, f64)> {
        let track = self.tracks.get(&(probe.to_owned(), quantity))?;
        let until = track.recent.partition_point(|(at, ..)| *at <= until_ms);
        track.recent[..until]
            .iter()
            .rev()
            .find(|(.., reason)| reason.grade() == Grade::Sound)
            .map(|(at, value, _)| (*at, *value))
    }

    /// All readings of a series in a stretch, of any grade.
    pub fn taken(&self, probe: &str, quantity: Quantity, range: &Range<i64>) -> &[Taken] {
        let Some(track) = self.tracks.get(&(probe.to_owned(), quantity)) else { return &[] };
        let at = |ms: i64| track.recent.partition_point(|(at, ..)| *at < ms);
        track.recent.get(at(range.start)..at(range.end)).unwrap_or_default()
    }

    /// Quantities a probe has been heard with.
    pub fn quantities(&self, probe: &str) -> Vec<Quantity> {
        self.of_probe(probe).map(|(quantity, _)| quantity).collect()
    }

    /// Names of all probes that were heard.
    pub fn probes(&self) -> std::collections::BTreeSet<&str> {
        self.tracks.keys().map(|(name, _)| name.as_str()).collect()
    }

    /// When a probe last said anything sound or doubtful, by its stamps up to a moment, UTC ms.
    pub fn last_heard(&self, probe: &str, until_ms: i64) -> Option<i64> {
        self.of_probe(probe)
            .filter_map(|(_, track)| {
                let until = track.recent.partition_point(|(at, ..)| *at <= until_ms);
                track.recent[..until].iter().rev().find(|(.., reason)| reason.grade() != Grade::Refused)
            })
            .map(|(at, ..)| *at)
            .max()
    }

    fn of_probe<'a>(&'a self, probe: &'a str) -> impl Iterator<Item = (Quantity, &'a Track)> {
        let tracks = self.tracks.iter().filter(move |((name, _), _)| name == probe);
        tracks.map(|((_, quantity), track)| (*quantity, track))
    }
}

impl Readings for Tracks {
    fn sound(&self, probe: &str, quantity: Quantity, range: Range<i64>) -> Vec<(i64, f64)> {
        let Some(track) = self.tracks.get(&(probe.to_owned(), quantity)) else { return Vec::new() };
        sound_of(&track.recent, &range)
    }

    fn heard(&self, probe: &str, range: Range<i64>) -> bool {
        self.of_probe(probe).any(|(_, track)| track.recent.iter().any(|(at, ..)| range.contains(at)))
    }
}

fn sound_of(readings: &[Taken], range: &Range<i64>) -> Vec<(i64, f64)> {
    let first = readings.partition_point(|(at, ..)| *at < range.start);
    readings[first..]
        .iter()
        .take_while(|(at, ..)| *at < range.end)
        .filter(|(.., reason)| reason.grade() == Grade::Sound)
        .map(|(at, value, _)| (*at, *value))
        .collect()
}
