//! What an instrument measures, as small values with their unit in the type.
//!
//! These stop at the edge of the crate: the caller turns them into its own quantities and grades.

use std::fmt;

macro_rules! values {
    ($($(#[$doc:meta])* $name:ident [$unit:literal];)*) => { $(
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
        pub struct $name(pub(crate) f64);

        impl $name {
            #[doc = concat!("The number, in ", $unit, ".")]
            #[must_use]
            pub const fn get(self) -> f64 {
                self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                fmt::Display::fmt(&self.0, f)?;
                f.write_str(concat!(" ", $unit))
            }
        }
    )* };
}

values! {
    /// Temperature at the instrument, within the range its maker states.
    Celsius ["°C"];
    /// Relative humidity over water, from 0 to 100.
    Percent ["%"];
    /// Air pressure at the height of the instrument, not reduced to the sea.
    Kilopascal ["kPa"];
}

/// Which quantity a number is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[non_exhaustive]
pub enum Kind {
    /// Temperature, in °C.
    Temperature,
    /// Relative humidity, in %.
    Humidity,
    /// Air pressure where the instrument hangs, in kPa.
    Pressure,
}

impl Kind {
    /// The unit its values are in.
    #[must_use]
    pub const fn unit(self) -> &'static str {
        match self {
            Self::Temperature => "°C",
            Self::Humidity => "%",
            Self::Pressure => "kPa",
        }
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Temperature => "temperature",
            Self::Humidity => "humidity",
            Self::Pressure => "pressure",
        })
    }
}

/// One quantity out of one answer of an instrument.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    /// Which quantity.
    pub kind: Kind,
    /// Its value in the unit of its kind, or why this quantity alone is refused.
    ///
    /// A broken humidity element must not silence the thermometer beside it, so the quantities of
    /// one answer are refused one by one.
    pub value: Result<f64, crate::Impossible>,
}
