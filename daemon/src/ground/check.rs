//! Whether a note can be taken: everything that would make it nonsense, in a sentence for its writer.

mod form;

use agronomy::crop::CropBook;
use config::ground::Shelter;

use self::form::{escaped, identifier, unique, unknown, within, words};
use super::Ground;
use crate::calendar::day;
use crate::couriers::web_push::phones;
use crate::entry::{LONGEST_LATER_MS, Note, PlaceKind};

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
        Note::Planting { .. } => planting_note(ground, book, note),
        Note::End { planting } => since_it_began(ground, planting, from_ms, "end"),
        Note::FirstFlower { planting } | Note::FirstRipe { planting } => {
            since_it_began(ground, planting, from_ms, "flower or ripen")
        }
        Note::Damage { planting, text } => {
            words("damage", text)?;
            since_it_began(ground, planting, from_ms, "be damaged")
        }
        Note::OwnFigure { planting, figure, from, to } => {
            known_planting(ground, planting)?;
            own_figure(ground, book, planting, figure, [*from, to.unwrap_or(*from)])
        }
        Note::Hang { probe, place, height_m, shelter, usual_interval_s } => {
            identifier("probe", probe)?;
            shelter.as_deref().map_or(Ok(()), sheltered)?;
            within("height", height_m.unwrap_or(1.0), 0.0..=20.0, "m")?;
            within("usual interval", f64::from(*usual_interval_s), 1.0..=86_400.0, "s")?;
            known_place(ground, place)
        }
        Note::BatteryLine { probe, low_v } => {
            identifier("probe", probe)?;
            within("voltage", *low_v, 0.5..=30.0, "V")
        }
        Note::Marks { probe, dry_pct, wet_pct } => {
            identifier("probe", probe)?;
            marks(*dry_pct, *wet_pct)
        }
        Note::Vents { place, .. } | Note::Shade { place, .. } => known_place(ground, place),
        Note::Turned { place } => turned(ground, place),
        Note::Watered { subject, litres } => {
            within("water", *litres, 0.1..=100_000.0, "litres")?;
            known_subject(ground, subject)
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
        Note::Undo { entry } => undo(ground, *entry),
        Note::Reply { until_ms: Some(until_ms), .. } => put_off(*until_ms, now_ms),
        // Told, but not by ourselves: what may be taken of it is `warnings::standing`'s to say.
        Note::Reply { .. } | Note::Seen { .. } | Note::Drill {} | Note::PublicWarning(_) => Ok(()),
        Note::Phone { .. } | Note::PhoneGone { .. } => phone_note(ground, note),
        told => Err(not_noted(told).to_owned()),
    }
}

/// How a probe is sheltered, in the words of the site file: what keeps the sun off it decides how far it is believed.
fn sheltered(shelter: &str) -> Result<(), String> {
    let known = Shelter::WORDS.map(|(word, _)| word);
    let fits = known.contains(&shelter);
    fits.then_some(()).ok_or_else(|| {
        format!("unknown shelter {:?}; write open, shaded, screened or fanned", escaped(shelter))
    })
}

/// A planting that begins.
fn planting_note(ground: &Ground, book: &CropBook, note: &Note) -> Result<(), String> {
    let Note::Planting { planting, crop, place, variety, count, container_l, .. } = note else {
        return Ok(());
    };
    identifier("planting", planting)?;
    known_place(ground, place)?;
    words("variety", variety.as_deref().unwrap_or("-"))?;
    if count.is_some_and(|count| count == 0) {
        return Err("a planting has at least one plant".to_owned());
    }
    within("container", container_l.unwrap_or(10.0), 0.1..=2_000.0, "litres")?;
    if !book.crops.contains_key(crop) {
        return Err(unknown("crop", crop, book.crops.keys()));
    }
    unique(ground.planting(planting).is_none(), "planting", planting)
}

/// Nothing happens to a planting before it began.
fn since_it_began(ground: &Ground, planting: &str, from_ms: i64, what: &str) -> Result<(), String> {
    let begun = known_planting(ground, planting)?;
    if from_ms < begun {
        return Err(format!("{planting} cannot {what} before it began"));
    }
    Ok(())
}

fn marks(dry_pct: f64, wet_pct: f64) -> Result<(), String> {
    within("dry mark", dry_pct, 0.0..=60.0, "%")?;
    within("wet mark", wet_pct, 0.0..=60.0, "%")?;
    // Closer together than this, the probe's own noise would swing from dry to wet.
    let apart = wet_pct - dry_pct >= 2.0;
    apart.then_some(()).ok_or_else(|| "the wet mark lies at least 2 % above the dry mark".to_owned())
}

fn turned(ground: &Ground, place: &str) -> Result<(), String> {
    known_place(ground, place)?;
    let heap = ground.place(place).is_some_and(|it| it.kind == PlaceKind::Heap);
    heap.then_some(()).ok_or_else(|| format!("{place} is no heap; only a heap is turned"))
}

/// A phone that is to receive, or no longer.
fn phone_note(ground: &Ground, note: &Note) -> Result<(), String> {
    match note {
        Note::Phone { phone, name, endpoint, p256dh, auth } => {
            identifier("phone", phone)?;
            words("phone's name", name)?;
            phones::origin(endpoint)?;
            phones::receiver(p256dh, auth)?;
            if ground.phones.here.len() >= phones::MOST && ground.phones.phone(phone).is_none() {
                return Err(format!("{} phones receive already: stop one first", phones::MOST));
            }
            Ok(())
        }
        Note::PhoneGone { phone, why } => {
            words("reason", why)?;
            let known = ground.phones.phone(phone).is_some();
            known.then_some(()).ok_or_else(|| format!("no phone {:?} receives", escaped(phone)))
        }
        _ => Ok(()),
    }
}

/// Why nobody may note what the program tells.
fn not_noted(told: &Note) -> &'static str {
    match told {
        Note::Outlook(_) => "forecasts are taken in from where the site file says, not noted",
        Note::Board(_) => "what befalls the board is told, not noted",
        Note::Edition { .. } => "editions are told, not noted",
        Note::Clock { .. } => "the time is stated by `glasshour clock` or on the page, not noted",
        Note::Fence(_) | Note::Mended { .. } | Note::Restored { .. } | Note::Forgotten { .. } => {
            "what befalls the ledger is told, not noted"
        }
        _ => "steps and letters are told, not noted",
    }
}

fn undo(ground: &Ground, entry: i64) -> Result<(), String> {
    let undone = ground.entries.iter().find(|it| it.id == entry);
    let undone = undone.ok_or_else(|| format!("there is no entry {entry} that could be undone"))?;
    unused(ground, &undone.note)
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

/// An own figure is held to what the book is held to, beside the own figures that the planting has already.
fn own_figure(
    ground: &Ground,
    book: &CropBook,
    planting: &str,
    figure: &str,
    span: [f64; 2],
) -> Result<(), String> {
    let planting = ground.planting(planting);
    let Some((planting, crop)) = planting.and_then(|it| Some((it, book.crops.get(&it.crop)?))) else {
        return Err("the planting's crop is not in the book any more".to_owned());
    };
    let figure = escaped(figure);
    let mut own = planting.figures.clone();
    own.insert(figure.clone(), span);
    // What is wrong with another of them by now is no reason to refuse this one.
    let faults = crop.with_own(&own).1;
    let refused = faults.iter().filter(|fault| fault.concerns(&figure));
    let refused: Vec<_> = refused.map(|fault| config::book::refusal(crop, fault)).collect();
    if refused.is_empty() { Ok(()) } else { Err(refused.join("; ")) }
}

/// "Later" puts off to some time from now on, and no further than tomorrow morning.
fn put_off(until_ms: i64, now_ms: i64) -> Result<(), String> {
    if until_ms > now_ms && until_ms <= now_ms + LONGEST_LATER_MS {
        return Ok(());
    }
    Err("a notice is put off to some time between now and tomorrow at six".to_owned())
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

fn known_place(ground: &Ground, place: &str) -> Result<(), String> {
    let there = ground.place(place).is_some();
    there.then_some(()).ok_or_else(|| unknown("place", place, ground.places.iter().map(|it| &it.id)))
}

fn known_subject(ground: &Ground, subject: &str) -> Result<(), String> {
    let there = ground.place(subject).is_some() || ground.planting(subject).is_some();
    there
        .then_some(())
        .ok_or_else(|| unknown("place or planting", subject, ground.places.iter().map(|it| &it.id)))
}

fn known_planting(ground: &Ground, planting: &str) -> Result<i64, String> {
    ground
        .planting(planting)
        .map(|it| it.from_ms)
        .ok_or_else(|| unknown("planting", planting, ground.plantings.iter().map(|it| &it.id)))
}

#[cfg(test)]
mod tests;
