//! What a minder has to say at a moment.
//!
//! A minder does not know what was told before, nor who was told: it says what stands now, or that nothing stands any
//! more, or that it does not know. The teller makes of it the life of a notice.

use agronomy::crop::Severity;

use crate::figure_words::capital;

/// What a minder wants told.
#[derive(Clone, Debug, PartialEq)]
pub struct Word {
    /// Which planting.
    pub planting: Option<String>,
    /// How bad.
    pub severity: Severity,
    /// Whether it may buzz a phone.
    pub push: bool,
    /// While a heat notice of the same place stands, this is said inside it instead of by a notice of its own.
    pub joins_heat: bool,
    /// The order.
    pub title: String,
    /// The reason.
    pub text: String,
    /// The caution that stands beside it; empty where none is needed.
    pub caution: &'static str,
}

impl Word {
    /// Order and reason as they stand beside a notice with an order of its own: without the place's name, with which
    /// both may begin, and without what that other order says already.
    pub fn beside(&self, order: &str) -> (String, String) {
        let (name, reason) = self.text.split_once(": ").unwrap_or(("", &self.text));
        let own = self.title.strip_prefix(name).and_then(|rest| rest.strip_prefix(": "));
        let own = own.unwrap_or(&self.title);
        let more = own.strip_prefix(order).map_or(own, str::trim_start);
        (capital(more), capital(reason))
    }
}

/// A heat notice's words of now, and what is said inside it.
#[derive(Clone, Debug, PartialEq)]
pub struct Spoken {
    /// Its own words.
    pub own: Word,
    /// By which minder, and its words; what buzzes stands first, then what is worse.
    pub inside: Vec<(&'static str, Word)>,
}

impl Spoken {
    /// All of it in one word. An order that goes on from the heat's own takes its place.
    pub fn whole(&self) -> Word {
        let mut word = self.own.clone();
        for (_, other) in &self.inside {
            let (order, reason) = other.beside(&self.own.title);
            if other.title.starts_with(&self.own.title) {
                word.title.clone_from(&other.title);
            } else {
                word.text.push_str(&format!(" {order}"));
            }
            word.text.push_str(&format!(" {reason}"));
        }
        word
    }
}

/// What stands.
#[derive(Clone, Debug, PartialEq)]
pub enum Says {
    /// This stands.
    Word(Word),
    /// Nothing stands any more: last words, for whoever was told.
    Clear {
        /// The order.
        title: String,
        /// The reason.
        text: String,
    },
    /// What was foretold has come: last words. The notice of the thing itself opens with it and has the buzz.
    Came {
        /// The order.
        title: String,
        /// The reason.
        text: String,
    },
    /// What was told stands and nothing new is to be told; the page reads this by now.
    Meanwhile(Word),
    /// Not known: what was told stays as it was. Silence is not calm.
    Unknown,
}

/// What one minder says of one place (or probe, or the site) at a moment.
#[derive(Clone, Debug, PartialEq)]
pub struct Verdict {
    /// Which minder.
    pub minder: &'static str,
    /// Which place; a probe's name where it is about a probe, empty where it is about the site.
    pub place: String,
    /// What it says.
    pub says: Says,
    /// The plantings that its word speaks of, and how bad it is for each, from a minder whose word takes in one
    /// planting after the other; what in the probe is not to be believed, from that of doubtful probes.
    pub each: Vec<(String, Severity)>,
}

impl Verdict {
    /// This stands.
    pub fn word(minder: &'static str, place: &str, word: Word) -> Self {
        Self::of(minder, place, Says::Word(word))
    }

    /// Nothing stands any more.
    pub fn clear(
        minder: &'static str,
        place: &str,
        title: impl Into<String>,
        text: impl Into<String>,
    ) -> Self {
        Self::of(minder, place, Says::Clear { title: title.into(), text: text.into() })
    }

    /// What was foretold has come.
    pub fn came(
        minder: &'static str,
        place: &str,
        title: impl Into<String>,
        text: impl Into<String>,
    ) -> Self {
        Self::of(minder, place, Says::Came { title: title.into(), text: text.into() })
    }

    /// What was told stands, and by now it reads like this.
    pub fn meanwhile(minder: &'static str, place: &str, word: Word) -> Self {
        Self::of(minder, place, Says::Meanwhile(word))
    }

    /// Not known.
    pub fn unknown(minder: &'static str, place: &str) -> Self {
        Self::of(minder, place, Says::Unknown)
    }

    fn of(minder: &'static str, place: &str, says: Says) -> Self {
        Self { minder, place: place.to_owned(), says, each: Vec::new() }
    }

    /// Its word speaks of these plantings, or faults of a probe, so bad for each.
    #[must_use]
    pub fn speaking_of(self, each: impl Iterator<Item = (String, Severity)>) -> Self {
        Self { each: each.collect(), ..self }
    }
}
