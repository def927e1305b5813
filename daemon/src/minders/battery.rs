//! A probe's battery: worth changing before it is flat.
//!
//! A battery sags in the cold of the night and under load, so the middle of the last hours is looked at, and it must
//! come well above the line before it is called good again. Volts alone say nothing: which voltage is low depends on
//! the cells, so the grower states the line; a charge in percent needs none.

use agronomy::crop::Severity;
use agronomy::series::MS_PER_HOUR;

use super::word::{Verdict, Word};
use crate::almanac::shape::median;

/// Charge below which a battery is low, % (practice).
const LOW_PCT: f64 = 20.0;
/// How far above its line it is good again, % and share of the line (practice).
const GOOD_PCT: f64 = 5.0;
const GOOD_SHARE: f64 = 0.03;
/// Over how long it is looked at, ms.
pub const LOOKED_AT_MS: i64 = 3 * MS_PER_HOUR;
/// Fewest readings that tell anything.
const FEWEST: usize = 2;

/// The name of the minder.
pub const BATTERY: &str = "battery";

/// A probe's battery at a moment.
#[derive(Clone, Debug)]
pub struct BatteryNow<'a> {
    /// The probe.
    pub probe: &'a str,
    /// Where it hangs.
    pub place_name: &'a str,
    /// Sound charges of the last hours, %.
    pub charges_pct: Vec<f64>,
    /// Sound voltages of the last hours, V.
    pub volts: Vec<f64>,
    /// Under which voltage it is low, as the grower stated it, V.
    pub low_v: Option<f64>,
}

/// Judges a probe's battery. The notice's place is the probe's name; none where nothing is said of a battery.
pub fn judge(now: &BatteryNow<'_>) -> Option<Verdict> {
    let middle = |values: &[f64]| {
        let mut values = values.to_vec();
        if values.len() < FEWEST { None } else { median(&mut values) }
    };
    let charge = middle(&now.charges_pct).map(|charge| (charge, LOW_PCT, GOOD_PCT, "%"));
    let volts =
        middle(&now.volts).zip(now.low_v).map(|(volts, low_v)| (volts, low_v, low_v * GOOD_SHARE, "V"));
    let (value, low, margin, unit) = charge.or(volts)?;
    let figure = if unit == "V" { format!("{value:.2} V") } else { format!("{value:.0} %") };
    if value >= low + margin {
        let text = format!("{}: battery of {} at {figure}.", now.place_name, now.probe);
        return Some(Verdict::clear(BATTERY, now.probe, "The battery is good.", text));
    }
    if value >= low {
        return Some(Verdict::unknown(BATTERY, now.probe));
    }
    let word = Word {
        planting: None,
        severity: Severity::Minor,
        push: false,
        joins_heat: false,
        title: format!("Change the battery of {} in {}.", now.probe, now.place_name),
        text: format!(
            "{}: battery of {} at {figure}, low under {low} {unit}. When it is flat, nothing is known of the place.",
            now.place_name, now.probe
        ),
        caution: "",
    };
    Some(Verdict::word(BATTERY, now.probe, word))
}

#[cfg(test)]
mod tests {
    use super::super::word::Says;
    use super::*;

    fn said(charges_pct: &[f64], volts: &[f64], low_v: Option<f64>) -> Option<Says> {
        let now = BatteryNow {
            probe: "wall",
            place_name: "Long House",
            charges_pct: charges_pct.to_vec(),
            volts: volts.to_vec(),
            low_v,
        };
        judge(&now).map(|verdict| verdict.says)
    }

    #[test]
    fn a_charge_is_low_under_twenty_percent_and_good_again_at_twenty_five() {
        // 20 %: common practice.
        let Some(Says::Word(word)) = said(&[19.0, 19.9, 20.5], &[], None) else { panic!() };
        assert!(word.title.contains("wall") && word.text.contains("20 %"), "{word:?}");
        assert!(!word.push && word.severity == Severity::Minor);
        assert_eq!(said(&[20.0, 24.9], &[], None), Some(Says::Unknown));
        assert!(matches!(said(&[25.0, 25.0], &[], None), Some(Says::Clear { .. })));
    }

    #[test]
    fn volts_are_judged_only_by_a_stated_line() {
        assert_eq!(said(&[], &[2.1, 2.1], None), None);
        assert!(matches!(said(&[], &[2.39, 2.39], Some(2.4)), Some(Says::Word(_))));
        assert_eq!(said(&[], &[2.45, 2.45], Some(2.4)), Some(Says::Unknown));
        assert!(matches!(said(&[], &[2.48, 2.48], Some(2.4)), Some(Says::Clear { .. })));
    }

    #[test]
    fn one_reading_or_none_tells_nothing() {
        assert_eq!(said(&[5.0], &[], None), None);
        assert_eq!(said(&[], &[], Some(2.4)), None);
    }
}
