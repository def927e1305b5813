//! Too dry and too damp: to the page only, dry by day only, silent while heat speaks.

use super::garden::*;

fn feed(core: &mut glasshour::keeper::core::Core, from_ms: i64, minutes: i64, t_c: f64, rh_pct: f64) {
    for minute in 0..minutes {
        hear(core, from_ms + minute * MINUTE, &[("post", AIR, t_c), ("post", HUMIDITY, rh_pct)]);
    }
}

#[test]
fn dry_air_is_told_after_an_hour_by_day_and_closed_at_night() {
    let mut core = in_memory(&tomato_house(), june());
    // 30 °C at 30 %: 2.97 kPa (4.2431 kPa at saturation, FAO-56 annex 2, less 30 %).
    feed(&mut core, june() + 14 * HOUR, 9 * 60, 30.0, 30.0);
    let told = told(&core, "air");
    assert_eq!(outline(&told[..1], june() + 14 * HOUR), [(60, "opened", "minor")]);
    assert!(told[0].text.contains("3.0 kPa"), "{}", told[0].text);
    assert_eq!(told.len(), 2);
    assert_eq!(told[1].turn, "closed");
    let (_, sunset) = site().sun(calendar().day_of(june())).unwrap();
    assert!((told[1].at_ms - sunset).abs() <= 2 * MINUTE, "with the sun");
    assert!(told.iter().all(|step| !step.pushed));
}

#[test]
fn dry_air_by_night_is_not_told() {
    let mut core = in_memory(&tomato_house(), june());
    feed(&mut core, june(), 3 * 60, 30.0, 30.0);
    assert!(told(&core, "air").is_empty());
}

#[test]
fn damp_air_is_told_by_night_after_two_hours() {
    let mut core = in_memory(&tomato_house(), june());
    // 15 °C at 99 %: 0.017 kPa (1.7053 kPa at saturation, FAO-56 annex 2).
    feed(&mut core, june(), 3 * 60, 15.0, 99.0);
    let told = told(&core, "air");
    assert_eq!(outline(&told, june()), [(120, "opened", "minor")]);
    assert!(told[0].text.contains("damp air, 0.02 kPa"), "{}", told[0].text);
}

#[test]
fn harsh_air_that_comes_while_a_heat_notice_stands_is_one_more_step_of_it_and_no_notice_of_its_own() {
    let mut core = in_memory(&tomato_house(), june());
    let ten = june() + 10 * HOUR;
    // 33 °C at 45 %: 2.77 kPa, at 20 %: 4.02 kPa (5.0308 kPa at saturation, FAO-56 annex 2). Past 1.6, and past 2.5 or so,
    // for an hour each.
    feed(&mut core, ten, 30, 33.0, 80.0);
    feed(&mut core, ten + 30 * MINUTE, 6 * 60, 33.0, 20.0);
    assert!(told(&core, "air").is_empty(), "{:?}", told(&core, "air"));
    let heat = told(&core, "too-hot");
    let of_air: Vec<_> = heat
        .iter()
        .filter(|step| step.text.contains("deficit 4.0 kPa") && step.text.contains("Harsh air."))
        .collect();
    assert_eq!(of_air.len(), 1, "{heat:?}");
    assert_eq!(((of_air[0].at_ms - ten) / MINUTE, of_air[0].turn.as_str()), (90, "worsened"));
    assert!(of_air[0].text.contains("The air pulls hard: water first"), "the order as well: {of_air:?}");
    assert!(heat.iter().all(|step| !step.pushed && step.severity == "moderate"), "{heat:?}");
}

#[test]
fn heat_that_comes_after_takes_over() {
    let mut core = in_memory(&tomato_house(), june());
    feed(&mut core, june() + 9 * HOUR, 90, 30.0, 30.0);
    feed(&mut core, june() + 10 * HOUR + 30 * MINUTE, 30, 33.0, 30.0);
    let told = told(&core, "air");
    assert_eq!(outline(&told, june() + 9 * HOUR), [(60, "opened", "minor"), (100, "closed", "minor")]);
    assert!(told[1].title.contains("heat notice says"));
}

#[test]
fn humidity_that_falls_silent_overnight_says_nothing_of_the_morning() {
    let mut core = in_memory(&tomato_house(), june());
    feed(&mut core, june() + 16 * HOUR, 4 * 60, 30.0, 30.0);
    let before = told(&core, "air").len();
    // Only the temperature goes on.
    walk(&mut core, "post", june() + 20 * HOUR, 10 * MINUTE, &[(0, 25.0), (12 * HOUR, 20.0)]);
    let after = told(&core, "air");
    assert!(after[before..].iter().all(|step| !step.text.contains("NaN")), "{after:?}");
    assert!(after[before..].iter().all(|step| step.turn == "closed"), "{after:?}");
}
