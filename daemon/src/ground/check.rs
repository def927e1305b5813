//! Whether a note can be taken: everything that would make it nonsense, in a sentence for its writer.

use agronomy::crop::CropBook;

use super::Ground;
use crate::calendar::day;
use crate::entry::Note;

/// Longest name or text kept, characters.
const LONGEST: usize = 500;
/// Air that a thermometer by hand can have shown, °C.
const BY_HAND_C: std::ops::RangeInclusive<f64> = -30.0..=70.0;

/// Checks a note against what stands where.
///
/// # Errors
///
/// A sentence that says what is wrong and what may be written instead.
pub fn check(ground: &Ground, book: &CropBook, note: &Note, from_ms: i64, now_ms: i64) -> Result<(), String> {
    if from_ms > now_ms + 120_000 && !matches!(note, Note::HeatWarning { .. }) {
        return Err("a note cannot hold from a time that has not come yet".to_owned());
    }
    match note {
        Note::Place { place, name, .. } => {
            identifier("place", place)?;
            words("name", name)?;
            unique(ground.place(place).is_none(), "place", place)
        }
        Note::Planting { planting, crop, place, variety, count, .. } => {
            identifier("planting", planting)?;
            known_place(ground, place)?;
            words("variety", variety.as_deref().unwrap_or("-"))?;
            if count.is_some_and(|count| count == 0) {
                return Err("a planting has at least one plant".to_owned());
            }
            if !book.crops.contains_key(crop) {
                return Err(unknown("crop", crop, book.crops.keys()));
            }
            unique(ground.planting(planting).is_none(), "planting", planting)
        }
        Note::End { planting } => {
            let begun = known_planting(ground, planting)?;
            if from_ms < begun {
                return Err(format!("{planting} cannot end before it began"));
            }
            Ok(())
        }
        Note::FirstFlower { planting } | Note::FirstRipe { planting } => {
            let begun = known_planting(ground, planting)?;
            if from_ms < begun {
                return Err(format!("{planting} cannot flower or ripen before it began"));
            }
            Ok(())
        }
        Note::Hang { probe, place, height_m, shelter, usual_interval_s } => {
            identifier("probe", probe)?;
            words("shelter", shelter.as_deref().unwrap_or("-"))?;
            within("height", height_m.unwrap_or(1.0), 0.0..=20.0, "m")?;
            within("usual interval", f64::from(*usual_interval_s), 1.0..=86_400.0, "s")?;
            known_place(ground, place)
        }
        Note::Vents { place, .. } | Note::Shade { place, .. } => known_place(ground, place),
        Note::Watered { subject, litres } => {
            within("water", *litres, 0.1..=100_000.0, "litres")?;
            if ground.place(subject).is_none() && ground.planting(subject).is_none() {
                return Err(unknown("place or planting", subject, ground.places.iter().map(|it| &it.id)));
            }
            Ok(())
        }
        Note::Thermometer { place, now_c, low_c, high_c } => {
            known_place(ground, place)?;
            thermometer(*now_c, *low_c, *high_c)
        }
        Note::HeatWarning { from, to, about_c, said_by } => {
            words("name of who said so", said_by.as_deref().unwrap_or("-"))?;
            heat_warning(from, to, *about_c)
        }
        Note::Remark { text } => words("remark", text),
        Note::Undo { entry } => {
            let undone = ground.entries.iter().find(|it| it.id == *entry);
            let undone = undone.ok_or_else(|| format!("there is no entry {entry} that could be undone"))?;
            unused(ground, &undone.note)
        }
        Note::Reply { .. } => Ok(()),
        Note::Step(_) | Note::Letter { .. } => Err("steps and letters are told, not noted".to_owned()),
    }
}

/// A place goes only when nothing stands or hangs there.
fn unused(ground: &Ground, undone: &Note) -> Result<(), String> {
    let Note::Place { place, .. } = undone else { return Ok(()) };
    let planting = ground.plantings.iter().find(|it| it.place == *place).map(|it| it.id.as_str());
    let probe = ground.hangs.iter().find(|it| it.place == *place).map(|it| it.probe.as_str());
    match planting.or(probe) {
        Some(what) => Err(format!("{what} is noted for {place}: undo that first")),
        None => Ok(()),
    }
}

fn thermometer(now_c: Option<f64>, low_c: Option<f64>, high_c: Option<f64>) -> Result<(), String> {
    if now_c.or(low_c).or(high_c).is_none() {
        return Err("a thermometer reading needs what it shows now, or lowest and highest".to_owned());
    }
    for (what, value) in [("now", now_c), ("lowest", low_c), ("highest", high_c)] {
        within(what, value.unwrap_or(0.0), BY_HAND_C, "°C")?;
    }
    match (low_c, high_c) {
        (Some(low), Some(high)) if low > high => {
            Err(format!("lowest {low} °C is above highest {high} °C; were they exchanged?"))
        }
        (Some(_), None) | (None, Some(_)) => Err("lowest and highest are noted together".to_owned()),
        _ => Ok(()),
    }
}

fn heat_warning(from: &str, to: &str, about_c: f64) -> Result<(), String> {
    within("heat of about", about_c, 25.0..=55.0, "°C")?;
    let (Some(first), Some(last)) = (day(from), day(to)) else {
        return Err("the days of a heat warning are written like 2026-07-15".to_owned());
    };
    if last < first {
        return Err(format!("the warning ends ({to}) before it begins ({from})"));
    }
    if last - first > 30 {
        return Err("a heat warning covers at most a month".to_owned());
    }
    Ok(())
}

fn identifier(what: &str, id: &str) -> Result<(), String> {
    let fits = (1..=40).contains(&id.len())
        && id.bytes().all(|byte| byte.is_ascii_alphanumeric() || b"_-.".contains(&byte));
    fits.then_some(()).ok_or_else(|| {
        format!("{what} {:?} is no identifier: use up to 40 letters, digits, _ - .", escaped(id))
    })
}

fn words(what: &str, text: &str) -> Result<(), String> {
    if text.trim().is_empty() {
        return Err(format!("the {what} is empty"));
    }
    if text.chars().count() > LONGEST {
        return Err(format!("the {what} is longer than {LONGEST} characters"));
    }
    Ok(())
}

fn within(what: &str, value: f64, range: std::ops::RangeInclusive<f64>, unit: &str) -> Result<(), String> {
    range
        .contains(&value)
        .then_some(())
        .ok_or_else(|| format!("{what} {value} {unit} cannot be: write {} to {}", range.start(), range.end()))
}

fn known_place(ground: &Ground, place: &str) -> Result<(), String> {
    let there = ground.place(place).is_some();
    there.then_some(()).ok_or_else(|| unknown("place", place, ground.places.iter().map(|it| &it.id)))
}

fn known_planting(ground: &Ground, planting: &str) -> Result<i64, String> {
    ground
        .planting(planting)
        .map(|it| it.from_ms)
        .ok_or_else(|| unknown("planting", planting, ground.plantings.iter().map(|it| &it.id)))
}

fn unique(free: bool, what: &str, id: &str) -> Result<(), String> {
    free.then_some(()).ok_or_else(|| format!("there is a {what} called {id} already"))
}

fn unknown<'a>(what: &str, given: &str, known: impl Iterator<Item = &'a String>) -> String {
    let known: Vec<&str> = known.map(String::as_str).collect();
    format!("unknown {what} {:?}; known: {}", escaped(given), known.join(", "))
}

fn escaped(text: &str) -> String {
    text.chars().take(60).collect()
}
