//! What a closed day came to for the minders that look at days: damp and mild hours for signs of disease, light, the
//! mean, and the heat of a heap. Kept in memory for the last weeks, and read again from the ledger at a start.

use std::collections::{BTreeMap, VecDeque};
use std::ops::Range;

use agronomy::compost::HeapDay;
use agronomy::light::daily_light_of_sun;
use agronomy::quantity::Quantity;
use agronomy::series::{self, COUNTS_IN_FULL_MS, Held, MS_PER_DAY, MS_PER_HOUR};
use agronomy::signs::grey_mould::{Damp, damp_hours};
use agronomy::signs::infection::{WetSpell, wet_spells};
use agronomy::signs::late_blight::BlightDay;
use agronomy::signs::mildew::MildewDay;
use agronomy::signs::spider_mite::MiteDay;
use agronomy::units::{DailyRadiation, HoursOfDay, Kilopascal, RelativeHumidity};

use super::pages::{Readings, held};
use crate::calendar::Day;
use crate::entry::PlaceKind;
use crate::ground::{Ground, Place};
use crate::site::Site;

/// Days that are kept: the mildew index forgets within two weeks, a heap is turned within four.
pub const SEEN_DAYS: Day = 30;
/// Days back to which nights, wet leaves and dry heat are looked at: the rule for mites wants five, as of yesterday and as
/// of the day before.
const NEAR_DAYS: Day = 6;
/// How long leaves are taken as wet after rain, ms (from memory, S128 of the source list; how long they take to dry after
/// that is not known).
const WET_AFTER_RAIN_MS: i64 = 2 * MS_PER_HOUR;
/// Share of the daylight that must be known for a day's light to count.
const LIGHT_KNOWN: f64 = 0.75;

/// What a day of a place came to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct DaySeen {
    /// Which day.
    pub day: Day,
    /// Mean of the air, °C, where 18 hours are known.
    pub mean_c: Option<f64>,
    /// For late blight.
    pub blight: Option<BlightDay>,
    /// For powdery mildew.
    pub mildew: Option<MildewDay>,
    /// Damp hours of the night that ended in its morning, for grey mould; of the nearest days.
    pub damp_night: Option<HoursOfDay>,
    /// Spells of wet leaf that reached into it; of the nearest days.
    pub wet_spells: Option<Vec<WetSpell>>,
    /// For spider mites; of the nearest days.
    pub mites: Option<MiteDay>,
    /// The humidity probe stood at saturation for half the day while the air swung: a wet film lies on it.
    pub wet_film: bool,
    /// Light of the day, mol/m².
    pub light_mol: Option<f64>,
    /// Of a heap: its coldest and hottest.
    pub heap: Option<HeapDay>,
}

/// Keeps what a day came to with those of the last days, oldest first, in the place of an earlier word on the same day.
pub(super) fn keep<T>(
    kept: &mut BTreeMap<String, VecDeque<T>>,
    whose: &str,
    new: T,
    day: impl Fn(&T) -> Day,
) {
    let days = kept.entry(whose.to_owned()).or_default();
    days.retain(|it| day(it) != day(&new) && day(it) > day(&new) - SEEN_DAYS);
    days.push_back(new);
}

/// The last days of every place.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct DaysSeen(BTreeMap<String, VecDeque<DaySeen>>);

impl DaysSeen {
    /// Keeps a closed day, oldest first.
    pub fn keep(&mut self, place: &str, seen: DaySeen) {
        keep(&mut self.0, place, seen, |it| it.day);
    }

    /// The kept days of a place before a day, earliest first.
    pub fn before(&self, place: &str, day: Day) -> Vec<&DaySeen> {
        let days = self.0.get(place).into_iter().flatten();
        days.filter(|seen| seen.day < day && seen.day >= day - SEEN_DAYS).collect()
    }
}

/// Sees a day of a place; none where nothing grows or rots there. `ago`: how many days ago it is, 1 for yesterday: light
/// is asked for of yesterday only, and the sun's path costs.
pub fn see(
    site: &Site,
    ground: &Ground,
    readings: &dyn Readings,
    place: &Place,
    day: Day,
    ago: Day,
) -> Option<DaySeen> {
    let start = site.calendar.start_of(day);
    let window = start..start + MS_PER_DAY;
    let mut seen = DaySeen { day, ..DaySeen::default() };
    if place.kind == PlaceKind::Heap {
        seen.heap = heap(ground, readings, &place.id, &window);
        return Some(seen);
    }
    let mut plantings = ground.plantings.iter().filter(|planting| planting.place == place.id);
    plantings.find(|it| it.from_ms < window.end && it.ended_ms.is_none_or(|ended| ended > start))?;
    // From a day before, for the value that is carried in.
    let wide = start - MS_PER_DAY..window.end;
    let of = |quantity| held(ground, readings, &place.id, quantity, &wide);
    let (air, humidity) = (of(Quantity::AirTemperature), of(Quantity::RelativeHumidity));
    let inside = |held: &[Held]| -> Vec<Held> { held.iter().filter_map(|it| it.within(&window)).collect() };
    let today = inside(&air);
    if series::held_ms(today.iter().copied()) >= COUNTS_IN_FULL_MS {
        seen.mean_c = series::time_weighted_mean(today.iter().copied());
    }
    seen.blight = BlightDay::of(air.iter().copied(), humidity.iter().copied(), &window);
    seen.mildew = MildewDay::of(air.iter().copied(), &window);
    seen.wet_film = wet_film(&today, &inside(&humidity));
    if ago <= NEAR_DAYS {
        let open = !place.kind.under_cover();
        let rain = if open { rained(ground, readings, &wide) } else { Vec::new() };
        near(&mut seen, site, (&air, &humidity), &rain, &window);
    }
    if ago == 1 {
        let up = site.sun(day).map_or(window.clone(), |(rise, set)| rise..set);
        seen.light_mol = light(&inside(&of(Quantity::Light)), &up);
    }
    Some(seen)
}

/// What is looked at of the nearest days only: the night, wet leaves, dry heat.
fn near(
    seen: &mut DaySeen,
    site: &Site,
    (air, humidity): (&[Held], &[Held]),
    rain: &[Held],
    window: &Range<i64>,
) {
    let (temperatures, shares) = (|| air.iter().copied(), || humidity.iter().copied());
    seen.mites = MiteDay::of(temperatures(), shares(), window);
    let global = &site.book.global;
    let wet_from = RelativeHumidity::try_new(global.canopy_wet_rh_pct.middle());
    let Ok(wet_from) = wet_from else { return };
    let wetted = series::fill(rain, shares());
    seen.wet_spells = wet_spells(temperatures(), wetted.into_iter(), wet_from, window);
    if let Ok(deficit) = Kilopascal::try_new(global.disease_low_vpd_kpa.middle()) {
        let damp = Damp { humidity: wet_from, deficit };
        seen.damp_night = damp_hours(temperatures(), shares(), damp, &site.night_before(seen.day));
    }
}

/// While leaves in the open are wet from rain, as air of 100 %: by the first gauge that measured any, wherever it stands.
fn rained(ground: &Ground, readings: &dyn Readings, wide: &Range<i64>) -> Vec<Held> {
    let hangs = ground.hangs.iter().filter(|hang| hang.overlaps(wide.start, wide.end));
    let gauges = hangs.map(|hang| readings.sound(&hang.probe, Quantity::Rain, wide.clone()));
    let rain = gauges.into_iter().find(|rain| !rain.is_empty()).unwrap_or_default();
    let fell = rain.into_iter().filter(|(_, mm)| *mm > 0.0).map(|(at, _)| (at, 100.0));
    series::hold(fell, WET_AFTER_RAIN_MS / 2, wide.clone()).collect()
}

/// Common practice: 99.5 % or more for over 12 hours while the air swings by more than 5 °C.
fn wet_film(air: &[Held], humidity: &[Held]) -> bool {
    let saturated = humidity.iter().filter(|it| it.value >= 99.5).copied();
    let low = air.iter().map(|it| it.value).fold(f64::INFINITY, f64::min);
    let high = air.iter().map(|it| it.value).fold(f64::NEG_INFINITY, f64::max);
    series::held_ms(saturated) > 12 * MS_PER_HOUR && high - low > 5.0
}

/// The photons of a day's sun, mol/m²; none where too little of the daylight was measured.
fn light(light: &[Held], up: &Range<i64>) -> Option<f64> {
    let by_day = light.iter().filter_map(|it| it.within(up));
    let known = series::held_ms(by_day) as f64 / (up.end - up.start).max(1) as f64;
    let joules: f64 = light.iter().map(|it| it.value.max(0.0) * it.ms() as f64 / 1000.0).sum();
    let radiation = DailyRadiation::try_new(joules / 1e6).ok()?;
    (known >= LIGHT_KNOWN).then(|| daily_light_of_sun(radiation).get())
}

fn heap(ground: &Ground, readings: &dyn Readings, place: &str, window: &Range<i64>) -> Option<HeapDay> {
    let probes: Vec<Vec<Held>> = ground
        .hangs_in(place, window.start, window.end)
        .map(|hang| {
            let wide = window.start - 2 * hang.usual_interval_ms..window.end;
            let hung =
                wide.start.max(hang.from_ms)..hang.until_ms.map_or(wide.end, |until| until.min(wide.end));
            let sound = readings.sound(&hang.probe, Quantity::SoilTemperature, hung.clone());
            series::hold(sound.into_iter(), hang.usual_interval_ms, hung).collect()
        })
        .filter(|held: &Vec<Held>| !held.is_empty())
        .collect();
    let probes: Vec<&[Held]> = probes.iter().map(Vec::as_slice).collect();
    HeapDay::of(&probes, window, false)
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOUR: i64 = MS_PER_HOUR;

    fn stretch(from_h: i64, until_h: i64, value: f64) -> Held {
        Held { start_ms: from_h * HOUR, end_ms: until_h * HOUR, value }
    }

    #[test]
    fn a_day_of_28_megajoules_is_58_moles() {
        // AGRONOMY 2.7: 28 MJ outside = 58 mol. 500 W/m² over 15 h 33 min 20 s are 28 MJ.
        let day = Held { start_ms: 5 * HOUR, end_ms: 5 * HOUR + 56_000_000, value: 500.0 };
        let mol = light(&[day], &(5 * HOUR..5 * HOUR + 56_000_000)).unwrap();
        assert!((mol - 58.0).abs() < 0.5, "{mol}");
    }

    #[test]
    fn light_of_half_a_day_is_no_days_light() {
        assert_eq!(light(&[stretch(5, 12, 500.0)], &(5 * HOUR..20 * HOUR)), None);
        assert!(light(&[stretch(5, 17, 500.0)], &(5 * HOUR..20 * HOUR)).is_some());
    }

    #[test]
    fn a_film_of_water_is_a_probe_at_saturation_while_the_air_swings() {
        let swinging = [stretch(0, 12, 12.0), stretch(12, 24, 24.0)];
        assert!(wet_film(&swinging, &[stretch(0, 13, 100.0), stretch(13, 24, 60.0)]));
        assert!(!wet_film(&swinging, &[stretch(0, 12, 100.0), stretch(12, 24, 60.0)]));
        assert!(!wet_film(&[stretch(0, 24, 12.0)], &[stretch(0, 24, 100.0)]), "a foggy day");
    }

    #[test]
    fn leaves_are_wet_for_two_hours_after_rain_and_dry_by_the_air_after_that() {
        // By hand: rain at 01:00 and 02:30 holds to 04:30; `hold` keeps a value for twice the interval it is given.
        let fell = [(HOUR, 100.0), (5 * HOUR / 2, 100.0)];
        let rain: Vec<Held> = series::hold(fell.into_iter(), WET_AFTER_RAIN_MS / 2, 0..24 * HOUR).collect();
        let wetted = series::fill(&rain, [stretch(0, 24, 60.0)].into_iter());
        let wet = wetted.iter().filter(|it| it.value == 100.0).map(|it| (it.start_ms, it.end_ms));
        assert_eq!(wet.collect::<Vec<_>>(), [(HOUR, 5 * HOUR / 2), (5 * HOUR / 2, 9 * HOUR / 2)]);
        assert_eq!(series::held_ms(wetted.into_iter()), 24 * HOUR);
    }

    #[test]
    fn days_are_kept_for_thirty_days_each_once() {
        let of = |day| DaySeen { day, ..DaySeen::default() };
        let mut days = DaysSeen::default();
        for day in (0..40).chain([39]) {
            days.keep("house", of(day));
        }
        let kept: Vec<Day> = days.before("house", 40).iter().map(|seen| seen.day).collect();
        assert_eq!(kept, (10..40).collect::<Vec<_>>());
        assert!(days.before("house", 10).is_empty() && days.before("bed", 40).is_empty());
    }
}
