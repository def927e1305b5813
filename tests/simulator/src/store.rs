//! The disk the board's ledger lies on, and what is wrong with it at the moment.

use std::sync::Arc;

use disk::{Disk, LEDGER, LOG, Lasting, Of, Refusal};
use glasshour::ledger::{Founding, Ledger, LedgerError};

use crate::chance::Chance;
use crate::faults::DiskFault;

/// The disk over all lives of the board.
pub(crate) struct Store {
    disk: Arc<Disk>,
    /// What began last and is not healed; several may be on at once.
    fault: Option<DiskFault>,
    lies: bool,
}

impl Store {
    pub(crate) fn new(seed: u64) -> Self {
        Self { disk: Disk::new(seed), fault: None, lies: false }
    }

    pub(crate) fn open(&self, founding: &Founding) -> Result<Ledger, LedgerError> {
        let disk: Arc<Disk> = Arc::clone(&self.disk);
        Ledger::open_on(disk, founding)
    }

    /// The ledger as it would come up if the power went now; as it is, if `cut` is false.
    pub(crate) fn copy(&self, founding: &Founding, cut: bool) -> Result<Ledger, LedgerError> {
        let copy = Disk::of(&self.disk.image());
        if cut {
            copy.power_cut();
        }
        Ledger::open_on(copy, founding)
    }

    /// A fault begins.
    pub(crate) fn strike(&mut self, fault: DiskFault, chance: &mut Chance) {
        let refuse = |after: u32, lasting| {
            self.disk.refuse(Refusal { of: Of::Changes, after: u64::from(after), lasting });
        };
        match fault {
            DiskFault::EioOnce(after) => refuse(after, Lasting::Once),
            DiskFault::Eio => refuse(0, Lasting::ForGood),
            DiskFault::Full => self.disk.set_room(Some(0)),
            DiskFault::ReadOnly => self.disk.set_read_only(true),
            DiskFault::Lie => self.disk.set_lies(true),
            DiskFault::Flip => _ = self.disk.flip_one(if chance.happens(0.7) { LEDGER } else { LOG }),
            DiskFault::Misdirect => {
                let sectors = self.disk.platter(LEDGER).map_or(0, |bytes| bytes.len() / disk::SECTOR) as u64;
                let (from, to) = (chance.below(sectors), chance.below(sectors));
                _ = self.disk.misdirect(LEDGER, from, to, 8);
            }
        }
        self.fault = Some(fault);
        self.lies |= fault == DiskFault::Lie;
    }

    /// Ends whatever is wrong; what stands in the wrong place is seen where it belongs again.
    pub(crate) fn heal(&mut self) {
        self.disk.heal();
        self.disk.lift();
        (self.fault, self.lies) = (None, false);
    }

    pub(crate) fn power_goes_after(&self, changes: u32) {
        self.disk.power_goes_after(u64::from(changes));
    }

    /// Entries stand in the log as they are, a step's with this beginning.
    pub(crate) fn power_goes_after_telling(&self, changes: u32) {
        self.disk.power_goes_after_writing(br#"{"what":"step""#, u64::from(changes));
    }

    /// Whatever would have taken the power does not.
    pub(crate) fn power_stays(&self) {
        self.disk.power_stays();
    }

    pub(crate) fn is_dark(&self) -> bool {
        self.disk.is_dark()
    }

    pub(crate) fn power_cut(&self) {
        self.disk.power_cut();
    }

    /// The power comes back, if it was away.
    pub(crate) fn settle(&self) {
        if self.disk.is_dark() {
            self.disk.power_cut();
        }
    }

    /// Whether the disk refuses at the moment.
    pub(crate) fn is_troubled(&self) -> bool {
        self.disk.is_dark() || self.fault.is_some()
    }

    /// Whether it reports flushes that it does not do.
    pub(crate) fn lies(&self) -> bool {
        self.lies
    }
}
