//! A simulated BME280 class chip: register map, forced mode, status, power-on values.
//!
//! Not modelled: measuring by itself ("normal mode") and the filter. Asking for the former is not
//! acknowledged, so that nobody relies on it by mistake.
//!
//! Source: BME280 datasheet, sections on start-up time, power modes, measurement time, resolution
//! at each oversampling, memory map and register descriptions; from memory.

use std::time::Duration;

use embedded_hal::i2c::NoAcknowledgeSource;

use super::air::Elements;
use super::whole_numbers::{fine_temperature, nearest_word, pascal_256, percent_unclipped};
use super::{Device, Fault, TrueAir};
use crate::bme280::Calibration;

/// Until then the chip acknowledges nothing; a share of the start-up time that we chose.
const DEAF: Duration = Duration::from_millis(1);
/// Until then it copies its constants, and shows them blank.
const START_UP: Duration = Duration::from_millis(2);

const ID: usize = 0xD0;
const CTRL_HUM: usize = 0xF2;
const CTRL_MEAS: usize = 0xF4;
const DATA: std::ops::Range<usize> = 0xF7..0xFF;

/// The simulated chip.
pub struct SimulatedBme280 {
    elements: Elements,
    calibration: Calibration,
    registers: [u8; 256],
    pointer: u8,
    deaf_until: Duration,
    copied_at: Duration,
    /// The humidity setting in force, which is the one at the last write to CTRL_MEAS.
    humidity_setting: u8,
    converting_until: Option<Duration>,
    never_ready: bool,
    exchanged: bool,
}

impl SimulatedBme280 {
    /// A chip in air that `source` tells for each time of the bus, with [`TYPICAL`] constants.
    ///
    /// It has been powered for long.
    pub fn new(source: impl FnMut(Duration) -> TrueAir + Send + 'static) -> Self {
        Self::with_calibration(TYPICAL, source)
    }

    /// A chip with these constants.
    pub fn with_calibration(
        calibration: Calibration,
        source: impl FnMut(Duration) -> TrueAir + Send + 'static,
    ) -> Self {
        let mut chip = Self {
            elements: Elements::new(source),
            calibration,
            registers: [0; 256],
            pointer: 0,
            deaf_until: Duration::ZERO,
            copied_at: Duration::ZERO,
            humidity_setting: 0,
            converting_until: None,
            never_ready: false,
            exchanged: false,
        };
        chip.power_on(Duration::ZERO);
        (chip.deaf_until, chip.copied_at) = (Duration::ZERO, Duration::ZERO);
        chip
    }

    /// Brings the registers up to a time.
    fn run_to(&mut self, at: Duration) {
        if at >= self.copied_at && self.registers[0x88] == 0 {
            write_calibration(&self.calibration, &mut self.registers);
        }
        if let Some(done) = self.converting_until
            && at >= done
            && !self.never_ready
        {
            self.converting_until = None;
            self.registers[CTRL_MEAS] &= !0b11;
            self.convert(done);
        }
    }

    /// Puts the words for the air into the data registers, as far as the elements are switched on.
    fn convert(&mut self, at: Duration) {
        let air = self.elements.sample(at);
        let c = &self.calibration;
        let (pressure_setting, temperature_setting) = settings(self.registers[CTRL_MEAS]);

        let step = step_of(temperature_setting);
        let temperature =
            nearest_word(1 << 20, step, air.celsius * 5120.0, |word| fine_temperature(c, word) as f64);
        let fine = fine_temperature(c, temperature);
        // A higher word means less pressure, hence both turned about.
        let pascal = |word| pascal_256(c, word, fine) as f64 / 256.0;
        let pressure =
            nearest_word(1 << 20, step_of(pressure_setting), -air.kilopascal * 1000.0, |word| -pascal(word));
        let wanted = air.percent.clamp(0.0, 100.0);
        let humidity = nearest_word(1 << 16, 1, wanted, |word| {
            percent_unclipped(c, word as u16, fine) as f64 / 4194304.0
        });

        let or_off = |setting, word, off| if setting == 0 { off } else { word };
        let [_, p2, p1, p0] = (or_off(pressure_setting, pressure, 0x80000) << 4).to_be_bytes();
        let [_, t2, t1, t0] = (or_off(temperature_setting, temperature, 0x80000) << 4).to_be_bytes();
        let [h1, h0] = (or_off(self.humidity_setting, humidity, 0x8000) as u16).to_be_bytes();
        self.registers[DATA].copy_from_slice(&[p2, p1, p0, t2, t1, t0, h1, h0]);
    }

    fn set(&mut self, at: Duration, register: u8, value: u8) -> Result<(), NoAcknowledgeSource> {
        match register {
            0xE0 if value == 0xB6 => self.power_on(at),
            0xF2 => self.registers[CTRL_HUM] = value & 0b111,
            0xF4 if value & 0b11 == 0b11 => return Err(NoAcknowledgeSource::Data),
            0xF4 => {
                self.registers[CTRL_MEAS] = value;
                self.humidity_setting = self.registers[CTRL_HUM];
                if value & 0b11 != 0 {
                    self.converting_until = Some(at + conversion(value, self.humidity_setting));
                }
            }
            0xF5 => self.registers[0xF5] = value,
            // The rest can only be read.
            _ => {}
        }
        Ok(())
    }

    fn register(&self, at: Duration, register: u8) -> u8 {
        match register {
            0xF3 => {
                let measuring = u8::from(self.converting_until.is_some()) << 3;
                measuring | u8::from(at < self.copied_at)
            }
            // The sister chip without humidity.
            0xD0 if self.exchanged => 0x58,
            _ => self.registers[usize::from(register)],
        }
    }
}

impl Device for SimulatedBme280 {
    fn write(&mut self, at: Duration, bytes: &[u8]) -> Result<(), NoAcknowledgeSource> {
        if at < self.deaf_until {
            return Err(NoAcknowledgeSource::Address);
        }
        self.run_to(at);
        // A lone byte says where to read; pairs of bytes are register and value.
        for pair in bytes.chunks(2) {
            match *pair {
                [register, value] => self.set(at, register, value)?,
                [register] => self.pointer = register,
                _ => {}
            }
        }
        Ok(())
    }

    fn read(&mut self, at: Duration, answer: &mut [u8]) -> Result<(), NoAcknowledgeSource> {
        if at < self.deaf_until {
            return Err(NoAcknowledgeSource::Address);
        }
        self.run_to(at);
        for place in answer {
            *place = self.register(at, self.pointer);
            self.pointer = self.pointer.wrapping_add(1);
        }
        Ok(())
    }

    fn power_on(&mut self, at: Duration) {
        self.registers = [0; 256];
        self.registers[ID] = 0x60;
        self.registers[DATA].copy_from_slice(&[0x80, 0, 0, 0x80, 0, 0, 0x80, 0]);
        self.pointer = 0;
        self.deaf_until = at + DEAF;
        self.copied_at = at + START_UP;
        self.humidity_setting = 0;
        self.converting_until = None;
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
        // Ones from the released line land in the filter setting.
        self.registers[0xF5] = 0xFC;
    }
}

/// Pressure and temperature settings out of CTRL_MEAS.
fn settings(ctrl_meas: u8) -> (u8, u8) {
    ((ctrl_meas >> 2) & 0b111, ctrl_meas >> 5)
}

/// How many samples a setting of three bits stands for.
fn samples(setting: u8) -> u32 {
    if setting == 0 { 0 } else { 1 << (u32::from(setting.min(5)) - 1) }
}

/// The longest a conversion takes: datasheet, appendix on measurement time.
fn conversion(ctrl_meas: u8, humidity: u8) -> Duration {
    let (pressure, temperature) = settings(ctrl_meas);
    let one = |setting, extra| if setting == 0 { 0 } else { 2_300 * samples(setting) + extra };
    let micros = 1_250 + one(temperature, 0) + one(pressure, 575) + one(humidity, 575);
    Duration::from_micros(u64::from(micros))
}

/// The step between words: 16 bits of 20 for one sample, a bit more for each doubling.
fn step_of(setting: u8) -> u32 {
    16 >> (u32::from(setting.clamp(1, 5)) - 1)
}

/// Lays the constants into their registers: datasheet, table of trimming parameters.
fn write_calibration(c: &Calibration, registers: &mut [u8; 256]) {
    let mut put = |at: usize, word: u16| registers[at..at + 2].copy_from_slice(&word.to_le_bytes());
    put(0x88, c.t1);
    put(0x8E, c.p1);
    let signed = [c.t2, c.t3].into_iter().zip([0x8A, 0x8C]);
    let pressure = [c.p2, c.p3, c.p4, c.p5, c.p6, c.p7, c.p8, c.p9].into_iter().zip((0x90..).step_by(2));
    for (word, at) in signed.chain(pressure) {
        put(at, word as u16);
    }
    put(0xE1, c.h2 as u16);
    registers[0xA1] = c.h1;
    registers[0xE3] = c.h3;
    registers[0xE4] = (c.h4 >> 4) as u8;
    registers[0xE5] = (c.h4 & 0x0F) as u8 | ((c.h5 & 0x0F) << 4) as u8;
    registers[0xE6] = (c.h5 >> 4) as u8;
    registers[0xE7] = c.h6 as u8;
}

/// Constants of a chip of our own making, with a scale that covers all weather.
pub const TYPICAL: Calibration = Calibration {
    t1: 28009,
    t2: 25654,
    t3: 50,
    p1: 39145,
    p2: -10750,
    p3: 3024,
    p4: 5667,
    p5: -120,
    p6: -7,
    p7: 15500,
    p8: -14600,
    p9: 6000,
    h1: 75,
    h2: 355,
    h3: 0,
    h4: 341,
    h5: 50,
    h6: 30,
};
