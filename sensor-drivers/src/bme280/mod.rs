//! BME280 class: temperature, relative humidity and pressure of the air.
//!
//! The chip sleeps between measurements ("forced mode"), one sample of each element at a time and
//! no filter, as its datasheet advises for weather: the least self-heating.
//!
//! It has no checksum and, once its supply has dipped, answers as if nothing had happened with
//! everything switched off. Hence three habits of this driver:
//!
//! - settings, status and data are read in one burst, so that each sample comes with the settings
//!   it was taken under. Settings that are not ours mean a restart: the sample is dropped;
//! - whatever matters is read twice and compared;
//! - the words of an element that is switched off (0x80000, 0x8000) are not looked for. They are
//!   also true words, of 0x8000 about half the humidity scale; only the settings tell which.
//!
//! Source: BME280 datasheet, sections on sensor modes, recommended modes (weather monitoring),
//! measurement time, memory map, register descriptions and I2C interface; from memory, registers
//! confirmed in several public drivers.

mod calibration;

use std::time::Duration;

use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::I2c;

pub use calibration::Calibration;
#[cfg(test)]
pub(crate) use calibration::tests::table;

use crate::{Celsius, Impossible, Instrument, Kilopascal, Kind, Measured, Percent, ReadError};

/// The address with the chip's select pin at ground; 0x77 with it at the supply.
pub const ADDRESS: u8 = 0x76;

/// What the identity register of this chip holds. Its sisters without humidity hold other numbers.
const CHIP_ID: u8 = 0x60;

const ID: u8 = 0xD0;
const RESET: u8 = 0xE0;
const STATUS: u8 = 0xF3;
const CTRL_HUM: u8 = 0xF2;
const CTRL_MEAS: u8 = 0xF4;
const CONFIG: u8 = 0xF5;
const CALIBRATION_LOW: u8 = 0x88;
const CALIBRATION_HIGH: u8 = 0xE1;

/// The one word the reset register listens to.
const RESET_WORD: u8 = 0xB6;
/// Humidity sampled once.
const HUMIDITY_ONCE: u8 = 0b001;
/// Temperature (upper three bits) and pressure (next three) sampled once, asleep.
const BOTH_ONCE: u8 = 0b0010_0100;
/// The mode bits that start one measurement.
const FORCED: u8 = 0b01;
/// No filter, and the rate at which it would measure by itself does not matter.
const NO_FILTER: u8 = 0;
/// Converting, or copying constants from its memory.
const BUSY: u8 = 0b0000_1001;

/// How long the chip takes to start.
const START_UP: Duration = Duration::from_millis(2);
/// The longest one sample of each element takes: 1.25 + 2.3 + (2.3 + 0.575) + (2.3 + 0.575) ms.
const CONVERSION: Duration = Duration::from_micros(9_300);
/// The pause before a chip that is still busy is looked at again.
const PAUSE: Duration = Duration::from_millis(1);
/// How often it is looked at again.
const PATIENCE: u32 = 5;

/// The range the chip is specified for: temperature [°C].
const RANGE_CELSIUS: (f64, f64) = (-40.0, 85.0);
/// The range the chip is specified for: pressure [kPa].
const RANGE_KILOPASCAL: (f64, f64) = (30.0, 110.0);

/// What one measurement yields.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Air {
    /// Temperature at the chip, some tenths above the air's from its own warmth.
    pub temperature: Celsius,
    /// Humidity at the chip, or why it is refused while the rest stands.
    pub humidity: Result<Percent, Impossible>,
    /// Pressure where the chip hangs, or why it is refused while the rest stands.
    pub pressure: Result<Kilopascal, Impossible>,
}

/// The instrument, owning its handle of the bus.
#[derive(Debug)]
pub struct Bme280<Bus, Delay> {
    bus: Bus,
    delay: Delay,
    address: u8,
    /// Present while the chip is set up.
    calibration: Option<Calibration>,
}

/// Settings, status and data as one burst holds them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Sample {
    ctrl_hum: u8,
    ctrl_meas: u8,
    config: u8,
    busy: bool,
    pressure: u32,
    temperature: u32,
    humidity: u16,
}

impl Sample {
    /// Registers 0xF2 to 0xFE; bits the datasheet reserves are left out.
    fn from_registers(burst: [u8; 13]) -> Self {
        let [ctrl_hum, status, ctrl_meas, config, _, p2, p1, p0, t2, t1, t0, h1, h0] = burst;
        Self {
            ctrl_hum: ctrl_hum & 0b111,
            ctrl_meas,
            config: config & !0b10,
            busy: status & BUSY != 0 || ctrl_meas & 0b11 == FORCED,
            pressure: u32::from_be_bytes([0, p2, p1, p0]) >> 4,
            temperature: u32::from_be_bytes([0, t2, t1, t0]) >> 4,
            humidity: u16::from_be_bytes([h1, h0]),
        }
    }

    fn settings_are_ours(&self) -> bool {
        (self.ctrl_hum, self.ctrl_meas, self.config) == (HUMIDITY_ONCE, BOTH_ONCE, NO_FILTER)
    }
}

impl<Bus: I2c, Delay: DelayNs> Bme280<Bus, Delay> {
    /// Takes the bus; talks to nobody until the first measurement.
    pub fn new(bus: Bus, delay: Delay, address: u8) -> Self {
        Self { bus, delay, address, calibration: None }
    }

    /// Measures once; blocks for the conversion, 9.3 ms, and for 2 ms more when the chip has to be
    /// set up first.
    ///
    /// # Errors
    ///
    /// [`ReadError::NotThisInstrument`] at setting up; [`ReadError::Restarted`] when the settings
    /// were lost since; [`ReadError::Bus`], [`ReadError::Unsteady`], [`ReadError::NotReady`]; and
    /// [`ReadError::Impossible`] for an answer without a moving bit, blank constants or a
    /// temperature the chip cannot have. After any of them the next call sets the chip up anew.
    pub fn measure(&mut self) -> Result<Air, ReadError<Bus::Error>> {
        let calibration = match self.calibration.take() {
            Some(calibration) => calibration,
            None => self.set_up()?,
        };
        let sample = self.sample()?;
        let air = self.compensate(calibration, sample)?;
        self.calibration = Some(calibration);
        Ok(air)
    }

    /// Gives bus and delay back.
    pub fn release(self) -> (Bus, Delay) {
        (self.bus, self.delay)
    }

    /// Checks who answers, starts it from the beginning, reads its constants, writes our settings.
    fn set_up(&mut self) -> Result<Calibration, ReadError<Bus::Error>> {
        let [found] = self.registers(ID)?;
        Impossible::check_moved(&[found]).map_err(|what| self.impossible(what))?;
        if found != CHIP_ID {
            let (expected, found) = (u32::from(CHIP_ID), u32::from(found));
            return Err(ReadError::NotThisInstrument { address: self.address, expected, found });
        }
        self.set(RESET, RESET_WORD)?;
        self.wait(START_UP);
        self.wait_until_idle()?;
        let (low, high) = (self.registers_twice(CALIBRATION_LOW)?, self.registers_twice(CALIBRATION_HIGH)?);
        let calibration = Calibration::from_registers(&low, high).map_err(|what| self.impossible(what))?;
        self.set(CONFIG, NO_FILTER)?;
        // Takes effect with the next write to CTRL_MEAS, which is the one that starts a measurement.
        self.set(CTRL_HUM, HUMIDITY_ONCE)?;
        Ok(calibration)
    }

    fn wait_until_idle(&mut self) -> Result<(), ReadError<Bus::Error>> {
        for _ in 0..=PATIENCE {
            let [status] = self.registers(STATUS)?;
            if status & BUSY == 0 {
                return Ok(());
            }
            self.wait(PAUSE);
        }
        Err(ReadError::NotReady { address: self.address })
    }

    /// Has the chip measure, and brings the sample home with the settings it was taken under.
    fn sample(&mut self) -> Result<Sample, ReadError<Bus::Error>> {
        let address = self.address;
        self.set(CTRL_MEAS, BOTH_ONCE | FORCED)?;
        self.wait(CONVERSION);
        for _ in 0..=PATIENCE {
            let burst = self.registers(CTRL_HUM)?;
            Impossible::check_moved(&burst).map_err(|what| self.impossible(what))?;
            let sample = Sample::from_registers(burst);
            if sample.busy {
                self.wait(PAUSE);
                continue;
            }
            // Asleep again, the registers hold still: a difference is damage.
            if Sample::from_registers(self.registers(CTRL_HUM)?) != sample {
                return Err(ReadError::Unsteady { address });
            }
            return if sample.settings_are_ours() {
                Ok(sample)
            } else {
                Err(ReadError::Restarted { address })
            };
        }
        Err(ReadError::NotReady { address })
    }

    fn compensate(&self, calibration: Calibration, sample: Sample) -> Result<Air, ReadError<Bus::Error>> {
        let fine = calibration.fine_temperature(sample.temperature);
        let (low, high) = RANGE_CELSIUS;
        let celsius = Impossible::check_range(Kind::Temperature, Calibration::celsius(fine), low, high)
            .map_err(|what| self.impossible(what))?;
        let (low, high) = RANGE_KILOPASCAL;
        let kilopascal = calibration.pascal(sample.pressure, fine) / 1000.0;
        let percent = calibration.percent_unclipped(sample.humidity, fine);
        Ok(Air {
            temperature: Celsius(celsius),
            humidity: Impossible::check_humidity(percent).map(Percent),
            pressure: Impossible::check_range(Kind::Pressure, kilopascal, low, high).map(Kilopascal),
        })
    }

    /// Reads registers from `first` on, in one burst.
    fn registers<const N: usize>(&mut self, first: u8) -> Result<[u8; N], ReadError<Bus::Error>> {
        let address = self.address;
        let mut read = [0; N];
        let outcome = self.bus.write_read(address, &[first], &mut read);
        outcome.map(|()| read).map_err(|cause| ReadError::Bus { address, cause })
    }

    /// Reads registers that hold still twice, because nothing else guards them.
    fn registers_twice<const N: usize>(&mut self, first: u8) -> Result<[u8; N], ReadError<Bus::Error>> {
        let read = self.registers(first)?;
        if self.registers(first)? == read {
            Ok(read)
        } else {
            Err(ReadError::Unsteady { address: self.address })
        }
    }

    fn set(&mut self, register: u8, value: u8) -> Result<(), ReadError<Bus::Error>> {
        let address = self.address;
        self.bus.write(address, &[register, value]).map_err(|cause| ReadError::Bus { address, cause })
    }

    fn wait(&mut self, time: Duration) {
        self.delay.delay_us(time.as_micros() as u32);
    }

    fn impossible(&self, what: Impossible) -> ReadError<Bus::Error> {
        ReadError::Impossible { address: self.address, what }
    }
}

impl<Bus: I2c, Delay: DelayNs> Instrument for Bme280<Bus, Delay> {
    type BusError = Bus::Error;

    fn read(&mut self) -> Result<Vec<Measured>, ReadError<Bus::Error>> {
        let air = self.measure()?;
        Ok(vec![
            Measured { kind: Kind::Temperature, value: Ok(air.temperature.get()) },
            Measured { kind: Kind::Humidity, value: air.humidity.map(Percent::get) },
            Measured { kind: Kind::Pressure, value: air.pressure.map(Kilopascal::get) },
        ])
    }

    fn start_anew(&mut self) {
        self.calibration = None;
    }

    fn serial_number(&self) -> Option<u32> {
        None
    }

    fn address(&self) -> u8 {
        self.address
    }
}
