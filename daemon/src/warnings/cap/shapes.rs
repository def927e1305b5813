//! Polygons and circles on the Earth, WGS 84 (3.2.4, 3.3.1): `latitude,longitude` in degrees, heights left out.

use super::fault::{CapFault, cut};

/// A closed line; the last corner is the first again.
#[derive(Clone, Debug, PartialEq)]
pub struct Polygon {
    /// Corners, ° north and ° east.
    pub corners: Vec<(f64, f64)>,
}

/// All that lies within a distance of a point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Circle {
    /// The middle, ° north and ° east.
    pub middle: (f64, f64),
    /// How far, km.
    pub radius_km: f64,
}

/// Four corners or more with space between them, the first and the last the same (3.2.4 `polygon`).
pub(super) fn polygon(said: &str) -> Result<Polygon, CapFault> {
    let corners: Option<Vec<_>> = said.split_whitespace().map(point).collect();
    let closed = |corners: &Vec<(f64, f64)>| corners.len() >= 4 && corners.first() == corners.last();
    let corners = corners.filter(closed);
    corners.map(|corners| Polygon { corners }).ok_or_else(|| shape("polygon", said))
}

/// A point, and after a space a distance (3.2.4 `circle`).
pub(super) fn circle(said: &str) -> Result<Circle, CapFault> {
    let mut parts = said.split_whitespace();
    let middle = parts.next().and_then(point);
    let radius_km = parts.next().and_then(number).filter(|km| *km >= 0.0);
    match (middle, radius_km, parts.next()) {
        (Some(middle), Some(radius_km), None) => Ok(Circle { middle, radius_km }),
        _ => Err(shape("circle", said)),
    }
}

fn shape(name: &'static str, said: &str) -> CapFault {
    CapFault::Shape { name, said: cut(said) }
}

fn point(said: &str) -> Option<(f64, f64)> {
    let (north, east) = said.split_once(',')?;
    let (north, east) = (number(north)?, number(east)?);
    let on_earth = (-90.0..=90.0).contains(&north) && (-180.0..=180.0).contains(&east);
    on_earth.then_some((north, east))
}

/// A decimal as the schema has it: digits, perhaps a sign and a point, no exponent and no word.
pub(super) fn number(said: &str) -> Option<f64> {
    let plain = said.bytes().all(|sign| sign.is_ascii_digit() || matches!(sign, b'+' | b'-' | b'.'));
    if plain { said.parse().ok().filter(|value: &f64| value.is_finite()) } else { None }
}
