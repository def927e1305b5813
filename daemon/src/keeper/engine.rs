//! The engine: the keeper's pure part. Readings, notes and moments in; steps of notices out.
//!
//! `advance(a, c)` is the same as `advance(a, b)` and `advance(b, c)`: between readings, the engine moves only
//! at midnights and at the moments the minders asked to be woken, whoever calls and how often.

mod marked;
mod taken_over;

use std::collections::{BTreeMap, BTreeSet};

use agronomy::quantity::Quantity;
use agronomy::series::MS_PER_DAY;

use super::counts::Counts;
use super::editions::Editions;
use super::judge::soil::SoilMinders;
use super::moment::Courses;
use super::news::News;
use super::outlook::Expecting;
use super::tracks::Tracks;
use crate::almanac::days_seen::{DaysSeen, see};
use crate::almanac::humid_nights::{HumidNights, humid_nights};
use crate::almanac::pages::{Made, Pages, held, make};
use crate::almanac::shape::Shapes;
use crate::calendar::Day;
use crate::entry::{Entry, Note, PublicWarning, Reply, Step};
use crate::ground::{Ground, Planting};
use crate::minders::air::Air;
use crate::minders::book::Book;
use crate::minders::chill::Chill;
use crate::minders::frost::Frost;
use crate::minders::heat::Heat;
use crate::minders::people::People;
use crate::minders::warm_spell::WarmSpell;
use crate::reading::Reading;
use crate::site::{Light, Site};
use crate::warnings::standing::{Admission, admission};

/// The running state of the minders of one place.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct PlaceMinders {
    pub(super) heat: Heat,
    pub(super) air: Air,
    pub(super) frost: Frost,
    pub(super) chill: Chill,
    pub(super) people: People,
    pub(super) warm_spell: WarmSpell,
    pub(super) soil: SoilMinders,
}

/// Everything the keeper knows of the garden.
pub struct Engine {
    pub(super) site: Site,
    pub(super) ground: Ground,
    pub(super) entries: Vec<Entry>,
    pub(super) told: Vec<Step>,
    pub(super) tracks: Tracks,
    pub(super) pages: Pages,
    pub(super) editions: Editions,
    pub(super) shapes: BTreeMap<String, Shapes>,
    pub(super) expecting: Expecting,
    /// What the last closed days came to.
    pub(super) seen: DaysSeen,
    /// How humid the last nights were.
    pub(super) humid: HumidNights,
    pub(super) counts: Counts,
    /// The stages of each planting.
    pub(super) courses: Courses,
    pub(super) minders: BTreeMap<String, PlaceMinders>,
    pub(super) book: Book,
    /// Probes whose sound readings of air are not to be believed, as the minders found when they looked last.
    pub(super) in_doubt: BTreeSet<String>,
    /// Of the day the minders looked at last.
    pub(super) light: Option<Light>,
    /// Of the board and its sources.
    pub(super) news: News,
    /// The half hour in which the minders that look at hours and days looked last.
    pub(super) looked_around: Option<i64>,
    /// Whether somebody vouches for the hour of the day.
    pub(super) knows_hours: bool,
    dirty: BTreeSet<(String, Day)>,
    closed: BTreeSet<(String, Day)>,
    now_ms: i64,
    wake_ms: i64,
}

impl Engine {
    /// An engine that knows the site and nothing else, at a moment (UTC ms).
    pub fn new(site: Site, now_ms: i64) -> Self {
        Self {
            editions: Editions::of(&[], site.edition()),
            site,
            ground: Ground::default(),
            entries: Vec::new(),
            told: Vec::new(),
            tracks: Tracks::default(),
            pages: Pages::default(),
            shapes: BTreeMap::new(),
            expecting: Expecting::default(),
            seen: DaysSeen::default(),
            humid: HumidNights::default(),
            counts: Counts::default(),
            courses: Courses::default(),
            minders: BTreeMap::new(),
            book: Book::default(),
            in_doubt: BTreeSet::new(),
            light: None,
            news: News::default(),
            looked_around: None,
            knows_hours: true,
            dirty: BTreeSet::new(),
            closed: BTreeSet::new(),
            now_ms,
            wake_ms: i64::MAX,
        }
    }

    /// Keeps an entry that says nothing of the garden.
    pub(super) fn keep(&mut self, entry: Entry) {
        self.entries.push(entry);
        self.ground = Ground::of(&self.entries);
        self.courses.doubt();
    }

    /// Every entry.
    pub(super) fn entries(&self) -> &[Entry] {
        &self.entries
    }

    /// The ids of the notices that are open.
    pub(super) fn open_notices(&self) -> impl Iterator<Item = &str> {
        self.book.open().map(|(_, _, open)| open.id.as_str())
    }

    /// Every step told, in order.
    pub(super) fn told(&self) -> &[Step] {
        &self.told
    }

    /// The site.
    pub fn site(&self) -> &Site {
        &self.site
    }

    /// What stands where.
    pub fn ground(&self) -> &Ground {
        &self.ground
    }

    /// The last days' readings.
    pub fn tracks(&self) -> &Tracks {
        &self.tracks
    }

    /// What is known of the board and its sources.
    pub fn news(&self) -> &News {
        &self.news
    }

    /// Counts of readings by grade and reason.
    pub fn counts(&self) -> &Counts {
        &self.counts
    }

    /// Pages made so far.
    pub fn pages(&self) -> &Pages {
        &self.pages
    }

    /// The moment it stands at, UTC ms.
    pub fn now_ms(&self) -> i64 {
        self.now_ms
    }

    /// The first day of a planting that is not over, or on which it no longer stood.
    pub(super) fn open_day(&self, planting: &Planting) -> Day {
        let day_of = |at_ms| self.site.calendar.day_of(at_ms);
        let today = day_of(self.now_ms);
        planting.ended_ms.map_or(today, |ended_ms| today.min(day_of(ended_ms - 1) + 1))
    }

    /// When time alone may next change something, UTC ms.
    pub fn wake_ms(&self) -> i64 {
        self.wake_ms.min(self.next_midnight())
    }

    fn next_midnight(&self) -> i64 {
        let calendar = &self.site.calendar;
        calendar.start_of(calendar.day_of(self.now_ms) + 1)
    }

    /// Lets time pass up to and with a moment; steps that fall due on the way come back in order.
    pub fn advance(&mut self, to_ms: i64) -> Vec<Step> {
        let mut steps = Vec::new();
        loop {
            let midnight = self.next_midnight();
            let next = self.wake_ms.max(self.now_ms).min(midnight);
            if next > to_ms {
                break;
            }
            self.now_ms = next;
            if next == midnight {
                self.close_day(self.site.calendar.day_of(next) - 1);
            }
            steps.extend(self.judge());
        }
        self.now_ms = self.now_ms.max(to_ms);
        steps
    }

    /// Moves to a moment without judging what lies between: after a stop or a suspended board. What was not
    /// watched is not told as if it had been; the days that passed are marked to be made from the ledger.
    pub fn skip_to(&mut self, to_ms: i64) {
        let calendar = self.site.calendar.clone();
        let (from, to) = (calendar.day_of(self.now_ms), calendar.day_of(to_ms));
        for day in from.max(to - 400)..to {
            for place in self.place_ids() {
                self.dirty.insert((place, day));
            }
        }
        self.now_ms = self.now_ms.max(to_ms);
        self.wake_ms = self.now_ms;
        self.courses.doubt();
    }

    /// Takes in graded readings at the present moment and judges.
    pub fn apply(&mut self, readings: &[Reading]) -> Vec<Step> {
        for reading in readings {
            self.take(reading);
        }
        self.judge()
    }

    /// Takes in a graded reading without judging: while the clock is not trusted, or when an undated reading has
    /// got its date. It is counted and remembered, and its day is marked.
    pub fn take(&mut self, reading: &Reading) {
        self.counts.take(reading);
        self.tracks.take(reading, self.now_ms);
        let today = self.site.calendar.day_of(self.now_ms);
        if self.site.calendar.day_of(reading.at_ms) < today {
            self.touch(&reading.probe, reading.at_ms);
        }
    }

    /// Takes in what the ledger tells of itself: no minder minds it.
    pub fn learn(&mut self, entry: Entry) {
        let ground = self.ground.clone();
        self.touch_by(&entry, &ground);
        self.entries.push(entry);
    }

    /// Day of the last letter that an earlier run wrote; one of a time that was taken back does not count.
    pub fn last_letter(&self) -> Option<String> {
        self.entries.iter().rev().find_map(|entry| match &entry.note {
            Note::Letter { date } if entry.at_ms <= self.now_ms => Some(date.clone()),
            _ => None,
        })
    }

    /// Number of the newest entry.
    pub fn newest_entry(&self) -> i64 {
        self.entries.last().map_or(0, |entry| entry.id)
    }

    /// Takes in an entry, which may be back-dated: the days it touches are marked to be made afresh.
    pub fn note(&mut self, entry: Entry) -> Vec<Step> {
        if let Note::Outlook(forecast) = entry.note {
            self.expecting.take(entry.at_ms, forecast);
            return self.judge();
        }
        self.expecting.doubt();
        let before = std::mem::take(&mut self.ground);
        self.touch_by(&entry, &before);
        if let Some(reply) = Reply::of(&entry) {
            self.book.answer(reply);
        }
        self.entries.push(entry);
        let after = Ground::of(&self.entries);
        if let Some(entry) = self.entries.last().cloned() {
            self.touch_by(&entry, &after);
        }
        self.ground = after;
        self.courses.doubt();
        let ground = &self.ground;
        self.pages.plantings.retain(|(planting, _), _| ground.planting(planting).is_some());
        self.judge()
    }

    fn place_ids(&self) -> Vec<String> {
        self.ground.places.iter().map(|place| place.id.clone()).collect()
    }

    /// Whether a notice was ever told.
    ///
    /// # Errors
    ///
    /// A sentence for whoever answered it.
    pub fn knows_notice(&self, notice: &str) -> Result<(), String> {
        let known = self.told.iter().any(|step| step.notice == notice);
        known.then_some(()).ok_or_else(|| format!("there is no notice {notice:?} that could be answered"))
    }

    /// Whether an authority's message is to be kept.
    pub fn admission(&self, warning: &PublicWarning) -> Admission {
        admission(&self.entries, warning, self.now_ms)
    }

    /// Which edition is served, and which is being reckoned.
    pub fn editions(&self) -> &Editions {
        &self.editions
    }

    /// Puts in a page that was made afresh, unless pages of another edition are served.
    pub fn put(&mut self, place: &str, day: Day, made: Option<Made>) {
        if !self.editions.renewing() {
            self.pages.put(&self.ground, place, day, made);
            self.expecting.doubt();
            self.courses.doubt();
        }
    }

    /// Takes the edition that was being reckoned into service, with all its pages. The entry that says so.
    pub(super) fn take_into_service(&mut self, pages: Pages) -> Note {
        let day_of = |at_ms| self.site.calendar.day_of(at_ms);
        let plantings = self.ground.plantings.iter();
        let plantings: Vec<_> = plantings.map(|it| (it.id.clone(), day_of(it.from_ms))).collect();
        let note = self.editions.take_into_service(self.now_ms, &plantings, &self.pages, &pages);
        self.pages = pages;
        self.expecting.doubt();
        self.courses.doubt();
        note
    }

    /// Closes a day: its pages are made from memory, and its shape is kept.
    fn close_day(&mut self, day: Day) {
        self.courses.doubt();
        for place in &self.ground.places {
            if let Some(seen) = see(&self.site, &self.ground, &self.tracks, place, day, 1) {
                self.seen.keep(&place.id, seen);
            }
        }
        for (probe, night) in humid_nights(&self.site.calendar, &self.ground, &self.tracks, day) {
            self.humid.keep(&probe, night);
        }
        for place in self.place_ids() {
            let made = make(&self.site, &self.ground, &self.tracks, &place, day);
            if made.is_some() {
                let start = self.site.calendar.start_of(day);
                let wide = start - MS_PER_DAY..start + MS_PER_DAY;
                let air = held(&self.ground, &self.tracks, &place, Quantity::AirTemperature, &wide);
                self.recall_shape(&place, &air, day);
                if self.editions.renewing() {
                    // The pages that are served are another edition's: this day joins those to be made.
                    self.dirty.insert((place, day));
                    continue;
                }
                self.closed.insert((place.clone(), day));
            }
            if !self.editions.renewing() {
                self.pages.put(&self.ground, &place, day, made);
            }
        }
    }

    pub(super) fn set_wake(&mut self, wake_ms: i64) {
        self.wake_ms = wake_ms;
    }
}
