//! What stands where, as the notes say it: places, plantings, probes, and what the grower did.
//!
//! The ground is a pure function of the entries that count. It is made anew after each entry (there are
//! hundreds, not millions), so an undone or back-dated entry needs no special care here.

use std::collections::{BTreeMap, BTreeSet};

use agronomy::crop::figures::OwnFigures;
use agronomy::quantity::Surroundings;

use crate::couriers::web_push::phones::Phones;
use crate::entry::{Began, Entry, Note, PlaceKind};

mod check;
#[cfg(test)]
pub(crate) mod fixture;

pub use check::check;

/// A place where crops stand.
#[derive(Clone, Debug, PartialEq)]
pub struct Place {
    /// Identifier.
    pub id: String,
    /// What the grower calls it.
    pub name: String,
    /// Which kind.
    pub kind: PlaceKind,
}

/// One crop in one place.
#[derive(Clone, Debug, PartialEq)]
pub struct Planting {
    /// Identifier.
    pub id: String,
    /// Key in the crop book.
    pub crop: String,
    /// Where it stands.
    pub place: String,
    /// The variety.
    pub variety: Option<String>,
    /// How many plants.
    pub count: Option<u32>,
    /// Volume of mix for each plant, L, where it stands in a container.
    pub container_l: Option<f64>,
    /// Sown or planted out.
    pub began: Began,
    /// Since when, UTC ms.
    pub from_ms: i64,
    /// Ended, UTC ms.
    pub ended_ms: Option<i64>,
    /// First flower noted, UTC ms.
    pub first_flower_ms: Option<i64>,
    /// First ripe fruit noted, UTC ms.
    pub first_ripe_ms: Option<i64>,
    /// The grower's own figures in the place of the book's, by dotted name.
    pub figures: OwnFigures,
}

impl Planting {
    /// Whether it stands at an instant.
    pub fn stands_at(&self, at_ms: i64) -> bool {
        self.from_ms <= at_ms && self.ended_ms.is_none_or(|ended| at_ms < ended)
    }
}

/// A probe at a place for a while.
#[derive(Clone, Debug, PartialEq)]
pub struct Hang {
    /// Which probe.
    pub probe: String,
    /// Where.
    pub place: String,
    /// From when, UTC ms.
    pub from_ms: i64,
    /// Until when, UTC ms.
    pub until_ms: Option<i64>,
    /// Height above ground, m.
    pub height_m: Option<f64>,
    /// How it is sheltered.
    pub shelter: Option<String>,
    /// The usual interval between two readings, ms.
    pub usual_interval_ms: i64,
}

impl Hang {
    /// Whether it hangs there at some moment of a stretch.
    pub fn overlaps(&self, from_ms: i64, until_ms: i64) -> bool {
        self.from_ms < until_ms && self.until_ms.is_none_or(|until| until > from_ms.max(self.from_ms))
    }
}

/// What stands where.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Ground {
    /// In the order they were noted.
    pub places: Vec<Place>,
    /// In the order they were noted.
    pub plantings: Vec<Planting>,
    /// In the order they were noted.
    pub hangs: Vec<Hang>,
    /// Under which voltage a probe's battery is low, V, as noted last.
    pub battery_lines: BTreeMap<String, f64>,
    /// Diary, outlook and ground entries that count, in commit order.
    pub entries: Vec<Entry>,
    /// Which phones receive notices.
    pub phones: Phones,
}

impl Ground {
    /// The ground that these entries (in commit order) make.
    pub fn of(entries: &[Entry]) -> Self {
        let undone: BTreeSet<i64> = entries
            .iter()
            .filter_map(|entry| match entry.note {
                Note::Undo { entry } => Some(entry),
                _ => None,
            })
            .collect();
        let mut ground = Self { phones: Phones::of(entries), ..Self::default() };
        for entry in entries.iter().filter(|entry| !undone.contains(&entry.id)) {
            ground.take(entry);
        }
        ground
    }

    fn take(&mut self, entry: &Entry) {
        let from_ms = entry.from_ms;
        match &entry.note {
            Note::Place { place, name, kind } => {
                self.places.push(Place { id: place.clone(), name: name.clone(), kind: *kind });
            }
            Note::Planting { planting, crop, place, variety, count, began, container_l } => {
                self.plantings.push(Planting {
                    id: planting.clone(),
                    crop: crop.clone(),
                    place: place.clone(),
                    variety: variety.clone(),
                    count: *count,
                    container_l: *container_l,
                    began: *began,
                    from_ms,
                    ended_ms: None,
                    first_flower_ms: None,
                    first_ripe_ms: None,
                    figures: OwnFigures::new(),
                });
            }
            Note::Hang { probe, place, height_m, shelter, usual_interval_s } => {
                self.hang(Hang {
                    probe: probe.clone(),
                    place: place.clone(),
                    from_ms,
                    until_ms: None,
                    height_m: *height_m,
                    shelter: shelter.clone(),
                    usual_interval_ms: i64::from(*usual_interval_s) * 1000,
                });
            }
            Note::BatteryLine { probe, low_v } => _ = self.battery_lines.insert(probe.clone(), *low_v),
            Note::End { planting } => self.with_planting(planting, |it| it.ended_ms = Some(from_ms)),
            Note::OwnFigure { planting, figure, from, to } => self.with_planting(planting, |it| {
                it.figures.insert(figure.clone(), [*from, to.unwrap_or(*from)]);
            }),
            Note::FirstFlower { planting } => {
                self.with_planting(planting, |it| it.first_flower_ms = Some(from_ms));
            }
            Note::FirstRipe { planting } => {
                self.with_planting(planting, |it| it.first_ripe_ms = Some(from_ms));
            }
            Note::Undo { .. }
            | Note::Reply { .. }
            | Note::Seen { .. }
            | Note::Phone { .. }
            | Note::PhoneGone { .. } => return,
            note if note.is_told() => return,
            _ => {}
        }
        self.entries.push(entry.clone());
    }

    /// A probe hangs in one place at a time: each hanging ends where the next begins, whichever was noted first.
    /// Of two from the same moment the one noted later holds.
    fn hang(&mut self, mut new: Hang) {
        for other in self.hangs.iter_mut().filter(|other| other.probe == new.probe) {
            let (ends, from_ms) = if other.from_ms <= new.from_ms {
                (&mut other.until_ms, new.from_ms)
            } else {
                (&mut new.until_ms, other.from_ms)
            };
            *ends = Some(ends.map_or(from_ms, |until| until.min(from_ms)));
        }
        self.hangs.push(new);
    }

    fn with_planting(&mut self, id: &str, change: impl FnOnce(&mut Planting)) {
        if let Some(planting) = self.plantings.iter_mut().find(|planting| planting.id == id) {
            change(planting);
        }
    }

    /// The place with this identifier.
    pub fn place(&self, id: &str) -> Option<&Place> {
        self.places.iter().find(|place| place.id == id)
    }

    /// The planting with this identifier.
    pub fn planting(&self, id: &str) -> Option<&Planting> {
        self.plantings.iter().find(|planting| planting.id == id)
    }

    /// Where a probe hangs at an instant.
    pub fn hang_at(&self, probe: &str, at_ms: i64) -> Option<&Hang> {
        self.hangs.iter().find(|hang| hang.probe == probe && hang.overlaps(at_ms, at_ms + 1))
    }

    /// Since when a probe hangs anywhere, UTC ms.
    pub fn hung_since_ms(&self, probe: &str) -> Option<i64> {
        self.hangs.iter().filter(|hang| hang.probe == probe).map(|hang| hang.from_ms).min()
    }

    /// What is around a probe at an instant, for what it may say; one that hangs nowhere might hang under cover.
    pub fn around(&self, probe: &str, at_ms: i64) -> Surroundings {
        let hung = self.hang_at(probe, at_ms).and_then(|hang| self.place(&hang.place));
        match hung.map(|place| place.kind) {
            Some(PlaceKind::Heap) => Surroundings::Compost,
            Some(kind) if !kind.under_cover() => Surroundings::Open,
            _ => Surroundings::UnderCover,
        }
    }

    /// The marks of a soil moisture probe that hold at an instant: % by volume when dry and when wet.
    pub fn marks(&self, probe: &str, at_ms: i64) -> Option<(f64, f64)> {
        let of_probe = self.entries.iter().filter(|entry| entry.from_ms <= at_ms).filter_map(|entry| {
            match &entry.note {
                Note::Marks { probe: whose, dry_pct, wet_pct } if whose == probe => {
                    Some((entry.from_ms, (*dry_pct, *wet_pct)))
                }
                _ => None,
            }
        });
        of_probe.max_by_key(|(from_ms, _)| *from_ms).map(|(_, marks)| marks)
    }

    /// Probes that hang at a place at some moment of a stretch, in the order they were hung.
    pub fn hangs_in<'a>(
        &'a self,
        place: &'a str,
        from_ms: i64,
        until_ms: i64,
    ) -> impl Iterator<Item = &'a Hang> {
        self.hangs.iter().filter(move |hang| hang.place == place && hang.overlaps(from_ms, until_ms))
    }

    /// The usual interval of a probe wherever it hung last, ms; ten minutes where it never hung.
    pub fn usual_interval_ms(&self, probe: &str) -> i64 {
        self.hangs
            .iter()
            .rev()
            .find(|hang| hang.probe == probe)
            .map_or(10 * 60_000, |hang| hang.usual_interval_ms)
    }

    /// Plantings of a place that stand at an instant.
    pub fn standing<'a>(&'a self, place: &'a str, at_ms: i64) -> impl Iterator<Item = &'a Planting> {
        self.plantings.iter().filter(move |planting| planting.place == place && planting.stands_at(at_ms))
    }

    /// The last note about vents (or shade) of a place up to an instant.
    pub fn last_set(
        &self,
        place: &str,
        at_ms: i64,
        which: fn(&Note) -> Option<(&str, bool)>,
    ) -> Option<bool> {
        self.entries
            .iter()
            .filter(|entry| entry.from_ms <= at_ms)
            .filter_map(|entry| {
                which(&entry.note).filter(|(whose, _)| *whose == place).map(|(_, set)| (entry.from_ms, set))
            })
            .max_by_key(|(from_ms, _)| *from_ms)
            .map(|(_, set)| set)
    }
}

/// Reads a note about vents: whose, and whether open.
pub fn vents(note: &Note) -> Option<(&str, bool)> {
    match note {
        Note::Vents { place, open } => Some((place, *open)),
        _ => None,
    }
}

/// Reads a note about shade: whose, and whether on.
pub fn shade(note: &Note) -> Option<(&str, bool)> {
    match note {
        Note::Shade { place, on } => Some((place, *on)),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entry(id: i64, from_ms: i64, note: Note) -> Entry {
        Entry { id, at_ms: from_ms, from_ms, note }
    }

    fn hang(probe: &str, place: &str) -> Note {
        Note::Hang {
            probe: probe.into(),
            place: place.into(),
            height_m: None,
            shelter: None,
            usual_interval_s: 60,
        }
    }

    #[test]
    fn a_probe_hangs_in_one_place_at_a_time() {
        let ground = Ground::of(&[entry(1, 0, hang("p", "house")), entry(2, 100, hang("p", "bed"))]);
        assert_eq!((ground.hung_since_ms("p"), ground.hung_since_ms("q")), (Some(0), None));
        assert_eq!(ground.hang_at("p", 99).map(|hang| hang.place.as_str()), Some("house"));
        assert_eq!(ground.hang_at("p", 100).map(|hang| hang.place.as_str()), Some("bed"));
    }

    #[test]
    fn a_move_noted_late_holds_until_the_next_one() {
        let ground = Ground::of(&[
            entry(1, 0, hang("p", "house")),
            entry(2, 100, hang("p", "bed")),
            entry(3, 50, hang("p", "pots")),
        ]);
        let at = |at_ms| ground.hang_at("p", at_ms).map(|hang| hang.place.as_str());
        assert_eq!(
            [at(49), at(50), at(99), at(100)],
            [Some("house"), Some("pots"), Some("pots"), Some("bed")]
        );
    }

    #[test]
    fn of_two_hangings_from_the_same_moment_the_one_noted_later_holds() {
        let ground = Ground::of(&[entry(1, 10, hang("p", "house")), entry(2, 10, hang("p", "bed"))]);
        assert_eq!(ground.hang_at("p", 10).map(|hang| hang.place.as_str()), Some("bed"));
        assert_eq!(ground.hangs_in("house", 0, 1_000).count(), 0);
    }

    #[test]
    fn the_newest_marks_of_a_probe_hold_from_their_own_moment_on() {
        let marks = |wet_pct| Note::Marks { probe: "pot".into(), dry_pct: 10.0, wet_pct };
        let ground = Ground::of(&[entry(1, 100, marks(30.0)), entry(2, 50, marks(40.0))]);
        assert_eq!(
            [49, 99, 100].map(|at| ground.marks("pot", at)),
            [None, Some((10.0, 40.0)), Some((10.0, 30.0))]
        );
        assert_eq!(ground.marks("bed", 200), None);
    }

    #[test]
    fn what_is_undone_never_was() {
        let planting = Note::Planting {
            planting: "t".into(),
            crop: "tomato".into(),
            place: "house".into(),
            variety: None,
            count: None,
            began: Began::PlantedOut,
            container_l: None,
        };
        let entries = [
            entry(1, 0, planting),
            entry(2, 50, Note::End { planting: "t".into() }),
            entry(3, 60, Note::Undo { entry: 2 }),
        ];
        let ground = Ground::of(&entries);
        assert_eq!(ground.planting("t").and_then(|it| it.ended_ms), None);
        assert_eq!(ground.entries.len(), 1);
    }
}
