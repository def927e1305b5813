//! A bus of the board, by the path of its device, opened when it is needed and anew when it had gone.
//!
//! An adapter on USB may be unplugged; the board's own bus may come up later than we. So opening is not done
//! once: a transaction that finds no open bus opens it, and one that finds the bus gone lets go of it. To its
//! instruments a missing bus is an error like any other, told in words and tried again.

use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

use embedded_hal::i2c::{Error, ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};
use linux_embedded_hal::i2cdev::linux::LinuxI2CError;
use linux_embedded_hal::{I2CError, I2cdev};

/// Where the kernel shows what it knows.
const SYS: &str = "/sys";

/// A bus of the board.
pub struct DeviceBus {
    path: PathBuf,
    open: Option<I2cdev>,
}

impl DeviceBus {
    /// The bus at a path like `/dev/i2c-1`; nothing is opened yet.
    pub fn new(path: &Path) -> Self {
        Self { path: path.to_owned(), open: None }
    }

    /// Opens the bus if it is not open: for `check`, which wants to know at once.
    ///
    /// # Errors
    ///
    /// [`DeviceError`].
    pub fn open(&mut self) -> Result<&mut I2cdev, DeviceError> {
        let device = match self.open.take() {
            Some(device) => device,
            None => I2cdev::new(&self.path).map_err(|error| DeviceError::of(&error, &self.path))?,
        };
        Ok(self.open.insert(device))
    }
}

impl ErrorType for DeviceBus {
    type Error = DeviceError;
}

impl I2c for DeviceBus {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), DeviceError> {
        let outcome = self.open()?.transaction(address, operations);
        outcome.map_err(|error: I2CError| {
            let error =
                DeviceError::of(error.inner(), &self.path).held_by(|| holder(SYS, &self.path, address));
            if !matches!(error, DeviceError::NoAnswer | DeviceError::Stuck) {
                self.open = None;
            }
            error
        })
    }
}

/// What a bus of the board says when it fails.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum DeviceError {
    /// Nobody acknowledged.
    NoAnswer,
    /// A line is held low, or the bits make no sense.
    Stuck,
    /// There is no such device (any more).
    Missing(PathBuf),
    /// We may not open it.
    NotAllowed(PathBuf),
    /// A driver of the kernel has taken that address: which, where that is known.
    Taken(Option<String>),
    /// Anything else, in the words of the system.
    Other(String),
}

impl DeviceError {
    /// By the numbers of the system; adapters differ in which they use for "nobody answered".
    ///
    /// # Source
    ///
    /// Linux kernel documentation, "I2C device driver fault codes"; `EREMOTEIO` is what the BCM2835 says
    /// (common practice). The numbers are those of Linux on every architecture we build for.
    fn of(error: &LinuxI2CError, path: &Path) -> Self {
        const ENXIO: i32 = 6;
        const ENODEV: i32 = 19;
        const EREMOTEIO: i32 = 121;
        const EIO: i32 = 5;
        const EAGAIN: i32 = 11;
        const EBUSY: i32 = 16;
        const ETIMEDOUT: i32 = 110;
        const ENOENT: i32 = 2;
        const EACCES: i32 = 13;
        const EPERM: i32 = 1;
        let number = match error {
            LinuxI2CError::Errno(number) => Some(*number),
            LinuxI2CError::Io(error) => error.raw_os_error(),
        };
        match number {
            Some(ENXIO | EREMOTEIO) => Self::NoAnswer,
            Some(EIO | EAGAIN | ETIMEDOUT) => Self::Stuck,
            Some(ENOENT | ENODEV) => Self::Missing(path.to_owned()),
            Some(EACCES | EPERM) => Self::NotAllowed(path.to_owned()),
            Some(EBUSY) => Self::Taken(None),
            Some(number) => Self::Other(io::Error::from_raw_os_error(number).to_string()),
            None => Self::Other(error.to_string()),
        }
    }
}

impl DeviceError {
    /// With the name of whoever holds the address, where somebody does.
    fn held_by(self, holder: impl FnOnce() -> Option<String>) -> Self {
        if self == Self::Taken(None) { Self::Taken(holder()) } else { self }
    }
}

/// The driver of the kernel that holds an address on the bus at `device`, by what the kernel shows under `sys`.
///
/// # Source
///
/// Linux kernel documentation, "How to instantiate I2C devices": a chip at an address of a bus is shown as
/// `/sys/bus/i2c/devices/BUS-ADDRESS`, the address in four hexadecimal digits, with a link to its driver.
fn holder(sys: &str, device: &Path, address: u8) -> Option<String> {
    // It may be named by where it is plugged in: a link to the numbered one.
    let device = device.canonicalize().ok()?;
    let bus = device.file_name()?.to_str()?.strip_prefix("i2c-")?;
    let driver = std::fs::read_link(format!("{sys}/bus/i2c/devices/{bus}-{address:04x}/driver")).ok()?;
    Some(driver.file_name()?.to_string_lossy().into_owned())
}

impl fmt::Display for DeviceError {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoAnswer => out.write_str("nobody answers"),
            Self::Stuck => out.write_str("the bus is stuck"),
            Self::Missing(path) => {
                write!(out, "there is no {}: is the bus switched on, the adapter plugged in?", path.display())
            }
            Self::NotAllowed(path) => {
                write!(out, "no permission for {}: add the service's user to the group i2c", path.display())
            }
            Self::Taken(None) => out.write_str("a driver of the system holds that address"),
            Self::Taken(Some(driver)) => write!(
                out,
                "the system's driver {driver} holds that address: take the chip out of the board's own settings"
            ),
            Self::Other(words) => out.write_str(words),
        }
    }
}

impl std::error::Error for DeviceError {}

impl Error for DeviceError {
    fn kind(&self) -> ErrorKind {
        match self {
            Self::NoAnswer => ErrorKind::NoAcknowledge(NoAcknowledgeSource::Unknown),
            Self::Stuck => ErrorKind::Bus,
            _ => ErrorKind::Other,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bus_that_is_not_there_is_named_and_looked_for_again() {
        let mut bus = DeviceBus::new(Path::new("/dev/there-is-no-such-bus"));
        for _ in 0..2 {
            let said = bus.read(0x44, &mut [0; 2]).unwrap_err();
            assert!(said.to_string().starts_with("there is no /dev/there-is-no-such-bus"), "{said}");
        }
    }

    #[test]
    fn b9_whoever_holds_an_address_is_named() {
        let folder = tempfile::tempdir().unwrap();
        let (here, device) = (folder.path(), folder.path().join("i2c-1"));
        std::fs::write(&device, "").unwrap();
        let chip = here.join("bus/i2c/devices/1-0044");
        std::fs::create_dir_all(&chip).unwrap();
        std::os::unix::fs::symlink("../../../../bus/i2c/drivers/sht4x", chip.join("driver")).unwrap();
        let plugged_in = here.join("by-path");
        std::os::unix::fs::symlink(&device, &plugged_in).unwrap();
        let sys = here.to_str().unwrap();
        for path in [&device, &plugged_in] {
            assert_eq!(holder(sys, path, 0x44).as_deref(), Some("sht4x"));
            assert_eq!(holder(sys, path, 0x45), None);
        }
        // EBUSY of the call that names the address (kernel documentation, "I2C device interface").
        let busy = DeviceError::of(&LinuxI2CError::Errno(16), &device);
        let busy = busy.held_by(|| holder(sys, &device, 0x44));
        assert!(busy.to_string().contains("driver sht4x holds that address"), "{busy}");
    }

    #[test]
    fn both_ways_of_saying_that_nobody_answers_are_understood() {
        // Kernel documentation "fault codes": ENXIO; EREMOTEIO as the BCM2835 says it.
        for number in [6, 121] {
            let error = DeviceError::of(&LinuxI2CError::Errno(number), Path::new("/dev/i2c-1"));
            assert_eq!(error, DeviceError::NoAnswer);
        }
        let clock_held = DeviceError::of(&LinuxI2CError::Errno(110), Path::new("/dev/i2c-1"));
        assert_eq!(clock_held.kind(), ErrorKind::Bus);
        let forbidden = io::Error::from_raw_os_error(13);
        let forbidden = DeviceError::of(&LinuxI2CError::Io(forbidden), Path::new("/dev/i2c-1"));
        assert!(forbidden.to_string().contains("no permission for /dev/i2c-1"));
    }
}
