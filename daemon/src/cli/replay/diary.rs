//! Notes of the diary for a replay, one JSON object a line.

use std::path::Path;

use serde_json::Value;

use crate::calendar::{Calendar, day};
use crate::cli::Trouble;
use crate::cli::note::moment_of;
use crate::cli::target::read_text;
use crate::entry::Note;

/// Notes, each with the moment from which it holds, UTC ms.
pub(super) type Dated = Vec<(i64, Note)>;

/// Reads a file of notes: each the note as the ledger has it, and under `from` the day or moment from which it holds.
///
/// # Errors
///
/// Everything that is wrong with it, with the number of the line; it has been said.
pub(super) fn read(path: &Path, calendar: &Calendar) -> Result<Dated, Trouble> {
    let text = read_text(path)?;
    let mut notes = Vec::new();
    let mut faulty = false;
    for (number, line) in (1..).zip(text.lines()).filter(|(_, line)| !line.trim().is_empty()) {
        match one(line, calendar) {
            Ok(note) => notes.push(note),
            Err(why) => {
                faulty = true;
                eprintln!("{}:{number}: {why}", path.display());
            }
        }
    }
    if faulty { Err(Trouble::Said) } else { Ok(notes) }
}

fn one(line: &str, calendar: &Calendar) -> Result<(i64, Note), String> {
    let mut value: Value = serde_json::from_str(line).map_err(|error| format!("no JSON object: {error}"))?;
    let fields = value.as_object_mut().ok_or("no JSON object")?;
    let from = fields.remove("from").ok_or("\"from\" is missing: write the day or the moment, 2026-07-15")?;
    let from = from.as_str().unwrap_or_default();
    let day_start = || day(from).map(|day| calendar.start_of(day));
    let from_ms = moment_of(from)
        .or_else(day_start)
        .ok_or_else(|| format!("{from:?} is no moment; write 2026-07-15 or 2026-07-15T06:30+02:00"))?;
    let note: Note = serde_json::from_value(value).map_err(|error| format!("no note: {error}"))?;
    if note.is_told() {
        return Err("that is told, not noted".to_owned());
    }
    Ok((from_ms, note))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read_one(line: &str) -> Result<(i64, Note), String> {
        one(line, &Calendar::fixed(3_600_000))
    }

    #[test]
    fn a_note_holds_from_its_moment_or_from_the_first_minute_of_its_day() {
        let damage = Note::Damage { planting: "red".into(), text: "dropped flowers".into() };
        let fields = r#""what":"damage","planting":"red","text":"dropped flowers"}"#;
        // 1 June 2026, 00:00 an hour east of UTC, and 06:30 two hours east of it.
        let day = read_one(&format!(r#"{{"from":"2026-06-01",{fields}"#));
        assert_eq!(day, Ok((1_780_268_400_000, damage.clone())));
        let moment = read_one(&format!(r#"{{"from":"2026-06-01T06:30+02:00",{fields}"#));
        assert_eq!(moment, Ok((1_780_288_200_000, damage)));
    }

    #[test]
    fn what_is_no_note_is_refused_in_words() {
        for (line, why) in [
            ("hot", "no JSON object"),
            ("[]", "no JSON object"),
            (r#"{"what":"remark","text":"hot"}"#, "\"from\" is missing"),
            (r#"{"from":"July","what":"remark","text":"hot"}"#, "\"July\" is no moment"),
            (r#"{"from":"2026-07-01","what":"harm"}"#, "no note: unknown variant `harm`"),
            (r#"{"from":"2026-07-01","what":"letter","date":"2026-07-01"}"#, "told, not noted"),
        ] {
            let refused = read_one(line).unwrap_err();
            assert!(refused.contains(why), "{refused}");
        }
    }
}
