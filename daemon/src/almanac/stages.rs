//! Which stages a planting is in on a day, and which it may be in.
//!
//! The order of trust is the grower's note, then degree days, then dates. A note is certain. A published sum gives a
//! stage a window: within it the stage is possible, after it certain, before it there is none. Dates only open: from
//! the earliest day that the book's days from sowing or planting out allow, the stage is possible, and dates alone
//! never make it certain. Where the book has neither sum nor days (the flowers of a fruit bush, the spears of
//! asparagus), nothing speaks against a stage, and it is possible.
//!
//! A tomato sown in a tray flowers later than one set out with buds on it. So a figure that counts from planting out
//! is begun at the age at which plants are set out, where the planting was sown; and a figure that counts from sowing
//! gives no early end to a planting that was set out, whose warmth before nobody measured.

use std::collections::{BTreeMap, BTreeSet};

use agronomy::crop::{Crop, Known, Stage, Stages};
use agronomy::degree_days::{Dates, Target};

use super::day_page::DayPage;
use super::milestones::{begins_ms, by_rule, dates};
use crate::calendar::{Calendar, Day};
use crate::entry::Began;
use crate::ground::Planting;

mod figures;

pub use figures::is_read;
use figures::{Figures, RAISED_DAYS, Way};

/// Longest wait for seed, and with it the day from which a seedling is up for certain (common practice: three weeks).
const SEED_UP_BY_DAYS: Day = 21;
/// So long before a flower opens heat may spoil its bud: the length of a tomato's window (Sato, Moriyama & Peet).
const BUD_DAYS: Day = 14;

/// The days of a place, to add up degree days from.
#[derive(Clone, Copy, Debug)]
pub struct Warmth<'a> {
    /// The place's pages.
    pub pages: &'a BTreeMap<Day, &'a DayPage>,
    /// The first day that is not over.
    pub open: Day,
    /// Whether more days will come.
    pub goes_on: bool,
}

/// The course of a planting: what is known of the day on which each stage opens, and on which it closes.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Course(Vec<(Stage, Known, Known)>);

impl Course {
    /// The course by notes and dates, and by degree days where a place's warmth is at hand.
    ///
    /// Named are the young stages of every crop, and of the others those that a rule of this crop speaks of. Curing
    /// and dormancy are never named: what is lifted to dry no longer stands, and rest is noted by nobody.
    pub fn of(planting: &Planting, crop: &Crop, calendar: &Calendar, warmth: Option<&Warmth<'_>>) -> Self {
        let sown = planting.began == Began::Sown;
        let first = calendar.day_of(planting.from_ms);
        let figures = Figures { crop, sown };
        let noted = |at_ms: Option<i64>| at_ms.map(|at_ms| calendar.day_of(at_ms));
        let told = Told { planting, first, figures, warmth };
        let (flower, ripe) = (noted(planting.first_flower_ms), noted(planting.first_ripe_ms));
        Self(told.spans(flower, ripe))
    }

    /// The stages on a day.
    pub fn on(&self, day: Day) -> Stages {
        Stages::on(day, &self.0)
    }
}

/// What the stages of one planting are told from.
struct Told<'a> {
    planting: &'a Planting,
    first: Day,
    figures: Figures<'a>,
    warmth: Option<&'a Warmth<'a>>,
}

impl Told<'_> {
    fn spans(&self, flower: Option<Day>, ripe: Option<Day>) -> Vec<(Stage, Known, Known)> {
        let crop = self.figures.crop;
        let named: BTreeSet<Stage> =
            crop.heat_rules.iter().flat_map(|rule| rule.stages.iter().copied()).collect();
        let flowering = flower.map_or_else(|| no_later(self.flowering(), ripe), Known::On);
        let ripening = ripe.map_or_else(|| self.ripening(flower), Known::On);
        let swelling = no_later(self.swelling(), ripe);
        let mut spans = self.young(&named, flowering, swelling);
        for stage in named {
            let opens = match stage {
                Stage::FlowerBud => earlier(flowering, BUD_DAYS),
                Stage::Flowering => flowering,
                Stage::Fruiting => between(flowering, ripening),
                Stage::Ripening | Stage::Picking => ripening,
                Stage::Heading | Stage::Bulking => swelling,
                // The young are named above; the rest is never named.
                Stage::Germination
                | Stage::Seedling
                | Stage::Vegetative
                | Stage::Any
                | Stage::Curing
                | Stage::Dormant => continue,
            };
            spans.push((stage, opens, Known::Unknown));
        }
        spans
    }

    /// Seed, seedling and leaf. A plant that is set out is past the first two; what is planted as a tuber or a clove
    /// may still be in the ground. Leaf gives way to flower, head, root or bulb, where the crop is grown for one.
    fn young(
        &self,
        named: &BTreeSet<Stage>,
        flowering: Known,
        swelling: Known,
    ) -> Vec<(Stage, Known, Known)> {
        let first = self.first;
        let after = if named.contains(&Stage::Flowering) {
            flowering
        } else if named.contains(&Stage::Heading)
            || named.contains(&Stage::Bulking)
            || self.figures.makes_bulbs()
        {
            swelling
        } else {
            Known::Unknown
        };
        if !self.figures.sown {
            let unseen = self.figures.is_planted_unseen();
            let opens = if unseen { Known::Between(first, Day::MAX) } else { Known::On(first) };
            return vec![(Stage::Vegetative, opens, after)];
        }
        let soonest = self.figures.seed_up_days().min(SEED_UP_BY_DAYS);
        let up = Known::Between(first + soonest, first + SEED_UP_BY_DAYS);
        let grown = Known::Between(first + RAISED_DAYS.0, first + RAISED_DAYS.1);
        vec![
            (Stage::Germination, Known::On(first), up),
            (Stage::Seedling, up, grown),
            (Stage::Vegetative, up, after),
        ]
    }

    /// When the first flower opens.
    fn flowering(&self) -> Known {
        self.opens(self.figures.sum_to_flower(), self.figures.days_to_flower())
    }

    /// When a head, a root, a bulb or a tuber begins to swell.
    fn swelling(&self) -> Known {
        self.opens(self.figures.sum_to_swelling(), self.figures.days_to_swelling())
    }

    /// When the first fruit ripens or the first is picked: from a noted flower where there is one.
    fn ripening(&self, flower: Option<Day>) -> Known {
        let Some(flower) = flower else {
            return self.opens(self.figures.sum_to_harvest(), self.figures.days_to_harvest());
        };
        let sum = self.figures.sum_from_flower(|from| begins_ms(self.planting, from).is_some());
        let by_sum = sum.map(|target| self.summed(&target, flower, flower));
        let days = self.figures.days_from_flower();
        by_sum.filter(|known| *known != Known::Unknown).unwrap_or_else(|| from_day(flower, days))
    }

    /// The window of a sum, or the days where no sum is at hand; not known where there are neither.
    fn opens(&self, sum: Option<(Target, Way)>, days: Option<Day>) -> Known {
        let by_days = from_day(self.first, days);
        let by_sum = sum.map(|(target, way)| match way {
            Way::Direct => self.summed(&target, self.first, self.first),
            Way::SownBeforeSetOut => {
                self.summed(&target, self.first + RAISED_DAYS.0, self.first + RAISED_DAYS.1)
            }
            Way::SetOutAfterSowing => match (by_days, self.summed(&target, self.first, self.first)) {
                (Known::Between(earliest, _), Known::Between(_, latest)) => {
                    Known::Between(earliest.min(latest), latest)
                }
                _ => Known::Unknown,
            },
        });
        by_sum.filter(|known| *known != Known::Unknown).unwrap_or(by_days)
    }

    /// When the days from `soonest` on come to the lower end of a sum, and those from `last` on to its upper end.
    fn summed(&self, target: &Target, soonest: Day, last: Day) -> Known {
        let Some(warmth) = self.warmth else { return Known::Unknown };
        let from = |first: Day| {
            let days = by_rule(&target.rule(), warmth.pages, first, warmth.open.max(first));
            // A beginning that lies ahead has no days yet, and so no pace to expect by.
            dates(target, first, &days, warmth.goes_on).ok()
        };
        let (Some(early), Some(late)) = (from(soonest), from(last)) else { return Known::Unknown };
        Known::from(Dates { earliest: early.earliest, latest: late.latest })
    }
}

/// Possible from so many days after a day; not known without a figure.
fn from_day(first: Day, days: Option<Day>) -> Known {
    days.map_or(Known::Unknown, |days| Known::Between(first + days, Day::MAX))
}

/// What has opened by a day on which a later stage was seen.
fn no_later(opens: Known, seen: Option<Day>) -> Known {
    match (opens, seen) {
        (_, None) => opens,
        (Known::Between(earliest, latest), Some(seen)) => {
            Known::Between(earliest.min(seen), latest.min(seen))
        }
        (Known::On(day), Some(seen)) => Known::On(day.min(seen)),
        (Known::Unknown, Some(seen)) => Known::Between(Day::MIN, seen),
    }
}

/// Possible so many days before.
fn earlier(opens: Known, days: Day) -> Known {
    match opens {
        Known::On(day) => Known::Between(day - days, day),
        Known::Between(earliest, latest) => Known::Between(earliest.saturating_sub(days), latest),
        Known::Unknown => Known::Unknown,
    }
}

/// From when one stage may have opened to when a later one has.
fn between(one: Known, later: Known) -> Known {
    let earliest = match one {
        Known::On(day) | Known::Between(day, _) => day,
        Known::Unknown => Day::MIN,
    };
    match later {
        Known::On(day) => Known::Between(earliest.min(day), day),
        Known::Between(_, latest) => Known::Between(earliest, latest),
        Known::Unknown if one == Known::Unknown => Known::Unknown,
        Known::Unknown => Known::Between(earliest, Day::MAX),
    }
}

#[cfg(test)]
#[path = "stages_tests.rs"]
mod tests;
