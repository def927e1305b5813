//! The top of a seedbed going dry.
//!
//! Seed lies in the top centimetre, and that holds little: 1.9 mm in a loam, which an hour or two of midday sun takes.
//! Seed that has begun to swell dies when it dries. The account of bare soil's evaporation, kept for a layer that thin,
//! begins anew with each watering that was noted and with rain; where neither is known nothing is said.

use agronomy::crop::Severity;
use agronomy::germination::days_to_emergence;
use agronomy::series::{MS_PER_DAY, MS_PER_HOUR};
use agronomy::units::{
    Celsius, CropCoefficient, Fraction, MetresPerSecond, Millimetres, PlantHeight, RelativeHumidity,
};
use agronomy::water::Texture;
use agronomy::water::evaporation::{EvaporableLayer, SEED_LAYER, Wetting, ceiling, soil_coefficient};

use super::demand::Demand;
use super::ladder::{Ladder, Release, Rung};
use super::place_now::{PlaceNow, Standing};
use super::soil_now::SoilNow;
use super::word::{Verdict, Word};
use super::words::{caution, plural};
use crate::calendar::Calendar;
use crate::entry::{Began, PlaceKind};

/// The name of the minder.
pub const SEEDBED: &str = "seedbed";

/// Half of what the layer can lose (common practice), for a quarter of an hour.
const RUNGS: [Option<Rung>; 4] = [None, Some(Rung { line: 0.5, dwell_ms: 15 * 60_000 }), None, None];
const RELEASE: Release = Release { margin: 0.1, ms: 0 };
/// Later in the day the sun takes little more: nothing new is told from here on, civil hour.
const LAST_HOUR: f64 = 16.0;
/// An older watering says nothing of the top any more, ms.
const NEWS_MS: i64 = 2 * MS_PER_DAY;
/// Step of the account, ms.
const STEP_MS: i64 = MS_PER_HOUR / 4;
/// Seed that is not up after so long is not waited for any more, d.
const LONGEST_WAIT_D: f64 = 42.0;
/// The slow half of the seed may take this much longer than the table says (common practice).
const SLOW: f64 = 1.3;

/// The running state for one place.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Seedbed {
    ladder: Ladder,
}

/// The seed layer of a loam, and the share of it that is exposed: all of it, bare and wetted all over.
fn layer() -> EvaporableLayer {
    let loam = Texture::Loam;
    EvaporableLayer::of_soil(&loam.soil(), loam.readily_evaporable(), SEED_LAYER)
}

/// Dries a wet layer from its last wetting to a moment, by what the weather asked for, with the rain in between.
///
/// Under cover the reference is a canopy's own use, and bare wet soil gives no more than that.
pub fn dried(
    demand: &Demand,
    wetted_ms: i64,
    until_ms: i64,
    rain: &[(i64, f64)],
    under_cover: bool,
) -> EvaporableLayer {
    let bare = CropCoefficient::MIN;
    let most = if under_cover {
        CropCoefficient::try_new(1.0).unwrap_or(bare)
    } else {
        // The reference's own wind and dryness: nobody measures them over a seedbed.
        let calm = MetresPerSecond::try_new(2.0).unwrap_or(MetresPerSecond::MIN);
        let dry = RelativeHumidity::try_new(45.0).unwrap_or(RelativeHumidity::MAX);
        ceiling(bare, calm, dry, PlantHeight::MIN)
    };
    let exposed = Wetting::All.exposed(Fraction::NONE);
    let mut top = layer();
    let mut at_ms = wetted_ms;
    while at_ms < until_ms {
        let next_ms = (at_ms + STEP_MS).min(until_ms);
        let asked = Millimetres::try_new(demand.between(at_ms, next_ms)).unwrap_or(Millimetres::MIN);
        let coefficient = soil_coefficient(top.reduction(), most, bare, exposed);
        top = top.dried(coefficient, asked, exposed).0;
        let fallen: f64 = rain.iter().filter(|(at, _)| (at_ms..next_ms).contains(at)).map(|(_, mm)| mm).sum();
        top = top.wetted(Millimetres::try_new(fallen).unwrap_or(Millimetres::MIN)).0;
        at_ms = next_ms;
    }
    top
}

/// Whether a planting is sown and waited for: by the table of its seed where the soil's warmth is known.
fn awaited(standing: &Standing<'_>, soil: &SoilNow<'_>) -> bool {
    let planting = standing.planting;
    let age_d = (soil.at_ms - planting.from_ms) as f64 / MS_PER_DAY as f64;
    let warm = soil.warmth.iter().map(|it| it.t_c).reduce(f64::max);
    let table =
        warm.and_then(|t_c| days_to_emergence(&standing.crop.germination, Celsius::try_new(t_c).ok()?));
    let up_d = table.map_or(21.0, |days| SLOW * days).min(LONGEST_WAIT_D);
    planting.began == Began::Sown && age_d <= up_d
}

impl Seedbed {
    /// Takes over what was told before a restart.
    pub fn take_over(&mut self, told: Option<Severity>) {
        self.ladder.set(told);
    }

    /// Judges a place at a moment; none where no seed is waited for and nothing was told.
    pub fn judge(
        &mut self,
        now: &PlaceNow<'_>,
        soil: &SoilNow<'_>,
        calendar: &Calendar,
        told: bool,
    ) -> Option<Verdict> {
        let sown = now.standing.iter().filter(|it| now.kind == PlaceKind::Seedbed || awaited(it, soil));
        let Some(first) = sown.clone().next() else {
            self.ladder = Ladder::default();
            let text = format!("{}: no seed is waited for any more.", now.name);
            return told.then(|| Verdict::clear(SEEDBED, now.place, "The seed is up.", text));
        };
        // The bed is as dry as where it was watered longest ago.
        let watered = sown.filter_map(|it| soil.last_watered_ms(&it.planting.id)).min();
        let known = watered.filter(|at| soil.at_ms - at <= NEWS_MS).zip(soil.demand.as_ref());
        let Some((watered_ms, demand)) = known.filter(|(at, demand)| *at >= demand.known_from_ms()) else {
            return Some(Verdict::unknown(SEEDBED, now.place));
        };
        let covered = now.kind.under_cover();
        let rain = if covered { &[][..] } else { &soil.rain };
        let top = dried(demand, watered_ms, soil.at_ms, rain, covered);
        let before = self.ladder.current();
        self.ladder.judge(soil.at_ms, Some(top.dryness().get()), &RUNGS, RELEASE);
        let late = calendar.civil_hour_of(soil.at_ms) >= LAST_HOUR;
        if late && before.is_none() {
            self.ladder.set(None);
        }
        if self.ladder.current().is_none() {
            let text = format!("{}: the top centimetre is damp, by what was noted.", now.name);
            return Some(Verdict::clear(SEEDBED, now.place, "The seedbed is damp again.", text));
        }
        let word = Word {
            planting: Some(first.planting.id.clone()),
            severity: Severity::Moderate,
            push: false,
            joins_heat: true,
            title: format!("{}: water the seedbed finely, then shade or cover it.", now.name),
            text: format!(
                "{}: the top centimetre over {} has lost {:.1} of {:.1} mm since water was noted at {}, {}. Seed that \
                 has begun to swell dies when it dries; a finger in the soil has the last word.",
                now.name,
                plural(&first.crop),
                top.depletion().get(),
                top.total().get(),
                calendar.civil_format(watered_ms, "%a %H:%M"),
                demand.basis.words()
            ),
            caution: caution(now.kind),
        };
        Some(Verdict::word(SEEDBED, now.place, word))
    }

    /// When time alone may change the verdict, UTC ms.
    pub fn wake(&self) -> Option<i64> {
        self.ladder.wake(&RUNGS, RELEASE)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::minders::demand::{Basis, DayDemand};

    /// A day of this reference with the sun up from 05:00 to 19:00.
    fn day(reference_mm: f64) -> Demand {
        let sun = 5 * MS_PER_HOUR..19 * MS_PER_HOUR;
        Demand { days: vec![DayDemand { sun, reference_mm }], today: 0, basis: Basis::Light }
    }

    #[test]
    fn a_centimetre_of_loam_holds_under_two_millimetres() {
        // AGRONOMY 1.4: 1000 · (0.25 − 0.5 · 0.12) · 0.01 = 1.9 mm.
        assert!((layer().total().get() - 1.9).abs() < 1e-9);
    }

    #[test]
    fn on_a_hot_day_the_seed_layer_is_empty_within_four_hours_of_midday_sun_and_half_empty_much_sooner() {
        // AGRONOMY 1.4: on an 8 mm day the seed layer is empty in 2 to 4 h of midday sun.
        let at = |hours: f64| {
            let until = 11 * MS_PER_HOUR + (hours * MS_PER_HOUR as f64) as i64;
            dried(&day(8.0), 11 * MS_PER_HOUR, until, &[], false).dryness().get()
        };
        assert!(at(0.5) < 0.5 && at(1.0) >= 0.5, "{} {}", at(0.5), at(1.0));
        assert!(at(2.0) < 0.95 && at(4.0) > 0.95, "{} {}", at(2.0), at(4.0));
    }

    #[test]
    fn rain_wets_it_again_and_night_leaves_it_as_it_is() {
        let noon = 12 * MS_PER_HOUR;
        let of = |rain: &[(i64, f64)], until| {
            dried(&day(8.0), 9 * MS_PER_HOUR, until, rain, false).dryness().get()
        };
        assert!(of(&[], noon) > 0.5);
        assert!(of(&[(noon - 1, 3.0)], noon) < 0.01);
        assert_eq!(of(&[], 20 * MS_PER_HOUR), of(&[], 24 * MS_PER_HOUR));
    }
}
