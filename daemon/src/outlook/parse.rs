//! A forecast's JSON, read by its field map.
//!
//! It comes from a stranger, and advice hangs on it: so it is taken whole or not at all. What is no forecast for here
//! and now, or says something that no weather has said, is refused in a sentence; the record of one's own goes on
//! beside it.

use agronomy::quantity::Quantity;
use agronomy::series::{MS_PER_DAY, MS_PER_HOUR};
use config::OutlookMap;
use config::duration::duration_ms;
use config::outlook::{Layout, OutlookValue, Step, Times};
use serde_json::Value;

use super::even::{Hour, even};
use super::stamp::{self, Instant};
use crate::figure_words::position_words;
use crate::sources::payload::plain_number;

/// Largest document, bytes.
pub const LARGEST: usize = 1024 * 1024;
/// Deepest nesting.
const DEEPEST: usize = 16;
/// Most moments: sixteen days of quarters of an hour, and some.
const MOST: usize = 2000;
/// Furthest ahead, ms.
const FURTHEST_MS: i64 = 16 * MS_PER_DAY;
/// Oldest that is taken, ms.
const OLDEST_MS: i64 = 24 * MS_PER_HOUR;
/// By how much a service's clock may be ahead, ms.
const AHEAD_MS: i64 = 10 * 60_000;
/// Fewest hours ahead that make an outlook, ms.
const LEAST_AHEAD_MS: i64 = 12 * MS_PER_HOUR;
/// How far the place it is for may lie from here, degrees: a square of a coarse forecast.
const NEAR_DEG: f64 = 0.5;

/// What a forecast is held against.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Here {
    /// The present moment, UTC ms.
    pub now_ms: i64,
    /// Where the site lies, degrees north.
    pub latitude: f64,
    /// Degrees east.
    pub longitude: f64,
    /// It may have waited somewhere: then it must say itself when it was issued.
    pub may_be_old: bool,
}

/// A forecast in even hours.
#[derive(Clone, Debug, PartialEq)]
pub struct Hours {
    /// When it was issued, UTC ms; when it was received where it does not say.
    pub issued_ms: i64,
    /// Its hours, ascending, an hour apart; the first may lie in the past.
    pub hours: Vec<Hour>,
}

/// Why a forecast is not taken.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Refused {
    /// Over [`LARGEST`].
    #[error("{0} bytes are more than {LARGEST}")]
    TooLong(usize),
    /// Nested too deep.
    #[error("nested more than {DEEPEST} deep")]
    TooDeep,
    /// Not JSON.
    #[error("it is not JSON: {0}")]
    NotJson(String),
    /// A pointer of the map leads to nothing, or to something else than it should.
    #[error("there is no {what} at {pointer:?}")]
    Nothing {
        /// What should stand there.
        what: &'static str,
        /// The pointer.
        pointer: String,
    },
    /// It is for another place.
    #[error("it is for {}, which is not here", position_words(*latitude, *longitude, 2))]
    Elsewhere {
        /// Degrees north.
        latitude: f64,
        /// Degrees east.
        longitude: f64,
    },
    /// A stamp is none.
    #[error("{0:?} is no stamp with Z or an offset, and the field map names no clock for it")]
    NoStamp(String),
    /// It was issued too long ago.
    #[error("it was issued {0} h ago")]
    TooOld(i64),
    /// It says that it comes from the future.
    #[error("it says it was issued {0} min from now")]
    FromTheFuture(i64),
    /// It may have waited, and does not say since when.
    #[error("it was kept by the broker and does not say when it was issued")]
    Undated,
    /// Too many moments.
    #[error("{0} moments are more than {MOST}")]
    TooMany(usize),
    /// Lists of unequal length.
    #[error("{quantity} has {values} values for {moments} moments")]
    Unequal {
        /// Which list.
        quantity: &'static str,
        /// Its length.
        values: usize,
        /// How many moments there are.
        moments: usize,
    },
    /// The moments do not ascend.
    #[error("moment {0} does not come after the one before")]
    NotAscending(usize),
    /// Something that is no number.
    #[error("{quantity} of moment {moment} is no number")]
    NoNumber {
        /// Of which quantity.
        quantity: &'static str,
        /// Which moment, from 1.
        moment: usize,
    },
    /// A value that no weather has.
    #[error("{quantity} of {value} {unit} at moment {moment} cannot be")]
    Impossible {
        /// Of which quantity.
        quantity: &'static str,
        /// The value.
        value: f64,
        /// Its unit.
        unit: &'static str,
        /// Which moment, from 1.
        moment: usize,
    },
    /// Further ahead than any forecast is worth.
    #[error("it reaches more than 16 days ahead")]
    TooFar,
    /// Not one air temperature where the map points: the pointer is wrong, more likely than the forecast.
    #[error("there is no air temperature at {0:?} in any of its {1} moments")]
    NoAir(String, usize),
    /// Hardly anything lies ahead.
    #[error("it tells less than 12 hours from now on without a gap")]
    NothingAhead,
}

/// Reads a forecast.
///
/// # Errors
///
/// [`Refused`]: nothing of it is used then.
pub fn read(body: &[u8], map: &OutlookMap, here: &Here) -> Result<Hours, Refused> {
    if body.len() > LARGEST {
        return Err(Refused::TooLong(body.len()));
    }
    if depth(body) > DEEPEST {
        return Err(Refused::TooDeep);
    }
    let document: Value =
        serde_json::from_slice(body).map_err(|error| Refused::NotJson(error.to_string()))?;
    near(&document, map, here)?;
    let issued_ms = issued(&document, map, here)?;
    let moments = moments(&document, map)?;
    let mut hours: Vec<Hour> =
        moments.iter().map(|at| Hour { at_ms: at.unwrap_or(i64::MIN), ..Hour::default() }).collect();
    let mut known = vec![false; hours.len()];
    for value in &map.values {
        column(&document, map, value, &mut hours, &mut known)?;
    }
    if !known.is_empty() && known.iter().all(|known| !known) {
        return Err(Refused::NoAir(map.values[air(map)].pointer.clone(), known.len()));
    }
    let told: Vec<Hour> = hours
        .into_iter()
        .zip(known)
        .filter(|(hour, known)| *known && hour.at_ms > i64::MIN)
        .map(|(hour, _)| hour)
        .collect();
    if told.last().is_some_and(|last| last.at_ms - here.now_ms > FURTHEST_MS) {
        return Err(Refused::TooFar);
    }
    let hours = even(&told, here.now_ms);
    let reaches = hours.first().zip(hours.last()).is_some_and(|(first, last)| {
        first.at_ms <= here.now_ms + 6 * MS_PER_HOUR && last.at_ms >= here.now_ms + LEAST_AHEAD_MS
    });
    if reaches { Ok(Hours { issued_ms, hours }) } else { Err(Refused::NothingAhead) }
}

/// How deep brackets are nested, those in texts left out.
fn depth(body: &[u8]) -> usize {
    let (mut deep, mut deepest) = (0_usize, 0_usize);
    let (mut in_text, mut escaped) = (false, false);
    for byte in body {
        match byte {
            _ if escaped => escaped = false,
            b'\\' if in_text => escaped = true,
            b'"' => in_text = !in_text,
            b'[' | b'{' if !in_text => {
                deep += 1;
                deepest = deepest.max(deep);
            }
            b']' | b'}' if !in_text => deep = deep.saturating_sub(1),
            _ => {}
        }
    }
    deepest
}

fn number(value: &Value) -> Option<f64> {
    match value {
        Value::Number(number) => number.as_f64(),
        Value::String(text) => plain_number(text),
        _ => None,
    }
}

/// For which place it is, degrees north and east; none where its map does not look for it.
pub(super) fn place(document: &Value, map: &OutlookMap) -> Result<Option<(f64, f64)>, Refused> {
    let Some((latitude, longitude)) = &map.place else { return Ok(None) };
    let degrees = |pointer: &String, what| {
        let found = document.pointer(pointer).and_then(number);
        found.ok_or_else(|| Refused::Nothing { what, pointer: pointer.clone() })
    };
    Ok(Some((degrees(latitude, "latitude")?, degrees(longitude, "longitude")?)))
}

fn near(document: &Value, map: &OutlookMap, here: &Here) -> Result<(), Refused> {
    let Some((latitude, longitude)) = place(document, map)? else { return Ok(()) };
    // Degrees of longitude shrink towards the poles, and 179.9 lies beside -179.9.
    let east = (longitude - here.longitude + 180.0).rem_euclid(360.0) - 180.0;
    let east = east * libm::cos(here.latitude.to_radians());
    if (latitude - here.latitude).abs() <= NEAR_DEG && east.abs() <= NEAR_DEG {
        return Ok(());
    }
    Err(Refused::Elsewhere { latitude, longitude })
}

pub(super) fn stamp_at(value: &Value, map: &OutlookMap) -> Result<Instant, Refused> {
    let text = value.as_str().map_or_else(|| value.to_string(), str::to_owned);
    let shown = || Refused::NoStamp(text.chars().take(40).collect());
    stamp::read(&text, map.clock.as_ref()).ok_or_else(shown)
}

fn issued(document: &Value, map: &OutlookMap, here: &Here) -> Result<i64, Refused> {
    let Some(pointer) = &map.issued else {
        return if here.may_be_old { Err(Refused::Undated) } else { Ok(here.now_ms) };
    };
    let value = document.pointer(pointer).filter(|value| !value.is_null());
    let value = value.ok_or_else(|| Refused::Nothing { what: "time of issue", pointer: pointer.clone() })?;
    let issued_ms = match stamp_at(value, map)? {
        Instant::At(at) | Instant::Either(_, at) => at,
        Instant::Never => return Err(Refused::NoStamp(value.to_string().chars().take(40).collect())),
    };
    let age_ms = here.now_ms.saturating_sub(issued_ms);
    if age_ms > OLDEST_MS {
        return Err(Refused::TooOld(age_ms / MS_PER_HOUR));
    }
    if age_ms < -AHEAD_MS {
        return Err(Refused::FromTheFuture(-age_ms / 60_000));
    }
    Ok(issued_ms)
}

fn list<'d>(document: &'d Value, pointer: &str, what: &'static str) -> Result<&'d [Value], Refused> {
    let list = document.pointer(pointer).and_then(Value::as_array);
    let list = list.ok_or_else(|| Refused::Nothing { what, pointer: pointer.to_owned() })?;
    if list.len() > MOST { Err(Refused::TooMany(list.len())) } else { Ok(list) }
}

/// When each moment is, UTC ms; none for a stamp that a clock jumped over.
pub(super) fn moments(document: &Value, map: &OutlookMap) -> Result<Vec<Option<i64>>, Refused> {
    let rows = match &map.layout {
        Layout::Rows(pointer) => Some(list(document, pointer, "list of rows")?),
        Layout::Columns => None,
    };
    match &map.times {
        Times::Stamps(pointer) => {
            let none = || Refused::Nothing { what: "stamp", pointer: pointer.clone() };
            let stamps: Vec<&Value> = match rows {
                Some(rows) => {
                    rows.iter().map(|row| row.pointer(pointer).ok_or_else(none)).collect::<Result<_, _>>()?
                }
                None => list(document, pointer, "list of stamps")?.iter().collect(),
            };
            ascending(&stamps, map)
        }
        Times::Even { start, step } => {
            let count = match rows {
                Some(rows) => rows.len(),
                None => list(document, &map.values[air(map)].pointer, "list of air temperatures")?.len(),
            };
            let none = |what, pointer: &str| Refused::Nothing { what, pointer: pointer.to_owned() };
            let value = document.pointer(start).ok_or_else(|| none("first stamp", start))?;
            let Instant::At(first) = stamp_at(value, map)? else { return Err(none("first stamp", start)) };
            let step = match step {
                Step::Fixed(step) => *step,
                Step::At(pointer) => document
                    .pointer(pointer)
                    .and_then(Value::as_str)
                    .and_then(duration_ms)
                    .ok_or_else(|| none("step such as PT1H", pointer))?,
            };
            // At most 2000 steps of a year each, from a stamp within the calendar: no overflow.
            Ok((0..count as i64).map(|at| Some(first + at * step)).collect())
        }
    }
}

fn air(map: &OutlookMap) -> usize {
    // The reader of maps sees to it that there is one.
    map.values.iter().position(|value| value.measured.quantity == Quantity::AirTemperature).unwrap_or(0)
}

fn ascending(stamps: &[&Value], map: &OutlookMap) -> Result<Vec<Option<i64>>, Refused> {
    let mut before = i64::MIN;
    let mut moments = Vec::with_capacity(stamps.len());
    for (index, value) in stamps.iter().enumerate() {
        let at = match stamp_at(value, map)? {
            Instant::At(at) => Some(at),
            Instant::Either(earlier, later) => Some(if earlier > before { earlier } else { later }),
            Instant::Never => None,
        };
        if at.is_some_and(|at| at <= before) {
            return Err(Refused::NotAscending(index + 1));
        }
        before = at.unwrap_or(before);
        moments.push(at);
    }
    Ok(moments)
}

/// What a forecast can say of a quantity, in its canonical unit: the weather of the earth, with some room.
fn believable(quantity: Quantity) -> std::ops::RangeInclusive<f64> {
    match quantity {
        Quantity::RelativeHumidity => 0.0..=105.0,
        Quantity::Wind => 0.0..=100.0,
        Quantity::Light => 0.0..=1500.0,
        Quantity::Rain => 0.0..=500.0,
        _ => -60.0..=60.0,
    }
}

/// Reads one quantity into the hours; `known` are those with an air temperature.
fn column(
    document: &Value,
    map: &OutlookMap,
    value: &OutlookValue,
    hours: &mut [Hour],
    known: &mut [bool],
) -> Result<(), Refused> {
    let quantity = value.measured.quantity;
    let name = quantity.as_str();
    let cells: Vec<Option<&Value>> = match &map.layout {
        Layout::Rows(pointer) => {
            list(document, pointer, "list of rows")?.iter().map(|row| row.pointer(&value.pointer)).collect()
        }
        Layout::Columns => list(document, &value.pointer, "list of values")?.iter().map(Some).collect(),
    };
    if cells.len() != hours.len() {
        return Err(Refused::Unequal { quantity: name, values: cells.len(), moments: hours.len() });
    }
    for (index, cell) in cells.into_iter().enumerate() {
        let Some(cell) = cell.filter(|cell| !cell.is_null()) else { continue };
        let moment = index + 1;
        let no_number = || Refused::NoNumber { quantity: name, moment };
        let number = number(cell).ok_or_else(no_number)?;
        let value = quantity.from_unit(number, &value.measured.unit).map_err(|_| no_number())?;
        if !believable(quantity).contains(&value) {
            return Err(Refused::Impossible { quantity: name, value, unit: quantity.unit(), moment });
        }
        let hour = &mut hours[index];
        match quantity {
            Quantity::AirTemperature => (hour.air_c, known[index]) = (value, true),
            Quantity::RelativeHumidity => hour.humidity_pct = Some(value.min(100.0)),
            Quantity::Wind => hour.wind_m_s = Some(value),
            Quantity::Light => hour.light_w_m2 = Some(value),
            _ => hour.rain_mm = Some(value),
        }
    }
    Ok(())
}

#[cfg(test)]
#[path = "parse_tests.rs"]
mod tests;
