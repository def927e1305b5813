//! Figures that must stand in order, whoever wrote them: base below cap, frost damage above death, a severe heat rule
//! not below a moderate one.

use super::Figures;
use crate::crop::{HeatRule, Measure, Stage};

/// Two figures that stand the wrong way round.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("{above} {high} is {} {below} {low}; write {}", self.how(), self.what())]
pub struct OutOfOrder {
    /// The figure that belongs below.
    pub below: String,
    /// The figure that belongs above.
    pub above: String,
    /// The lower end of the one below.
    pub low: f64,
    /// The upper end of the one above.
    pub high: f64,
    /// Whether they may not be the same.
    pub apart: bool,
}

impl OutOfOrder {
    fn how(&self) -> &'static str {
        if self.apart { "not above" } else { "below" }
    }

    fn what(&self) -> String {
        if self.apart { format!("more than {}", self.low) } else { format!("{} or more", self.low) }
    }
}

/// Neighbours: the one below, the one above, and whether they must lie apart.
const ORDER: [(&str, &str, bool); 17] = [
    ("gdd.t_base_c", "gdd.t_upper_c", true),
    ("gdd.alt_t_base_c", "gdd.alt_t_upper_c", true),
    ("germination.t_min_c", "germination.t_max_c", true),
    ("germination.t_min_c", "germination.t_opt_c", false),
    ("germination.t_opt_c", "germination.t_max_c", false),
    ("cold.lethal_c", "cold.frost_damage_c", false),
    ("cold.frost_damage_c", "cold.chilling_c", false),
    ("vpd_kpa.damp_below", "vpd_kpa.drying_above", false),
    ("vpd_kpa.drying_above", "vpd_kpa.harsh_above", false),
    ("root_zone.min_c", "root_zone.opt_c", false),
    ("root_zone.opt_c", "root_zone.caution_c", false),
    ("root_zone.caution_c", "root_zone.injury_c", false),
    // A basal coefficient is the part of its crop coefficient that passes through the plant.
    ("water.kcb_ini", "water.kc_ini", false),
    ("water.kcb_mid", "water.kc_mid", false),
    ("water.kcb_end", "water.kc_end", false),
    ("light.dli_min", "light.dli_target", false),
    ("light.dli_target", "light.dli_tipburn", false),
];

/// The temperature from which the crop grows: where heat harms, it has been growing for long.
const BASE: &str = "gdd.t_base_c";

/// Every pair of a crop's figures that stands the wrong way round, with its heat rules' among them.
///
/// Of two heat rules of one measure that can run in the same stage, the worse must not begin before the milder. No heat
/// rule begins, and no warm night, where the crop hardly grows. A rule of cold nights has its order the other way.
///
/// # Errors
///
/// None; figures that are not there are passed over.
pub fn out_of_order(figures: &Figures, rules: &[HeatRule]) -> Vec<OutOfOrder> {
    let neighbours =
        ORDER.iter().map(|(below, above, apart)| ((*below).to_owned(), (*above).to_owned(), *apart));
    let wrong = |(below, above, apart): (String, String, bool)| {
        let (low, high) = (figures.get(&below)?.figure.lo, figures.get(&above)?.figure.hi);
        let stands = if apart { low < high } else { low <= high };
        (!stands).then_some(OutOfOrder { below, above, low, high, apart })
    };
    neighbours.chain(of_rules(rules)).chain(worse_rules(rules)).filter_map(wrong).collect()
}

/// The name of a heat rule's figure.
fn name(rule: &HeatRule, figure: &str) -> String {
    format!("heat_rule.{}.{figure}", rule.id)
}

/// Each heat rule by itself: its threshold above the base, its night's threshold between the two.
fn of_rules(rules: &[HeatRule]) -> impl Iterator<Item = (String, String, bool)> {
    rules.iter().filter(|rule| rule.measure != Measure::NightMinBelowC).flat_map(|rule| {
        let (day, night) = (name(rule, "threshold"), name(rule, "night_threshold"));
        [(BASE.to_owned(), day.clone(), true), (BASE.to_owned(), night.clone(), true), (night, day, false)]
    })
}

/// Each two heat rules of one measure and a common stage of which one is worse.
fn worse_rules(rules: &[HeatRule]) -> impl Iterator<Item = (String, String, bool)> {
    let together = |one: &HeatRule, other: &HeatRule| {
        let any = |rule: &HeatRule| rule.stages.contains(&Stage::Any);
        any(one) || any(other) || one.stages.iter().any(|stage| other.stages.contains(stage))
    };
    rules.iter().flat_map(move |milder| {
        let worse = rules.iter().filter(move |worse| {
            worse.severity > milder.severity && worse.measure == milder.measure && together(milder, worse)
        });
        worse.map(|worse| {
            let (milder_line, worse_line) = (name(milder, "threshold"), name(worse, "threshold"));
            let cold = milder.measure == Measure::NightMinBelowC;
            if cold { (worse_line, milder_line, false) } else { (milder_line, worse_line, false) }
        })
    })
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::super::{Kind, Listed};
    use super::*;
    use crate::crop::{Figure, Severity};

    fn rule(id: &str, measure: Measure, stage: Stage, severity: Severity) -> HeatRule {
        HeatRule {
            id: id.to_owned(),
            stages: vec![stage],
            measure,
            threshold: 0.0,
            night_threshold: None,
            min_hours_per_day: None,
            consecutive_days: None,
            severity,
            effect: String::new(),
            sources: Vec::new(),
        }
    }

    /// What is out of order with these thresholds of a mild and a bad rule.
    fn wrong(mild: (Measure, Stage, f64), bad: (Measure, Stage, f64)) -> Vec<String> {
        let rules =
            [rule("mild", mild.0, mild.1, Severity::Moderate), rule("bad", bad.0, bad.1, Severity::Severe)];
        let listed = |value: f64| Listed {
            kind: Kind::Celsius,
            figure: Figure { lo: value, hi: value, sources: Vec::new(), note: None },
        };
        let named = [("heat_rule.mild.threshold", mild.2), ("heat_rule.bad.threshold", bad.2), (BASE, 7.0)];
        let figures = BTreeMap::from(named.map(|(name, value)| (name.to_owned(), listed(value))));
        out_of_order(&figures, &rules).iter().map(ToString::to_string).collect()
    }

    #[test]
    fn a_worse_heat_rule_begins_no_earlier_and_a_worse_rule_of_cold_no_later() {
        use Measure::{DayMaxC, NightMinBelowC, NightMinC};
        use Stage::{Any, Flowering, Seedling};
        let told = ["heat_rule.bad.threshold 30 is below heat_rule.mild.threshold 32; write 32 or more"];
        assert_eq!(wrong((DayMaxC, Flowering, 32.0), (DayMaxC, Flowering, 30.0)), told);
        assert_eq!(wrong((DayMaxC, Any, 32.0), (DayMaxC, Flowering, 30.0)), told);
        assert!(wrong((DayMaxC, Flowering, 32.0), (DayMaxC, Flowering, 32.0)).is_empty());
        assert!(wrong((DayMaxC, Seedling, 32.0), (DayMaxC, Flowering, 30.0)).is_empty(), "never together");
        assert!(
            wrong((DayMaxC, Flowering, 32.0), (NightMinC, Flowering, 24.0)).is_empty(),
            "another measure"
        );
        assert!(wrong((NightMinBelowC, Any, 4.0), (NightMinBelowC, Any, 0.0)).is_empty());
        let told = ["heat_rule.mild.threshold 0 is below heat_rule.bad.threshold 4; write 4 or more"];
        assert_eq!(wrong((NightMinBelowC, Any, 0.0), (NightMinBelowC, Any, 4.0)), told);
    }
}
