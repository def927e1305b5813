//! What a place's night brings, and what its heat asks of people: gathered for the minders of cold and of people.
//!
//! How far earlier nights fell is looked up in a day of readings, so it is done at each half hour and not at each
//! reading; the cold of the moment is looked at whenever it is near.

use std::ops::Range;

use agronomy::crop::Severity;
use agronomy::heat_stress::cold::{chilling, hardened};
use agronomy::heat_stress::course::course;
use agronomy::people;
use agronomy::quantity::Quantity;
use agronomy::series::{Held, MS_PER_DAY, MS_PER_HOUR, held_ms};
use agronomy::units::{Celsius, RelativeHumidity};
use agronomy::vapour;

use crate::almanac::pages;
use crate::keeper::engine::{Engine, PlaceMinders};
use crate::minders::book::Book;
use crate::minders::chill::CHILL;
use crate::minders::frost::FROST;
use crate::minders::frost_ahead::{self, FROST_AHEAD};
use crate::minders::heat::TOO_HOT;
use crate::minders::night_now::NightNow;
use crate::minders::people::{PEOPLE, Told};
use crate::minders::place_now::PlaceNow;
use crate::minders::word::{Says, Verdict};

/// Air at or below this may be near some crop's line, °C: the tenderest of the book is harmed at 3.
const NEAR_C: f64 = 8.0;
/// Days whose means tell whether plants are hardened.
const HARDENING_DAYS: i64 = 10;
/// Earlier nights that readings in memory reach back to.
const NIGHTS: i64 = 2;
/// Share of a night that must have been heard.
const HEARD: f64 = 0.75;

/// What phones were told of a place's heat so far, and are told at this moment.
fn told_of_heat(place: &str, book: &Book, verdicts: &[Verdict]) -> Told {
    let buzzed = |minder| book.get(place, minder).is_some_and(|open| open.pushed);
    let heat = verdicts.iter().find(|it| it.minder == TOO_HOT && it.place == place);
    // Whoever put the heat notice off may not hear it ring.
    let put_off = book.get(place, TOO_HOT).is_some_and(|open| open.answer.is_some());
    let heat_buzzed = match heat.map(|it| &it.says) {
        Some(Says::Word(word)) => (word.push && !put_off) || buzzed(TOO_HOT),
        Some(Says::Clear { .. } | Says::Came { .. }) => false,
        Some(Says::Meanwhile(_) | Says::Unknown) | None => buzzed(TOO_HOT),
    };
    let leads = match heat.map(|it| &it.says) {
        Some(Says::Word(word)) => word.severity >= Severity::Moderate,
        Some(Says::Clear { .. } | Says::Came { .. }) => false,
        Some(Says::Meanwhile(_) | Says::Unknown) | None => {
            book.get(place, TOO_HOT).is_some_and(|open| open.severity >= Severity::Moderate)
        }
    };
    Told { heat_buzzed, buzzed: buzzed(PEOPLE), heard: leads || book.get(place, PEOPLE).is_some() }
}

/// Heat index of air (°C) and its humidity (%), °C; none where one of them cannot be.
pub(super) fn feels_like(t_c: f64, rh_pct: f64) -> Option<f64> {
    let (air, humidity) = (Celsius::try_new(t_c).ok()?, RelativeHumidity::from_probe(rh_pct).ok()?);
    Some(people::heat_index(air, humidity).celsius)
}

impl Engine {
    /// Lets the minders of cold and of people look at a place; when they want to look again, UTC ms. `whole`: it is
    /// time to look at earlier nights too.
    pub(super) fn judge_night(
        &self,
        now: &PlaceNow<'_>,
        mind: &mut PlaceMinders,
        whole: bool,
        book: &Book,
        verdicts: &mut Vec<Verdict>,
    ) -> Option<i64> {
        let calendar = &self.site.calendar;
        // To close what is not open is not worth a word.
        let matters = |verdict: &Verdict| {
            !matches!(verdict.says, Says::Clear { .. }) || book.get(now.place, verdict.minder).is_some()
        };
        let mut wake = None;
        let mut wants = |at: Option<i64>| wake = [wake, at].into_iter().flatten().min();
        if now.kind.under_cover() {
            let felt = self.felt(now);
            if felt.is_some() || book.get(now.place, PEOPLE).is_some() {
                let told = told_of_heat(now.place, book, verdicts);
                verdicts.extend(mind.people.judge(now, felt, told, calendar).filter(matters));
                wants(mind.people.wake());
            }
        }
        let near = now.air.is_some_and(|(_, t_c)| t_c <= NEAR_C) || mind.frost.severity().is_some();
        if whole || near || book.get(now.place, FROST).is_some() {
            let night = self.night_now(now, whole);
            verdicts.extend(Some(mind.frost.judge(&night, calendar)).filter(matters));
            wants(mind.frost.wake(&night));
            if whole || book.get(now.place, CHILL).is_some_and(|_| mind.frost.severity().is_some()) {
                let chill = mind.chill.judge(&night, mind.frost.severity(), calendar);
                verdicts.extend(Some(chill).filter(matters));
            }
            if whole {
                verdicts.extend(self.judge_frost_ahead(&night, mind.frost.severity().is_some(), book));
            }
        }
        wake
    }

    /// Lets the minder of frost in the nights ahead look at a place. `frost`: whether frost is told of.
    fn judge_frost_ahead(&self, night: &NightNow<'_>, frost: bool, book: &Book) -> Option<Verdict> {
        let calendar = &self.site.calendar;
        let place = night.place.place;
        // By day what is told is of the night that is over.
        let tonight = frost && night.is_guessed();
        let told = frost_ahead::Told {
            open: book.get(place, FROST_AHEAD).is_some(),
            tonight,
            fresh: self.forecast().is_some(),
        };
        let coming = calendar.day_of(night.night.end);
        // Once it is dark the minder of frost sees the night itself; not where the probe is silent.
        let seen = night.is_dark() && night.place.air.is_some();
        let first = coming + i64::from(tonight || seen);
        let ahead = self.nights_ahead(place, first..coming + frost_ahead::NIGHTS);
        frost_ahead::judge(night, &ahead, told, calendar)
    }

    /// Heat index (°C) and the humidity (%) it rests on.
    pub(super) fn felt(&self, now: &PlaceNow<'_>) -> Option<(f64, f64)> {
        let ((_, t_c), (_, rh_pct)) = now.air.zip(self.humidity(now.place, now.now_ms))?;
        Some((feels_like(t_c, rh_pct)?, rh_pct))
    }

    fn night_now<'a>(&'a self, now: &'a PlaceNow<'a>, whole: bool) -> NightNow<'a> {
        let light = self.light_of(self.site.calendar.day_of(now.now_ms));
        let last = light.night_before.clone();
        let night = if now.now_ms < last.end { last.clone() } else { light.next_night() };
        let mut found = NightNow {
            place: now,
            dew_point_c: self.dew_point(now),
            falls_c: Vec::new(),
            told: None,
            moved: self.knows_way(now.place),
            hardened: self.hardened(now),
            chilled_h: Vec::new(),
            night,
        };
        if whole {
            let nights = (1..=NIGHTS).map(|ago| ago * MS_PER_DAY);
            found.falls_c = nights
                .filter_map(|ago_ms| self.fall(now.place, now.now_ms - ago_ms..found.night.end - ago_ms))
                .collect();
            let told = now.air.and_then(|air| self.coldest_told(now.place, &found.night, air));
            // What was never held against this place goes behind its own nights.
            found.told = told.filter(|_| found.falls_c.is_empty() || found.moved);
            let dark = if found.is_guessed() { found.night.clone() } else { last };
            found.chilled_h = self.chilled_h(now, dark.start..dark.end.min(now.now_ms));
        }
        found
    }

    fn dew_point(&self, now: &PlaceNow<'_>) -> Option<f64> {
        let ((_, t_c), (_, rh_pct)) = now.air.zip(self.humidity(now.place, now.now_ms))?;
        let (air, humidity) = (Celsius::try_new(t_c).ok()?, RelativeHumidity::try_new(rh_pct).ok()?);
        vapour::dew_point(air, humidity).map(Celsius::get)
    }

    fn hardened(&self, now: &PlaceNow<'_>) -> Option<bool> {
        let today = self.site.calendar.day_of(now.now_ms);
        hardened(&self.pages.daily_means(now.place, today - HARDENING_DAYS..today))
    }

    fn air_held(&self, place: &str, window: &Range<i64>) -> Vec<Held> {
        pages::held(&self.ground, &self.tracks, place, Quantity::AirTemperature, window)
    }

    /// How far the air fell from the beginning of a stretch to its lowest, °C; none where too little was heard.
    fn fall(&self, place: &str, stretch: Range<i64>) -> Option<f64> {
        let held = self.air_held(place, &stretch);
        let heard = held_ms(held.iter().copied()) as f64 / (stretch.end - stretch.start) as f64;
        let first = held.first().filter(|first| first.start_ms - stretch.start < MS_PER_HOUR)?;
        let low = held.iter().map(|held| held.value).fold(first.value, f64::min);
        (heard >= HEARD).then_some(first.value - low)
    }

    fn chilled_h(&self, now: &PlaceNow<'_>, dark: Range<i64>) -> Vec<Option<f64>> {
        let held = self.air_held(now.place, &dark);
        let below = |crop| chilling(crop, course(held.iter().copied())).map(|exposure| exposure.hours());
        now.standing.iter().map(|standing| below(&standing.crop)).collect()
    }
}
