//! Too hot, and on course to be too hot today.
//!
//! Lines: the lowest moderate and severe line of the plantings that stand here, and under cover the place's
//! own line, whatever grows there. What may push (buzz a phone): the place line held, or on course for it by two
//! readings; a severe crop line only on a day that is out of the ordinary for this place. All else goes to page and
//! letter, because ordinary summer days pass the crops' lines too.
//!
//! While a heat warning is in force, an authority's or one that somebody heard, a moderate crop line may push as a
//! severe one does: one step earlier (practice). The day must be out of the ordinary for this place all the same; a warning for a
//! whole county says nothing of a tunnel that has been as hot for weeks.
//!
//! While a heat notice of the place stands, a course to the next line is said inside it.

use agronomy::crop::Severity;
use agronomy::heat_stress::PlaceLine;
use agronomy::series::MS_PER_HOUR;

use super::book::Book;
use super::dome::foretold::more_days_are_foretold;
use super::ladder::{HEAT_RELEASE, Ladder, Rung};
use super::place_now::{PlaceNow, Standing};
use super::word::{Verdict, Word};
use super::words::{caution, limit, order, pace, planting, plural, stage_condition};
use crate::almanac::shape::{passes_at, peak, reaches};
use crate::calendar::Calendar;

const MINUTE: i64 = 60_000;
/// How long a crop's line must be passed before it is told (practice).
pub const DWELL_MS: i64 = 10 * MINUTE;
/// How far ahead a passing is worth telling, ms: by the place's own last days, and where a fresh forecast joins them.
const AHEAD_MS: i64 = 3 * MS_PER_HOUR;
const AHEAD_FORETOLD_MS: i64 = 6 * MS_PER_HOUR;

/// The names of the two minders.
pub const TOO_HOT: &str = "too-hot";
/// On course to be too hot today.
pub const ON_COURSE: &str = "on-course";

/// The running state for one place.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Heat {
    /// Where the air stands on the ladder of lines.
    pub ladder: Ladder,
    course_since: Option<i64>,
    /// The reading by which the place's own line was seen coming, while it stays in sight, UTC ms.
    sighted_ms: Option<i64>,
    /// The course that was told last is that to the place's own line.
    to_place: bool,
    gone_since: Option<i64>,
    /// Whether a course is told now, alone or inside the heat notice; not known after a restart.
    told: Option<bool>,
    /// When a course was closed last, UTC ms, and whether it was that to the place's own line.
    closed: Option<(i64, bool)>,
    /// It is too hot inside for anybody to go in.
    stay_out: bool,
}

/// A passing that is expected.
struct Course {
    title: String,
    push: bool,
    why: String,
}

fn rungs(now: &PlaceNow<'_>) -> [Option<Rung>; 4] {
    let moderate = now.first_pressed().map(|(_, line)| Rung { line, dwell_ms: DWELL_MS });
    let severe = now.tenderest().map(|it| Rung { line: it.lines.severe_c, dwell_ms: DWELL_MS });
    let extreme = now.place_line_c.map(|line| Rung { line, dwell_ms: now.place_line_ms });
    [None, moderate, severe, extreme]
}

impl Heat {
    /// Takes over what was told before a restart: how bad, and when a course was closed last (UTC ms) and whether it had
    /// buzzed, which only that to the place line does.
    pub fn take_over(&mut self, told: Option<Severity>, course_closed: Option<(i64, bool)>) {
        self.ladder.set(told);
        self.closed = course_closed;
        self.told = None;
    }

    /// Judges a place at a moment. `warned`: a heat warning is in force. `too_hot_for_people`: it feels too hot to work
    /// inside. `effect`: what the heat does to a planting by now, asked only where a word stands.
    pub fn judge(
        &mut self,
        now: &PlaceNow<'_>,
        calendar: &Calendar,
        book: &Book,
        (warned, too_hot_for_people): (bool, bool),
        effect: &dyn Fn(&Standing<'_>) -> String,
    ) -> Vec<Verdict> {
        let rungs = rungs(now);
        self.ladder.judge(now.now_ms, now.air.map(|(_, t)| t), &rungs, HEAT_RELEASE);
        let past = now.air.zip(now.place_line_c).is_some_and(|((_, t_c), line)| t_c >= line);
        self.stay_out = too_hot_for_people || past || self.ladder.current() == Some(Severity::Extreme);
        let too_hot = self.too_hot(now, calendar, warned, effect);
        std::iter::once(too_hot).chain(self.on_course(now, calendar, book)).collect()
    }

    /// When time alone may change the verdict, UTC ms.
    pub fn wake(&self, now: &PlaceNow<'_>) -> Option<i64> {
        let course = self.course_since.map(|since| since + DWELL_MS);
        let gone = self.gone_since.map(|since| since + HEAT_RELEASE.ms);
        let asked = self.ladder.wake(&rungs(now), HEAT_RELEASE).into_iter().chain(course).chain(gone);
        // A course that has long dwelt must not hide that a line's dwell is still to come.
        asked.filter(|at| *at > now.now_ms).min()
    }

    fn too_hot(
        &self,
        now: &PlaceNow<'_>,
        calendar: &Calendar,
        warned: bool,
        effect: &dyn Fn(&Standing<'_>) -> String,
    ) -> Verdict {
        let Some(severity) = self.ladder.current() else {
            let (title, text) = all_clear(now, calendar);
            return Verdict::clear(TOO_HOT, now.place, title, text);
        };
        let high = now.high.map_or(f64::NEG_INFINITY, |(high, _)| high);
        let extraordinary = || now.out_of_the_ordinary(high) || more_days_are_foretold(now);
        let earlier = severity == Severity::Moderate && warned && extraordinary();
        let push = match severity {
            Severity::Extreme => true,
            Severity::Severe => extraordinary(),
            _ => earlier,
        };
        let (planting, mut text) = self.reason(now, severity, calendar, effect);
        if earlier {
            text.push_str(" A heat warning is in force, so this buzzes sooner than on other days.");
        }
        let word = Word {
            planting,
            severity,
            push,
            joins_heat: false,
            title: order(now, self.stay_out),
            text,
            caution: caution(now.kind),
        };
        Verdict::word(TOO_HOT, now.place, word)
    }

    fn reason(
        &self,
        now: &PlaceNow<'_>,
        severity: Severity,
        calendar: &Calendar,
        effect: &dyn Fn(&Standing<'_>) -> String,
    ) -> (Option<String>, String) {
        let (t_c, at_ms) = now.air.or(now.last_air).map_or((f64::NAN, now.now_ms), |(at, t)| (t, at));
        let since = self
            .ladder
            .above_since(severity)
            .map_or_else(String::new, |since| format!(", past since {}", calendar.clock(since)));
        let air =
            now.vpd_kpa.map_or_else(String::new, |vpd| format!(" Vapour-pressure deficit {vpd:.1} kPa."));
        let head =
            format!("{}: {t_c:.1} °C at {}{}", now.name, calendar.clock(at_ms), pace(now.pace_c_per_h));
        let (whose, line) = match severity {
            Severity::Extreme => (None, now.place_line_c.unwrap_or(f64::NAN)),
            Severity::Severe => (now.tenderest(), now.tenderest().map_or(f64::NAN, |it| it.lines.severe_c)),
            _ => now.first_pressed().map_or((None, f64::NAN), |(it, line)| (Some(it), line)),
        };
        let limit_words = match whose {
            Some(standing) => {
                let maybe = stage_condition(standing, line);
                let effect = effect(standing);
                format!(
                    "{} {} {} ({}{maybe}){since}.{effect}",
                    planting(standing),
                    // What a crop bears is its severe line, here as in every table.
                    if severity >= Severity::Severe { "bear" } else { "feel heat from" },
                    limit(line),
                    severity.as_str()
                )
            }
            None => format!("no place under cover should pass {}{since}.", limit(line)),
        };
        let text = format!("{head}; {limit_words}{air}");
        let about = whose.or_else(|| now.tenderest()).map(|it| it.planting.id.clone());
        (about, text)
    }

    fn on_course(&mut self, now: &PlaceNow<'_>, calendar: &Calendar, book: &Book) -> Option<Verdict> {
        let told = self.is_told(now, book);
        // Nothing is held: neither that it goes on rising nor that it does not.
        let Some((at_ms, t_c)) = now.air else { return told.then(|| Verdict::unknown(ON_COURSE, now.place)) };
        self.sight(now, at_ms, t_c);
        let course = match self.sighted_ms {
            Some(_) => self.place_course(now, calendar, (at_ms, t_c)),
            None => self.crop_course(now, calendar, t_c, book),
        };
        let again = !told && self.sighted_ms.is_some() && self.just_closed(now);
        let course = course.filter(|_| !again);
        self.course_since = course.as_ref().map(|_| self.course_since.unwrap_or(now.now_ms));
        if let Some(course) = course {
            self.gone_since = None;
            self.to_place = self.sighted_ms.is_some();
            let dwelt = self.course_since.is_some_and(|since| now.now_ms - since >= DWELL_MS);
            let speaks = dwelt || self.to_place || told;
            self.told = Some(speaks);
            let planting = now.tenderest().map(|it| it.planting.id.clone());
            let word = Word {
                planting,
                severity: Severity::Severe,
                push: course.push,
                joins_heat: true,
                title: format!("{} {}", order(now, self.stay_out), course.title),
                text: course.why,
                caution: caution(now.kind),
            };
            return speaks.then(|| Verdict::word(ON_COURSE, now.place, word));
        }
        told.then(|| self.end_course(now, calendar, (at_ms, t_c)))
    }

    /// Whether a course is told, alone or inside the heat notice. After a restart the book knows; of its courses only that
    /// to the place's own line has buzzed.
    fn is_told(&mut self, now: &PlaceNow<'_>, book: &Book) -> bool {
        if let Some(told) = self.told {
            return told;
        }
        let alone = book.get(now.place, ON_COURSE);
        let heat = book.get(now.place, TOO_HOT).filter(|heat| heat.inside.contains_key(ON_COURSE));
        self.to_place |= alone.is_some_and(|it| it.wanted);
        self.to_place |= heat.is_some_and(|heat| heat.joined.contains(ON_COURSE));
        let told = alone.is_some() || heat.is_some();
        self.told = Some(told);
        told
    }

    /// "House: 36.4 °C at 12:50, rising 2.1 an hour; …", without the figures where the heat notice has them already.
    fn why(&self, now: &PlaceNow<'_>, figures: &str, then: &str) -> String {
        if self.ladder.current() >= Some(Severity::Moderate) {
            return format!("{}: {then}", now.name);
        }
        format!("{}: {figures}{}; {then}", now.name, pace(now.pace_c_per_h))
    }

    /// Whether the course to the place line was called off, or came true, within the hour: air that plays about the line is
    /// one word, and what passes it has its own.
    fn just_closed(&self, now: &PlaceNow<'_>) -> bool {
        self.closed.is_some_and(|(at_ms, of_place)| of_place && now.now_ms - at_ms < MS_PER_HOUR)
    }

    /// Sees the place's own line coming: close to it, and there soon at this pace. Once seen it stays in sight for as
    /// long as the air stays close, so that one reading that dips does not take it back.
    fn sight(&mut self, now: &PlaceNow<'_>, at_ms: i64, t_c: f64) {
        let close = now.place_line_c.filter(|line| t_c >= line - PlaceLine::NEAR_C);
        let Some(line) = close.filter(|_| self.ladder.current() < Some(Severity::Extreme)) else {
            self.sighted_ms = None;
            return;
        };
        let soon_h = PlaceLine::SOON_MS as f64 / MS_PER_HOUR as f64;
        let soon = now.slope_c_per_h.is_some_and(|slope| slope > 0.0 && t_c + slope * soon_h >= line);
        if t_c < line && soon && now.still_rising {
            self.sighted_ms.get_or_insert(at_ms);
        }
    }

    /// The course to the place's own line while that is in sight. It stands on the page at once, and buzzes when a second
    /// reading bears it out: in a tunnel measured every quarter of an hour, half of the days that came within a degree
    /// of the line did so for a single reading and then turned.
    fn place_course(
        &self,
        now: &PlaceNow<'_>,
        calendar: &Calendar,
        (at_ms, t_c): (i64, f64),
    ) -> Option<Course> {
        let (line, sighted_ms) = now.place_line_c.zip(self.sighted_ms)?;
        let passes = now
            .pace_c_per_h
            .filter(|pace| *pace > 0.0 && t_c < line)
            .map(|pace| calendar.clock(now.now_ms + ((line - t_c) / pace * MS_PER_HOUR as f64) as i64));
        let (title, then) = match passes {
            Some(clock) => (
                format!("By {clock} it passes {}.", limit(line)),
                format!("at this pace {} at {clock}", limit(line)),
            ),
            None if t_c < line => {
                (format!("It stays close to {}.", limit(line)), format!("close under {}", limit(line)))
            }
            None => (
                format!("It has reached {}.", limit(line)),
                format!("no place under cover should pass {}", limit(line)),
            ),
        };
        let figures = format!("{t_c:.1} °C at {}", calendar.clock(at_ms));
        let why = self.why(now, &figures, &format!("{then}."));
        Some(Course { title, push: at_ms > sighted_ms, why })
    }

    fn crop_course(&self, now: &PlaceNow<'_>, calendar: &Calendar, t_c: f64, book: &Book) -> Option<Course> {
        now.slope_c_per_h.filter(|slope| *slope > 0.0)?;
        let tenderest = now.tenderest()?;
        let line = tenderest.lines.severe_c;
        // Once a day is enough.
        let inside_ms = book.said_inside_ms(now.place, ON_COURSE).filter(|_| self.told != Some(true));
        let last_ms = self.closed.map(|(at_ms, _)| at_ms).max(inside_ms);
        let had = last_ms.is_some_and(|at_ms| at_ms >= now.day.start);
        if had || !now.daylight || t_c >= line || self.ladder.current() >= Some(Severity::Severe) {
            return None;
        }
        let peak = peak(&now.expected).filter(|peak| peak.middle_c >= line + 0.5)?;
        let at_ms = passes_at(now.now_ms, t_c, &now.expected, line)?;
        let foretold = now.foretold.fresh && !now.foretold.newest.is_empty();
        if at_ms - now.now_ms > if foretold { AHEAD_FORETOLD_MS } else { AHEAD_MS } {
            return None;
        }
        let from =
            if foretold { "the forecast and the place's own last days" } else { "the place's own last days" };
        let then = format!(
            "{} bear {}. Expected peak {:.0} to {:.0} about {}, from {from}{}.",
            plural(&tenderest.crop),
            limit(line),
            peak.low_c,
            peak.high_c,
            calendar.clock(peak.at_ms),
            now.foretold.poor().filter(|_| foretold).map_or_else(String::new, |words| format!("; {words}"))
        );
        let figures = format!("{t_c:.1} °C at {}", calendar.clock(now.now_ms));
        let why = self.why(now, &figures, &then);
        let title = format!("By {} it passes {}.", calendar.clock(at_ms), limit(line));
        // A crop's line is passed on most summer days, and the morning's guess is too wide to buzz for.
        Some(Course { title, push: false, why })
    }

    /// Last words on a course: the line that it was about is passed, or it is not on course any more. Until either is sure,
    /// what stands by now.
    fn end_course(&mut self, now: &PlaceNow<'_>, calendar: &Calendar, (at_ms, t_c): (i64, f64)) -> Verdict {
        let (step, line) = if self.to_place {
            (Severity::Extreme, now.place_line_c)
        } else {
            (Severity::Severe, now.tenderest().map(|it| it.lines.severe_c))
        };
        let passed = self.ladder.current() >= Some(step);
        // At or past the line it is not gone: the heat notice takes over once that line's own dwell is over.
        let past = line.is_some_and(|line| t_c >= line);
        self.gone_since = (!past).then(|| self.gone_since.unwrap_or(now.now_ms));
        let gone = self.gone_since.is_some_and(|since| now.now_ms - since >= HEAT_RELEASE.ms);
        if !(passed || gone) {
            let figures = format!("{t_c:.1} °C at {}", calendar.clock(at_ms));
            return self.meanwhile(now, &figures, line, past);
        }
        self.gone_since = None;
        self.told = Some(false);
        self.closed = Some((now.now_ms, self.to_place));
        if passed {
            let text = format!("{}: {t_c:.1} °C; the heat notice goes on from here.", now.name);
            return Verdict::came(ON_COURSE, now.place, "It has passed the line.", text);
        }
        let text = format!("{}: {t_c:.1} °C{}.", now.name, pace(now.pace_c_per_h));
        let title = match reaches(&now.expected, line) {
            Some(true) => "It rises more slowly now, and may still pass.",
            _ => "Not on course any more.",
        };
        Verdict::clear(ON_COURSE, now.place, title, text)
    }

    /// A told course whose line is reached, and not for long enough yet for the heat notice, or out of sight (which no heat
    /// notice says as well) and not yet for long enough to be called off.
    fn meanwhile(&self, now: &PlaceNow<'_>, figures: &str, line: Option<f64>, past: bool) -> Verdict {
        let expected = reaches(&now.expected, line);
        let line = line.map_or_else(|| "the line".to_owned(), limit);
        let (title, then) = if past {
            let lasts = "if that lasts, the heat notice goes on from here.";
            (format!("It has reached {line}."), format!("it has reached {line}; {lasts}"))
        } else {
            let then = match expected {
                Some(false) => format!("{line} is not expected any more."),
                _ => format!("under {line} for now; it may yet pass, so see to it all the same."),
            };
            (format!("It may yet stay under {line}."), then)
        };
        let word = Word {
            planting: now.tenderest().map(|it| it.planting.id.clone()),
            severity: Severity::Severe,
            push: false,
            joins_heat: past,
            title: format!("{} {title}", order(now, self.stay_out)),
            text: self.why(now, figures, &then),
            caution: caution(now.kind),
        };
        Verdict::meanwhile(ON_COURSE, now.place, word)
    }
}

fn all_clear(now: &PlaceNow<'_>, calendar: &Calendar) -> (String, String) {
    let figure = now
        .air
        .or(now.last_air)
        .map_or_else(String::new, |(at, t)| format!("{}: {t:.1} °C at {}. ", now.name, calendar.clock(at)));
    let high = now.high.map_or_else(String::new, |(high, at)| {
        format!("Highest today {high:.1} at {}. ", calendar.clock(at))
    });
    (
        "The heat has eased.".to_owned(),
        format!("{figure}{high}Leave it open for the night unless cold is near."),
    )
}
