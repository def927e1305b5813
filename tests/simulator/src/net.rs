//! The roads between broker and board: how long a packet takes, and whether it arrives.

use crate::chance::Chance;
use crate::faults::LinkFault;

/// The roads: to the board on each of two connections, and back.
#[derive(Debug)]
pub(crate) struct Net {
    fault: Option<LinkFault>,
    /// When the last packet of each road arrives: TCP keeps the order.
    last_ms: [i64; 4],
    chance: Chance,
}

impl Net {
    pub(crate) fn new(seed: u64) -> Self {
        Self { fault: None, last_ms: [0; 4], chance: Chance::new(seed, "roads") }
    }

    /// A fault begins or, with none, ends.
    pub(crate) fn set(&mut self, fault: Option<LinkFault>) {
        self.fault = fault;
    }

    /// Ends whatever is wrong; whether connections were broken by it.
    pub(crate) fn heal(&mut self) -> bool {
        matches!(self.fault.take(), Some(LinkFault::OneWay | LinkFault::HalfOpen))
    }

    pub(crate) fn passes_to_board(&self) -> bool {
        !matches!(self.fault, Some(LinkFault::Down | LinkFault::HalfOpen))
    }

    pub(crate) fn passes_to_broker(&self) -> bool {
        !matches!(self.fault, Some(LinkFault::Down | LinkFault::HalfOpen | LinkFault::OneWay))
    }

    pub(crate) fn lets_connect(&self) -> bool {
        !matches!(self.fault, Some(LinkFault::Down | LinkFault::HalfOpen | LinkFault::OneWay))
    }

    /// When a packet that sets out now on a road arrives, ms.
    pub(crate) fn arrival(&mut self, now_ms: i64, road: usize) -> i64 {
        let slow = self.fault == Some(LinkFault::Slow);
        let takes = if slow { self.chance.between(500, 20_000) } else { self.chance.between(5, 60) };
        self.last_ms[road] = self.last_ms[road].max(now_ms + takes);
        self.last_ms[road]
    }

    /// New connections have a new order.
    pub(crate) fn forget_order(&mut self) {
        self.last_ms = [0; 4];
    }
}
