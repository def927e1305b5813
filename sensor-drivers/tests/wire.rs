//! Exact bytes and exact waits, as the datasheets have them, on a bus that accepts no others.

use embedded_hal::i2c::{ErrorKind, NoAcknowledgeSource};
use embedded_hal_mock::eh1::delay::{CheckedDelay, Transaction as Wait};
use embedded_hal_mock::eh1::i2c::{Mock, Transaction};
use sensor_drivers::bme280::Bme280;
use sensor_drivers::sht4x::Sht4x;
use sensor_drivers::{Impossible, Instrument, Kind, Measured, ReadError};

const SHT4X: u8 = 0x44;
const BME280: u8 = 0x76;

type Outcome<T> = Result<T, ReadError<ErrorKind>>;

/// Two words with their published checksums: reference table of checksums, from memory there.
const SERIAL: [u8; 6] = [0xF8, 0x96, 0x31, 0x9F, 0x07, 0xC2];
/// Words, checksums and values of the reference table of SHT conversions: 25 °C and 56.50095369 %.
const WARM: [u8; 6] = [0x66, 0x66, 0x93, 0x80, 0x00, 0xA2];

fn not_acknowledged() -> ErrorKind {
    ErrorKind::NoAcknowledge(NoAcknowledgeSource::Unknown)
}

/// Opening, as far as the chip's serial number.
fn opening() -> (Vec<Transaction>, Vec<Wait>) {
    let bus = vec![
        Transaction::write(SHT4X, vec![0x94]),
        Transaction::write(SHT4X, vec![0x89]),
        Transaction::read(SHT4X, SERIAL.to_vec()),
    ];
    (bus, vec![Wait::delay_us(1_000), Wait::delay_us(1_000)])
}

/// Opens a chip and has it measure with `answer`, checking every byte and wait.
fn measure(answer: [u8; 6]) -> Outcome<sensor_drivers::sht4x::Air> {
    let (mut bytes, mut waits) = opening();
    bytes.extend([Transaction::write(SHT4X, vec![0xFD]), Transaction::read(SHT4X, answer.to_vec())]);
    waits.push(Wait::delay_us(8_300));
    let mut chip = Sht4x::new(Mock::new(&bytes), CheckedDelay::new(&waits), SHT4X);
    let outcome = chip.measure();
    let (mut bus, mut delay) = chip.release();
    bus.done();
    delay.done();
    outcome
}

/// Opens a chip and has it measure while fetching fails as given, with a pause after all but the last.
fn measure_failing(errors: &[ErrorKind], pauses: usize) -> Outcome<sensor_drivers::sht4x::Air> {
    let (mut bytes, mut waits) = opening();
    bytes.push(Transaction::write(SHT4X, vec![0xFD]));
    bytes.extend(errors.iter().map(|error| Transaction::read(SHT4X, vec![0; 6]).with_error(*error)));
    waits.push(Wait::delay_us(8_300));
    waits.extend((0..pauses).map(|_| Wait::delay_us(1_000)));
    let mut chip = Sht4x::new(Mock::new(&bytes), CheckedDelay::new(&waits), SHT4X);
    let outcome = chip.measure();
    let (mut bus, mut delay) = chip.release();
    bus.done();
    delay.done();
    outcome
}

#[test]
fn sht4x_is_opened_once_and_asked_who_it_is_before_each_measurement() {
    let (mut bytes, mut waits) = opening();
    for again in [false, true] {
        if again {
            // Without the reset.
            let (asking, pauses) = opening();
            bytes.extend(asking.into_iter().skip(1));
            waits.extend(pauses.into_iter().skip(1));
        }
        bytes.extend([Transaction::write(SHT4X, vec![0xFD]), Transaction::read(SHT4X, WARM.to_vec())]);
        waits.push(Wait::delay_us(8_300));
    }
    let mut chip = Sht4x::new(Mock::new(&bytes), CheckedDelay::new(&waits), SHT4X);
    for _ in 0..2 {
        let air = chip.measure().unwrap();
        assert!((air.temperature.get() - 25.0).abs() < 1e-9);
        assert!((air.humidity.unwrap().get() - 56.50095369).abs() < 1e-8);
        assert_eq!(Instrument::serial_number(&chip), Some(0xF896_9F07));
    }
    let (mut bus, mut delay) = chip.release();
    bus.done();
    delay.done();
}

#[test]
fn sht4x_is_opened_again_after_a_failure() {
    let (mut bytes, mut waits) = opening();
    let damaged = [0x66, 0x66, 0x93, 0x80, 0x00, 0xA3];
    bytes.extend([Transaction::write(SHT4X, vec![0xFD]), Transaction::read(SHT4X, damaged.to_vec())]);
    bytes.extend(opening().0);
    bytes.extend([Transaction::write(SHT4X, vec![0xFD]), Transaction::read(SHT4X, WARM.to_vec())]);
    waits.push(Wait::delay_us(8_300));
    waits.extend_from_within(..);
    let mut chip = Sht4x::new(Mock::new(&bytes), CheckedDelay::new(&waits), SHT4X);
    assert!(chip.measure().is_err());
    assert!(chip.measure().is_ok());
    let (mut bus, mut delay) = chip.release();
    bus.done();
    delay.done();
}

#[test]
fn sht4x_serial_number_is_both_words_the_first_uppermost() {
    let bytes = [Transaction::write(SHT4X, vec![0x89]), Transaction::read(SHT4X, SERIAL.to_vec())];
    let delay = CheckedDelay::new(&[Wait::delay_us(1_000)]);
    let mut chip = Sht4x::new(Mock::new(&bytes), delay, SHT4X);
    assert_eq!(chip.ask_serial_number(), Ok(0xF896_9F07));
    let (mut bus, mut delay) = chip.release();
    bus.done();
    delay.done();
}

#[test]
fn sht4x_that_stays_busy_is_asked_three_times_more_then_given_up() {
    let address = SHT4X;
    assert_eq!(measure_failing(&[not_acknowledged(); 4], 3), Err(ReadError::NotReady { address }));
    // An adapter that cannot say what went wrong gets the same patience, and its own word passed on.
    let cause = ErrorKind::Other;
    assert_eq!(measure_failing(&[cause; 4], 3), Err(ReadError::Bus { address, cause }));
}

#[test]
fn sht4x_on_a_bus_in_trouble_is_not_asked_again() {
    for cause in [ErrorKind::Bus, ErrorKind::ArbitrationLoss] {
        assert_eq!(measure_failing(&[cause], 0), Err(ReadError::Bus { address: SHT4X, cause }));
    }
}

#[test]
fn sht4x_that_is_a_little_late_is_read_all_the_same() {
    let (mut bytes, mut waits) = opening();
    let late = Transaction::read(SHT4X, vec![0; 6]).with_error(not_acknowledged());
    bytes.extend([Transaction::write(SHT4X, vec![0xFD]), late, Transaction::read(SHT4X, WARM.to_vec())]);
    waits.extend([Wait::delay_us(8_300), Wait::delay_us(1_000)]);
    let mut chip = Sht4x::new(Mock::new(&bytes), CheckedDelay::new(&waits), SHT4X);
    assert!(chip.measure().is_ok());
    let (mut bus, mut delay) = chip.release();
    bus.done();
    delay.done();
}

#[test]
fn sht4x_word_with_a_wrong_checksum_is_named() {
    let humidity = measure([0x66, 0x66, 0x93, 0x80, 0x00, 0xA3]);
    let expected = ReadError::Checksum { address: SHT4X, word: "humidity", received: 0xA3, reckoned: 0xA2 };
    assert_eq!(humidity, Err(expected));
    let temperature = measure([0x66, 0x67, 0x93, 0x80, 0x00, 0xA2]);
    let expected =
        ReadError::Checksum { address: SHT4X, word: "temperature", received: 0x93, reckoned: 0xA2 };
    assert_eq!(temperature, Err(expected));
}

#[test]
fn sht4x_humidity_a_little_over_saturation_is_saturation() {
    // 0xE000 is 103.38 % before clipping; word and checksum from the reference table.
    let air = measure([0x66, 0x66, 0x93, 0xE0, 0x00, 0xF7]).unwrap();
    assert_eq!(air.humidity.unwrap().get(), 100.0);
}

#[test]
fn sht4x_with_a_broken_humidity_element_still_tells_the_temperature() {
    // The ends of the humidity scale, -6 % and 119 %, with good checksums.
    for (word, sum, value) in [([0x00, 0x00], 0x81, -6.0), ([0xFF, 0xFF], 0xAC, 119.0)] {
        let air = measure([0x66, 0x66, 0x93, word[0], word[1], sum]).unwrap();
        let refused = Impossible::OutOfRange { kind: Kind::Humidity, value, low: -5.0, high: 105.0 };
        assert_eq!((air.temperature.get(), air.humidity), (25.0, Err(refused)));
    }
}

#[test]
fn sht4x_temperature_at_either_end_of_the_scale_is_refused() {
    for (word, sum, value) in [([0x00, 0x00], 0x81, -45.0), ([0xFF, 0xFF], 0xAC, 130.0)] {
        let what = Impossible::OutOfRange { kind: Kind::Temperature, value, low: -40.0, high: 125.0 };
        let refused = ReadError::Impossible { address: SHT4X, what };
        assert_eq!(measure([word[0], word[1], sum, 0x80, 0x00, 0xA2]), Err(refused));
    }
}

/// Constants of the BMP280 datasheet's worked example, section 3.12, in their registers; those of
/// humidity as in the reference table.
const LOW: [u8; 26] = [
    0x70, 0x6B, 0x43, 0x67, 0x18, 0xFC, 0x7D, 0x8E, 0x43, 0xD6, 0xD0, 0x0B, 0x27, 0x0B, 0x8C, 0x00, 0xF9,
    0xFF, 0x8C, 0x3C, 0xF8, 0xC6, 0x70, 0x17, 0x00, 0x4B,
];
const HIGH: [u8; 7] = [0x6A, 0x01, 0x00, 0x14, 0x0D, 0x00, 0x1E];
/// Settings, status and words of the same example: T 519888, p 415148, h 25000.
const EXAMPLE: [u8; 13] = [0x01, 0x00, 0x24, 0x00, 0x00, 0x65, 0x5A, 0xC0, 0x7E, 0xED, 0x00, 0x61, 0xA8];

fn get(register: u8, answer: &[u8]) -> Transaction {
    Transaction::write_read(BME280, vec![register], answer.to_vec())
}

fn set_up() -> Vec<Transaction> {
    vec![
        get(0xD0, &[0x60]),
        Transaction::write(BME280, vec![0xE0, 0xB6]),
        get(0xF3, &[0x00]),
        get(0x88, &LOW),
        get(0x88, &LOW),
        get(0xE1, &HIGH),
        get(0xE1, &HIGH),
        Transaction::write(BME280, vec![0xF5, 0x00]),
        Transaction::write(BME280, vec![0xF2, 0x01]),
    ]
}

/// Has a fresh chip measure once, its bursts being `bursts`, checking every byte and wait.
fn measure_bme280(bursts: &[[u8; 13]], pauses: usize) -> Outcome<sensor_drivers::bme280::Air> {
    let mut bytes = set_up();
    bytes.push(Transaction::write(BME280, vec![0xF4, 0x25]));
    bytes.extend(bursts.iter().map(|burst| get(0xF2, burst)));
    let mut waits = vec![Wait::delay_us(2_000), Wait::delay_us(9_300)];
    waits.extend((0..pauses).map(|_| Wait::delay_us(1_000)));
    let mut chip = Bme280::new(Mock::new(&bytes), CheckedDelay::new(&waits), BME280);
    let outcome = chip.measure();
    let (mut bus, mut delay) = chip.release();
    bus.done();
    delay.done();
    outcome
}

/// `EXAMPLE` with the byte at `at` exchanged.
fn example_with(at: usize, byte: u8) -> [u8; 13] {
    let mut burst = EXAMPLE;
    burst[at] = byte;
    burst
}

#[test]
fn bme280_measures_the_datasheets_example_with_its_settings_in_the_same_burst() {
    let air = measure_bme280(&[EXAMPLE, EXAMPLE], 0).unwrap();
    // The first row of the reference table.
    assert!((air.temperature.get() - 25.0824779308).abs() < 1e-9);
    assert!((air.pressure.unwrap().get() - 100.653266776).abs() < 1e-9);
    assert!((air.humidity.unwrap().get() - 20.7793099134).abs() < 1e-9);
}

#[test]
fn bme280_that_is_still_measuring_is_looked_at_again() {
    let measuring = example_with(1, 0x08);
    assert!(measure_bme280(&[measuring, EXAMPLE, EXAMPLE], 1).is_ok());
    let never = measure_bme280(&[measuring; 6], 6);
    assert_eq!(never, Err(ReadError::NotReady { address: BME280 }));
}

#[test]
fn bme280_that_is_still_copying_its_constants_is_waited_for() {
    // Identity, reset and status as in setting up; then five looks more, a millisecond apart.
    let mut bytes = set_up()[..2].to_vec();
    bytes.extend((0..6).map(|_| get(0xF3, &[0x01])));
    let mut waits = vec![Wait::delay_us(2_000)];
    waits.extend((0..6).map(|_| Wait::delay_us(1_000)));
    let mut chip = Bme280::new(Mock::new(&bytes), CheckedDelay::new(&waits), BME280);
    assert_eq!(chip.measure(), Err(ReadError::NotReady { address: BME280 }));
    let (mut bus, mut delay) = chip.release();
    bus.done();
    delay.done();
}

#[test]
fn bme280_with_any_setting_not_ours_has_restarted() {
    for (at, byte) in [(0, 0x00), (2, 0x00), (3, 0xFC)] {
        let burst = example_with(at, byte);
        let restarted = Err(ReadError::Restarted { address: BME280 });
        assert_eq!(measure_bme280(&[burst, burst], 0), restarted, "register {:#x}", 0xF2 + at);
    }
}

#[test]
fn bme280_power_on_words_under_power_on_settings_are_a_restart() {
    let burst = [0x00, 0x00, 0x00, 0x00, 0x00, 0x80, 0x00, 0x00, 0x80, 0x00, 0x00, 0x80, 0x00];
    assert_eq!(measure_bme280(&[burst, burst], 0), Err(ReadError::Restarted { address: BME280 }));
}

#[test]
fn bme280_half_scale_humidity_under_our_settings_is_humidity() {
    // The word of an element switched off; the reference table has it as true, in the row with
    // all three at half scale: T 524288 = 0x80000, p 524288, h 32768 = 0x8000.
    let half = [0x01, 0x00, 0x24, 0x00, 0x00, 0x80, 0x00, 0x00, 0x80, 0x00, 0x00, 0x80, 0x00];
    let air = measure_bme280(&[half, half], 0).unwrap();
    assert!((air.temperature.get() - 26.460842818).abs() < 1e-8);
    assert!((air.pressure.unwrap().get() - 82.0445402348).abs() < 1e-8);
    assert!((air.humidity.unwrap().get() - 64.3359645085).abs() < 1e-8);
}

#[test]
fn bme280_bursts_that_differ_are_unsteady() {
    let outcome = measure_bme280(&[EXAMPLE, example_with(8, 0x7F)], 0);
    assert_eq!(outcome, Err(ReadError::Unsteady { address: BME280 }));
}

#[test]
fn bme280_burst_in_which_no_bit_moves_is_impossible() {
    for (byte, what) in [(0x00, Impossible::AllZero), (0xFF, Impossible::AllOnes)] {
        let outcome = measure_bme280(&[[byte; 13]], 0);
        assert_eq!(outcome, Err(ReadError::Impossible { address: BME280, what }));
    }
}

#[test]
fn bme280_pressure_beyond_its_range_is_refused_alone() {
    // A pressure word of 0 is far over 110 kPa with these constants.
    let mut burst = EXAMPLE;
    burst[5..8].fill(0);
    let air = measure_bme280(&[burst, burst], 0).unwrap();
    let refused = air.pressure.unwrap_err();
    assert!(matches!(refused, Impossible::OutOfRange { kind: Kind::Pressure, low: 30.0, high: 110.0, .. }));
    assert!((air.temperature.get() - 25.0824779308).abs() < 1e-9);
}

#[test]
fn bme280_sister_chip_is_not_this_instrument_and_is_told_nothing() {
    // 0x58 is the sister without humidity.
    let bytes = [get(0xD0, &[0x58])];
    let mut chip = Bme280::new(Mock::new(&bytes), CheckedDelay::new(&[]), BME280);
    let outcome = chip.measure();
    let expected = ReadError::NotThisInstrument { address: BME280, expected: 0x60, found: 0x58 };
    assert_eq!(outcome, Err(expected));
    let (mut bus, mut delay) = chip.release();
    bus.done();
    delay.done();
}

#[test]
fn quantities_come_with_their_units() {
    let units = [Kind::Temperature, Kind::Humidity, Kind::Pressure].map(Kind::unit);
    assert_eq!(units, ["°C", "%", "kPa"]);
    let measured = Measured { kind: Kind::Humidity, value: Ok(1.0) };
    assert_eq!(measured.kind.to_string(), "humidity");
}
