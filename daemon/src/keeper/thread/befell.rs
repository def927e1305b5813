//! What befalls the board and its sources, as the shell sees it: handed to the core when it has lasted.

use std::collections::BTreeMap;

use super::super::absence::absence;
use super::super::core::Moment;
use super::Keeper;
use crate::clock::Clock;
use crate::entry::BoardNews;
use crate::ledger::LastRun;
use crate::reading::ProbeName;
use crate::sources;

/// A source must be away for so long before that is entered, ms: a line that is back at once is no news.
const LASTING_MS: i64 = 60_000;

/// A source that is away.
pub(super) struct Away {
    /// Since when, by the monotonic clock, ms.
    since_mono_ms: i64,
    /// In words: source, since when, why.
    pub(super) words: String,
}

/// What was seen and is not entered yet: nobody vouches for the clock.
#[derive(Default)]
pub(super) struct Untold {
    /// The run before this one.
    pub(super) last_run: Option<LastRun>,
    /// Which chips answer.
    pub(super) chips: BTreeMap<ProbeName, u32>,
    /// The furthest that a page saw of what the card lost.
    pub(super) lost: Option<BoardNews>,
}

impl Keeper {
    /// A source went away, or is back.
    pub(super) fn away(&mut self, source: &str, why: Option<String>, moment: Moment) {
        match why {
            Some(why) => {
                tracing::warn!(source, %why, "away");
                let before = self.away.get(source).map(|away| away.since_mono_ms);
                let calendar = &self.setup.core.engine().site().calendar;
                let since = if moment.trusted {
                    format!(" since {}", calendar.clock(moment.wall_ms))
                } else {
                    String::new()
                };
                // Words of a system may end as a sentence does.
                let words = format!("{source} away{since}: {}", why.trim_end_matches('.'));
                let away = Away { since_mono_ms: before.unwrap_or(moment.mono_ms), words };
                self.away.insert(source.to_owned(), away);
            }
            None => {
                tracing::info!(source, "back");
                self.away.remove(source);
                self.befell(moment, BoardNews::Source { source: source.to_owned(), away_since_ms: None });
            }
        }
    }

    /// Looks how the run before this one ended, and says in the ledger that this one runs.
    pub(super) fn look_back(&mut self) {
        let boot = self.setup.boot;
        match self.setup.core.ledger_mut().begin_run(boot) {
            Ok(last) => {
                if let Some(LastRun { boot, goodbye_mono_ms: None, .. }) = last {
                    tracing::warn!(boot, "last run ended without goodbye");
                }
                self.untold.last_run = last;
            }
            Err(error) => tracing::warn!(%error, "how the last run ended is not known"),
        }
        self.began_mono_ms = self.clock.monotonic_ms();
    }

    /// Says in the ledger that this run ends as it was asked to.
    pub(super) fn say_goodbye(&mut self, moment: Moment) {
        if let Err(error) = self.setup.core.ledger_mut().end_run(moment.mono_ms) {
            tracing::warn!(%error, "no goodbye could be stored");
        }
    }

    /// Enters what has lasted: sources that stay away, a clock that is doubted or believed again.
    pub(super) fn look_what_befell(&mut self, moment: Moment) {
        let offset_ms = moment.wall_ms - moment.mono_ms;
        if moment.trusted
            && let Some(last) = self.untold.last_run.take()
        {
            let ran_ms = self.setup.core.engine().news().ran_again_ms();
            if let Some(news) = absence(&last, ran_ms, self.began_mono_ms, offset_ms) {
                self.befell(moment, news);
                // The next cut may come within a minute, as they do.
                if self.refused.is_none() {
                    self.commit(moment);
                }
            }
        }
        if moment.trusted {
            for (probe, serial) in std::mem::take(&mut self.untold.chips) {
                self.chip(&probe, serial, moment);
            }
            if let Some(lost) = self.untold.lost.take() {
                self.befell(moment, lost);
            }
        }
        let lasting = |away: &Away| moment.mono_ms - away.since_mono_ms >= LASTING_MS;
        let known = self.setup.core.engine().news().away();
        let told: BTreeMap<String, i64> = self
            .away
            .iter()
            .filter(|(source, away)| sources::brings_readings(source) && lasting(away))
            .filter(|(source, _)| !known.contains_key(*source))
            .map(|(source, away)| (source.clone(), away.since_mono_ms + offset_ms))
            .collect();
        for (source, since_ms) in told {
            self.befell(moment, BoardNews::Source { source, away_since_ms: Some(since_ms) });
        }
        let doubt = self.shell.board.clock.doubt.clone();
        if doubt.is_some() != self.setup.core.engine().news().doubt().is_some() {
            self.befell(moment, BoardNews::Clock { doubt });
        }
    }

    /// A chip answers as a probe: entered where it is not the one that did before.
    fn chip(&mut self, probe: &str, serial: u32, moment: Moment) {
        let before = self.setup.core.engine().news().chips_of(probe).last().map(|(_, before)| *before);
        if before == Some(serial) {
            return;
        }
        if let Some(before) = before {
            tracing::warn!(probe, before, serial, "another chip answers");
        }
        self.befell(moment, BoardNews::Chip { probe: probe.to_owned(), serial });
    }

    /// The log has one line for each step of a notice.
    pub(super) fn log_told(&mut self) {
        let told = self.setup.core.engine().told();
        for step in told.iter().skip(self.logged) {
            tracing::info!(notice = step.notice, turn = ?step.turn, "{}", step.title);
        }
        self.logged = told.len();
    }

    /// Hands the core what befell; it is stored with the next commit.
    pub(super) fn befell(&mut self, moment: Moment, news: BoardNews) {
        self.setup.core.befell(moment, news);
        self.stale = true;
        if self.setup.core.waits() {
            let mono_ms = self.clock.monotonic_ms();
            self.waiting_since_ms = self.waiting_since_ms.or(Some(mono_ms));
        }
    }
}
