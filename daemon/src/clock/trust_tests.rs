use super::*;

/// An invented noon, UTC ms.
const NOON: i64 = 1_815_998_400_000;
const SERVICE: &str = "the time service";

fn shown(wall_ms: i64, mono_ms: i64, voucher: Option<&str>) -> Shown {
    Shown { wall_ms, mono_ms, voucher: voucher.map(str::to_owned) }
}

fn said(at_ms: i64, sure: bool) -> Said {
    Said { at_ms, by: "a phone".to_owned(), sure }
}

/// Trusted at noon, an hour after the boot, by the time service.
fn trusted() -> Trust {
    let mut trust = Trust::default();
    trust.not_before(NOON - DAY_MS, 0);
    let at = shown(NOON, HOUR_MS, Some(SERVICE));
    let (offset_ms, by) = trust.candidate(&at).unwrap();
    trust.believe(&at, offset_ms, by);
    trust
}

#[test]
fn c1_until_somebody_vouches_time_is_the_newest_commit_and_what_passed_since() {
    let mut trust = Trust::default();
    trust.not_before(NOON, 500);
    for wall_ms in [0, NOON - 10 * 365 * DAY_MS, NOON + 10 * 365 * DAY_MS] {
        let at = shown(wall_ms, 500 + HOUR_MS, None);
        trust.look(&at);
        assert_eq!((trust.wall_ms(&at), trust.candidate(&at)), (NOON + HOUR_MS, None));
    }
    assert_eq!(trust.words(HOUR_MS), None);
}

#[test]
fn c1_a_clock_before_the_newest_commit_is_not_believed_whoever_vouches() {
    let mut trust = Trust::default();
    trust.not_before(NOON, 0);
    assert_eq!(trust.candidate(&shown(NOON - 1, HOUR_MS, Some(SERVICE))), None);
    assert_eq!(trust.candidate(&shown(NOON, HOUR_MS, Some(SERVICE))), Some((NOON - HOUR_MS, SERVICE)));
}

#[test]
fn c5_up_to_a_thousand_seconds_the_wall_clock_is_followed_and_past_it_it_is_not() {
    // 1,000 s is the figure that ntpd(8) calls its panic threshold, and the design's.
    for (step_ms, followed) in [
        (1_000_000, true),
        (1_000_001, false),
        (-1_000_000, true),
        (-1_000_001, false),
        (4 * 365 * DAY_MS, false),
        (-4 * 365 * DAY_MS, false),
    ] {
        let mut trust = trusted();
        let at = shown(NOON + 60_000 + step_ms, HOUR_MS + 60_000, Some(SERVICE));
        // What trickles away in a minute must not widen the limit.
        trust.look(&shown(NOON + 60_000, HOUR_MS + 60_000, Some(SERVICE)));
        trust.look(&at);
        let expected = if followed { at.wall_ms } else { NOON + 60_000 };
        assert_eq!((trust.wall_ms(&at), trust.jump_ms().is_none()), (expected, followed), "{step_ms}");
    }
}

#[test]
fn c5_a_slow_pull_adds_up_and_is_found_before_it_has_gone_far() {
    for way in [1, -1] {
        let mut trust = trusted();
        // 10 s more each minute, for a day.
        let mut found = None;
        for minute in 1..=1440 {
            let mono_ms = HOUR_MS + minute * 60_000;
            trust.look(&shown(NOON + minute * 60_000 + way * minute * 10_000, mono_ms, Some(SERVICE)));
            if trust.jump_ms().is_some() && found.is_none() {
                found = Some(minute);
            }
        }
        // 1,000 s at 10 s a minute less the 0.03 s a minute that a crystal may be wrong.
        assert_eq!(found, Some(101), "{way}");
        let at = shown(0, HOUR_MS + DAY_MS, None);
        assert!((trust.wall_ms(&at) - NOON - DAY_MS).abs() <= 1_004_000);
    }
}

#[test]
fn c5_a_crystal_that_the_time_service_corrects_for_a_year_never_looks_like_a_jump() {
    let mut trust = trusted();
    for hour in 1..=365 * 24 {
        // 400 ppm, more than any board, corrected once an hour.
        let mono_ms = HOUR_MS + hour * HOUR_MS;
        trust.look(&shown(NOON + hour * HOUR_MS + hour * 1_440, mono_ms, Some(SERVICE)));
        assert_eq!(trust.jump_ms(), None, "{hour}");
    }
}

#[test]
fn c5_a_service_that_vouches_for_the_jump_does_not_win_and_a_clock_that_comes_back_does() {
    let mut trust = trusted();
    let year = 365 * DAY_MS;
    for minute in 1..=600 {
        let at = shown(NOON + 4 * year + minute * 60_000, HOUR_MS + minute * 60_000, Some(SERVICE));
        trust.look(&at);
        assert_eq!(trust.wall_ms(&at), NOON + minute * 60_000);
    }
    assert_eq!(trust.doubt().unwrap(), "The clock jumped 3 years ahead; not believed");
    let at = shown(NOON + 601 * 60_000 + 5_000, HOUR_MS + 601 * 60_000, Some(SERVICE));
    trust.look(&at);
    assert_eq!((trust.doubt(), trust.wall_ms(&at)), (None, at.wall_ms));
}

#[test]
fn c5_the_growers_word_settles_a_jump_either_way() {
    let year = 365 * DAY_MS;
    let at = shown(NOON + year, HOUR_MS, Some(SERVICE));
    let mut trust = trusted();
    trust.look(&at);
    // The phone agrees with the machine: the machine is followed again.
    let word = said(NOON + year + 3_000, false);
    assert_eq!(trust.weigh(&word, &at, Some(NOON), &[]).unwrap().offset_ms, word.at_ms - HOUR_MS);
    trust.take(&word, &at);
    let later = shown(NOON + year + 60_000, HOUR_MS + 60_000, Some(SERVICE));
    trust.look(&later);
    assert_eq!((trust.wall_ms(&later), trust.doubt()), (later.wall_ms, None));
    // The phone agrees with what was believed: the machine stays out.
    let mut trust = trusted();
    trust.look(&at);
    let word = said(NOON + 2_000, false);
    trust.take(&word, &at);
    trust.look(&later);
    assert_eq!(trust.wall_ms(&later), NOON + 62_000);
    assert!(trust.doubt().is_some(), "the service still says otherwise");
}

#[test]
fn c4_a_phones_word_stands_by_the_monotonic_clock_with_its_age_and_drift() {
    let mut trust = Trust::default();
    trust.not_before(NOON - DAY_MS, 0);
    let at = shown(NOON - 3 * DAY_MS, HOUR_MS, None);
    let weighed = trust.weigh(&said(NOON, false), &at, Some(NOON - DAY_MS), &[]).unwrap();
    let expected = Weighed { offset_ms: NOON - HOUR_MS, after_ms: NOON - DAY_MS, goes_back: false };
    assert_eq!(weighed, expected);
    trust.take(&said(NOON, false), &at);
    assert_eq!(trust.words(HOUR_MS).unwrap(), "a phone");
    // The machine's wall clock may wander about: nobody vouches for it.
    let later = shown(17, HOUR_MS + 3 * DAY_MS, None);
    trust.look(&later);
    assert_eq!(trust.wall_ms(&later), NOON + 3 * DAY_MS);
    // 100 ppm of three days is 25.92 s.
    let words = trust.words(later.mono_ms).unwrap();
    assert_eq!(words, "a phone 3 days ago, and may be 26 s off by now");
    // A time service that agrees takes over.
    let synced = shown(NOON + 3 * DAY_MS + 20_000, later.mono_ms, Some(SERVICE));
    trust.look(&synced);
    assert_eq!(
        (trust.wall_ms(&synced), trust.words(later.mono_ms).unwrap().as_str()),
        (synced.wall_ms, SERVICE)
    );
}

#[test]
fn c4_a_word_is_taken_only_within_reason() {
    let trust = trusted();
    let at = shown(NOON, HOUR_MS, Some(SERVICE));
    let weigh = |said: &Said| trust.weigh(said, &at, Some(NOON - 30 * 60_000), &[]);
    assert!(weigh(&said(0, true)).unwrap_err().why.contains("no time"));
    assert!(weigh(&said(i64::MAX, true)).unwrap_err().why.contains("no time"));
    let early = weigh(&said(NOON - HOUR_MS, true)).unwrap_err();
    assert!(early.why.contains("30 min after that time, so it must be later") && !early.again, "{early}");
    let apart = weigh(&said(NOON + 3 * HOUR_MS, false)).unwrap_err();
    assert!(apart.why.contains("by the time service, is 3 h behind that"), "{apart}");
    assert!(apart.again && apart.to_string().contains("--sure"), "{apart}");
    assert!(weigh(&said(NOON + 3 * HOUR_MS, true)).is_ok());
    assert!(weigh(&said(NOON + JUMP_MS, false)).is_ok());
}

#[test]
fn c4_a_word_a_month_past_all_that_is_known_is_asked_for_twice() {
    let trust = Trust::default();
    let day = |days: i64| NOON + days * DAY_MS;
    // The newest commit, what the machine shows, the word: past both by more than thirty days or not.
    for (newest, machine, word, asked) in [
        (Some(day(0)), day(-400), day(30), false),
        (Some(day(0)), day(-400), day(31), true),
        (Some(day(0)), day(365), day(365), false),
        (Some(day(0)), day(365), day(396), true),
        (None, day(0), day(30), false),
        (None, day(0), day(365), true),
    ] {
        let weigh = |sure| trust.weigh(&said(word, sure), &shown(machine, HOUR_MS, None), newest, &[]);
        let refused = weigh(false).err();
        assert_eq!(refused.as_ref().is_some_and(|refusal| refusal.again), asked, "{word} {refused:?}");
        assert_eq!(weigh(true).unwrap().offset_ms, word - HOUR_MS);
    }
}

#[test]
fn c4_only_a_certain_word_goes_back_and_no_further_than_before_an_earlier_word() {
    let year = 365 * DAY_MS;
    let at = shown(NOON, HOUR_MS, Some(SERVICE));
    // Nine in the morning was stored; then somebody said next year, and in that year the year after.
    let first = Word { at_ms: NOON + year, after_ms: NOON - 3 * HOUR_MS };
    let second = Word { at_ms: NOON + 2 * year, after_ms: NOON + year + HOUR_MS };
    let newest = Some(NOON + 2 * year + HOUR_MS);
    let weigh = |at_ms, sure| Trust::default().weigh(&said(at_ms, sure), &at, newest, &[first, second]);
    let asked = weigh(NOON, false).unwrap_err();
    assert!(asked.again && asked.why.contains("something was stored 730 days after that"), "{asked}");
    for (at_ms, after_ms) in [
        (NOON, first.after_ms),
        (first.after_ms, first.after_ms),
        (NOON + year + 2 * HOUR_MS, second.after_ms),
    ] {
        let expected = Weighed { offset_ms: at_ms - HOUR_MS, after_ms, goes_back: true };
        assert_eq!(weigh(at_ms, true), Ok(expected));
    }
    // Before the newest commit of all that nobody's word has to do with.
    for at_ms in [first.after_ms - 1, NOON + year + 1] {
        let refused = weigh(at_ms, true).unwrap_err();
        assert!(refused.why.ends_with("it must be later") && !refused.again, "{refused}");
    }
    // Nobody's word: whoever vouches, the clock stays before.
    let mut trust = Trust::default();
    trust.not_before(NOON + year, 0);
    assert_eq!(trust.candidate(&at), None);
}

#[test]
fn spans_are_said_in_their_largest_unit() {
    let said = [0, 61_000, 3 * HOUR_MS, 50 * HOUR_MS, 1461 * DAY_MS].map(span);
    assert_eq!(said, ["0 s", "1 min", "3 h", "2 days", "4 years"]);
}
