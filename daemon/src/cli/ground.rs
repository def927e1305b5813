//! `glasshour ground`: what stands where.

use std::io::Write;

use serde_json::json;

use super::Trouble;
use super::now::glance_of;
use super::target::Target;

/// Options of `ground`.
#[derive(Debug, clap::Args)]
pub(super) struct GroundArgs {
    #[command(flatten)]
    target: Target,
    /// As JSON.
    #[arg(long)]
    json: bool,
}

pub(super) fn run(args: &GroundArgs, out: &mut impl Write) -> Result<(), Trouble> {
    let glance = glance_of(&args.target)?;
    if args.json {
        let places = glance.places.iter().map(|place| {
            json!({
                "place": place.place,
                "name": place.name,
                "kind": place.kind,
                "plantings": glance.plantings.iter().filter(|it| it.place == place.place).collect::<Vec<_>>(),
                "probes": glance.probes.iter().filter(|it| it.place.as_ref() == Some(&place.place)).collect::<Vec<_>>(),
            })
        });
        writeln!(out, "{}", json!({ "places": places.collect::<Vec<_>>() }))?;
        return Ok(());
    }
    for place in &glance.places {
        writeln!(out, "{} ({})", place.name, place.place)?;
        for planting in glance.plantings.iter().filter(|it| it.place == place.place) {
            let filled = match planting.filled_days {
                0 => String::new(),
                _ => format!(", of it {:.0} filled", planting.filled),
            };
            writeln!(
                out,
                "  {}  {}: {:.0} degree days{filled}, {}",
                planting.planting, planting.name, planting.degree_days, planting.rule
            )?;
        }
        for probe in glance.probes.iter().filter(|it| it.place.as_ref() == Some(&place.place)) {
            writeln!(out, "  probe {}: {}", probe.probe, probe.condition)?;
        }
    }
    for probe in glance.probes.iter().filter(|it| it.place.is_none()) {
        writeln!(out, "probe {} hangs nowhere yet: {}", probe.probe, probe.condition)?;
    }
    Ok(())
}
