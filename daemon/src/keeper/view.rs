//! The glance, made from what the engine knows: everything the page, the letter and `glasshour now` show.

use super::core::Deliveries;
use super::engine::Engine;
use super::export::gather;
use crate::couriers::route::rises;
use crate::entry::{Entry, Note, Reply, Step, Turn};
use crate::figure_words::named_once;
use crate::glance::{BoardGlance, Delivered, Glance, NoticeView, SaidNow, Unrecorded};
use crate::keeper::event::Counted;

mod board;
mod milestones;
mod missed;
mod place;
mod planting;
mod probe;
mod season;
mod sentence;
mod warnings;

pub use season::season;

/// Most entries shown.
const ENTRIES: usize = 200;
/// How long a closed notice is still shown, ms.
const CLOSED_SHOWN_MS: i64 = 24 * 3_600_000;

/// What the keeper's shell knows besides the engine.
#[derive(Clone, Debug, Default)]
pub struct Shell {
    /// The board itself.
    pub board: BoardGlance,
    /// Payloads that could not be read: probe, count, the last.
    pub malformed: std::collections::BTreeMap<String, (u64, String)>,
    /// Instruments whose answers come damaged too often, %.
    pub cables: std::collections::BTreeMap<String, u32>,
    /// What came of a probe's messages otherwise than it should, since the start.
    pub counted: std::collections::BTreeMap<String, std::collections::BTreeMap<Counted, u64>>,
    /// How far each notice has come on each way.
    pub deliveries: Deliveries,
    /// Senders whose clock is wrong: how far ahead, ms; none where it was never set.
    pub senders_clocks: std::collections::BTreeMap<String, Option<i64>>,
}

/// The glance at the engine's present moment.
pub fn glance(engine: &Engine, shell: &Shell) -> Glance {
    let now_ms = engine.now_ms();
    let calendar = &engine.site.calendar;
    let notices = notices(engine, shell);
    let places: Vec<_> = engine.ground.places.iter().map(|place| place::glance(engine, place)).collect();
    let plantings: Vec<_> = engine
        .ground
        .plantings
        .iter()
        .filter(|planting| planting.stands_at(now_ms))
        .filter_map(|it| planting::glance(engine, it))
        .collect();
    let missed = missed::missed(engine, &notices, &shell.deliveries.late);
    let mut open: Vec<NoticeView> = notices.iter().filter(|it| it.closed_ms.is_none()).cloned().collect();
    open.sort_by_key(|notice| (std::cmp::Reverse(notice.severity), notice.opened_ms));
    let mut closed_lately: Vec<NoticeView> =
        notices.into_iter().filter(|it| it.closed_ms.is_some()).collect();
    closed_lately.sort_by_key(|notice| std::cmp::Reverse((notice.closed_ms, notice.opened_ms)));
    let probes = probe::glances(engine, shell);
    let mut sentence = sentence::sentence(engine, &open, &places, &probes);
    let about = |notice: &&NoticeView| sentence.notice.as_ref() == Some(&notice.id);
    let about = open.iter().find(about).map(|notice| notice.place.clone());
    if let Some(place) = places.iter().find(|place| Some(&place.place) == about.as_ref()) {
        sentence.why = named_once(&sentence.why, &place.name);
    }
    let nobody_told_ms = nobody_told(&open);
    Glance {
        at_ms: now_ms,
        site: engine.site.name.clone(),
        civil_offset_s: calendar.civil_offset_s(now_ms),
        standard_offset_s: (calendar.offset_ms() / 1000) as i32,
        sentence,
        open,
        closed_lately,
        missed,
        warnings: warnings::glance(engine),
        heat: engine.heat_ahead(),
        places,
        plantings,
        probes,
        entries: entries(engine),
        outlook: engine.outlook(),
        board: BoardGlance {
            still_to_reckon: engine.editions.renewing().then_some(engine.marked() as u64),
            damaged: board::damaged(&engine.entries, calendar),
            phones: board::phones(&engine.ground.phones),
            phones_gone: board::phones_gone(&engine.ground.phones),
            restored: board::restored(&engine.entries, calendar, now_ms),
            lately: board::lately(engine.news(), calendar, now_ms),
            nobody_told_ms,
            figures: board::figures(engine),
            strangers: probe::strangers(engine, shell),
            unsent: shell.deliveries.unsent.clone(),
            ..shell.board.clone()
        },
    }
}

/// Since when a notice that should have buzzed has reached nobody, though every way was tried.
fn nobody_told(open: &[NoticeView]) -> Option<i64> {
    let lost = |notice: &&NoticeView| {
        let ways: Vec<_> = notice.deliveries.iter().filter(|it| !it.needless).collect();
        notice.pushed && !ways.is_empty() && ways.iter().all(|it| it.failed())
    };
    let pushed =
        |notice: &NoticeView| notice.steps.iter().rev().find(|step| step.push).map(|step| step.at_ms);
    open.iter().filter(lost).filter_map(pushed).min()
}

fn entries(engine: &Engine) -> Vec<Entry> {
    let mut entries: Vec<Entry> = engine.ground.entries.clone();
    entries.sort_by_key(|entry| (entry.from_ms, entry.id));
    entries.into_iter().rev().take(ENTRIES).collect()
}

/// The notices that are open or closed lately, in order of opening, with what the grower answered.
fn notices(engine: &Engine, shell: &Shell) -> Vec<NoticeView> {
    let now_ms = engine.now_ms();
    let shown = |steps: &Vec<&Step>| {
        let last = steps.last();
        last.is_some_and(|last| last.turn != Turn::Closed || now_ms - last.at_ms < CLOSED_SHOWN_MS)
    };
    gather(&engine.told).into_iter().filter(shown).filter_map(|steps| notice(engine, shell, &steps)).collect()
}

fn notice(engine: &Engine, shell: &Shell, steps: &[&Step]) -> Option<NoticeView> {
    let (first, last) = (*steps.first()?, *steps.last()?);
    let mut view = NoticeView {
        id: first.notice.clone(),
        minder: first.minder.clone(),
        place: first.place.clone(),
        planting: last.planting.clone(),
        severity: last.severity,
        pushed: steps.iter().any(|step| step.push),
        opened_ms: first.at_ms,
        closed_ms: (last.turn == Turn::Closed).then_some(last.at_ms),
        steps: steps.iter().map(|step| marked(step, shell)).collect(),
        now: None,
        on_it_ms: None,
        later_until_ms: None,
        undelivered: Vec::new(),
        seen: false,
        rang_in_quiet: shell.deliveries.rang_in_quiet.contains(&first.notice),
        deliveries: shell.deliveries.of_notices.get(&first.notice).cloned().unwrap_or_default(),
    };
    let mut answered = None;
    let called = steps.iter().filter(|step| rises(step.turn)).map(|step| step.at_ms).max();
    for entry in &engine.entries {
        let seen =
            matches!(&entry.note, Note::Seen { notice } | Note::Reply { notice, .. } if *notice == view.id);
        view.seen |= seen && Some(entry.at_ms) >= called;
        if let Some(reply) = Reply::of(entry).filter(|reply| reply.notice == view.id) {
            answered = Some(reply);
        }
    }
    // An answer holds while the book of notices says so; of one that is closed, the last is remembered.
    let open = engine.book.get(&view.place, &view.minder).filter(|open| open.id == view.id);
    let answered = open.map_or(answered, |open| open.answer.clone());
    view.now = open.and_then(|_| engine.book.spoken(&view.place, &view.minder)).map(SaidNow::of);
    view.on_it_ms = answered.as_ref().filter(|reply| reply.until_ms.is_none()).map(|reply| reply.at_ms);
    view.later_until_ms = answered.and_then(|reply| reply.until_ms);
    let failed = view.deliveries.iter().filter(|it| it.failed());
    let why = |it: &Delivered| format!("{}: {}", it.courier, it.why.as_deref().unwrap_or("not taken"));
    view.undelivered = failed.map(why).collect();
    Some(view)
}

/// A step as it is shown: with its mark while it is told from memory.
fn marked(step: &Step, shell: &Shell) -> Step {
    let same = |lent: &&Unrecorded| lent.step.notice == step.notice && lent.step.number == step.number;
    shell.board.unrecorded.iter().find(same).map_or_else(|| step.clone(), |lent| lent.step.clone())
}

/// Shows the air of the present, which is known, beside a calendar that is not: while nobody vouches for the clock, the
/// glance stands at the newest commit, and what was measured then is not now.
pub fn show_live(glance: &mut Glance, live: &Glance) {
    for place in &mut glance.places {
        let Some(now) = live.places.iter().find(|it| it.place == place.place) else { continue };
        (place.t_c, place.rh_pct, place.saturated) = (now.t_c, now.rh_pct, now.saturated);
        (place.vpd_kpa, place.dew_point_c) = (now.vpd_kpa, now.dew_point_c);
        (place.dryness, place.heat_index_c) = (now.dryness.clone(), now.heat_index_c);
        (place.trend_c_per_h, place.heard_ms) = (now.trend_c_per_h, now.t_c.map(|_| glance.at_ms));
    }
}
