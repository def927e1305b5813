//! `glasshour drill`: a marked notice through every courier, and what became of it on each way.

use std::io::Write;
use std::path::Path;
use std::thread::sleep;
use std::time::Duration;

use serde_json::{Value, json};

use super::target::Target;
use super::{Trouble, ask};
use crate::entry::Note;
use crate::glance::{Glance, NoticeView};
use crate::minders::drill::DRILL;

/// How often the service is asked how far the drill has come.
const EVERY: Duration = Duration::from_millis(500);

/// So often the notice may be shown without any delivery before no courier is said to be set up: the rows of a step become
/// durable just after it is shown.
const WITHOUT_ROWS: u32 = 10;

/// Options of `drill`.
#[derive(Debug, clap::Args)]
pub(super) struct DrillArgs {
    #[command(flatten)]
    target: Target,
    /// How long to wait for every courier to have its answer, s.
    #[arg(long, default_value_t = 60)]
    wait: u32,
    /// Print the outcome as JSON.
    #[arg(long)]
    json: bool,
}

pub(super) fn run(args: &DrillArgs, out: &mut impl Write) -> Result<(), Trouble> {
    let Some(socket) = args.target.socket()? else {
        return Err(Trouble::Failed(
            "no service runs on this garden; its couriers are to be tried".to_owned(),
        ));
    };
    let earlier = standing(&socket)?.map(|notice| notice.id);
    ask::post(&socket, "/api/note", &json!({ "note": Note::Drill {} }))?;
    let mut left = args.wait.max(1) * 2;
    let mut without_rows = 0;
    let notice = loop {
        let drill = standing(&socket)?.filter(|notice| Some(&notice.id) != earlier.as_ref());
        left -= 1;
        without_rows += u32::from(drill.as_ref().is_some_and(|notice| notice.deliveries.is_empty()));
        match drill {
            Some(notice) if left == 0 || is_over(&notice, without_rows) => break notice,
            None if left == 0 => return Err(Trouble::Failed("the drill was not told".to_owned())),
            _ => sleep(EVERY),
        }
    };
    say(&notice, args.json, out)?;
    let arrived = !notice.deliveries.is_empty() && notice.deliveries.iter().all(|it| it.sent);
    if arrived { Ok(()) } else { Err(Trouble::Failed("the drill did not go through everywhere".to_owned())) }
}

/// The drill that stands.
fn standing(socket: &Path) -> Result<Option<NoticeView>, Trouble> {
    let glance: Glance = serde_json::from_value(ask::get(socket, "/api/now")?)
        .map_err(|error| Trouble::Failed(format!("the service answers in another form: {error}")))?;
    Ok(glance.open.into_iter().find(|notice| notice.minder == DRILL))
}

/// Whether every courier has its answer, or there is none.
fn is_over(notice: &NoticeView, without_rows: u32) -> bool {
    let answered = notice.deliveries.iter().all(|it| it.sent || it.failed());
    if notice.deliveries.is_empty() { without_rows >= WITHOUT_ROWS } else { answered }
}

fn say(notice: &NoticeView, as_json: bool, out: &mut impl Write) -> Result<(), Trouble> {
    if as_json {
        let ways: Vec<Value> = notice.deliveries.iter().map(|it| json!(it)).collect();
        writeln!(out, "{}", json!({ "notice": notice.id, "deliveries": ways }))?;
        return Ok(());
    }
    if notice.deliveries.is_empty() {
        writeln!(out, "no courier is set up: notices stand on the page only")?;
    }
    for way in &notice.deliveries {
        writeln!(out, "{}: {}", way.courier, way.outcome())?;
    }
    Ok(())
}
