use super::*;
use crate::minders::teller::tell;
use crate::minders::word::Verdict;

const MINUTE: i64 = 60_000;
const HEAT: &str = "too-hot";

fn word(severity: Severity, push: bool, joins_heat: bool) -> Word {
    Word {
        planting: None,
        severity,
        push,
        joins_heat,
        title: "Open the far door.".to_owned(),
        text: "House: 36.1 °C.".to_owned(),
        caution: "",
    }
}

fn heat(severity: Severity) -> Verdict {
    Verdict::word(HEAT, "house", word(severity, true, false))
}

fn pots(push: bool) -> Verdict {
    let text = "House: about empty at 15:00.".to_owned();
    Verdict::word("pots", "house", Word { text, ..word(Severity::Moderate, push, true) })
}

fn clear(minder: &'static str) -> Verdict {
    Verdict::clear(minder, "house", "Over.", "House: over.")
}

/// Tells what is said minute by minute; the book must be the same when it is made anew from what was told.
fn life(replies: &[(i64, Option<i64>)], said: Vec<(i64, Vec<Verdict>)>) -> Vec<Step> {
    let mut book = Book::default();
    let (mut told, mut given): (Vec<Step>, Vec<Reply>) = (Vec::new(), Vec::new());
    let mut replies = replies.iter().peekable();
    for (at, verdicts) in said {
        while let Some((when, until)) = replies.next_if(|(when, _)| *when <= at) {
            let notice = told[0].notice.clone();
            let reply = Reply { notice, at_ms: when * MINUTE, until_ms: until.map(|until| until * MINUTE) };
            given.push(reply.clone());
            book.answer(reply);
        }
        told.extend(tell(&mut book, at * MINUTE, "2031-07-02", verdicts));
        let again = Book::of(told.iter(), given.iter().cloned());
        assert_eq!(again.open, book.open, "after {at} min");
        assert_eq!(again.used, book.used, "after {at} min");
    }
    told
}

fn turns(steps: &[Step]) -> Vec<(i64, &str, Turn, bool)> {
    steps.iter().map(|step| (step.at_ms / MINUTE, step.minder.as_str(), step.turn, step.push)).collect()
}

#[test]
fn on_it_that_does_not_ease_in_three_quarters_of_an_hour_is_told_again_once() {
    let said = (0..120).map(|at| (at, vec![heat(Severity::Severe)])).collect();
    let steps = life(&[(10, None)], said);
    assert_eq!(turns(&steps), [(0, HEAT, Turn::Opened, true), (55, HEAT, Turn::Again, true)]);
    assert!(steps[1].text.starts_with("It still stands."), "{}", steps[1].text);
}

#[test]
fn on_it_that_eases_in_time_is_left_alone() {
    let severity = |at| if at < 40 { Severity::Extreme } else { Severity::Moderate };
    let said = (0..120).map(|at| (at, vec![heat(severity(at))])).collect();
    let steps = life(&[(10, None)], said);
    assert_eq!(turns(&steps), [(0, HEAT, Turn::Opened, true), (40, HEAT, Turn::Eased, true)]);
}

#[test]
fn later_holds_back_what_is_not_severe_and_comes_again_when_it_is_over() {
    let said = (0..100).map(|at| (at, vec![heat(Severity::Moderate)])).collect();
    let steps = life(&[(5, Some(65))], said);
    assert_eq!(turns(&steps), [(0, HEAT, Turn::Opened, true), (65, HEAT, Turn::Again, true)]);
}

#[test]
fn what_becomes_severe_passes_later() {
    let severity = |at| if at < 20 { Severity::Moderate } else { Severity::Severe };
    let said = (0..60).map(|at| (at, vec![heat(severity(at))])).collect();
    let steps = life(&[(5, Some(65))], said);
    assert_eq!(turns(&steps)[1], (20, HEAT, Turn::Worsened, true));
}

#[test]
fn an_answer_to_a_notice_that_closed_meanwhile_changes_nothing() {
    let said = vec![(0, vec![heat(Severity::Severe)]), (10, vec![clear(HEAT)]), (120, vec![])];
    let steps = life(&[(20, None)], said);
    assert_eq!(steps.len(), 2);
}

#[test]
fn pots_that_run_empty_in_the_heat_are_said_inside_the_heat_notice_and_once() {
    let said = vec![
        (0, vec![heat(Severity::Severe), clear("pots")]),
        (10, vec![heat(Severity::Severe), pots(true)]),
        (20, vec![heat(Severity::Severe), pots(true)]),
        // The heat goes, the pots stay empty: their own notice, which need not buzz again.
        (60, vec![clear(HEAT), pots(true)]),
        (70, vec![clear(HEAT), pots(true)]),
        (80, vec![clear(HEAT), clear("pots")]),
    ];
    let steps = life(&[], said);
    assert_eq!(
        turns(&steps),
        [
            (0, HEAT, Turn::Opened, true),
            (10, HEAT, Turn::Worsened, true),
            (60, HEAT, Turn::Closed, true),
            (60, "pots", Turn::Opened, false),
            (80, "pots", Turn::Closed, true),
        ]
    );
    assert!(steps[1].text.ends_with("36.1 °C. About empty at 15:00."), "{}", steps[1].text);
    assert_eq!(
        (&steps[1].joined[..], &steps[2].joined[..]),
        (&["pots".to_owned()][..], &["pots".to_owned()][..])
    );
}

#[test]
fn a_notice_that_was_open_before_the_heat_goes_into_it() {
    let said = vec![
        (0, vec![clear(HEAT), pots(true)]),
        (10, vec![heat(Severity::Severe), pots(true)]),
        (20, vec![clear(HEAT), clear("pots")]),
    ];
    let steps = life(&[], said);
    let told: Vec<_> = turns(&steps).into_iter().map(|(at, minder, turn, _)| (at, minder, turn)).collect();
    assert_eq!(
        told,
        [
            (0, "pots", Turn::Opened),
            (10, HEAT, Turn::Opened),
            (10, "pots", Turn::Closed),
            (20, HEAT, Turn::Closed)
        ]
    );
}

#[test]
fn a_minor_heat_notice_leads_nobody_and_what_is_not_known_changes_nothing() {
    let said = vec![
        (0, vec![heat(Severity::Minor), pots(false)]),
        (10, vec![Verdict::unknown(HEAT, "house"), Verdict::unknown("pots", "house")]),
    ];
    assert_eq!(life(&[], said).len(), 2);
}

#[test]
fn a_second_notice_of_a_day_gets_a_number() {
    let said = vec![
        (0, vec![heat(Severity::Severe)]),
        (10, vec![clear(HEAT)]),
        (20, vec![heat(Severity::Severe)]),
        (30, vec![clear(HEAT)]),
        (40, vec![heat(Severity::Severe)]),
    ];
    let steps = life(&[], said);
    let ids: Vec<_> = steps.iter().map(|step| step.notice.as_str()).collect();
    let stem = "2031-07-02.house.too-hot";
    let (second, third) = (format!("{stem}~2"), format!("{stem}~3"));
    assert_eq!(ids, [stem, stem, &second, &second, &third]);
}
