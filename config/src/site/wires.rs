//! Where readings come from: buses, a broker, the door.

use std::collections::BTreeSet;
use std::net::{Ipv4Addr, SocketAddr};
use std::path::PathBuf;

use super::secret::{Secret, account};
use super::topics::{Topic, once, topics};
use crate::reader::Table;

/// Probe and quantity, as told so far by all wires.
type Told = BTreeSet<(String, String)>;

/// One I2C bus.
#[derive(Clone, Debug, PartialEq)]
pub struct Bus {
    /// The device, `/dev/i2c-1` on most boards.
    pub device: PathBuf,
    /// What hangs on it.
    pub instruments: Vec<Instrument>,
}

/// One instrument on a bus.
#[derive(Clone, Debug, PartialEq)]
pub struct Instrument {
    /// Which chip.
    pub kind: InstrumentKind,
    /// Its seven-bit address.
    pub address: u8,
    /// The probe's name.
    pub probe: String,
    /// Time between readings \[s\].
    pub every_s: f64,
}

/// A chip we can read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum InstrumentKind {
    /// SHT4x: air temperature and humidity.
    Sht4x,
    /// BME280: air temperature, humidity and pressure.
    Bme280,
}

impl InstrumentKind {
    /// All kinds with their words.
    pub const WORDS: [(&'static str, Self); 2] = [("sht4x", Self::Sht4x), ("bme280", Self::Bme280)];

    /// The addresses the chip can have, the usual one first (both data sheets).
    pub fn addresses(self) -> &'static [u8] {
        match self {
            Self::Sht4x => &[0x44, 0x45, 0x46],
            Self::Bme280 => &[0x76, 0x77],
        }
    }

    /// What it measures.
    pub fn quantities(self) -> &'static [&'static str] {
        match self {
            Self::Sht4x => &["air_temperature", "relative_humidity"],
            Self::Bme280 => &["air_temperature", "relative_humidity", "pressure"],
        }
    }
}

/// A broker to read from.
#[derive(Clone, Debug, PartialEq)]
pub struct Broker {
    /// Its name or address.
    pub host: String,
    /// Its port.
    pub port: u16,
    /// The name under which the broker keeps our session; two programs must not share it.
    pub client_id: String,
    /// The account, if the broker asks for one.
    pub user: Option<String>,
    /// Its password.
    pub password: Option<Secret>,
    /// Longest silence before the line is tested \[s\].
    pub keep_alive_s: u16,
    /// What to listen to.
    pub topics: Vec<Topic>,
}

/// The door at which probes publish straight to the board.
#[derive(Clone, Debug, PartialEq)]
pub struct Door {
    /// Where it listens.
    pub listen: SocketAddr,
    /// Who may come in.
    pub probes: Vec<DoorProbe>,
    /// What they bring.
    pub topics: Vec<Topic>,
}

/// A probe that may come in at the door.
#[derive(Clone, PartialEq, Eq)]
pub struct DoorProbe {
    /// The probe's name, which is its user name too.
    pub name: String,
    /// Its password, if it has one.
    pub password: Option<String>,
}

impl std::fmt::Debug for DoorProbe {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        out.debug_struct("DoorProbe").field("name", &self.name).finish_non_exhaustive()
    }
}

/// Reads every `[[bus]]`.
pub(super) fn buses(root: &Table<'_, '_>, told: &mut Told) -> Vec<Bus> {
    let mut buses = Vec::new();
    for table in root.tables("bus", "a [[bus]]") {
        let device = table.line("device").unwrap_or_else(|| "/dev/i2c-1".to_owned());
        let mut taken = BTreeSet::new();
        let instruments = table
            .tables("instrument", "a [[bus.instrument]]")
            .iter()
            .filter_map(|entry| instrument(entry, told, &mut taken))
            .collect();
        buses.push(Bus { device: device.into(), instruments });
    }
    buses
}

fn instrument(table: &Table<'_, '_>, told: &mut Told, taken: &mut BTreeSet<u8>) -> Option<Instrument> {
    let kind = table.need("kind", "kind = \"sht4x\"", table.word("kind", &InstrumentKind::WORDS));
    let probe = table.need("probe", "probe = \"post\"", table.id("probe"));
    let every_s = table.number("every_s", "s", 1.0..=3600.0).unwrap_or(60.0);
    let written = table.whole("address", 0x08..=0x77).map(|address| address as u8);
    let kind = kind?;
    if let Some(address) = written.filter(|address| !kind.addresses().contains(address)) {
        let possible: Vec<_> = kind.addresses().iter().map(|address| format!("{address:#04x}")).collect();
        let chip = InstrumentKind::WORDS.iter().find(|(_, word)| *word == kind).map_or("", |(word, _)| word);
        let possible = possible.join(" or ");
        table.fault("address", format!("address {address:#04x} is none a {chip} can have; write {possible}"));
    }
    let address = written.or_else(|| kind.addresses().first().copied())?;
    if !taken.insert(address) {
        table.fault("address", format!("address {address:#04x} is taken twice on this bus; write another"));
    }
    let probe = probe?;
    for quantity in kind.quantities() {
        once(table, "probe", &probe, quantity, told);
    }
    Some(Instrument { kind, address, probe, every_s })
}

/// Reads `[broker]`.
pub(super) fn broker(table: &Table<'_, '_>, told: &mut Told) -> Option<Broker> {
    let host = table.need("host", "host = \"127.0.0.1\"", table.line("host"));
    let port = table.whole("port", 1..=65_535).unwrap_or(1883) as u16;
    let client_id = if table.has("client_id") { table.id("client_id") } else { Some("glasshour".to_owned()) };
    let (user, password) = account(table);
    let keep_alive_s = table.whole("keep_alive_s", 5..=3600).unwrap_or(30) as u16;
    let topics = topics(table, "a [[broker.topic]]", told);
    Some(Broker { host: host?, port, client_id: client_id?, user, password, keep_alive_s, topics })
}

/// Reads `[door]`.
pub(super) fn door(table: &Table<'_, '_>, told: &mut Told) -> Door {
    let listen = table.listen("listen").unwrap_or(SocketAddr::from((Ipv4Addr::LOCALHOST, 1883)));
    let mut probes = Vec::new();
    let mut names = BTreeSet::new();
    for entry in table.tables("probe", "a [[door.probe]]") {
        let name = entry.need("name", "name = \"post\"", entry.id("name"));
        crate::ground::once(&entry, "name", name.as_ref(), &mut names);
        let password = entry.text("password");
        if password.as_ref().is_some_and(|password| password.chars().count() < 8) {
            entry.fault("password", "password has fewer than 8 signs; write a longer one");
        }
        probes.extend(name.map(|name| DoorProbe { name, password }));
    }
    let topics = topics(table, "a [[door.topic]]", told);
    guard(table, listen, &probes, &topics);
    Door { listen, probes, topics }
}

/// A door that others on the network can reach lets nobody in without a password of their own.
fn guard(table: &Table<'_, '_>, listen: SocketAddr, probes: &[DoorProbe], topics: &[Topic]) {
    if listen.ip().is_loopback() {
        return;
    }
    let has_password = |name: &str| probes.iter().any(|probe| probe.name == name && probe.password.is_some());
    let mut open: BTreeSet<_> = topics.iter().map(|topic| topic.probe.as_str()).collect();
    open.extend(probes.iter().map(|probe| probe.name.as_str()));
    open.retain(|name| !has_password(name));
    if open.is_empty() && !probes.is_empty() {
        return;
    }
    let who = open.into_iter().map(|name| format!(" for {name}")).collect::<Vec<_>>().join(" and");
    table.fault(
        "listen",
        format!(
            "anyone on the network can reach {listen} and could tell you false readings; write a [[door.probe]] \
             with name and password{who}, or listen = \"127.0.0.1:{}\"",
            listen.port()
        ),
    );
}
