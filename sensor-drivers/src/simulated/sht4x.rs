//! A simulated SHT4x class chip: commands, busy times, words with checksums.
//!
//! Source: as for the driver. The busy times are the longest of the datasheet, from memory.

use std::time::Duration;

use embedded_hal::i2c::NoAcknowledgeSource;

use super::air::Elements;
use super::{Device, Fault, TrueAir};
use crate::crc8;

/// How long the chip is busy after power-on or a reset, and with fetching its serial number.
const SHORT: Duration = Duration::from_millis(1);

/// What the chip is doing.
#[derive(Clone, Copy)]
enum Doing {
    /// Waiting for a command, with nothing to say.
    Nothing,
    /// Starting; acknowledges nothing until then.
    Starting(Duration),
    /// Converting; acknowledges nothing until then, and samples the air at that time.
    Converting(Duration),
    /// Fetching its serial number until then.
    Fetching(Duration),
}

/// The simulated chip.
pub struct SimulatedSht4x {
    elements: Elements,
    serial_number: u32,
    doing: Doing,
    exchanged: bool,
    never_ready: bool,
}

impl SimulatedSht4x {
    /// A chip with a serial number, in air that `source` tells for each time of the bus.
    ///
    /// It has been powered for long.
    pub fn new(serial_number: u32, source: impl FnMut(Duration) -> TrueAir + Send + 'static) -> Self {
        let elements = Elements::new(source);
        Self { elements, serial_number, doing: Doing::Nothing, exchanged: false, never_ready: false }
    }

    fn busy(&self, at: Duration) -> bool {
        match self.doing {
            Doing::Nothing => false,
            Doing::Converting(_) if self.never_ready => true,
            Doing::Starting(until) | Doing::Converting(until) | Doing::Fetching(until) => at < until,
        }
    }
}

impl Device for SimulatedSht4x {
    fn write(&mut self, at: Duration, bytes: &[u8]) -> Result<(), NoAcknowledgeSource> {
        if self.busy(at) {
            return Err(NoAcknowledgeSource::Address);
        }
        // An answer that was not fetched is lost with the next command.
        self.doing = Doing::Nothing;
        self.doing = match bytes {
            [] => Doing::Nothing,
            [0xFD] => Doing::Converting(at + Duration::from_micros(8_300)),
            [0xF6] => Doing::Converting(at + Duration::from_micros(4_500)),
            [0xE0] => Doing::Converting(at + Duration::from_micros(1_600)),
            [0x89] => Doing::Fetching(at + SHORT),
            [0x94] => Doing::Starting(at + SHORT),
            _ => return Err(NoAcknowledgeSource::Data),
        };
        Ok(())
    }

    fn read(&mut self, at: Duration, answer: &mut [u8]) -> Result<(), NoAcknowledgeSource> {
        if self.busy(at) {
            return Err(NoAcknowledgeSource::Address);
        }
        let words = match std::mem::replace(&mut self.doing, Doing::Nothing) {
            Doing::Nothing | Doing::Starting(_) => return Err(NoAcknowledgeSource::Address),
            Doing::Converting(done) => words(self.elements.sample(done)),
            Doing::Fetching(_) => {
                let serial_number = if self.exchanged { !self.serial_number } else { self.serial_number };
                [(serial_number >> 16) as u16, serial_number as u16]
            }
        };
        // Past its two words the chip lets go of the line.
        answer.fill(0xFF);
        let bytes = words.into_iter().flat_map(|word| {
            let [upper, lower] = word.to_be_bytes();
            [upper, lower, crc8(&[upper, lower])]
        });
        answer.iter_mut().zip(bytes).for_each(|(place, byte)| *place = byte);
        Ok(())
    }

    fn power_on(&mut self, at: Duration) {
        self.doing = Doing::Starting(at + SHORT);
    }

    fn suffer(&mut self, fault: Fault, begins: bool) {
        match fault {
            Fault::StuckValue => self.elements.stick(begins),
            Fault::WrongInstrument => self.exchanged = begins,
            Fault::NeverReady => self.never_ready = begins,
            _ => {}
        }
    }

    fn take_junk(&mut self) {
        // The chip has no register that keeps what was written; an unknown command is ignored.
        self.doing = Doing::Nothing;
    }
}

/// The nearest words for an air: the datasheet's conversion, turned round.
fn words(air: TrueAir) -> [u16; 2] {
    // A cast to u16 holds at either end of the scale, as the converter does.
    [
        ((air.celsius + 45.0) / 175.0 * 65535.0).round() as u16,
        ((air.percent + 6.0) / 125.0 * 65535.0).round() as u16,
    ]
}
