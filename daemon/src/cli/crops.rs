//! `glasshour crops`: what the crop book says, and how well it is known.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{self, Write};

use agronomy::crop::figures::Listed;
use agronomy::crop::{Crop, CropBook, Germination, Milestone, Standing};
use agronomy::degree_days::Rule;
use config::book::sources_of_book;
use serde_json::{Map, Value, json};

use super::sheet::{REFUSED, until_closed};
use crate::figure_words::{
    above_upper_words, germination_words, known_by, label, measure_words, rule_words, value_words,
};

/// The crop book: every crop, or one with all its figures.
///
/// Each figure stands with its unit, how well it is known (published, practice, derived, memory), the keys of its
/// sources, and the name by which a planting may have a figure of your own in its place.
#[derive(Clone, Debug, Default, clap::Args)]
pub struct CropsArgs {
    /// The crop's key, such as tomato, or any word of its name, such as courgette; a word that several have lists them.
    /// Without it, all crops are listed.
    #[arg(value_name = "CROP")]
    pub crop: Option<String>,
    /// As JSON.
    #[arg(long)]
    pub json: bool,
}

/// Runs the command.
///
/// # Errors
///
/// Writing `out` or `err`; that the reader of `out` went away is no error.
pub fn run(args: &CropsArgs, mut out: impl Write, mut err: impl Write) -> io::Result<u8> {
    until_closed(told(args, &mut out, &mut err))
}

fn told(args: &CropsArgs, out: &mut impl Write, err: &mut impl Write) -> io::Result<u8> {
    let book = match config::crop_book() {
        Ok(book) => book,
        Err(faults) => {
            writeln!(err, "{faults}")?;
            return Ok(REFUSED);
        }
    };
    let found: Vec<_> = match &args.crop {
        None => book.crops.values().collect(),
        Some(word) => called(&book, word),
    };
    match (found.as_slice(), &args.crop) {
        ([], word) => {
            let word = word.as_deref().unwrap_or_default();
            let instead = config::instead(word, book.crops.keys().map(String::as_str));
            let instead = instead.as_deref().unwrap_or("one that `glasshour crops` prints");
            writeln!(err, "unknown crop {:?}; write {instead}", word.chars().take(60).collect::<String>())?;
            return Ok(REFUSED);
        }
        ([crop], Some(_)) if args.json => writeln!(out, "{}", crop_json(&book, crop))?,
        ([crop], Some(_)) => one(crop, out)?,
        (several, _) if args.json => writeln!(out, "{}", list_json(&book, several))?,
        (several, _) => list(&book, several, out)?,
    }
    out.flush()?;
    Ok(0)
}

/// The crop with this key, or else all that have every word of it in one of their names.
fn called<'b>(book: &'b CropBook, asked: &str) -> Vec<&'b Crop> {
    if let Some(crop) = book.crops.get(asked) {
        return vec![crop];
    }
    let asked = words(asked);
    let has = |crop: &Crop| {
        let names = words(&format!("{} {} {}", crop.key, crop.name, crop.latin));
        asked.iter().all(|word| names.contains(word))
    };
    book.crops.values().filter(|crop| !asked.is_empty() && has(crop)).collect()
}

fn words(text: &str) -> BTreeSet<String> {
    text.split(|sign: char| !sign.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(str::to_lowercase)
        .collect()
}

/// How many figures of a crop stand how.
fn standings(crop: &Crop) -> BTreeMap<Standing, usize> {
    crop.figures.values().fold(BTreeMap::new(), |mut counts, listed| {
        *counts.entry(listed.standing()).or_default() += 1;
        counts
    })
}

fn list(book: &CropBook, crops: &[&Crop], out: &mut impl Write) -> io::Result<()> {
    writeln!(out, "{} crops, edition {}; {}.", crops.len(), book.edition, book.status)?;
    for crop in crops {
        let counts = standings(crop);
        let counts: Vec<_> = counts.iter().map(|(how, many)| format!("{many} {}", how.as_str())).collect();
        writeln!(out, "{:15}{}, {}: {}", crop.key, crop.name, crop.group, counts.join(", "))?;
    }
    let one = crops.first().map_or("tomato", |crop| &crop.key);
    writeln!(out, "`glasshour crops {one}` prints one with its figures and their sources.")
}

fn list_json(book: &CropBook, crops: &[&Crop]) -> Value {
    let crop = |crop: &Crop| {
        let counts = standings(crop);
        let counts: Map<_, _> =
            counts.iter().map(|(how, many)| (how.as_str().to_owned(), (*many).into())).collect();
        json!({ "crop": crop.key, "name": crop.name, "latin": crop.latin, "group": crop.group, "figures": counts })
    };
    json!({ "edition": book.edition, "status": book.status, "crops": crops.iter().map(|it| crop(it)).collect::<Vec<_>>() })
}

/// The parts of a crop in the order they are told; heat rules and steps are told by themselves.
const PARTS: [(&str, &str); 8] = [
    ("days.", "Days"),
    ("germination.", "Seed"),
    ("air.", "Air"),
    ("cold.", "Cold"),
    ("vpd_kpa.", "Dryness of the air (deficit)"),
    ("root_zone.", "Roots"),
    ("water.", "Water"),
    ("light.", "Light"),
];

fn one(crop: &Crop, out: &mut impl Write) -> io::Result<()> {
    writeln!(out, "{} ({}), {}", crop.name, crop.latin, crop.group)?;
    if let Some(notes) = &crop.notes {
        writeln!(out, "{notes}")?;
    }
    let second = crop.gdd.alt.as_ref().map(|alt| format!(", second method {}", alt.method));
    writeln!(out, "\nGrowth by warmth: method {}{}", crop.gdd.method, second.unwrap_or_default())?;
    for part in ["gdd.t_", "gdd.alt_", "gdd.milestone."] {
        figures(crop, part, out)?;
    }
    writeln!(out, "\nHeat")?;
    for rule in &crop.heat_rules {
        let stages: Vec<_> = rule.stages.iter().map(|stage| stage.as_str().replace('_', " ")).collect();
        let (severity, stages) = (rule.severity.as_str(), stages.join(", "));
        writeln!(out, "  {severity}, {stages}, by {}: {}", measure_words(rule.measure), rule.effect)?;
        figures(crop, &format!("heat_rule.{}.", rule.id), out)?;
    }
    for (prefix, title) in PARTS {
        if crop.figures.keys().any(|name| name.starts_with(prefix)) {
            writeln!(out, "\n{title}")?;
            figures(crop, prefix, out)?;
        }
        if prefix == "germination." {
            germination_table(crop, out)?;
        }
    }
    if let Some(chill) = &crop.chill {
        writeln!(out, "\nWinter rest: {}", chill.model)?;
        figures(crop, "chill.", out)?;
    }
    if !crop.disorders.is_empty() {
        writeln!(out, "\nWhat may befall it")?;
    }
    for disorder in &crop.disorders {
        let name = disorder.name.replace('_', " ");
        writeln!(out, "  {name}: {} ({})", disorder.rule, known_by(&disorder.sources))?;
    }
    writeln!(out, "\nSources")?;
    for key in used(crop) {
        writeln!(out, "  {key}: {}", source_words(key))?;
    }
    Ok(())
}

fn figures(crop: &Crop, prefix: &str, out: &mut impl Write) -> io::Result<()> {
    for (name, listed) in crop.figures.range(prefix.to_owned()..) {
        if !name.starts_with(prefix) {
            break;
        }
        let (value, known) = (value_words(listed), known_by(&listed.figure.sources));
        let by = counted_by(crop, name).map(|by| format!(" {by}")).unwrap_or_default();
        writeln!(out, "    {}: {value}{by} ({known}) [{name}]", label(name))?;
        if let Some(note) = note_of(crop, name, listed) {
            writeln!(out, "      {note}")?;
        }
    }
    Ok(())
}

/// By which method and limits a sum of warmth counts, or what its method does above the upper threshold.
fn counted_by(crop: &Crop, name: &str) -> Option<String> {
    let above = |model| crop.gdd.rule(model).ok().map(|rule| above_upper_words(rule.method()).to_owned());
    match name {
        "gdd.t_upper_c" => above("main").map(|words| format!("({words})")),
        "gdd.alt_t_upper_c" => above("alt").map(|words| format!("({words})")),
        _ => rule_of_step(crop, name).map(|rule| rule_words(&rule)),
    }
}

fn step<'c>(crop: &'c Crop, name: &str) -> Option<&'c Milestone> {
    let step = name.strip_prefix("gdd.milestone.").and_then(|rest| rest.strip_suffix(".dd_c"))?;
    crop.gdd.milestones.iter().find(|it| it.step() == step)
}

fn rule_of_step(crop: &Crop, name: &str) -> Option<Rule> {
    crop.gdd.rule(&step(crop, name)?.model).ok()
}

fn germination_table(crop: &Crop, out: &mut impl Write) -> io::Result<()> {
    let Germination { table, table_sources, table_note, .. } = &crop.germination;
    if table.is_empty() {
        return Ok(());
    }
    writeln!(out, "    from sowing to coming up, by the warmth of the soil ({}):", known_by(table_sources))?;
    for row in table {
        writeln!(out, "      {}", germination_words(row))?;
    }
    table_note.iter().try_for_each(|note| writeln!(out, "      {note}"))
}

/// What a figure alone does not say; a step of growth has its note beside the figure.
fn note_of<'c>(crop: &'c Crop, name: &str, listed: &'c Listed) -> Option<&'c str> {
    step(crop, name).map_or(listed.figure.note.as_deref(), |step| step.note.as_deref())
}

/// Every source the crop leans on.
fn used(crop: &Crop) -> BTreeSet<&str> {
    let figures = crop.figures.values().flat_map(|listed| &listed.figure.sources);
    let disorders = crop.disorders.iter().flat_map(|disorder| &disorder.sources);
    figures.chain(disorders).chain(&crop.germination.table_sources).map(String::as_str).collect()
}

fn source_words(key: &str) -> String {
    if let Some(source) = sources_of_book().get(key) {
        let checked = match source.checked {
            'A' => "an abstract or excerpt was read",
            'B' => "read in somebody else's copy",
            _ => "cited from memory",
        };
        return format!("{} [{checked}]", source.text);
    }
    match Standing::of_source(key) {
        Standing::Practice => "what growers commonly do; no trial stands behind the exact number",
        Standing::Derived => "reckoned from other figures; meant to give way to your own records",
        Standing::Own => "your own",
        _ => "recalled and not read again; meant to give way to your own records",
    }
    .to_owned()
}

fn crop_json(book: &CropBook, crop: &Crop) -> Value {
    let figures: Map<_, _> = crop
        .figures
        .iter()
        .map(|(name, listed)| {
            let figure = &listed.figure;
            let mut value = json!({
                "lo": figure.lo, "hi": figure.hi, "unit": listed.kind.unit(),
                "standing": listed.standing().as_str(), "sources": figure.sources,
                "note": note_of(crop, name, listed),
            });
            if let Some(rule) = rule_of_step(crop, name) {
                value["rule"] = json!(rule);
            }
            (name.clone(), value)
        })
        .collect();
    let rules = crop.heat_rules.iter().map(|rule| {
        json!({
            "id": rule.id, "stages": rule.stages, "measure": rule.measure.as_str(),
            "severity": rule.severity, "effect": rule.effect,
        })
    });
    let sources: Map<_, _> =
        used(crop).into_iter().map(|key| (key.to_owned(), source_words(key).into())).collect();
    json!({
        "edition": book.edition,
        "crop": crop.key,
        "name": crop.name,
        "latin": crop.latin,
        "group": crop.group,
        "notes": crop.notes,
        "method": crop.gdd.method,
        "second_method": crop.gdd.alt.as_ref().map(|alt| &alt.method),
        "heat_rules": rules.collect::<Vec<_>>(),
        "figures": figures,
        "germination_table": crop.germination.table,
        "germination_table_sources": crop.germination.table_sources,
        "germination_table_note": crop.germination.table_note,
        "disorders": crop.disorders,
        "sources": sources,
    })
}
