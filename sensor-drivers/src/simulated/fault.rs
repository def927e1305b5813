//! What can go wrong with one simulated instrument.

/// A fault of one instrument. Those that last do so until the instrument is healed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[non_exhaustive]
pub enum Fault {
    /// Unplugged: nobody acknowledges the address. Lasts; the chip then starts from power-on.
    Absent,
    /// The address is acknowledged, no byte after it is. Lasts.
    Nack,
    /// One bit of the next answer is turned. Once.
    DamagedOnce,
    /// One bit of every answer is turned, each time another. Lasts.
    Damaged,
    /// The next answer comes a bit late, as from a chip that stretches the clock of a bus that does not wait. Once.
    ShiftedOnce,
    /// Every answer comes a bit late. Lasts.
    Shifted,
    /// Every answer is zeros, as from a data line wired short behind the acknowledge. Lasts.
    AllZero,
    /// Every answer is ones, as from a chip that lets go of the line. Lasts.
    AllOnes,
    /// The supply dips: settings, data and any conversion under way are lost, and for a
    /// millisecond nothing is acknowledged. Once.
    BrownOut,
    /// The elements repeat their last sample for ever, in faultless answers. Lasts.
    StuckValue,
    /// Another chip of the same family was plugged in: other serial or chip number. Lasts.
    WrongInstrument,
    /// Conversions never end. Lasts.
    NeverReady,
}

impl Fault {
    /// Whether the chip loses its supply by it, at the beginning and at the end.
    pub(super) const fn parts_the_plug(self) -> bool {
        matches!(self, Self::Absent | Self::WrongInstrument)
    }
}
