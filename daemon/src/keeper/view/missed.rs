//! What was missed while nobody was there: a board that was off, couriers that came too late.

use std::collections::BTreeMap;

use agronomy::series::MS_PER_DAY;

use crate::glance::{Missed, NoticeView};
use crate::keeper::engine::Engine;

/// What was missed in the last day. `late`: by notice, the numbers of the steps that nobody was given in time.
pub(super) fn missed(engine: &Engine, notices: &[NoticeView], late: &BTreeMap<String, Vec<u32>>) -> Missed {
    let since_ms = engine.now_ms() - MS_PER_DAY;
    let mut steps: Vec<(i64, String)> = Vec::new();
    // Whoever has seen the notice has seen what it says.
    for notice in notices.iter().filter(|notice| !notice.seen) {
        let Some(late) = late.get(&notice.id) else { continue };
        let late = notice.steps.iter().filter(|step| step.push && late.contains(&step.number));
        let lately = late.filter(|step| step.at_ms > since_ms);
        steps.extend(lately.map(|step| (step.at_ms, step.title.clone())));
    }
    steps.sort();
    Missed { unread: unread(engine, since_ms), steps }
}

/// The longest stretch without a reading, and at which places it was so.
fn unread(engine: &Engine, since_ms: i64) -> Option<(Vec<String>, i64, i64)> {
    let now_ms = engine.now_ms();
    let measured = engine
        .ground
        .places
        .iter()
        .filter(|it| engine.ground.hangs_in(&it.id, now_ms, now_ms + 1).next().is_some());
    let all: Vec<_> = measured.map(|place| (&place.name, engine.unread(&place.id, since_ms))).collect();
    let (from, until) = all.iter().filter_map(|(_, hole)| *hole).max_by_key(|(from, until)| until - from)?;
    let with = |hole: &Option<(i64, i64)>| hole.is_some_and(|(a, b)| a < until && b > from);
    let dark: Vec<String> =
        all.iter().filter(|(_, hole)| with(hole)).map(|(name, _)| (*name).clone()).collect();
    let everywhere = dark.len() == all.len();
    Some((if everywhere { Vec::new() } else { dark }, from, until))
}
