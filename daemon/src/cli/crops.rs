//! `glasshour crops`: what the crop book says, and how well it is known.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{self, Write};

use agronomy::crop::figures::Listed;
use agronomy::crop::{Crop, CropBook, Standing};
use config::book::sources_of_book;
use serde_json::{Map, Value, json};

use super::sheet::{REFUSED, until_closed};
use crate::figure_words::{known_by, label, measure_words, value_words};

/// The crop book: every crop, or one with all its figures.
///
/// Each figure stands with its unit, how well it is known (published, practice, derived, memory), the keys of its
/// sources, and the name by which a planting may have a figure of your own in its place.
#[derive(Clone, Debug, Default, clap::Args)]
pub struct CropsArgs {
    /// The crop's key, such as tomato; without it, all crops are listed.
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
    match &args.crop {
        None if args.json => writeln!(out, "{}", list_json(&book))?,
        None => list(&book, out)?,
        Some(key) => match book.crops.get(key) {
            Some(crop) if args.json => writeln!(out, "{}", crop_json(&book, crop))?,
            Some(crop) => one(crop, out)?,
            None => {
                let instead = config::nearest(key, book.crops.keys().map(String::as_str));
                let instead = instead.unwrap_or("one that `glasshour crops` prints");
                writeln!(
                    err,
                    "unknown crop {:?}; write {instead}",
                    key.chars().take(60).collect::<String>()
                )?;
                return Ok(REFUSED);
            }
        },
    }
    out.flush()?;
    Ok(0)
}

/// How many figures of a crop stand how.
fn standings(crop: &Crop) -> BTreeMap<Standing, usize> {
    crop.figures.values().fold(BTreeMap::new(), |mut counts, listed| {
        *counts.entry(listed.standing()).or_default() += 1;
        counts
    })
}

fn list(book: &CropBook, out: &mut impl Write) -> io::Result<()> {
    writeln!(out, "{} crops, edition {}; {}.", book.crops.len(), book.edition, book.status)?;
    for (key, crop) in &book.crops {
        let counts = standings(crop);
        let counts: Vec<_> = counts.iter().map(|(how, many)| format!("{many} {}", how.as_str())).collect();
        writeln!(out, "{key:15}{}, {}: {}", crop.name, crop.group, counts.join(", "))?;
    }
    writeln!(out, "`glasshour crops tomato` prints one with its figures and their sources.")
}

fn list_json(book: &CropBook) -> Value {
    let crop = |crop: &Crop| {
        let counts = standings(crop);
        let counts: Map<_, _> =
            counts.iter().map(|(how, many)| (how.as_str().to_owned(), (*many).into())).collect();
        json!({ "crop": crop.key, "name": crop.name, "latin": crop.latin, "group": crop.group, "figures": counts })
    };
    json!({ "edition": book.edition, "status": book.status, "crops": book.crops.values().map(crop).collect::<Vec<_>>() })
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
        writeln!(out, "    {}: {value} ({known}) [{name}]", label(name))?;
        if let Some(note) = note_of(crop, name, listed) {
            writeln!(out, "      {note}")?;
        }
    }
    Ok(())
}

/// What a figure alone does not say; a step of growth has its note beside the figure.
fn note_of<'c>(crop: &'c Crop, name: &str, listed: &'c Listed) -> Option<&'c str> {
    let step = name.strip_prefix("gdd.milestone.").and_then(|rest| rest.strip_suffix(".dd_c"));
    let step = step.and_then(|step| crop.gdd.milestones.iter().find(|it| it.step() == step));
    step.map_or(listed.figure.note.as_deref(), |step| step.note.as_deref())
}

/// Every source the crop leans on.
fn used(crop: &Crop) -> BTreeSet<&str> {
    let figures = crop.figures.values().flat_map(|listed| &listed.figure.sources);
    let disorders = crop.disorders.iter().flat_map(|disorder| &disorder.sources);
    figures.chain(disorders).map(String::as_str).collect()
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
        _ => "general literature, recalled and not read again; meant to give way to your own records",
    }
    .to_owned()
}

fn crop_json(book: &CropBook, crop: &Crop) -> Value {
    let figures: Map<_, _> = crop
        .figures
        .iter()
        .map(|(name, listed)| {
            let figure = &listed.figure;
            let value = json!({
                "lo": figure.lo, "hi": figure.hi, "unit": listed.kind.unit(),
                "standing": listed.standing().as_str(), "sources": figure.sources,
                "note": note_of(crop, name, listed),
            });
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
        "disorders": crop.disorders,
        "sources": sources,
    })
}
