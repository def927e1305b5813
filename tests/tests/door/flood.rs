//! Numbers without a time that somebody had kept.

use glasshour::clock::FastClock;

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

#[tokio::test]
async fn a_number_that_waits_for_others_is_handed_on_when_its_client_is_replaced_and_at_the_stop() {
    // Half a second of this clock is longer than anything is waited for here.
    let clock = Arc::new(FastClock::new(1_784_034_120_000, 0.001));
    let mut door = Opened::by(clock, BTreeMap::new(), DoorLimits::default(), 64).await;
    let mut links = Vec::new();
    for value in ["20", "21"] {
        let (client, mut link) = AsyncClient::new(door.options("probe"), 8);
        // What cannot be read does not wait, and came after it.
        for payload in [value, "none"] {
            client.try_publish("garden/house", QoS::AtMostOnce, false, payload).unwrap();
        }
        let malformed = door.events.malformed();
        tokio::pin!(malformed);
        loop {
            tokio::select! {
                event = link.poll() => { event.unwrap(); }
                _ = &mut malformed => break,
            }
        }
        links.push((client, link));
    }
    // The second has taken the place of the first.
    assert_eq!(door.events.message().await.value(), 20.0);
    assert!(door.events.is_empty(), "21 waits");
    door.stop.cancel();
    let ended = timeout(DEADLINE, door.task.join_next()).await.expect("an end in time");
    assert_eq!(ended.unwrap().unwrap(), Ok(()));
    assert_eq!(door.events.message().await.value(), 21.0);
}
