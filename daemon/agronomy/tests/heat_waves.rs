//! Heat waves against ten synthetic years reckoned with thermofeel 2.3.0, xclim 0.62.0 and numpy 2.4.6.

mod golden;

use agronomy::heat_waves::{
    DayAtLine, Excess, ExcessHeat, Grade, HOT_DAYS, Judged, Looking, Reference, ReferenceError, Spell,
    Streak, WARM_SPELL_DAYS, Wave, day_mean, days_in, spells, warm_spell_days,
};
use agronomy::sun::DayOfYear;
use agronomy::units::Celsius;
use golden::{Row, Worst, close, printed, table};
use proptest::prelude::*;

fn celsius(value: f64) -> Celsius {
    Celsius::try_new(value).unwrap()
}

/// The ten years, day by day.
struct Record {
    rows: Vec<Row>,
    highest: Vec<Celsius>,
    lowest: Vec<Celsius>,
    means: Vec<Option<Celsius>>,
}

impl Record {
    fn read() -> Self {
        let rows = table("heatwave_daily.csv");
        let column = |name: &str| rows.iter().map(|row| celsius(row.number(name))).collect::<Vec<_>>();
        let (highest, lowest) = (column("tmax"), column("tmin"));
        let means = highest.iter().zip(&lowest).map(|(high, low)| Some(day_mean(*high, *low))).collect();
        Self { rows, highest, lowest, means }
    }

    fn date(&self, day: usize) -> &str {
        self.rows[day].text("date")
    }

    fn year(&self, day: usize) -> &str {
        &self.date(day)[..4]
    }

    /// Each day's number in its year, counted from the dates.
    fn days_of_year(&self) -> Vec<DayOfYear> {
        let mut number = 0;
        let numbers = (0..self.rows.len()).map(|day| {
            number = if self.date(day).ends_with("-01-01") { 1 } else { number + 1 };
            DayOfYear::try_new(number).unwrap()
        });
        numbers.collect()
    }

    fn over(&self, line: f64) -> impl Iterator<Item = Option<Judged>> {
        self.highest.iter().map(move |high| Some(Judged::over(*high, celsius(line))))
    }
}

/// The published lines: 90th percentiles of the calendar days.
fn published_lines() -> Vec<Celsius> {
    table("heatwave_percentiles.csv").iter().map(|row| celsius(row.number("p90_tmax"))).collect()
}

fn excess(record: &Record, looking: Looking, hot_day: Celsius) -> Excess<'_> {
    Excess { days: &record.means, looking, hot_day }
}

#[test]
fn excess_heat_forward_and_backward_is_that_of_thermofeel_on_every_day() {
    let record = Record::read();
    let reference = Reference::learn(&record.means).unwrap();
    close(reference.hot_day.get(), 25.9, 1e-9, "T95 in the heading of the table");
    close(reference.grave_factor.unwrap(), 10.384989, 5.1e-7, "EHF85 in the heading of the table");
    let [mut ahead, mut behind] = [
        [
            "heatwave_daily.csv EHIsig forward",
            "heatwave_daily.csv EHIaccl forward",
            "heatwave_daily.csv EHF forward",
            "heatwave_daily.csv severity forward",
        ],
        [
            "heatwave_daily.csv EHIsig backward",
            "heatwave_daily.csv EHIaccl backward",
            "heatwave_daily.csv EHF backward",
            "heatwave_daily.csv mean of the day",
        ],
    ]
    .map(|names| names.map(Worst::of));
    let forward = excess(&record, Looking::Forward, reference.hot_day);
    let backward = excess(&record, Looking::Backward, reference.hot_day);
    for (day, row) in record.rows.iter().enumerate() {
        let beside = |worst: &mut Worst, got: Option<f64>, column: &str| {
            let told = row.text(column);
            assert_eq!(got.is_none(), told.is_empty(), "{column} of {}: {got:?}", record.date(day));
            if let Some(got) = got {
                let expected = row.number(column);
                worst.compare(
                    got,
                    expected,
                    printed(expected, 1e-9),
                    format_args!("{column}, {}", record.date(day)),
                );
            }
        };
        let (now, known) = (forward.at(day), backward.at(day));
        beside(&mut ahead[0], forward.significance(day), "ehi_sig_fwd");
        beside(&mut ahead[1], forward.acclimatisation(day), "ehi_accl_fwd");
        beside(&mut ahead[2], now.map(|heat| heat.factor), "ehf_fwd");
        beside(&mut ahead[3], now.and_then(|heat| reference.severity(&heat)), "severity_fwd");
        beside(&mut behind[0], backward.significance(day), "ehi_sig_bwd");
        beside(&mut behind[1], backward.acclimatisation(day), "ehi_accl_bwd");
        beside(&mut behind[2], known.map(|heat| heat.factor), "ehf_bwd");
        beside(&mut behind[3], record.means[day].map(Celsius::get), "dmt");
    }
    // 3653 days; three days need two more, the month before 30.
    for (kept, rows) in ahead.into_iter().chain(behind).zip([3651, 3621, 3621, 3621, 3651, 3621, 3621, 3653])
    {
        kept.end(rows);
    }
}

#[test]
fn a_day_that_nobody_measured_leaves_every_excess_it_enters_unknown() {
    let record = Record::read();
    let mut means = record.means.clone();
    means[1000] = None;
    let holed = Excess { days: &means, looking: Looking::Forward, hot_day: celsius(25.9) };
    let whole = Excess { days: &record.means, ..holed };
    for day in 30..3651 {
        let touched = (998..=1030).contains(&day);
        assert_eq!(holed.at(day), if touched { None } else { whole.at(day) }, "day {day}");
    }
    for beyond in [0, 29, 3651, usize::MAX] {
        assert_eq!(whole.at(beyond), None, "{beyond}");
        assert_eq!(Excess { looking: Looking::Backward, ..whole }.at(beyond).is_some(), beyond == 3651);
    }
}

#[test]
fn a_short_record_says_so_and_one_of_less_than_a_year_says_nothing() {
    let record = Record::read();
    let of = |days: usize| Reference::learn(&record.means[..days]);
    assert_eq!(of(364).unwrap_err(), ReferenceError::LessThanAYear(364));
    assert_eq!(of(400).unwrap().relative_to().unwrap(), "relative to your own single year");
    assert_eq!(of(3 * 366).unwrap().relative_to().unwrap(), "relative to your own 3 years");
    assert_eq!(of(5 * 365).unwrap().relative_to(), None);
    // A place with one temperature all year has no heat wave and no scale for one.
    let flat = vec![Some(celsius(20.0)); 400];
    let reference = Reference::learn(&flat).unwrap();
    assert_eq!((reference.hot_day.get(), reference.grave_factor), (20.0, None));
    let heat = Excess { days: &flat, looking: Looking::Forward, hot_day: reference.hot_day }.at(50).unwrap();
    assert_eq!((heat.factor, reference.grade(&heat)), (0.0, None));
}

#[test]
fn severity_is_graded_at_one_and_three_times_the_places_own_scale() {
    let reference = Reference { hot_day: celsius(25.0), grave_factor: Some(10.0), days: 3650 };
    let of = |factor| {
        let heat = ExcessHeat { significance: 1.0, acclimatisation: 1.0, factor };
        reference.grade(&heat)
    };
    // Nairn, Ostendorf & Bi (2018): severe from 1, extreme from 3.
    assert_eq!([of(-5.0), of(0.0), of(9.9)], [None, None, Some(Grade::Low)]);
    assert_eq!(
        [of(10.0), of(29.9), of(30.0)],
        [Some(Grade::Severe), Some(Grade::Severe), Some(Grade::Extreme)]
    );
}

#[test]
fn every_event_of_the_table_is_found_with_its_days_peak_and_sum_and_no_other() {
    let record = Record::read();
    let lines = published_lines();
    let numbers = record.days_of_year();
    let reference = Reference::learn(&record.means).unwrap();
    let forward = excess(&record, Looking::Forward, reference.hot_day);
    // The first month and the last two days have no factor; the synthetic record begins and ends in winter.
    let factors = (0..record.rows.len()).map(|day| forward.at(day).map(|heat| Judged::excess_heat(&heat)));
    let warm = (0..record.rows.len())
        .map(|day| Some(Judged::over(record.highest[day], lines[usize::from(numbers[day].get()) - 1])));
    let found: [(&str, Vec<Spell>); 3] = [
        ("EHF>0 (forward)", spells(factors, 1).collect()),
        ("Tmax>28 for >=3 d", spells(record.over(28.0), HOT_DAYS).collect()),
        ("Tmax>p90(doy) for >=6 d", spells(warm, WARM_SPELL_DAYS).collect()),
    ];
    let rows = table("heatwave_events.csv");
    let (mut peak, mut sum) = (Worst::of("heatwave_events.csv peak"), Worst::of("heatwave_events.csv sum"));
    for (rule, spells) in &found {
        let told: Vec<_> = rows.iter().filter(|row| row.text("rule") == *rule).collect();
        assert_eq!(spells.len(), told.len(), "{rule}");
        for (spell, row) in spells.iter().zip(told) {
            let what = format!("{rule} from {}", row.text("start"));
            assert_eq!(record.date(spell.first), row.text("start"), "{what}");
            assert_eq!(record.date(spell.last), row.text("end"), "{what}");
            assert_eq!(spell.days() as f64, row.number("days"), "{what}");
            assert!(!spell.may_be_longer, "{what}");
            peak.compare(spell.peak, row.number("peak"), 1e-6, &what);
            sum.compare(spell.excess, row.number("sum"), 1e-6, &what);
        }
    }
    peak.end(rows.len());
    sum.end(rows.len());
}

#[test]
fn the_yearly_counts_are_those_of_xclim() {
    let record = Record::read();
    let lines = published_lines();
    let numbers = record.days_of_year();
    let (hot, warm_night) = (celsius(28.0), celsius(16.0));
    let mut worst = Worst::of("heatwave_yearly.csv counts, own and of xclim");
    let years = table("heatwave_yearly.csv");
    for row in &years {
        let year = row.text("year");
        let days: Vec<usize> = (0..record.rows.len()).filter(|day| record.year(*day) == year).collect();
        let highest = &record.highest;
        let over = |line| days.iter().map(move |day| Some(Judged::over(highest[*day], line)));
        let against_lines = days
            .iter()
            .map(|day| Some(Judged::over(record.highest[*day], lines[usize::from(numbers[*day].get()) - 1])));
        let day_and_night = || {
            days.iter().map(|day| {
                let night = Judged::over(record.lowest[*day], warm_night);
                Some(Judged::over(record.highest[*day], hot).and(night))
            })
        };
        let longest = spells(over(hot), HOT_DAYS).map(|spell| spell.days()).max().unwrap_or(0);
        for (column, got) in [
            ("wsdi", warm_spell_days(against_lines)),
            ("hot_spells", spells(over(hot), HOT_DAYS).count()),
            ("hot_spell_max", longest),
            ("heat_waves", spells(day_and_night(), HOT_DAYS).count()),
            ("heat_wave_days", days_in(spells(day_and_night(), HOT_DAYS))),
        ] {
            let what = format!("{column} of {year}");
            worst.compare(got as f64, row.number(column), 0.0, &what);
            worst.compare(got as f64, row.number(&format!("{column}_x")), 0.0, &what);
        }
        let days_over_30 = days_in(spells(over(celsius(30.0)), 1));
        worst.compare(days_over_30 as f64, row.number("days_tmax_gt_30_x"), 0.0, year);
        let nights = days.iter().map(|day| Some(Judged::over(record.lowest[*day], warm_night)));
        let warm_nights = days_in(spells(nights, 1));
        worst.compare(warm_nights as f64, row.number("nights_tmin_gt_16_x"), 0.0, year);
    }
    worst.end(12 * years.len());
}

#[test]
fn a_missing_day_ends_a_spell_which_then_says_that_it_may_be_longer() {
    let day = |excess: f64| Some(Judged { value: 30.0 + excess, excess });
    let days =
        [day(1.0), day(2.0), day(-1.0), day(1.0), day(1.0), None, day(3.0), day(1.0), day(-1.0), day(0.0)];
    let found: Vec<_> = spells(days.into_iter(), 2).map(|it| (it.first, it.last, it.may_be_longer)).collect();
    // The first touches the beginning of the record, the others the missing day; a day on its line is in none.
    assert_eq!(found, [(0, 1, true), (3, 4, true), (6, 7, true)]);
    let inside = [day(-1.0), day(1.0), day(1.0), day(-1.0)];
    assert!(!spells(inside.into_iter(), 2).next().unwrap().may_be_longer);
    assert!(spells([day(-1.0), day(1.0), day(1.0)].into_iter(), 2).next().unwrap().may_be_longer);
    assert_eq!(spells(inside.into_iter(), 3).count(), 0);
    assert_eq!(spells([None, None].into_iter(), 0).count(), 0);
}

#[test]
fn two_days_at_a_crops_line_make_its_heat_wave_and_only_a_clear_miss_ends_it() {
    // A tomato in flower, severe from 35 °C: common practice.
    let line = celsius(35.0);
    let day = |temperature: f64| DayAtLine::measured(Some(celsius(temperature)), line);
    let mut streak = Streak::default();
    assert_eq!(streak.step(1, day(36.0)), None);
    assert_eq!(streak.step(2, day(35.0)), Some(Wave { first: 1, last: 2, days: 2 }));
    assert_eq!(streak.step(3, day(34.2)).unwrap().days, 2, "near the line nothing ends");
    assert_eq!(streak.step(4, DayAtLine::measured(None, line)).unwrap().days, 2, "nor where nobody measured");
    assert_eq!(streak.step(5, day(37.0)), Some(Wave { first: 1, last: 5, days: 3 }));
    assert_eq!(streak.step(6, day(33.9)), None, "a clear miss");
    assert_eq!(streak.step(7, day(36.0)), None, "one day is none");
    assert_eq!(streak.step(7, day(36.0)), None, "the same day again is not a second one");
    streak.end();
    assert_eq!(streak.step(8, day(36.0)), None, "the stage was over in between");
}

#[test]
fn three_days_that_nobody_measured_are_no_bridge() {
    let mut streak = Streak::default();
    streak.step(1, DayAtLine::Met);
    for day in 2..=4 {
        streak.step(day, DayAtLine::Unknown);
    }
    assert_eq!(streak.step(5, DayAtLine::Met), None);
    let mut left_out = Streak::default();
    left_out.step(1, DayAtLine::Met);
    assert_eq!(left_out.step(5, DayAtLine::Met), None, "days left out count as unknown");
    let mut short = Streak::default();
    short.step(1, DayAtLine::Met);
    assert_eq!(short.step(4, DayAtLine::Met), Some(Wave { first: 1, last: 4, days: 2 }));
}

#[test]
fn a_warm_night_carries_a_crops_heat_wave_and_a_house_must_exceed_its_line() {
    // Bean: nights of 20 °C and more cost pods.
    let night = DayAtLine::measured(Some(celsius(21.0)), celsius(20.0));
    let day = DayAtLine::measured(Some(celsius(28.0)), celsius(35.0));
    assert_eq!(day, DayAtLine::Missed);
    assert_eq!(day.or(night), DayAtLine::Met);
    assert_eq!(day.or(DayAtLine::Unknown), DayAtLine::Unknown, "it might have been met");
    let peak = |temperature: f64| DayAtLine::expected(Some(celsius(temperature)), celsius(40.0));
    assert_eq!([peak(40.0), peak(40.1), peak(38.9)], [DayAtLine::Near, DayAtLine::Met, DayAtLine::Missed]);
    let mut house = Streak::default();
    let wave = [41.0, 43.0, 36.0].into_iter().enumerate().map(|(at, high)| house.step(at as i64, peak(high)));
    let days: Vec<_> = wave.map(|wave| wave.map_or(0, |it| it.days)).collect();
    assert_eq!(days, [0, 2, 0]);
}

proptest! {
    #[test]
    fn spells_are_in_order_long_enough_apart_and_hold_every_long_run(
        days in proptest::collection::vec(proptest::option::of(-3.0..3.0_f64), 0..80), least in 1_usize..7,
    ) {
        let judged = || days.iter().map(|day| day.map(|excess| Judged { value: excess, excess }));
        let found: Vec<_> = spells(judged(), least).collect();
        for pair in found.windows(2) {
            prop_assert!(pair[0].last + 1 < pair[1].first);
        }
        for (day, excess) in days.iter().enumerate() {
            let hot = |day: usize| days.get(day).copied().flatten().is_some_and(|excess| excess > 0.0);
            let back = (0..=day).rev().take_while(|at| hot(*at)).count();
            let on = (day..days.len()).take_while(|at| hot(*at)).count();
            let wanted = hot(day) && back + on > least;
            let inside = found.iter().any(|spell| (spell.first..=spell.last).contains(&day));
            prop_assert_eq!(inside, wanted, "day {} of {:?}", day, excess);
        }
    }

    #[test]
    fn a_hotter_span_has_no_smaller_excess(at in 30_usize..3600, raise in 0.0..10.0_f64) {
        let means: Vec<_> = (0..3653).map(|day| {
            let season = libm::sin(f64::from(day) / 58.1);
            Some(celsius(14.0 + 10.0 * season))
        }).collect();
        let mut hotter = means.clone();
        for mean in &mut hotter[at..at + 3] {
            *mean = mean.map(|mean| celsius(mean.get() + raise));
        }
        let factor = |days: &[_]| Excess { days, looking: Looking::Forward, hot_day: celsius(22.0) }.at(at).unwrap();
        let (plain, raised) = (factor(&means), factor(&hotter));
        prop_assert!(raised.significance >= plain.significance - 1e-9);
        prop_assert!(plain.significance < 0.0 || raised.factor >= plain.factor - 1e-9);
    }
}

#[test]
fn no_temperature_of_any_kind_breaks_a_judgement() {
    for (high, line) in
        [(Celsius::MIN, Celsius::MAX), (Celsius::MAX, Celsius::MIN), (Celsius::MAX, Celsius::MAX)]
    {
        assert!(Judged::over(high, line).excess.is_finite());
        assert!(DayAtLine::measured(Some(high), line) >= DayAtLine::Missed);
    }
    let mut streak = Streak::default();
    for day in [i64::MIN, 0, i64::MAX, i64::MIN] {
        assert_eq!(streak.step(day, DayAtLine::Met), None);
    }
}
