//! `glasshour replay`: a record, or one's own past, through the same keeper, almanac and minders, as fast as the machine
//! goes; and back-test, the same twice under different limits.

use std::io::Write;

use config::zone::Zones;
use serde_json::{Value, json};

pub(super) use self::args::ReplayArgs;
use self::drive::replay;
use self::stage::Stage;
use super::Trouble;
use super::export::left_out;
use crate::keeper::backtest::tally;
use crate::keeper::core::Core;
use crate::keeper::export::export;
use crate::record::Recorded;

mod args;
mod beside;
mod change;
mod diary;
mod drive;
mod past;
mod stage;

pub(super) fn run(args: &ReplayArgs, out: &mut impl Write) -> Result<(), Trouble> {
    let zones = Zones::system();
    let (recorded, mut stage) = Stage::set(args, &zones)?;
    let lost = std::mem::take(&mut stage.lost);
    let mut whole = tell_unread(&recorded)?;
    let changed = (args.against.is_some() || !args.figure.is_empty())
        .then(|| stage.changed(args.against.as_deref(), &args.figure, &recorded, &zones))
        .transpose()?;
    let (core, refused) = replay(&stage, &recorded)?;
    whole &= tell_refused(&refused)?;
    match changed {
        None if args.json => print(&reckoned(&core), out)?,
        None => summary(&export(core.engine()), out)?,
        Some(changed) => {
            let as_it_stands = tally(core.engine());
            // Two engines with their ledgers are not held at once.
            drop(core);
            let (core, refused): (Core, _) = replay(&changed, &recorded)?;
            whole &= tell_refused(&refused)?;
            let changed = tally(core.engine());
            if args.json {
                print(&json!({ "as_it_stands": as_it_stands, "changed": changed }), out)?;
            } else {
                beside::write(&as_it_stands, &changed, out)?;
            }
        }
    }
    left_out(&lost)?;
    if whole { Ok(()) } else { Err(Trouble::Said) }
}

/// What was reckoned. The ledger it was reckoned in was in memory: it has no rows that could be damaged.
fn reckoned(core: &Core) -> Value {
    let mut value = export(core.engine());
    if let Some(fields) = value.as_object_mut() {
        fields.remove("damaged");
    }
    value
}

fn print(value: &Value, out: &mut impl Write) -> Result<(), Trouble> {
    serde_json::to_writer(&mut *out, value).map_err(|error| Trouble::Failed(error.to_string()))?;
    writeln!(out)?;
    Ok(())
}

/// Says which notes could not be taken; whether all could.
fn tell_refused(refused: &[String]) -> Result<bool, Trouble> {
    for why in refused {
        writeln!(std::io::stderr(), "left out: {why}")?;
    }
    Ok(refused.is_empty())
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

/// What a person wants to know of a replay.
fn summary(value: &Value, out: &mut impl Write) -> Result<(), Trouble> {
    let list = |key: &str| value[key].as_array().map_or(&[] as &[Value], Vec::as_slice);
    let figure = |page: &Value, pointer: &str| page.pointer(pointer).and_then(Value::as_f64);
    writeln!(out, "readings {}", value["readings"])?;
    let mut places: Vec<&str> = list("day_pages").iter().filter_map(|page| page["place"].as_str()).collect();
    places.dedup();
    for place in places {
        let pages: Vec<&Value> = list("day_pages").iter().filter(|page| page["place"] == place).collect();
        let sum = |pointer: &str| pages.iter().filter_map(|page| figure(page, pointer)).sum::<f64>();
        let highest = pages.iter().filter_map(|page| figure(page, "/t_max_c")).reduce(f64::max);
        let days = if pages.len() == 1 { "1 day".to_owned() } else { format!("{} days", pages.len()) };
        let Some(highest) = highest else {
            writeln!(out, "{place}: {days}, no air temperature")?;
            continue;
        };
        writeln!(
            out,
            "{place}: {days}, highest {highest:.2} °C, {:.1} h above 32, {:.1} h above 35, degree days {:.1} (integral 10/30), {:.1} (extremes-clipped 10/30)",
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
    use serde_json::json;

    use super::*;

    #[test]
    fn of_a_place_without_air_no_nought_is_said() {
        let replayed = json!({
            "readings": 5,
            "day_pages": [{ "place": "tubs" }, { "place": "house", "t_max_c": 41.2 }],
        });
        let mut out = Vec::new();
        summary(&replayed, &mut out).unwrap();
        let out = String::from_utf8(out).unwrap();
        assert!(out.contains("tubs: 1 day, no air temperature\nhouse: 1 day, highest 41.20 °C"), "{out}");
    }
}
