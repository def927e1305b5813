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
    #[arg(long, global = true)]
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
        /// Take it also where it is more than 1,000 s from what the board believes, a month past all it knows of, or
        /// before what was stored under an earlier word that was wrong.
        #[arg(long)]
        sure: bool,
    },
    /// A start of the board that never learned the time (the page names its number) had its first reading then.
    Boot {
        /// Its number.
        #[arg(value_parser = number)]
        boot: i64,
        /// When.
        #[arg(value_parser = when)]
        time: i64,
    },
}

fn number(text: &str) -> Result<i64, String> {
    text.parse().map_err(|_| "write the number by which the page names that start, such as 12".to_owned())
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

#[cfg(test)]
mod tests {
    use clap::Parser;

    use super::*;

    #[derive(Debug, Parser)]
    struct Line {
        #[command(flatten)]
        args: ClockArgs,
    }

    fn read(words: &[&str]) -> Result<ClockArgs, String> {
        let line = Line::try_parse_from([&["clock"], words].concat());
        line.map(|line| line.args).map_err(|error| error.to_string())
    }

    #[test]
    fn what_garden_it_is_about_may_stand_before_and_after_the_sub_word() {
        for words in [
            &["--site", "f.toml", "--folder", "d", "--json", "right"][..],
            &["right", "--site", "f.toml", "--folder", "d", "--json"],
            &["--json", "--folder", "d", "now", "2026-07-15T06:30+02:00", "--sure", "--site", "f.toml"],
        ] {
            let args = read(words).unwrap();
            let (site, folder) = (args.target.site.as_path(), args.target.folder.as_deref());
            assert_eq!((site.to_str(), folder.and_then(|it| it.to_str())), (Some("f.toml"), Some("d")));
            assert!(args.json);
        }
        assert_eq!(read(&["right"]).unwrap().target.site.to_str(), Some("/etc/glasshour/site.toml"));
    }

    #[test]
    fn a_start_that_is_no_number_is_refused_in_words() {
        let refused = read(&["boot", "x", "2026-07-15"]).unwrap_err();
        assert!(refused.contains("the number by which the page names that start"), "{refused}");
    }
}
