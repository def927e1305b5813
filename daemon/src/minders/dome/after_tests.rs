use agronomy::heat_stress::damage::damage;

use super::*;
use crate::calendar::day;

const CALENDAR: fn() -> Calendar = || Calendar::fixed(0);

fn noon(date: &str) -> i64 {
    CALENDAR().start_of(day(date).unwrap()) + 12 * 3_600_000
}

fn step(minder: &str, date: &str, turn: Turn, severity: Severity) -> Step {
    Step {
        notice: format!("{minder}-1"),
        minder: minder.into(),
        place: String::new(),
        turn,
        ..crate::entry::fixtures::step(noon(date), severity, "")
    }
}

fn spelled(told: &[Step], date: &str) -> Option<(String, String)> {
    let spell = spell(told, &CALENDAR(), noon(date))?;
    Some((crate::calendar::date(spell.first), crate::calendar::date(spell.last)))
}

fn dome(closed: Option<&str>) -> Vec<Step> {
    let mut told = vec![
        step(HEAT_DOME, "2026-07-12", Turn::Opened, Severity::Severe),
        step(HEAT_DOME, "2026-07-15", Turn::Worsened, Severity::Extreme),
    ];
    told.extend(closed.map(|date| step(HEAT_DOME, date, Turn::Closed, Severity::Extreme)));
    told
}

#[test]
fn a_foretold_heat_wave_is_over_the_day_after_it_closed_and_for_two_weeks() {
    let told = dome(Some("2026-07-19"));
    let wave = Some(("2026-07-15".to_owned(), "2026-07-19".to_owned()));
    assert_eq!(spelled(&told, "2026-07-19"), None);
    assert_eq!(spelled(&told, "2026-07-20"), wave);
    assert_eq!(spelled(&told, "2026-08-02"), wave);
    assert_eq!(spelled(&told, "2026-08-03"), None);
    assert_eq!(spelled(&dome(None), "2026-07-20"), None, "it is still told of");
}

#[test]
fn one_that_never_began_leaves_no_list() {
    let told = [
        step(HEAT_DOME, "2026-07-12", Turn::Opened, Severity::Severe),
        step(HEAT_DOME, "2026-07-14", Turn::Closed, Severity::Severe),
    ];
    assert_eq!(spelled(&told, "2026-07-16"), None);
}

#[test]
fn heat_that_nobody_foretold_counts_where_it_buzzed_on_two_days_running() {
    let hot = |date: &str| step(TOO_HOT, date, Turn::Worsened, Severity::Extreme);
    let two = Some(("2026-07-15".to_owned(), "2026-07-16".to_owned()));
    let felt = [hot("2026-07-10"), hot("2026-07-15"), hot("2026-07-16")];
    assert_eq!(spelled(&felt, "2026-07-17"), None, "it may go on today");
    assert_eq!(spelled(&felt, "2026-07-18"), two);
    assert_eq!(spelled(&[hot("2026-07-14"), hot("2026-07-16")], "2026-07-18"), None);
}

/// Tomatoes in flower through five days of heat from the 15th of July.
fn tomatoes(days_wanted: u32) -> Touched {
    let book = config::crop_book().unwrap();
    let first = day("2026-07-15").unwrap();
    Touched {
        planting: "red".into(),
        name: "tomatoes ‘Brindle’".into(),
        days: 5,
        only_if: String::new(),
        flowers: damage(&book.crops["tomato"], first..=first + 4).collect(),
        bolts: false,
        lines_c: (32.0, Some(21.0)),
        recovery: Recovery { days_wanted, nights_wanted: 0 },
        recovered: (days_wanted == 0).then_some(first + 8),
    }
}

fn judged(touched: &[Touched], open: bool) -> Option<Verdict> {
    let spell = Spell { first: day("2026-07-15").unwrap(), last: day("2026-07-19").unwrap() };
    judge(Some(spell), touched, open, &CALENDAR(), noon("2026-07-20"))
}

#[test]
fn the_list_names_the_gap_by_its_dates_and_what_pruning_waits_for() {
    use crate::minders::word::Says;
    let Some(Verdict { says: Says::Word(word), .. }) = judged(&[tomatoes(3)], false) else { panic!() };
    // Tomato: flowers opening up to 13 days after the day are touched (Sato, Peet & Thomas 2000, as `damage` has it).
    // The crop book gives 35 to 49 days from flower to picking, read by eye: from 15 July on 35 days is 19 August; from
    // 1 August (19 July and 13 days) on 49 is 19 September.
    for part in [
        "After the heat of 15 July to 19 July.",
        "Tomatoes ‘Brindle’: 5 days beyond its line; expect fewer to pick from about 19 August to 19 September",
        "no hard pruning before three days stay below 32 and two nights below 21",
    ] {
        assert!(word.text.contains(part), "{part:?} is missing in {:?}", word.text);
    }
    assert_eq!((word.severity, word.push), (Severity::Minor, false));
}

#[test]
fn it_closes_when_days_and_nights_were_cool_enough_and_says_since_when() {
    use crate::minders::word::Says;
    let Some(Verdict { says: Says::Clear { text, .. }, .. }) = judged(&[tomatoes(0)], true) else { panic!() };
    assert!(text.contains("by 23 July"), "{text}");
    assert_eq!(judged(&[tomatoes(0)], false), None, "what is over before it was told is not told");
    assert_eq!(judged(&[], false), None);
}
