//! Seats: so many at the same time in all, and so many for one address, so that one phone with many windows, or one
//! stranger, leaves room for the others.

use std::collections::BTreeMap;
use std::net::IpAddr;
use std::sync::{Arc, Mutex, PoisonError};

/// Who is at the other end of a connection; none on the socket of the board.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Peer(pub(crate) Option<IpAddr>);

/// The seats of one kind.
#[derive(Debug)]
pub(crate) struct Seats {
    all: usize,
    each: usize,
    taken: Mutex<BTreeMap<Option<IpAddr>, usize>>,
}

/// One taken seat; free again when dropped.
#[derive(Debug)]
pub(crate) struct Seat {
    seats: Arc<Seats>,
    peer: Peer,
}

impl Seats {
    /// `all` seats, of which one address may take `each`.
    pub(crate) fn new(all: usize, each: usize) -> Arc<Self> {
        Arc::new(Self { all, each, taken: Mutex::default() })
    }

    /// Takes one; none while all are taken, or all of this address. The board's own socket may take any.
    pub(crate) fn take(self: &Arc<Self>, peer: Peer) -> Option<Seat> {
        let mut taken = self.taken.lock().unwrap_or_else(PoisonError::into_inner);
        let own = taken.get(&peer.0).copied().unwrap_or(0);
        let free = taken.values().sum::<usize>() < self.all && (peer.0.is_none() || own < self.each);
        free.then(|| {
            taken.insert(peer.0, own + 1);
            Seat { seats: Arc::clone(self), peer }
        })
    }
}

impl Drop for Seat {
    fn drop(&mut self) {
        let mut taken = self.seats.taken.lock().unwrap_or_else(PoisonError::into_inner);
        match taken.get_mut(&self.peer.0) {
            Some(own) if *own > 1 => *own -= 1,
            _ => drop(taken.remove(&self.peer.0)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_address_leaves_room_for_others_and_all_together_have_an_end() {
        let peer = |last: u8| Peer(Some(IpAddr::from([192, 0, 2, last])));
        let seats = Seats::new(5, 2);
        let mut held = vec![seats.take(peer(1)).unwrap(), seats.take(peer(1)).unwrap()];
        assert!(seats.take(peer(1)).is_none(), "a third of one address");
        held.push(seats.take(peer(2)).unwrap());
        held.extend([seats.take(Peer(None)).unwrap(), seats.take(Peer(None)).unwrap()]);
        assert!(seats.take(peer(3)).is_none() && seats.take(Peer(None)).is_none(), "a sixth of anybody");
        held.remove(0);
        assert!(seats.take(peer(3)).is_some() && seats.take(peer(1)).is_some(), "one given up is free again");
        drop(held);
        assert!(seats.taken.lock().unwrap().is_empty());
    }
}
