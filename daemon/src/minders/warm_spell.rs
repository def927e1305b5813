//! Warm spell: heat that no single noon shows. Nights that do not cool, days whose mean stays high, hot days in a row.
//!
//! A tomato bears a noon of 31 °C; days of 30 with nights of 23 leave it without set, and no line of the day's highest
//! is ever passed. Such rules of the crop book rest on days and nights that are over, so they are looked at when a night
//! has ended and say nothing in between. What one hot noon can meet is the heat minder's; bolting has its own.
//!
//! A rule that was met stands until as many days or nights in a row have not met it as end a hot spell. One that was not
//! measured counts as neither: missing is never cool.

use agronomy::crop::{HeatRule, Measure, Severity};
use agronomy::heat_stress::{DayAtLine, Recovery, Run};

use super::bolting::is_bolting;
use super::heat_rules::{expect, only_if};
use super::place_now::{PlaceNow, Standing};
use super::word::{Says, Verdict, Word};
use super::words::{caution, limit, planting, plural};
use crate::calendar::{Calendar, Day};
use crate::entry::PlaceKind;
use crate::figure_words::capital;

/// The name of the minder.
pub const WARM_SPELL: &str = "warm-spell";
/// Most plantings told of with what they lose; the others are named.
const TOLD: usize = 2;

/// Whether a rule is judged here.
pub fn is_judged(rule: &HeatRule) -> bool {
    match rule.measure {
        Measure::NightMinC | Measure::DayMaxAndNightMinC => true,
        Measure::DailyMeanC => !is_bolting(rule),
        Measure::DayMaxC | Measure::HoursAboveC => rule.consecutive_days.is_some_and(|days| days > 1),
        Measure::NightMinBelowC | Measure::SoilMaxC | Measure::Soil10cmC | Measure::SoilSurfaceC => false,
    }
}

/// Whether a rule is decided once a night has ended, rather than a day.
pub fn is_of_night(rule: &HeatRule) -> bool {
    matches!(rule.measure, Measure::NightMinC | Measure::DayMaxAndNightMinC)
}

/// How many in a row that do not meet a rule end it.
fn cooler_wanted(rule: &HeatRule) -> u32 {
    if rule.measure == Measure::NightMinC { Recovery::NIGHTS } else { Recovery::DAYS }
}

/// A rule that speaks, and is not over.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Met {
    /// The first day that met it.
    first: Day,
    /// How many did.
    days: u32,
}

/// How a rule stands after days in a row, or after the nights that ended on them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Course {
    run: Run,
    first: Day,
    stands: Option<Met>,
    /// Those in a row since then that have not met it.
    cooler: u32,
    /// Those since the last that is known.
    unknown: u32,
}

impl Course {
    /// What days, oldest first, say to a rule.
    pub fn of(rule: &HeatRule, days: impl Iterator<Item = (Day, DayAtLine)>) -> Self {
        days.fold(Self::default(), |course, (day, said)| course.step(rule, day, said))
    }

    fn step(mut self, rule: &HeatRule, day: Day, said: DayAtLine) -> Self {
        self.run = self.run.step(said);
        match said {
            DayAtLine::Met => {
                if self.run.days() == 1 {
                    self.first = day;
                }
                self.stands = match self.stands {
                    Some(met) => Some(Met { days: met.days + 1, ..met }),
                    None => self
                        .run
                        .speaks(rule, said)
                        .then_some(Met { first: self.first, days: self.run.days() }),
                };
                (self.cooler, self.unknown) = (0, 0);
            }
            DayAtLine::Near | DayAtLine::Missed => {
                self.cooler = if self.unknown > 0 { 1 } else { self.cooler + 1 };
                self.unknown = 0;
                self.stands = self.stands.filter(|_| self.cooler < cooler_wanted(rule));
            }
            DayAtLine::Unknown => self.unknown += 1,
        }
        self
    }

    /// Whether the newest day that is known, today's or the one before, has met it: what is older is no news.
    fn is_new(&self) -> bool {
        self.stands.is_some() && self.cooler == 0 && self.unknown <= 1
    }

    /// Whether it does not stand, by days that are known up to the last.
    fn is_over(&self) -> bool {
        self.stands.is_none() && self.unknown == 0
    }
}

/// A rule of a planting with its days.
#[derive(Clone, Debug)]
pub struct Ruled<'a> {
    /// The planting.
    pub standing: &'a Standing<'a>,
    /// A rule of its crop that runs in its stages.
    pub rule: &'a HeatRule,
    /// How it stands.
    pub course: Course,
}

/// What the last night and the last day came to, °C; none where too little was measured.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Last {
    /// Lowest of the night.
    pub low_c: Option<f64>,
    /// Mean of the day.
    pub mean_c: Option<f64>,
    /// Highest of the day.
    pub high_c: Option<f64>,
}

/// The running state for one place: what was decided, until the next night has ended.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WarmSpell {
    /// The morning it was decided on, and how much had been noted by then.
    decided: Option<(Day, usize)>,
    says: Option<Verdict>,
}

impl WarmSpell {
    /// Whether something has ended, or was noted, since it was decided.
    pub fn is_due(&self, morning: Day, noted: usize) -> bool {
        self.decided != Some((morning, noted))
    }

    /// Decides on a morning.
    pub fn decide(&mut self, morning: Day, noted: usize, says: Option<Verdict>) {
        (self.decided, self.says) = (Some((morning, noted)), says);
    }

    /// What stands. `open`: whether it has a notice of its own. It has not while a heat notice of the place leads; once
    /// it has, it keeps it for its days, whatever the noons do.
    pub fn says(&self, open: bool) -> Option<Verdict> {
        let mut verdict = self.says.clone()?;
        match &mut verdict.says {
            Says::Word(word) => word.joins_heat = !open,
            _ if !open => return None,
            _ => {}
        }
        Some(verdict)
    }
}

/// Judges a place by its days and nights that are over. `open`: whether a notice stands.
pub fn judge(
    now: &PlaceNow<'_>,
    ruled: &[Ruled<'_>],
    last: Last,
    open: bool,
    calendar: &Calendar,
) -> Verdict {
    let stand = || ruled.iter().filter(|it| it.course.stands.is_some());
    if stand().any(|it| open || it.course.is_new()) {
        let worst = worst_of_each(stand());
        let each = worst.iter().map(|it| (it.standing.planting.id.clone(), it.rule.severity));
        let word = word(now, &worst, last, calendar);
        return Verdict::word(WARM_SPELL, now.place, word).speaking_of(each);
    }
    if ruled.is_empty() {
        let text = format!("{}: nothing that such warmth harms stands here now.", now.name);
        return Verdict::clear(WARM_SPELL, now.place, "No warm spell to mind.", text);
    }
    if !ruled.iter().all(|it| it.course.is_over()) {
        return Verdict::unknown(WARM_SPELL, now.place);
    }
    let figures = figures(ruled, last);
    let figures = if figures.is_empty() { String::new() } else { format!("{figures}. ") };
    let text = format!("{}: {figures}Cooler days and nights have ended the spell.", now.name);
    Verdict::clear(WARM_SPELL, now.place, "The warm spell is over.", text)
}

/// Each planting with its worst rule, the worst planting first; of rules as bad as each other the sure one, and of those
/// the one that the book has first.
fn worst_of_each<'r>(stand: impl Iterator<Item = &'r Ruled<'r>>) -> Vec<Ruled<'r>> {
    let weight = |it: &Ruled<'_>| (it.rule.severity, only_if(it.standing, it.rule).is_none());
    let mut worst: Vec<Ruled<'r>> = Vec::new();
    for it in stand {
        match worst.iter_mut().find(|kept| kept.standing.planting.id == it.standing.planting.id) {
            Some(kept) if weight(it) > weight(kept) => *kept = it.clone(),
            Some(_) => {}
            None => worst.push(it.clone()),
        }
    }
    worst.sort_by_key(|it| std::cmp::Reverse(weight(it)));
    worst
}

fn word(now: &PlaceNow<'_>, worst: &[Ruled<'_>], last: Last, calendar: &Calendar) -> Word {
    let first = worst.first();
    let mut text = format!("{}: {}.", now.name, figures(worst, last));
    for it in worst.iter().take(TOLD) {
        text.push_str(&reason(it, calendar));
    }
    let others: Vec<String> = worst.iter().skip(TOLD).map(|it| planting(it.standing)).collect();
    if !others.is_empty() {
        text.push_str(&format!(" Also past theirs: {}.", others.join(", ")));
    }
    text.push_str(what_helps(now, worst));
    Word {
        planting: first.map(|it| it.standing.planting.id.clone()),
        severity: first.map_or(Severity::Minor, |it| it.rule.severity),
        push: false,
        joins_heat: true,
        title: order(now, worst),
        text,
        caution: caution(now.kind),
    }
}

/// The figures of the last night and day that these rules look at.
fn figures(ruled: &[Ruled<'_>], last: Last) -> String {
    let any = |measures: &[Measure]| ruled.iter().any(|it| measures.contains(&it.rule.measure));
    let said = [
        (any(&[Measure::NightMinC, Measure::DayMaxAndNightMinC]), "lowest of the night", last.low_c),
        (any(&[Measure::DailyMeanC]), "mean of the day before", last.mean_c),
        (
            any(&[Measure::DayMaxC, Measure::HoursAboveC, Measure::DayMaxAndNightMinC]),
            "highest of the day before",
            last.high_c,
        ),
    ];
    let said = said.into_iter().filter(|(asked, ..)| *asked);
    let said = said.filter_map(|(_, what, value)| Some(format!("{what} {:.1} °C", value?)));
    said.collect::<Vec<_>>().join(", ")
}

/// Which planting, its limit, since when, and what happens if it is ignored.
fn reason(it: &Ruled<'_>, calendar: &Calendar) -> String {
    let Some(met) = it.course.stands else { return String::new() };
    let rule = it.rule;
    let line = limit(rule.threshold);
    let wanted = match rule.measure {
        Measure::NightMinC => format!("nights below {line}"),
        Measure::DailyMeanC => format!("days with a mean below {line}"),
        Measure::DayMaxAndNightMinC => {
            format!("nights below {} after days of {line}", limit(rule.night_threshold.unwrap_or(f64::NAN)))
        }
        _ => match rule.min_hours_per_day {
            Some(hours) => format!("days with less than {hours:.0} h at {line}"),
            None => format!("days below {line}"),
        },
    };
    let date = calendar.civil_format(calendar.start_of(met.first) + 12 * 3_600_000, "%-d %B");
    // A night is named by the morning it ended on.
    let that = if is_of_night(rule) { "that to" } else { "that of" };
    let count = match met.days {
        1 => format!("1 was not, {that} {date}"),
        days => format!("{days} were not, the first {that} {date}"),
    };
    format!(
        " {} want {wanted} ({}); {count}.{}",
        capital(&planting(it.standing)),
        rule.severity.as_str(),
        expect(it.standing, rule)
    )
}

/// The first act: at night only open vents cool, by day shade takes most off the mean. It is read at any hour.
fn order(now: &PlaceNow<'_>, worst: &[Ruled<'_>]) -> String {
    let nights = worst.iter().any(|it| is_of_night(it.rule));
    match (now.kind.under_cover(), nights, now.shade_on) {
        (true, true, _) => "From outside, open door and vents from evening to morning.".to_owned(),
        (true, false, Some(true)) => "Keep the shade on, and open early and late.".to_owned(),
        (true, false, _) => "From outside, shade it by day; open early and late.".to_owned(),
        (false, ..) if now.kind == PlaceKind::Pots => {
            "Move the pots into shade by day; water at dawn.".to_owned()
        }
        (false, ..) => {
            let crops =
                worst.first().map_or_else(|| "what stands there".to_owned(), |it| plural(&it.standing.crop));
            format!("Shade the {crops} by day; water at dawn.")
        }
    }
}

/// What else helps, and what it costs (common practice).
fn what_helps(now: &PlaceNow<'_>, worst: &[Ruled<'_>]) -> &'static str {
    let nights = worst.iter().any(|it| is_of_night(it.rule));
    match (now.kind.under_cover(), nights) {
        (true, true) => {
            " What shade keeps out by day need not leave at night; it costs yield, so take it off after. Pots: water again in \
             the early evening, not the leaves. Damp paths by day only, vented and below 70 % humidity, and not where \
             mildew is about."
        }
        (true, false) => {
            " Shade outside takes most off the mean; it costs yield, so take it off after. Damp paths only while it is \
             vented and below 70 % humidity."
        }
        (false, _) => {
            " Shade and mulch keep the ground cooler into the night; leaves stay dry in the evening."
        }
    }
}

#[cfg(test)]
#[path = "warm_spell_tests.rs"]
mod tests;
