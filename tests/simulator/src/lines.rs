//! The two connections between board and broker: made, broken, given up.

use glasshour::keeper::event::Event;

use crate::broker::Packet;
use crate::world::{Happening, World};

impl World {
    /// Packets leave the broker.
    pub(crate) fn send(&mut self, out: Vec<(usize, u64, Packet)>) {
        let now = self.now_ms();
        for (number, connection, packet) in out {
            let at_ms = self.net.arrival(now, number);
            self.at(at_ms, Happening::ToBoard(number, connection, packet));
        }
    }

    /// The board tries to connect.
    pub(crate) fn connect(&mut self, number: usize) {
        if self.board.life.is_none() || self.links[number].connection().is_some() {
            return;
        }
        if !self.net.lets_connect() {
            self.tell_away(Some("no route"));
            let again = self.now_ms() + self.road.between(5_000, 30_000);
            self.at(again, Happening::Connect(number));
            return;
        }
        self.connections += 1;
        self.links[number].open(self.connections);
        let link = &self.links[number];
        let out = self.broker.connect(number, self.connections, &link.filters());
        self.send(out);
        if self.links.iter().all(|link| link.connection().is_some()) {
            self.tell_away(None);
        }
    }

    fn tell_away(&mut self, why: Option<&str>) {
        let Some(life) = &self.board.life else { return };
        if self.away_told == why.is_some() {
            return;
        }
        let event = Event::Away { source: "broker".to_owned(), why: why.map(str::to_owned) };
        if life.handle.events.try_send(event).is_ok() {
            self.away_told = why.is_some();
        }
    }

    /// Both sides see that the connections are gone.
    pub(crate) fn hang_up(&mut self) {
        for number in 0..2 {
            self.broker.hang_up(number);
            if self.links[number].connection().is_some() {
                self.links[number].close();
                let again = self.now_ms() + self.road.between(1_000, 8_000);
                self.at(again, Happening::Connect(number));
            }
        }
        self.net.forget_order();
    }

    /// A connection that nothing passes on is given up after a keep-alive and a half.
    pub(crate) fn give_up(&mut self, connection: u64) {
        if self.links.iter().any(|link| link.connection() == Some(connection)) {
            self.counts.add("half-open connection given up");
            self.hang_up();
        }
    }
}
