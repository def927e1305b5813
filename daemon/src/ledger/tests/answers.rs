//! What is read is what was written, before and after compaction.

use proptest::prelude::*;
use rand::{RngExt, SeedableRng};

use super::*;
use crate::entry::Note;
use crate::ledger::records::DELIVERIES_OF;
use crate::ledger::{Count, Hour, NewNote, OutboxState, PageRow, Point, Queued, StepRef, TriedRow};

pub(super) const AIR: Quantity = Quantity::AirTemperature;

fn remark(text: &str) -> NewNote {
    NewNote { at_ms: JUNE, from_ms: JUNE - DAY, note: Note::Remark { text: text.to_owned() } }
}

#[test]
fn one_commit_brings_readings_notes_outbox_cursor_page_and_state_together() {
    let mut ledger = Ledger::in_memory(&founding()).unwrap();
    let boot = ledger.begin_boot(0, Some((JUNE, "test"))).unwrap();
    let commit = Commit {
        readings: &[air("tunnel", JUNE, 21.374)],
        notes: &[remark("one"), remark("two")],
        queue: &[Queued { step: StepRef::Note(1), courier: "mail".to_owned(), due_ms: 5, expires_ms: 9 }],
        cursors: &[("mirror", 7)],
        pages: &[PageRow { subject: "house", day: 20_000, edition: "e1", body: "{}" }],
        state: Some(("e1", b"snapshot")),
        ..Commit::empty(boot, JUNE, 0)
    };
    let committed = ledger.commit(&commit).unwrap();
    assert_eq!((committed.seq, committed.entries.as_slice()), (Some(1), [1, 2].as_slice()));

    let reader = ledger.reader().unwrap();
    // Finer than a hundredth: rounded to the tick.
    assert_eq!(reader.readings("tunnel", AIR, 0..i64::MAX).unwrap(), [air("tunnel", JUNE, 21.37)]);
    let entries = reader.entries().unwrap();
    assert_eq!((entries.len(), entries[0].id, entries[0].from_ms), (2, 1, JUNE - DAY));
    assert_eq!(entries[1].note, remark("two").note);
    assert_eq!(reader.entries_after(1).unwrap(), entries[1..]);
    assert_eq!(reader.cursor("mirror").unwrap(), 7);
    assert_eq!(reader.cursor("nobody").unwrap(), 0);
    assert_eq!(reader.pages("e1").unwrap()[0].day, 20_000);
    assert!(reader.pages("e2").unwrap().is_empty());
    assert_eq!(reader.state("e1").unwrap(), Some((1, b"snapshot".to_vec())));
    assert_eq!(reader.state("e2").unwrap(), None);
    assert_eq!(reader.series().unwrap(), [("tunnel".to_owned(), AIR)]);

    let row = &reader.outbox().unwrap()[0];
    assert_eq!((row.step, row.courier.as_str(), row.due_ms, row.tries), (2, "mail", 5, 0));
    let tried =
        |state| TriedRow { step: 2, courier: "mail".to_owned(), due_ms: 6, tries: 1, state, why: None };
    ledger.commit(&Commit { tried: &[tried(OutboxState::Waiting)], ..Commit::empty(boot, JUNE, 0) }).unwrap();
    assert_eq!(reader.outbox().unwrap()[0].due_ms, 6);
    let sent = ledger
        .commit(&Commit { tried: &[tried(OutboxState::Sent)], ..Commit::empty(boot, JUNE, 0) })
        .unwrap();
    assert_eq!(sent.seq, None);
    assert!(reader.outbox().unwrap().is_empty());
}

#[test]
fn deliveries_are_those_of_the_steps_asked_for_and_are_found_by_the_tables_key() {
    let mut ledger = Ledger::in_memory(&founding()).unwrap();
    let boot = ledger.begin_boot(0, Some((JUNE, "test"))).unwrap();
    let queued = |step: usize, courier: &str| Queued {
        step: StepRef::Note(step),
        courier: courier.to_owned(),
        due_ms: 5,
        expires_ms: 9,
    };
    let notes: Vec<NewNote> = (0..40).map(|number| remark(&number.to_string())).collect();
    let queue: Vec<Queued> = (0..40).flat_map(|note| [queued(note, "mail"), queued(note, "push")]).collect();
    ledger.commit(&Commit { notes: &notes, queue: &queue, ..Commit::empty(boot, JUNE, 0) }).unwrap();
    let asked = |steps: &[i64]| {
        let rows = ledger.deliveries_of(steps).unwrap();
        rows.into_iter().map(|row| (row.step, row.courier)).collect::<Vec<_>>()
    };
    let both = |step: i64| [(step, "mail".to_owned()), (step, "push".to_owned())];
    assert_eq!(asked(&[]), []);
    assert_eq!(asked(&[30, 2, 2, 99]), [both(2), both(30)].concat());
    // What SQLite says that it would do.
    let bare = rusqlite::Connection::open_in_memory().unwrap();
    bare.execute_batch(crate::ledger::schema::TABLES).unwrap();
    let mut explained = bare.prepare(&format!("EXPLAIN QUERY PLAN {DELIVERIES_OF}")).unwrap();
    let plan = explained.query_map(["[1]"], |row| row.get::<_, String>("detail")).unwrap();
    let plan: Vec<String> = plan.collect::<Result<_, _>>().unwrap();
    assert!(plan.iter().any(|it| it.starts_with("SEARCH outbox USING PRIMARY KEY (step=?)")), "{plan:?}");
}

#[test]
fn a_commit_that_cannot_be_whole_leaves_nothing() {
    let mut ledger = Ledger::in_memory(&founding()).unwrap();
    let boot = ledger.begin_boot(0, Some((JUNE, "test"))).unwrap();
    let queue = [Queued { step: StepRef::Note(3), courier: "mail".to_owned(), due_ms: 5, expires_ms: 9 }];
    let readings = [air("tunnel", JUNE, 20.0)];
    let bad = Commit {
        readings: &readings,
        notes: &[remark("lost")],
        queue: &queue,
        ..Commit::empty(boot, JUNE, 0)
    };
    assert!(ledger.commit(&bad).is_err());
    assert!(all(&ledger, "tunnel").is_empty() && ledger.entries().unwrap().is_empty());
    assert!(ledger.series().unwrap().is_empty());
    assert_eq!(put(&mut ledger, boot, JUNE, &readings), 1);
    assert_eq!(all(&ledger, "tunnel"), readings);
}

#[test]
fn late_readings_stand_where_they_were_measured_and_a_second_value_is_doubtful() {
    let mut ledger = Ledger::in_memory(&founding()).unwrap();
    let boot = ledger.begin_boot(0, Some((JUNE, "test"))).unwrap();
    for minute in [1, 2, 3] {
        let at = JUNE + minute * MINUTE;
        put(&mut ledger, boot, at, &[air("tunnel", at, 20.0)]);
    }
    let repeated = Reading { reason: Reason::Repeated, ..air("tunnel", JUNE + MINUTE, 20.0) };
    let late = [air("tunnel", JUNE, 19.0), air("tunnel", JUNE + MINUTE, 25.0), repeated];
    put(&mut ledger, boot, JUNE + 4 * MINUTE, &late);
    let doubtful = Reading { reason: Reason::SameTimeOtherValue, ..air("tunnel", JUNE + MINUTE, 25.0) };
    let expected = [
        air("tunnel", JUNE, 19.0),
        air("tunnel", JUNE + MINUTE, 20.0),
        doubtful,
        air("tunnel", JUNE + 2 * MINUTE, 20.0),
        air("tunnel", JUNE + 3 * MINUTE, 20.0),
    ];
    assert_eq!(all(&ledger, "tunnel"), expected);
    assert_eq!(
        ledger.batches_after(0, 10).unwrap()[3].readings.len(),
        3,
        "the repeated one is still counted"
    );

    let compacted = ledger.compact(JUNE + DAY).unwrap();
    assert_eq!((compacted.batches, compacted.readings, compacted.chunks), (4, 6, 1));
    let count = |reason, count| Count { probe: "tunnel".into(), quantity: AIR, reason, count };
    assert_eq!(compacted.counts, [count(Reason::None, 5), count(Reason::Repeated, 1)]);
    assert_eq!(all(&ledger, "tunnel"), expected);
    // Measured before the commit before the last: both came late, at the fourth commit.
    let late = ledger.late("tunnel", AIR, 0..i64::MAX).unwrap();
    let late: Vec<_> =
        late.into_iter().map(|(reading, arrival)| (reading.at_ms - JUNE, arrival - JUNE)).collect();
    assert_eq!(late, [(0, 4 * MINUTE), (MINUTE, 4 * MINUTE)]);
}

#[test]
fn numbers_of_batches_are_not_used_again_and_the_newest_commit_is_remembered() {
    let mut ledger = Ledger::in_memory(&founding()).unwrap();
    assert_eq!(ledger.newest_commit_ms().unwrap(), None);
    let boot = ledger.begin_boot(0, Some((JUNE, "test"))).unwrap();
    assert_eq!(ledger.newest_commit_ms().unwrap(), Some(JUNE), "a boot that knew the time began");
    for minute in 0..5 {
        put(&mut ledger, boot, JUNE + minute * MINUTE, &[air("tunnel", JUNE + minute * MINUTE, 20.0)]);
    }
    assert_eq!(ledger.compact(JUNE + 3 * MINUTE).unwrap().batches, 3);
    assert_eq!(ledger.batches_after(0, 9).unwrap().iter().map(|batch| batch.seq).collect::<Vec<_>>(), [4, 5]);
    assert_eq!(ledger.batches_after(4, 9).unwrap().len(), 1);
    assert_eq!(ledger.compact(JUNE + DAY).unwrap().batches, 2);
    assert_eq!(ledger.newest_commit_ms().unwrap(), Some(JUNE + 4 * MINUTE));
    assert_eq!(put(&mut ledger, boot, JUNE + DAY, &[air("tunnel", JUNE + DAY, 20.0)]), 6);
}

#[test]
fn a_boot_without_the_time_is_dated_by_one_update_also_after_it_ended() {
    let mut ledger = Ledger::in_memory(&founding()).unwrap();
    let undated = |boot, mono_ms, readings: &[Reading], ledger: &mut Ledger| {
        let commit = Commit { readings, dated: false, ..Commit::empty(boot, 12_345, mono_ms) };
        ledger.commit(&commit).unwrap();
    };
    let first = ledger.begin_boot(10, None).unwrap();
    undated(first, 1_000, &[air("tunnel", 900, 20.0)], &mut ledger);
    undated(first, 3_000, &[air("tunnel", 2_900, 21.0)], &mut ledger);
    assert_eq!((ledger.undated().unwrap(), all(&ledger, "tunnel").len()), (2, 0));
    assert_eq!(ledger.newest_commit_ms().unwrap(), None, "a wall time nobody vouches for counts for nothing");
    assert_eq!(ledger.compact(i64::MAX).unwrap().batches, 0, "the running boot may still learn the time");

    let second = ledger.begin_boot(10, None).unwrap();
    undated(second, 1_000, &[air("tunnel", 900, 30.0)], &mut ledger);
    assert_eq!(ledger.compact(i64::MAX).unwrap().batches, 2, "the first boot is put away, the second runs");
    assert_eq!((ledger.undated().unwrap(), all(&ledger, "tunnel").len()), (3, 0));

    ledger.date_boot(second, JUNE + DAY, "a phone").unwrap();
    assert_eq!(all(&ledger, "tunnel"), [air("tunnel", JUNE + DAY + 900, 30.0)]);
    let batch = &ledger.batches_after(0, 9).unwrap()[0];
    assert!(batch.dated && batch.wall_ms == JUNE + DAY + 1_000);
    ledger.date_boot(second, JUNE, "somebody else").unwrap();
    assert_eq!(all(&ledger, "tunnel")[0].at_ms, JUNE + DAY + 900, "a date is given once");

    ledger.date_boot(first, JUNE, "the grower").unwrap();
    let expected = [
        air("tunnel", JUNE + 900, 20.0),
        air("tunnel", JUNE + 2_900, 21.0),
        air("tunnel", JUNE + DAY + 900, 30.0),
    ];
    assert_eq!(all(&ledger, "tunnel"), expected);
    ledger.compact(i64::MAX).unwrap();
    assert_eq!((ledger.undated().unwrap(), all(&ledger, "tunnel")), (0, expected.to_vec()));
}

#[test]
fn what_cannot_be_a_value_or_a_time_is_kept_as_refused() {
    let mut ledger = Ledger::in_memory(&founding()).unwrap();
    let boot = ledger.begin_boot(0, Some((JUNE, "test"))).unwrap();
    let strange = [
        air("a", JUNE, f64::NAN),
        air("b", i64::MAX, 20.0),
        air("c", -1, 20.0),
        Reading { reason: Reason::OutOfRange, ..air("d", JUNE, 1e300) },
    ];
    put(&mut ledger, boot, JUNE, &strange);
    for compacted in [false, true] {
        if compacted {
            ledger.compact(i64::MAX).unwrap();
        }
        assert_eq!(all(&ledger, "a"), [Reading { reason: Reason::Missing, ..air("a", JUNE, 0.0) }]);
        assert_eq!(all(&ledger, "b"), [Reading { reason: Reason::NoTime, ..air("b", JUNE, 20.0) }]);
        assert_eq!(all(&ledger, "c"), [Reading { reason: Reason::NoTime, ..air("c", JUNE, 20.0) }]);
        assert_eq!(all(&ledger, "d")[0].value, 21_474_836.47);
    }
    assert_eq!(ledger.newest("b", AIR).unwrap(), None);
}

/// Minute offset from June, hundredths, reason code: what one arrival is.
pub(super) type Arrival = (i64, i32, u8);

fn arrivals() -> impl Strategy<Value = Vec<(Vec<Arrival>, bool)>> {
    // Three weeks, values and times close enough to collide; mostly sound.
    let code = prop_oneof![4 => Just(0_u8), 1 => 0_u8..9];
    let one = (prop_oneof![-100_i64..20_160, 4_300_i64..4_400], 1_990_i32..2_010, code);
    prop::collection::vec((prop::collection::vec(one, 1..8), any::<bool>()), 1..25)
}

pub(super) fn readings(arrivals: &[Arrival]) -> Vec<Reading> {
    let reading = |(minute, hundredths, code): &Arrival| {
        let reason = Reason::from_code(*code).unwrap();
        let value = if reason == Reason::Missing { 0.0 } else { f64::from(*hundredths) / 100.0 };
        Reading { reason, ..air("tunnel", JUNE + minute * MINUTE, value) }
    };
    arrivals.iter().map(reading).collect()
}

/// Second by second, as slowly as it can be said: the value in force is that of the last sound reading, if that is
/// not older than twice the usual interval.
fn by_brute_force(readings: &[Reading], usual_ms: i64, start_ms: i64) -> Option<Hour> {
    let sound = |reading: &&Reading| matches!(reading.reason, Reason::None | Reason::Saturated);
    let mut held = Vec::new();
    for second in 0..3_600 {
        let now = start_ms + second * 1_000;
        let last = readings.iter().filter(sound).rfind(|reading| reading.at_ms <= now);
        held.extend(last.filter(|last| now < last.at_ms + 2 * usual_ms).map(|last| last.value));
    }
    let min = held.iter().copied().reduce(f64::min)?;
    let max = held.iter().copied().reduce(f64::max)?;
    Some(Hour {
        start_ms,
        min,
        max,
        mean: held.iter().sum::<f64>() / held.len() as f64,
        covered_s: held.len() as u32,
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    #[test]
    fn compaction_changes_no_answer(commits in arrivals()) {
        let mut plain = Ledger::in_memory(&founding()).unwrap();
        let mut packed = Ledger::in_memory(&founding()).unwrap();
        for ledger in [&mut plain, &mut packed] {
            ledger.begin_boot(0, Some((JUNE, "test"))).unwrap();
            ledger.set_usual_interval("tunnel", 15 * MINUTE);
        }
        for (index, (arrivals, compact)) in commits.iter().enumerate() {
            let wall = JUNE + index as i64 * DAY;
            put(&mut plain, 1, wall, &readings(arrivals));
            put(&mut packed, 1, wall, &readings(arrivals));
            if *compact {
                packed.compact(wall).unwrap();
            }
            prop_assert_eq!(all(&plain, "tunnel"), all(&packed, "tunnel"));
        }
        packed.compact(i64::MAX).unwrap();
        prop_assert_eq!(all(&plain, "tunnel"), all(&packed, "tunnel"));
        let some = JUNE + 3 * DAY..JUNE + 8 * DAY;
        prop_assert_eq!(plain.readings("tunnel", AIR, some.clone()).unwrap(), packed.readings("tunnel", AIR, some).unwrap());
        prop_assert_eq!(plain.hourly("tunnel", AIR, 0..i64::MAX).unwrap(), packed.hourly("tunnel", AIR, 0..i64::MAX).unwrap());
        prop_assert_eq!(plain.span("tunnel", AIR).unwrap(), packed.span("tunnel", AIR).unwrap());
        prop_assert_eq!(plain.newest("tunnel", AIR).unwrap(), packed.newest("tunnel", AIR).unwrap());
        prop_assert!(packed.fenced().is_empty());
    }
}

#[test]
fn a_series_asked_for_twice_and_one_nobody_heard_have_their_answers_too() {
    let mut ledger = Ledger::in_memory(&founding()).unwrap();
    ledger.begin_boot(0, Some((JUNE, "test"))).unwrap();
    put(&mut ledger, 1, JUNE, &[air("tunnel", JUNE, 20.0), air("bed", JUNE, 15.0)]);
    let wanted = [("tunnel", AIR), ("nobody", AIR), ("bed", AIR), ("tunnel", AIR)];
    let answers = ledger.readings_of(&wanted, 0..i64::MAX).unwrap();
    let named = |((probe, quantity), points): (&(&str, Quantity), Vec<Point>)| -> Vec<Reading> {
        points.into_iter().map(|point| point.of(&(*probe).into(), *quantity)).collect()
    };
    let answers: Vec<Vec<Reading>> = wanted.iter().zip(answers).map(named).collect();
    assert_eq!(
        answers,
        [
            vec![air("tunnel", JUNE, 20.0)],
            vec![],
            vec![air("bed", JUNE, 15.0)],
            vec![air("tunnel", JUNE, 20.0)],
        ]
    );
}

#[test]
fn hours_agree_with_brute_force_from_batches_and_from_roll_ups() {
    let mut ledger = Ledger::in_memory(&founding()).unwrap();
    ledger.begin_boot(0, Some((JUNE, "test"))).unwrap();
    let usual_ms = 7 * MINUTE;
    ledger.set_usual_interval("tunnel", usual_ms);
    // Across the turn of a week (Wednesday to Thursday, the epoch's weekday), with jitter, gaps and refused ones.
    let turn = JUNE + 3 * DAY - HOUR;
    let mut readings = Vec::new();
    let mut at = turn - 5 * HOUR;
    for index in 0_i64..120 {
        at += match index % 17 {
            3 => 47 * MINUTE,
            8 => 13_000,
            step => 5 * MINUTE + step * 1_000,
        };
        let reason = match index % 11 {
            4 => Reason::OutOfRange,
            7 => Reason::Saturated,
            _ => Reason::None,
        };
        readings.push(Reading { reason, ..air("tunnel", at, 20.0 + (index * 37 % 101) as f64 / 100.0) });
    }
    put(&mut ledger, 1, at, &readings);
    let range = turn - 6 * HOUR..at + 2 * HOUR;
    for compacted in [false, true] {
        if compacted {
            assert_eq!(ledger.compact(i64::MAX).unwrap().chunks, 2);
        }
        let hours = ledger.hourly("tunnel", AIR, range.clone()).unwrap();
        let starts = (0..).map(|hour| turn - 6 * HOUR + hour * HOUR).take_while(|start| *start < range.end);
        let expected: Vec<Hour> =
            starts.filter_map(|start| by_brute_force(&readings, usual_ms, start)).collect();
        assert_eq!(hours.len(), expected.len());
        assert!(expected.len() > 10 && expected.iter().any(|hour| hour.covered_s < 3_600));
        for (hour, expected) in hours.iter().zip(&expected) {
            let frame = |hour: &Hour| (hour.start_ms, hour.min, hour.max, hour.covered_s);
            assert_eq!(frame(hour), frame(expected));
            // Half a sixteenth of a hundredth, and the noise of a sum of 3,600 numbers.
            assert!((hour.mean - expected.mean).abs() <= 0.01 / 32.0 + 1e-9, "{hour:?} {expected:?}");
        }
    }
}

#[test]
fn four_weeks_of_minutes_take_less_than_seven_tenths_of_a_byte_each() {
    // The target of the design, for readings and hourly roll-ups: a daily course with a noise of two hundredths.
    let mut ledger = Ledger::in_memory(&founding()).unwrap();
    ledger.begin_boot(0, Some((JUNE, "test"))).unwrap();
    let mut noise = rand_pcg::Pcg32::seed_from_u64(1);
    let reading = |minute: i64| {
        let course = 22.0 + 8.0 * libm::sin(minute as f64 * std::f64::consts::TAU / 1_440.0);
        air("tunnel", JUNE + minute * MINUTE, course + f64::from(noise.random_range(-2_i32..=2)) / 100.0)
    };
    let readings: Vec<Reading> = (0..28 * 1_440).map(reading).collect();
    put(&mut ledger, 1, JUNE + 28 * DAY, &readings);
    ledger.compact(i64::MAX).unwrap();
    let sizes = ledger.sizes().unwrap();
    assert_eq!((sizes.chunk_readings, sizes.batches), (28 * 1_440, 0));
    assert!(sizes.bytes_per_archived_reading() < 0.7, "{sizes:?}");
}
