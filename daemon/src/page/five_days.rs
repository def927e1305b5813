//! Five days as one drawing: the cloth of Now at another scale.
//!
//! Time runs down by the hour, heat reaches out from the left, and the strings hang where they hang on every cloth. What
//! was measured today is woven; what a forecast expects is loose threads, an hour apart, whose ends stray as far as the
//! range; what rests on no forecast is a band and says so. Each day's name and highest stand on its own hump.

use std::fmt::Write as _;

use maud::{Markup, html};

use super::ahead::heard::{Warned, on_day, warned};
use super::cloth::tenth_or_whole;
use super::figures::{Civil, HOUR_MS, range};
use super::threads::{self, LEFT_C, RIGHT_C, percent};
use crate::almanac::shape::quantile;
use crate::calendar::{Day, day};
use crate::glance::{Glance, PlaceGlance, PlaceOutlook};
use crate::outlook::ahead::Origin;

/// Height of an hour, px.
const HOUR_PX: f64 = 5.2;
/// Hours drawn: five days from 04:00 of today, or from now where that is earlier, to their last midnight.
const FROM_H: i64 = 4;
/// Height of a line of tags, and of the strip of degrees, px.
const TAG_PX: f64 = 17.0;
const DEGREES_PX: f64 = 18.0;
/// Thickness of a thread before and past the first string, hours.
const THIN_H: f64 = 0.5;
const THICK_H: f64 = 0.86;
/// Days drawn.
const DAYS: i64 = 5;

/// Low, middle, high at an hour from the top of the drawing.
type Point = (f64, f64, f64, f64);

/// What is drawn of a place.
struct Drawn<'g> {
    outlook: &'g PlaceOutlook,
    place: Option<&'g PlaceGlance>,
    civil: Civil,
    offset_ms: i64,
    start_ms: i64,
    end_ms: i64,
    now_ms: i64,
    today: Day,
    /// Heat that somebody warns of.
    warned: Vec<Warned>,
}

/// The five days of a place. `id` keeps the names inside the drawing apart from those of others on the page.
pub(crate) fn five_days(outlook: &PlaceOutlook, glance: &Glance, id: &str) -> Markup {
    let drawn = Drawn::new(outlook, glance);
    let lines = drawn.place.map_or(&[][..], |place| &place.lines);
    let top = DEGREES_PX + TAG_PX * lines.len() as f64;
    let hours = drawn.hour(drawn.end_ms);
    let down = |hour: f64| top + hour * HOUR_PX;
    html! {
        svg.cloth width="100%" height=(format!("{:.0}", down(hours) + 4.0)) role="img" aria-labelledby={ (id) "-title " (id) "-words" } {
            title id={ (id) "-title" } { (outlook.name) ", the next days hour by hour" }
            desc id={ (id) "-words" } { (drawn.description()) }
            @for t in [10.0, 20.0, 30.0] { text.degree x=(pct(t)) y="13" { (t) "°" } }
            svg x="0" y=(format!("{top:.1}")) width="100%" height=(format!("{:.1}", hours * HOUR_PX))
                viewBox={ (LEFT_C) " 0 " (RIGHT_C - LEFT_C) " " (format!("{hours:.2}")) } preserveAspectRatio="none" {
                (drawn.weave(id, hours))
            }
            @for (row, line) in lines.iter().enumerate() {
                @let y = DEGREES_PX + TAG_PX * row as f64 + 11.0;
                line.tag x1=(pct(line.limit_c)) x2=(pct(line.limit_c)) y1=(y - 8.0) y2=(y + 3.0) {}
                text.tag-words x=(pct(line.limit_c)) dx="-6" y=(y) {
                    (line.whose) " " tspan.strong { (tenth_or_whole(line.limit_c)) "°" }
                }
            }
            @for (hour, name, words) in drawn.humps() {
                text.word.cased y=(format!("{:.1}", down(hour))) dy="-2" { tspan.strong { (name) } }
                text.word.cased y=(format!("{:.1}", down(hour))) dy="15" { (words) }
            }
            @for clock in drawn.noons() { text.hour x="100%" dx="-6" y=(format!("{:.1}", down(clock))) dy="4" { "12" } }
        }
    }
}

fn pct(t_c: f64) -> String {
    format!("{:.2}%", percent(t_c))
}

impl<'g> Drawn<'g> {
    fn new(outlook: &'g PlaceOutlook, glance: &'g Glance) -> Self {
        let offset_ms = i64::from(glance.standard_offset_s) * 1000;
        let today = (glance.at_ms + offset_ms).div_euclid(24 * HOUR_MS);
        let midnight = today * 24 * HOUR_MS - offset_ms;
        Self {
            outlook,
            place: glance.places.iter().find(|place| place.place == outlook.place),
            civil: Civil(glance.civil_offset_s),
            offset_ms,
            start_ms: (midnight + FROM_H * HOUR_MS).min(glance.at_ms),
            end_ms: midnight + DAYS * 24 * HOUR_MS,
            now_ms: glance.at_ms,
            today,
            warned: warned(glance),
        }
    }

    fn hour(&self, at_ms: i64) -> f64 {
        (at_ms - self.start_ms) as f64 / HOUR_MS as f64
    }

    fn midnight(&self, day: Day) -> i64 {
        day * 24 * HOUR_MS - self.offset_ms
    }

    fn day_of(&self, at_ms: i64) -> Day {
        (at_ms + self.offset_ms).div_euclid(24 * HOUR_MS)
    }

    fn origin(&self, at_ms: i64) -> Option<Origin> {
        let day = self.day_of(at_ms);
        self.outlook.days.iter().find(|it| it.day == day).map(|it| it.origin)
    }

    /// The highest of a day's band, °C: at least what was heard for outside, of whose heat the band knows nothing.
    fn up_to(&self, day: Day, high_c: f64) -> f64 {
        let heard = on_day(&self.warned, day).and_then(Warned::about_c);
        heard.map_or(high_c, |about_c| high_c.max(about_c))
    }

    /// The own estimate, on days of a warning that was heard as far up as that.
    fn estimated(&self) -> Vec<Point> {
        let hours = self.outlook.hours.iter().filter(|hour| self.origin(hour.0) != Some(Origin::Forecast));
        let lift = |&(at, low, middle, high): &(i64, f64, f64, f64)| {
            let day = self.outlook.days.iter().find(|it| it.day == self.day_of(at));
            let high = day.map_or(high, |day| {
                let (lowest, highest) = (day.low.from_c, day.high.to_c);
                let share = ((high - lowest) / (highest - lowest).max(0.1)).clamp(0.0, 1.0);
                high + share * (self.up_to(day.day, highest) - highest)
            });
            (self.hour(at), low, middle, high)
        };
        hours.map(lift).collect()
    }

    /// What is expected by a forecast.
    fn expected(&self) -> Vec<Point> {
        let hours = self.outlook.hours.iter();
        let of = hours.filter(|hour| self.origin(hour.0) == Some(Origin::Forecast));
        of.map(|&(at, low, middle, high)| (self.hour(at), low, middle, high)).collect()
    }

    /// Tenth and ninetieth of the last days' lows and highs: the band where nothing is expected.
    fn usual(&self) -> Option<[f64; 4]> {
        let sorted = |of: fn(&(String, f64, f64)) -> f64| {
            let mut values: Vec<f64> = self.outlook.lately.iter().map(of).collect();
            values.sort_by(f64::total_cmp);
            values
        };
        let (lows, highs) = (sorted(|it| it.1), sorted(|it| it.2));
        let ends = |values: &[f64]| [quantile(values, 0.1), quantile(values, 0.9)];
        let ([a, b], [c, d]) = (ends(&lows), ends(&highs));
        (!lows.is_empty()).then_some([a, b, c, d])
    }

    /// The band of the last days, lowest at five and highest at three in the afternoon of standard time.
    fn usual_band(&self) -> Vec<Point> {
        let Some([low_from, low_to, high_from, high_to]) = self.usual() else { return Vec::new() };
        let first = self.now_ms.div_euclid(HOUR_MS) + 1;
        let hours = (first..=self.end_ms.div_euclid(HOUR_MS)).map(|hour| hour * HOUR_MS);
        let point = |at_ms: i64| {
            let clock = (at_ms + self.offset_ms).rem_euclid(24 * HOUR_MS) as f64 / HOUR_MS as f64;
            let share = 0.5
                - 0.5
                    * libm::cos(
                        std::f64::consts::PI
                            * if (5.0..15.0).contains(&clock) {
                                (clock - 5.0) / 10.0
                            } else {
                                1.0 + (clock - 15.0).rem_euclid(24.0) / 14.0
                            },
                    );
            let high_to = self.up_to(self.day_of(at_ms), high_to);
            let (from, to) = (low_from + (high_from - low_from) * share, low_to + (high_to - low_to) * share);
            (self.hour(at_ms), from, f64::midpoint(from, to), to)
        };
        hours.map(point).collect()
    }

    fn weave(&self, id: &str, hours: f64) -> Markup {
        let lines = self.place.map_or(&[][..], |place| &place.lines);
        let first_c = lines.first().map_or(RIGHT_C, |line| line.limit_c);
        let measured: Vec<(f64, f64)> = self.place.map_or_else(Vec::new, |place| {
            let curve = place.curve.iter().filter(|(at, _)| *at >= self.start_ms);
            curve.map(|&(at, t_c)| (self.hour(at), t_c)).collect()
        });
        let holes = self.place.map_or(&[][..], |place| &place.holes);
        let holes: Vec<_> = holes.iter().map(|&(from, to)| (self.hour(from), self.hour(to))).collect();
        let parts = threads::stretches(&measured, &holes);
        let told = self.expected();
        let band = if self.outlook.days.is_empty() { self.usual_band() } else { self.estimated() };
        let stops = lines.iter().take(3).enumerate().flat_map(|(index, line)| {
            let offset = percent(line.limit_c) / 100.0;
            [(offset, index), (offset, index + 1)]
        });
        let stops: Vec<(f64, usize)> = std::iter::once((0.0, 0)).chain(stops).collect();
        html! {
            defs {
                @for kind in ["w", "l"] {
                    linearGradient id={ (id) "-" (kind) } gradientUnits="userSpaceOnUse" x1=(LEFT_C) x2=(RIGHT_C) y1="0" y2="0" {
                        @for (offset, tone) in &stops { stop class={ (kind) (tone) } offset=(format!("{offset:.4}")) {} }
                    }
                }
            }
            path.night d=(self.nights(hours)) {}
            @for part in &parts { path fill={ "url(#" (id) "-w)" } d=(threads::area(part)) {} }
            @if !band.is_empty() { path.band d=(threads::band(&band)) {} }
            path fill={ "url(#" (id) "-l)" } d=(Self::loose(&told, first_c)) {}
            @for line in lines {
                @let path = format!("M{:.2} 0V{hours:.2}", threads::across(line.limit_c));
                @if line.of_place { path.casing.wide d=(path) {} path.string.wide d=(path) {} path.gap d=(path) {} }
                @else { path.casing d=(path) {} path.string d=(path) {} }
            }
            @for part in &parts { path.edge d=(threads::edge(part.iter().copied())) {} }
            path.middle d=(threads::edge(told.iter().map(|point| (point.0, point.2)))) {}
            path.now-line d={ "M" (LEFT_C) " " (format!("{:.2}", self.hour(self.now_ms))) "H" (RIGHT_C) } {}
        }
    }

    /// Threads an hour apart, their ends at the low, the middle and the high in turn.
    fn loose(told: &[Point], first_c: f64) -> String {
        let mut path = String::new();
        for (index, point) in told.iter().enumerate() {
            let end = threads::across([point.1, point.2, point.3][index % 3]);
            threads::bar(&mut path, LEFT_C, end.min(first_c), point.0, THIN_H);
            threads::bar(&mut path, first_c, end, point.0, THICK_H);
        }
        path
    }

    /// The nights, as long as today's: five days change them by minutes.
    fn nights(&self, hours: f64) -> String {
        let Some((rise, set)) = self.place.and_then(|place| place.sun) else { return String::new() };
        let mut path = String::new();
        for day in 0..=DAYS {
            let shift = day as f64 * 24.0;
            let from = (self.hour(set) + shift - 24.0).clamp(0.0, hours);
            let to = (self.hour(rise) + shift).clamp(0.0, hours);
            if to > from {
                let _ = write!(path, "M{LEFT_C} {from:.2}H{RIGHT_C}V{to:.2}H{LEFT_C}z");
            }
        }
        path
    }

    /// Each day's name on its own hump: hour, name with the highest, and what is said of it.
    fn humps(&self) -> Vec<(f64, String, String)> {
        let of_day = |ahead: i64| {
            let day = self.today + ahead;
            let peak_ms = self.peak_ms(day);
            let name = self.civil.short_day(self.midnight(day) + 12 * HOUR_MS);
            let warned = on_day(&self.warned, day).map(Warned::words);
            let Some(told) = self.outlook.days.iter().find(|it| it.day == day) else {
                let usual = self.usual().filter(|_| self.outlook.days.is_empty());
                let words = usual.map_or(String::new(), |it| match ahead {
                    0 => format!("lately {}", range(it[2], it[3])),
                    1 => "not a forecast".to_owned(),
                    _ => String::new(),
                });
                let name = warned.map_or(name.clone(), |warned| format!("{name}: {warned}"));
                return (self.hour(peak_ms), name, words);
            };
            // Neither own estimate nor usual knows of heat that is warned of.
            if let Some(warned) = warned.as_ref().filter(|_| told.origin != Origin::Forecast) {
                let words =
                    format!("own estimate {}, not a forecast", range(told.high.from_c, told.high.to_c));
                return (self.hour(peak_ms), format!("{name}: {warned}"), words);
            }
            let words = match told.origin {
                Origin::Forecast => {
                    let said = self.past_line(day).into_iter().chain(warned);
                    said.collect::<Vec<_>>().join(", ")
                }
                Origin::OwnEstimate => "own estimate, not a forecast".to_owned(),
                Origin::Climatology => "what is usual, not a forecast".to_owned(),
            };
            (self.hour(peak_ms), format!("{name}: {}", range(told.high.from_c, told.high.to_c)), words)
        };
        let least = self.hour(self.now_ms) + 4.0;
        (0..DAYS).map(of_day).map(|(hour, name, words)| (hour.max(least), name, words)).collect()
    }

    fn of_day(&self, day: Day) -> impl Iterator<Item = &(i64, f64, f64, f64)> {
        let from = self.midnight(day);
        self.outlook.hours.iter().filter(move |hour| (from..from + 24 * HOUR_MS).contains(&hour.0))
    }

    fn peak_ms(&self, day: Day) -> i64 {
        let highest = self.of_day(day).max_by(|a, b| a.2.total_cmp(&b.2));
        highest.map_or(self.midnight(day) + 15 * HOUR_MS, |hour| hour.0)
    }

    /// "7 h past 35", for the first string that the middle passes.
    fn past_line(&self, day: Day) -> Option<String> {
        let line = self.place?.lines.first()?;
        let hours = self.of_day(day).filter(|hour| hour.2 >= line.limit_c).count();
        (hours > 0).then(|| format!("{hours} h past {}", tenth_or_whole(line.limit_c)))
    }

    /// Noons of civil time, where they stand clear of now.
    fn noons(&self) -> Vec<f64> {
        let now = self.hour(self.now_ms);
        let first = self.midnight(self.today);
        let clock = self.civil.hour_of_day(first);
        let noon = (12.0 - clock).rem_euclid(24.0);
        let hours = (0..DAYS).map(|day| self.hour(first) + noon + day as f64 * 24.0);
        hours.filter(|hour| *hour > 3.0 && (hour - now).abs() > 3.0).collect()
    }

    fn description(&self) -> String {
        let humps = self.humps();
        let mut words: Vec<String> = Vec::new();
        for (_, name, said) in humps {
            words.push(if said.is_empty() { format!("{name}.") } else { format!("{name}, {said}.") });
        }
        words.join(" ")
    }
}

/// The last forecasts beside what came: a rung as far as the range, a knot where it came.
pub(crate) fn foretold(outlook: &PlaceOutlook) -> Markup {
    let ends = outlook.past.iter().flat_map(|day| [day.told.from_c, day.told.to_c, day.came_c]);
    let (low, high) =
        ends.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), it| (low.min(it), high.max(it)));
    let across = |t_c: f64| format!("{:.2}%", 38.0 + 44.0 * (t_c - low) / (high - low).max(1.0));
    let row = |index: usize| format!("{}", 17 + 24 * index);
    html! {
        svg.cloth width="100%" height=(24 * outlook.past.len() + 6) role="img" aria-label="The highest as foretold the evening before, and as it came" {
            @for (index, told) in outlook.past.iter().enumerate() {
                text x="0" y=(row(index)) dx="0" { tspan.strong { (super::figures::day_words(&told.date)) } }
                line.rung-edge x1=(across(told.told.from_c)) x2=(across(told.told.to_c)) y1=(row(index)) y2=(row(index)) transform="translate(0 -5)" {}
                line.rung x1=(across(told.told.from_c)) x2=(across(told.told.to_c)) y1=(row(index)) y2=(row(index)) transform="translate(0 -5)" {}
                circle.knot cx=(across(told.came_c)) cy=(row(index)) r="5" transform="translate(0 -5)" {}
                text.end x="100%" y=(row(index)) { (super::figures::tenth(told.came_c)) }
            }
        }
    }
}

/// Today's day, for those who ask by date.
pub(crate) fn date_words(date: &str, civil: Civil, offset_s: i32) -> String {
    day(date).map_or_else(
        || date.to_owned(),
        |day| civil.short_day(day * 24 * HOUR_MS - i64::from(offset_s) * 1000 + 12 * HOUR_MS),
    )
}
