//! What the board says of itself: storage, clock, sources, mirror.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::entry::Step;

/// How the mirror's copy stands.
#[derive(Clone, Debug, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct MirrorGlance {
    /// Commits that are not in the copy yet.
    pub behind: i64,
    /// It is being filled in from the archive.
    pub filling_in: bool,
    /// It is another server or bucket than before, and is being filled from the beginning.
    #[serde(default)]
    pub from_beginning: bool,
    /// The other side took what was last sent, in this run.
    #[serde(default)]
    pub reached: bool,
    /// Points the other side could not read, or that could not be made, since the start.
    pub set_aside: u64,
    /// Why, the last of them.
    pub set_aside_why: Option<String>,
    /// Readings passed over because they never learnt their date, since the start.
    pub undated: u64,
}

impl MirrorGlance {
    /// In words: one to three sentences without the last full stop.
    pub fn words(&self) -> String {
        let mut words = match (self.filling_in, self.behind) {
            (true, behind) => {
                format!("the mirror is being filled in from the archive, {behind} commits behind")
            }
            // Cursors at the end are no proof that the other side is there.
            (false, 0) if !self.reached => {
                "nothing waits for the mirror that it was not sent before".to_owned()
            }
            (false, 0) => "the mirror has everything".to_owned(),
            (false, 1) => "the mirror is 1 commit behind".to_owned(),
            (false, behind) => format!("the mirror is {behind} commits behind"),
        };
        if self.from_beginning {
            words = format!("{words}. It is another one than before, and is filled from the beginning");
        }
        if self.set_aside > 0 {
            let why = self.set_aside_why.as_deref().unwrap_or("no reason given");
            let were = if self.set_aside == 1 { "point was" } else { "points were" };
            words = format!("{words}. {} {were} set aside, the last because: {why}", self.set_aside);
        }
        if self.undated > 0 {
            words = format!("{words}. {} readings without a date were passed over", self.undated);
        }
        words
    }
}

/// Who sends what cannot be read and is no probe here: another's topic, or a rule that takes too much.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stranger {
    /// The name it came under: `door` for a topic that no rule takes.
    pub name: String,
    /// How many messages since the start.
    pub count: u64,
    /// The last of them, escaped and cut.
    pub sample: String,
}

/// What the board says of itself.
#[derive(Clone, Debug, PartialEq, Default, Serialize, Deserialize)]
pub struct BoardGlance {
    /// Why nothing can be stored, and since when (UTC ms), when that is so.
    pub storage_refused: Option<(String, i64)>,
    /// Who vouches for the clock; none while it cannot be trusted.
    pub clock_vouched_by: Option<String>,
    /// Sources that are away, in words: "broker away since 14:02: refused".
    pub away: Vec<String>,
    /// How many steps of the last week never went by a courier, because their time ran out or a newer one took their
    /// place, where any did not.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub unsent: BTreeMap<String, usize>,
    /// Senders of what could not be read that are no probe here.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub strangers: Vec<Stranger>,
    /// How far the ledger is: for pages, which say it back when they come again.
    #[serde(skip)]
    pub mark: String,
    /// Where the page listens, and what that means, in words.
    pub listening: String,
    /// The key that phones subscribe for, base64url; none where there is no web push.
    #[serde(default)]
    pub push_key: Option<String>,
    /// Phones that receive notices.
    #[serde(default)]
    pub phones: Vec<PhoneGlance>,
    /// Phones that no longer receive, the last few.
    #[serde(default)]
    pub phones_gone: Vec<PhoneGone>,
    /// By which civil clock time a morning letter would have come, where one goes out: `06:30`.
    #[serde(default)]
    pub letter_by: Option<String>,
    /// Readings in the ledger that bear no date.
    pub undated: u64,
    /// How the mirror stands, where there is one.
    #[serde(default)]
    pub mirror: Option<MirrorGlance>,
    /// Days still to be reckoned until another edition comes into service; none while none is being reckoned.
    #[serde(default)]
    pub still_to_reckon: Option<u64>,
    /// Damage in the ledger that no backup has mended, a sentence each.
    #[serde(default)]
    pub damaged: Vec<String>,
    /// That the ledger was restored or came to another board, for some days after.
    #[serde(default)]
    pub restored: Option<String>,
    /// Stops and refusals of the last day, a sentence each, the newest first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lately: Vec<String>,
    /// The board's own figures, in words: "61 °C, supply sound, 9200 MiB free".
    #[serde(default)]
    pub figures: Option<String>,
    /// How the ledger grows, in words.
    #[serde(default)]
    pub growth: Option<String>,
    /// What is to be said of the clock besides its voucher.
    #[serde(default)]
    pub clock: ClockGlance,
    /// Steps that are told from memory, because nothing can be stored.
    #[serde(default)]
    pub unrecorded: Vec<Unrecorded>,
    /// Readings that were judged and not kept, because nothing could be stored and memory for them was full.
    #[serde(default)]
    pub not_kept: u64,
    /// The slowest write since the start of the program, when any took long: s, UTC ms.
    #[serde(default)]
    pub slow_write: Option<(i64, i64)>,
    /// What this start of the program does without, the most important first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub makeshift: Vec<Makeshift>,
    /// Since when a notice that should have buzzed has reached nobody, though every way was tried, UTC ms.
    #[serde(default)]
    pub nobody_told_ms: Option<i64>,
}

/// Something a start of the program does without.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Makeshift {
    /// What, and why: one sentence.
    pub what: String,
    /// What to do, one sentence or two.
    pub remedy: String,
}

/// A phone that receives notices. Its address and secrets are shown nowhere.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PhoneGlance {
    /// Identifier.
    pub phone: String,
    /// What its owner calls it.
    pub name: String,
    /// When it subscribed, UTC ms.
    pub since_ms: i64,
}

/// A phone that no longer receives.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PhoneGone {
    /// What its owner called it.
    pub name: String,
    /// Why, in words.
    pub why: String,
    /// Since when, UTC ms.
    pub since_ms: i64,
}

/// What is to be said of the clock besides its voucher.
#[derive(Clone, Debug, PartialEq, Default, Serialize, Deserialize)]
pub struct ClockGlance {
    /// A jump that is not believed, in words: "The clock jumped 4 years ahead; not believed".
    pub doubt: Option<String>,
    /// From when on the readings of this boot got their dates once the time was known, UTC ms.
    pub dated_back_ms: Option<i64>,
    /// Boots that never learned the time.
    pub undated_boots: Vec<UndatedBoot>,
}

/// A boot that never learned the time, with what was measured in it and where it can lie.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct UndatedBoot {
    /// Its number.
    pub boot: i64,
    /// How many readings.
    pub readings: u64,
    /// From the first to the last of them, ms.
    pub span_ms: i64,
    /// Nothing of it is earlier than this, as far as the ledger knows, UTC ms.
    pub after_ms: Option<i64>,
    /// Nothing of it is later than this, UTC ms: where the next boot that knew the time began.
    pub before_ms: Option<i64>,
}

/// A step that is told from memory.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Unrecorded {
    /// Its number for now: below zero, as no entry's is.
    pub number: i64,
    /// The step, with its mark in the text.
    pub step: Step,
    /// The couriers that have not taken it yet: name, due (UTC ms), tries.
    pub waits_for: Vec<(String, i64, u32)>,
}
