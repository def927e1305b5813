//! The options of `glasshour replay`.

use std::path::PathBuf;

use super::change::Figure;

/// Options of `replay`.
#[derive(Debug, clap::Args)]
pub(in crate::cli) struct ReplayArgs {
    /// The field map that says what the columns of a record mean.
    #[arg(long, value_name = "MAP", requires = "files", required_unless_present = "folder")]
    pub(super) record: Option<PathBuf>,
    /// One's own past in place of a record: a data folder, or a backup of its ledger, with the readings and the diary in it.
    #[arg(long, value_name = "DATA", conflicts_with_all = ["record", "files"])]
    pub(super) folder: Option<PathBuf>,
    /// The site file, of one's own past.
    #[arg(long, value_name = "FILE", default_value = "/etc/glasshour/site.toml")]
    pub(super) site: PathBuf,
    /// What stands where while it is replayed; without it every probe of a record is a place of its own, and in one's own
    /// past everything stands where it stood.
    #[arg(long, value_name = "FILE")]
    pub(super) ground: Option<PathBuf>,
    /// Notes of the diary, one JSON object a line: {"from": "2026-07-15T06:30+02:00", "what": "damage", ...}.
    #[arg(long, value_name = "FILE")]
    pub(super) notes: Option<PathBuf>,
    /// Back-test: a second ground file with other figures; what either came to is printed side by side.
    #[arg(long, value_name = "FILE")]
    pub(super) against: Option<PathBuf>,
    /// Back-test: another figure for one planting, tomatoes:heat_rule.day_severe.threshold=38; may be given again.
    #[arg(long, value_name = "PLANTING:NAME=VALUE")]
    pub(super) figure: Vec<Figure>,
    /// One JSON object rather than a summary.
    #[arg(long)]
    pub(super) json: bool,
    /// The record's files.
    #[arg(value_name = "FILE")]
    pub(super) files: Vec<PathBuf>,
}
