//! What a message says: its blocks, and the areas they are about.

use agronomy::crop::Severity;

use super::children::Children;
use super::fault::{CapFault, cut};
use super::shapes::{Circle, Polygon, circle, number, polygon};
use super::words::{Category, Certainty, Response, Urgency, severity};
use super::{time, word};
use crate::warnings::xml::Element;

/// The language where a block does not name one (3.2.2).
const USUAL_LANGUAGE: &str = "en-US";

/// One block: what is said, in one language (3.2.2).
#[derive(Clone, Debug, PartialEq)]
pub struct Info {
    /// Its language, RFC 3066.
    pub language: String,
    /// What kinds of event it is.
    pub categories: Vec<Category>,
    /// The event in the sender's words.
    pub event: String,
    /// What people are asked to do.
    pub responses: Vec<Response>,
    /// How soon.
    pub urgency: Urgency,
    /// How bad; none where the sender does not know.
    pub severity: Option<Severity>,
    /// How sure.
    pub certainty: Certainty,
    /// The event in codes of the sender's own: list, code.
    pub event_codes: Vec<(String, String)>,
    /// From when the message holds, UTC ms.
    pub effective_ms: Option<i64>,
    /// From when on the event is expected, UTC ms.
    pub onset_ms: Option<i64>,
    /// Until when the message holds, UTC ms.
    pub expires_ms: Option<i64>,
    /// Who speaks, for people.
    pub sender_name: Option<String>,
    /// The shortest way to say it.
    pub headline: Option<String>,
    /// What is to be expected.
    pub description: Option<String>,
    /// What is to be done.
    pub instruction: Option<String>,
    /// Where more is said; never opened.
    pub web: Option<String>,
    /// Where.
    pub areas: Vec<Area>,
}

/// Where: all of its shapes and codes together (3.2.4).
#[derive(Clone, Debug, PartialEq)]
pub struct Area {
    /// In words.
    pub words: String,
    /// Its polygons.
    pub polygons: Vec<Polygon>,
    /// Its circles.
    pub circles: Vec<Circle>,
    /// Its codes: list, code.
    pub geocodes: Vec<(String, String)>,
}

pub(super) fn read(element: &Element) -> Result<Info, CapFault> {
    let mut children = Children::of("info", element)?;
    let language = children.text("language")?.map_or(Ok(USUAL_LANGUAGE), language)?.to_owned();
    let categories = children.texts("category")?;
    if categories.is_empty() {
        return Err(CapFault::Missing { of: "info", name: "category" });
    }
    let categories = categories.into_iter().map(|said| word("category", said, Category::of));
    let categories = categories.collect::<Result<_, _>>()?;
    let event = children.needed("event")?.trim().to_owned();
    let responses = children.texts("responseType")?.into_iter();
    let responses = responses.map(|said| word("responseType", said, Response::of));
    let responses = responses.collect::<Result<_, _>>()?;
    let urgency = word("urgency", children.needed("urgency")?, Urgency::of)?;
    let severity = match children.needed("severity")? {
        "Unknown" => None,
        said => Some(word("severity", said, severity)?),
    };
    let certainty = word("certainty", children.needed("certainty")?, Certainty::of)?;
    children.text("audience")?;
    let event_codes = codes("eventCode", &mut children)?;
    let mut when = |name| children.text(name)?.map(|said| time(name, said)).transpose();
    let (effective_ms, onset_ms, expires_ms) = (when("effective")?, when("onset")?, when("expires")?);
    let mut words = |name| Ok::<_, CapFault>(children.text(name)?.map(|said| said.trim().to_owned()));
    let (sender_name, headline, description) =
        (words("senderName")?, words("headline")?, words("description")?);
    let (instruction, web) = (words("instruction")?, words("web")?);
    children.text("contact")?;
    codes("parameter", &mut children)?;
    children.elements("resource").into_iter().try_for_each(resource)?;
    let areas = children.elements("area").into_iter().map(area).collect::<Result<_, _>>()?;
    children.end("")?;
    Ok(Info {
        language,
        categories,
        event,
        responses,
        urgency,
        severity,
        certainty,
        event_codes,
        effective_ms,
        onset_ms,
        expires_ms,
        sender_name,
        headline,
        description,
        instruction,
        web,
        areas,
    })
}

/// A language tag: letters, and after hyphens letters and digits, eight at most (RFC 3066, 2.1).
fn language(said: &str) -> Result<&str, CapFault> {
    let said = said.trim();
    let sound = said.split('-').enumerate().all(|(index, part)| {
        let fits = |sign: u8| sign.is_ascii_alphabetic() || (index > 0 && sign.is_ascii_digit());
        (1..=8).contains(&part.len()) && part.bytes().all(fits)
    });
    if sound { Ok(said) } else { Err(CapFault::Word { name: "language", said: cut(said) }) }
}

/// All next elements of a name that hold a list's name and a value of it (3.2.2 `eventCode`, `parameter`; 3.2.4
/// `geocode`).
fn codes(name: &'static str, children: &mut Children<'_>) -> Result<Vec<(String, String)>, CapFault> {
    let one = |element| {
        let mut children = Children::of(name, element)?;
        let list = children.needed("valueName")?.trim().to_owned();
        let value = children.needed("value")?.trim().to_owned();
        children.end("")?;
        Ok((list, value))
    };
    children.elements(name).into_iter().map(one).collect()
}

/// A file that goes with a block (3.2.3): it must be in order, and is never fetched.
fn resource(element: &Element) -> Result<(), CapFault> {
    let mut children = Children::of("resource", element)?;
    children.needed("resourceDesc")?;
    children.needed("mimeType")?;
    if let Some(size) = children.text("size")?.map(str::trim).filter(|size| size.parse::<i64>().is_err()) {
        return Err(CapFault::Number { name: "size", said: cut(size) });
    }
    for name in ["uri", "derefUri", "digest"] {
        children.text(name)?;
    }
    children.end("")
}

fn area(element: &Element) -> Result<Area, CapFault> {
    let mut children = Children::of("area", element)?;
    let words = children.needed("areaDesc")?.trim().to_owned();
    let polygons = children.texts("polygon")?.into_iter().map(polygon).collect::<Result<_, _>>()?;
    let circles = children.texts("circle")?.into_iter().map(circle).collect::<Result<_, _>>()?;
    let geocodes = codes("geocode", &mut children)?;
    let mut height = |name| {
        let said = children.text(name)?;
        let wrong = said.filter(|said| number(said.trim()).is_none());
        wrong.map_or(Ok(said.is_some()), |said| Err(CapFault::Number { name, said: cut(said) }))
    };
    let (altitude, ceiling) = (height("altitude")?, height("ceiling")?);
    if ceiling && !altitude {
        return Err(CapFault::Missing { of: "area", name: "altitude" });
    }
    children.end("")?;
    Ok(Area { words, polygons, circles, geocodes })
}
