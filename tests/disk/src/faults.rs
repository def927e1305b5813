//! What may go wrong, and what was counted.

/// Why the disk did not do what was asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refused {
    /// The device gave an error (EIO).
    Error,
    /// No room is left (ENOSPC).
    Full,
    /// The file system takes no writes (EROFS).
    ReadOnly,
    /// There is no such file.
    Absent,
    /// The power is off, or was since this file was opened.
    Dark,
}

impl From<Refused> for std::io::Error {
    /// As Linux would say it.
    fn from(refused: Refused) -> Self {
        // EIO, ENOSPC, EROFS, ENOENT of Linux.
        Self::from_raw_os_error(match refused {
            Refused::Error | Refused::Dark => 5,
            Refused::Full => 28,
            Refused::ReadOnly => 30,
            Refused::Absent => 2,
        })
    }
}

/// What is asked of a disk.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Asked {
    Read,
    /// A write or a change of length.
    Write,
    /// A flush of a file or of the folder.
    Flush,
    /// A name made, moved or removed.
    Name,
}

/// Which operations a refusal meets.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Of {
    /// Reads.
    Reads,
    /// Writes and changes of length.
    Writes,
    /// Flushes, of files and of the folder.
    Flushes,
    /// Everything that changes the disk: writes, flushes, names.
    Changes,
    /// All there is.
    Everything,
}

impl Of {
    fn meets(self, asked: Asked) -> bool {
        match self {
            Self::Reads => asked == Asked::Read,
            Self::Writes => asked == Asked::Write,
            Self::Flushes => asked == Asked::Flush,
            Self::Changes => asked != Asked::Read,
            Self::Everything => true,
        }
    }
}

/// For how long.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lasting {
    /// Once; the next one passes.
    Once,
    /// From then on, until the disk is healed.
    ForGood,
}

/// A refusal to come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Refusal {
    /// Which operations count and are refused.
    pub of: Of,
    /// How many of them pass first.
    pub after: u64,
    /// For how long.
    pub lasting: Lasting,
}

/// What was asked and what came of it, since the disk was made.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Reads.
    pub reads: u64,
    /// Writes and changes of length.
    pub writes: u64,
    /// Flushes, of files and of the folder.
    pub flushes: u64,
    /// Names made, moved or removed.
    pub names: u64,
    /// Bytes programs wrote.
    pub bytes_written: u64,
    /// Bytes that flushes brought to the platter, by whole sectors.
    pub bytes_flushed: u64,
    /// Operations refused, for whatever reason but a power cut.
    pub refused: u64,
    /// Power cuts.
    pub cuts: u64,
}

impl Counts {
    /// Operations that change the disk: what [`Of::Changes`] and
    /// [`power_goes_after`](crate::Disk::power_goes_after) count.
    pub fn changes(&self) -> u64 {
        self.writes + self.flushes + self.names
    }
}

/// Everything that is wrong with a disk at the moment.
#[derive(Clone, Debug, Default)]
pub(crate) struct Faults {
    pub(crate) refusals: Vec<Refusal>,
    /// Blocks that files may still grow by.
    pub(crate) room: Option<u64>,
    pub(crate) read_only: bool,
    pub(crate) lies: bool,
    /// Simulated ms that a write and a flush take.
    pub(crate) slow_ms: (u64, u64),
}

impl Faults {
    /// Whether this operation is refused; counts it for those to come.
    pub(crate) fn refuses(&mut self, asked: Asked) -> bool {
        let mut refused = false;
        self.refusals.retain_mut(|refusal| {
            if refused || !refusal.of.meets(asked) {
                return true;
            }
            if refusal.after > 0 {
                refusal.after -= 1;
                return true;
            }
            refused = true;
            refusal.lasting == Lasting::ForGood
        });
        refused
    }
}
