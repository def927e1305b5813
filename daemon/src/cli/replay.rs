//! `glasshour replay`: a record through the same keeper, almanac and minders, as fast as the machine goes.

use std::collections::BTreeSet;
use std::io::Write;
use std::path::PathBuf;

use config::zone::Zones;
use serde_json::Value;

use super::Trouble;
use super::target::{crop_book, read_text, said};
use crate::calendar::Calendar;
use crate::entry::{Note, PlaceKind};
use crate::keeper::core::{Core, Message, Moment};
use crate::keeper::export::export;
use crate::keeper::start::seed;
use crate::ledger::{Founding, Ledger, LedgerError};
use crate::record::{self, Recorded};
use crate::service::settings::{site, start_notes};
use crate::site::Site;

/// Readings that go into one commit.
const COMMIT_AT: usize = 2_000;

/// Options of `replay`.
#[derive(Debug, clap::Args)]
pub(super) struct ReplayArgs {
    /// The field map that says what the columns mean.
    #[arg(long, value_name = "MAP")]
    record: PathBuf,
    /// What stands where while it is replayed; without it every probe is a place of its own.
    #[arg(long, value_name = "FILE")]
    ground: Option<PathBuf>,
    /// One JSON object rather than a summary.
    #[arg(long)]
    json: bool,
    /// The record's files.
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
}

pub(super) fn run(args: &ReplayArgs, out: &mut impl Write) -> Result<(), Trouble> {
    let zones = Zones::system();
    let text = read_text(&args.record)?;
    let map = config::read_record(&text, &zones).map_err(|faults| said(&faults, &args.record))?;
    let recorded = record::read(&map, &args.files).map_err(|error| Trouble::Given(error.to_string()))?;
    let whole = tell_unread(&recorded)?;
    let (site, notes) = stage(args, &map, &recorded, &zones)?;
    let core = replay(site, &notes, &recorded)?;
    let value = export(core.engine());
    if args.json {
        serde_json::to_writer(&mut *out, &value).map_err(|error| Trouble::Failed(error.to_string()))?;
        writeln!(out)?;
    } else {
        summary(&value, out)?;
    }
    if whole { Ok(()) } else { Err(Trouble::Said) }
}

/// Says what could not be read; whether everything could.
pub(super) fn tell_unread(recorded: &Recorded) -> Result<bool, Trouble> {
    let mut whole = true;
    for file in recorded.files.iter().filter(|file| file.unread > 0) {
        whole = false;
        let mut err = std::io::stderr();
        writeln!(err, "{}: {} of {} rows could not be read", file.file.display(), file.unread, file.rows)?;
        for fault in &file.first {
            writeln!(err, "{}:{}: {}: {:?}", file.file.display(), fault.line, fault.column, fault.text)?;
        }
    }
    Ok(whole)
}

/// The site and its notes: from the ground file, or one place for each probe.
fn stage(
    args: &ReplayArgs,
    map: &config::record::Record,
    recorded: &Recorded,
    zones: &Zones,
) -> Result<(Site, Vec<(i64, Note)>), Trouble> {
    let book = crop_book()?;
    let first_ms = first_ms(recorded);
    let Some(path) = &args.ground else {
        let offset_s = map.series.first().map_or(0, |series| series.stamps.clock.standard_offset());
        return bare(book, offset_s, recorded, first_ms);
    };
    let text = read_text(path)?;
    let ground = config::read_ground(&text, &book, zones).map_err(|faults| said(&faults, path))?;
    let offset_ms = i64::from(ground.site.standard_offset_s) * 1000;
    let mut site = site(&ground.site, book, offset_ms).map_err(Trouble::Given)?;
    site.limits.clone_from(&recorded.limits);
    let notes = start_notes(&ground.start, &site.calendar, first_ms);
    Ok((site, notes))
}

fn first_ms(recorded: &Recorded) -> i64 {
    let readings = recorded.readings.iter().filter_map(|heard| heard.measured_ms);
    readings.chain(recorded.by_hand.iter().map(|it| it.from_ms)).min().unwrap_or(0)
}

/// A site that is nothing but a clock, with each probe in a place of its own.
fn bare(
    book: agronomy::crop::CropBook,
    offset_s: i32,
    recorded: &Recorded,
    first_ms: i64,
) -> Result<(Site, Vec<(i64, Note)>), Trouble> {
    use agronomy::units::{Latitude, Longitude};
    let given = |error: agronomy::units::OutOfRange| Trouble::Given(error.to_string());
    let calendar = Calendar::fixed(i64::from(offset_s) * 1000);
    let site = Site {
        name: "record".to_owned(),
        // Nothing is said of the place: the sun is taken to rise at six and set at eighteen by its clock.
        latitude: Latitude::try_new(0.0).map_err(given)?,
        longitude: Longitude::try_new((f64::from(offset_s) / 240.0).clamp(-180.0, 180.0)).map_err(given)?,
        calendar,
        book,
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
    let mut notes: Vec<_> = probes.into_iter().map(|probe| (first_ms, place(probe))).collect();
    for (probe, interval_ms) in &recorded.usual_interval_ms {
        notes.push((
            first_ms,
            Note::Hang {
                probe: probe.to_string(),
                place: probe.to_string(),
                height_m: None,
                shelter: None,
                usual_interval_s: (interval_ms / 1000).max(1) as u32,
            },
        ));
    }
    Ok((site, notes))
}

/// Drives the core with the record's own moments.
pub(super) fn replay(site: Site, notes: &[(i64, Note)], recorded: &Recorded) -> Result<Core, Trouble> {
    let failed = |error: LedgerError| Trouble::Failed(error.to_string());
    let start_ms = notes.iter().map(|(from_ms, _)| *from_ms).fold(first_ms(recorded), i64::min);
    let moment = |wall_ms: i64| Moment { wall_ms, mono_ms: wall_ms - start_ms, trusted: true };
    let founding = Founding { offset_ms: site.calendar.offset_ms(), program: "replay".to_owned() };
    let mut ledger = Ledger::in_memory(&founding).map_err(failed)?;
    let boot = ledger.begin_boot(0, Some((start_ms, "the record"))).map_err(failed)?;
    seed(&mut ledger, boot, moment(start_ms), notes).map_err(failed)?;
    let mut core = Core::start(site, ledger, boot, moment(start_ms), Vec::new()).map_err(failed)?;
    let mut by_hand = recorded.by_hand.iter().peekable();
    let mut rest = recorded.readings.as_slice();
    while let Some(at_ms) = rest.first().and_then(|heard| heard.measured_ms) {
        while let Some(read) = by_hand.next_if(|read| read.from_ms <= at_ms) {
            note_by_hand(&mut core, read, moment(read.from_ms))?;
        }
        let same = rest.iter().take_while(|heard| heard.measured_ms == Some(at_ms)).count();
        let (now, later) = rest.split_at(same);
        rest = later;
        core.hear(moment(at_ms), &[Message { readings: now.to_vec(), arrived_ms: at_ms }]);
        if core.waiting_readings() >= COMMIT_AT {
            core.flush(moment(at_ms)).map_err(failed)?;
        }
    }
    for read in by_hand {
        note_by_hand(&mut core, read, moment(read.from_ms))?;
    }
    let last = core.engine().now_ms();
    core.flush(moment(last)).map_err(failed)?;
    while core.remake(1000) {}
    Ok(core)
}

fn note_by_hand(core: &mut Core, read: &record::ByHand, moment: Moment) -> Result<(), Trouble> {
    let hang = core.engine().ground().hang_at(&read.probe, read.from_ms);
    let place = hang.map_or_else(|| read.probe.to_string(), |hang| hang.place.clone());
    core.note(moment, read.note(&place), Some(read.from_ms))
        .map(|_| ())
        .map_err(|error| Trouble::Given(error.to_string()))
}

/// What a person wants to know of a replay.
fn summary(value: &Value, out: &mut impl Write) -> Result<(), Trouble> {
    let list = |key: &str| value[key].as_array().map_or(&[] as &[Value], Vec::as_slice);
    let figure = |page: &Value, pointer: &str| page.pointer(pointer).and_then(Value::as_f64).unwrap_or(0.0);
    writeln!(out, "readings {}", value["readings"])?;
    let mut places: Vec<&str> = list("day_pages").iter().filter_map(|page| page["place"].as_str()).collect();
    places.dedup();
    for place in places {
        let pages: Vec<&Value> = list("day_pages").iter().filter(|page| page["place"] == place).collect();
        let sum = |pointer: &str| pages.iter().map(|page| figure(page, pointer)).sum::<f64>();
        let highest = pages.iter().map(|page| figure(page, "/t_max_c")).fold(f64::NEG_INFINITY, f64::max);
        writeln!(
            out,
            "{place}: {} days, highest {highest:.2} °C, {:.1} h above 32, {:.1} h above 35, degree days {:.1} (integral 10/30), {:.1} (extremes-clipped 10/30)",
            pages.len(),
            sum("/hours_above/t_c/32"),
            sum("/hours_above/t_c/35"),
            sum("/degree_days/integral 10~130"),
            sum("/degree_days/extremes-clipped 10~130"),
        )?;
    }
    let pushed = list("notices").iter().filter(|notice| notice["pushed"] == true).count();
    writeln!(out, "notices {}, of which {pushed} would have buzzed a phone", list("notices").len())?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_record_without_ground_gives_each_probe_a_place() {
        let mut recorded = Recorded::default();
        recorded.usual_interval_ms.insert("a".into(), 60_000);
        let (site, notes) = bare(crop_book().unwrap(), 3600, &recorded, 0).unwrap();
        assert_eq!(site.calendar.offset_ms(), 3_600_000);
        assert_eq!(notes.len(), 2);
    }
}
