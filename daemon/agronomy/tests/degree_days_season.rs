//! Seasons, ratios and dates: what holds for any days at all, and that no number makes them panic.

use agronomy::degree_days::{
    Cutoff, Dated, Day, Method, Outlook, Ratio, Rule, Season, SoFar, Sum, Target, fill,
};
use agronomy::units::Celsius;
use proptest::prelude::*;

fn rule(method: Method) -> Rule {
    let celsius = |value| Celsius::try_new(value).unwrap();
    Rule::try_new(method, celsius(10.0), Some(celsius(30.0)), Cutoff::Horizontal).unwrap()
}

fn days() -> impl Strategy<Value = Vec<Option<f64>>> {
    proptest::collection::vec(proptest::option::weighted(0.9, 0.0..20.0), 0..120)
}

/// The order of answers in time.
fn order(dated: Dated) -> Option<i64> {
    match dated {
        Dated::Reached(day) | Dated::Expected(day) => Some(day),
        Dated::NotInSight => Some(i64::MAX),
        Dated::TooLittleMeasured => None,
    }
}

proptest! {
    #[test]
    fn filling_leaves_measured_days_alone_and_stays_within_their_range(days in days()) {
        let filled: Vec<_> = fill(&days).collect();
        prop_assert_eq!(filled.len(), days.len());
        for (at, (day, told)) in filled.iter().zip(&days).enumerate() {
            let near = &days[at.saturating_sub(3)..days.len().min(at + 4)];
            match (day, told) {
                (Day::Measured(value), Some(told)) => prop_assert_eq!(value, told),
                (Day::Filled(value), None) => {
                    let measured = || near.iter().flatten().copied();
                    prop_assert!(*value >= measured().fold(f64::INFINITY, f64::min) - 1e-9);
                    prop_assert!(*value <= measured().fold(0.0, f64::max) + 1e-9);
                }
                (Day::Missing, None) => prop_assert!(near.iter().all(Option::is_none)),
                other => prop_assert!(false, "{other:?}"),
            }
        }
    }

    #[test]
    fn a_season_in_two_stretches_is_the_season_and_its_share_is_a_share(days in days(), cut in 0..120_usize) {
        let filled: Vec<_> = fill(&days).collect();
        let (mut whole, rule) = (Season::new(rule(Method::Integral)), rule(Method::Integral));
        let (mut spring, mut summer) = (Season::new(rule), Season::new(rule));
        for (at, day) in filled.iter().enumerate() {
            whole.add_day(*day).unwrap();
            if at < cut { spring.add_day(*day).unwrap() } else { summer.add_day(*day).unwrap() }
        }
        spring.add(&summer).unwrap();
        prop_assert!((spring.sum().total() - whole.sum().total()).abs() < 1e-9);
        prop_assert!((spring.filled() - whole.filled()).abs() < 1e-9);
        prop_assert_eq!(spring.missing_days(), whole.missing_days());
        prop_assert!((0.0..=1.0).contains(&whole.filled_share()) && whole.filled() <= whole.sum().total() + 1e-9);
        let days = whole.measured_days() + whole.filled_days() + whole.missing_days();
        prop_assert_eq!(days as usize, filled.len());
    }

    #[test]
    fn the_earliest_day_is_never_after_the_latest_and_a_hotter_outlook_never_later(
        days in days(), low in 0.0..1500.0, width in 0.0..300.0,
        forecast in proptest::collection::vec(0.0..20.0, 0..10), slow in 0.0..10.0, more in 0.0..5.0,
    ) {
        let filled: Vec<_> = fill(&days).collect();
        let rule = rule(Method::Integral);
        let target = Target::try_new(rule, low, low + width).unwrap();
        let outlook = Outlook { rule, forecast: &forecast, slow, usual: slow + 1.0, fast: slow + 2.0 };
        let so_far = SoFar { rule, first_day: 0, days: &filled };
        let dates = target.dates(&so_far, &outlook).unwrap();
        if let (Some(earliest), Some(latest)) = (order(dates.earliest), order(dates.latest)) {
            prop_assert!(earliest <= latest, "{dates:?}");
        }
        let hotter = Outlook { slow: slow + more, usual: slow + 1.0 + more, fast: slow + 2.0 + more, ..outlook };
        let sooner = target.dates(&so_far, &hotter).unwrap();
        for (one, other) in [(dates.earliest, sooner.earliest), (dates.latest, sooner.latest)] {
            prop_assert!(order(other) <= order(one), "{one:?} {other:?}");
        }
    }

    #[test]
    fn a_ratio_lies_between_its_seasons_and_carries_a_target_over_in_order(
        seasons in proptest::collection::vec((100.0..3000.0, 100.0..3000.0), 1..8), low in 0.0..900.0, width in 0.0..300.0,
    ) {
        let sum = |method, total| {
            let mut sum = Sum::new(rule(method));
            sum.add_day(total).unwrap();
            sum
        };
        let pairs: Vec<_> =
            seasons.iter().map(|&(a, b)| (sum(Method::MeanCapped, a), sum(Method::Integral, b))).collect();
        let ratio = Ratio::learn(&pairs).unwrap();
        let (lowest, highest) = ratio.span();
        prop_assert!(lowest - 1e-9 <= ratio.mean() && ratio.mean() <= highest + 1e-9);
        prop_assert_eq!(ratio.deviation().is_none(), seasons.len() == 1);
        let target = Target::try_new(rule(Method::MeanCapped), low, low + width).unwrap();
        let own = target.by_own_method(&ratio).unwrap();
        prop_assert!(own.low() <= own.high() && own.rule() == rule(Method::Integral));
    }

    #[test]
    fn no_number_makes_a_season_or_a_date_panic(
        days in proptest::collection::vec(proptest::option::of(any::<f64>()), 0..20), first in any::<i64>(),
        forecast in proptest::collection::vec(any::<f64>(), 0..4), rates in any::<[f64; 3]>(),
        ends in any::<[f64; 2]>(),
    ) {
        let rule = rule(Method::Integral);
        if let Ok(season) = Season::of(rule, &days) {
            prop_assert!(season.sum().total().is_finite());
        }
        let filled: Vec<_> = fill(&days).collect();
        let [slow, usual, fast] = rates;
        let outlook = Outlook { rule, forecast: &forecast, slow, usual, fast };
        if let Ok(target) = Target::try_new(rule, ends[0], ends[1]) {
            _ = target.dates(&SoFar { rule, first_day: first, days: &filled }, &outlook);
        }
    }
}
