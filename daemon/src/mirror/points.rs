//! From a reading to a point of the copy.
//!
//! The client library escapes little: a line end in a tag would begin a line of its own on the other side. So only
//! identifiers become tags, and free text never does. Only finite numbers become fields: the other side drops some
//! others without a word.

use agronomy::quantity::Quantity;
use influxdb2::models::DataPoint;

use crate::reading::{Grade, ProbeName, Reading, Reason};

/// Why a reading has no point.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoPoint {
    /// It says nothing that the copy could use: no value, no time of its own, or heard before.
    #[error("{}", .0.words())]
    Nothing(Reason),
    /// Not a finite number.
    #[error("{probe}: not a finite number")]
    NotFinite {
        /// Which probe said it.
        probe: String,
    },
    /// The probe's name is no identifier.
    #[error("the probe name {0:?} is no identifier")]
    Name(String),
}

/// One point of the copy. Made by [`point`] only, so its name is an identifier and its value finite.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    probe: ProbeName,
    quantity: Quantity,
    grade: Grade,
    value: f64,
    at_ms: i64,
}

impl Point {
    /// As the client library wants it.
    ///
    /// # Panics
    ///
    /// Never: the library's builder only refuses points without a field.
    pub fn line(self) -> DataPoint {
        let built = DataPoint::builder("reading")
            .tag("probe", self.probe.as_ref())
            .tag("quantity", self.quantity.as_str())
            .tag("grade", word(self.grade))
            .field("value", self.value)
            .timestamp(self.at_ms)
            .build();
        built.expect("there is a field")
    }
}

/// The point of one dated reading: time in UTC ms, value in the canonical unit.
///
/// # Errors
///
/// [`NoPoint`]: it is not for the copy.
pub fn point(reading: &Reading) -> Result<Point, NoPoint> {
    // Without a value it would be copied as 0, without a time under a false date.
    if matches!(reading.reason, Reason::Missing | Reason::NoTime | Reason::Repeated) {
        return Err(NoPoint::Nothing(reading.reason));
    }
    if !is_identifier(&reading.probe) {
        return Err(NoPoint::Name(reading.probe.to_string()));
    }
    if !reading.value.is_finite() {
        return Err(NoPoint::NotFinite { probe: reading.probe.to_string() });
    }
    Ok(Point {
        probe: reading.probe.clone(),
        quantity: reading.quantity,
        grade: reading.grade(),
        value: reading.value,
        at_ms: reading.at_ms,
    })
}

fn word(grade: Grade) -> &'static str {
    match grade {
        Grade::Sound => "sound",
        Grade::Doubtful => "doubtful",
        Grade::Refused => "refused",
    }
}

fn is_identifier(text: &str) -> bool {
    !text.is_empty() && text.bytes().all(|b| b.is_ascii_alphanumeric() || b"_-.".contains(&b))
}

#[cfg(test)]
mod tests {
    use influxdb2::models::WriteDataPoint;

    use super::*;

    fn reading(probe: &str, value: f64, reason: Reason) -> Reading {
        let quantity = Quantity::AirTemperature;
        Reading { probe: probe.into(), quantity, value, at_ms: 1_940_000_000_123, reason }
    }

    fn line(reading: &Reading) -> String {
        let mut bytes = Vec::new();
        point(reading).unwrap().line().write_data_point_to(&mut bytes).unwrap();
        String::from_utf8(bytes).unwrap()
    }

    #[test]
    fn a_reading_becomes_one_line_of_the_line_protocol() {
        // The line protocol as its publisher documents it: measurement,tags fields time; tags in order of their names.
        assert_eq!(
            line(&reading("bench-2", 31.25, Reason::None)),
            "reading,grade=sound,probe=bench-2,quantity=air_temperature value=31.25 1940000000123\n"
        );
        assert!(line(&reading("bench-2", 31.0, Reason::FromTheFuture)).contains("grade=doubtful"));
    }

    #[test]
    fn nothing_is_copied_without_a_value_or_under_a_false_date_or_twice() {
        for reason in [Reason::Missing, Reason::NoTime, Reason::Repeated] {
            assert_eq!(point(&reading("a", 0.0, reason)), Err(NoPoint::Nothing(reason)));
        }
    }

    #[test]
    fn no_name_can_forge_a_line() {
        for name in ["a\nreading value=1", "a\\", "", "a b", "a,b=c", "é"] {
            assert_eq!(point(&reading(name, 1.0, Reason::None)), Err(NoPoint::Name(name.to_owned())));
        }
    }

    #[test]
    fn only_finite_numbers_are_copied() {
        for value in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            let refused = point(&reading("a", value, Reason::OutOfRange));
            assert_eq!(refused, Err(NoPoint::NotFinite { probe: "a".to_owned() }));
        }
    }
}
