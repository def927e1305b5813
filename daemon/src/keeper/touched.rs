//! Which days an entry may change: only these are made afresh when it is noted late, or undone.

use crate::calendar::{Calendar, Day};
use crate::entry::{Entry, Note};
use crate::ground::{Ground, Planting};

/// Days at places.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Touched {
    pub(super) first: Day,
    /// Inclusive; `Day::MAX`: up to the present.
    pub(super) last: Day,
    pub(super) places: Vec<String>,
}

/// The days an entry touches on a ground: ask with the ground before it and with the ground after it, since a probe
/// leaves a place as it comes to another, and a planting may have ended on another day before.
pub(super) fn touched_by(
    entry: &Entry,
    ground: &Ground,
    entries: &[Entry],
    calendar: &Calendar,
) -> Option<Touched> {
    let from = calendar.day_of(entry.from_ms);
    let since = |first_ms: Option<i64>, place: &str| {
        let first_ms = first_ms.map_or(entry.from_ms, |it| it.min(entry.from_ms));
        Some(Touched { first: calendar.day_of(first_ms), last: Day::MAX, places: vec![place.to_owned()] })
    };
    let of_planting = |planting: &str, what: fn(&Planting) -> Option<i64>| {
        let planting = ground.planting(planting)?;
        since(what(planting), &planting.place)
    };
    match &entry.note {
        Note::Undo { entry: undone } => {
            let undone = entries.iter().find(|it| it.id == *undone)?;
            touched_by(undone, ground, entries, calendar)
        }
        // Read in the morning, the highest belongs to the day before.
        Note::Thermometer { place, .. } => {
            Some(Touched { first: from - 1, last: from, places: vec![place.clone()] })
        }
        Note::Place { place, .. } => since(None, place),
        Note::Planting { planting, place, .. } => {
            let ended_ms = ground.planting(planting).and_then(|it| it.ended_ms);
            let last = ended_ms.map_or(Day::MAX, |ended| calendar.day_of(ended));
            since(None, place).map(|touched| Touched { last, ..touched })
        }
        // They hold for all of the planting's life, whenever they were noted: before its first flower it had none.
        Note::OwnFigure { planting, .. } | Note::FirstFlower { planting } | Note::FirstRipe { planting } => {
            of_planting(planting, |it| Some(it.from_ms))
        }
        Note::End { planting } => of_planting(planting, |it| it.ended_ms),
        Note::Hang { probe, .. } => Some(hung(entry.from_ms, probe, ground, calendar)),
        _ => None,
    }
}

/// From where a probe is hung to where it is hung next, wherever it hangs meanwhile, and the day after by what is
/// carried over midnight.
fn hung(from_ms: i64, probe: &str, ground: &Ground, calendar: &Calendar) -> Touched {
    let hangs = || ground.hangs.iter().filter(|hang| hang.probe == probe);
    let next_ms = hangs().map(|hang| hang.from_ms).filter(|next| *next > from_ms).min();
    let meanwhile = hangs().filter(|hang| hang.overlaps(from_ms, next_ms.unwrap_or(i64::MAX)));
    Touched {
        first: calendar.day_of(from_ms),
        last: next_ms.map_or(Day::MAX, |next| calendar.day_of(next) + 1),
        places: meanwhile.map(|hang| hang.place.clone()).collect(),
    }
}
