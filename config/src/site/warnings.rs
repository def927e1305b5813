//! Public warnings: where they come from, and which of them concern the garden.

use std::collections::BTreeMap;
use std::path::PathBuf;

use super::couriers::is_base_url;
use super::topics::is_filter;
use crate::reader::Table;

/// Where public warnings by CAP 1.2 come from, and which concern the garden. At least one of `url` and `topic` is there.
#[derive(Clone, Debug, PartialEq)]
pub struct Warnings {
    /// The address of a message or of a feed of them.
    pub url: Option<String>,
    /// Origins besides the feed's own to which its links may lead: scheme, host and port.
    pub also_from: Vec<String>,
    /// Certificates (PEM) that vouch for an `https` address, besides the system's.
    pub ca: Option<PathBuf>,
    /// Time between two looks at the address \[s\].
    pub every_s: f64,
    /// A topic filter on the broker.
    pub topic: Option<String>,
    /// The codes of areas that mean the site: list, codes of it.
    pub geocodes: BTreeMap<String, Vec<String>>,
    /// The grower's language, as a tag.
    pub language: Option<String>,
    /// Events that are heat: words that stand whole in an event's name, or `LIST=CODE`.
    pub heat_events: Vec<String>,
    /// Events that are frost, likewise.
    pub frost_events: Vec<String>,
}

/// What authorities call heat where the site file does not say (common practice).
const HEAT: [&str; 30] = [
    "heat",
    "heatwave",
    "high temperature",
    "high temperatures",
    "hot weather",
    "hitze",
    "hitzewarnung",
    "hitzewelle",
    "hitte",
    "hittegolf",
    "hete",
    "hetebølge",
    "hedebølge",
    "värmebölja",
    "höga temperaturer",
    "helle",
    "canicule",
    "chaleur",
    "fortes chaleurs",
    "calor",
    "ola de calor",
    "onda de calor",
    "altas temperaturas",
    "temperaturas altas",
    "caldo",
    "ondata di calore",
    "ondate di calore",
    "upał",
    "vysoké teploty",
    "hőség",
];

/// What authorities call frost where the site file does not say (common practice).
const FROST: [&str; 23] = [
    "frost",
    "ground frost",
    "freeze",
    "hard freeze",
    "nachtfrost",
    "bodenfrost",
    "frostwarnung",
    "vorst",
    "nachtvorst",
    "frostnetter",
    "nattfrost",
    "halla",
    "gel",
    "gelées",
    "gelée",
    "helada",
    "heladas",
    "geada",
    "geadas",
    "gelata",
    "gelate",
    "przymrozki",
    "mráz",
];

/// Reads `[warnings]`.
pub(super) fn warnings(root: &Table<'_, '_>) -> Option<Warnings> {
    let table = root.table("warnings", "[warnings]")?;
    let (url, ca) = (url(&table), table.line("ca").map(PathBuf::from));
    if ca.is_some() && url.as_ref().is_some_and(|url| url.starts_with("http://")) {
        table.fault("ca", "ca vouches for nothing on an http address; write https, or leave ca out");
    }
    let topic = topic(root, &table);
    if !table.has("topic") {
        table.need("url", "url = \"https://...\" or topic = \"garden/warnings\"", url.as_ref());
    }
    let also_from = table.texts("also_from").unwrap_or_default();
    for wrong in also_from.iter().filter(|origin| !is_base_url(&origin.value)) {
        let message = "is more or less than scheme, host and port; write https://warnings.example";
        table.book.note(wrong.at, format!("{} {message}", wrong.value));
    }
    Some(Warnings {
        url,
        also_from: also_from.into_iter().map(|origin| origin.value).collect(),
        ca,
        every_s: table.number("every_s", "s", 5.0..=3600.0).unwrap_or(600.0),
        topic,
        geocodes: geocodes(&table),
        language: language(&table),
        heat_events: events(&table, "heat_events", &HEAT),
        frost_events: events(&table, "frost_events", &FROST),
    })
}

fn url(table: &Table<'_, '_>) -> Option<String> {
    let url = table.line("url")?;
    let scheme = if url.starts_with("http://") { "http://" } else { "https://" };
    let host = url.strip_prefix(scheme).and_then(|rest| rest.split(['/', '?']).next()).unwrap_or_default();
    let sound = is_base_url(&format!("{scheme}{host}")) && !url.contains(char::is_whitespace);
    if !sound {
        let example = "https://warnings.example/feed.atom";
        table.fault("url", format!("url {url} is no address of the web; write {example}"));
    }
    sound.then_some(url)
}

fn topic(root: &Table<'_, '_>, table: &Table<'_, '_>) -> Option<String> {
    let topic = table.line("topic")?;
    if !root.has("broker") {
        table.fault("topic", "warnings have no broker to come from; write a table [broker] with its host");
    }
    if !is_filter(&topic) {
        let why = "# only stands alone at the end, + only alone between slashes";
        table.fault("topic", format!("topic {topic:?} is none that MQTT has; write one in which {why}"));
    }
    Some(topic)
}

fn geocodes(table: &Table<'_, '_>) -> BTreeMap<String, Vec<String>> {
    let Some(lists) = table.table("geocodes", "geocodes") else { return BTreeMap::new() };
    let codes =
        |list: &str| lists.texts(list).unwrap_or_default().into_iter().map(|code| code.value).collect();
    lists.keys().into_iter().map(|list| (list.value.clone(), codes(&list.value))).collect()
}

/// A language tag (RFC 5646, in outline): letters, then letters and digits between hyphens.
fn language(table: &Table<'_, '_>) -> Option<String> {
    let language = table.line("language")?;
    let sound = language.split('-').enumerate().all(|(index, part)| {
        let fits = |sign: u8| sign.is_ascii_alphabetic() || (index > 0 && sign.is_ascii_digit());
        (1..=8).contains(&part.len()) && part.bytes().all(fits)
    });
    if !sound {
        table.fault("language", format!("language {language} is no language tag; write \"en\" or \"de-AT\""));
    }
    sound.then_some(language)
}

fn events(table: &Table<'_, '_>, key: &str, usual: &[&str]) -> Vec<String> {
    let Some(written) = table.texts(key) else { return usual.iter().map(|&word| word.to_owned()).collect() };
    for event in &written {
        let text = event.value.trim();
        let advice = "write words such as \"heat\", or LIST=CODE";
        let whole = text
            .split_once('=')
            .is_none_or(|(list, code)| !list.trim().is_empty() && !code.trim().is_empty());
        if text.is_empty() {
            table.book.note(event.at, format!("{key} has an empty text; {advice}"));
        } else if !whole {
            table.book.note(event.at, format!("{key} has {text:?}; {advice}"));
        }
    }
    written.into_iter().map(|event| event.value).collect()
}
