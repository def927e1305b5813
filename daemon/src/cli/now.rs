//! `glasshour now`: the glance, in a terminal.

use std::io::Write;

use super::ledger::there;
use super::target::Target;
use super::{Trouble, ask};
use crate::glance::{BoardGlance, Glance};
use crate::keeper::view::{Shell, glance};

/// Options of `now`.
#[derive(Debug, clap::Args)]
pub(super) struct NowArgs {
    #[command(flatten)]
    target: Target,
    /// The whole glance as JSON.
    #[arg(long)]
    json: bool,
}

/// The glance of a garden: from its running service, or from the ledger it left.
pub(super) fn glance_of(target: &Target) -> Result<Glance, Trouble> {
    match target.socket()? {
        Some(socket) => ask::read(ask::get(&socket, "/api/now")?),
        None => {
            // A mistyped folder is no garden: none is made by asking what stands in it.
            there(&target.data_folder()?)?;
            let (mut core, moment, voucher) = target.open()?;
            core.advance(moment);
            while core.remake(1000) {}
            let board = BoardGlance { clock_vouched_by: voucher, ..BoardGlance::default() };
            let shell = Shell { board, ..Shell::default() };
            Ok(glance(core.engine(), &shell))
        }
    }
}

pub(super) fn run(args: &NowArgs, out: &mut impl Write) -> Result<(), Trouble> {
    let glance = glance_of(&args.target)?;
    if args.json {
        let json = serde_json::to_string(&glance).map_err(|error| Trouble::Failed(error.to_string()))?;
        writeln!(out, "{json}")?;
    } else {
        write!(out, "{}", crate::page::told(&glance))?;
    }
    Ok(())
}
