//! The ledger looked at from outside: whole after a cut, the same pages when made again, and nothing told by it.

use glasshour::keeper::core::Core;
use glasshour::keeper::export::export;
use glasshour::ledger::{Founding, Ledger};

use super::{Excused, Violation};
use crate::board::Board;
use crate::counts::Counts;
use crate::garden::OFFSET_MS;

fn founding() -> Founding {
    Founding { offset_ms: OFFSET_MS, program: "simulator".to_owned() }
}

/// I12: every checksum is right, or the damage is fenced and the disk had a fault that explains it.
pub(crate) fn check_clean(
    ledger: &Ledger,
    now_ms: i64,
    excused: Excused,
    counts: &mut Counts,
) -> Result<(), Violation> {
    match ledger.check() {
        Ok(fences) if fences.is_empty() => Ok(()),
        Ok(fences) if excused.rot || (excused.ever_lied && fences.iter().all(|it| it.table == "log")) => {
            counts.add("damage fenced");
            Ok(())
        }
        Ok(fences) => Err(Violation::new("I12", now_ms, format!("damaged without a cause: {fences:?}"))),
        Err(error) if error.is_storage_refusal() || excused.rot => Ok(()),
        Err(error) => Err(Violation::new("I12", now_ms, format!("the check finds: {error}"))),
    }
}

/// I2: were the power to go now, a whole ledger would come up, with everything that was acknowledged.
pub(crate) fn after_a_cut(board: &Board, now_ms: i64, newest_step: i64) -> Result<(), Violation> {
    let wrong = |what: String| Err(Violation::new("I2", now_ms, what));
    let ledger = match board.store.copy(&founding(), true) {
        Ok(ledger) => ledger,
        Err(error) => return wrong(format!("after a cut now it does not open: {error}")),
    };
    match ledger.check() {
        Ok(fences) if fences.is_empty() => {}
        said => return wrong(format!("after a cut now it is damaged: {said:?}")),
    }
    let entries = ledger.entries_after(newest_step - 1).map_or(0, |entries| entries.len());
    if newest_step > 0 && entries == 0 {
        return wrong(format!("after a cut now the step {newest_step} is gone"));
    }
    Ok(())
}

/// I10, I11: the same ledger brought up beside the running one, with every page thrown away, comes to the same pages and
/// tells nothing.
pub(crate) fn rebuilt(board: &Board, now_ms: i64, counts: &mut Counts) -> Result<(), Violation> {
    let Some(life) = &board.life else { return Ok(()) };
    let live = life.keeper.core();
    if live.engine().is_dirty() || live.waits() {
        return Ok(());
    }
    let wrong = |invariant, what: String| Err(Violation::new(invariant, now_ms, what));
    let Ok(ledger) = board.store.copy(&founding(), false) else { return Ok(()) };
    let before = ledger.entries().map_or(0, |entries| entries.len());
    let mut core = match board.core_on(ledger, life.boot) {
        Ok(core) => core,
        Err(error) => return wrong("I10", format!("the copy does not come up: {error}")),
    };
    // The running one stands at its last event, the copy at this moment: across a midnight another day is over, and
    // what is filled for days that do not count is filled from it too.
    let today = |core: &Core| core.engine().site().calendar.day_of(core.engine().now_ms());
    if today(live) != today(&core) {
        return Ok(());
    }
    let first =
        live.engine().pages().places.values().filter_map(|page| glasshour::calendar::day(&page.date)).min();
    if let Some(first) = first {
        let start = core.engine().site().calendar.start_of(first - 1);
        core.engine_mut().mark_missing(start, &std::collections::BTreeSet::new());
    }
    while core.remake(100) {}
    let pages = |value: &serde_json::Value| {
        ["day_pages", "planting_pages", "readings"].map(|key| value[key].to_string()).join("\n")
    };
    let (ours, theirs) = (pages(&export(core.engine())), pages(&export(live.engine())));
    if ours != theirs {
        return wrong("I10", part(&theirs, &ours));
    }
    let after = core.ledger().entries().map_or(0, |entries| entries.len());
    if after != before || core.is_urgent() {
        return wrong("I11", format!("coming up told something: {before} entries, then {after}"));
    }
    counts.add("almanac rebuilt and compared");
    Ok(())
}

/// Where two texts part.
fn part(live: &str, rebuilt: &str) -> String {
    let at =
        live.bytes().zip(rebuilt.bytes()).position(|(a, b)| a != b).unwrap_or(live.len().min(rebuilt.len()));
    let around = |text: &str| {
        let bytes = text.as_bytes();
        let (from, to) = (at.saturating_sub(160).min(bytes.len()), (at + 160).min(bytes.len()));
        String::from_utf8_lossy(&bytes[from..to]).into_owned()
    };
    format!("live   …{}…\nrebuilt …{}…", around(live), around(rebuilt))
}
