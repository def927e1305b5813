use super::*;
use crate::glance::HeatAhead;
use crate::page::fixtures;

fn warned() -> Glance {
    let mut glance = fixtures::heat();
    glance.heat = Some(HeatAhead {
        notice: "heat-dome..2026-07-15".to_owned(),
        from: "2026-07-17".to_owned(),
        to: "2026-07-18".to_owned(),
        about_c: Some(42.0),
        pots: true,
    });
    glance
}

fn lines(all: &[Happening]) -> Vec<String> {
    all.iter().map(|it| format!("{} {}", it.key, it.summary)).collect()
}

#[test]
fn a_heat_plan_has_its_task_for_each_day_and_the_watering_of_the_hot_ones() {
    let all = happenings(&warned(), &[]);
    assert_eq!(
        lines(&all),
        [
            "drill.2027 Hold a drill: try every courier before the heat",
            "heat-dome..2026-07-15.2026-07-15 Heat in 2 days: Water deep and pick all that can be picked.",
            "heat-dome..2026-07-15.2026-07-16 Heat from tomorrow: Shade the pots, check the drip, set an early alarm.",
            "heat-dome..2026-07-15.2026-07-17 Heat, day 1 of 2, about 42 °C outside: Water before sunrise; open all; \
             shade on before ten.",
            "heat-dome..2026-07-15.2026-07-17.water Water before sunrise",
            "heat-dome..2026-07-15.2026-07-18 Heat, day 2 of 2, about 42 °C outside: Water before sunrise; open all; \
             shade on before ten.",
            "heat-dome..2026-07-15.2026-07-18.water Water before sunrise",
        ]
    );
    // The sun of these glances rises at 05:40 (UTC+2), so the quarter before it is 05:30, two days on.
    let rise_ms = fixtures::at(5, 30) + 2 * DAY_MS;
    assert_eq!(all[4].span, Span::Hours { from_ms: rise_ms - 3_600_000, to_ms: rise_ms });
    assert!(all[3].text.contains("Local rules"), "{}", all[3].text);
}

#[test]
fn every_day_that_the_plan_names_has_its_entry_from_the_day_the_notice_opens() {
    let mut glance = warned();
    let heat = glance.heat.as_mut().unwrap();
    (heat.from, heat.to) = ("2026-07-22".to_owned(), "2026-07-23".to_owned());
    // Told of a week ahead: the 17th is five days before the heat, the first that has a task.
    let all = happenings(&glance, &[]);
    let plan = all.iter().filter(|it| it.key.starts_with("heat-dome") && !it.key.ends_with("water"));
    let days: Vec<(NaiveDate, i64)> = plan
        .map(|it| match it.span {
            Span::Days { from, .. } => (from, (day("2026-07-22") - from).num_days()),
            Span::Hours { .. } => panic!("{it:?}"),
        })
        .collect();
    assert_eq!(days.first(), Some(&(day("2026-07-17"), dome::FIRST_DAY)));
    assert_eq!(days.len(), 7);
    for (day, ahead) in days {
        let entry = all.iter().find(|it| it.key.ends_with(&day.to_string())).unwrap();
        assert!(entry.text.starts_with(&dome::task(ahead, true).unwrap()), "{entry:?}");
    }
}

#[test]
fn a_plan_that_moves_by_a_day_tells_each_day_its_new_task() {
    let mut glance = warned();
    let before = happenings(&glance, &[]);
    let heat = glance.heat.as_mut().unwrap();
    (heat.from, heat.to) = ("2026-07-18".to_owned(), "2026-07-19".to_owned());
    let after = happenings(&glance, &[]);
    let of = |all: &[Happening]| all.iter().find(|it| it.key.ends_with("2026-07-16")).unwrap().clone();
    assert!(of(&after).summary.starts_with("Heat in 2 days") && of(&after).is_news(&of(&before)));
    assert!(!of(&after).is_news(&of(&after)));
}

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

#[test]
fn without_an_open_notice_there_is_no_plan() {
    let mut glance = warned();
    glance.heat = None;
    assert_eq!(
        lines(&happenings(&glance, &[])),
        ["drill.2027 Hold a drill: try every courier before the heat"]
    );
}

fn ripe() -> Season {
    let mut season = fixtures::season();
    let milestone = &mut season.milestones[1];
    (milestone.earliest, milestone.latest) = (Some("2026-07-12".to_owned()), Some("2026-07-20".to_owned()));
    (milestone.reached, milestone.noted) = (None, None);
    season
}

#[test]
fn a_milestone_has_its_range_and_once_seen_its_day() {
    let of = |season: Season| {
        let all = happenings(&fixtures::calm(), &[season]);
        all.into_iter().find(|it| it.key == "tomato-1.first-ripe").unwrap()
    };
    let foretold = of(ripe());
    assert_eq!(foretold.summary, "Tomato ‘Amber Thimble’: first ripe 12 to 20 July");
    assert!(foretold.foretold && foretold.text.contains("985 to 1060 degree days (mean-capped 7/28)"));
    let mut season = ripe();
    season.milestones[1].noted = Some("2026-07-14".to_owned());
    let seen = of(season);
    assert!(seen.done && seen.summary == "Tomato ‘Amber Thimble’: first ripe seen");
}

#[test]
fn a_range_that_moves_by_two_days_stays_as_it_was_told_and_by_three_is_news() {
    let range = |from: &str, to: &str| Happening {
        key: "a".to_owned(),
        span: Span::Days { from: day(from), to: day(to) },
        summary: words(day(from), day(to)),
        text: String::new(),
        foretold: true,
        done: false,
    };
    let told = range("2026-07-12", "2026-07-20");
    assert!(!range("2026-07-14", "2026-07-18").is_news(&told));
    assert!(range("2026-07-12", "2026-07-23").is_news(&told));
    assert!(range("2026-07-09", "2026-07-20").is_news(&told));
    let seen = Happening { foretold: false, done: true, ..range("2026-07-13", "2026-07-13") };
    assert!(seen.is_news(&told) && !told.is_news(&seen), "what has been stays");
}

#[test]
fn the_drill_is_due_on_the_first_of_march_and_a_drill_in_spring_takes_its_place() {
    let mut glance = fixtures::calm();
    // 2027-02-20, 12:00 UTC (by `date -u -d @1803124800`).
    glance.at_ms = 1_803_124_800_000;
    let due = |glance: &Glance| happenings(glance, &[]).remove(0);
    let march = NaiveDate::from_ymd_opt(2027, 3, 1).unwrap();
    assert_eq!(
        (due(&glance).key.as_str(), due(&glance).span),
        ("drill.2027", Span::Days { from: march, to: march })
    );
    let mut held = fixtures::heat().open.remove(0);
    (held.minder, held.opened_ms) = (DRILL.to_owned(), glance.at_ms - 3_600_000);
    glance.closed_lately = vec![held];
    let done = due(&glance);
    assert!(done.done && done.key == "drill.2027" && done.summary.starts_with("Drill held"));
}

#[test]
fn ranges_are_said_in_the_fewest_words() {
    assert_eq!(words(day("2026-07-12"), day("2026-07-20")), "12 to 20 July");
    assert_eq!(words(day("2026-06-28"), day("2026-07-03")), "28 June to 3 July");
    assert_eq!(words(day("2026-07-12"), day("2026-07-12")), "about 12 July");
}
