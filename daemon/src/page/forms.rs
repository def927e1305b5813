//! Filled-in forms become notes; what does not make sense comes back as a sentence.

use std::collections::BTreeMap;

use super::entries::KINDS;
use super::figures::{Civil, HOUR_MS, calendar_day};
use crate::entry::{Began, Later, Note};
use crate::glance::{Glance, HangTold};
use crate::keeper::event::ClockWord;

/// The fields of a form, by name.
pub(crate) type Fields = BTreeMap<String, String>;

/// A note and from when it holds; or what is wrong, in words for the page.
pub(crate) type Filled = Result<(Note, Option<i64>), String>;

/// Ms by which a clock on a phone may be ahead of the board's.
const AHEAD_MS: i64 = 120_000;

fn text<'f>(fields: &'f Fields, name: &str) -> Option<&'f str> {
    fields.get(name).map(|value| value.trim()).filter(|value| !value.is_empty())
}

fn required<'f>(fields: &'f Fields, name: &str, missing: &str) -> Result<&'f str, String> {
    text(fields, name).ok_or_else(|| missing.to_owned())
}

/// A number with a decimal point or comma within a range; `None` where the field is empty.
fn number(fields: &Fields, name: &str, low: f64, high: f64) -> Result<Option<f64>, String> {
    let Some(written) = text(fields, name) else { return Ok(None) };
    let plain = written.replace(',', ".").replace('−', "-");
    match plain.parse::<f64>() {
        Ok(value) if value.is_finite() && (low..=high).contains(&value) => Ok(Some(value)),
        _ => Err(format!("“{written}” is not a number from {low} to {high}.")),
    }
}

/// The date-and-time field: when it holds from; `None` for now.
fn when(fields: &Fields, glance: &Glance) -> Result<Option<i64>, String> {
    let Some(written) = text(fields, "when") else { return Ok(None) };
    let ms = Civil(glance.civil_offset_s)
        .moment(written)
        .ok_or_else(|| format!("“{written}” is not a day and a clock time."))?;
    if ms > glance.at_ms + AHEAD_MS {
        return Err("That is still to come; only what has happened is noted.".to_owned());
    }
    Ok(Some(ms))
}

/// A form of the page Ground.
pub(crate) fn ground(fields: &Fields, glance: &Glance) -> Filled {
    match text(fields, "do") {
        Some("plant") => plant(fields, glance),
        Some("place") => place(fields, glance),
        Some("hang") => hang(fields, glance),
        Some("end") => {
            let planting = required(fields, "planting", "Say which planting.")?.to_owned();
            Ok((Note::End { planting }, when(fields, glance)?))
        }
        _ => Err("Nothing was chosen.".to_owned()),
    }
}

/// The third tap: `when` is `planted-out/today` or the like.
fn plant(fields: &Fields, glance: &Glance) -> Filled {
    let place = required(fields, "place", "Say where.")?;
    let crop = required(fields, "crop", "Say what.")?;
    let (began, day) = text(fields, "when").and_then(|value| value.split_once('/')).ok_or("Say when.")?;
    let civil = Civil(glance.civil_offset_s);
    // Noon: the same day in civil time and in the site's standard time.
    let noon = |day: &str| civil.moment(&format!("{day}T12:00"));
    let back = |days: i64| noon(&civil.iso_day(glance.at_ms - days * 24 * HOUR_MS));
    let from_ms = match day {
        "today" => None,
        "yesterday" => back(1),
        "a week ago" => back(7),
        _ => {
            let day = required(fields, "day", "Choose the day, then tap again.")?;
            let ms = noon(day).ok_or_else(|| format!("“{day}” is not a day."))?;
            if day > civil.iso_day(glance.at_ms).as_str() {
                return Err("That day is still to come.".to_owned());
            }
            Some(ms.min(glance.at_ms))
        }
    };
    let note = Note::Planting {
        planting: free(&format!("{crop}-{place}"), |id| taken(glance, id)),
        crop: crop.to_owned(),
        place: place.to_owned(),
        variety: text(fields, "variety").map(str::to_owned),
        count: number(fields, "count", 1.0, 1e6)?.map(|count| count as u32),
        began: if began == "sown" { Began::Sown } else { Began::PlantedOut },
        container_l: number(fields, "container", 0.1, 2_000.0)?,
    };
    Ok((note, from_ms))
}

fn taken(glance: &Glance, id: &str) -> bool {
    let noted = glance.entries.iter().any(|entry| match &entry.note {
        Note::Planting { planting, .. } => planting == id,
        Note::Place { place, .. } => place == id,
        _ => false,
    });
    noted
        || glance.plantings.iter().any(|planting| planting.planting == id)
        || glance.places.iter().any(|place| place.place == id)
}

/// The wished identifier, or with the first number that makes it free.
fn free(wish: &str, taken: impl Fn(&str) -> bool) -> String {
    if !taken(wish) {
        return wish.to_owned();
    }
    // Fewer are taken than there are numbers.
    (2..u32::MAX)
        .map(|number| format!("{wish}-{number}"))
        .find(|id| !taken(id))
        .unwrap_or_else(|| wish.to_owned())
}

/// An identifier made of a name: small letters and digits, the rest as dashes.
fn identifier(name: &str) -> String {
    let plain = name
        .to_lowercase()
        .chars()
        .map(|c| if c.is_ascii_alphanumeric() { c } else { '-' })
        .collect::<String>();
    let parts: Vec<_> = plain.split('-').filter(|part| !part.is_empty()).collect();
    if parts.is_empty() { "place".to_owned() } else { parts.join("-") }
}

fn place(fields: &Fields, glance: &Glance) -> Filled {
    let name = required(fields, "name", "Give the place a name.")?;
    let kind = text(fields, "kind").and_then(|word| KINDS.iter().find(|kind| kind.0 == word));
    let kind = kind.ok_or("Say what kind of place it is.")?.1;
    let place = free(&identifier(name), |id| taken(glance, id));
    Ok((Note::Place { place, name: name.to_owned(), kind }, None))
}

/// What is left empty stays as it was noted last.
fn hang(fields: &Fields, glance: &Glance) -> Filled {
    let told = HangTold {
        every_s: number(fields, "interval", 1.0, 86_400.0)?.map(|interval| interval as u32),
        height_m: number(fields, "height", -5.0, 50.0)?,
        shelter: text(fields, "shelter").map(str::to_owned),
    };
    let probe = required(fields, "probe", "Say which probe.")?;
    let place = required(fields, "place", "Say where it hangs.")?;
    Ok((glance.hang(probe, place, told), None))
}

/// A form of the page Diary.
pub(crate) fn diary(fields: &Fields, glance: &Glance) -> Filled {
    let did = text(fields, "did").unwrap_or_default();
    let subject = || required(fields, "subject", "Say to what.").map(str::to_owned);
    let note = match did {
        "watered" => Note::Watered {
            subject: subject()?,
            litres: number(fields, "litres", 0.1, 100_000.0)?.ok_or("Say how many litres.")?,
        },
        "turned" => Note::Turned { place: subject()? },
        "opened" | "closed" => Note::Vents { place: subject()?, open: did == "opened" },
        "shade-on" | "shade-off" => Note::Shade { place: subject()?, on: did == "shade-on" },
        "first-flower" => Note::FirstFlower { planting: subject()? },
        "first-ripe" => Note::FirstRipe { planting: subject()? },
        "damage" => Note::Damage {
            planting: subject()?,
            text: required(fields, "text", "Write what you saw.")?.chars().take(500).collect(),
        },
        "thermometer" => thermometer(fields, subject()?)?,
        "remark" => {
            let text = required(fields, "text", "Write something first.")?;
            Note::Remark { text: text.chars().take(500).collect() }
        }
        _ => return Err("Nothing was chosen.".to_owned()),
    };
    Ok((note, when(fields, glance)?))
}

fn thermometer(fields: &Fields, place: String) -> Result<Note, String> {
    let degrees = |name: &str| number(fields, name, -60.0, 90.0);
    let (now_c, low_c, high_c) = (degrees("now")?, degrees("low")?, degrees("high")?);
    if now_c.is_none() && low_c.is_none() && high_c.is_none() {
        return Err("Write at least one figure of the thermometer.".to_owned());
    }
    if let (Some(low), Some(high)) = (low_c, high_c)
        && low > high
    {
        return Err("The lowest is above the highest.".to_owned());
    }
    Ok(Note::Thermometer { place, now_c, low_c, high_c })
}

/// "I heard a heat warning".
pub(crate) fn heard_warning(fields: &Fields) -> Filled {
    let day = |name: &str| -> Result<String, String> {
        let written = required(fields, name, "Say from which day until which.")?;
        calendar_day(written).map(|_| written.to_owned()).ok_or_else(|| format!("“{written}” is not a day."))
    };
    let (from, to) = (day("from")?, day("to")?);
    if to < from {
        return Err("It ends before it begins.".to_owned());
    }
    let about_c = number(fields, "about", 20.0, 60.0)?.ok_or("Say about how hot.")?;
    Ok((Note::HeatWarning { from, to, about_c, said_by: text(fields, "said_by").map(str::to_owned) }, None))
}

/// "on it", "later" and for how long, or only that it was seen.
pub(crate) fn reply(fields: &Fields, glance: &Glance) -> Filled {
    let notice = required(fields, "notice", "Which notice?")?.to_owned();
    let answer = text(fields, "answer");
    if answer == Some("on-it") {
        return Ok((Note::Reply { notice, on_it: true, until_ms: None }, None));
    }
    if answer == Some("seen") {
        return Ok((Note::Seen { notice }, None));
    }
    let later = match answer {
        Some("later") => Some(Later::HalfHour),
        answer => answer.and_then(Later::read),
    };
    let later = later.ok_or("Answer “on it” or “later”.")?;
    let until_ms = Some(glance.at_ms + later.ms(glance.at_ms, glance.civil_offset_s));
    Ok((Note::Reply { notice, on_it: false, until_ms }, None))
}

/// What time it is, by the phone: typed where it was, else as the page's script filled it in.
pub(crate) fn clock(fields: &Fields, glance: &Glance) -> Result<ClockWord, String> {
    let typed = text(fields, "now").and_then(|written| Civil(glance.civil_offset_s).moment(written));
    let filled = text(fields, "now_ms").and_then(|number| number.parse().ok());
    let at_ms = typed.or(filled).ok_or("Say which day and clock time it is.")?;
    Ok(ClockWord::Now { at_ms, by: "a phone".to_owned(), sure: fields.contains_key("sure") })
}

/// Takes an entry back.
pub(crate) fn undo(fields: &Fields) -> Filled {
    let entry = text(fields, "entry").and_then(|number| number.parse().ok()).ok_or("Which entry?")?;
    Ok((Note::Undo { entry }, None))
}

#[cfg(test)]
mod tests {
    use super::super::fixtures::{self, MIDNIGHT};
    use super::*;

    fn fields(pairs: &[(&str, &str)]) -> Fields {
        pairs.iter().map(|&(name, value)| (name.to_owned(), value.to_owned())).collect()
    }

    #[test]
    fn the_third_tap_is_a_planting_at_noon_of_its_day() {
        let form =
            fields(&[("do", "plant"), ("place", "bed"), ("crop", "chard"), ("when", "sown/yesterday")]);
        let (note, from) = ground(&form, &fixtures::calm()).unwrap();
        assert_eq!(from, Some(MIDNIGHT - 14 * HOUR_MS), "14 July, 12:00 at UTC+2");
        let Note::Planting { planting, began, .. } = note else { panic!("{note:?}") };
        assert_eq!((planting.as_str(), began), ("chard-bed", Began::Sown));
    }

    #[test]
    fn litres_of_mix_may_be_told_with_the_third_tap_and_a_heap_is_turned_in_two() {
        let plant = |container| {
            let form =
                [("do", "plant"), ("place", "bed"), ("crop", "chard"), ("when", "sown/today"), container];
            ground(&fields(&form), &fixtures::calm())
        };
        let Note::Planting { container_l, .. } = plant(("container", "7,5")).unwrap().0 else { panic!() };
        assert_eq!(container_l, Some(7.5));
        let Note::Planting { container_l, .. } = plant(("variety", "Rust")).unwrap().0 else { panic!() };
        assert_eq!(container_l, None);
        assert!(plant(("container", "0")).is_err());
        let turned = diary(&fields(&[("did", "turned"), ("subject", "heap")]), &fixtures::calm()).unwrap();
        assert_eq!(turned.0, Note::Turned { place: "heap".to_owned() });
    }

    #[test]
    fn a_probe_of_five_minutes_that_still_hangs_there_keeps_its_interval_and_its_height() {
        let glance = fixtures::calm();
        let form = fields(&[("do", "hang"), ("probe", "post-1"), ("place", "house"), ("interval", "")]);
        let Note::Hang { usual_interval_s, height_m, .. } = ground(&form, &glance).unwrap().0 else {
            panic!()
        };
        assert_eq!((usual_interval_s, height_m), (300, Some(1.4)));
    }

    #[test]
    fn damage_needs_a_planting_and_words() {
        let seen = |subject, text| {
            diary(&fields(&[("did", "damage"), ("subject", subject), ("text", text)]), &fixtures::calm())
        };
        let noted = Note::Damage { planting: "tomato-1".into(), text: "dropped flowers".into() };
        assert_eq!(seen("tomato-1", " dropped flowers ").unwrap().0, noted);
        assert!(seen("tomato-1", " ").is_err());
        assert!(seen("", "dropped flowers").is_err());
    }

    #[test]
    fn identifiers_are_made_free() {
        let mut glance = fixtures::calm();
        glance.plantings[0].planting = "chard-bed".to_owned();
        glance.plantings[1].planting = "chard-bed-2".to_owned();
        assert_eq!(free("chard-bed", |id| taken(&glance, id)), "chard-bed-3");
        assert_eq!(identifier("  Wörm Bed № 2!"), "w-rm-bed-2");
        assert_eq!(identifier("♣"), "place");
    }

    #[test]
    fn numbers_take_a_comma_and_refuse_nonsense() {
        let glance = fixtures::calm();
        let water =
            |litres| diary(&fields(&[("did", "watered"), ("subject", "bed"), ("litres", litres)]), &glance);
        assert_eq!(water("12,5").unwrap().0, Note::Watered { subject: "bed".to_owned(), litres: 12.5 });
        for bad in ["", "many", "-3", "inf", "NaN", "1e9"] {
            assert!(water(bad).is_err(), "{bad} was taken");
        }
    }

    #[test]
    fn an_entry_may_be_back_dated_but_not_lie_ahead() {
        let glance = fixtures::calm();
        let opened =
            |when| diary(&fields(&[("did", "opened"), ("subject", "house"), ("when", when)]), &glance);
        assert_eq!(opened("2026-07-15T08:00").unwrap().1, Some(MIDNIGHT + 6 * HOUR_MS));
        assert!(opened("2026-07-15T14:00").unwrap_err().contains("still to come"));
        assert!(opened("soon").is_err());
    }

    #[test]
    fn a_thermometer_needs_a_figure_and_its_lowest_below_its_highest() {
        let glance = fixtures::calm();
        let read = |low, high| {
            diary(
                &fields(&[("did", "thermometer"), ("subject", "house"), ("low", low), ("high", high)]),
                &glance,
            )
        };
        assert!(read("", "").is_err());
        assert!(read("30", "20").is_err());
        assert!(read("−2", "20").is_ok());
    }

    #[test]
    fn a_heat_warning_has_days_in_order_and_a_possible_heat() {
        let heard = |from, to, about| heard_warning(&fields(&[("from", from), ("to", to), ("about", about)]));
        assert!(heard("2026-07-16", "2026-07-20", "42").is_ok());
        assert!(heard("2026-07-20", "2026-07-16", "42").is_err());
        assert!(heard("2026-07-32", "2026-08-01", "42").is_err());
        assert!(heard("2026-07-16", "2026-07-20", "420").is_err());
    }
}
