//! What is told or noted: ground, diary, outlook, notices. Written once, dated, undoable, never re-derived.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

mod board;
mod edition;
mod fenced;
mod filed;
#[cfg(test)]
pub(crate) mod fixtures;
mod forecast;
mod public_warning;
mod reply;
mod step;

pub use board::{BoardNews, lost};
pub use edition::{Anew, Cause, Sums};
pub use fenced::Fenced;
pub use forecast::Forecast;
pub use public_warning::{Certainty, Hazard, MessageKind, PublicWarning, Reference, Said, Urgency};
pub use reply::{LONGEST_LATER_MS, Later, Reply};
pub use step::{Step, Turn, UNDATED_BELOW_MS};

/// What kind of place crops stand in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PlaceKind {
    /// Glass or film, with vents and shade.
    House,
    /// Open ground.
    Bed,
    /// Sown, not up yet.
    Seedbed,
    /// Containers.
    Pots,
    /// Compost.
    Heap,
    /// Curing, storing.
    Shed,
    /// The weather itself.
    Outdoors,
}

impl PlaceKind {
    /// Whether the place line (40 °C) applies: it is under cover.
    pub fn under_cover(self) -> bool {
        matches!(self, Self::House | Self::Shed)
    }
}

/// How a planting began.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Began {
    /// From seed, where it stands.
    Sown,
    /// As a young plant.
    PlantedOut,
}

/// One thing that was told or noted. JSON in the ledger, on the page's interface and in `glasshour note`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "snake_case")]
pub enum Note {
    /// Ground: a place exists.
    Place {
        /// Identifier: letters, digits, `_`, `-`, `.`.
        place: String,
        /// What the grower calls it.
        name: String,
        /// Which kind.
        kind: PlaceKind,
    },
    /// Ground: a planting began (at the note's effective time).
    Planting {
        /// Identifier.
        planting: String,
        /// Key in the crop book.
        crop: String,
        /// Where it stands.
        place: String,
        /// The variety, where the grower says it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        variety: Option<String>,
        /// How many plants.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        count: Option<u32>,
        /// Sown or planted out.
        began: Began,
        /// Volume of mix that each plant has to itself, L, where it stands in a container.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        container_l: Option<f64>,
    },
    /// Ground: a planting ended.
    End {
        /// Which.
        planting: String,
    },
    /// Ground: a grower's own figure for a planting, in the place of the crop book's, for all of its life.
    OwnFigure {
        /// Which planting.
        planting: String,
        /// The figure's dotted name in the book, `heat_rule.day_severe.threshold`.
        figure: String,
        /// The number, or the lower end of a span, in the book's unit.
        from: f64,
        /// The upper end of a span.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        to: Option<f64>,
    },
    /// Ground: a probe hangs at a place from now on (it leaves the place where it hung before).
    Hang {
        /// Which probe.
        probe: String,
        /// Where.
        place: String,
        /// Height above ground, m.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        height_m: Option<f64>,
        /// How it is sheltered: `open`, `shaded`, `screened` or `fanned`; older entries say it in the grower's words.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        shelter: Option<String>,
        /// The usual interval between two readings, s. Stated, never learned.
        usual_interval_s: u32,
    },
    /// Ground: under this voltage a probe's battery is low; it depends on the cells.
    BatteryLine {
        /// Which probe.
        probe: String,
        /// The voltage, V.
        low_v: f64,
    },
    /// Ground: what a soil moisture probe says in soil that has drained after soaking, and where plants began to
    /// wilt. Cheap probes differ from one to the next and from soil to soil, so only the share between is shown.
    Marks {
        /// Which probe.
        probe: String,
        /// What it says where plants begin to wilt, % by volume.
        dry_pct: f64,
        /// What it says a day or two after soaking, % by volume.
        wet_pct: f64,
    },
    /// Ground or diary: an earlier note no longer counts.
    Undo {
        /// The entry that is undone.
        entry: i64,
    },
    /// Diary: vents or doors opened or closed.
    Vents {
        /// Where.
        place: String,
        /// Open or closed.
        open: bool,
    },
    /// Diary: shade put on or taken off.
    Shade {
        /// Where.
        place: String,
        /// On or off.
        on: bool,
    },
    /// Diary: watered.
    Watered {
        /// A place or a planting.
        subject: String,
        /// Litres in all.
        litres: f64,
    },
    /// Diary: a compost heap was turned.
    Turned {
        /// Which heap.
        place: String,
    },
    /// Diary: first flower seen.
    FirstFlower {
        /// Which planting.
        planting: String,
    },
    /// Diary: first ripe fruit seen.
    FirstRipe {
        /// Which planting.
        planting: String,
    },
    /// Diary: damage seen on a planting: dropped flowers, scorched leaves, frosted tips.
    Damage {
        /// Which planting.
        planting: String,
        /// What was seen, in the grower's words.
        text: String,
    },
    /// Diary: a thermometer read by hand. At least one figure is given.
    Thermometer {
        /// Where it hangs.
        place: String,
        /// What it shows now, °C.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        now_c: Option<f64>,
        /// Lowest since the last reset, °C.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        low_c: Option<f64>,
        /// Highest since the last reset, °C.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        high_c: Option<f64>,
    },
    /// Outlook: "I heard a heat warning". Days are calendar days `YYYY-MM-DD` of the site.
    HeatWarning {
        /// First day.
        from: String,
        /// Last day.
        to: String,
        /// About how hot it will be outside, °C.
        about_c: f64,
        /// Who said so.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        said_by: Option<String>,
    },
    /// Told: an authority's message about heat or frost, in its own words.
    PublicWarning(PublicWarning),
    /// Told: a forecast was taken in.
    Outlook(Forecast),
    /// Diary: anything else, in the grower's words.
    Remark {
        /// The words, up to 500 characters.
        text: String,
    },
    /// The grower's answer to a notice.
    Reply {
        /// Which notice.
        notice: String,
        /// `true` = "on it"; `false` = "later".
        on_it: bool,
        /// Until when "later" puts it off, UTC ms; half an hour where it is not said.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        until_ms: Option<i64>,
    },
    /// The grower has seen a notice: pressed it on a phone, or touched the page it stands on.
    Seen {
        /// Which notice.
        notice: String,
    },
    /// The grower wants a drill: a marked notice through every courier.
    Drill {},
    /// Told: what would have buzzed a phone on a day on which enough had.
    Digest {
        /// Which day, `YYYY-MM-DD` in civil time.
        date: String,
        /// A line for each step, in order.
        lines: Vec<String>,
    },
    /// A phone receives notices by web push from now on. Its address and secrets are kept to ourselves.
    Phone {
        /// Identifier.
        phone: String,
        /// What its owner calls it.
        name: String,
        /// Where its push service takes messages for it.
        endpoint: String,
        /// Its public key, base64url (RFC 8291, 2).
        p256dh: String,
        /// Its secret, base64url.
        auth: String,
    },
    /// A phone no longer receives: stopped by somebody, or dropped by its push service.
    PhoneGone {
        /// Which.
        phone: String,
        /// Why, in words.
        why: String,
    },
    /// Told: one step in the life of a notice.
    Step(Step),
    /// Told: a row of the ledger is damaged and skipped; the rest is served.
    Fence(Fenced),
    /// Told: a damaged row was brought back from a backup.
    Mended {
        /// The entry that told of the damage.
        fence: i64,
        /// Readings that came back with it.
        readings: u64,
        /// What had been damaged.
        fenced: Fenced,
    },
    /// Told: a backup was put in the ledger's place, or the ledger came to another board.
    Restored {
        /// Up to when it reaches, UTC ms.
        to_ms: i64,
        /// Messages that waited in it and are not sent.
        unsent: u64,
        /// Whether only the board is another.
        other_board: bool,
    },
    /// Told: old readings were thrown away because somebody asked.
    Forgotten {
        /// Everything measured before this, UTC ms.
        before_ms: i64,
        /// How many.
        readings: u64,
    },
    /// Told: the morning letter of a day, `YYYY-MM-DD` in civil time.
    Letter {
        /// Which day.
        date: String,
    },
    /// The clock: somebody's word was taken on what time it is, or a boot got its dates.
    Clock {
        /// Whose word: "the time service", "a phone".
        by: String,
        /// Which boot it is about.
        boot: i64,
        /// Wall less monotonic time of that boot, ms.
        offset_ms: i64,
        /// From when on its readings have dates by this, UTC ms; none where they had dates already, or there are none.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        dated_back_ms: Option<i64>,
        /// Of somebody's word on what time it is: the newest commit that it was later than, UTC ms. What was stored
        /// between that and this entry keeps its dates, and holds the clock no more.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        after_ms: Option<i64>,
    },
    /// Told: something befell the board or a source, and is no reading.
    Board(BoardNews),
    /// Told: a step went out from memory while nothing could be stored. It may have come twice.
    SentUnrecorded {
        /// Of which notice.
        notice: String,
        /// The step's number within the notice.
        step: u32,
        /// The couriers whose far end took it.
        couriers: Vec<String>,
    },
    /// Told: all days are being reckoned anew by another edition, or that edition came into service.
    Edition {
        /// Its name: `BOOK+RULES+POSITION`, and `+LIMITS` where probes have limits of their own.
        edition: String,
        /// What differs from the edition before; empty for the first.
        because: Vec<Cause>,
        /// What the sums of each planting were and came to; none while it is being reckoned.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        anew: Option<BTreeMap<String, Anew>>,
    },
}

/// A note with its place in the ledger.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// Number in the ledger, from 1, in commit order.
    pub id: i64,
    /// When it was noted, UTC ms.
    pub at_ms: i64,
    /// From when it holds, UTC ms; earlier than `at_ms` when back-dated.
    pub from_ms: i64,
    /// What it says.
    pub note: Note,
}
