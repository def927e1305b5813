//! What is known of the buses that a site file names, before anything is asked on them.

use std::path::Path;

use config::site::{Bus, InstrumentKind};

/// Where the system tells the names of its bus adapters.
const ADAPTERS: &str = "/sys/class/i2c-dev";
/// How the driver of an adapter that cannot stretch the clock calls it: a chip that holds the clock to gain time is not
/// waited for, and its bytes come shifted without an error (Linux, `i2c-bcm2835.c`, from memory; the chip's errata).
const CANNOT_STRETCH: &str = "bcm2835";

/// A note for each bus that cannot stretch the clock.
pub(super) fn notes(buses: &[Bus]) -> Vec<String> {
    notes_by(buses, Path::new(ADAPTERS))
}

fn notes_by(buses: &[Bus], adapters: &Path) -> Vec<String> {
    buses.iter().filter(|bus| cannot_stretch(bus, adapters)).map(note).collect()
}

fn cannot_stretch(bus: &Bus, adapters: &Path) -> bool {
    // A name of the grower's own leads to the device.
    let device = bus.device.canonicalize().unwrap_or_else(|_| bus.device.clone());
    let name = device.file_name().map(|name| adapters.join(name).join("name"));
    let name = name.and_then(|name| std::fs::read_to_string(name).ok());
    name.is_some_and(|name| name.trim_start().starts_with(CANNOT_STRETCH))
}

fn note(bus: &Bus) -> String {
    let bare: Vec<&str> = bus
        .instruments
        .iter()
        .filter(|it| it.kind == InstrumentKind::Bme280)
        .map(|it| it.probe.as_str())
        .collect();
    let twice = match bare.as_slice() {
        [] => String::new(),
        probes => {
            format!(" {} has no checksum, so each answer is read twice and compared.", probes.join(", "))
        }
    };
    format!(
        "Note: {}: this bus cannot stretch the clock.{twice} If answers come damaged, make it slower \
         (dtparam=i2c_arm_baudrate=10000) or use a software bus (dtoverlay=i2c-gpio).",
        bus.device.display()
    )
}

#[cfg(test)]
mod tests {
    use config::site::Instrument;

    use super::*;

    #[test]
    fn b3_a_bus_that_cannot_stretch_is_named_with_who_has_no_checksum() {
        let adapters = tempfile::tempdir().unwrap();
        for (device, name) in [("i2c-1", "bcm2835 (i2c@7e804000)\n"), ("i2c-3", "i2c-tiny-usb at bus 001\n")]
        {
            std::fs::create_dir(adapters.path().join(device)).unwrap();
            std::fs::write(adapters.path().join(device).join("name"), name).unwrap();
        }
        let one =
            |kind, probe: &str| Instrument { kind, address: 0x44, probe: probe.to_owned(), every_s: 60.0 };
        let bus = |device: &str, instruments| Bus { device: device.into(), instruments };
        let both = vec![one(InstrumentKind::Sht4x, "post"), one(InstrumentKind::Bme280, "ridge")];
        let buses = [
            bus("/dev/i2c-1", both.clone()),
            bus("/dev/i2c-1", vec![one(InstrumentKind::Sht4x, "post")]),
            bus("/dev/i2c-3", both.clone()),
            bus("/dev/i2c-9", both),
        ];
        let said = notes_by(&buses, adapters.path());
        assert_eq!(said.len(), 2, "{said:?}");
        assert!(
            said[0].starts_with("Note: /dev/i2c-1: this bus cannot stretch the clock. ridge has no checksum")
        );
        assert!(said[0].contains("read twice") && said[0].contains("slower"), "{}", said[0]);
        assert!(!said[1].contains("checksum"), "{}", said[1]);
    }
}
