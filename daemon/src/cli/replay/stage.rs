//! What is replayed: the site, what stands where, and the diary.

use std::collections::BTreeSet;
use std::path::Path;

use config::zone::Zones;

use super::args::ReplayArgs;
use super::change::{Figure, with_figures};
use super::diary::{self, Dated};
use super::past::Past;
use crate::calendar::Calendar;
use crate::cli::Trouble;
use crate::cli::target::{crop_book, read_site, read_text, said};
use crate::entry::{Fenced, Note, PlaceKind};
use crate::record::{self, Recorded};
use crate::service::settings::{site, start_notes, usual};
use crate::site::Site;

/// The stage that readings are replayed on.
#[derive(Clone)]
pub(super) struct Stage {
    pub(super) site: Site,
    /// What stands where, each from its own moment on.
    pub(super) ground: Dated,
    /// What was noted meanwhile, by time.
    pub(super) diary: Dated,
    /// Damaged rows of the ledger whose readings are not among those that are replayed.
    pub(super) lost: Vec<Fenced>,
}

impl Stage {
    /// The readings and their stage, as the options say.
    pub(super) fn set(args: &ReplayArgs, zones: &Zones) -> Result<(Recorded, Self), Trouble> {
        let (recorded, mut stage) = match (&args.record, &args.folder) {
            (Some(map), _) => {
                let text = read_text(map)?;
                let fields = config::read_record(&text, zones).map_err(|faults| said(&faults, map))?;
                let read = record::read(&fields, &args.files);
                let recorded = read.map_err(|error| Trouble::Given(error.to_string()))?;
                let stage = match &args.ground {
                    Some(path) => Self::of_ground(path, &recorded, zones)?,
                    None => {
                        let clock = fields.series.first().map(|series| series.stamps.clock.standard_offset());
                        bare(clock.unwrap_or(0), &recorded)?
                    }
                };
                (recorded, stage)
            }
            (None, Some(folder)) => {
                let past = Past::read(folder)?;
                let mut stage = match &args.ground {
                    Some(path) => Self::of_ground(path, &past.recorded, zones)?,
                    None => Self { ground: past.ground, ..Self::of_site(&args.site, past.offset_ms)? },
                };
                (stage.diary, stage.lost) = (past.diary, past.lost);
                (past.recorded, stage)
            }
            (None, None) => {
                return Err(Trouble::Given("say --record MAP with its files, or --folder DATA".to_owned()));
            }
        };
        if let Some(path) = &args.notes {
            stage.diary.extend(diary::read(path, &stage.site.calendar)?);
            stage.diary.sort_by_key(|(from_ms, _)| *from_ms);
        }
        Ok((recorded, stage))
    }

    /// The site and ground of a ground file.
    fn of_ground(path: &Path, recorded: &Recorded, zones: &Zones) -> Result<Self, Trouble> {
        let book = crop_book()?;
        let text = read_text(path)?;
        let ground = config::read_ground(&text, &book, zones).map_err(|faults| said(&faults, path))?;
        let offset_ms = i64::from(ground.site.standard_offset_s) * 1000;
        let mut site = site(&ground.site, book, offset_ms).map_err(Trouble::Given)?;
        site.limits.clone_from(&recorded.limits);
        let ground = start_notes(&ground.start, &site.calendar, first_ms(recorded));
        Ok(Self { site, ground, diary: Vec::new(), lost: Vec::new() })
    }

    /// The site of a site file, with days as its ledger has them.
    fn of_site(path: &Path, offset_ms: i64) -> Result<Self, Trouble> {
        let (file, book) = read_site(path)?;
        let known = site(&file.site, book, offset_ms).map_err(Trouble::Given)?;
        let usual = usual(&file).map_err(Trouble::Given)?;
        let site = Site { usual, ..known };
        Ok(Self { site, ground: Vec::new(), diary: Vec::new(), lost: Vec::new() })
    }

    /// The same with another ground, other figures, or both; the diary stays.
    pub(super) fn changed(
        &self,
        against: Option<&Path>,
        figures: &[Figure],
        recorded: &Recorded,
        zones: &Zones,
    ) -> Result<Self, Trouble> {
        let mut changed = match against {
            Some(path) => Self { diary: self.diary.clone(), ..Self::of_ground(path, recorded, zones)? },
            None => self.clone(),
        };
        with_figures(&mut changed.ground, &changed.site.book, figures)?;
        Ok(changed)
    }
}

/// When the first reading was measured, UTC ms.
pub(super) fn first_ms(recorded: &Recorded) -> i64 {
    let readings = recorded.readings.iter().filter_map(|heard| heard.measured_ms);
    readings.chain(recorded.by_hand.iter().map(|it| it.from_ms)).min().unwrap_or(0)
}

/// A site that is nothing but a clock, with each probe in a place of its own.
fn bare(offset_s: i32, recorded: &Recorded) -> Result<Stage, Trouble> {
    use agronomy::units::{Latitude, Longitude};
    let given = |error: agronomy::units::OutOfRange| Trouble::Given(error.to_string());
    let first_ms = first_ms(recorded);
    let site = Site {
        name: "record".to_owned(),
        // Nothing is said of the place: the sun is taken to rise at six and set at eighteen by its clock.
        latitude: Latitude::try_new(0.0).map_err(given)?,
        longitude: Longitude::try_new((f64::from(offset_s) / 240.0).clamp(-180.0, 180.0)).map_err(given)?,
        calendar: Calendar::fixed(i64::from(offset_s) * 1000),
        book: crop_book()?,
        limits: recorded.limits.clone(),
        usual: None,
    };
    let place = |probe: &str| Note::Place {
        place: probe.to_owned(),
        name: probe.to_owned(),
        kind: PlaceKind::Outdoors,
    };
    let speaking = recorded.usual_interval_ms.keys();
    let probes: BTreeSet<_> = speaking.chain(recorded.by_hand.iter().map(|read| &read.probe)).collect();
    let mut ground: Vec<_> = probes.into_iter().map(|probe| (first_ms, place(probe))).collect();
    for (probe, interval_ms) in &recorded.usual_interval_ms {
        let hang = Note::Hang {
            probe: probe.to_string(),
            place: probe.to_string(),
            height_m: None,
            shelter: None,
            usual_interval_s: (interval_ms / 1000).max(1) as u32,
        };
        ground.push((first_ms, hang));
    }
    Ok(Stage { site, ground, diary: Vec::new(), lost: Vec::new() })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_record_without_ground_gives_each_probe_a_place() {
        let mut recorded = Recorded::default();
        recorded.usual_interval_ms.insert("a".into(), 60_000);
        let stage = bare(3600, &recorded).unwrap();
        assert_eq!(stage.site.calendar.offset_ms(), 3_600_000);
        assert_eq!(stage.ground.len(), 2);
    }
}
