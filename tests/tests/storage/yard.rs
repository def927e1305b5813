//! The real program on a ledger of ours, fed by a real broker, with the count of what was published.

use std::collections::BTreeMap;
use std::path::Path;

use agronomy::quantity::Quantity;
use glasshour::clock::{Clock, SystemClock};
use glasshour::ledger::{Founding, Ledger};
use glasshour::reading::Reason;
use serde_json::Value;
use tests::mosquitto::Mosquitto;
use tests::program::{self, Garden, Service};
use tests::publisher::publish;
use tests::servers::process::{until, until_within};

/// A garden, its broker, and what the broker took for it.
pub(crate) struct Yard {
    broker: Mosquitto,
    garden: Garden,
    published: BTreeMap<i64, f64>,
}

impl Yard {
    /// A yard whose ledger lies in this folder; `None` where no broker is installed.
    pub(crate) fn new(ledger: &Path) -> Option<Self> {
        let broker = Mosquitto::start()?;
        let (head, vouched, folder) = (Garden::head(), program::VOUCHED, ledger.display());
        let port = broker.port();
        let text = format!(
            "{head}{vouched}\n[ledger]\nfolder = \"{folder}\"\ncommit_every_s = 0.2\n\n\
             [broker]\nhost = \"127.0.0.1\"\nport = {port}\n\n\
             [[broker.topic]]\nfilter = \"yard/house\"\nprobe = \"post\"\nusual_interval_s = 60\n\
             fields.air_temperature = {{ pointer = \"/t\", unit = \"°C\" }}\n\
             time = {{ pointer = \"/at\", format = \"unix_ms\" }}\n"
        );
        let yard = Self { broker, garden: Garden::of(|_| text), published: BTreeMap::new() };
        Some(yard)
    }

    pub(crate) fn garden(&self) -> &Garden {
        &self.garden
    }

    /// Starts the service and waits until the broker knows it: from then on the broker keeps for it what it does not
    /// acknowledge.
    pub(crate) fn start(&self) -> Service {
        let service = self.garden.start();
        until("the service subscribes", || {
            self.broker.log().contains("Sending SUBACK to glasshour").then_some(())
        });
        service
    }

    /// Publishes so many readings, each with its own time, and waits until the broker has them.
    pub(crate) fn feed(&mut self, count: usize) {
        let clock = SystemClock::new(None);
        let mut messages = Vec::new();
        for _ in 0..count {
            let newest = self.published.last_key_value().map_or(0, |(at, _)| *at);
            let at_ms = clock.wall_ms().max(newest + 1);
            let t_c = 20.0 + (self.published.len() % 150) as f64 / 10.0;
            messages.push(("yard/house".to_owned(), format!("{{\"at\": {at_ms}, \"t\": {t_c}}}")));
            self.published.insert(at_ms, t_c);
        }
        publish(self.broker.port(), messages);
    }

    /// Waits until the service says that it has everything that was published, for a minute (P9).
    pub(crate) fn all_taken(&self, service: &Service) {
        until_within(60, "everything published is in the ledger", || {
            let (_, body) = service.get("/api/export");
            let export: Value = serde_json::from_str(&body).ok()?;
            let sound = export["readings"]["post"]["air_temperature"]["sound"].as_u64();
            (sound == Some(self.published.len() as u64)).then_some(())
        });
    }

    /// Everything published is in this ledger, once, and nothing else; the ledger is whole.
    pub(crate) fn all_kept(&self, ledger: &Path) {
        let founding = Founding { offset_ms: 0, program: "test".to_owned() };
        let ledger = Ledger::open(ledger, &founding).unwrap();
        let stored = ledger.readings("post", Quantity::AirTemperature, 0..i64::MAX).unwrap();
        let once: BTreeMap<i64, f64> = stored
            .iter()
            .filter(|reading| reading.reason != Reason::Repeated)
            .map(|reading| (reading.at_ms, reading.value))
            .collect();
        assert_eq!(once.len(), self.published.len(), "readings in the ledger, and published");
        assert!(once == self.published, "the readings are not those that were published");
        assert_eq!(ledger.check().unwrap(), []);
    }
}

/// What the page says.
pub(crate) fn page(service: &Service) -> String {
    let (status, body) = service.get("/");
    assert_eq!(status, 200, "{body}");
    body
}

/// Waits until the page says it, the page answering all the time.
pub(crate) fn page_says(service: &Service, words: &str) {
    until_within(60, words, || page(service).contains(words).then_some(()));
}
