//! SHT4x class: temperature and relative humidity of the air.
//!
//! One command starts a conversion. The chip answers nobody until it is done and then gives two
//! words, each with its checksum. There are no settings to lose, so a restart between two readings
//! does no harm. Its heater is never switched on: in a small shelter it would warm what it measures.
//!
//! The serial number says whether this is still the instrument that answered before, which matters
//! to a grower who hangs two of them in two places and swaps the plugs. So it is asked before every
//! measurement, 1 ms each: two plugs are swapped between two readings without any other trace.
//!
//! Source: SHT4x datasheet, sections on timings, I2C communication, checksum calculation, command
//! overview, conversion of signal output, serial number and reset. All from memory; the commands
//! and the constants of the conversion confirmed in several public drivers.

use std::time::Duration;

use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{Error as _, ErrorKind, I2c};

use crate::{Celsius, Impossible, Instrument, Kind, Measured, Percent, ReadError, crc8};

/// The address most of these chips come with; others are made for 0x45 and 0x46.
pub const ADDRESS: u8 = 0x44;

/// Measures both quantities at high repeatability.
const MEASURE: u8 = 0xFD;
/// Asks for the serial number.
const SERIAL_NUMBER: u8 = 0x89;
/// Starts the chip from the beginning.
const SOFT_RESET: u8 = 0x94;

/// The longest a conversion at high repeatability takes.
const CONVERSION: Duration = Duration::from_micros(8_300);
/// The longest the chip is busy after a reset; we grant the same for fetching the serial number.
const SHORT: Duration = Duration::from_millis(1);
/// How often a chip that is still busy is asked once more, [`SHORT`] apart.
const PATIENCE: u32 = 3;

/// The temperatures the chip is specified for [°C].
const RANGE_CELSIUS: (f64, f64) = (-40.0, 125.0);

/// What one measurement yields.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Air {
    /// Temperature at the chip.
    pub temperature: Celsius,
    /// Humidity at the chip, or why it is refused while the temperature stands.
    pub humidity: Result<Percent, Impossible>,
}

/// The instrument, owning its handle of the bus.
#[derive(Debug)]
pub struct Sht4x<Bus, Delay> {
    bus: Bus,
    delay: Delay,
    address: u8,
    expected: Option<u32>,
    /// The one that answered last.
    serial_number: Option<u32>,
    open: bool,
}

impl<Bus: I2c, Delay: DelayNs> Sht4x<Bus, Delay> {
    /// Takes the bus; talks to nobody until the first measurement.
    pub fn new(bus: Bus, delay: Delay, address: u8) -> Self {
        Self { bus, delay, address, expected: None, serial_number: None, open: false }
    }

    /// From now on only the chip with this serial number will do.
    #[must_use]
    pub fn expecting(mut self, serial_number: u32) -> Self {
        self.expected = Some(serial_number);
        self
    }

    /// Measures once; blocks for the conversion, 8.3 ms, for 1 ms to ask who answers, and for 1 ms
    /// more when the chip has to be opened first.
    ///
    /// # Errors
    ///
    /// [`ReadError::Bus`], [`ReadError::Checksum`], [`ReadError::NotReady`],
    /// [`ReadError::NotThisInstrument`], and [`ReadError::Impossible`] for an answer
    /// without a moving bit or a temperature the chip cannot have.
    pub fn measure(&mut self) -> Result<Air, ReadError<Bus::Error>> {
        let outcome = self.make_sure().and_then(|()| self.convert());
        self.open = outcome.is_ok();
        outcome
    }

    /// Asks for the chip's serial number; blocks for 1 ms.
    ///
    /// # Errors
    ///
    /// As [`measure`](Self::measure), but never [`ReadError::NotThisInstrument`].
    pub fn ask_serial_number(&mut self) -> Result<u32, ReadError<Bus::Error>> {
        let words =
            self.ask(SERIAL_NUMBER, SHORT, ["serial number, first half", "serial number, second half"])?;
        Ok(u32::from(words[0]) << 16 | u32::from(words[1]))
    }

    /// Gives bus and delay back.
    pub fn release(self) -> (Bus, Delay) {
        (self.bus, self.delay)
    }

    /// Resets a chip that is not open yet, and asks who it is: whoever answers that with two good
    /// checksums is a chip of this class.
    fn make_sure(&mut self) -> Result<(), ReadError<Bus::Error>> {
        if !self.open {
            self.command(SOFT_RESET)?;
            self.wait(SHORT);
        }
        let found = self.ask_serial_number()?;
        self.serial_number = Some(found);
        match self.expected {
            Some(expected) if expected != found => {
                Err(ReadError::NotThisInstrument { address: self.address, expected, found })
            }
            _ => Ok(()),
        }
    }

    fn convert(&mut self) -> Result<Air, ReadError<Bus::Error>> {
        let [temperature, humidity] = self.ask(MEASURE, CONVERSION, ["temperature", "humidity"])?;
        let (low, high) = RANGE_CELSIUS;
        let temperature = Impossible::check_range(Kind::Temperature, celsius(temperature), low, high)
            .map_err(|what| ReadError::Impossible { address: self.address, what })?;
        let humidity = Impossible::check_humidity(percent(humidity)).map(Percent);
        Ok(Air { temperature: Celsius(temperature), humidity })
    }

    /// Gives a command, waits, and fetches the two words of its answer.
    fn ask(
        &mut self,
        command: u8,
        wait: Duration,
        names: [&'static str; 2],
    ) -> Result<[u16; 2], ReadError<Bus::Error>> {
        let address = self.address;
        self.command(command)?;
        self.wait(wait);
        let answer = self.fetch()?;
        Impossible::check_moved(&answer).map_err(|what| ReadError::Impossible { address, what })?;

        let [a0, a1, a_sum, b0, b1, b_sum] = answer;
        let checked = |word, bytes: [u8; 2], received| match crc8(&bytes) {
            reckoned if reckoned == received => Ok(u16::from_be_bytes(bytes)),
            reckoned => Err(ReadError::Checksum { address, word, received, reckoned }),
        };
        Ok([checked(names[0], [a0, a1], a_sum)?, checked(names[1], [b0, b1], b_sum)?])
    }

    /// Fetches an answer. A chip that took the command and does not answer now is busy, not gone.
    ///
    /// Some adapters of small boards report a missing acknowledge as a remote input/output error,
    /// which reaches us as [`ErrorKind::Other`]. It is waited out alike, but if it stays it may be
    /// anything and is passed on as it is.
    fn fetch(&mut self) -> Result<[u8; 6], ReadError<Bus::Error>> {
        let address = self.address;
        let mut answer = [0; 6];
        let mut asked_again = 0;
        loop {
            let Err(cause) = self.bus.read(address, &mut answer) else { return Ok(answer) };
            match cause.kind() {
                ErrorKind::NoAcknowledge(_) | ErrorKind::Other if asked_again < PATIENCE => self.wait(SHORT),
                ErrorKind::NoAcknowledge(_) => return Err(ReadError::NotReady { address }),
                _ => return Err(ReadError::Bus { address, cause }),
            }
            asked_again += 1;
        }
    }

    fn command(&mut self, command: u8) -> Result<(), ReadError<Bus::Error>> {
        let address = self.address;
        self.bus.write(address, &[command]).map_err(|cause| ReadError::Bus { address, cause })
    }

    fn wait(&mut self, time: Duration) {
        self.delay.delay_us(time.as_micros() as u32);
    }
}

impl<Bus: I2c, Delay: DelayNs> Instrument for Sht4x<Bus, Delay> {
    type BusError = Bus::Error;

    fn read(&mut self) -> Result<Vec<Measured>, ReadError<Bus::Error>> {
        let air = self.measure()?;
        Ok(vec![
            Measured { kind: Kind::Temperature, value: Ok(air.temperature.get()) },
            Measured { kind: Kind::Humidity, value: air.humidity.map(Percent::get) },
        ])
    }

    fn start_anew(&mut self) {
        self.open = false;
    }

    fn serial_number(&self) -> Option<u32> {
        self.serial_number
    }

    fn address(&self) -> u8 {
        self.address
    }
}

/// Temperature of a raw word, T = −45 + 175 · S / (2¹⁶ − 1) [°C].
fn celsius(word: u16) -> f64 {
    -45.0 + 175.0 * f64::from(word) / 65535.0
}

/// Relative humidity of a raw word, RH = −6 + 125 · S / (2¹⁶ − 1) [%], from −6 to 119.
fn percent(word: u16) -> f64 {
    -6.0 + 125.0 * f64::from(word) / 65535.0
}

#[cfg(test)]
mod tests {
    use super::{celsius, percent};
    use crate::crc8;

    /// Our evaluation, elsewhere, of the datasheet's conversion.
    const TABLE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/reference/sensors_sht.csv");

    #[test]
    fn every_word_of_the_table_converts_and_has_its_checksum() {
        let mut table = csv::ReaderBuilder::new().comment(Some(b'#')).from_path(TABLE).unwrap();
        let mut rows = 0;
        for row in table.records() {
            let row = row.unwrap();
            let number = |column: usize| row[column].parse::<f64>().unwrap();
            // The table prints ten significant digits: half a unit of the last one at 100 and over.
            let close = |ours: f64, printed: f64| (ours - printed).abs() <= 5e-8;
            let word = u16::from_str_radix(&row[0], 16).unwrap();
            rows += 1;
            assert_eq!(crc8(&word.to_be_bytes()), u8::from_str_radix(&row[1], 16).unwrap(), "{word:#06x}");
            assert!(close(celsius(word), number(2)), "{word:#06x}: {} °C", celsius(word));
            assert!(close(percent(word), number(4)), "{word:#06x}: {} %", percent(word));
            assert!(close(percent(word).clamp(0.0, 100.0), number(5)), "{word:#06x} clipped");
        }
        assert_eq!(rows, 20);
    }
}
