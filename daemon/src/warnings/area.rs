//! Whether the site lies in an area that a message names.
//!
//! An area is all of its polygons, circles and codes together. A polygon's edges are straight between latitudes and
//! longitudes, and go the short way round the Earth, so that one may lie over the 180th meridian; one around a pole is
//! not understood. A code means the site where the site file lists it. Words alone are no area: nothing is guessed.

use std::collections::BTreeMap;

use super::cap::{Area, Circle, Polygon};

/// The Earth's mean radius, km (IUGG: (2a + b) / 3 of GRS 80).
const EARTH_KM: f64 = 6371.0088;
/// A point this near to an edge lies on it, °: less than a metre.
const ON_EDGE: f64 = 5e-6;

/// A place on Earth: ° north, ° east.
pub type Point = (f64, f64);

/// Whether an area covers a place, by its shapes or by one of the `codes` (list: codes of it) that mean the place.
pub fn covers(area: &Area, place: Point, codes: &BTreeMap<String, Vec<String>>) -> bool {
    let named = |(list, code): &(String, String)| codes.get(list).is_some_and(|known| known.contains(code));
    area.polygons.iter().any(|polygon| is_within(polygon, place))
        || area.circles.iter().any(|circle| is_near(circle, place))
        || area.geocodes.iter().any(named)
}

/// Whether a place lies within a polygon or on its edge: the line winds around it.
pub fn is_within(polygon: &Polygon, place: Point) -> bool {
    let mut winding = 0;
    for edge in polygon.corners.windows(2) {
        // The edge as seen from the place: ° north and east of it.
        let from = (edge[0].0 - place.0, short_way(edge[0].1 - place.1));
        let to = (edge[1].0 - place.0, from.1 + short_way(edge[1].1 - edge[0].1));
        if lies_on(from, to) {
            return true;
        }
        let eastward = from.1 <= 0.0 && to.1 > 0.0;
        let westward = from.1 > 0.0 && to.1 <= 0.0;
        if !eastward && !westward {
            continue;
        }
        // Where it crosses the meridian of the place: north of it, it counts.
        let crosses_at = from.0 + (to.0 - from.0) * (-from.1 / (to.1 - from.1));
        if crosses_at > 0.0 {
            winding += if eastward { 1 } else { -1 };
        }
    }
    winding != 0
}

/// Degrees of longitude the short way round: -180 to 180.
fn short_way(degrees: f64) -> f64 {
    (degrees + 180.0).rem_euclid(360.0) - 180.0
}

/// Whether the origin lies on an edge.
fn lies_on(from: Point, to: Point) -> bool {
    let along = (to.0 - from.0, to.1 - from.1);
    let length_2 = along.0 * along.0 + along.1 * along.1;
    let share = if length_2 > 0.0 { -(from.0 * along.0 + from.1 * along.1) / length_2 } else { 0.0 };
    let share = share.clamp(0.0, 1.0);
    let (north, east) = (from.0 + share * along.0, from.1 + share * along.1);
    libm::hypot(north, east) <= ON_EDGE
}

/// Whether a place is within a circle or on it.
fn is_near(circle: &Circle, place: Point) -> bool {
    distance_km(circle.middle, place) <= circle.radius_km
}

/// The way between two places along the Earth, km: the haversine formula on a sphere.
///
/// # Equation
///
/// ```text
/// h = sin²((φ2-φ1)/2) + cos φ1 cos φ2 sin²((λ2-λ1)/2),  d = 2 R asin √h
/// ```
///
/// # Source
///
/// R. W. Sinnott, Virtues of the Haversine, Sky and Telescope 68 (1984) 159, from memory.
pub fn distance_km(a: Point, b: Point) -> f64 {
    let half = |from: f64, to: f64| libm::sin((to - from).to_radians() / 2.0);
    let (north, east) = (half(a.0, b.0), half(a.1, b.1));
    let cosines = libm::cos(a.0.to_radians()) * libm::cos(b.0.to_radians());
    let h = north * north + cosines * east * east;
    2.0 * EARTH_KM * libm::asin(libm::sqrt(h.clamp(0.0, 1.0)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn polygon(corners: &[Point]) -> Polygon {
        let mut corners = corners.to_vec();
        corners.push(corners[0]);
        Polygon { corners }
    }

    #[test]
    fn a_place_is_in_a_polygon_whichever_way_round_it_is_drawn() {
        // A letter L, worked by hand on squared paper.
        let mut corners = vec![(0.0, 0.0), (0.0, 3.0), (1.0, 3.0), (1.0, 1.0), (4.0, 1.0), (4.0, 0.0)];
        for _ in 0..2 {
            let shape = polygon(&corners);
            for inside in [(0.5, 0.5), (0.5, 2.9), (3.9, 0.5), (1.0, 0.5), (0.5, 1.0)] {
                assert!(is_within(&shape, inside), "{inside:?}");
            }
            for outside in
                [(2.0, 2.0), (1.01, 1.01), (-0.1, 0.5), (4.1, 0.5), (0.5, 3.1), (0.5, -0.1), (0.5, 179.0)]
            {
                assert!(!is_within(&shape, outside), "{outside:?}");
            }
            corners.reverse();
        }
    }

    #[test]
    fn edges_and_corners_belong_to_it() {
        let square = polygon(&[(48.1, 11.4), (48.3, 11.4), (48.3, 11.8), (48.1, 11.8)]);
        for on in [(48.1, 11.4), (48.3, 11.8), (48.2, 11.4), (48.1, 11.6), (48.3, 11.5), (48.2, 11.8)] {
            assert!(is_within(&square, on), "{on:?}");
        }
    }

    #[test]
    fn a_polygon_may_lie_over_the_180th_meridian() {
        // Two degrees east and west of it, around 17 south.
        let shape = polygon(&[(-18.0, 178.0), (-16.0, 178.0), (-16.0, -178.0), (-18.0, -178.0)]);
        for inside in [(-17.0, 179.9), (-17.0, -179.9), (-17.0, 180.0), (-17.0, -180.0), (-17.0, 178.5)] {
            assert!(is_within(&shape, inside), "{inside:?}");
        }
        for outside in [(-17.0, 0.0), (-17.0, 177.5), (-17.0, -177.5), (-15.0, 180.0), (17.0, 180.0)] {
            assert!(!is_within(&shape, outside), "{outside:?}");
        }
    }

    #[test]
    fn distances_are_arcs_of_great_circles() {
        // Worked by hand: along a meridian and the equator the arc is R times the angle; between meridians half a turn
        // apart the short way leads over the pole; a degree of longitude at 60° north by the formula in long hand.
        let degree = EARTH_KM * std::f64::consts::PI / 180.0;
        let cases = [
            ((0.0, 0.0), (1.0, 0.0), degree),
            ((0.0, 179.5), (0.0, -179.5), degree),
            ((0.0, 0.0), (90.0, 77.0), 90.0 * degree),
            ((80.0, 0.0), (80.0, 180.0), 20.0 * degree),
            ((0.0, 0.0), (0.0, 180.0), 180.0 * degree),
            ((60.0, 10.0), (60.0, 11.0), 55.597_0),
        ];
        for (from, to, km) in cases {
            assert!((distance_km(from, to) - km).abs() < 1e-3, "{from:?} {to:?}: {}", distance_km(from, to));
        }
        assert!((degree - 111.195).abs() < 1e-3);
    }

    #[test]
    fn an_area_is_all_it_names_together_and_words_alone_are_none() {
        let area = |polygons: Vec<Polygon>, circles: Vec<Circle>, codes: &[(&str, &str)]| Area {
            words: "Bindweed Yard and all around".into(),
            polygons,
            circles,
            geocodes: codes.iter().map(|(list, code)| ((*list).to_owned(), (*code).to_owned())).collect(),
        };
        let here = (52.1, 5.3);
        let known = BTreeMap::from([("EXAMPLE".to_owned(), vec!["A1".to_owned(), "A2".to_owned()])]);
        let circle = |radius_km| Circle { middle: (53.1, 5.3), radius_km };
        // One degree of latitude is 111.195 km.
        assert!(covers(&area(vec![], vec![circle(10.0), circle(111.2)], &[]), here, &known));
        assert!(!covers(&area(vec![], vec![circle(111.1)], &[]), here, &known));
        assert!(covers(&area(vec![], vec![circle(10.0)], &[("EXAMPLE", "A2")]), here, &known));
        assert!(!covers(&area(vec![], vec![], &[("EXAMPLE", "a2"), ("OTHER", "A1")]), here, &known));
        assert!(!covers(&area(vec![], vec![], &[]), here, &known));
    }
}
