//! Heat that a forecast foretells, judged by what stands here and not by what is hot elsewhere.
//!
//! A crop's heat wave is two days running at the line where it is harmed; a house's, two days running above its own.
//! What is judged is the air of the place as the forecast means it there, so a house that stays cool raises nothing
//! however hot it is outside. Beside them stands the excess heat factor, which compares three days with all that the
//! place has known and with the month before.

use agronomy::heat_stress::DayAtLine;
use agronomy::heat_waves::{Excess, Grade, Looking, Reference, Streak, Wave, day_mean};
use agronomy::units::Celsius;

use crate::calendar::{Day, day};
use crate::minders::place_now::{PlaceNow, Standing};
use crate::minders::words::{planting, stage_condition};
use crate::outlook::ahead::{DayAhead, Origin};

/// Days that the excess heat factor judges together.
const EXCESS_DAYS: Day = 3;

/// Which of the two newest forecasts is asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Which {
    /// The newest.
    Newest,
    /// The one before it.
    Before,
}

/// A heat wave in one place.
#[derive(Clone, Debug, PartialEq)]
pub struct PlaceWave {
    /// What the grower calls the place.
    pub name: String,
    /// First day; it may be over already.
    pub from: Day,
    /// Last day.
    pub to: Day,
    /// Highest expected there, °C.
    pub peak_c: f64,
    /// It is that of outside: nobody measures the place, and under cover it may be hotter.
    pub of_outside: bool,
    /// What has to be said of the forecast, where it missed too often there lately.
    pub poor: Option<String>,
    /// The tenderest planting that is touched: its id, its words, its line (°C), and the stage it has to be in.
    pub tenderest: Option<(String, String, f64, String)>,
    /// The place's own line where it is passed, °C.
    pub place_line_c: Option<f64>,
}

/// Three days that are hot beyond what the place knows.
#[derive(Clone, Debug, PartialEq)]
pub struct ExcessWave {
    /// First day.
    pub from: Day,
    /// Last day.
    pub to: Day,
    /// The worst of it, in multiples of the place's own grave heat wave.
    pub times: f64,
    /// What the scale rests on, where that is short.
    pub relative_to: Option<String>,
}

/// The next heat wave that a forecast foretells.
#[derive(Clone, Debug, PartialEq)]
pub struct HeatWave {
    /// First day; it may be over already.
    pub from: Day,
    /// Last day, today or later.
    pub to: Day,
    /// The places it touches.
    pub places: Vec<PlaceWave>,
    /// Heat beyond what the place knows.
    pub excess: Option<ExcessWave>,
    /// Hotter than these last two weeks by more than 2 °C somewhere, past a place's own line, or beyond what the place
    /// knows: worth a buzz. On ordinary summer days crops pass their lines too.
    pub out_of_the_ordinary: bool,
}

impl HeatWave {
    /// What one of the two newest forecasts foretells; none where it foretells no heat wave, and where it reaches no
    /// place.
    pub fn of(places: &[PlaceNow<'_>], which: Which, today: Day, excess: Option<ExcessWave>) -> Option<Self> {
        let mut touched = Vec::new();
        let mut extraordinary = excess.is_some();
        for now in places {
            let days = match which {
                Which::Newest => &now.foretold.newest,
                Which::Before => &now.foretold.before,
            };
            let Some(wave) = of_place(now, days, today) else { continue };
            let usual_known = now.median_high_c.is_some();
            extraordinary |=
                wave.place_line_c.is_some() || !usual_known || now.out_of_the_ordinary(wave.peak_c);
            touched.push(wave);
        }
        let spans = touched.iter().map(|it| (it.from, it.to)).chain(excess.iter().map(|it| (it.from, it.to)));
        let (from, to) = spans.reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)))?;
        Some(Self { from, to, places: touched, excess, out_of_the_ordinary: extraordinary })
    }
}

/// The next heat wave of a place.
fn of_place(now: &PlaceNow<'_>, days: &[DayAhead], today: Day) -> Option<PlaceWave> {
    let wave_at = |line_c: f64| next_wave(&now.foretold.highs, days, line_c, today);
    let mut crops: Vec<(&Standing<'_>, Wave)> =
        now.standing.iter().filter_map(|it| Some((it, wave_at(it.lines.severe_c)?))).collect();
    crops.sort_by(|a, b| a.0.lines.severe_c.total_cmp(&b.0.lines.severe_c));
    let house = now.place_line_c.and_then(|line_c| Some((line_c, wave_at(line_c)?)));
    let spans = crops.iter().map(|(_, wave)| *wave).chain(house.map(|(_, wave)| wave));
    let (from, to) = spans.map(|it| (it.first, it.last)).reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)))?;
    let peak_c = days.iter().filter(|it| (from..=to).contains(&it.day)).map(|it| it.high.middle_c);
    let tenderest = crops.first().map(|(standing, _)| {
        let line_c = standing.lines.severe_c;
        (standing.planting.id.clone(), planting(standing), line_c, stage_condition(standing, line_c))
    });
    Some(PlaceWave {
        name: now.name.to_owned(),
        from,
        to,
        peak_c: peak_c.reduce(f64::max)?,
        of_outside: now.foretold.of_outside,
        poor: now.foretold.poor(),
        tenderest,
        place_line_c: house.map(|(line_c, _)| line_c),
    })
}

/// The first heat wave against a line that is not over: days that were measured first, then those that are expected.
/// Days of the own estimate are unknown: it cannot see heat come.
pub fn next_wave(measured: &[(Day, f64)], days: &[DayAhead], line_c: f64, today: Day) -> Option<Wave> {
    let line = Celsius::try_new(line_c).ok()?;
    let celsius = |value: f64| Celsius::try_new(value).ok();
    let been = measured.iter().filter(|(day, _)| *day < today);
    let been = been.map(|(day, high)| (*day, DayAtLine::measured(celsius(*high), line)));
    let told = days.iter().filter(|it| it.origin == Origin::Forecast && it.day >= today);
    let told = told.map(|it| (it.day, DayAtLine::expected(celsius(it.high.middle_c), line)));
    let mut streak = Streak::default();
    let mut found: Option<Wave> = None;
    for (day, at_line) in been.chain(told) {
        let Some(wave) = streak.step(day, at_line) else { continue };
        if wave.last >= today && found.is_none_or(|known| known.first == wave.first) {
            found = Some(wave);
        }
    }
    found
}

/// Lowest and highest of a day outdoors, °C.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Swing {
    /// Which day.
    pub day: Day,
    /// Lowest.
    pub low_c: f64,
    /// Highest.
    pub high_c: f64,
}

/// The daily means of days in a row, from lows and highs in order of the days: a day's highest with the lowest that
/// follows it, so the last day has none. The first day, and the means.
pub fn daily_means(swings: &[Swing]) -> (Day, Vec<Option<Celsius>>) {
    let (Some(first), Some(last)) = (swings.first(), swings.last()) else { return (0, Vec::new()) };
    let mut means = vec![None; (last.day - first.day).max(0) as usize];
    for pair in swings.windows(2) {
        let (today, next) = (pair[0], pair[1]);
        if next.day == today.day + 1 {
            let extremes = Celsius::try_new(today.high_c).ok().zip(Celsius::try_new(next.low_c).ok());
            means[(today.day - first.day) as usize] = extremes.map(|(high, low)| day_mean(high, low));
        }
    }
    (first.day, means)
}

/// The next days that are hot beyond what the place knows: severe by the excess heat factor.
///
/// `swings`: the place's own days and the expected ones after them. Without a whole year of its own a place has no
/// scale; without the last thirty days, every one, the factor is not known.
///
/// # Source
///
/// Nairn & Fawcett (2015), Int. J. Environ. Res. Public Health 12, 227-253, as `agronomy::heat_waves` has it.
pub fn excess(swings: &[Swing], reference: &Reference, today: Day) -> Option<ExcessWave> {
    let (first, means) = daily_means(swings);
    let heat = Excess { days: &means, looking: Looking::Forward, hot_day: reference.hot_day };
    let mut found: Option<ExcessWave> = None;
    for day in today - EXCESS_DAYS + 1..first + means.len() as Day {
        let at = usize::try_from(day - first).ok().and_then(|at| heat.at(at));
        let grave = at.filter(|heat| reference.grade(heat) >= Some(Grade::Severe));
        let Some(times) = grave.and_then(|heat| reference.severity(&heat)) else { continue };
        let wave = found.get_or_insert_with(|| ExcessWave {
            from: day,
            to: day,
            times,
            relative_to: reference.relative_to(),
        });
        if day <= wave.to + 1 {
            (wave.to, wave.times) = (day + EXCESS_DAYS - 1, wave.times.max(times));
        }
    }
    found
}

/// Whether with a fresh forecast two days or more come to the tenderest planting's severe line, today among them by what it
/// has been or is told to become.
pub fn more_days_are_foretold(now: &PlaceNow<'_>) -> bool {
    let told = &now.foretold.newest;
    let (Some(tenderest), Some(today)) = (now.tenderest(), day(&now.date)) else { return false };
    let foretold = told.iter().find(|it| it.day == today && it.origin == Origin::Forecast);
    let high = now.high.map(|(high, _)| high).into_iter().chain(foretold.map(|it| it.high.middle_c));
    let today_c = high.reduce(f64::max).map(|high| (today, high));
    let wave = next_wave(today_c.as_slice(), told, tenderest.lines.severe_c, today + 1);
    now.foretold.fresh && wave.is_some()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::outlook::correct::Ranged;

    fn told(first: Day, highs: &[f64]) -> Vec<DayAhead> {
        let day = |(day, high): (Day, &f64)| DayAhead {
            day,
            high: Ranged::about(*high, 2.0),
            low: Ranged::about(*high - 12.0, 2.0),
            origin: Origin::Forecast,
        };
        (first..).zip(highs).map(day).collect()
    }

    fn wave(measured: &[(Day, f64)], highs: &[f64]) -> Option<(Day, Day)> {
        next_wave(measured, &told(100, highs), 35.0, 100).map(|wave| (wave.first, wave.last))
    }

    #[test]
    fn two_days_above_a_line_make_a_wave_and_one_or_a_day_on_the_line_does_not() {
        // Common practice: two days running; AGRONOMY 4.1 (crop heat wave).
        assert_eq!(wave(&[], &[30.0, 36.0, 37.0, 30.0]), Some((101, 102)));
        assert_eq!(wave(&[], &[30.0, 36.0, 30.0, 36.0]), None);
        assert_eq!(wave(&[], &[30.0, 35.0, 35.0, 30.0]), None, "what is only expected must exceed it");
        assert_eq!(wave(&[], &[30.0, 36.0, 34.5, 36.0]), Some((101, 103)), "only a clear miss ends it");
    }

    #[test]
    fn a_wave_that_began_before_today_goes_on_and_one_that_is_over_is_not_found() {
        assert_eq!(wave(&[(98, 36.0), (99, 36.0)], &[36.0, 30.0]), Some((98, 100)));
        assert_eq!(wave(&[(98, 36.0), (99, 36.0)], &[30.0, 30.0]), None);
        assert_eq!(wave(&[(99, 36.0)], &[30.0, 36.0, 36.0, 30.0, 36.0]), Some((101, 102)), "the next one");
    }

    #[test]
    fn the_own_estimate_makes_no_wave() {
        let mut days = told(100, &[40.0; 5]);
        for day in &mut days {
            day.origin = Origin::OwnEstimate;
        }
        assert_eq!(next_wave(&[], &days, 35.0, 100), None);
    }

    /// A year of days that swing by the season, with an ordinary hot spell in its middle, and five days ahead.
    fn year(ahead: f64) -> (Vec<Swing>, Reference) {
        let swing = |day: Day| {
            let season = 10.0 - 10.0 * libm::cos(std::f64::consts::TAU * day as f64 / 365.0);
            let spell = if (150..154).contains(&day) { 6.0 } else { 0.0 };
            Swing { day, low_c: season + spell, high_c: season + spell + 10.0 }
        };
        let mut swings: Vec<Swing> = (0..570).map(swing).collect();
        let reference = Reference::learn(&daily_means(&swings).1).unwrap();
        swings.extend((570..575).map(|day| Swing {
            day,
            low_c: swing(day).low_c + ahead,
            high_c: swing(day).high_c + ahead,
        }));
        (swings, reference)
    }

    #[test]
    fn heat_beyond_what_the_place_knows_is_found_and_names_the_years_it_is_relative_to() {
        let (swings, reference) = year(15.0);
        let found = excess(&swings, &reference, 570).unwrap();
        assert!(found.times >= 1.0 && found.from >= 568 && found.to <= 574, "{found:?}");
        assert_eq!(found.relative_to.as_deref(), Some("relative to your own single year"));
        let (swings, reference) = year(0.0);
        assert_eq!(excess(&swings, &reference, 570), None);
        let (mut swings, reference) = year(15.0);
        swings.retain(|it| it.day != 555);
        assert_eq!(excess(&swings, &reference, 570), None, "a day of the month before is not known");
    }
}
