//! What the engine takes over: at a start from the ledger, and what was told elsewhere or under another time. Nothing is
//! told anew.

use agronomy::quantity::Quantity;
use agronomy::series::{Held, MS_PER_DAY};

use super::Engine;
use crate::almanac::days_seen::DaySeen;
use crate::almanac::humid_nights::HumidNight;
use crate::almanac::pages::Pages;
use crate::calendar::Day;
use crate::entry::{Entry, Note, Reply, Step, Turn};
use crate::ground::Ground;
use crate::keeper::counts::Counts;
use crate::keeper::editions::Editions;
use crate::keeper::judge::LOOK_AROUND_MS;
use crate::minders::air::AIR;
use crate::minders::book::Book;
use crate::minders::chill::CHILL;
use crate::minders::frost::FROST;
use crate::minders::heat::{ON_COURSE, TOO_HOT};
use crate::minders::people::PEOPLE;
use crate::reading::Reading;

/// How far a start looks back, ms: a little longer than the longest dwell, that of warm roots and damp air.
const LOOK_BACK_MS: i64 = 150 * 60_000;
/// How often the minders look while it does, ms.
const LOOK_EVERY_MS: usize = 60_000;

impl Engine {
    /// Takes over what the ledger holds at a start: entries, pages of the edition in service, counts. Nothing is told
    /// anew.
    pub fn restore(&mut self, entries: Vec<Entry>, pages: Pages, counts: Counts) {
        self.editions = Editions::of(&entries, self.site.edition());
        self.ground = Ground::of(&entries);
        self.pages = pages;
        self.counts = counts;
        self.courses.doubt();
        self.told = told_in(&entries);
        self.take_over_news(&entries);
        self.entries = self.set_apart(entries);
        self.take_over_told();
    }

    /// Lets the minders of places live through the last hours once more, and tells nothing of it: a line that was passed
    /// shortly before a restart stays passed since then. So no restart, and no series of them, puts a warning off.
    pub(in crate::keeper) fn look_back(&mut self) {
        let now_ms = self.now_ms;
        let book = std::mem::take(&mut self.book);
        let mut minders = std::mem::take(&mut self.minders);
        for at_ms in (now_ms - LOOK_BACK_MS..now_ms).step_by(LOOK_EVERY_MS) {
            self.now_ms = at_ms;
            self.light_up(self.site.calendar.day_of(at_ms));
            let whole = at_ms.rem_euclid(LOOK_AROUND_MS) < LOOK_EVERY_MS as i64;
            self.judge_places(&self.places_now(), whole, &book, &mut minders, &mut Vec::new());
        }
        (self.now_ms, self.book, self.minders) = (now_ms, book, minders);
        // What seemed to end in hours that were lived through before stands as it was told: its end is still to be told.
        self.take_over_told();
    }

    /// Hands forecasts to what minds them: they are many and large, and nothing else asks for them.
    fn set_apart(&mut self, entries: Vec<Entry>) -> Vec<Entry> {
        let mut others = Vec::with_capacity(entries.len());
        for entry in entries {
            match entry.note {
                // One of a time that was taken back lies ahead; its hour may come.
                Note::Outlook(forecast) => self.expecting.take(entry.at_ms, forecast),
                _ => others.push(entry),
            }
        }
        self.expecting.doubt();
        others
    }

    /// Takes over what was told, as the ledger has it: at a start, and when what was told got its date.
    pub(in crate::keeper) fn retell(&mut self, entries: &[Entry]) {
        self.told = told_in(entries);
        self.take_over_told();
    }

    /// Brings the minders to where what was told left them.
    fn take_over_told(&mut self) {
        self.book = Book::of(self.told.iter(), self.entries.iter().filter_map(Reply::of));
        self.recall_doubts();
        for place in &self.ground.places {
            let heat = self.book.get(&place.id, TOO_HOT);
            // Told alone, or inside the heat notice that stands.
            let told = |minder: &str| {
                let alone = self.book.get(&place.id, minder).map(|open| open.severity);
                alone.or_else(|| heat?.inside.get(minder).copied())
            };
            let course =
                self.told.iter().rev().find(|step| {
                    step.place == place.id && step.minder == ON_COURSE && step.turn == Turn::Closed
                });
            let minders = self.minders.entry(place.id.clone()).or_default();
            let buzzed = |id: &str| self.told.iter().any(|step| step.push && step.notice == id);
            let course = course.map(|step| (step.at_ms, buzzed(&step.notice)));
            minders.heat.take_over(told(TOO_HOT), course);
            minders.air.take_over(told(AIR));
            minders.frost.take_over(told(FROST));
            minders.chill.take_over(told(CHILL));
            minders.people.take_over(told(PEOPLE));
            minders.soil.take_over(told);
        }
    }

    /// Takes over steps that were told elsewhere: by the watch, while nobody knew the time.
    pub(in crate::keeper) fn take_told(&mut self, steps: Vec<Step>) {
        if !steps.is_empty() {
            self.told.extend(steps);
            self.take_over_told();
        }
    }

    /// Takes in what the ledger holds of a series since a moment, without judging or counting: at a start.
    pub fn recall(&mut self, probe: &str, quantity: Quantity, from_ms: i64, readings: &[Reading]) {
        self.tracks.remember_from(probe, quantity, from_ms);
        for reading in readings {
            self.tracks.take(reading, self.now_ms);
        }
    }

    /// Keeps the shapes of past days, oldest first, at a start.
    pub fn recall_shape(&mut self, place: &str, air: &[Held], day: Day) {
        let start = self.site.calendar.start_of(day);
        self.shapes.entry(place.to_owned()).or_default().keep(air, &(start..start + MS_PER_DAY));
        self.recall_hours(place, air, day);
    }

    /// Keeps the hours of past days, oldest first, at a start: what forecasts are held against.
    pub fn recall_hours(&mut self, place: &str, air: &[Held], day: Day) {
        self.expecting.keep_hours(place, air, day, self.site.calendar.start_of(day));
    }

    /// Whether any forecast is remembered, so that past days are worth reading for it.
    pub fn has_outlooks(&self) -> bool {
        !self.expecting.outlooks.is_empty()
    }

    /// Keeps what past days came to, oldest first, at a start.
    pub fn recall_seen(&mut self, place: &str, seen: DaySeen) {
        self.seen.keep(place, seen);
    }

    /// How humid a night was by a probe, read from the ledger.
    pub fn recall_humid(&mut self, probe: &str, night: HumidNight) {
        self.humid.keep(probe, night);
    }
}

/// The steps among entries, in their order.
fn told_in(entries: &[Entry]) -> Vec<Step> {
    let step = |entry: &Entry| match &entry.note {
        Note::Step(step) => Some(step.clone()),
        _ => None,
    };
    entries.iter().filter_map(step).collect()
}
