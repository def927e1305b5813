//! Too hot, and on course to be too hot today.
//!
//! Lines: the lowest moderate and severe line of the plantings that stand here, and under cover the place's
//! own line, whatever grows there. What may push (buzz a phone): the place line held, or on course for it; a
//! severe crop line only on a day that is out of the ordinary for this place. All else goes to page and letter,
//! because ordinary summer days pass the crops' lines too.

use agronomy::crop::Severity;
use agronomy::heat_stress::PlaceLine;
use agronomy::series::MS_PER_HOUR;

use super::book::Book;
use super::ladder::{HEAT_RELEASE, Ladder, Rung};
use super::place_now::PlaceNow;
use super::word::{Verdict, Word};
use super::words::{act, caution, limit, pace, planting, plural};
use crate::almanac::shape::{passes_at, peak};
use crate::calendar::Calendar;

const MINUTE: i64 = 60_000;
/// How long a crop's line must be passed before it is told (practice).
const DWELL_MS: i64 = 10 * MINUTE;
/// How far ahead a passing is worth telling, ms.
const AHEAD_MS: i64 = 3 * MS_PER_HOUR;

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
    gone_since: Option<i64>,
    /// When a course was closed last, UTC ms, and whether it was the place line's.
    closed: Option<(i64, bool)>,
}

/// A passing that is expected.
struct Course {
    limit_c: f64,
    at_ms: i64,
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
    /// buzzed, which only that of the place line does.
    pub fn take_over(&mut self, told: Option<Severity>, course_closed: Option<(i64, bool)>) {
        self.ladder.set(told);
        self.closed = course_closed;
    }

    /// Judges a place at a moment.
    pub fn judge(&mut self, now: &PlaceNow<'_>, calendar: &Calendar, book: &Book) -> Vec<Verdict> {
        let rungs = rungs(now);
        self.ladder.judge(now.now_ms, now.air.map(|(_, t)| t), &rungs, HEAT_RELEASE);
        let too_hot = self.too_hot(now, calendar);
        std::iter::once(too_hot).chain(self.on_course(now, calendar, book)).collect()
    }

    /// When time alone may change the verdict, UTC ms.
    pub fn wake(&self, now: &PlaceNow<'_>) -> Option<i64> {
        let course = self.course_since.map(|since| since + DWELL_MS);
        let gone = self.gone_since.map(|since| since + HEAT_RELEASE.ms);
        self.ladder.wake(&rungs(now), HEAT_RELEASE).into_iter().chain(course).chain(gone).min()
    }

    fn too_hot(&self, now: &PlaceNow<'_>, calendar: &Calendar) -> Verdict {
        let Some(severity) = self.ladder.current() else {
            let (title, text) = all_clear(now, calendar);
            return Verdict::clear(TOO_HOT, now.place, title, text);
        };
        let high = now.high.map_or(f64::NEG_INFINITY, |(high, _)| high);
        let push = match severity {
            Severity::Extreme => true,
            Severity::Severe => now.out_of_the_ordinary(high),
            _ => false,
        };
        let (planting, text) = self.reason(now, severity, calendar);
        let word = Word {
            planting,
            severity,
            push,
            joins_heat: false,
            title: act(now),
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
    ) -> (Option<String>, String) {
        let (t_c, at_ms) = now.air.or(now.last_air).map_or((f64::NAN, now.now_ms), |(at, t)| (t, at));
        let since = self
            .ladder
            .above_since(severity)
            .map_or_else(String::new, |since| format!(", past since {}", calendar.clock(since)));
        let air =
            now.vpd_kpa.map_or_else(String::new, |vpd| format!(" Vapour-pressure deficit {vpd:.1} kPa."));
        let head =
            format!("{}: {t_c:.1} °C at {}{}", now.name, calendar.clock(at_ms), pace(now.slope_c_per_h));
        let (whose, line) = match severity {
            Severity::Extreme => (None, now.place_line_c.unwrap_or(f64::NAN)),
            Severity::Severe => (now.tenderest(), now.tenderest().map_or(f64::NAN, |it| it.lines.severe_c)),
            _ => now.first_pressed().map_or((None, f64::NAN), |(it, line)| (Some(it), line)),
        };
        let limit_words = match whose {
            Some(standing) => {
                let maybe =
                    if standing.stages.active.is_empty() { ", if the stage is a tender one" } else { "" };
                let effect = effect(&standing.crop, line);
                format!(
                    "{} bear {} ({}{maybe}){since}.{effect}",
                    planting(standing),
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
        let open = book.get(now.place, ON_COURSE);
        // Only the place line's course buzzes, so what is open says itself which line it is about.
        let of_place = open.is_some_and(|open| open.pushed);
        let open = open.is_some();
        let course =
            self.course(now, calendar).filter(|course| open || !course.push || !self.just_closed(now));
        self.course_since = course.as_ref().map(|_| self.course_since.unwrap_or(now.now_ms));
        // Past the line it is not gone: the heat notice takes over once that line's own dwell is over.
        let severe_c = now.tenderest().map(|it| it.lines.severe_c);
        let (line, stands) = if of_place {
            (now.place_line_c, Severity::Extreme)
        } else {
            (now.place_line_c.into_iter().chain(severe_c).reduce(f64::min), Severity::Severe)
        };
        let past = line.zip(now.air).is_some_and(|(line, (_, t_c))| t_c >= line);
        let gone = open && course.is_none() && !past;
        self.gone_since = gone.then(|| self.gone_since.unwrap_or(now.now_ms));
        if let Some(course) = course {
            let dwelt = self.course_since.is_some_and(|since| now.now_ms - since >= DWELL_MS);
            if !dwelt && !course.push && !open {
                return None;
            }
            let about = now.tenderest().map(|it| it.planting.id.clone());
            let clock = calendar.clock(course.at_ms);
            let title = format!("{} By {clock} it passes {}.", act(now), limit(course.limit_c));
            let severity = Severity::Severe;
            let word = Word {
                planting: about,
                severity,
                push: course.push,
                joins_heat: false,
                title,
                text: course.why,
                caution: caution(now.kind),
            };
            return Some(Verdict::word(ON_COURSE, now.place, word));
        }
        let passed = self.ladder.current() >= Some(stands);
        let gone = self.gone_since.is_some_and(|since| now.now_ms - since >= HEAT_RELEASE.ms);
        if !open || !(passed || gone) {
            return None;
        }
        self.gone_since = None;
        self.closed = Some((now.now_ms, of_place));
        let now_c = now.air.or(now.last_air).map_or(f64::NAN, |(_, t)| t);
        let (title, text) = if passed {
            (
                "It has passed the line.",
                format!("{}: {now_c:.1} °C; the heat notice goes on from here.", now.name),
            )
        } else {
            ("Not on course any more.", format!("{}: {now_c:.1} °C{}.", now.name, pace(now.slope_c_per_h)))
        };
        Some(Verdict::clear(ON_COURSE, now.place, title, text))
    }

    /// Whether the place line's course was called off, or came true, within the hour: air that plays about the line is one
    /// word, and what passes it has its own.
    fn just_closed(&self, now: &PlaceNow<'_>) -> bool {
        self.closed.is_some_and(|(at_ms, of_place)| of_place && now.now_ms - at_ms < MS_PER_HOUR)
    }

    fn course(&self, now: &PlaceNow<'_>, calendar: &Calendar) -> Option<Course> {
        let (_, t_c) = now.air?;
        let slope = now.slope_c_per_h.filter(|slope| *slope > 0.0)?;
        if let Some(line) = now.place_line_c {
            let soon_h = PlaceLine::SOON_MS as f64 / MS_PER_HOUR as f64;
            let reaches = now.still_rising && t_c + slope * soon_h >= line;
            if t_c >= line - PlaceLine::NEAR_C
                && t_c < line
                && reaches
                && self.ladder.current() < Some(Severity::Extreme)
            {
                let at_ms = now.now_ms + ((line - t_c) / slope * MS_PER_HOUR as f64) as i64;
                let why = format!(
                    "{}: {t_c:.1} °C at {}{}; at this pace {} at {}.",
                    now.name,
                    calendar.clock(now.now_ms),
                    pace(Some(slope)),
                    limit(line),
                    calendar.clock(at_ms)
                );
                return Some(Course { limit_c: line, at_ms, push: true, why });
            }
        }
        let tenderest = now.tenderest()?;
        let line = tenderest.lines.severe_c;
        // Once a day is enough.
        let told = self.closed.is_some_and(|(at_ms, _)| at_ms >= now.day.start);
        if told || !now.daylight || t_c >= line || self.ladder.current() >= Some(Severity::Severe) {
            return None;
        }
        let peak = peak(&now.expected).filter(|peak| peak.middle_c >= line + 0.5)?;
        let at_ms = passes_at(now.now_ms, t_c, &now.expected, line)?;
        if at_ms - now.now_ms > AHEAD_MS {
            return None;
        }
        let why = format!(
            "{}: {t_c:.1} °C at {}{}; {} bear {}. Expected peak {:.0} to {:.0} about {}, from the place's own last days.",
            now.name,
            calendar.clock(now.now_ms),
            pace(Some(slope)),
            plural(&tenderest.crop),
            limit(line),
            peak.low_c,
            peak.high_c,
            calendar.clock(peak.at_ms)
        );
        // A crop's line is passed on most summer days, and the morning's guess is too wide to buzz for.
        Some(Course { limit_c: line, at_ms, push: false, why })
    }
}

/// What the rule with this line does, as a sentence.
fn effect(crop: &agronomy::crop::Crop, line: f64) -> String {
    crop.heat_rules
        .iter()
        .find(|rule| rule.threshold == line)
        .map_or_else(String::new, |rule| format!(" Expect: {}.", rule.effect))
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
