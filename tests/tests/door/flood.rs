//! Numbers without a time that somebody had kept.

use super::*;

#[tokio::test]
async fn m4_numbers_without_a_time_that_come_in_a_flood_are_undated_and_one_alone_is_not() {
    const COUNT: usize = 60;
    let mut door = Opened::plain().await;
    let (client, mut link) = AsyncClient::new(door.options("probe"), COUNT + 1);
    // One of another probe among them, which is of now.
    client.try_publish("garden/bed", QoS::AtLeastOnce, false, "15").unwrap();
    for value in 0..COUNT {
        client.try_publish("garden/house", QoS::AtLeastOnce, false, value.to_string()).unwrap();
    }
    let (mut acknowledged, mut house) = (0, Vec::new());
    while acknowledged <= COUNT {
        tokio::select! {
            event = link.poll() => {
                acknowledged += usize::from(matches!(event.unwrap(), rumqttc::Event::Incoming(Packet::PubAck(_))));
            }
            message = door.events.message() => {
                let (probe, stale) = (message.readings[0].probe.clone(), message.readings[0].stale);
                assert_eq!(stale, &*probe == "house", "{probe}");
                if stale {
                    house.push(message.value() as usize);
                }
                message.acknowledge();
            }
        }
    }
    assert_eq!(house, (0..COUNT).collect::<Vec<_>>(), "all, and in order");
    door.events.late("house", COUNT).await;
    door.close().await;
}
