//! Every way that a site file names, tried once as the service would use it: for `check --live`. Nothing is sent that
//! somebody could take for a notice or a sign of life, and nothing that comes is taken in.

use std::path::Path;
use std::time::Duration;

use axum::http::Uri;
use config::site::{Site, Way};
use sensor_drivers::SharedBus;

use super::{settings, wire};
use crate::clock::{Clock, kernel};
use crate::couriers::email;
use crate::http_out::Client;
use crate::sources::bus::{DeviceBus, ask_once};
use crate::sources::mqtt;

/// How long a far end may take to be reached.
const PATIENCE: Duration = Duration::from_secs(15);

/// One way, tried.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tried {
    /// In the grower's words: "broker 127.0.0.1:1883".
    pub way: String,
    /// What is wrong, and what to do; none where it is well.
    pub troubles: Vec<String>,
}

impl Tried {
    fn new(way: impl Into<String>, outcome: Result<(), String>) -> Self {
        Self { way: way.into(), troubles: outcome.err().into_iter().collect() }
    }
}

/// Tries all ways, one after the other, and hands each to `told` when it is known.
pub async fn ways(site: &Site, told: &mut impl FnMut(Tried)) {
    // Only the first call in a process can install it; a second one finds it there.
    let _ = rustls::crypto::ring::default_provider().install_default();
    told(clock(site));
    for line in &site.buses {
        bus(line, told);
    }
    if let Some(tried) = broker(site).await {
        told(tried);
    }
    if let Some(tried) = mail(site).await {
        told(tried);
    }
    for (way, url, authority) in addresses(site) {
        told(Tried::new(format!("{way} {url}"), reached(url, authority).await));
    }
}

/// Who vouches for the time.
fn clock(site: &Site) -> Tried {
    let machine = settings::clock(site);
    let word = kernel::ask_once();
    machine.kernel().store(word == Ok(true), std::sync::atomic::Ordering::Relaxed);
    match (machine.vouched_by(), word) {
        (Some(voucher), _) => Tried::new(format!("clock, vouched for by {voucher}"), Ok(())),
        (None, Err(why)) => Tried::new(
            "clock",
            Err(format!(
                "nobody vouches for the time, and the system's word on it may not be asked from here: {why}; write \
                 vouched_by or chip under [clock] if one of them is true"
            )),
        ),
        (None, Ok(_)) => Tried::new(
            "clock",
            Err("nobody vouches for the time: no time service has set it yet, nor does a clock chip of the site file \
                 agree with it"
                .to_owned()),
        ),
    }
}

/// A bus, and where that opens each instrument on it.
fn bus(line: &config::site::Bus, told: &mut impl FnMut(Tried)) {
    let device = line.device.display();
    let opened = DeviceBus::new(&line.device).open().map(drop).map_err(|error| error.to_string());
    let is_open = opened.is_ok();
    told(Tried::new(format!("bus {device}"), opened));
    let shared = SharedBus::new(DeviceBus::new(&line.device));
    for instrument in line.instruments.iter().filter(|_| is_open) {
        let answered = ask_once(&mut wire(instrument, &shared));
        told(Tried::new(
            format!("{} at {:#04x} on {device}", instrument.probe, instrument.address),
            answered,
        ));
    }
}

/// The broker with all that is heard there.
async fn broker(site: &Site) -> Option<Tried> {
    let broker = site.broker.as_ref()?;
    let way = format!("broker {}:{}", broker.host, broker.port);
    let settings = match settings::broker(site) {
        Ok(settings) => settings?,
        Err(why) => return Some(Tried::new(way, Err(why))),
    };
    let feed = site.outlook.as_ref().and_then(|outlook| outlook.feed.as_ref());
    let foretold = feed.and_then(|feed| match &feed.way {
        Way::Topic(topic) => Some(topic),
        Way::Url { .. } => None,
    });
    let warned = site.warnings.as_ref().and_then(|warnings| warnings.topic.as_ref());
    let probes = broker.topics.iter().map(|topic| &topic.filter);
    let filters: Vec<String> = probes.chain(foretold).chain(warned).cloned().collect();
    Some(Tried { way, troubles: mqtt::try_out(&settings, &filters).await })
}

/// The mail account: as far as a letter would be given, and none is.
async fn mail(site: &Site) -> Option<Tried> {
    let account = site.mail.as_ref()?;
    let way = format!("mail {}:{}", account.host, account.port);
    let outcome = match settings::mail(site) {
        Ok(accounts) => within(email::try_out(accounts.first()?)).await,
        Err(why) => Err(why),
    };
    Some(Tried::new(way, outcome))
}

/// An outcome, as far as it is known in time: each step of a conversation may have a limit of its own.
async fn within(outcome: impl Future<Output = Result<(), String>>) -> Result<(), String> {
    let late = |_| Err(format!("no answer within {} s", PATIENCE.as_secs()));
    tokio::time::timeout(PATIENCE, outcome).await.unwrap_or_else(late)
}

/// What is called by HTTP: what for, where, and who vouches for it besides the system.
fn addresses(site: &Site) -> Vec<(&'static str, &str, Option<&Path>)> {
    let mut all: Vec<(&'static str, &str, Option<&Path>)> = Vec::new();
    if let Some(it) = &site.webhook {
        all.push(("webhook", &it.url, it.ca.as_deref()));
    }
    if let Some(service) = site.web_push.as_ref().and_then(|it| it.own_service.as_ref()) {
        all.push(("push service", service, None));
    }
    if let Some(it) = &site.life_sign {
        all.push(("life sign", &it.url, it.ca.as_deref()));
    }
    if let Some(it) = &site.picture {
        all.push(("picture", &it.put, it.ca.as_deref()));
    }
    if let Some(it) = &site.mirror {
        all.push(("mirror", &it.url, it.ca.as_deref()));
    }
    if let Some(Way::Url { url, ca }) =
        site.outlook.as_ref().and_then(|it| it.feed.as_ref()).map(|it| &it.way)
    {
        all.push(("outlook", url, ca.as_deref()));
    }
    if let Some((it, url)) = site.warnings.as_ref().and_then(|it| Some((it, it.url.as_ref()?))) {
        all.push(("public warnings", url, it.ca.as_deref()));
    }
    all
}

/// Opens the way to an address, certificate and all.
async fn reached(url: &str, authority: Option<&Path>) -> Result<(), String> {
    let uri: Uri = url.parse().map_err(|error| format!("{url}: {error}"))?;
    let client = Client::new(authority, PATIENCE).map_err(|error| error.to_string())?;
    client.open(uri).await
}

#[cfg(test)]
mod tests {
    use config::zone::Zones;
    use tokio::io::{AsyncBufReadExt as _, AsyncWriteExt as _, BufReader};

    use super::*;

    /// A mail server (RFC 5321) that takes ten seconds for each of its words.
    async fn slow(listener: tokio::net::TcpListener) {
        let (stream, _) = listener.accept().await.unwrap();
        let mut stream = BufReader::new(stream);
        let mut asked = String::new();
        for code in std::iter::once(220).chain(std::iter::repeat(250)) {
            tokio::time::sleep(Duration::from_secs(10)).await;
            let said = stream.write_all(format!("{code} mail.garden.example\r\n").as_bytes()).await;
            if said.is_err() || stream.read_line(&mut asked).await.is_err() {
                return;
            }
        }
    }

    #[tokio::test(start_paused = true)]
    async fn b9_a_mail_server_that_is_slow_at_each_step_is_given_up_in_the_end() {
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
        let port = listener.local_addr().unwrap().port();
        let text = format!(
            "[site]\nname = \"Yard\"\nlatitude = 52.1\nlongitude = 5.3\nstandard_offset = \"+01:00\"\n[mail]\nhost = \"127.0.0.1\"\ntls = \"none-on-loopback\"\nport = {port}\n\
             from = \"house@garden.example\"\nto = [\"you@garden.example\"]\n"
        );
        let site = config::read_site(&text, &config::crop_book().unwrap(), &Zones::system()).unwrap();
        let (tried, ()) = tokio::join!(mail(&site), slow(listener));
        assert_eq!(tried.unwrap().troubles, ["no answer within 15 s"]);
    }
}
