//! Why there is no reading: one variant for each thing a person would do about it.

use std::fmt;

use crate::Kind;

/// Why an instrument gave no reading.
///
/// After any of them the instrument may simply be asked again: the driver then sets the chip up
/// from the beginning.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ReadError<Bus: fmt::Debug> {
    /// Nobody answered, or the bus is in trouble: look at cable, power and address.
    #[error("no answer at {address:#04x}: {cause:?}")]
    Bus {
        /// The seven-bit address asked.
        address: u8,
        /// What the bus said.
        cause: Bus,
    },
    /// A word was damaged on its way: look at the length of the cable and the pull-ups.
    #[error("{word} from {address:#04x} damaged: checksum {received:#04x}, reckoned {reckoned:#04x}")]
    Checksum {
        /// The seven-bit address asked.
        address: u8,
        /// Which of the chip's words.
        word: &'static str,
        /// The checksum that came with it.
        received: u8,
        /// The checksum of what came.
        reckoned: u8,
    },
    /// The same registers read twice differ, on a chip without checksums: as for a damaged word.
    #[error("two readings of the same registers at {address:#04x} differ")]
    Unsteady {
        /// The seven-bit address asked.
        address: u8,
    },
    /// Something answers, but not the instrument that was named.
    #[error("{address:#04x} is not the instrument named: identity {found:#x}, expected {expected:#x}")]
    NotThisInstrument {
        /// The seven-bit address asked.
        address: u8,
        /// The chip's or the serial number hoped for.
        expected: u32,
        /// The one that answered.
        found: u32,
    },
    /// The chip lost its settings since it was set up: its supply failed, or it was exchanged.
    #[error("instrument at {address:#04x} restarted")]
    Restarted {
        /// The seven-bit address asked.
        address: u8,
    },
    /// The answer was whole and cannot be true.
    #[error("impossible answer from {address:#04x}: {what}")]
    Impossible {
        /// The seven-bit address asked.
        address: u8,
        /// What is wrong with it.
        what: Impossible,
    },
    /// The chip was still busy long after its longest conversion time.
    #[error("instrument at {address:#04x} not ready in time")]
    NotReady {
        /// The seven-bit address asked.
        address: u8,
    },
}

/// What cannot be true about an answer.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum Impossible {
    /// Every bit is zero: the data line is held low, perhaps wired short.
    #[error("nothing but zeros, is a wire shorted?")]
    AllZero,
    /// Every bit is one: the chip has let go of the line in mid-answer.
    #[error("nothing but ones, is a wire loose?")]
    AllOnes,
    /// The calibration words are those of an unprogrammed chip.
    #[error("calibration words are blank")]
    BlankCalibration,
    /// The value lies outside what the maker says the chip can measure.
    #[error("{kind} {value:.2} {}, the chip measures {low} to {high}", .kind.unit())]
    OutOfRange {
        /// Which quantity.
        kind: Kind,
        /// The value, before any clipping, in the unit of its kind.
        value: f64,
        /// The least that is believed.
        low: f64,
        /// The most that is believed.
        high: f64,
    },
}

impl Impossible {
    /// Refuses an answer in which no bit ever moved.
    pub(crate) fn check_moved(answer: &[u8]) -> Result<(), Self> {
        if answer.iter().all(|byte| *byte == 0x00) {
            Err(Self::AllZero)
        } else if answer.iter().all(|byte| *byte == 0xFF) {
            Err(Self::AllOnes)
        } else {
            Ok(())
        }
    }

    /// Gives the value back when it lies between `low` and `high`; NaN lies nowhere.
    pub(crate) fn check_range(kind: Kind, value: f64, low: f64, high: f64) -> Result<f64, Self> {
        if (low..=high).contains(&value) {
            Ok(value)
        } else {
            Err(Self::OutOfRange { kind, value, low, high })
        }
    }

    /// Relative humidity as both makers want it: a little beyond either end is read as the end.
    ///
    /// Water on the element lifts the raw figure somewhat over 100. More than five percent beyond
    /// an end is no water but a broken element (the limit is common practice, not the makers').
    pub(crate) fn check_humidity(raw_percent: f64) -> Result<f64, Self> {
        Self::check_range(Kind::Humidity, raw_percent, -5.0, 105.0).map(|percent| percent.clamp(0.0, 100.0))
    }
}

#[cfg(test)]
mod tests {
    use super::{Impossible, ReadError};
    use crate::Kind;

    #[test]
    fn humidity_a_little_beyond_either_end_is_the_end_and_far_beyond_is_refused() {
        for (raw, kept) in [(-5.0, 0.0), (-0.1, 0.0), (50.0, 50.0), (100.2, 100.0), (105.0, 100.0)] {
            assert_eq!(Impossible::check_humidity(raw), Ok(kept), "{raw}");
        }
        for raw in [-5.01, 105.01, f64::NAN, f64::INFINITY] {
            assert!(Impossible::check_humidity(raw).is_err(), "{raw}");
        }
    }

    #[test]
    fn messages_name_the_address_and_the_value_that_was_wrong() {
        let what = Impossible::OutOfRange { kind: Kind::Temperature, value: 127.94, low: -40.0, high: 125.0 };
        let error: ReadError<()> = ReadError::Impossible { address: 0x44, what };
        assert_eq!(
            error.to_string(),
            "impossible answer from 0x44: temperature 127.94 °C, the chip measures -40 to 125"
        );
    }
}
