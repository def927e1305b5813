//! Whether a note can be taken: everything that would make it nonsense, in a sentence for its writer.

use agronomy::crop::CropBook;

use super::Ground;
use crate::calendar::day;
use crate::couriers::web_push::phones;
use crate::entry::{LONGEST_LATER_MS, Note, PlaceKind};

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
        Note::Planting { planting, crop, place, variety, count, container_l, .. } => {
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
        Note::Damage { planting, text } => {
            words("damage", text)?;
            let begun = known_planting(ground, planting)?;
            if from_ms < begun {
                return Err(format!("{planting} cannot be damaged before it began"));
            }
            Ok(())
        }
        Note::OwnFigure { planting, figure, from, to } => {
            known_planting(ground, planting)?;
            own_figure(ground, book, planting, figure, [*from, to.unwrap_or(*from)])
        }
        Note::Hang { probe, place, height_m, shelter, usual_interval_s } => {
            identifier("probe", probe)?;
            words("shelter", shelter.as_deref().unwrap_or("-"))?;
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
            within("dry mark", *dry_pct, 0.0..=60.0, "%")?;
            within("wet mark", *wet_pct, 0.0..=60.0, "%")?;
            // Closer together than this, the probe's own noise would swing from dry to wet.
            let apart = wet_pct - dry_pct >= 2.0;
            apart.then_some(()).ok_or_else(|| "the wet mark lies at least 2 % above the dry mark".to_owned())
        }
        Note::Vents { place, .. } | Note::Shade { place, .. } => known_place(ground, place),
        Note::Turned { place } => {
            known_place(ground, place)?;
            let heap = ground.place(place).is_some_and(|it| it.kind == PlaceKind::Heap);
            heap.then_some(()).ok_or_else(|| format!("{place} is no heap; only a heap is turned"))
        }
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
        Note::Reply { until_ms: Some(until_ms), .. } => put_off(*until_ms, now_ms),
        // Told, but not by ourselves: what may be taken of it is `warnings::standing`'s to say.
        Note::Reply { .. } | Note::Seen { .. } | Note::Drill {} | Note::PublicWarning(_) => Ok(()),
        Note::Phone { .. } | Note::PhoneGone { .. } => phone_note(ground, note),
        told => Err(not_noted(told).to_owned()),
    }
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
    text.chars().take(80).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::entry::{Began, Entry};

    const NOW: i64 = 1_780_000_000_000;
    const DAY: i64 = 86_400_000;

    fn house(id: &str) -> Note {
        Note::Place { place: id.into(), name: "The house".into(), kind: PlaceKind::House }
    }

    fn planting(id: &str, crop: &str, place: &str, count: Option<u32>) -> Note {
        Note::Planting {
            planting: id.into(),
            crop: crop.into(),
            place: place.into(),
            variety: None,
            count,
            began: Began::Sown,
            container_l: None,
        }
    }

    fn hang(probe: &str, place: &str, height_m: Option<f64>, usual_interval_s: u32) -> Note {
        Note::Hang { probe: probe.into(), place: place.into(), height_m, shelter: None, usual_interval_s }
    }

    fn by_hand(now_c: Option<f64>, low_c: Option<f64>, high_c: Option<f64>) -> Note {
        Note::Thermometer { place: "house".into(), now_c, low_c, high_c }
    }

    fn warning(from: &str, to: &str, about_c: f64) -> Note {
        Note::HeatWarning { from: from.into(), to: to.into(), about_c, said_by: None }
    }

    fn damage(planting: &str, text: &str) -> Note {
        Note::Damage { planting: planting.into(), text: text.into() }
    }

    fn watered(subject: &str, litres: f64) -> Note {
        Note::Watered { subject: subject.into(), litres }
    }

    /// A house (entry 1) and an empty shed (entry 2), tomatoes since ten days ago (entry 3).
    fn ground() -> Ground {
        let notes = [house("house"), house("shed"), planting("red", "tomato", "house", None)];
        let entries = (1..).zip(notes).map(|(id, note)| Entry {
            id,
            at_ms: NOW - 10 * DAY,
            from_ms: NOW - 10 * DAY,
            note,
        });
        Ground::of(&entries.collect::<Vec<_>>())
    }

    fn checked(note: &Note, from_ms: i64) -> Result<(), String> {
        check(&ground(), &config::crop_book().unwrap(), note, from_ms, NOW)
    }

    #[test]
    fn what_makes_sense_is_taken() {
        let notes = [
            house("house-2"),
            planting("Grün_1.b", "lettuce", "shed", Some(1)),
            planting("green", "lettuce", "shed", Some(1)),
            Note::End { planting: "red".into() },
            hang("post", "shed", Some(20.0), 86_400),
            watered("red", 0.1),
            watered("shed", 100_000.0),
            by_hand(Some(21.0), None, None),
            by_hand(None, Some(-30.0), Some(70.0)),
            warning("2026-06-01", "2026-07-01", 55.0),
            Note::Undo { entry: 2 },
            Note::Undo { entry: 3 },
        ];
        for note in notes {
            // A name with an umlaut is the one that does not fit.
            let fits = !matches!(&note, Note::Planting { planting, .. } if !planting.is_ascii());
            assert_eq!(checked(&note, NOW).is_ok(), fits, "{note:?}");
        }
    }

    #[test]
    fn each_refusal_says_what_is_wrong_and_what_may_be_written_instead() {
        let long = "x".repeat(501);
        let cases = [
            (house("house"), "there is a place called house already"),
            (house("my house"), "place \"my house\" is no identifier: use up to 40 letters, digits, _ - ."),
            (house(&"x".repeat(41)), "is no identifier"),
            (house(""), "is no identifier"),
            (Note::Place { place: "a".into(), name: " ".into(), kind: PlaceKind::Bed }, "the name is empty"),
            (planting("red", "tomato", "house", None), "there is a planting called red already"),
            (planting("a", "tomatoe", "house", None), "unknown crop \"tomatoe\"; known: "),
            (planting("a", "tomato", "hous", None), "unknown place \"hous\"; known: house, shed"),
            (planting("a", "tomato", "house", Some(0)), "a planting has at least one plant"),
            (Note::End { planting: "blue".into() }, "unknown planting \"blue\"; known: red"),
            (Note::FirstRipe { planting: "blue".into() }, "unknown planting"),
            (damage("blue", "dropped flowers"), "unknown planting \"blue\"; known: red"),
            (damage("red", " "), "the damage is empty"),
            (hang("post", "roof", None, 60), "unknown place"),
            (hang("post", "house", Some(20.1), 60), "height 20.1 m cannot be: write 0 to 20"),
            (hang("post", "house", Some(f64::NAN), 60), "height NaN m cannot be"),
            (hang("post", "house", None, 0), "usual interval 0 s cannot be: write 1 to 86400"),
            (Note::Vents { place: "roof".into(), open: true }, "unknown place"),
            (watered("red", 0.0), "water 0 litres cannot be"),
            (watered("roof", 5.0), "unknown place or planting \"roof\""),
            (by_hand(None, None, None), "needs what it shows now, or lowest and highest"),
            (by_hand(None, Some(5.0), None), "lowest and highest are noted together"),
            (by_hand(None, Some(31.0), Some(5.0)), "were they exchanged?"),
            (by_hand(Some(95.0), None, None), "now 95 °C cannot be: write -30 to 70"),
            (warning("15.7.2026", "2026-07-19", 40.0), "are written like 2026-07-15"),
            (warning("2026-07-19", "2026-07-15", 40.0), "ends (2026-07-15) before it begins (2026-07-19)"),
            (warning("2026-07-01", "2026-08-01", 40.0), "at most a month"),
            (warning("2026-07-01", "2026-07-02", 104.0), "heat of about 104 °C cannot be: write 25 to 55"),
            (Note::Remark { text: long }, "the remark is longer than 500 characters"),
            (Note::Undo { entry: 99 }, "there is no entry 99 that could be undone"),
            (Note::Undo { entry: 1 }, "red is noted for house: undo that first"),
        ];
        for (note, words) in cases {
            let refused = checked(&note, NOW).unwrap_err();
            assert!(refused.contains(words), "{note:?}: {refused}");
        }
    }

    #[test]
    fn only_a_heap_is_turned_and_marks_of_a_moisture_probe_lie_apart() {
        let mut ground = ground();
        let heap = Note::Place { place: "heap".into(), name: "Heap".into(), kind: PlaceKind::Heap };
        ground.places.push(Ground::of(&[Entry { id: 9, at_ms: 0, from_ms: 0, note: heap }]).places.remove(0));
        let book = config::crop_book().unwrap();
        let of = |note: Note| check(&ground, &book, &note, NOW, NOW);
        assert_eq!(of(Note::Turned { place: "heap".into() }), Ok(()));
        assert_eq!(
            of(Note::Turned { place: "house".into() }),
            Err("house is no heap; only a heap is turned".into())
        );
        let marks = |dry_pct, wet_pct| of(Note::Marks { probe: "pot".into(), dry_pct, wet_pct });
        assert_eq!(marks(12.0, 34.0), Ok(()));
        assert_eq!(marks(12.0, 13.0), Err("the wet mark lies at least 2 % above the dry mark".into()));
        assert!(marks(-1.0, 34.0).is_err() && marks(12.0, 61.0).is_err());
    }

    #[test]
    fn steps_are_told_by_the_minders_only() {
        let step = crate::entry::Step {
            notice: "a".into(),
            number: 1,
            minder: "too-hot".into(),
            place: "house".into(),
            planting: None,
            at_ms: NOW,
            turn: crate::entry::Turn::Opened,
            severity: agronomy::crop::Severity::Severe,
            push: true,
            title: String::new(),
            text: String::new(),
            caution: String::new(),
            held: false,
            joined: Vec::new(),
        };
        assert!(checked(&Note::Step(step), NOW).unwrap_err().contains("told, not noted"));
    }

    #[test]
    fn only_a_heat_warning_may_hold_from_a_time_to_come() {
        let late = NOW + 120_001;
        assert!(checked(&Note::Remark { text: "dry".into() }, NOW + 120_000).is_ok());
        assert!(checked(&Note::Remark { text: "dry".into() }, late).is_err());
        assert!(checked(&warning("2026-07-15", "2026-07-16", 40.0), late).is_ok());
    }

    #[test]
    fn nothing_happens_to_a_planting_before_it_began() {
        for note in [
            Note::End { planting: "red".into() },
            Note::FirstFlower { planting: "red".into() },
            Note::FirstRipe { planting: "red".into() },
            damage("red", "dropped flowers"),
        ] {
            assert!(checked(&note, NOW - 10 * DAY).is_ok());
            assert!(checked(&note, NOW - 10 * DAY - 1).unwrap_err().contains("before it began"), "{note:?}");
        }
    }
}
