//! `glasshour clock`: the grower's word on the time, for a board that cannot know it.

use std::io::Write;

use clap::Subcommand;
use serde_json::{Value, json};

use super::note::when;
use super::target::Target;
use super::{Trouble, ask};
use crate::keeper::event::ClockWord;

/// Options of `clock`.
#[derive(Debug, clap::Args)]
pub(super) struct ClockArgs {
    #[command(flatten)]
    target: Target,
    /// Print the entry's number as JSON.
    #[arg(long)]
    json: bool,
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// The board's own clock is right now, also where it jumped and was not believed.
    Right,
    /// It is now this time: 2026-07-15T06:30+02:00.
    Now {
        /// When.
        #[arg(value_parser = when)]
        time: i64,
        /// Take it also where it is more than 1,000 s from what the board believes.
        #[arg(long)]
        sure: bool,
    },
    /// A start of the board that never learned the time (the page names its number) had its first reading then.
    Boot {
        /// Its number.
        boot: i64,
        /// When.
        #[arg(value_parser = when)]
        time: i64,
    },
}

impl What {
    fn word(self) -> ClockWord {
        let by = "the grower".to_owned();
        match self {
            Self::Right => ClockWord::AsShown { by },
            Self::Now { time, sure } => ClockWord::Now { at_ms: time, by, sure },
            Self::Boot { boot, time } => ClockWord::Boot { boot, first_ms: time, by },
        }
    }
}

pub(super) fn run(args: ClockArgs, out: &mut impl Write) -> Result<(), Trouble> {
    let Some(socket) = args.target.socket()? else {
        return Err(Trouble::Failed("no service runs on this garden; it is the one to tell".to_owned()));
    };
    let answer = ask::post(&socket, "/api/clock", &json!(args.what.word()))?;
    let entry = answer.get("entry").and_then(Value::as_i64).unwrap_or_default();
    if args.json {
        writeln!(out, "{}", json!({ "entry": entry }))?;
    } else {
        writeln!(out, "taken, as entry {entry}")?;
    }
    Ok(())
}
