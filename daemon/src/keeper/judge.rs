//! Judging: every minder looks, tells what changed, and says when it wants to look again.

mod board;
mod dome;
mod felt;
mod heat_rules;
mod probes;
pub(super) mod soil;

use std::collections::{BTreeMap, BTreeSet};

use super::engine::{Engine, PlaceMinders};
use crate::calendar::{Day, date};
use crate::entry::Step;
use crate::minders::board::CLOCK;
use crate::minders::book::{Book, Telling, counts};
use crate::minders::doubtful::{DOUBTFUL, doubts_air, doubts_air_now};
use crate::minders::drill::{self, DRILL};
use crate::minders::heat::TOO_HOT;
use crate::minders::heat_rules::effect;
use crate::minders::place_now::{PlaceNow, Standing};
use crate::minders::silent::SILENT;
use crate::minders::word::Verdict;
use crate::minders::{night, teller};

/// How often the minders look that look at hours and days of readings, ms.
pub(super) const LOOK_AROUND_MS: i64 = 30 * 60_000;
/// Most steps of a day that are not severe and buzz a phone; what is more goes into the evening's digest (own choice: a
/// phone that buzzes more often than that is put away).
const MOST_PUSHES: usize = 6;

/// Minders that need no hour of the day. What others would say inside a heat notice waits as well.
const NEEDS_NO_HOUR: [&str; 3] = [TOO_HOT, SILENT, CLOCK];

impl Engine {
    /// Lets every minder look at the present moment.
    pub(super) fn judge(&mut self) -> Vec<Step> {
        self.learn_outlook();
        let mut verdicts = Vec::new();
        let calendar = self.site.calendar.clone();
        let today = calendar.day_of(self.now_ms());
        self.light_up(today);
        let whole = self.is_time_to_look_around();
        let mut book = std::mem::take(&mut self.book);
        let mut minders = std::mem::take(&mut self.minders);
        let places = self.places_now();
        let mut wake = self.judge_places(&places, whole, &book, &mut minders, &mut verdicts);
        let probes = self.judge_probes(&places, whole, &book, &mut verdicts);
        wake = wake.min(probes.unwrap_or(i64::MAX));
        self.judge_board(whole, &book, &mut verdicts);
        self.judge_dome(&places, whole, &book, &mut verdicts);
        let opened_ms = book.get("", DRILL).map(|open| open.opened_ms);
        verdicts.extend(drill::judge(&self.ground.entries, &calendar, self.now_ms(), opened_ms));
        if !self.knows_hours {
            verdicts.retain(|it| NEEDS_NO_HOUR.contains(&it.minder));
        }
        let mut in_doubt = self.in_doubt.clone();
        mark_doubts(&mut in_doubt, &verdicts);
        self.qualify(&places, &in_doubt, &mut verdicts);
        let now = Telling { at_ms: self.now_ms(), date: &date(today), left: self.pushes_left(today) };
        let mut steps = teller::tell(&mut book, now, verdicts);
        self.own_up(&mut steps);
        let asked = [
            book.wake(self.now_ms()),
            drill::wake(&self.ground.entries, self.now_ms()),
            Some(self.next_look_around_ms()),
            Some(self.next_clock_moment(today)),
        ];
        wake = asked.into_iter().flatten().fold(wake, i64::min);
        self.book = book;
        self.in_doubt = in_doubt;
        self.minders = minders;
        self.told.extend(steps.iter().cloned());
        self.set_wake(wake);
        steps
    }

    /// Remembers of which probes the book says that their air is not to be believed: until the minders have looked.
    pub(super) fn recall_doubts(&mut self) {
        let open = self.book.open().filter(|(_, minder, open)| *minder == DOUBTFUL && doubts_air(open));
        self.in_doubt = open.map(|(probe, ..)| probe.to_owned()).collect();
    }

    /// Works out when it is light on a day, once.
    pub(super) fn light_up(&mut self, day: Day) {
        if self.light.as_ref().is_none_or(|light| light.day != day) {
            self.light = Some(self.site.light(day));
        }
    }

    /// Every place as it is now.
    pub(super) fn places_now(&self) -> Vec<PlaceNow<'_>> {
        self.ground.places.iter().map(|place| self.place_now(place)).collect()
    }

    /// Lets the minders of places look; when they want to look again, UTC ms.
    pub(super) fn judge_places(
        &self,
        places: &[PlaceNow<'_>],
        whole: bool,
        book: &Book,
        minders: &mut BTreeMap<String, PlaceMinders>,
        verdicts: &mut Vec<Verdict>,
    ) -> i64 {
        let calendar = &self.site.calendar;
        let warned = self.is_warned_of_heat();
        let mut wake = i64::MAX;
        for (place, now) in self.ground.places.iter().zip(places) {
            let mind = minders.entry(now.place.to_owned()).or_default();
            let speaking = |standing: &Standing<'_>| effect(standing, &self.rules_speaking(now, standing));
            let keeps_out = mind.people.keeps_out(now, self.felt(now));
            verdicts.extend(mind.heat.judge(now, calendar, book, (warned, keeps_out), &speaking));
            verdicts.push(mind.air.judge(now, mind.heat.ladder.current(), calendar));
            verdicts.extend(night::judge(now, book));
            verdicts.extend(self.judge_warm_spell(now, &mut mind.warm_spell, whole, book));
            let cold = self.judge_night(now, mind, whole, book, verdicts);
            verdicts.extend(self.judge_soil(place, now, &mut mind.soil, book));
            // When the value of the moment stops being held, what was known is not known any more.
            let asked = [mind.heat.wake(now), mind.air.wake(now), mind.soil.wake(), cold, now.air_until_ms];
            wake = asked.into_iter().flatten().filter(|at| *at > now.now_ms).fold(wake, i64::min);
        }
        wake
    }

    /// How many more steps that are not severe may buzz a phone on a day.
    fn pushes_left(&self, today: Day) -> usize {
        let start = self.site.calendar.start_of(today);
        let told = self.told.iter().rev().take_while(|step| step.at_ms >= start);
        MOST_PUSHES.saturating_sub(told.filter(|step| counts(step)).count())
    }

    /// Whether it is time for the minders that look at hours and days of readings: once in each half hour.
    fn is_time_to_look_around(&mut self) -> bool {
        let slot = Some(self.now_ms().div_euclid(LOOK_AROUND_MS));
        std::mem::replace(&mut self.looked_around, slot) != slot
    }

    fn next_look_around_ms(&self) -> i64 {
        (self.now_ms().div_euclid(LOOK_AROUND_MS) + 1) * LOOK_AROUND_MS
    }

    /// The next moment at which the clock alone matters: 05:00 (a day of heat), 08:00 and 21:00 of civil time (the nights), and
    /// the last evening of a heat wave.
    fn next_clock_moment(&self, today: Day) -> i64 {
        let calendar = &self.site.calendar;
        let moment = |day: Day, civil_hour: i64| {
            let start = calendar.start_of(day);
            let civil_ms = i64::from(calendar.civil_offset_s(start + 12 * 3_600_000)) * 1000;
            start + civil_hour * 3_600_000 + calendar.offset_ms() - civil_ms
        };
        [moment(today, 5), moment(today, 8), moment(today, 21), moment(today + 1, 5)]
            .into_iter()
            .filter(|at| *at > self.now_ms())
            .fold(i64::MAX, i64::min)
    }
}

/// Remembers, or forgets, of which probes it is said now that their air is not to be believed.
fn mark_doubts(in_doubt: &mut BTreeSet<String>, verdicts: &[Verdict]) {
    for verdict in verdicts.iter().filter(|it| it.minder == DOUBTFUL) {
        match doubts_air_now(verdict) {
            Some(true) => _ = in_doubt.insert(verdict.place.clone()),
            Some(false) => _ = in_doubt.remove(&verdict.place),
            None => {}
        }
    }
}
