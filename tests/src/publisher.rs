//! A probe's side of MQTT: publishes at QoS 1 and hears what the far end acknowledges.

use rumqttc::{AsyncClient, Event, EventLoop, MqttOptions, Packet, QoS};

/// Messages on their way at once.
const WINDOW: usize = 500;

/// A client on a broker or on the door.
pub struct Publisher {
    client: AsyncClient,
    link: EventLoop,
    on_the_way: usize,
}

impl Publisher {
    /// A client of this name; it connects with the first message.
    pub fn new(name: &str, port: u16) -> Self {
        let mut options = MqttOptions::new(name, "127.0.0.1", port);
        options.set_inflight(WINDOW as u16);
        let (client, link) = AsyncClient::new(options, WINDOW);
        Self { client, link, on_the_way: 0 }
    }

    /// Publishes all of them and waits until all are acknowledged.
    ///
    /// # Panics
    ///
    /// When the connection breaks.
    pub async fn publish(&mut self, messages: impl IntoIterator<Item = (String, String)>) {
        for (topic, payload) in messages {
            while self.on_the_way >= WINDOW {
                self.turn().await;
            }
            self.client.try_publish(topic, QoS::AtLeastOnce, false, payload).expect("room in the window");
            self.on_the_way += 1;
        }
        while self.on_the_way > 0 {
            self.turn().await;
        }
    }

    async fn turn(&mut self) {
        let event = self.link.poll().await.expect("a connection that holds");
        if matches!(event, Event::Incoming(Packet::PubAck(_))) {
            self.on_the_way -= 1;
        }
    }
}

/// Publishes from a test that is not asynchronous itself, and waits until all are acknowledged.
///
/// # Panics
///
/// As [`Publisher::publish`].
pub fn publish(port: u16, messages: impl IntoIterator<Item = (String, String)>) {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
    runtime.block_on(Publisher::new("probe", port).publish(messages));
}
