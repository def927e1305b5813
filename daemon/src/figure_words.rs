//! The crop book's figures in words: what each is, how much, how well it is known.

use agronomy::crop::figures::Listed;
use agronomy::crop::{GerminationRow, Measure, Standing};
use agronomy::degree_days::{Method, Rule};

/// The first letter made a capital.
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

/// A text whose sentences begin with a place's name and a colon, with the name said once: what several minders say of one
/// place stands in one notice.
pub fn named_once(text: &str, name: &str) -> String {
    let head = format!("{name}: ");
    let (first, rest) = text.split_at(text.find(&head).map_or(0, |at| at + head.len()));
    let again = format!(". {head}");
    let mut parts = rest.split(again.as_str());
    let mut said = format!("{first}{}", parts.next().unwrap_or_default());
    for part in parts {
        said.push_str(". ");
        said.push_str(&capital(part));
    }
    said
}

/// A position as charts write it: `33.9° S, 18.4° E`. Degrees north and east, the decimals as given or so many.
pub fn position_words(north: f64, east: f64, decimals: usize) -> String {
    let (ns, ew) = (if north < 0.0 { 'S' } else { 'N' }, if east < 0.0 { 'W' } else { 'E' });
    format!("{:.decimals$}° {ns}, {:.decimals$}° {ew}", north.abs(), east.abs())
}

/// What the figures are called that every crop has, by dotted name.
const LABELS: [(&str, &str); 43] = [
    ("gdd.t_base_c", "growth counts from"),
    ("gdd.t_upper_c", "upper threshold of growth"),
    ("gdd.t_opt_cap_c", "growth is fastest at"),
    ("gdd.alt_t_base_c", "by the second method growth counts from"),
    ("gdd.alt_t_upper_c", "by the second method, upper threshold of growth"),
    ("germination.t_min_c", "coldest soil in which seed comes up"),
    ("germination.t_opt_c", "best soil for seed"),
    ("germination.t_max_c", "warmest soil in which seed comes up"),
    ("germination.emerge_t_base_c", "warmth for emergence counts from"),
    ("germination.emerge_dd", "warmth of soil from sowing to emergence"),
    ("air.day_opt_c", "best by day"),
    ("air.night_opt_c", "best by night"),
    ("air.tolerable_max_c", "bears up to"),
    ("air.tolerable_min_c", "bears down to"),
    ("cold.chilling_c", "growth suffers below"),
    ("cold.frost_damage_c", "leaves are damaged at"),
    ("cold.lethal_c", "a hardened plant dies at"),
    ("vpd_kpa.seedling", "kind to seedlings"),
    ("vpd_kpa.vegetative", "kind while it makes leaf"),
    ("vpd_kpa.fruiting", "kind while it flowers and fruits"),
    ("vpd_kpa.heading_or_fruiting", "kind while it heads or fruits"),
    ("vpd_kpa.damp_below", "damp below"),
    ("vpd_kpa.drying_above", "drying above"),
    ("vpd_kpa.harsh_above", "harsh above"),
    ("root_zone.min_c", "roots stand still below"),
    ("root_zone.opt_c", "roots do best at"),
    ("root_zone.caution_c", "watch the roots above"),
    ("root_zone.injury_c", "roots are injured at"),
    ("water.kc_ini", "crop coefficient, young"),
    ("water.kc_mid", "crop coefficient, full grown"),
    ("water.kc_end", "crop coefficient, at the end"),
    ("water.kcb_ini", "basal crop coefficient, young"),
    ("water.kcb_mid", "basal crop coefficient, full grown"),
    ("water.kcb_end", "basal crop coefficient, at the end"),
    ("water.height_m", "height"),
    ("water.root_depth_m", "depth of rooting"),
    ("water.depletion_p", "share of the store that may go before it feels it"),
    ("water.typical_canopy_m2_per_plant", "ground shaded by a plant"),
    ("water.heatwave_l_per_plant_day", "drinks in a heat wave about"),
    ("light.dli_min", "needs at least"),
    ("light.dli_target", "does well with"),
    ("light.dli_tipburn", "inner leaves burn above"),
    ("chill.required_h", "cold needed before it wakes"),
];

/// What a figure is, in words a grower reads. A name that only some crops have is taken apart.
pub fn label(name: &str) -> String {
    if let Some((_, words)) = LABELS.iter().find(|(known, _)| *known == name) {
        return (*words).to_owned();
    }
    let spoken = |name: &str| name.replace('_', " ");
    if let Some(step) = name.strip_prefix("gdd.milestone.").and_then(|rest| rest.strip_suffix(".dd_c")) {
        return format!("warmth from {}", spoken(step));
    }
    if let Some((id, what)) = name.strip_prefix("heat_rule.").and_then(|rest| rest.rsplit_once('.')) {
        let what = match what {
            "threshold" => "from",
            "night_threshold" => "by night from",
            "min_hours_per_day" => "hours of a day",
            "consecutive_days" => "days in a row",
            other => other,
        };
        return format!("heat rule {}, {what}", spoken(id));
    }
    let last = name.rsplit('.').next().unwrap_or(name);
    let plain = ["_c", "_h"].iter().find_map(|unit| last.strip_suffix(unit)).unwrap_or(last);
    spoken(plain)
}

/// A number or a span with its unit: `7 °C`, `20 to 29.5 °C`; one of one day is a day.
pub fn span_words(lo: f64, hi: f64, unit: &str) -> String {
    let span = if lo == hi { lo.to_string() } else { format!("{lo} to {hi}") };
    let one = (lo, hi) == (1.0, 1.0) && ["days", "weeks"].contains(&unit);
    let unit = if one { unit.trim_end_matches('s') } else { unit };
    format!("{span} {unit}").trim_end().to_owned()
}

/// A figure of the book with its unit.
pub fn value_words(listed: &Listed) -> String {
    span_words(listed.figure.lo, listed.figure.hi, listed.kind.unit())
}

/// What warmth above the upper threshold does by a method, in words.
pub fn above_upper_words(method: Method) -> &'static str {
    match method {
        Method::Mean => "not used: the method mean has none",
        Method::OntarioUnits => "not used: ontario-units has thresholds of its own",
        Method::MeanCapped => "a day whose mean lies above it counts as if at it",
        Method::ExtremesClipped => "lowest and highest above it count as if at it",
        Method::MaximumReflected => "what the day’s highest has above it counts back",
        Method::IntegralPeak => "above it growth slows with every degree",
        Method::SingleSine
        | Method::DoubleSine
        | Method::SingleTriangle
        | Method::DoubleTriangle
        | Method::Integral => "above it growth goes on as fast as at it",
    }
}

/// By which method and limits degree days count: `by integral between 10 and 30 °C`.
pub fn rule_words(rule: &Rule) -> String {
    let (method, base) = (rule.method(), rule.base().get());
    if method == Method::OntarioUnits {
        return format!("by {method}, which has limits of its own");
    }
    let stop = rule.stop().map(|stop| format!(", standing still at {} °C", stop.get())).unwrap_or_default();
    match rule.upper() {
        Some(upper) => format!("by {method} between {base} and {} °C{stop}", upper.get()),
        None => format!("by {method} above {base} °C"),
    }
}

/// A row of a germination table: `10 °C: up in 43 days, 82 % normal seedlings`.
pub fn germination_words(row: &GerminationRow) -> String {
    let days = match row.days {
        Some(0.0) => "none came up".to_owned(),
        Some(1.0) => "up in 1 day".to_owned(),
        Some(days) => format!("up in {days} days"),
        None => "days not stated".to_owned(),
    };
    let normal = row.normal_pct.filter(|_| row.days != Some(0.0));
    let normal = normal.map(|pct| format!(", {pct} % normal seedlings")).unwrap_or_default();
    format!("{} °C: {days}{normal}", row.soil)
}

/// How well a figure is known, with the keys of its sources: `published, S02`.
pub fn known_by(sources: &[String]) -> String {
    let standing = Standing::of_sources(sources).as_str();
    let keys = sources.iter().map(String::as_str).filter(|key| *key != standing);
    std::iter::once(standing).chain(keys).collect::<Vec<_>>().join(", ")
}

/// What a heat rule looks at, in words.
pub fn measure_words(measure: Measure) -> &'static str {
    match measure {
        Measure::DayMaxC => "the day’s highest",
        Measure::NightMinC => "the night’s lowest",
        Measure::NightMinBelowC => "the night’s lowest below the line",
        Measure::DailyMeanC => "the day’s mean",
        Measure::HoursAboveC => "hours above the line",
        Measure::SoilMaxC => "the soil’s highest",
        Measure::Soil10cmC => "soil 10 cm down",
        Measure::SoilSurfaceC => "the surface of the soil",
        Measure::DayMaxAndNightMinC => "a hot day with a warm night",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_day_is_a_day_in_the_growers_own_figures_too() {
        assert_eq!(span_words(1.0, 1.0, "days"), "1 day");
        assert_eq!(
            (span_words(2.0, 2.0, "days"), span_words(1.0, 2.0, "weeks")),
            ("2 days".into(), "1 to 2 weeks".into())
        );
        assert_eq!(span_words(1.0, 1.0, "°C"), "1 °C");
    }

    #[test]
    fn every_figure_of_the_book_has_words_without_a_sign_of_its_file() {
        let book = config::crop_book().unwrap();
        for crop in book.crops.values() {
            for name in crop.figures.keys() {
                let words = label(name);
                assert!(!words.is_empty() && !words.contains(['_', '.']), "{name}: {words}");
            }
        }
        for (name, words) in LABELS {
            assert!(book.crops.values().any(|crop| crop.figures.contains_key(name)), "{name}: {words}");
        }
    }

    #[test]
    fn words_say_what_how_much_and_how_well_known() {
        let book = config::crop_book().unwrap();
        let tomato = &book.crops["tomato"].figures;
        assert_eq!(label("heat_rule.day_severe.threshold"), "heat rule day severe, from");
        assert_eq!(
            label("gdd.milestone.transplant_to_first_ripe.dd_c"),
            "warmth from transplant to first ripe"
        );
        assert_eq!(value_words(&tomato["germination.t_opt_c"]), "20 to 29.5 °C");
        assert_eq!(value_words(&tomato["heat_rule.mean_moderate.consecutive_days"]), "3 days");
        let corn = &book.crops["sweet_corn"].gdd;
        assert_eq!(rule_words(&corn.rule("main").unwrap()), "by single-sine between 10 and 30 °C");
        let row = |soil, days, normal_pct| germination_words(&GerminationRow { soil, days, normal_pct });
        assert_eq!(row(10.0, Some(43.0), Some(82.0)), "10 °C: up in 43 days, 82 % normal seedlings");
        assert_eq!(row(0.0, Some(0.0), Some(0.0)), "0 °C: none came up");
        assert_eq!(row(40.0, None, None), "40 °C: days not stated");
        assert_eq!(known_by(&["S04".to_owned(), "S06".to_owned()]), "published, S04, S06");
        assert_eq!(known_by(&["S01".to_owned(), "memory".to_owned()]), "memory, S01");
    }

    #[test]
    fn a_place_is_named_once_in_what_is_said_of_it_and_a_position_in_the_letters_of_charts() {
        let said = "Low Bed: 36.4 at 13:09; tomatoes bear 35. Low Bed: harsh air. Water first.";
        let once = "Low Bed: 36.4 at 13:09; tomatoes bear 35. Harsh air. Water first.";
        assert_eq!(named_once(said, "Low Bed"), once);
        assert_eq!(named_once(once, "Low Bed"), once);
        assert_eq!(
            named_once("Said at 07:40: Low Bed: 32.6. Low Bed: dry.", "Low Bed"),
            "Said at 07:40: Low Bed: 32.6. Dry."
        );
        assert_eq!(named_once("High Bed: dry.", "Low Bed"), "High Bed: dry.");
        assert_eq!(position_words(-33.9, 18.42, 1), "33.9° S, 18.4° E");
        assert_eq!(position_words(45.3, -0.5, 2), "45.30° N, 0.50° W");
    }
}
