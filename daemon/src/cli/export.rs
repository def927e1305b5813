//! `glasshour export`: everything reckoned and told, as `replay` prints it.

use std::io::Write;

use super::target::Target;
use super::{Trouble, ask};

/// Options of `export`.
#[derive(Debug, clap::Args)]
pub(super) struct ExportArgs {
    #[command(flatten)]
    target: Target,
    /// JSON, which is the only form yet; the option may be given for likeness with the others.
    #[arg(long)]
    json: bool,
}

pub(super) fn run(args: &ExportArgs, out: &mut impl Write) -> Result<(), Trouble> {
    let value = match args.target.socket()? {
        Some(socket) => ask::get(&socket, "/api/export")?,
        None => {
            let (mut core, ..) = args.target.open()?;
            while core.remake(1000) {}
            crate::keeper::export::export(core.engine())
        }
    };
    writeln!(out, "{value}")?;
    Ok(())
}
