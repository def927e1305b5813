//! Pots by what is foretold of the hours to come.

use glasshour::entry::{Forecast, Note};
use glasshour::keeper::core::Core;

use super::garden::*;
use super::water::{air, at, pots, water};

/// A forecast of two days from the second of June: today and tomorrow by their lowest and highest, and the light of a level
/// surface at noon, W/m², where it is told.
fn foretell(core: &mut Core, at_ms: i64, extremes: [(f64, f64); 2], noon_w: Option<f64>) {
    let hours = || extremes.into_iter().flat_map(|of_day| (0..24).map(move |hour| (of_day, f64::from(hour))));
    let tenths = |value: f64| libm::round(value * 10.0) as i16;
    let shines = |hour: f64| f64::max(libm::cos((hour - 12.0) / 7.67 * std::f64::consts::FRAC_PI_2), 0.0);
    let light = |noon_w: f64| hours().map(|(_, hour)| Some(tenths(noon_w * shines(hour)))).collect();
    let forecast = Forecast {
        issued_ms: at_ms - MINUTE,
        start_ms: june() + DAY,
        step_min: 60,
        air: hours().map(|((low, high), hour)| tenths(curve(low, high, hour))).collect(),
        light: noon_w.map(light).unwrap_or_default(),
        ..Forecast::default()
    };
    core.note(moment(at_ms), Note::Outlook(forecast), None).unwrap();
}

#[test]
fn what_is_foretold_of_today_and_tomorrow_says_when_pots_are_empty() {
    // After a day of 15 to 22 °C, pots are filled at six on one that is told to have 14 to 34.
    let told_with = |today: Option<(f64, f64)>, noon_w| {
        let mut core = in_memory(&pots(Some(10.0)), june());
        let day = june() + DAY;
        air(&mut core, june(), day + 5 * HOUR, (15.0, 22.0));
        if let Some(today) = today {
            foretell(&mut core, day + 5 * HOUR, [today, today], noon_w);
        }
        air(&mut core, day + 5 * HOUR, day + 6 * HOUR, (15.0, 22.0));
        water(&mut core, day + 6 * HOUR, "pots", 10.0);
        air(&mut core, day + 6 * HOUR, day + 14 * HOUR, (15.0, 22.0));
        let steps = told(&core, "pots");
        steps.into_iter().find(|step| step.turn == "opened" && step.at_ms > day + 6 * HOUR)
    };
    let last_day = told_with(None, None);
    let hot = told_with(Some((14.0, 34.0)), None).unwrap();
    assert!(hot.text.contains("reckoned from the forecast, give or take a third"), "{hot:?}");
    let hours = |step: &Option<Told>| step.as_ref().map_or(14.0, at);
    // Hargreaves goes by the mean and the root of the span: (24 + 17.8) √20 against (18.5 + 17.8) √7, near twice as much.
    assert!(at(&hot) < hours(&last_day) - 1.0, "{hot:?} {last_day:?}");
    // A dull day of the same temperatures asks for less: the sun that is told goes before the span.
    let dull = told_with(Some((14.0, 34.0)), Some(250.0));
    assert!(hours(&dull) > at(&hot) + 0.5, "{dull:?} {hot:?}");
}

#[test]
fn a_pot_that_lasts_into_tomorrow_is_empty_by_tomorrows_weather() {
    // Watered at five in the afternoon, seen at eight in the evening: the rest lies in tomorrow.
    let empty_with = |tomorrow: Option<(f64, f64)>| {
        let mut core = in_memory(&pots(Some(10.0)), june());
        let day = june() + DAY;
        air(&mut core, june(), day + 17 * HOUR, (15.0, 24.0));
        water(&mut core, day + 17 * HOUR, "pots", 10.0);
        if let Some(tomorrow) = tomorrow {
            foretell(&mut core, day + 17 * HOUR, [(15.0, 24.0), tomorrow], None);
        }
        air(&mut core, day + 17 * HOUR, day + DAY + 13 * HOUR, (15.0, 24.0));
        told(&core, "pots").into_iter().find(|step| step.turn == "opened" && step.at_ms > day + DAY)
    };
    let (hot, alike) = (empty_with(Some((14.0, 38.0))).unwrap(), empty_with(None).unwrap());
    assert!(alike.at_ms - hot.at_ms > 30 * MINUTE, "{hot:?} {alike:?}");
}
