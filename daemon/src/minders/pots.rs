//! Pots empty by forecast.
//!
//! Roots in a pot cannot go looking: ten litres of mix hold under three that a plant can draw, and a tomato drinks more
//! than that on a hot dry day. So the question is at which hour, and the answer a balance: what was poured, as noted,
//! less what the weather has asked for since. "Empty" is where the plant begins to feel it, not where it wilts.
//!
//! The balance knows no more than was noted. A moisture probe whose marks are known draws it slowly to what it shows, and
//! shows how fast pots are drunk from; it knows one spot of one pot, so neither has the last word. It is never said that
//! a pot can wait: lift it, and if it is light, water.

use agronomy::crop::Severity;
use agronomy::series::{MS_PER_DAY, MS_PER_HOUR};
use agronomy::units::{Days, Fraction, Litres};
use agronomy::water::Container;

use super::demand::{Demand, Plant};
use super::ladder::{Ladder, Release, Rung};
use super::place_now::{PlaceNow, Standing};
use super::soil_now::{Moist, SoilNow, Watering};
use super::word::{Verdict, Word};
use super::words::{caution, planting, plural};
use crate::calendar::Calendar;
use crate::entry::PlaceKind;

/// The name of the minder.
pub const POTS: &str = "pots";

/// How far ahead an empty pot is told at most, h; never earlier than half way, or a small pot would be told as soon as
/// it was filled.
const AHEAD_H: f64 = 3.0;
/// The forecast as a share of how far ahead it is told must stand for a quarter of an hour; it is taken back when a
/// sixth more is left.
const RUNGS: [Option<Rung>; 4] = [None, Some(Rung { line: -1.0, dwell_ms: 15 * 60_000 }), None, None];
const RELEASE: Release = Release { margin: 1.0 / 6.0, ms: 0 };
/// After so long without a watering noted or a probe the balance is not believed, ms (common practice: two days).
pub const CONFIRMED_MS: i64 = 48 * MS_PER_HOUR;
/// Air from which it is hot for pots where no crop has a lower line, °C (common practice).
const HOT_C: f64 = 30.0;

/// The balance of one planting in pots.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Balance {
    /// When it will be empty, UTC ms; the moment itself where it is empty already. None in the days at hand: never.
    pub empty_ms: Option<i64>,
    /// What each pot takes now, L.
    pub pour_l: f64,
    /// When it will be empty again after that, UTC ms, and what it takes then, L.
    pub again: Option<(i64, f64)>,
}

/// What is known of the water in a planting's pots.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Known {
    /// A balance.
    Balance(Balance),
    /// No watering was noted for two days, and no probe says anything.
    Unconfirmed,
    /// No watering was ever noted.
    Never,
}

/// The running state for one place.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Pots {
    ladder: Ladder,
    due_ms: Option<i64>,
}

fn litres(value: f64) -> Litres {
    Litres::try_new(value).unwrap_or(Litres::MIN)
}

fn fraction(value: f64) -> Fraction {
    Fraction::try_new(value).unwrap_or(Fraction::NONE)
}

/// What is known of the water in the pots of a planting, each of `volume_l` of mix.
///
/// The share that may go is the table's, without its correction for days of great demand (FAO-56, Table 22, note 2):
/// that stands for roots that have soil to grow into.
pub fn known(id: &str, volume_l: f64, plant: Plant, demand: &Demand, soil: &SoilNow<'_>) -> Known {
    let now_ms = soil.at_ms;
    let noted = soil.waterings.get(id).map_or(&[][..], Vec::as_slice);
    let probe = driest(soil);
    let from_ms = (now_ms - CONFIRMED_MS).max(demand.known_from_ms());
    let run = &noted[noted.partition_point(|it| it.at_ms < from_ms)..];
    if run.is_empty() && probe.is_none() {
        return if noted.is_empty() { Known::Never } else { Known::Unconfirmed };
    }
    let full = Container::full(litres(volume_l), fraction(soil.mix_share));
    let felt = plant.share * full.capacity().get();
    // Whoever waters mostly does so when a pot has grown light; the first of the run is taken to have found it so.
    let (mut pot, mut at_ms) = (full.used(litres(felt)), run.first().map_or(from_ms, |it| it.at_ms));
    let begun_ms = at_ms;
    for it in run {
        pot = pot.used(litres(plant.takes_l(demand.between(at_ms, it.at_ms))));
        pot = it.litres_each.map_or(full, |each| pot.watered(litres(each)).0);
        at_ms = it.at_ms;
    }
    pot = pot.used(litres(plant.takes_l(demand.between(at_ms, now_ms))));
    let mut drinks = plant;
    if let Some((probe, share)) = probe {
        let hours = (now_ms - begun_ms) as f64 / MS_PER_HOUR as f64;
        pot = pot.probed(fraction(share), Days::try_new(hours / 24.0).unwrap_or(Days::MIN));
        drinks.factor *= pace(probe, plant.takes_l(demand.between(now_ms - MS_PER_DAY, now_ms)), full);
    }
    let left = pot.held().get() - (full.capacity().get() - felt);
    let again = demand.when(now_ms, plant.reference_mm(felt));
    Known::Balance(Balance {
        empty_ms: if left <= 0.0 { Some(now_ms) } else { demand.when(now_ms, drinks.reference_mm(left)) },
        pour_l: pot.refill().total.get(),
        again: again.map(|at_ms| (at_ms, full.used(litres(felt)).refill().total.get())),
    })
}

/// The driest moisture probe whose marks are known, with the share that it has left.
fn driest<'a>(soil: &'a SoilNow<'_>) -> Option<(&'a Moist, f64)> {
    let known = soil.moisture.iter().filter_map(|it| Some((it, it.left_by_marks()?)));
    known.min_by(|a, b| a.1.total_cmp(&b.1))
}

/// How fast a pot is drunk from as a share of what the weather asks, by what its probe fell in a day in which `asked_l`
/// were asked for: as slowly believed as what the probe has left, and never faster than the weather asks.
fn pace(probe: &Moist, asked_l: f64, full: Container) -> f64 {
    let drawn_l = probe.drawn_by_marks().map(|share| share * full.capacity().get());
    let share = drawn_l.filter(|_| asked_l > 0.0).map_or(1.0, |drawn_l| (drawn_l / asked_l).min(1.0));
    1.0 - Container::trust(Days::try_new(1.0).unwrap_or(Days::MIN)) * (1.0 - share)
}

/// Litres as they are advised: to a half, small ones to a tenth.
pub fn dose(litres: f64) -> String {
    let rounded = if litres < 0.75 {
        (libm::round(litres * 10.0) / 10.0).max(0.1)
    } else {
        libm::round(litres * 2.0) / 2.0
    };
    if rounded == libm::floor(rounded) { format!("{rounded:.0}") } else { format!("{rounded:.1}") }
}

/// A planting in pots, with what is known of it.
struct Potted<'a> {
    standing: &'a Standing<'a>,
    volume_l: f64,
    plant: Plant,
    known: Known,
}

impl Potted<'_> {
    /// Whether it is empty by now, and a probe shows it.
    fn is_empty_by_probe(&self, soil: &SoilNow<'_>) -> bool {
        let empty =
            matches!(self.known, Known::Balance(it) if it.empty_ms.is_some_and(|at| at <= soil.at_ms));
        empty && driest(soil).is_some_and(|(_, left)| left <= 1.0 - self.plant.share)
    }
}

/// The plantings of a place whose pots are known, the one that will be empty first in front.
fn in_pots<'a>(now: &'a PlaceNow<'a>, soil: &SoilNow<'_>, demand: &Demand) -> Vec<Potted<'a>> {
    let of = |it: &'a Standing<'a>| {
        let volume_l = it.planting.container_l?;
        let plant = Plant::of(it, soil.at_ms, now.kind.under_cover());
        let known = known(&it.planting.id, volume_l, plant, demand, soil);
        Some(Potted { standing: it, volume_l, plant, known })
    };
    let mut potted: Vec<_> = now.standing.iter().filter_map(of).collect();
    potted.sort_by_key(|it| match it.known {
        Known::Balance(balance) => balance.empty_ms.unwrap_or(i64::MAX),
        _ => i64::MAX,
    });
    potted
}

impl Pots {
    /// Takes over what was told before a restart.
    pub fn take_over(&mut self, told: Option<Severity>) {
        self.ladder.set(told.filter(|told| *told >= Severity::Moderate));
    }

    /// Judges a place at a moment; `told`: since when its notice is open, UTC ms. None where nothing grows in pots and
    /// nothing was told.
    pub fn judge(
        &mut self,
        now: &PlaceNow<'_>,
        soil: &SoilNow<'_>,
        calendar: &Calendar,
        told: Option<i64>,
    ) -> Option<Verdict> {
        self.due_ms = None;
        let volume = |it: &Standing<'_>| it.planting.container_l;
        if !now.standing.iter().any(|it| volume(it).is_some() || now.kind == PlaceKind::Pots) {
            self.ladder = Ladder::default();
            let text = format!("{}: nothing grows in pots here any more.", now.name);
            return told.map(|_| Verdict::clear(POTS, now.place, "No pots stand here any more.", text));
        }
        let never = |it: &Standing<'_>| soil.last_watered_ms(&it.planting.id).is_none();
        if now.standing.iter().all(never) && soil.moisture.iter().all(|it| it.marks.is_none()) {
            self.ladder = Ladder::default();
            return Some(noted_nowhere(now));
        }
        let unknown = Demand::unknown(&soil.sun);
        let demand = soil.demand.as_ref().unwrap_or(&unknown);
        let potted = in_pots(now, soil, demand);
        // Where nobody knows the weather a probe can still show that the pots are empty, and nothing else is known.
        if soil.demand.is_none() && !potted.first().is_some_and(|it| it.is_empty_by_probe(soil)) {
            return Some(Verdict::unknown(POTS, now.place));
        }
        let first = potted.first().and_then(|it| match it.known {
            Known::Balance(balance) => Some((it, balance)),
            _ => None,
        });
        let Some((first, balance)) = first else {
            self.ladder = Ladder::default();
            return Some(unconfirmed(now, soil, &potted, demand));
        };
        let empty_ms = balance.empty_ms.unwrap_or(i64::MAX);
        let ahead = |at_ms: i64| at_ms.saturating_sub(soil.at_ms) as f64 / MS_PER_HOUR as f64;
        let lead_h = balance.again.map_or(AHEAD_H, |(at_ms, _)| AHEAD_H.min(ahead(at_ms) / 2.0));
        self.ladder.judge(soil.at_ms, Some(-ahead(empty_ms) / lead_h.max(0.1)), &RUNGS, RELEASE);
        let due_ms = empty_ms.saturating_sub((lead_h * MS_PER_HOUR as f64) as i64);
        self.due_ms = Some(due_ms).filter(|at_ms| *at_ms > soil.at_ms);
        if self.ladder.current().is_none() {
            if potted.iter().any(|it| it.known == Known::Unconfirmed) {
                return Some(unconfirmed(now, soil, &potted, demand));
            }
            return Some(holding(now, soil, first, told));
        }
        let view = View { now, soil, calendar, demand };
        Some(Verdict::word(POTS, now.place, view.word(first, balance)))
    }

    /// When time alone may change the verdict, UTC ms.
    pub fn wake(&self) -> Option<i64> {
        self.due_ms.into_iter().chain(self.ladder.wake(&RUNGS, RELEASE)).min()
    }
}

/// What a word is made from.
struct View<'a> {
    now: &'a PlaceNow<'a>,
    soil: &'a SoilNow<'a>,
    calendar: &'a Calendar,
    demand: &'a Demand,
}

impl View<'_> {
    fn word(&self, first: &Potted<'_>, balance: Balance) -> Word {
        let Self { now, soil, calendar, demand } = self;
        let sun = demand.today().map_or(0..0, |day| day.sun.clone());
        let by_day = sun.contains(&soil.at_ms) && balance.empty_ms.is_some_and(|at_ms| sun.contains(&at_ms));
        let again = balance.again.filter(|(at_ms, _)| *at_ms < sun.end);
        let pour = dose(balance.pour_l);
        let empty = match balance.empty_ms {
            Some(at_ms) if at_ms > soil.at_ms => format!("about empty at {}", calendar.clock(at_ms)),
            _ => "about empty by now".to_owned(),
        };
        let later = again.map_or_else(String::new, |(at_ms, litres)| {
            format!(", {} at {}", dose(litres), calendar.clock(at_ms))
        });
        let daily = demand.today().map_or(0.0, |day| first.plant.takes_l(day.reference_mm));
        let daily = if daily > 0.0 {
            format!("; {daily:.1} a day each, {}", demand.basis.words())
        } else {
            String::new()
        };
        let probe =
            driest(soil).map_or_else(String::new, |(probe, left)| format!(", {}", shows(probe, left)));
        let last = soil.last_watered_ms(&first.standing.planting.id);
        let last = last.map_or_else(String::new, |at| {
            format!(", water last noted {}", calendar.civil_format(at, "%a %H:%M"))
        });
        Word {
            planting: Some(first.standing.planting.id.clone()),
            severity: Severity::Moderate,
            push: by_day,
            joins_heat: true,
            title: format!("{}: lift the pots; if light, {pour} {} each.", now.name, litre_word(&pour)),
            text: format!(
                "{}: {} in pots of {} litres, {empty}. {pour} {} each now{later}{daily}{last}{probe}. Dry \
             roots cost flowers and fruit; the lifted pot has the last word.",
                now.name,
                planting(first.standing),
                dose(first.volume_l),
                litre_word(&pour),
            ),
            caution: caution(now.kind),
        }
    }
}

fn litre_word(amount: &str) -> &'static str {
    if amount == "1" { "litre" } else { "litres" }
}

fn shows(probe: &Moist, left: f64) -> String {
    format!("probe {} shows {:.0} % left between its two marks", probe.probe, 100.0 * left)
}

/// Why the pots hold out for now: what was noted since, what the probe shows, or that the day asks for no more.
fn holding(now: &PlaceNow<'_>, soil: &SoilNow<'_>, first: &Potted<'_>, told: Option<i64>) -> Verdict {
    let since = |it: &Watering| told.is_some_and(|told_ms| it.noted_ms >= told_ms);
    let watered = soil.waterings.values().flatten().any(since);
    let probe = driest(soil).filter(|(_, left)| *left > 1.0 - first.plant.share);
    let (title, why) = match probe {
        _ if watered => ("The pots are watered.", "by what was noted the pots hold out for now".to_owned()),
        Some((probe, left)) => ("The probe shows water in the pots.", shows(probe, left)),
        None => (
            "The pots hold out for today.",
            "the day asks for little more than is reckoned to be left".to_owned(),
        ),
    };
    Verdict::clear(POTS, now.place, title, format!("{}: {why}. If one is light, water it.", now.name))
}

/// Two days without a word on water: said where the weather would empty a full pot within two days.
fn unconfirmed(now: &PlaceNow<'_>, soil: &SoilNow<'_>, potted: &[Potted<'_>], demand: &Demand) -> Verdict {
    let today_mm = demand.today().map_or(0.0, |day| day.reference_mm);
    let thirsty = |it: &&Potted<'_>| {
        let holds = it.plant.share * soil.mix_share * it.volume_l;
        it.known == Known::Unconfirmed && 2.0 * it.plant.takes_l(today_mm) > holds
    };
    let Some(first) = potted.iter().find(thirsty) else { return Verdict::unknown(POTS, now.place) };
    let word = Word {
        planting: Some(first.standing.planting.id.clone()),
        severity: Severity::Minor,
        push: false,
        joins_heat: true,
        title: format!("{}: feel 5 cm down; if dry, water now.", now.name),
        text: format!(
            "{}: no water noted for two days for {} in pots of {} litres. Feel 5 cm down, lift the pot; if it is light, \
             water and note it, and the hour it will be empty can be told again.",
            now.name,
            plural(&first.standing.crop),
            dose(first.volume_l)
        ),
        caution: "",
    };
    Verdict::word(POTS, now.place, word)
}

/// Said on hot days only, so that it is no nagging.
fn noted_nowhere(now: &PlaceNow<'_>) -> Verdict {
    let line = now.first_pressed().map_or(HOT_C, |(_, line)| line.min(HOT_C));
    let Some((high, _)) = now.high else { return Verdict::unknown(POTS, now.place) };
    if high < line {
        let text = format!("{}: not hot today. Water is noted nowhere.", now.name);
        return Verdict::clear(POTS, now.place, "The heat of the day is over.", text);
    }
    let word = Word {
        planting: None,
        severity: Severity::Minor,
        push: false,
        joins_heat: true,
        title: format!("{}: lift the pots; if light, water.", now.name),
        text: format!(
            "{}: {high:.1} °C today, and water noted nowhere, so nobody can say when the pots are empty. Lift them, and \
             note what you pour and how many litres of mix each plant has.",
            now.name
        ),
        caution: "",
    };
    Verdict::word(POTS, now.place, word)
}
