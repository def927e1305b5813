//! What the crop book says of a crop's stages: sums of degree days, and days from one event to another.

use agronomy::crop::{Crop, Figure, Milestone, Stage};
use agronomy::degree_days::Target;

use crate::calendar::Day;
use crate::entry::Began;
use crate::ground::Planting;

/// Age of a plant at which it is set out, days, at least and at most (common practice: four weeks for lettuce and
/// melons, ten for peppers). What the book counts from sowing is set out no older than the least.
pub(super) const RAISED_DAYS: (Day, Day) = (28, 70);
/// No head, root or tuber swells, and no flower of which the book says nothing opens, earlier on the way to the harvest
/// than this (FAO-56, Table 11: mid season begins at 43 % of a radish's days, 42 % of a carrot's and a potato's; from
/// memory).
const SWELLS_FROM_SHARE: f64 = 0.4;
/// By how much a season may run ahead of the book's single sum or its days (common practice, as for forecasts).
const MARGIN: f64 = 0.12;

/// Events that are a first flower.
const FLOWER: [&str; 3] = ["first_flower", "first_male_flower", "silking"];
/// Events at which a bulb begins to swell.
const SWELLING: [&str; 1] = ["bulbing_start"];
/// Events that are a harvest of fruit, head, root or tuber; leaves that are cut young are none.
const HARVEST: [&str; 22] = [
    "first_ripe",
    "first_harvest",
    "first_green_fruit",
    "first_coloured",
    "first_full_husk",
    "first_husk",
    "green",
    "coloured",
    "fresh_harvest_jubilee",
    "early_harvest_immature",
    "harvest",
    "harvest_early",
    "harvest_main",
    "harvest_autumn",
    "harvest_late",
    "harvest_summer",
    "harvest_overwintering",
    "harvest_head",
    "head",
    "new_potatoes",
    "main",
    "tops_down",
];
/// Events after a flower at which its fruit is ready.
const READY: [&str; 4] = ["ripe", "first_ripe", "pick", "mature"];

/// How a figure counts for a planting.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Way {
    /// From the event the planting began with.
    Direct,
    /// It counts from planting out, and the planting was sown.
    SownBeforeSetOut,
    /// It counts from sowing, and the planting was set out.
    SetOutAfterSowing,
}

/// The figures of a crop that was sown, or set out.
#[derive(Clone, Copy, Debug)]
pub(super) struct Figures<'a> {
    pub(super) crop: &'a Crop,
    pub(super) sown: bool,
}

impl<'a> Figures<'a> {
    /// How a figure that counts from an event counts here; none where the event is another.
    fn way(&self, from: &str) -> Option<Way> {
        match (from, self.sown) {
            ("sow" | "sowing", true) | ("transplant" | "plant" | "planting", false) => Some(Way::Direct),
            ("sow" | "sowing", false) => Some(Way::SetOutAfterSowing),
            ("transplant" | "plant" | "planting", true) => Some(Way::SownBeforeSetOut),
            _ => None,
        }
    }

    /// Figures in order that lead to one of these events: those that count from the planting's own beginning where
    /// there are any, else the others.
    fn best<T>(&self, all: impl Iterator<Item = (&'a str, &'a str, T)>, ends: &[&str]) -> Vec<(T, Way)> {
        let leads = all.filter(|(_, to, _)| ends.contains(to));
        let mut known: Vec<_> =
            leads.filter_map(|(from, _, it)| self.way(from).map(|way| (it, way))).collect();
        if known.iter().any(|(_, way)| *way == Way::Direct) {
            known.retain(|(_, way)| *way == Way::Direct);
        }
        known
    }

    fn milestones(&self, ends: &[&str]) -> Vec<(&'a Milestone, Way)> {
        let all = self.crop.gdd.milestones.iter();
        self.best(all.map(|it| (it.from.as_str(), it.to.as_str(), it)), ends)
    }

    fn spans(&self, ends: &[&str]) -> Vec<((&'a str, &'a Figure), Way)> {
        self.best(days(self.crop).map(|(name, from, to, figure)| (from, to, (name, figure))), ends)
    }

    /// From the lowest of these sums, a share of it, to the highest.
    fn sum(&self, ends: &[&str], share: f64) -> Option<(Target, Way)> {
        let known = self.milestones(ends);
        let (first, way) = known.first()?;
        let alike = known.iter().map(|(it, _)| *it).filter(|it| it.model == first.model);
        let (low, high) =
            alike.fold((first.lo, first.hi), |(low, high), it| (low.min(it.lo), high.max(it.hi)));
        Some((target(self.crop, first, low * share, high)?, *way))
    }

    /// The sum to the first flower.
    pub(super) fn sum_to_flower(&self) -> Option<(Target, Way)> {
        self.sum(&FLOWER, 1.0)
    }

    /// The sum to where a head, root or bulb swells: at the earliest a share of the way to the harvest, and by the
    /// harvest for certain.
    pub(super) fn sum_to_swelling(&self) -> Option<(Target, Way)> {
        self.sum(&SWELLING, 1.0).or_else(|| self.sum(&HARVEST, SWELLS_FROM_SHARE))
    }

    /// Whether the book says when a bulb begins to swell.
    pub(super) fn makes_bulbs(&self) -> bool {
        !self.milestones(&SWELLING).is_empty()
    }

    /// The sum to the first harvest.
    pub(super) fn sum_to_harvest(&self) -> Option<(Target, Way)> {
        self.sum(&HARVEST, 1.0)
    }

    /// The sum from a flower to its fruit.
    pub(super) fn sum_from_flower(&self, begun: impl Fn(&str) -> bool) -> Option<Target> {
        let mut from_flower = self.crop.gdd.milestones.iter().filter(|it| is_flower(&it.from));
        let it = from_flower.find(|it| READY.contains(&it.to.as_str()) && begun(&it.from))?;
        target(self.crop, it, it.lo, it.hi)
    }

    /// Days from the planting's beginning to the first flower, at the earliest: the days to the harvest less those
    /// from flower to fruit.
    pub(super) fn days_to_flower(&self) -> Option<Day> {
        let sums = self.milestones(&FLOWER);
        if let Some((_, way)) = sums.iter().find(|(it, _)| it.lo == 0.0) {
            return Some(since_beginning(0.0, *way));
        }
        let longest = flower_to_fruit(self.crop).map(|(_, figure)| figure.hi).reduce(f64::max);
        self.earliest(|lo| longest.map_or(SWELLS_FROM_SHARE * lo, |days| (lo - days).max(0.0)))
    }

    /// Days from the planting's beginning to where a head, root or tuber may swell.
    pub(super) fn days_to_swelling(&self) -> Option<Day> {
        self.earliest(|lo| SWELLS_FROM_SHARE * lo)
    }

    /// Days from the planting's beginning to the first harvest, at the earliest.
    pub(super) fn days_to_harvest(&self) -> Option<Day> {
        self.earliest(|lo| lo)
    }

    /// Days from a flower to its fruit, at the earliest.
    pub(super) fn days_from_flower(&self) -> Option<Day> {
        let soonest = flower_to_fruit(self.crop).map(|(_, figure)| figure.lo).reduce(f64::min);
        soonest.map(ahead)
    }

    fn earliest(&self, part: impl Fn(f64) -> f64) -> Option<Day> {
        let known = self.spans(&HARVEST).into_iter();
        known.map(|((_, figure), way)| since_beginning(part(figure.lo), way)).min()
    }

    /// Fewest days in which the book saw seed come up.
    pub(super) fn seed_up_days(&self) -> Day {
        let seen = self.crop.germination.table.iter().filter_map(|row| row.days).filter(|days| *days > 0.0);
        seen.reduce(f64::min).map_or(Day::MAX, |days| libm::floor(days) as Day)
    }

    /// Whether what is planted has no leaf yet: tubers and cloves, whose days the book counts from planting.
    pub(super) fn is_planted_unseen(&self) -> bool {
        days(self.crop).any(|(_, from, ..)| from == "plant")
    }
}

/// A day count with the margin by which a season may run ahead.
fn ahead(days: f64) -> Day {
    libm::floor(days * (1.0 - MARGIN)) as Day
}

/// Days of the book as days since the planting began.
fn since_beginning(days: f64, way: Way) -> Day {
    match way {
        Way::Direct => ahead(days),
        Way::SownBeforeSetOut => ahead(days) + RAISED_DAYS.0,
        Way::SetOutAfterSowing => (ahead(days) - RAISED_DAYS.0).max(0),
    }
}

/// A target by a milestone's own method; a single number is given a margin to both sides.
fn target(crop: &Crop, milestone: &Milestone, low: f64, high: f64) -> Option<Target> {
    let (low, high) = if low == high { (low * (1.0 - MARGIN), high * (1.0 + MARGIN)) } else { (low, high) };
    Target::try_new(crop.gdd.rule(&milestone.model).ok()?, low, high).ok()
}

/// The crop's days: name, from which event, to which.
fn days(crop: &Crop) -> impl Iterator<Item = (&str, &str, &str, &Figure)> {
    crop.days.iter().filter_map(|(name, figure)| {
        let (from, to) = name.split_once("_to_")?;
        Some((name.as_str(), from, to, figure))
    })
}

/// The crop's days from a flower to its fruit.
fn flower_to_fruit(crop: &Crop) -> impl Iterator<Item = (&str, &Figure)> {
    days(crop)
        .filter(|(_, from, to, _)| is_flower(from) && READY.contains(to))
        .map(|(name, _, _, figure)| (name, figure))
}

fn is_flower(event: &str) -> bool {
    matches!(event, "flower" | "set" | "silk" | "anthesis" | "bloom" | "open_flower" | "pollination")
}

/// Whether the stages of a planting rest on the crop's figure of this name: `days.sow_to_harvest`, or a milestone.
pub fn is_read(planting: &Planting, crop: &Crop, name: &str) -> bool {
    let figures = Figures { crop, sown: planting.began == Began::Sown };
    let young =
        [Stage::Any, Stage::Germination, Stage::Seedling, Stage::Vegetative, Stage::Curing, Stage::Dormant];
    if crop.heat_rules.iter().flat_map(|rule| &rule.stages).all(|stage| young.contains(stage)) {
        return false;
    }
    if let Some(days) = name.strip_prefix("days.") {
        let of_harvest = figures.spans(&HARVEST);
        return of_harvest.iter().any(|((it, _), _)| *it == days)
            || flower_to_fruit(crop).any(|(it, _)| it == days);
    }
    let step = name.strip_prefix("gdd.milestone.").and_then(|rest| rest.strip_suffix(".dd_c"));
    let dated = [&FLOWER[..], &SWELLING, &HARVEST].into_iter().flat_map(|ends| figures.milestones(ends));
    dated.into_iter().any(|(it, _)| step.is_some_and(|step| it.step() == step))
}
