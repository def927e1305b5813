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

fn telling(at: i64, left: usize) -> Telling<'static> {
    Telling { at_ms: at * MINUTE, date: "2031-07-02", left }
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
        told.extend(tell(&mut book, telling(at, 6), verdicts));
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
            (80, "pots", Turn::Closed, false),
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

#[test]
fn what_buzzes_too_often_in_a_day_is_held_for_the_digest_but_nothing_severe() {
    let mut book = Book::default();
    let places = ["a", "b", "c"];
    let moderate = places.map(|place| Verdict::word("pots", place, word(Severity::Moderate, true, false)));
    let steps = tell(&mut book, telling(0, 2), moderate.to_vec());
    let told: Vec<_> = steps.iter().map(|step| (step.push, step.held)).collect();
    assert_eq!(told, [(true, false), (true, false), (false, true)]);
    // Held is as good as told: it does not come again each minute.
    assert_eq!(tell(&mut book, telling(1, 0), moderate.to_vec()), []);
    let severe = tell(&mut book, telling(2, 0), vec![heat(Severity::Severe)]);
    assert!(severe[0].push && !severe[0].held);
}

#[test]
fn an_all_clear_buzzes_only_where_it_was_serious() {
    let moderate = life(&[], vec![(0, vec![pots(true)]), (10, vec![clear("pots")])]);
    assert_eq!(turns(&moderate)[1], (10, "pots", Turn::Closed, false));
    let severity = |at| if at < 5 { Severity::Severe } else { Severity::Moderate };
    let said = (0..10).map(|at| (at, vec![heat(severity(at))])).chain([(10, vec![clear(HEAT)])]).collect();
    assert_eq!(turns(&life(&[], said)).last(), Some(&(10, HEAT, Turn::Closed, true)));
}

#[test]
fn what_was_foretold_ends_without_a_buzz_when_it_has_come_and_with_one_when_it_has_not() {
    let course = || Verdict::word("on-course", "house", word(Severity::Severe, true, false));
    let opened = vec![(0, vec![course()])];
    let came = Verdict::came("on-course", "house", "It has passed the line.", "House: 40.1 °C.");
    let hot = vec![(10, vec![heat(Severity::Extreme), came])];
    let steps = life(&[], [opened.clone(), hot].concat());
    let wanted = [
        (0, "on-course", Turn::Opened, true),
        (10, HEAT, Turn::Opened, true),
        (10, "on-course", Turn::Closed, false),
    ];
    assert_eq!(turns(&steps), wanted, "one buzz in that minute");
    let steps = life(&[], [opened, vec![(10, vec![clear("on-course")])]].concat());
    assert_eq!(turns(&steps)[1], (10, "on-course", Turn::Closed, true));
}

/// What the air does to work, at the third minute of a heat notice.
fn people(severity: Severity) -> Verdict {
    Verdict::word(
        "people",
        "house",
        Word { text: "House: feels like 44.".to_owned(), ..word(severity, false, true) },
    )
}

fn course(push: bool) -> Verdict {
    let title = "Open the far door. By 13:20 it passes 40.".to_owned();
    let text = "House: at this pace 40 at 13:20.".to_owned();
    Verdict::word("on-course", "house", Word { title, text, ..word(Severity::Severe, push, true) })
}

#[test]
fn what_joins_later_is_told_once_a_life_and_again_only_when_it_is_worse_and_does_not_buzz() {
    let hot = || heat(Severity::Severe);
    let mut said = vec![(0, vec![hot()])];
    // It comes and goes, gets worse, and gets better.
    said.extend((1..10).map(|at| (at, vec![hot(), people(Severity::Moderate)])));
    said.extend((10..20).map(|at| (at, vec![hot()])));
    said.extend((20..30).map(|at| (at, vec![hot(), people(Severity::Severe)])));
    said.extend((30..40).map(|at| (at, vec![hot(), people(Severity::Moderate)])));
    said.push((40, vec![clear(HEAT)]));
    said.push((50, vec![hot()]));
    said.push((51, vec![hot(), people(Severity::Moderate)]));
    let steps = life(&[], said);
    let wanted = [
        (0, HEAT, Turn::Opened, true),
        (1, HEAT, Turn::Worsened, false),
        (20, HEAT, Turn::Worsened, false),
        (40, HEAT, Turn::Closed, true),
        (50, HEAT, Turn::Opened, true),
        (51, HEAT, Turn::Worsened, false),
    ];
    assert_eq!(turns(&steps), wanted);
    assert_eq!(steps[1].inside, BTreeMap::from([("people".to_owned(), Severity::Moderate)]));
    assert!(steps[1].text.ends_with("36.1 °C. Feels like 44."), "{}", steps[1].text);
}

#[test]
fn a_course_buzzes_once_inside_the_heat_notice_as_urgently_as_by_itself() {
    let moderate = || Verdict::word(HEAT, "house", word(Severity::Moderate, false, false));
    let said = vec![
        (0, vec![moderate()]),
        (10, vec![moderate(), course(false)]),
        (11, vec![moderate(), course(true)]),
        (30, vec![moderate()]),
        (40, vec![moderate(), course(true)]),
        (60, vec![clear(HEAT)]),
    ];
    // Put off until it is over: what is severe comes through all the same.
    let steps = life(&[(5, Some(600))], said);
    let wanted = [
        (0, HEAT, Turn::Opened, false),
        (10, HEAT, Turn::Worsened, false),
        (11, HEAT, Turn::Worsened, true),
        (60, HEAT, Turn::Closed, true),
    ];
    assert_eq!(turns(&steps), wanted, "the all-clear goes where the alarm went");
    assert_eq!(steps[2].title, "Open the far door. By 13:20 it passes 40.");
    assert_eq!((steps[2].severity, steps[2].weight()), (Severity::Moderate, Severity::Severe));
    assert!(!counts(&steps[2]), "no day's cap holds it back");
}

#[test]
fn a_course_that_buzzed_alone_goes_into_the_heat_notice_which_tells_its_end() {
    let moderate = || Verdict::word(HEAT, "house", word(Severity::Moderate, false, false));
    let said = vec![
        (0, vec![clear(HEAT), course(true)]),
        (10, vec![moderate(), course(true)]),
        (20, vec![moderate()]),
        (40, vec![clear(HEAT)]),
    ];
    let wanted = [
        (0, "on-course", Turn::Opened, true),
        (10, HEAT, Turn::Opened, false),
        (10, "on-course", Turn::Closed, false),
        (40, HEAT, Turn::Closed, true),
    ];
    assert_eq!(turns(&life(&[], said)), wanted);
}

#[test]
fn a_course_that_is_out_of_sight_as_the_heat_notice_opens_stands_by_itself_and_buzzes_no_second_time() {
    let moderate = || Verdict::word(HEAT, "house", word(Severity::Moderate, false, false));
    let out_of_sight = || Verdict::meanwhile("on-course", "house", word(Severity::Severe, false, false));
    let said = vec![
        (0, vec![clear(HEAT), course(true)]),
        (10, vec![moderate(), out_of_sight()]),
        (20, vec![moderate(), course(true)]),
        (40, vec![clear(HEAT)]),
    ];
    let wanted = [
        (0, "on-course", Turn::Opened, true),
        (10, HEAT, Turn::Opened, false),
        (20, HEAT, Turn::Worsened, false),
        (20, "on-course", Turn::Closed, false),
        (40, HEAT, Turn::Closed, true),
    ];
    assert_eq!(turns(&life(&[], said)), wanted);
}

#[test]
fn what_is_to_buzz_and_comes_in_the_minute_in_which_the_heat_notice_opens_buzzes_with_it() {
    let moderate = Verdict::word(HEAT, "house", word(Severity::Moderate, false, false));
    let steps = life(&[], vec![(0, vec![moderate, pots(true)])]);
    assert_eq!(turns(&steps), [(0, HEAT, Turn::Opened, true)]);
}

#[test]
fn a_step_of_before_that_named_only_what_buzzed_inside_it_is_read() {
    let old = r#"{"notice": "2031-07-02.house.too-hot", "number": 1, "minder": "too-hot", "place": "house", "at_ms": 0,
        "turn": "opened", "severity": "moderate", "push": true, "joined": ["pots"], "title": "Open.", "text": "Hot."}"#;
    let step: Step = serde_json::from_str(old).unwrap();
    assert_eq!((step.inside.len(), step.weight()), (0, Severity::Moderate));
    let mut book = Book::of([step].iter(), std::iter::empty());
    let moderate = Verdict::word(HEAT, "house", word(Severity::Moderate, true, false));
    let steps = tell(&mut book, telling(1, 6), vec![moderate, pots(true)]);
    assert_eq!(turns(&steps), [(1, HEAT, Turn::Worsened, false)], "told once more, without a buzz");
}

#[test]
fn on_it_to_what_is_days_away_is_believed_until_its_next_step_and_later_is_not() {
    let coming = |severity| vec![Verdict::word(HEAT_DOME, "", word(severity, true, false))];
    let said = || {
        let days = [0, 60, 120, 1_440].map(|at| (at, coming(Severity::Severe)));
        days.into_iter().chain([(2_880, coming(Severity::Extreme))]).collect::<Vec<_>>()
    };
    let opened = (0, HEAT_DOME, Turn::Opened, true);
    let begun = (2_880, HEAT_DOME, Turn::Worsened, true);
    // The heat of two days on does not ease in three quarters of an hour, whoever is on it.
    let told = life(&[(5, None)], said());
    assert_eq!(turns(&told), [opened, begun]);
    let told = life(&[(5, Some(65))], said());
    assert_eq!(turns(&told), [opened, (120, HEAT_DOME, Turn::Again, true), begun]);
}
