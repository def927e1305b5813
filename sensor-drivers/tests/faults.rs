//! Both drivers against simulated chips, fault by fault: the fault is named, and once it is over
//! the next reading is good.

mod bench;

use std::time::Duration;

use bench::{Bench, MILD, SERIAL};
use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{ErrorKind, I2c, NoAcknowledgeSource};
use sensor_drivers::simulated::{Fault, SimulatedSht4x, StuckLine, TrueAir};
use sensor_drivers::{Impossible, Instrument, Kind, Measured, ReadError, SharedBus, bme280, sht4x};

type Boxed = Box<dyn Instrument<BusError = ErrorKind> + Send>;
type Outcome = Result<Vec<Measured>, ReadError<ErrorKind>>;

fn both() -> Vec<(Bench, Boxed)> {
    let (first, second) = (Bench::sht4x(), Bench::bme280());
    let drivers: [Boxed; 2] = [Box::new(first.sht4x_driver()), Box::new(second.bme280_driver())];
    [first, second].into_iter().zip(drivers).collect()
}

/// Whether a reading tells the mild air.
fn is_mild(outcome: &Outcome) -> bool {
    let truth = |kind| match kind {
        Kind::Temperature => MILD.celsius,
        Kind::Humidity => MILD.percent,
        _ => MILD.kilopascal,
    };
    outcome.as_ref().is_ok_and(|measured| {
        measured.len() >= 2
            && measured.iter().all(|m| m.value.is_ok_and(|value| (value - truth(m.kind)).abs() < 0.02))
    })
}

/// For each driver: reads well, has the fault, reads as `check` wants it, is healed, reads well.
fn comes_and_goes(fault: Fault, check: impl Fn(&Bench, Outcome)) {
    for (bench, mut probe) in both() {
        assert!(is_mild(&probe.read()), "before {fault:?}");
        bench.pass();
        bench.bus.inject(bench.address, fault);
        bench.pass();
        check(&bench, probe.read());
        bench.bus.heal(bench.address);
        bench.pass();
        assert!(is_mild(&probe.read()), "after {fault:?}");
    }
}

#[test]
fn an_unplugged_instrument_does_not_answer_and_reads_again_once_plugged_in() {
    comes_and_goes(Fault::Absent, |bench, outcome| {
        assert_eq!(outcome, Err(bench.not_acknowledged(NoAcknowledgeSource::Address)));
    });
}

#[test]
fn an_instrument_that_acknowledges_nothing_but_its_address_is_an_error_of_the_bus() {
    comes_and_goes(Fault::Nack, |bench, outcome| {
        assert_eq!(outcome, Err(bench.not_acknowledged(NoAcknowledgeSource::Data)));
    });
}

/// Whether damage was noticed; where it was not, it must have hit a bit that means nothing.
///
/// The BME280 class has such bits: reserved ones, and a status bit that only makes the driver look
/// again.
fn noticed(damaged: &Outcome, before: &Outcome) -> bool {
    if damaged.is_ok() {
        assert_eq!(damaged, before);
    }
    damaged.is_err()
}

#[test]
fn a_bit_turned_once_costs_one_reading_at_most() {
    for (bench, mut probe) in both() {
        let before = probe.read();
        assert!(is_mild(&before));
        // Another bit each time, all those of a burst of thirteen bytes.
        let mut count = 0;
        for _ in 0..13 * 8 {
            bench.bus.inject(bench.address, Fault::DamagedOnce);
            let damaged = probe.read();
            count += u32::from(noticed(&damaged, &before));
            if let Err(error) = damaged {
                let named = matches!(error, ReadError::Checksum { .. } | ReadError::Unsteady { .. });
                assert!(named, "{error:?}");
                assert_eq!(probe.read(), before);
            }
        }
        // Of the burst's 104 bits, datasheet: 5 of CTRL_HUM, 6 of STATUS, 1 of CONFIG, all 8 of 0xF6
        // and twice 4 of the data are reserved; 2 of STATUS and 1 of CTRL_MEAS say "busy".
        let expected = if bench.address == bme280::ADDRESS { 104 - 28 - 3 } else { 104 };
        assert_eq!(count, expected);
    }
}

#[test]
fn no_turned_bit_ever_becomes_a_reading() {
    for (bench, mut probe) in both() {
        let before = probe.read();
        bench.bus.inject(bench.address, Fault::Damaged);
        let count = (0..200).filter(|_| noticed(&probe.read(), &before)).count();
        assert!(count > 190, "{count} of 200 noticed");
        bench.bus.heal(bench.address);
        bench.pass();
        assert_eq!(probe.read(), before);
    }
}

#[test]
fn an_answer_of_zeros_or_ones_is_impossible() {
    for (fault, expected) in [(Fault::AllZero, Impossible::AllZero), (Fault::AllOnes, Impossible::AllOnes)] {
        comes_and_goes(fault, |bench, outcome| {
            let address = bench.address;
            assert_eq!(outcome, Err(ReadError::Impossible { address, what: expected }));
        });
        // And from the very first contact on.
        for (bench, mut probe) in both() {
            bench.bus.inject(bench.address, fault);
            let address = bench.address;
            assert_eq!(probe.read(), Err(ReadError::Impossible { address, what: expected }));
        }
    }
}

#[test]
fn a_conversion_that_never_ends_is_not_ready() {
    comes_and_goes(Fault::NeverReady, |bench, outcome| {
        assert_eq!(outcome, Err(ReadError::NotReady { address: bench.address }));
    });
}

#[test]
fn a_stuck_line_fails_every_transfer_until_the_bus_is_freed() {
    for line in [StuckLine::Clock, StuckLine::Data] {
        for (bench, mut probe) in both() {
            assert!(is_mild(&probe.read()));
            bench.bus.stick(line);
            for _ in 0..3 {
                bench.pass();
                let expected = ReadError::Bus { address: bench.address, cause: ErrorKind::Bus };
                assert_eq!(probe.read(), Err(expected), "{line:?}");
            }
            bench.bus.free();
            assert!(is_mild(&probe.read()), "{line:?}");
        }
    }
}

#[test]
fn junk_written_by_freeing_the_bus_is_noticed_or_forestalled_by_starting_anew() {
    let bench = Bench::bme280();
    let mut probe = bench.bme280_driver();
    for told in [false, true] {
        assert!(is_mild(&probe.read()));
        bench.bus.stick(StuckLine::Data);
        bench.bus.free();
        if told {
            probe.start_anew();
        } else {
            assert_eq!(probe.read(), Err(ReadError::Restarted { address: bench.address }));
        }
        assert!(is_mild(&probe.read()));
    }
}

#[test]
fn bme280_names_a_brown_out_between_readings_and_is_set_up_anew() {
    let bench = Bench::bme280();
    let mut probe = bench.bme280_driver();
    assert!(is_mild(&probe.read()));
    bench.bus.inject(bench.address, Fault::BrownOut);
    bench.pass();
    assert_eq!(probe.read(), Err(ReadError::Restarted { address: bench.address }));
    assert!(is_mild(&probe.read()));
}

#[test]
fn bme280_never_takes_a_brown_out_at_any_moment_for_a_reading() {
    // Every tenth of a millisecond of setting up and measuring, 11.3 ms together.
    for tenths in 0..120 {
        let bench = Bench::bme280();
        let mut probe = bench.bme280_driver();
        bench.bus.inject_at(Duration::from_micros(tenths * 100), bench.address, Fault::BrownOut);
        let outcome = probe.read();
        let told = matches!(
            outcome,
            Err(ReadError::Restarted { .. } | ReadError::Bus { .. } | ReadError::Impossible { .. })
        );
        assert!(told || is_mild(&outcome), "at {tenths} tenths: {outcome:?}");
        // During the conversion there is no reading to be had.
        assert!(told || !(20..113).contains(&tenths), "at {tenths} tenths: {outcome:?}");
        bench.pass();
        // A brown-out after the burst is found by the next reading.
        assert!(is_mild(&probe.read()) || is_mild(&probe.read()), "at {tenths} tenths");
    }
}

#[test]
fn sht4x_loses_nothing_by_a_brown_out_between_readings() {
    let bench = Bench::sht4x();
    let mut probe = bench.sht4x_driver();
    assert!(is_mild(&probe.read()));
    bench.bus.inject(bench.address, Fault::BrownOut);
    bench.pass();
    assert!(is_mild(&probe.read()));
}

#[test]
fn sht4x_that_loses_its_conversion_to_a_brown_out_is_not_ready() {
    let bench = Bench::sht4x();
    let mut probe = bench.sht4x_driver();
    bench.bus.inject_at(Duration::from_millis(6), bench.address, Fault::BrownOut);
    assert_eq!(probe.read(), Err(ReadError::NotReady { address: bench.address }));
    assert!(is_mild(&probe.read()));
}

#[test]
fn a_stuck_element_repeats_itself_in_faultless_answers() {
    for (bench, mut probe) in both() {
        let before = probe.read().unwrap();
        bench.bus.inject(bench.address, Fault::StuckValue);
        bench.air.set(TrueAir { celsius: 39.0, percent: 20.0, kilopascal: 97.0 });
        bench.pass();
        assert_eq!(probe.read().unwrap(), before);
        bench.bus.heal(bench.address);
        let after = probe.read().unwrap()[0].value.unwrap();
        assert!((after - 39.0).abs() < 0.02, "{after}");
    }
}

#[test]
fn bme280_exchanged_for_its_sister_restarts_and_is_then_not_this_instrument() {
    let bench = Bench::bme280();
    let mut probe = bench.bme280_driver();
    assert!(is_mild(&probe.read()));
    bench.bus.inject(bench.address, Fault::WrongInstrument);
    bench.pass();
    let address = bench.address;
    assert_eq!(probe.read(), Err(ReadError::Restarted { address }));
    let other = ReadError::NotThisInstrument { address, expected: 0x60, found: 0x58 };
    assert_eq!(probe.read(), Err(other.clone()));
    assert_eq!(probe.read(), Err(other));
    bench.bus.heal(address);
    bench.pass();
    assert!(is_mild(&probe.read()));
}

#[test]
fn sht4x_with_another_serial_number_is_not_this_instrument_even_between_readings() {
    let bench = Bench::sht4x();
    let mut probe = bench.sht4x_driver().expecting(SERIAL);
    assert!(is_mild(&probe.read()));
    bench.bus.inject(bench.address, Fault::WrongInstrument);
    bench.pass();
    let (address, found) = (bench.address, !SERIAL);
    assert_eq!(probe.read(), Err(ReadError::NotThisInstrument { address, expected: SERIAL, found }));
    bench.bus.heal(address);
    bench.pass();
    assert!(is_mild(&probe.read()));
}

#[test]
fn one_dead_instrument_leaves_its_neighbours_on_the_bus_alone() {
    let bench = Bench::sht4x();
    let dead = 0x45;
    bench.bus.attach(dead, SimulatedSht4x::new(7, bench.air.source()));
    bench.bus.attach(bme280::ADDRESS, sensor_drivers::simulated::SimulatedBme280::new(bench.air.source()));
    bench.bus.inject(dead, Fault::Absent);
    let mut probes: Vec<Boxed> = vec![
        Box::new(bench.sht4x_driver()),
        Box::new(sht4x::Sht4x::new(bench.bus.clone(), bench.bus.delay(), dead)),
        Box::new(bme280::Bme280::new(bench.bus.clone(), bench.bus.delay(), bme280::ADDRESS)),
    ];
    for _ in 0..3 {
        let well: Vec<_> = probes.iter_mut().map(|probe| (probe.address(), is_mild(&probe.read()))).collect();
        assert_eq!(well, [(sht4x::ADDRESS, true), (dead, false), (bme280::ADDRESS, true)]);
        bench.pass();
    }
}

#[test]
fn one_bus_is_shared_by_several_drivers() {
    let bench = Bench::sht4x();
    bench.bus.attach(0x45, SimulatedSht4x::new(7, bench.air.source()));
    let shared = SharedBus::new(bench.bus.clone());
    let mut probes =
        [bench.address, 0x45].map(|address| sht4x::Sht4x::new(shared.clone(), bench.bus.delay(), address));
    assert_eq!(probes.each_mut().map(sht4x::Sht4x::ask_serial_number), [Ok(SERIAL), Ok(7)]);
}

#[test]
fn a_simulated_sht4x_is_deaf_until_its_conversion_ends() {
    let bench = Bench::sht4x();
    let (mut bus, mut delay) = (bench.bus.clone(), bench.bus.delay());
    let deaf = Err(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address));
    let mut answer = [0; 6];
    assert_eq!(bus.read(bench.address, &mut answer), deaf, "nothing was asked");
    bus.write(bench.address, &[0xFD]).unwrap();
    delay.delay_us(8_299);
    assert_eq!(bus.read(bench.address, &mut answer), deaf);
    assert_eq!(bus.write(bench.address, &[0xFD]), deaf);
    delay.delay_us(1);
    assert_eq!(bus.read(bench.address, &mut answer), Ok(()));
    assert_eq!(bus.read(bench.address, &mut answer), deaf, "an answer is given once");
    let unknown = Err(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Data));
    assert_eq!(bus.write(bench.address, &[0x00]), unknown);
}

#[test]
fn a_simulated_bme280_starts_deaf_then_blank_then_with_its_constants() {
    let bench = Bench::bme280();
    let (mut bus, mut delay) = (bench.bus.clone(), bench.bus.delay());
    let mut constants = [0; 26];
    let mut status = [0; 1];
    bus.write(bench.address, &[0xE0, 0xB6]).unwrap();
    delay.delay_us(999);
    let deaf = Err(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address));
    assert_eq!(bus.write_read(bench.address, &[0xF3], &mut status), deaf);
    delay.delay_us(1_000);
    bus.write_read(bench.address, &[0xF3], &mut status).unwrap();
    bus.write_read(bench.address, &[0x88], &mut constants).unwrap();
    assert_eq!((status, constants), ([0x01], [0; 26]));
    delay.delay_us(1);
    bus.write_read(bench.address, &[0xF3], &mut status).unwrap();
    bus.write_read(bench.address, &[0x88], &mut constants).unwrap();
    // Calibration B of the reference table: T1 is 28009, 0x6D69.
    assert_eq!((status, &constants[..2]), ([0x00], &[0x69, 0x6D][..]));
}

#[test]
fn a_simulated_bme280_shows_its_old_words_and_the_measuring_bit_until_the_conversion_ends() {
    let bench = Bench::bme280();
    let (mut bus, mut delay) = (bench.bus.clone(), bench.bus.delay());
    let mut burst = [0; 13];
    let mut look = |bus: &mut sensor_drivers::simulated::SimulatedBus| {
        bus.write_read(bench.address, &[0xF2], &mut burst).unwrap();
        burst
    };
    let power_on = [0, 0, 0, 0, 0, 0x80, 0, 0, 0x80, 0, 0, 0x80, 0];
    assert_eq!(look(&mut bus), power_on);
    // Temperature once, pressure and humidity off: 1.25 + 2.3 ms.
    bus.write(bench.address, &[0xF4, 0b0010_0001]).unwrap();
    delay.delay_us(3_549);
    let measuring = look(&mut bus);
    assert_eq!((measuring[1], measuring[2]), (0x08, 0x21));
    assert_eq!(measuring[5..], power_on[5..]);
    delay.delay_us(1);
    let done = look(&mut bus);
    assert_eq!((done[1], done[2]), (0x00, 0x20));
    assert_ne!(done[8..10], power_on[8..10]);
    assert_eq!((&done[5..8], &done[11..]), (&power_on[5..8], &power_on[11..]), "switched off");
}

#[test]
fn b3_an_answer_that_comes_a_bit_late_is_never_taken_for_one() {
    comes_and_goes(Fault::ShiftedOnce, |_, outcome| {
        assert!(
            matches!(outcome, Err(ReadError::Checksum { .. } | ReadError::Unsteady { .. })),
            "{outcome:?}"
        );
    });
    // Of a chip without checksums all answers are alike then: its own settings, read with them, tell.
    comes_and_goes(Fault::Shifted, |_, outcome| assert!(outcome.is_err(), "{outcome:?}"));
}

#[test]
fn b3_late_bits_in_any_answer_of_a_reading_or_of_its_setting_up_give_no_false_value() {
    for late in 0..12 {
        for (bench, mut probe) in both() {
            if late % 2 == 0 {
                assert!(is_mild(&probe.read()));
                bench.pass();
            }
            // Answers of either chip are asked for at most 15 ms after its reading begins.
            bench.bus.inject_at(
                bench.bus.now() + Duration::from_millis(late),
                bench.address,
                Fault::ShiftedOnce,
            );
            let outcome = probe.read();
            assert!(outcome.is_err() || is_mild(&outcome), "{late} ms: {outcome:?}");
        }
    }
}
