//! `glasshour ledger forget`: old readings are thrown away, because somebody says so twice.

use std::io::Write;

use serde_json::json;

use super::super::target::Target;
use super::super::{Trouble, ask};
use super::{counted, now_ms, open};
use crate::calendar::{day, iso};
use crate::ledger::Forgotten;

/// Options of `ledger forget`.
#[derive(Debug, clap::Args)]
pub(super) struct ForgetArgs {
    #[command(flatten)]
    target: Target,
    /// Readings of whole weeks before this day go.
    #[arg(long, value_name = "YYYY-MM-DD")]
    before: String,
    /// Do it; without this, only what would go is said.
    #[arg(long)]
    yes: bool,
    /// Print what was done as JSON.
    #[arg(long)]
    json: bool,
}

pub(super) fn run(args: &ForgetArgs, out: &mut impl Write) -> Result<(), Trouble> {
    let wrong = || Trouble::Given(format!("{:?} is no date; write one such as 2016-01-01", args.before));
    // The week that holds the day begins in the site's own time; whole weeks before it are meant in any case.
    let before_ms = day(&args.before).ok_or_else(wrong)? * 86_400_000;
    let gone: Forgotten = match args.target.socket()? {
        Some(socket) => {
            let asked = json!({ "before_ms": before_ms, "yes": args.yes });
            ask::read(ask::post(&socket, "/api/ledger/forget", &asked)?)?
        }
        None => {
            let mut ledger = open(&args.target.data_folder()?)?;
            if args.yes { ledger.forget(before_ms, now_ms())?.0 } else { ledger.forgettable(before_ms)? }
        }
    };
    if args.json {
        writeln!(
            out,
            "{}",
            json!({ "done": args.yes, "before": iso(gone.before_ms), "readings": gone.readings,
            "chunks": gone.chunks, "bytes": gone.bytes })
        )?;
    } else {
        let verb = if args.yes { "thrown away" } else { "would be thrown away" };
        let readings = counted(gone.readings, "reading", "readings");
        writeln!(out, "{readings} measured before {}, {} bytes: {verb}", iso(gone.before_ms), gone.bytes)?;
        writeln!(
            out,
            "Day pages and everything noted stay; day pages of that time can never be made afresh."
        )?;
    }
    if !args.yes {
        let _ = writeln!(std::io::stderr(), "nothing was done; add --yes to do it");
    }
    Ok(())
}
