//! Whatever happens to a ledger, in whatever order: its answers are those of a plain list.

use std::path::Path;
use std::sync::Arc;

use proptest::prelude::*;

use super::answers::{AIR, Arrival, readings};
use super::*;
use crate::ledger::{Aftermath, LedgerError, Past, PastReading, View, compaction};
use crate::reading::Grade;

/// What may happen to a ledger.
#[derive(Clone, Debug)]
enum Happening {
    /// A commit of these arrivals, by probe.
    Commit(Vec<(usize, Arrival)>),
    /// Arrivals of a record, put straight into chunks.
    TakeIn(Vec<(usize, Arrival)>),
    /// A compaction of all but the last so many days.
    Compact(i64),
    /// The same, cut short after so many slices.
    CutShort(i64, usize),
    /// A restart: what is remembered in memory is gone.
    Restart,
}

const PROBES: [&str; 3] = ["bed", "shed", "tunnel"];

fn happenings() -> impl Strategy<Value = Vec<Happening>> {
    let code = prop_oneof![6 => Just(0_u8), 1 => 0_u8..9];
    let minute = prop_oneof![-100_i64..20_160, 4_300_i64..4_400];
    let one = (0_usize..3, (minute, 1_990_i32..2_010, code));
    let some = prop::collection::vec(one, 1..12);
    let happening = prop_oneof![
        4 => some.clone().prop_map(Happening::Commit),
        1 => some.prop_map(Happening::TakeIn),
        1 => (0_i64..6).prop_map(Happening::Compact),
        2 => (0_i64..6, 0_usize..4).prop_map(|(days, slices)| Happening::CutShort(days, slices)),
        1 => Just(Happening::Restart),
    ];
    prop::collection::vec(happening, 1..24)
}

/// A compaction that ends, as a process would, after so many slices of one series each.
fn cut_short(ledger: &mut Ledger, before_ms: i64, slices: usize) {
    let shared = Arc::clone(&ledger.shared);
    let mut plan = compaction::plan(ledger.view().unwrap(), before_ms).unwrap();
    let series: Vec<i64> = plan.slices().into_iter().flatten().collect();
    for one in series.into_iter().take(slices) {
        ledger.write(|conn, _, _| plan.slice(View { conn, shared: &shared }, &[one])).unwrap();
    }
}

/// Opens a ledger that nobody holds. Another test may be starting a process at this very moment, which has our files
/// open until it becomes that other program: then it is tried again.
fn opened(folder: &Path) -> Ledger {
    for _ in 0..100_000 {
        match Ledger::open(folder, &founding()) {
            Err(LedgerError::Held { .. }) => std::thread::yield_now(),
            opened => return opened.unwrap(),
        }
    }
    panic!("the ledger stays held")
}

fn of_probes(arrivals: &[(usize, Arrival)]) -> Vec<Reading> {
    let reading = |(probe, arrival): &(usize, Arrival)| Reading {
        probe: PROBES[*probe].into(),
        ..readings(&[*arrival]).pop().unwrap()
    };
    arrivals.iter().map(reading).collect()
}

fn take_in(ledger: &mut Ledger, arrived_ms: i64, readings: &[Reading]) -> (u64, u64) {
    let (mut new, mut held) = (0, 0);
    for probe in PROBES {
        let of_probe = readings.iter().filter(|reading| reading.probe.as_ref() == probe);
        let past: Vec<PastReading> = of_probe
            .map(|it| PastReading {
                at_ms: it.at_ms,
                ticks: (it.value * 100.0).round() as i32,
                reason: it.reason,
            })
            .collect();
        let past = Past { probe: &probe.into(), quantity: AIR, readings: &past };
        let taken = ledger.take_in(arrived_ms, &[past], |_| Aftermath::default()).unwrap();
        (new, held) = (new + taken.new, held + taken.held);
        assert_eq!(taken.new > 0, !taken.times.is_empty());
        assert_eq!(taken.counts.iter().map(|count| count.count).sum::<u64>(), taken.new + taken.held);
    }
    (new, held)
}

/// The rule of the ledger over a plain list of arrivals, said as slowly as it can be.
fn by_list(arrivals: &[Reading], probe: &str) -> Vec<Reading> {
    let mut kept: Vec<Reading> = Vec::new();
    for reading in arrivals.iter().filter(|it| it.probe.as_ref() == probe && it.reason != Reason::Repeated) {
        let refused = |it: &Reading| it.grade() == Grade::Refused;
        let missing = |it: &Reading| it.reason == Reason::Missing;
        let same: Vec<Reading> = kept.iter().filter(|it| it.at_ms == reading.at_ms).cloned().collect();
        if same.iter().any(|it| {
            it.value == reading.value && refused(it) == refused(reading) && missing(it) == missing(reading)
        }) {
            continue;
        }
        let mut reading = reading.clone();
        if reading.grade() == Grade::Sound && same.iter().any(|it| !refused(it)) {
            reading.reason = Reason::SameTimeOtherValue;
        }
        kept.push(reading);
    }
    kept.sort_by_key(|it| it.at_ms);
    kept
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    #[test]
    fn whatever_happens_the_answers_are_those_of_a_plain_list(happenings in happenings(), from in 0_i64..14, days in 1_i64..9) {
        let folder = tempfile::tempdir().unwrap();
        let open = || {
            let mut ledger = opened(folder.path());
            let boot = ledger.begin_boot(0, Some((JUNE, "test"))).unwrap();
            for probe in PROBES {
                ledger.set_usual_interval(probe, 15 * MINUTE);
            }
            (ledger, boot)
        };
        let (mut ledger, mut boot) = open();
        let mut list: Vec<Reading> = Vec::new();
        for (index, happening) in happenings.iter().enumerate() {
            let wall = JUNE + index as i64 * DAY;
            match happening {
                Happening::Commit(arrivals) => {
                    let readings = of_probes(arrivals);
                    put(&mut ledger, boot, wall, &readings);
                    list.extend(readings);
                }
                Happening::TakeIn(arrivals) => {
                    let readings = of_probes(arrivals);
                    take_in(&mut ledger, wall, &readings);
                    list.extend(readings.iter().cloned());
                    prop_assert_eq!(take_in(&mut ledger, wall, &readings).0, 0, "nothing is new the second time");
                }
                Happening::Compact(days) => { ledger.compact(wall - days * DAY).unwrap(); }
                Happening::CutShort(days, slices) => cut_short(&mut ledger, wall - days * DAY, *slices),
                Happening::Restart => {
                    drop(ledger);
                    (ledger, boot) = open();
                }
            }
            let wanted = PROBES.map(|probe| (probe, AIR));
            let range = JUNE + from * DAY..JUNE + (from + days) * DAY;
            let answers = ledger.readings_of(&wanted, range.clone()).unwrap();
            for (probe, answer) in PROBES.iter().zip(answers) {
                let all_of_it = by_list(&list, probe);
                prop_assert_eq!(&all(&ledger, probe), &all_of_it);
                let within: Vec<Reading> = all_of_it.iter().filter(|it| range.contains(&it.at_ms)).cloned().collect();
                let answer: Vec<Reading> = answer.into_iter().map(|point| point.of(&(*probe).into(), AIR)).collect();
                prop_assert_eq!(&answer, &within);
                let mut swept = Vec::new();
                ledger.reader().unwrap().look(|view| view.each_reading(probe, AIR, range.clone(), |point| {
                    swept.push(point.of(&(*probe).into(), AIR));
                })).unwrap();
                prop_assert_eq!(swept, answer);
                let newest = all_of_it.iter().rfind(|it| it.grade() != Grade::Refused).cloned();
                prop_assert_eq!(ledger.newest(probe, AIR).unwrap(), newest);
                let ends = all_of_it.first().zip(all_of_it.last()).map(|(first, last)| (first.at_ms, last.at_ms));
                prop_assert_eq!(ledger.span(probe, AIR).unwrap(), ends);
            }
        }
        let mut plain = Ledger::in_memory(&founding()).unwrap();
        plain.begin_boot(0, Some((JUNE, "test"))).unwrap();
        for probe in PROBES {
            plain.set_usual_interval(probe, 15 * MINUTE);
        }
        if !list.is_empty() {
            put(&mut plain, 1, JUNE, &list);
        }
        for probe in PROBES {
            for range in [0..i64::MAX, JUNE + from * DAY..JUNE + (from + days) * DAY] {
                prop_assert_eq!(ledger.hourly(probe, AIR, range.clone()).unwrap(), plain.hourly(probe, AIR, range).unwrap());
            }
        }
        ledger.compact(i64::MAX).unwrap();
        prop_assert_eq!(ledger.sizes().unwrap().batches, 0);
        for probe in PROBES {
            prop_assert_eq!(all(&ledger, probe), by_list(&list, probe));
        }
        prop_assert_eq!(ledger.check().unwrap(), []);
    }
}
