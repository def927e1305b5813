//! What was understood of a file, in plain lines.
//!
//! A person who has just written a file wants to see their own garden in it: place by place, what stands and
//! hangs there, where each probe's readings come from, and what is off.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::{Display, Write as _};

use agronomy::crop::CropBook;
use agronomy::quantity::Quantity;
use config::ground::{Hung, Planting, Start};
use config::outlook::Layout;
use config::position::Position;
use config::record::{Column, FileMatch, Record, Series, Values};
use config::site::{InstrumentKind, Topic, Way};
use config::zone::offset_text;
use config::{Ground, OutlookMap, Site};

use crate::figure_words::{position_words, span_words};
use crate::outlook::parse::Hours;

/// Lines of text. Writing to a String cannot fail, so the one place that says so is here.
#[derive(Default)]
struct Lines(String);

impl Lines {
    fn say(&mut self, line: impl Display) {
        let _ = writeln!(self.0, "{line}");
    }
}

/// A site file.
///
/// `map`: the field map of its forecast, read.
pub(super) fn site(site: &Site, map: Option<&OutlookMap>) -> String {
    let mut lines = Lines::default();
    position(&mut lines, &site.site);
    if site.clock_vouched_by_system {
        lines.say("The system vouches for its clock.");
    }
    let ledger = &site.ledger;
    lines.say(format_args!(
        "Ledger in {}, written every {} s.",
        ledger.folder.display(),
        ledger.commit_every_s
    ));
    lines.say(format_args!("Page on http://{}", site.page_listen));
    if site.ledger.folder.join("ledger").exists() {
        lines.say("The ledger is there already, so [start] is not read any more; change the ground on its page, or by note.");
    } else {
        start(&mut lines, &site.start);
    }
    sources(&mut lines, site);
    to_come(&mut lines, site, map);
    couriers(&mut lines, site);
    let off: Vec<_> = [
        ("buses", site.buses.is_empty()),
        ("broker", site.broker.is_none()),
        ("door", site.door.is_none()),
        ("outlook", site.outlook.as_ref().is_none_or(|outlook| outlook.feed.is_none())),
        ("the board's own readings", site.board.is_none()),
        ("public warnings", site.warnings.is_none()),
        ("mail", site.mail.is_none()),
        ("web push", site.web_push.is_none()),
        ("webhook", site.webhook.is_none()),
        ("notices by MQTT", site.mqtt_notices.is_none()),
        ("life sign", site.life_sign.is_none()),
        ("mirror", site.mirror.is_none()),
    ]
    .into_iter()
    .filter_map(|(what, off)| off.then_some(what))
    .collect();
    if !off.is_empty() {
        lines.say(format_args!("Off: {}", off.join(", ")));
    }
    lines.0
}

/// A ground file.
pub(super) fn ground(ground: &Ground) -> String {
    let mut lines = Lines::default();
    position(&mut lines, &ground.site);
    start(&mut lines, &ground.start);
    lines.0
}

/// A crop book.
pub(super) fn crops(book: &CropBook) -> String {
    let mut lines = Lines::default();
    lines.say(format_args!("{} crops, edition {}", book.crops.len(), book.edition));
    for (key, crop) in &book.crops {
        lines.say(format_args!("  {key}: {}", crop.name));
    }
    lines.0
}

/// A field map.
pub(super) fn record(record: &Record) -> String {
    let mut lines = Lines::default();
    match &record.each_row {
        Some(_) => lines.say(format_args!("each row is one reading and names its probe, quantity and unit")),
        None => lines.say(format_args!("{} series", record.series.len())),
    }
    for one in &record.series {
        series(&mut lines, one);
    }
    lines.0
}

/// A field map of an outlook.
pub(super) fn outlook(map: &OutlookMap) -> String {
    let mut lines = Lines::default();
    outlook_map(&mut lines, map, "");
    lines.0
}

/// What a field map made of a sample.
pub(super) fn sample(map: &OutlookMap, read: &Hours) -> String {
    let mut lines = Lines::default();
    let stamp = |at_ms| {
        let at = chrono::DateTime::from_timestamp_millis(at_ms);
        at.map_or_else(String::new, |at| at.format("%Y-%m-%dT%H:%MZ").to_string())
    };
    let hours = &read.hours;
    if let (Some(first), Some(last)) = (hours.first(), hours.last()) {
        let (count, from, until) = (hours.len(), stamp(first.at_ms), stamp(last.at_ms));
        lines.say(format_args!("The sample tells {count} hours, {from} to {until}:"));
    }
    for value in &map.values {
        let quantity = value.measured.quantity;
        let told = hours.iter().filter_map(|hour| match quantity {
            Quantity::RelativeHumidity => hour.humidity_pct,
            Quantity::Wind => hour.wind_m_s,
            Quantity::Light => hour.light_w_m2,
            Quantity::Rain => hour.rain_mm,
            _ => Some(hour.air_c),
        });
        let span = told.fold(None, |span: Option<(f64, f64)>, it| {
            Some(span.map_or((it, it), |(low, high)| (low.min(it), high.max(it))))
        });
        lines.say(span.map_or_else(
            || format!("  {quantity}: nothing at {}", value.pointer),
            |(low, high)| format!("  {quantity}: {low:.1} to {high:.1} {}", quantity.unit()),
        ));
    }
    lines.0
}

fn outlook_map(lines: &mut Lines, map: &OutlookMap, indent: &str) {
    let layout = match &map.layout {
        Layout::Rows(at) => format!("Rows in the list at {at:?}"),
        Layout::Columns => "Columns".to_owned(),
    };
    lines.say(format_args!("{indent}{layout}"));
    for value in &map.values {
        let (quantity, unit) = (value.measured.quantity, &value.measured.unit);
        lines.say(format_args!("{indent}  {quantity} in {unit} at {}", value.pointer));
    }
    if map.issued.is_none() {
        lines.say(format_args!(
            "{indent}It does not say when it was issued: it counts as issued when it is fetched, and the broker must \
             not keep it."
        ));
    }
}

/// What tells of days to come, and the board's own readings.
fn to_come(lines: &mut Lines, site: &Site, map: Option<&OutlookMap>) {
    if let Some(outlook) = &site.outlook {
        if let Some(feed) = &outlook.feed {
            let way = match &feed.way {
                Way::Url { url, .. } => url.clone(),
                Way::Topic(topic) => format!("topic {topic} at the broker"),
            };
            let (every, name) = (feed.every_min, &feed.map);
            lines.say(format_args!("Outlook from {way}, every {every} min, by the map {name}:"));
            if let Some(map) = map {
                outlook_map(lines, map, "  ");
            }
        }
        if outlook.usual.is_some() {
            lines.say("What is usual outdoors, by month, from the file's climate table");
        }
    }
    if let Some(warnings) = &site.warnings {
        let url = warnings.url.as_ref().map(|url| format!("{url}, every {} s", warnings.every_s));
        let topic = warnings.topic.as_ref().map(|topic| format!("topic {topic} at the broker"));
        let ways: Vec<_> = url.into_iter().chain(topic).collect();
        lines.say(format_args!("Public warnings from {}", ways.join(" and ")));
    }
    if let Some(board) = &site.board {
        lines.say(format_args!("The board reads itself every {} s", board.every_s));
    }
}

fn position(lines: &mut Lines, site: &Position) {
    let (latitude, longitude) = (site.latitude, site.longitude);
    // Two decimals are a kilometre, as near as the sun needs it.
    let whereabouts = position_words(latitude, longitude, 2);
    lines.say(format_args!("{}, {whereabouts}, {} m", site.name, site.altitude_m));
    let days = offset_text(site.standard_offset_s);
    lines.say(format_args!("Clock times of {}; days of 24 hours at {days}", site.zone.name()));
}

fn start(lines: &mut Lines, start: &Start) {
    lines.say("What stands where at the first start:");
    if start.places.is_empty() {
        lines.say("  nothing; add places on the page Ground or here under [start]");
    }
    for place in &start.places {
        lines.say(format_args!("  {} ({}), {}", place.name, place.id, place.kind.as_str()));
        for one in start.plantings.iter().filter(|one| one.place == place.id) {
            planting(lines, one);
        }
        for one in start.probes.iter().filter(|one| one.place == place.id) {
            hung(lines, one);
        }
    }
}

fn planting(lines: &mut Lines, planting: &Planting) {
    let plants = if planting.count == 1 { "plant" } else { "plants" };
    let mut line = format!("    {}: {}, {} {plants}", planting.id, planting.crop, planting.count);
    for (what, date) in
        [("sown", planting.sown), ("planted out", planting.planted_out), ("ended", planting.ended)]
    {
        line.extend(date.map(|date| format!(", {what} {date}")));
    }
    lines.say(line);
    for (name, [lo, hi]) in &planting.figures {
        lines.say(format_args!("      own figure {name}: {}", span_words(*lo, *hi, "")));
    }
}

fn hung(lines: &mut Lines, hung: &Hung) {
    let (height, shelter, interval) = (hung.height_m, hung.shelter.as_str(), hung.usual_interval_s);
    lines.say(format_args!("    probe {}: {height} m, {shelter}, a reading every {interval} s", hung.probe));
}

/// Every wire with the probes on it, and probes with a wire and no place, or a place and no wire.
fn sources(lines: &mut Lines, site: &Site) {
    let mut wires: BTreeMap<&str, BTreeSet<String>> = BTreeMap::new();
    for bus in &site.buses {
        for one in &bus.instruments {
            let words = InstrumentKind::WORDS;
            let chip = words.iter().find(|(_, kind)| *kind == one.kind).map_or("", |(word, _)| word);
            let (measures, device) = (one.kind.quantities().join(", "), bus.device.display());
            let line = format!(
                "{measures} from {chip} at {:#04x} on {device}, every {} s",
                one.address, one.every_s
            );
            wires.entry(&one.probe).or_default().insert(line);
        }
    }
    if let Some(broker) = &site.broker {
        topics(&mut wires, &broker.topics, &format!("at the broker {}:{}", broker.host, broker.port));
    }
    if let Some(door) = &site.door {
        topics(&mut wires, &door.topics, &format!("at the door {}", door.listen));
    }
    lines.say("Where readings come from:");
    if wires.is_empty() {
        lines.say("  nowhere; add a [[bus]], a [broker] or a [door], or read a thermometer by hand");
    }
    for (probe, ways) in &wires {
        for way in ways {
            lines.say(format_args!("  {probe}: {way}"));
        }
    }
    for probe in wires.keys().filter(|probe| site.start.probes.iter().all(|hung| hung.probe != **probe)) {
        lines.say(format_args!("  Note: {probe} hangs nowhere yet; say where on the page Ground"));
    }
    for hung in site.start.probes.iter().filter(|hung| !wires.contains_key(hung.probe.as_str())) {
        let (probe, place) = (&hung.probe, &hung.place);
        lines.say(format_args!("  Note: {probe} hangs in {place}, and nothing here brings its readings"));
    }
}

fn topics<'s>(wires: &mut BTreeMap<&'s str, BTreeSet<String>>, topics: &'s [Topic], place: &str) {
    for topic in topics {
        let measures: Vec<_> =
            topic.payload.measured().into_iter().map(|measured| measured.quantity.as_str()).collect();
        let stamped = if topic.stamp.is_some() { "" } else { ", dated by arrival" };
        let line = format!("{} from topic {} {place}{stamped}", measures.join(", "), topic.filter);
        wires.entry(&topic.probe).or_default().insert(line);
    }
}

fn couriers(lines: &mut Lines, site: &Site) {
    if let Some(mail) = &site.mail {
        let (to, letter) = (mail.to.join(", "), site.letter.at.format("%H:%M"));
        lines.say(format_args!("Mail to {to} by {}:{}, letter at {letter}", mail.host, mail.port));
        if !mail.then_to.is_empty() {
            let then = mail.then_to.join(", then ");
            lines.say(format_args!("What is severe and seen by nobody for half an hour goes to {then}"));
        }
    }
    if let Some(push) = &site.web_push {
        lines.say(format_args!(
            "Web push to the phones of the page Ground; push services may ask {}",
            push.contact
        ));
    }
    if let Some(hook) = &site.webhook {
        lines.say(format_args!("Each step posted to {}", hook.url));
    }
    if let Some(notices) = &site.mqtt_notices {
        lines.say(format_args!("Notices by MQTT under {}", notices.prefix));
    }
    if let Some(picture) = &site.picture {
        lines.say(format_args!("A picture of Now put to {} every {} min", picture.put, picture.every_min));
    }
    if let Some(sign) = &site.life_sign {
        lines.say(format_args!("A sign of life to {} each hour", sign.url));
    }
    if let Some(mirror) = &site.mirror {
        lines.say(format_args!("Mirror to {}, bucket {} of {}", mirror.url, mirror.bucket, mirror.org));
    }
    let quiet = site.quiet;
    if quiet.from != quiet.to {
        let (from, to) = (quiet.from.format("%H:%M"), quiet.to.format("%H:%M"));
        lines.say(format_args!("Quiet from {from} to {to}: only severe alarms may buzz"));
    }
}

fn series(lines: &mut Lines, series: &Series) {
    let file = match &series.file {
        FileMatch::Ending(ending) => format!("files ending in {ending}"),
        FileMatch::Position(position) => format!("file {position} of the command"),
    };
    let columns = match &series.values {
        Values::Reading(column) => column_text(column),
        Values::Daily { min, max } => {
            format!("{} to {}, lowest and highest of each day", column_text(min), column_text(max))
        }
    };
    let measured = &series.measured;
    let (quantity, unit, probe) = (measured.quantity, &measured.unit, &series.probe);
    let every = series.usual_interval_s;
    lines.say(format_args!("  {file}: {columns} is {quantity} of probe {probe} in {unit}, every {every} s"));
}

fn column_text(column: &Column) -> String {
    match column {
        Column::Named { name, nth: 1 } => format!("{name:?}"),
        Column::Named { name, nth } => format!("{name:?} (the {nth}. of that name)"),
        Column::Numbered(number) => format!("column {number}"),
    }
}
