//! The woven and the loose part of a cloth as path data.
//!
//! Coordinates: across is air temperature, °C, from 8 to 44; down is hours since the top of the day. Measured hours
//! are one closed shape for each unbroken stretch; expected hours are threads whose ends stray as far as the range.

use std::fmt::Write;

/// Left edge of every cloth, °C. The scale does not change for a year.
pub(crate) const LEFT_C: f64 = 8.0;
/// Right edge of every cloth, °C.
pub(crate) const RIGHT_C: f64 = 44.0;

/// Hours from one loose thread to the next (18 min).
const THREAD_STEP_H: f64 = 0.3;
/// Thickness of a loose thread before and past the first string, hours (2 and 4.5 px of 20).
const THIN_H: f64 = 0.1;
const THICK_H: f64 = 0.225;

/// A temperature brought onto the cloth.
pub(crate) fn across(t_c: f64) -> f64 {
    t_c.clamp(LEFT_C, RIGHT_C)
}

/// Share of the width at which a temperature stands, %.
pub(crate) fn percent(t_c: f64) -> f64 {
    (across(t_c) - LEFT_C) / (RIGHT_C - LEFT_C) * 100.0
}

/// Cuts a curve of (hour, °C) where a hole (from, to) lies between two of its points.
pub(crate) fn stretches(curve: &[(f64, f64)], holes: &[(f64, f64)]) -> Vec<Vec<(f64, f64)>> {
    let mut parts: Vec<Vec<(f64, f64)>> = Vec::new();
    for &point in curve {
        let torn = parts.last().and_then(|part| part.last()).is_none_or(|last| {
            holes.iter().any(|&(from, to)| from >= last.0 - 0.01 && to <= point.0 + 0.01 && to > from)
        });
        match parts.last_mut() {
            Some(part) if !torn => part.push(point),
            _ => parts.push(vec![point]),
        }
    }
    parts
}

/// The edge of a stretch as an open path.
pub(crate) fn edge(points: impl IntoIterator<Item = (f64, f64)>) -> String {
    let mut path = String::new();
    for (index, (hour, t_c)) in points.into_iter().enumerate() {
        let _ = write!(path, "{}{:.2} {:.2}", if index == 0 { 'M' } else { 'L' }, across(t_c), hour);
    }
    path
}

/// The woven area of a stretch: its edge, closed along the left.
pub(crate) fn area(points: &[(f64, f64)]) -> String {
    match (points.first(), points.last()) {
        (Some(first), Some(last)) => {
            let edge = edge(points.iter().copied());
            format!("M{LEFT_C} {:.2}L{}L{LEFT_C} {:.2}Z", first.0, &edge[1..], last.0)
        }
        _ => String::new(),
    }
}

/// The range at an hour: low, middle, high, by straight lines between the points given.
pub(crate) fn range_at(expected: &[(f64, f64, f64, f64)], hour: f64) -> Option<(f64, f64, f64)> {
    let after = expected.iter().position(|point| point.0 >= hour)?;
    let b = expected[after];
    let Some(a) = after.checked_sub(1).map(|before| expected[before]) else {
        return (b.0 - hour < 0.5).then_some((b.1, b.2, b.3));
    };
    let part = if b.0 > a.0 { (hour - a.0) / (b.0 - a.0) } else { 1.0 };
    let between = |x: f64, y: f64| x + (y - x) * part;
    Some((between(a.1, b.1), between(a.2, b.2), between(a.3, b.3)))
}

/// Loose threads from `from` to `to`, hours; their ends alternate low, middle, high. `first_c`: the first string.
pub(crate) fn threads(expected: &[(f64, f64, f64, f64)], from: f64, to: f64, first_c: f64) -> String {
    let mut path = String::new();
    let count = ((to - from) / THREAD_STEP_H).max(0.0) as usize;
    for index in 0..count {
        let hour = from + (index as f64 + 0.6) * THREAD_STEP_H;
        let Some((low, middle, high)) = range_at(expected, hour) else { continue };
        let end = across([low, middle, high][index % 3]);
        bar(&mut path, LEFT_C, end.min(first_c), hour, THIN_H);
        bar(&mut path, first_c, end, hour, THICK_H);
    }
    path
}

/// The band between low and high: what is left of the expectation when nothing is heard.
pub(crate) fn band(expected: &[(f64, f64, f64, f64)]) -> String {
    if expected.is_empty() {
        return String::new();
    }
    let there = expected.iter().map(|point| (point.0, point.1));
    let back = expected.iter().rev().map(|point| (point.0, point.3));
    format!("{}Z", edge(there.chain(back)))
}

/// One thread from left to right at an hour, appended to a path; nothing where it has no length.
pub(crate) fn bar(path: &mut String, left: f64, right: f64, hour: f64, thick: f64) {
    if right > left {
        let _ = write!(path, "M{left:.2} {:.2}H{right:.2}v{thick}H{left:.2}z", hour - thick / 2.0);
    }
}

/// Slanting lines from `first_c` to the right edge between two hours, to be clipped by the woven area.
pub(crate) fn hatch(first_c: f64, from: f64, to: f64) -> String {
    let mut path = String::new();
    let mut hour = from;
    while hour < to + 1.4 {
        let _ = write!(path, "M{first_c:.2} {hour:.2}L{RIGHT_C} {:.2}", hour - 1.4);
        hour += 0.45;
    }
    path
}

/// A torn edge: a zigzag from the left to a temperature.
pub(crate) fn torn(t_c: f64, hour: f64) -> String {
    let mut path = format!("M{LEFT_C} {hour:.2}");
    let (mut x, mut up) = (LEFT_C, true);
    while x < across(t_c) - 0.5 {
        x += 0.9;
        let _ = write!(path, "L{:.2} {:.2}", x.min(across(t_c)), if up { hour - 0.22 } else { hour + 0.05 });
        up = !up;
    }
    path
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_scale_runs_from_8_to_44_and_stops_there() {
        assert_eq!(percent(8.0), 0.0);
        assert_eq!(percent(26.0), 50.0);
        assert_eq!(percent(51.0), 100.0);
    }

    #[test]
    fn a_hole_is_never_bridged() {
        let curve = [(0.0, 20.0), (1.0, 21.0), (3.0, 24.0), (4.0, 25.0)];
        assert_eq!(stretches(&curve, &[]).len(), 1);
        let parts = stretches(&curve, &[(1.0, 3.0)]);
        assert_eq!(parts, vec![vec![(0.0, 20.0), (1.0, 21.0)], vec![(3.0, 24.0), (4.0, 25.0)]]);
    }

    #[test]
    fn the_range_between_two_points_lies_on_straight_lines() {
        let expected = [(10.0, 30.0, 32.0, 34.0), (12.0, 34.0, 36.0, 40.0)];
        assert_eq!(range_at(&expected, 11.0), Some((32.0, 34.0, 37.0)));
        assert_eq!(range_at(&expected, 13.0), None);
        assert_eq!(range_at(&expected, 8.0), None);
    }

    #[test]
    fn a_woven_area_is_closed_along_the_left() {
        assert_eq!(area(&[(0.0, 20.0), (1.0, 22.0)]), "M8 0.00L20.00 0.00L22.00 1.00L8 1.00Z");
        assert_eq!(area(&[]), "");
    }

    #[test]
    fn threads_before_the_first_string_are_thin_and_past_it_thick() {
        let expected = [(0.0, 36.0, 36.0, 36.0), (1.0, 36.0, 36.0, 36.0)];
        let path = threads(&expected, 0.0, 0.4, 33.0);
        assert_eq!(path, "M8.00 0.13H33.00v0.1H8.00zM33.00 0.07H36.00v0.225H33.00z");
    }
}
