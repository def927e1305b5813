//! What is known of the site before anything is measured: where it lies, what is usual there, what it starts with.

use std::sync::Arc;

use agronomy::crop::CropBook;
use agronomy::own_estimate::Usual;
use agronomy::units::{Celsius, Latitude, Longitude};
use config::ground::Start;
use config::position::Position;

use crate::calendar::Calendar;
use crate::clock::SystemClock;
use crate::entry::{Began, Note, PlaceKind};
use crate::site::{Limits, Site, UsualTable};

/// The site as the core knows it. `offset_ms`: the standard offset frozen in the ledger.
///
/// # Errors
///
/// When the position is none on Earth, in words.
pub fn site(position: &Position, book: CropBook, offset_ms: i64) -> Result<Site, String> {
    let zone = position.zone.clone();
    Ok(Site {
        name: position.name.clone(),
        latitude: Latitude::try_new(position.latitude).map_err(|error| error.to_string())?,
        longitude: Longitude::try_new(position.longitude).map_err(|error| error.to_string())?,
        calendar: Calendar::new(offset_ms, Arc::new(move |at_ms| zone.offset_at(at_ms))),
        book,
        limits: Limits::new(),
        usual: None,
    })
}

/// The machine's clock, with who may vouch for it by the site file.
pub fn clock(file: &config::site::Site) -> SystemClock {
    let declared = file.clock_vouched_by_system.then(|| "the system".to_owned());
    SystemClock::of_site(declared, file.clock_chip.as_deref())
}

/// What is usual outdoors, from the site file's climate table.
///
/// # Errors
///
/// When a figure is no temperature on Earth, in words.
pub fn usual(file: &config::site::Site) -> Result<Option<UsualTable>, String> {
    let Some(table) = file.outlook.as_ref().and_then(|outlook| outlook.usual.as_ref()) else {
        return Ok(None);
    };
    let months = |table: [f64; 12]| {
        let months: Result<Vec<_>, _> = table.into_iter().map(Celsius::try_new).collect();
        let months = months.map_err(|error| error.to_string())?;
        months
            .try_into()
            .map(|months| Usual::of_months(&months))
            .map_err(|_| "a year has twelve months".to_owned())
    };
    Ok(Some(UsualTable { high: months(table.high_c)?, low: months(table.low_c)? }))
}

/// The field map of a forecast: a shipped one by its name, or a file.
///
/// # Errors
///
/// When the file cannot be read, or everything that is wrong with it.
pub fn outlook_map(feed: &config::site::Feed) -> Result<config::OutlookMap, String> {
    let zones = config::Zones::system();
    if let Some(text) = config::shipped_outlook_map(&feed.map) {
        return config::read_outlook_map(text, &zones).map_err(|faults| faults.to_string());
    }
    let text =
        std::fs::read_to_string(&feed.map).map_err(|error| format!("reading {}: {error}", feed.map))?;
    config::read_outlook_map(&text, &zones).map_err(|faults| faults.named(&feed.map).to_string())
}

/// The notes that a `[start]` section stands for, with the moments from which they hold (UTC ms).
///
/// Everything stands from its own date on; places and probes from `from_ms`, or from the first planting where
/// that is earlier.
pub fn start_notes(start: &Start, calendar: &Calendar, from_ms: i64) -> Vec<(i64, Note)> {
    let day = |date: chrono::NaiveDate| {
        calendar.start_of(date.signed_duration_since(chrono::NaiveDate::default()).num_days())
    };
    let began = |planting: &config::ground::Planting| {
        let planted = planting.planted_out.map(|date| (day(date), Began::PlantedOut));
        planted
            .or_else(|| planting.sown.map(|date| (day(date), Began::Sown)))
            .unwrap_or((from_ms, Began::PlantedOut))
    };
    let earliest = start.plantings.iter().map(|planting| began(planting).0).fold(from_ms, i64::min);
    let mut notes = Vec::new();
    for place in &start.places {
        let kind = serde_json::from_value::<PlaceKind>(place.kind.as_str().into()).unwrap_or(PlaceKind::Bed);
        notes.push((earliest, Note::Place { place: place.id.clone(), name: place.name.clone(), kind }));
    }
    for hung in &start.probes {
        notes.push((
            earliest,
            Note::Hang {
                probe: hung.probe.clone(),
                place: hung.place.clone(),
                height_m: Some(hung.height_m),
                shelter: Some(hung.shelter.as_str().to_owned()),
                usual_interval_s: hung.usual_interval_s.max(1.0) as u32,
            },
        ));
        let marks = |(dry_pct, wet_pct)| Note::Marks { probe: hung.probe.clone(), dry_pct, wet_pct };
        notes.extend(hung.marks.map(|of| (earliest, marks(of))));
    }
    for planting in &start.plantings {
        let (from, began) = began(planting);
        notes.push((
            from,
            Note::Planting {
                planting: planting.id.clone(),
                crop: planting.crop.clone(),
                place: planting.place.clone(),
                variety: planting.variety.clone(),
                count: Some(planting.count),
                began,
                container_l: planting.container_l,
            },
        ));
        notes.extend(planting.figures.iter().map(|(figure, [lo, hi])| {
            let (planting, to) = (planting.id.clone(), (lo != hi).then_some(*hi));
            (from, Note::OwnFigure { planting, figure: figure.clone(), from: *lo, to })
        }));
        if let Some(ended) = planting.ended {
            // The last day still counts.
            let until = day(ended) + agronomy::series::MS_PER_DAY;
            notes.push((until, Note::End { planting: planting.id.clone() }));
        }
    }
    notes
}
