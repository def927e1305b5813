//! The site file: what the machine needs to know before it can start.
//!
//! It says where the site is, where the ledger lies, which instruments hang on which bus, which broker and
//! which accounts there are. What grows where is not its business after the first run: `[start]` is read
//! into the ledger once ([`crate::ground`]).

use std::collections::BTreeSet;
use std::net::{Ipv4Addr, SocketAddr};
use std::path::PathBuf;

use agronomy::crop::CropBook;

use crate::faults::Faults;
use crate::ground::{Start, read_start};
use crate::position::{Position, position};
use crate::reader::{Notebook, Table};
use crate::zone::Zones;

mod board;
mod couriers;
mod outlook;
mod outward;
mod secret;
mod topics;
mod warnings;
mod web;
mod wires;

pub use board::Board;
pub use couriers::{Letter, Mail, MailTls, Mirror, MqttNotices, Quiet, When};
pub use outlook::{Feed, Outlook, UsualMonths, Way};
pub use outward::{LifeSign, Picture};
pub use secret::Secret;
pub use topics::{Field, Payload, Stamp, StampFormat, Topic, overlap};
pub use warnings::Warnings;
pub use web::{WebPush, Webhook};
pub use wires::{Broker, Bus, Door, DoorProbe, Instrument, InstrumentKind};

/// A checked site file.
#[derive(Clone, Debug, PartialEq)]
pub struct Site {
    /// Where, and by which clock.
    pub site: Position,
    /// Whether the system vouches for its clock being right, even before it has been synchronised.
    pub clock_vouched_by_system: bool,
    /// The clock chip that may vouch for the clock: `rtc0`.
    pub clock_chip: Option<String>,
    /// Where everything is kept.
    pub ledger: Ledger,
    /// Where the page listens; port 0 takes any free one.
    pub page_listen: SocketAddr,
    /// How the page is met from a phone: scheme, host and port. Links in letters lead there.
    pub page_address: Option<String>,
    /// I2C buses with their instruments.
    pub buses: Vec<Bus>,
    /// A broker to read from.
    pub broker: Option<Broker>,
    /// The door at which probes publish straight to the board.
    pub door: Option<Door>,
    /// The outlook.
    pub outlook: Option<Outlook>,
    /// The board as a probe of itself.
    pub board: Option<Board>,
    /// The mail account.
    pub mail: Option<Mail>,
    /// Notices published on the broker.
    pub mqtt_notices: Option<MqttNotices>,
    /// Notices on phones by web push.
    pub web_push: Option<WebPush>,
    /// Each step posted to an address.
    pub webhook: Option<Webhook>,
    /// A copy of the readings kept elsewhere.
    pub mirror: Option<Mirror>,
    /// Public warnings by CAP 1.2.
    pub warnings: Option<Warnings>,
    /// The morning letter.
    pub letter: Letter,
    /// A picture of Now for a look from away.
    pub picture: Option<Picture>,
    /// A sign of life for somebody elsewhere.
    pub life_sign: Option<LifeSign>,
    /// Hours in which only severe things may buzz.
    pub quiet: Quiet,
    /// What stands where at the start.
    pub start: Start,
}

/// Where everything is kept.
#[derive(Clone, Debug, PartialEq)]
pub struct Ledger {
    /// The data folder.
    pub folder: PathBuf,
    /// Longest time between commits \[s\].
    pub commit_every_s: f64,
    /// For how many years readings are meant to be kept. Nothing is deleted by it.
    pub keep_years: u32,
}

/// Reads a site file.
///
/// # Errors
///
/// Everything that is wrong with it, at once.
pub fn read_site(text: &str, crops: &CropBook, zones: &Zones) -> Result<Site, Faults> {
    let (book, tree) = Notebook::open(text);
    let value = read(&Table::root(&book, &tree), crops, zones);
    book.close("site.toml", value)
}

fn read(root: &Table<'_, '_>, crops: &CropBook, zones: &Zones) -> Option<Site> {
    let site = position(root, zones);
    let clock = root.table("clock", "[clock]");
    let clock_vouched_by_system =
        clock.as_ref().is_some_and(|clock| clock.word("vouched_by", &[("system", ())]).is_some());
    let clock_chip = clock.as_ref().and_then(chip);
    let ledger = ledger(root);
    let page = root.table("page", "[page]");
    let page_listen = page
        .as_ref()
        .and_then(|page| page.listen("listen"))
        .unwrap_or(SocketAddr::from((Ipv4Addr::LOCALHOST, 8087)));
    let page_address = page.as_ref().and_then(outward::page_address);
    let mut told = BTreeSet::new();
    let buses = wires::buses(root, &mut told);
    let broker = root.table("broker", "[broker]").and_then(|table| wires::broker(&table, &mut told));
    let door = root.table("door", "[door]").map(|table| wires::door(&table, &mut told));
    let outlook = outlook::outlook(root);
    let board = root.table("board", "[board]").map(|table| board::board(&table));
    let mail = root.table("mail", "[mail]").and_then(|table| couriers::mail(&table));
    let mqtt_notices = couriers::mqtt_notices(root, broker.as_ref());
    let web_push = root.table("web_push", "[web_push]").and_then(|table| web::web_push(&table));
    let webhook = root.table("webhook", "[webhook]").and_then(|table| web::webhook(&table));
    let mirror = root.table("mirror", "[mirror]").and_then(|table| couriers::mirror(&table));
    let warnings = warnings::warnings(root);
    let letter = couriers::letter(root);
    let picture = root.table("picture", "[picture]").and_then(|table| outward::picture(&table));
    let life_sign = root.table("life_sign", "[life_sign]").and_then(|table| outward::life_sign(&table));
    let quiet = couriers::quiet(root);
    let start = root.table("start", "[start]").map(|table| read_start(&table, crops)).unwrap_or_default();
    Some(Site {
        site: site?,
        clock_vouched_by_system,
        clock_chip,
        ledger,
        page_listen,
        page_address,
        buses,
        broker,
        door,
        outlook,
        board,
        mail,
        mqtt_notices,
        web_push,
        webhook,
        mirror,
        warnings,
        letter,
        picture,
        life_sign,
        quiet,
        start,
    })
}

/// A clock chip by the kernel's name for it, which is part of a file's name.
fn chip(clock: &Table<'_, '_>) -> Option<String> {
    let name = clock.line("chip")?;
    let number = name.strip_prefix("rtc").unwrap_or_default();
    let sound = (1..=3).contains(&number.len()) && number.bytes().all(|byte| byte.is_ascii_digit());
    if !sound {
        clock.fault(
            "chip",
            format!("{name:?} is no clock chip; write its name in /sys/class/rtc, as \"rtc0\""),
        );
    }
    sound.then_some(name)
}

fn ledger(root: &Table<'_, '_>) -> Ledger {
    let table = root.table("ledger", "[ledger]");
    let folder = table.as_ref().and_then(|table| table.line("folder"));
    let commit_every_s = table.as_ref().and_then(|table| table.number("commit_every_s", "s", 0.1..=300.0));
    let keep_years = table.as_ref().and_then(|table| table.whole("keep_years", 1..=100));
    Ledger {
        folder: folder.unwrap_or_else(|| "/var/lib/glasshour".to_owned()).into(),
        commit_every_s: commit_every_s.unwrap_or(60.0),
        keep_years: keep_years.unwrap_or(10) as u32,
    }
}
