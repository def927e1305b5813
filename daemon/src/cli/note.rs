//! `glasshour note`: one line into ground or diary.

use std::io::Write;
use std::path::Path;

use chrono::DateTime;
use clap::Subcommand;
use serde_json::{Value, json};

use super::now::glance_of;
use super::target::Target;
use super::{Trouble, ask};
use crate::calendar::{Calendar, Day, day};
use crate::entry::{Began, Note, PlaceKind};
use crate::glance::HangTold;
use crate::keeper::view::season;

mod after;

/// Options of `note`.
#[derive(Debug, clap::Args)]
pub(super) struct NoteArgs {
    #[command(flatten)]
    target: Target,
    /// From when it holds, when not from now: 2026-07-15T06:30+02:00, or a day, 2026-07-15 (from
    /// its first minute in the site's standard time).
    #[arg(long, value_name = "WHEN", value_parser = held_from)]
    at: Option<HeldFrom>,
    /// Print the entry's number as JSON.
    #[arg(long)]
    json: bool,
    #[command(subcommand)]
    what: What,
}

/// A time with its offset, to the minute or finer: UTC ms.
pub(super) fn moment_of(text: &str) -> Option<i64> {
    let full =
        DateTime::parse_from_str(text, "%Y-%m-%dT%H:%M%:z").or_else(|_| DateTime::parse_from_rfc3339(text));
    Some(full.ok()?.timestamp_millis())
}

/// From when a note holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum HeldFrom {
    /// A moment, UTC ms.
    Moment(i64),
    /// The first minute of a day of the site.
    Day(Day),
}

impl HeldFrom {
    /// The moment, UTC ms, where days begin at this standard offset, ms.
    fn at_ms(self, offset_ms: i64) -> i64 {
        match self {
            Self::Moment(at_ms) => at_ms,
            Self::Day(day) => Calendar::fixed(offset_ms).start_of(day),
        }
    }
}

fn held_from(text: &str) -> Result<HeldFrom, String> {
    let moment = moment_of(text).map(HeldFrom::Moment);
    moment
        .or_else(|| day(text).map(HeldFrom::Day))
        .ok_or_else(|| "write 2026-07-15T06:30+02:00 or 2026-07-15".to_owned())
}

/// A time with its offset. A day alone is none: nothing here would say whose.
pub(super) fn when(text: &str) -> Result<i64, String> {
    moment_of(text).ok_or_else(|| "write the time with its offset: 2026-07-15T06:30+02:00".to_owned())
}

fn kind(text: &str) -> Result<PlaceKind, String> {
    serde_json::from_value(text.into())
        .map_err(|_| "write house, bed, seedbed, pots, heap, shed or outdoors".to_owned())
}

fn switch(text: &str) -> Result<bool, String> {
    match text {
        "open" | "on" | "on-it" => Ok(true),
        "closed" | "off" | "later" => Ok(false),
        _ => Err("write open or closed, on or off, on-it or later".to_owned()),
    }
}

#[derive(Debug, Subcommand)]
enum What {
    /// Vents or doors: open or closed.
    Vents {
        /// Where.
        place: String,
        /// open or closed.
        #[arg(value_parser = switch, action = clap::ArgAction::Set)]
        open: bool,
    },
    /// Shade: on or off.
    Shade {
        /// Where.
        place: String,
        /// on or off.
        #[arg(value_parser = switch, action = clap::ArgAction::Set)]
        on: bool,
    },
    /// Watered a place or a planting.
    Water {
        /// A place or a planting.
        subject: String,
        /// Litres in all.
        #[arg(allow_negative_numbers = true)]
        litres: f64,
    },
    /// A compost heap was turned.
    Turned {
        /// Which heap.
        place: String,
    },
    /// What a soil moisture probe says where plants begin to wilt, and a day or two after soaking.
    Marks {
        /// Which probe.
        probe: String,
        /// Where plants begin to wilt, % by volume.
        #[arg(long, allow_negative_numbers = true)]
        dry: f64,
        /// A day or two after soaking, % by volume.
        #[arg(long, allow_negative_numbers = true)]
        wet: f64,
    },
    /// First flower seen.
    FirstFlower {
        /// Which planting.
        planting: String,
    },
    /// First ripe fruit seen.
    FirstRipe {
        /// Which planting.
        planting: String,
    },
    /// Damage seen on a planting: dropped flowers, scorched leaves, frosted tips.
    Damage {
        /// Which planting.
        planting: String,
        /// What was seen, in your words.
        text: String,
    },
    /// A thermometer read by hand: now, or lowest and highest since the last reset.
    Thermometer {
        /// Where it hangs.
        place: String,
        /// What it shows now, °C.
        #[arg(long, allow_hyphen_values = true)]
        now: Option<f64>,
        /// Lowest since the reset, °C.
        #[arg(long, allow_hyphen_values = true)]
        low: Option<f64>,
        /// Highest since the reset, °C.
        #[arg(long, allow_hyphen_values = true)]
        high: Option<f64>,
    },
    /// A heat warning that was heard.
    HeatWarning {
        /// First day, 2026-07-15.
        #[arg(long)]
        from: String,
        /// Last day.
        #[arg(long)]
        to: String,
        /// About how hot outside, °C.
        #[arg(long, allow_negative_numbers = true)]
        about: f64,
        /// Who said so.
        #[arg(long)]
        said_by: Option<String>,
    },
    /// A place where crops stand.
    Place {
        /// Identifier.
        place: String,
        /// What you call it.
        name: String,
        /// house, bed, seedbed, pots, heap, shed or outdoors.
        #[arg(value_parser = kind)]
        kind: PlaceKind,
    },
    /// A planting.
    Planting {
        /// Identifier.
        planting: String,
        /// Key in the crop book.
        crop: String,
        /// Where it stands.
        place: String,
        /// Variety.
        #[arg(long)]
        variety: Option<String>,
        /// How many plants.
        #[arg(long)]
        count: Option<u32>,
        /// Volume of mix for each plant in a container, L.
        #[arg(long, value_name = "LITRES", allow_negative_numbers = true)]
        container: Option<f64>,
        /// Sown where it stands, rather than planted out.
        #[arg(long)]
        sown: bool,
    },
    /// Your own figure for one planting, in the place of the crop book's; "glasshour crops tomato" prints the names.
    Figure {
        /// Which planting.
        planting: String,
        /// The figure's name in the book, such as `heat_rule.day_severe.threshold`.
        figure: String,
        /// The number, in the book's unit; of a span the lower end.
        #[arg(allow_negative_numbers = true)]
        from: f64,
        /// The upper end of a span.
        #[arg(allow_negative_numbers = true)]
        to: Option<f64>,
    },
    /// A planting ended.
    End {
        /// Which.
        planting: String,
    },
    /// A probe hangs somewhere from now on.
    Hang {
        /// Which probe.
        probe: String,
        /// Where.
        place: String,
        /// Height above ground, m.
        #[arg(long, allow_negative_numbers = true)]
        height: Option<f64>,
        /// What keeps the sun off it: open (nothing), shaded (all day), screened (white, wind blows through), fanned.
        #[arg(long)]
        shelter: Option<String>,
        /// Its usual interval, s; as it was where it is not given, and 60 for a new probe.
        #[arg(long)]
        every: Option<u32>,
    },
    /// An answer to a notice: on-it or later.
    Reply {
        /// Which notice.
        notice: String,
        /// on-it or later.
        #[arg(value_parser = switch, action = clap::ArgAction::Set)]
        on_it: bool,
    },
    /// An earlier entry no longer counts.
    Undo {
        /// Its number.
        entry: i64,
    },
    /// Under which voltage a probe's battery is low; it depends on the cells.
    BatteryLine {
        /// Which probe.
        probe: String,
        /// The voltage, V.
        #[arg(allow_negative_numbers = true)]
        low_v: f64,
    },
    /// Anything else.
    Remark {
        /// The words.
        text: String,
    },
}

impl What {
    /// The note; what it leaves open is asked of the target.
    fn note(self, target: &Target) -> Result<Note, Trouble> {
        Ok(match self {
            Self::Vents { place, open } => Note::Vents { place, open },
            Self::Shade { place, on } => Note::Shade { place, on },
            Self::Water { subject, litres } => Note::Watered { subject, litres },
            Self::Turned { place } => Note::Turned { place },
            Self::Marks { probe, dry, wet } => Note::Marks { probe, dry_pct: dry, wet_pct: wet },
            Self::FirstFlower { planting } => Note::FirstFlower { planting },
            Self::FirstRipe { planting } => Note::FirstRipe { planting },
            Self::Damage { planting, text } => Note::Damage { planting, text },
            Self::Thermometer { place, now, low, high } => {
                Note::Thermometer { place, now_c: now, low_c: low, high_c: high }
            }
            Self::HeatWarning { from, to, about, said_by } => {
                Note::HeatWarning { from, to, about_c: about, said_by }
            }
            Self::Place { place, name, kind } => Note::Place { place, name, kind },
            Self::Planting { planting, crop, place, variety, count, container, sown } => {
                let began = if sown { Began::Sown } else { Began::PlantedOut };
                Note::Planting { planting, crop, place, variety, count, began, container_l: container }
            }
            Self::Figure { planting, figure, from, to } => Note::OwnFigure { planting, figure, from, to },
            Self::End { planting } => Note::End { planting },
            Self::Hang { probe, place, height, shelter, every } => {
                let told = HangTold { every_s: every, height_m: height, shelter };
                return Ok(glance_of(target)?.hang(&probe, &place, told));
            }
            Self::BatteryLine { probe, low_v } => Note::BatteryLine { probe, low_v },
            Self::Reply { notice, on_it } => Note::Reply { notice, on_it, until_ms: None },
            Self::Undo { entry } => Note::Undo { entry },
            Self::Remark { text } => Note::Remark { text },
        })
    }
}

/// The offset at which a running service's days begin, ms; asked for only where a day is to be placed by it.
fn standard_offset_ms(socket: &Path, at: HeldFrom) -> Result<i64, Trouble> {
    if matches!(at, HeldFrom::Moment(_)) {
        return Ok(0);
    }
    let glance = ask::get(socket, "/api/now")?;
    let offset_s = glance.get("standard_offset_s").and_then(Value::as_i64);
    let unsaid = || Trouble::Failed("the service does not say when its days begin".to_owned());
    Ok(offset_s.ok_or_else(unsaid)? * 1000)
}

pub(super) fn run(args: NoteArgs, out: &mut impl Write) -> Result<(), Trouble> {
    let NoteArgs { target, at, json, what } = args;
    let note = what.note(&target)?;
    let undone = match &note {
        Note::Undo { entry } => Some(*entry),
        _ => None,
    };
    let figure = match &note {
        Note::OwnFigure { planting, figure, .. } => Some((planting.clone(), figure.clone())),
        _ => None,
    };
    let taken = note.clone();
    let (entry, season) = match target.socket()? {
        Some(socket) => {
            let from_ms = at.map(|at| Ok::<_, Trouble>(at.at_ms(standard_offset_ms(&socket, at)?)));
            let from_ms = from_ms.transpose()?;
            let answer = ask::post(&socket, "/api/note", &json!({ "note": note, "from_ms": from_ms }))?;
            // The note is durable: that its season cannot be asked for is no failure of it.
            let ask =
                |(planting, _): &(String, String)| ask::get(&socket, &format!("/api/season/{planting}")).ok();
            let entry = answer.get("entry").and_then(Value::as_i64).unwrap_or_default();
            (entry, figure.as_ref().and_then(ask))
        }
        None => {
            let (mut core, moment, _) = target.open()?;
            let at = at.map(|at| at.at_ms(core.engine().site().calendar.offset_ms()));
            let entry = core.note(moment, note, at).map_err(|error| Trouble::Given(error.to_string()))?;
            core.flush(moment).map_err(|error| Trouble::Failed(error.to_string()))?;
            let season = figure.as_ref().and_then(|(planting, _)| season(core.engine(), planting));
            (entry, season.map(|season| json!(season)))
        }
    };
    let read = figure.zip(season).and_then(|((_, figure), season)| is_read(&season, &figure));
    if json {
        let mut answer = json!({ "entry": entry });
        if let (Some(read), Some(fields)) = (read, answer.as_object_mut()) {
            fields.insert("read".to_owned(), read.into());
        }
        writeln!(out, "{answer}")?;
        return Ok(());
    }
    if read == Some(false) {
        writeln!(out, "noted; nothing is reckoned from it yet")?;
    }
    // The note is durable: that no more can be said of it is no failure of it.
    for line in after::words(&taken, &target).unwrap_or_default() {
        writeln!(out, "{line}")?;
    }
    match undone {
        Some(undone) => writeln!(out, "entry {undone} is undone")?,
        None => writeln!(out, "noted as entry {entry}; undo with: glasshour note undo {entry}")?,
    }
    Ok(())
}

/// Whether anything is reckoned from a planting's own figure, as its season says; none when it says nothing of it.
fn is_read(season: &Value, figure: &str) -> Option<bool> {
    let own = season.get("planting")?.get("own")?.as_array()?;
    own.iter().find(|one| one["figure"] == figure)?.get("read")?.as_bool()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_day_is_the_sites_own_and_a_moment_is_whoevers_offset_it_bears() {
        let hour = 3_600_000;
        let day = held_from("2026-07-15").unwrap();
        // date -u -d '2026-07-14 14:00' +%s: ten hours east of Greenwich the day begins then.
        assert_eq!(day.at_ms(10 * hour), 1_784_037_600_000);
        assert_eq!(day.at_ms(0), 1_784_073_600_000);
        let moment = held_from("2026-07-15T06:30+02:00").unwrap();
        assert_eq!((moment.at_ms(0), moment.at_ms(10 * hour)), (1_784_089_800_000, 1_784_089_800_000));
        assert!(held_from("tomorrow").unwrap_err().contains("2026-07-15"));
        assert!(when("2026-07-15").unwrap_err().contains("with its offset"));
    }
}
