//! What goes wrong, and when: drawn whole from the seed before the run, so that a failing run can be made shorter by
//! leaving faults out.

use crate::chance::Chance;
use crate::far::NAMES;
use crate::weather::{HOUR, MINUTE};

/// How the board goes down.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum How {
    /// The process is killed; what the system holds of its files stays.
    Kill,
    /// The power goes: what was not flushed is lost, torn or out of order.
    Cut,
    /// The power goes in the middle of the writing of a commit, after so many operations of the disk from now.
    CutInWrite(u32),
    /// The power goes so many changes after the next step was written, and not yet flushed.
    CutInTelling(u32),
    /// It is told to stop, and says good-bye.
    Stop,
}

/// What the clock says at the next boot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BootClock {
    /// The right time, vouched for from the start.
    Right,
    /// The last saved time, late by the outage; somebody tells the time after so long, ms.
    LateFor(i64),
    /// As before, and nobody tells it in this boot.
    Never,
}

/// How the disk misbehaves; for as long as the fault lasts unless said otherwise.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DiskFault {
    /// One write or flush, so many operations from now, is refused; the next succeeds.
    EioOnce(u32),
    /// Every write and flush is refused.
    Eio,
    /// No room is left.
    Full,
    /// It takes no writes.
    ReadOnly,
    /// Every flush is reported and none is done.
    Lie,
    /// One bit of what is on the platter turns.
    Flip,
    /// One good block is written to the wrong place.
    Misdirect,
}

/// How the way between broker and board breaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LinkFault {
    /// Both sides see it at once.
    Down,
    /// Acknowledgements do not arrive; broken off in the end.
    OneWay,
    /// Nothing passes and nobody notices for a keep-alive and a half.
    HalfOpen,
    /// Packets take up to twenty seconds.
    Slow,
}

/// What a probe does wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ProbeFault {
    /// It is dead.
    Dead,
    /// Its own way to the broker is gone: a stamping probe keeps what it measures and brings it afterwards.
    Cut,
    /// It says the same for ever.
    Stuck,
    /// It is off by so many tenths of a degree.
    Off(i64),
    /// What it sends cannot be read.
    Garbage,
    /// Its fields are empty.
    Missing,
    /// It says what cannot be.
    Impossible,
    /// Its own clock is an hour fast.
    Future,
    /// Every message comes twice.
    Twice,
    /// Messages overtake each other.
    Reorder,
}

/// What the far end of a courier does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FarFault {
    /// It takes everything and its answer is lost.
    LoseReply,
    /// It says: later.
    Refuse,
    /// It says: never.
    Never,
    /// It takes longer than a try may.
    Slow,
    /// Nobody answers.
    Gone,
}

/// What the grower does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Grower {
    /// Writes a remark.
    Remark,
    /// Answers the worst open notice.
    Reply,
    /// Opens the worst notice, which counts as seen.
    Seen,
    /// Puts the worst open notice off for an hour.
    Later,
    /// Asks for a drill.
    Drill,
    /// Notes a heat warning that was heard.
    HeatWarning,
    /// Notes a thermometer by hand, dated hours back.
    ByHand,
    /// Undoes the last thing noted.
    Undo,
}

/// One fault, or one thing that somebody does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// The board goes down, and comes up again after so long, ms.
    Down(How, i64, BootClock),
    /// The keeper stands still for so long, ms.
    Stall(i64),
    /// The disk, for so long, ms.
    Disk(DiskFault, i64),
    /// The way to the broker, for so long, ms.
    Link(LinkFault, i64),
    /// The broker starts again, with what it kept or without.
    Broker(bool),
    /// A probe, by its number, for so long, ms.
    Probe(usize, ProbeFault, i64),
    /// The far end of a courier, by its number, for so long, ms.
    Far(usize, FarFault, i64),
    /// The wall clock steps while nobody vouches for it, ms.
    WallStep(i64),
    /// The grower.
    Grower(Grower),
}

impl Fault {
    /// The name of its kind, for the counters.
    pub fn kind(&self) -> &'static str {
        match self {
            Self::Down(How::Kill, ..) => "kill",
            Self::Down(How::Cut, ..) => "power_cut",
            Self::Down(How::CutInWrite(_), ..) => "power_cut in a write",
            Self::Down(How::CutInTelling(_), ..) => "power_cut in a telling",
            Self::Down(How::Stop, ..) => "clean stop",
            Self::Stall(_) => "stall",
            Self::Disk(DiskFault::EioOnce(_), _) => "disk_eio_once",
            Self::Disk(DiskFault::Eio, _) => "disk_eio",
            Self::Disk(DiskFault::Full, _) => "disk_full",
            Self::Disk(DiskFault::ReadOnly, _) => "disk_ro",
            Self::Disk(DiskFault::Lie, _) => "disk_lie",
            Self::Disk(DiskFault::Flip, _) => "disk_flip",
            Self::Disk(DiskFault::Misdirect, _) => "disk_misdirect",
            Self::Link(LinkFault::Down, _) => "link_down",
            Self::Link(LinkFault::OneWay, _) => "link_one_way",
            Self::Link(LinkFault::HalfOpen, _) => "link_half_open",
            Self::Link(LinkFault::Slow, _) => "link_slow",
            Self::Broker(true) => "broker_restart_keep",
            Self::Broker(false) => "broker_restart_lose",
            Self::Probe(_, ProbeFault::Dead, _) => "probe dead",
            Self::Probe(_, ProbeFault::Cut, _) => "broker_backlog",
            Self::Probe(_, ProbeFault::Stuck, _) => "bus_stuck",
            Self::Probe(_, ProbeFault::Off(_), _) => "lie",
            Self::Probe(_, ProbeFault::Garbage, _) => "garbage",
            Self::Probe(_, ProbeFault::Missing, _) => "missing",
            Self::Probe(_, ProbeFault::Impossible, _) => "impossible",
            Self::Probe(_, ProbeFault::Future, _) => "future",
            Self::Probe(_, ProbeFault::Twice, _) => "link_dup",
            Self::Probe(_, ProbeFault::Reorder, _) => "link_reorder",
            Self::Far(_, FarFault::LoseReply, _) => "far_lose_reply",
            Self::Far(_, FarFault::Refuse, _) => "far_refuse",
            Self::Far(_, FarFault::Never, _) => "far_never",
            Self::Far(_, FarFault::Slow, _) => "far_slow",
            Self::Far(_, FarFault::Gone, _) => "far_gone",
            Self::WallStep(_) => "wall_step",
            Self::Grower(Grower::Remark) => "grower_note",
            Self::Grower(Grower::Reply) => "grower_answer",
            Self::Grower(Grower::Seen) => "grower_answer seen",
            Self::Grower(Grower::Later) => "grower_answer later",
            Self::Grower(Grower::Drill) => "grower_drill",
            Self::Grower(Grower::HeatWarning) => "feed_outlook",
            Self::Grower(Grower::ByHand) => "grower_note back-dated",
            Self::Grower(Grower::Undo) => "grower_undo",
        }
    }
}

/// One kind, as it is drawn: how many there are is the length of this list.
type Draw = fn(&mut Chance) -> Fault;

fn down(chance: &mut Chance, how: How) -> Fault {
    let away_ms = *chance.pick(&[5_000, MINUTE, 20 * MINUTE, 3 * HOUR]);
    let clock = match chance.below(4) {
        0 => BootClock::LateFor(chance.between(10_000, 90 * MINUTE)),
        1 if chance.happens(0.3) => BootClock::Never,
        _ => BootClock::Right,
    };
    Fault::Down(how, away_ms, clock)
}

fn spell(chance: &mut Chance) -> i64 {
    *chance.pick(&[20_000, 3 * MINUTE, 40 * MINUTE, 4 * HOUR])
}

fn probe(chance: &mut Chance, fault: ProbeFault) -> Fault {
    Fault::Probe(chance.below(4) as usize, fault, spell(chance))
}

fn far(chance: &mut Chance, fault: FarFault) -> Fault {
    Fault::Far(chance.below(NAMES.len() as u64) as usize, fault, spell(chance))
}

fn disk(chance: &mut Chance, fault: DiskFault) -> Fault {
    Fault::Disk(fault, *chance.pick(&[30_000, 10 * MINUTE, 2 * HOUR]))
}

/// Every kind there is.
pub(crate) const KINDS: &[Draw] = &[
    |it| down(it, How::Kill),
    |it| down(it, How::Cut),
    |it| {
        let after = 1 + it.below(12) as u32;
        down(it, How::CutInWrite(after))
    },
    |it| {
        let after = it.below(40) as u32;
        down(it, How::CutInTelling(after))
    },
    |it| down(it, How::Stop),
    |it| Fault::Stall(*it.pick(&[20_000, 2 * MINUTE, 10 * MINUTE, 45 * MINUTE])),
    |it| {
        let after = 1 + it.below(12) as u32;
        disk(it, DiskFault::EioOnce(after))
    },
    |it| disk(it, DiskFault::Eio),
    |it| disk(it, DiskFault::Full),
    |it| disk(it, DiskFault::ReadOnly),
    |it| disk(it, DiskFault::Lie),
    |it| disk(it, DiskFault::Flip),
    |it| disk(it, DiskFault::Misdirect),
    |it| Fault::Link(LinkFault::Down, spell(it)),
    |it| Fault::Link(LinkFault::OneWay, spell(it)),
    |it| Fault::Link(LinkFault::HalfOpen, spell(it)),
    |it| Fault::Link(LinkFault::Slow, spell(it)),
    |_| Fault::Broker(true),
    |_| Fault::Broker(false),
    |it| probe(it, ProbeFault::Dead),
    |it| probe(it, ProbeFault::Cut),
    |it| probe(it, ProbeFault::Stuck),
    |it| {
        let off = it.between(-90, 90);
        probe(it, ProbeFault::Off(off))
    },
    |it| probe(it, ProbeFault::Garbage),
    |it| probe(it, ProbeFault::Missing),
    |it| probe(it, ProbeFault::Impossible),
    |it| probe(it, ProbeFault::Future),
    |it| probe(it, ProbeFault::Twice),
    |it| probe(it, ProbeFault::Reorder),
    |it| far(it, FarFault::LoseReply),
    |it| far(it, FarFault::Refuse),
    |it| far(it, FarFault::Never),
    |it| far(it, FarFault::Slow),
    |it| far(it, FarFault::Gone),
    |it| Fault::WallStep(it.between(-6 * HOUR, 30 * 24 * HOUR)),
    |_| Fault::Grower(Grower::Remark),
    |_| Fault::Grower(Grower::Reply),
    |_| Fault::Grower(Grower::HeatWarning),
    |_| Fault::Grower(Grower::ByHand),
    |_| Fault::Grower(Grower::Undo),
    |_| Fault::Grower(Grower::Seen),
    |_| Fault::Grower(Grower::Later),
    |_| Fault::Grower(Grower::Drill),
];
