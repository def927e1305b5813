//! The evening's digest: what would have buzzed a phone on a day on which enough had.

use chrono::NaiveTime;

use super::Core;
use crate::calendar::Calendar;
use crate::couriers::letter::due;
use crate::entry::{Note, Step};

/// When it goes out, civil time: in time for the evening's round.
const HOUR: u32 = 18;

impl Core {
    /// Writes the digest when its hour has come and there is something to go into it.
    pub(super) fn write_digest(&mut self, now_ms: i64, civil_offset_s: i32) {
        let last = self.last_digest();
        let at = NaiveTime::from_hms_opt(HOUR, 0, 0).unwrap_or(NaiveTime::MIN);
        let date = last.as_ref().map(|(date, _)| date.as_str());
        let Some(date) = due(date, now_ms, civil_offset_s, at) else { return };
        let since_ms = last.as_ref().map_or(i64::MIN, |(_, at_ms)| *at_ms);
        let calendar = &self.engine.site().calendar;
        let told = self
            .engine
            .told()
            .iter()
            .rev()
            .take_while(|step| step.at_ms > since_ms.max(now_ms - 36 * 3_600_000));
        let mut lines: Vec<String> = told.filter(|step| step.held).map(|step| line(step, calendar)).collect();
        if lines.is_empty() {
            return;
        }
        lines.reverse();
        self.pending.digest = Some((now_ms, Note::Digest { date, lines }));
    }

    /// Day and moment of the last digest written, also of one that still waits.
    fn last_digest(&self) -> Option<(String, i64)> {
        let of = |note: &Note, at_ms| match note {
            Note::Digest { date, .. } => Some((date.clone(), at_ms)),
            _ => None,
        };
        let waits = self.pending.digest.as_ref().and_then(|(at_ms, note)| of(note, *at_ms));
        waits.or_else(|| self.engine.entries().iter().rev().find_map(|entry| of(&entry.note, entry.at_ms)))
    }
}

fn line(step: &Step, calendar: &Calendar) -> String {
    format!("{} {} {}", calendar.clock(step.at_ms), step.title, step.text)
}
