//! The own estimate on a real heat dome: that it cannot see one coming is its published weakness, and is shown here.
//!
//! Record: U.S. Climate Reference Network, hourly product, station 04236, 2021 (Diamond et al. 2013, BAMS 94, 485), with
//! its highest of each hour. Expected figures: computed by hand from that record by the method of the module for a share of
//! 0.6 to 0.75 that persists: 28.7 to 29.4 °C three days before a true 41.9 °C, and 34.3 to 35.9 °C the day before.

use std::collections::BTreeMap;

use agronomy::own_estimate::{OwnEstimate, Usual};
use agronomy::units::Celsius;
use tests::records::{plain, records};

/// Days from 1970-01-01 to 2021-01-01 (`date -u -d 2021-01-01 +%s` / 86 400).
const NEW_YEAR: i64 = 18_628;
/// 27 June 2021 within its year, from 0.
const DOME: i64 = 177;

/// Highest of each day of local standard time, by its number within 2021 from 0.
fn highs() -> Option<BTreeMap<i64, f64>> {
    let packed = records()?.join("uscrn-corvallis-2021/CRNH0203-2021-OR_Corvallis_10_SSW.txt.gz");
    let scratch = tempfile::tempdir().unwrap();
    let text = std::fs::read_to_string(plain(&packed, scratch.path())).unwrap();
    let mut highs = BTreeMap::new();
    for row in text.lines() {
        let fields: Vec<&str> = row.split_whitespace().collect();
        // The product's columns 4, 5 and 11: local date and clock at the hour's end, and the hour's highest, °C.
        let (date, clock, high): (&str, i64, f64) =
            (fields[3], fields[4].parse().unwrap(), fields[10].parse().unwrap());
        if high < -90.0 {
            continue;
        }
        let day =
            glasshour::calendar::day(&format!("{}-{}-{}", &date[..4], &date[4..6], &date[6..])).unwrap();
        // An hour that ends at midnight belongs to the day before.
        let day = day - i64::from(clock == 0) - NEW_YEAR;
        let kept = highs.entry(day).or_insert(high);
        *kept = f64::max(*kept, high);
    }
    Some(highs)
}

/// The twelve means of the record's own months: what a climate table of the place would say, but for its warm year.
fn months(highs: &BTreeMap<i64, f64>) -> [Celsius; 12] {
    let ends = [31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334, 365];
    let mut from = 0;
    ends.map(|end| {
        let of_month: Vec<f64> = highs.range(from..end).map(|(_, high)| *high).collect();
        from = end;
        Celsius::try_new(of_month.iter().sum::<f64>() / of_month.len() as f64).unwrap()
    })
}

#[test]
fn before_the_heat_dome_of_june_2021_the_own_estimate_stays_far_below_what_came() {
    let Some(highs) = highs() else { return };
    assert_eq!((highs[&DOME], highs[&(DOME - 1)], highs[&(DOME - 3)]), (41.9, 38.6, 31.4));
    let own = OwnEstimate::new(Usual::of_months(&months(&highs)), &[]);
    let before = |ahead: u32, phi: f64| {
        let day = DOME - i64::from(ahead);
        own.with_phi(phi).after(NEW_YEAR + day, highs[&day], ahead)
    };
    // What is usual on that day hangs a little on how the year is smoothed: half a degree either way.
    for (ahead, phi, told) in [(3, 0.6, 28.7), (3, 0.75, 29.4), (1, 0.6, 34.3), (1, 0.75, 35.9)] {
        let estimate = before(ahead, phi).middle_c;
        assert!((estimate - told).abs() < 0.5, "{ahead} days before, share {phi}: {estimate}, told {told}");
    }
    for ahead in 1..=5 {
        let estimate = before(ahead, 0.75);
        assert!(estimate.middle_c + estimate.spread_c < 40.0, "{ahead} days before: {estimate:?}");
    }
}
