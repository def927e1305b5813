//! A probe that speaks and cannot be believed.
//!
//! Grading says of each reading what it is worth; this looks at three hours of them. A probe is doubtful when half of
//! what it says is, or when it says what no air does: the same to the last digit for hours (a stuck chip, a frozen
//! feed), saturated for half a day while the warmth about it swings (a film of water on the sensor), a leap from one
//! reading to the next, a step that no probe beside it makes, or for hours something else than they. Such a probe is
//! worse than a silent one, for its place seems to be watched. Where it may have been moved, or exchanged for another,
//! the grower is asked; it stays in doubt until somebody notes where it hangs, a night passes in which it agrees with
//! those beside it, or the chip that was known is back.

mod beside;
mod low;
mod moved;
mod words;

use std::collections::BTreeSet;

use agronomy::crop::Severity;
use agronomy::quantity::Quantity;
use agronomy::series::MS_PER_HOUR;

pub use self::beside::Neighbour;
use self::beside::{Apart, MORNING_H, agrees, apart, leap};
pub use self::low::{ReadsLow, reads_low};
pub use self::moved::NewChip;
use self::moved::{Jump, NIGHT_FROM_H};
use super::book::{Book, Open};
use super::word::{Says, Verdict};
use crate::keeper::tracks::Taken;
use crate::reading::{Grade, Reason};

/// For how long it must go on before it is told, ms (practice).
pub const LOOKED_AT_MS: i64 = 3 * MS_PER_HOUR;
/// For how long humidity must be saturated to be called a wet film, ms (practice).
pub const WET_FILM_MS: i64 = 12 * MS_PER_HOUR;
/// Saturated to the last digit, % (practice).
const WET_FILM_PCT: f64 = 99.5;
/// How far the air must swing meanwhile, °C (practice).
const WET_FILM_SWING_C: f64 = 5.0;
/// Fewest equal readings in a row that are no chance (practice).
const STUCK_READINGS: usize = 10;
/// Humidity from which on it may stand still by itself, % (practice).
const STILL_FROM_PCT: f64 = 95.0;
/// It is sound again when less than this share of the last hour is not.
const SOUND_AGAIN: f64 = 0.1;

/// The name of the minder.
pub const DOUBTFUL: &str = "probe-doubtful";

/// What its notice speaks of where air temperature is not to be believed although each reading seems sound. It is kept
/// with the notice's steps, so that a restart knows it.
const STUCK: &str = "air-stuck";
const LEAPT: &str = "air-leapt";
const APART: &str = "air-apart";
const MOVED: &str = "air-moved";
const CHIP: &str = "other-chip";

/// Whether an open notice says that the probe's sound readings of air temperature are not to be believed.
pub fn doubts_air(open: &Open) -> bool {
    [STUCK, LEAPT, APART, MOVED, CHIP].iter().any(|why| open.inside.contains_key(*why))
}

/// The same of what is said at this moment; none where it is not known.
pub fn doubts_air_now(verdict: &Verdict) -> Option<bool> {
    match verdict.says {
        Says::Word(_) => Some(!verdict.each.is_empty()),
        Says::Clear { .. } | Says::Came { .. } => Some(false),
        Says::Meanwhile(_) | Says::Unknown => None,
    }
}

/// Whether an open notice was told because the probe stood apart from others.
pub fn tells_apart(open: &Open) -> bool {
    open.inside.contains_key(APART)
}

/// Since when the open notice of a probe asks whether it was moved, UTC ms.
pub fn asked_ms(book: &Book, probe: &str) -> Option<i64> {
    let open = book.get(probe, DOUBTFUL)?;
    open.inside.contains_key(MOVED).then(|| book.said_inside_ms(probe, MOVED))?
}

/// One quantity of a probe over the last twelve hours.
#[derive(Clone, Copy, Debug)]
pub struct SeriesNow<'a> {
    /// What it measures.
    pub quantity: Quantity,
    /// All readings of the last twelve hours, of any grade, in order.
    pub taken: &'a [Taken],
}

/// A probe at a moment.
#[derive(Clone, Debug, Default)]
pub struct ProbeSays<'a> {
    /// The moment, UTC ms.
    pub now_ms: i64,
    /// Its name.
    pub probe: &'a str,
    /// Where it hangs.
    pub place_name: &'a str,
    /// Its usual interval, ms.
    pub usual_interval_ms: i64,
    /// All that it measures.
    pub series: Vec<SeriesNow<'a>>,
    /// How far the air of its place swung in the last twelve hours, °C.
    pub air_swing_c: Option<f64>,
    /// The hour of the day by standard time.
    pub hour: f64,
    /// The same of the day's sunrise.
    pub sunrise_h: f64,
    /// Other probes of air that hang where it should agree with them, heard or not.
    pub neighbours: Vec<Neighbour<'a>>,
    /// Its notice stands and was told because it stood apart from them.
    pub told_apart: bool,
    /// Whether its place is under cover.
    pub covered: bool,
    /// When it was last noted where it hangs, or since when it hangs there, whichever is later, UTC ms: what it did before
    /// is answered for.
    pub placed_ms: i64,
    /// Its notice stands and asks whether it was moved, and nobody has noted since where it hangs.
    pub told_moved: bool,
    /// Another chip answers as this probe, and nobody has noted since where it hangs.
    pub new_chip: Option<NewChip<'a>>,
    /// Its humidity never comes near saturation, though its air does.
    pub reads_low: Option<ReadsLow<'a>>,
}

impl ProbeSays<'_> {
    /// Whether it is night: until sunrise, or six where that is earlier, and from an hour of standard time on.
    fn is_night(&self, from_h: f64) -> bool {
        self.hour < MORNING_H.min(self.sunrise_h) || self.hour >= from_h
    }
}

/// What is to be thought of one series.
#[derive(Clone, Debug, PartialEq)]
enum Thought<'a> {
    Sound,
    Unknown,
    Doubtful(Why<'a>),
}

/// Why a series is doubtful.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Why<'a> {
    Graded { reason: Reason, share_pct: f64 },
    Stuck,
    WetFilm,
    ReadsLow(ReadsLow<'a>),
    Leapt { by_c: f64 },
    Moved(Jump<'a>),
    Apart(Apart<'a>),
}

/// Judges a probe at a moment. The notice's place is the probe's name.
pub fn judge(now: &ProbeSays<'_>) -> Verdict {
    if let Some(chip) = &now.new_chip {
        let told = Verdict::word(DOUBTFUL, now.probe, words::of_chip(now, *chip));
        return told.speaking_of([(CHIP.to_owned(), Severity::Minor)].into_iter());
    }
    // What else is wrong meanwhile settles no question.
    let standing = [(now.told_moved, MOVED), (now.told_apart, APART)];
    let standing = standing.iter().filter(|(stands, _)| *stands).map(|(_, why)| *why);
    let mut unknown = true;
    for series in &now.series {
        match thought(now, series) {
            Thought::Doubtful(why) => {
                let told = Verdict::word(DOUBTFUL, now.probe, words::of(now, series.quantity, why));
                let each: BTreeSet<&str> = of_air(series.quantity, why).into_iter().chain(standing).collect();
                return told.speaking_of(each.into_iter().map(|why| (why.to_owned(), Severity::Minor)));
            }
            Thought::Sound => unknown = false,
            // One that is not sent any more keeps nothing open beside one that is sound.
            Thought::Unknown => {}
        }
    }
    // Where none hangs beside it nothing but the answer says that it is where it was.
    let unanswered = now.told_moved && (now.neighbours.iter().all(|it| it.outside) || !agrees_again(now));
    if unknown || unanswered || now.told_apart && !agrees_again(now) {
        return Verdict::unknown(DOUBTFUL, now.probe);
    }
    let text = format!("{}: {} has been sound for an hour.", now.place_name, now.probe);
    Verdict::clear(DOUBTFUL, now.probe, "Sound again.", text)
}

/// What the notice speaks of, where it is that sound readings of air temperature are not to be believed.
fn of_air(quantity: Quantity, why: Why<'_>) -> Option<&'static str> {
    let key = match why {
        Why::Stuck => STUCK,
        Why::Leapt { .. } => LEAPT,
        Why::Moved(_) => MOVED,
        Why::Apart(_) => APART,
        Why::Graded { .. } | Why::WetFilm | Why::ReadsLow(_) => return None,
    };
    (quantity == Quantity::AirTemperature).then_some(key)
}

fn agrees_again(now: &ProbeSays<'_>) -> bool {
    let mut air = now.series.iter().filter(|it| it.quantity == Quantity::AirTemperature);
    air.any(|it| agrees(it.taken, &now.neighbours, now.now_ms, now.is_night(24.0)))
}

fn thought<'a>(now: &ProbeSays<'a>, series: &SeriesNow<'_>) -> Thought<'a> {
    let within = |span_ms: i64| {
        let first = series.taken.partition_point(|(at, ..)| *at <= now.now_ms - span_ms);
        &series.taken[first..]
    };
    let held_ms = 2 * now.usual_interval_ms;
    let live = series.taken.last().is_some_and(|(at, ..)| now.now_ms - at < held_ms);
    let whole = |taken: &[Taken], span_ms: i64| {
        live && taken.first().is_some_and(|(at, ..)| *at <= now.now_ms - span_ms + held_ms)
    };
    let (lately, hour) = (within(LOOKED_AT_MS), within(MS_PER_HOUR));
    if whole(lately, LOOKED_AT_MS) {
        let share = unsound(lately);
        if share >= 0.5
            && let Some(reason) = commonest(lately)
        {
            return Thought::Doubtful(Why::Graded { reason, share_pct: 100.0 * share });
        }
        if stuck(series.quantity, lately) {
            return Thought::Doubtful(Why::Stuck);
        }
    }
    let half_a_day = within(WET_FILM_MS);
    let swung = now.air_swing_c.is_some_and(|swing| swing > WET_FILM_SWING_C);
    if swung && whole(half_a_day, WET_FILM_MS) && wet_film(series.quantity, half_a_day) {
        return Thought::Doubtful(Why::WetFilm);
    }
    if live
        && series.quantity == Quantity::RelativeHumidity
        && let Some(low) = now.reads_low
    {
        return Thought::Doubtful(Why::ReadsLow(low));
    }
    if live && series.quantity == Quantity::AirTemperature {
        let placed = &series.taken[series.taken.partition_point(|(at, ..)| *at < now.placed_ms)..];
        if let Some(by_c) = leap(placed, now.now_ms) {
            return Thought::Doubtful(Why::Leapt { by_c });
        }
        if let Some(jump) =
            moved::jump(placed, &now.neighbours, now.covered, now.now_ms, now.is_night(NIGHT_FROM_H))
        {
            return Thought::Doubtful(Why::Moved(jump));
        }
        // Where it was carried it stands apart from those it left: that is the same question.
        if !now.told_moved
            && let Some(apart) =
                apart(now.probe, series.taken, &now.neighbours, now.now_ms, now.is_night(24.0))
        {
            return Thought::Doubtful(Why::Apart(apart));
        }
    }
    if live && hour.len() >= 2 && unsound(hour) < SOUND_AGAIN { Thought::Sound } else { Thought::Unknown }
}

/// Share of readings that are not sound, 0..1.
fn unsound(taken: &[Taken]) -> f64 {
    let bad = taken.iter().filter(|(.., reason)| reason.grade() != Grade::Sound).count();
    bad as f64 / taken.len().max(1) as f64
}

/// The commonest reason why readings are not sound; of equals the first.
fn commonest(taken: &[Taken]) -> Option<Reason> {
    let mut counts = std::collections::BTreeMap::<Reason, usize>::new();
    for (.., reason) in taken.iter().filter(|(.., reason)| reason.grade() != Grade::Sound) {
        *counts.entry(*reason).or_default() += 1;
    }
    counts.into_iter().rev().max_by_key(|(_, count)| *count).map(|(reason, _)| reason)
}

/// Whether sound readings are all the same, of a quantity that never stands still.
fn stuck(quantity: Quantity, taken: &[Taken]) -> bool {
    let mut sound = taken.iter().filter(|(.., reason)| reason.grade() == Grade::Sound).map(|taken| taken.1);
    let Some(first) = sound.next() else { return false };
    let moves = match quantity {
        Quantity::AirTemperature | Quantity::LeafTemperature => true,
        Quantity::RelativeHumidity => first < STILL_FROM_PCT,
        _ => false,
    };
    let mut count = 1;
    moves
        && sound.all(|value| {
            count += 1;
            value == first
        })
        && count >= STUCK_READINGS
}

fn wet_film(quantity: Quantity, taken: &[Taken]) -> bool {
    quantity == Quantity::RelativeHumidity && taken.iter().all(|(_, value, _)| *value >= WET_FILM_PCT)
}

#[cfg(test)]
#[path = "doubtful_tests.rs"]
mod tests;
