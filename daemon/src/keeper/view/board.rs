//! What the ledger has to say of itself, in words for the page.

use agronomy::quantity::Quantity;

use crate::calendar::Calendar;
use crate::couriers::web_push::phones::Phones;
use crate::entry::{BoardNews, Entry, Fenced, Note};
use crate::glance::{PhoneGlance, PhoneGone};
use crate::keeper::engine::Engine;
use crate::keeper::news::News;
use crate::ledger::open_fences;
use crate::minders::board::BOARD;
use crate::minders::disk::room;

/// The board's own figures, where it says any, in words.
pub(super) fn figures(engine: &Engine) -> Option<String> {
    let newest = |quantity| engine.tracks.newest(BOARD, quantity, engine.now_ms()).map(|(_, value)| value);
    let warmth = newest(Quantity::BoardTemperature).map(|t_c| format!("{t_c:.0} °C"));
    let supply =
        newest(Quantity::Supply).map(|sound| if sound > 0.5 { "supply sound" } else { "supply weak" });
    let space = newest(Quantity::FreeSpace).map(|mib| format!("{} free", room(mib)));
    let said: Vec<String> = warmth.into_iter().chain(supply.map(str::to_owned)).chain(space).collect();
    (!said.is_empty()).then(|| said.join(", "))
}

/// How long the page says that the ledger was restored, ms.
const SHOWN_MS: i64 = 7 * 86_400_000;

/// A sentence for each damage that nothing has mended: oldest first, at most so many.
const SENTENCES: usize = 5;

/// The phones that receive, without what is theirs alone.
pub(super) fn phones(phones: &Phones) -> Vec<PhoneGlance> {
    let here = phones.here.iter().map(|it| PhoneGlance {
        phone: it.phone.clone(),
        name: it.name.clone(),
        since_ms: it.since_ms,
    });
    here.collect()
}

/// The phones that no longer receive.
pub(super) fn phones_gone(phones: &Phones) -> Vec<PhoneGone> {
    let gone = phones.gone.iter().map(|it| PhoneGone {
        name: it.name.clone(),
        why: it.why.clone(),
        since_ms: it.since_ms,
    });
    gone.collect()
}

/// Damage that stands, a sentence each.
pub(super) fn damaged(entries: &[Entry], calendar: &Calendar) -> Vec<String> {
    let open = open_fences(entries);
    let mut sentences: Vec<String> =
        open.values().take(SENTENCES).map(|(_, fenced)| damage(fenced, calendar)).collect();
    if open.len() > SENTENCES {
        sentences.push(format!("{} more damaged rows of the ledger.", open.len() - SENTENCES));
    }
    sentences
}

fn damage(fenced: &Fenced, calendar: &Calendar) -> String {
    let day = |at_ms: i64| calendar.civil_format(at_ms, "%-d %B %Y");
    let what = match (&fenced.probe, fenced.table.as_str()) {
        (Some(probe), _) => {
            let quantity = fenced.quantity.as_deref().unwrap_or_default().replace('_', " ");
            format!("Readings of {probe} ({quantity})")
        }
        (None, "entry") => "An entry".to_owned(),
        (None, _) => "Readings".to_owned(),
    };
    let when = match (fenced.since_ms, fenced.until_ms) {
        // The end of a range is the first moment after it.
        (Some(since), Some(until)) if day(since) == day(until - 1) => format!(" of {}", day(since)),
        (Some(since), Some(until)) => format!(" from {} to {}", day(since), day(until - 1)),
        (Some(since), None) => format!(" since {}", day(since)),
        (None, Some(until)) => format!(" before {}", day(until)),
        (None, None) => String::new(),
    };
    let verb = if fenced.table == "entry" { "is" } else { "are" };
    format!("{what}{when} {verb} damaged; “glasshour ledger mend BACKUP” brings them back.")
}

/// That the ledger was restored, while that is news.
pub(super) fn restored(entries: &[Entry], calendar: &Calendar, now_ms: i64) -> Option<String> {
    let lately = entries.iter().rev().take_while(|entry| now_ms - entry.at_ms < SHOWN_MS);
    let mut restored = lately.filter_map(|entry| match entry.note {
        Note::Restored { to_ms, unsent, other_board } => Some((to_ms, unsent, other_board)),
        _ => None,
    });
    let (to_ms, unsent, other_board) = restored.next()?;
    let what = if other_board {
        "The ledger came to this board".to_owned()
    } else {
        format!("Restored to {}", calendar.civil_format(to_ms, "%-d %B"))
    };
    let notices = match unsent {
        0 => "no old notice waited".to_owned(),
        1 => "1 old notice not sent again".to_owned(),
        many => format!("{many} old notices not sent again"),
    };
    Some(format!("{what}; {notices}."))
}

/// Stops and refusals of the last day, in sentences.
pub(super) fn lately(news: &News, calendar: &Calendar, now_ms: i64) -> Vec<String> {
    let day = |at_ms: i64| calendar.civil_format(at_ms, "%-d %B");
    let when = |at_ms: i64| match calendar.clock(at_ms) {
        clock if day(at_ms) == day(now_ms) => clock,
        clock => format!("{} {clock}", day(at_ms)),
    };
    let said = news.mishaps(now_ms).rev().filter_map(|(at_ms, news)| match news {
        BoardNews::Off { since_ms, until_ms, goodbye, .. } => {
            let (since, until) = (when(*since_ms), when(*until_ms));
            let (what, for_long) = news.words();
            Some(if *goodbye {
                format!("{what} {since} to {until}, after it had stopped in good order.")
            } else {
                format!("{what} {for_long} until {until}; it last stored anything at {since}.")
            })
        }
        BoardNews::Refused { since_ms, why } => {
            let (since, until) = (when(*since_ms), when(*at_ms));
            Some(format!("The disk refused writes from {since} to {until} ({why})."))
        }
        _ => None,
    });
    said.take(SENTENCES).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_befell_the_board_is_said_for_a_day_with_its_times() {
        let calendar = Calendar::fixed(0);
        let at = JUNE + 14 * 3_600_000 + 9 * 60_000;
        let off = |board, goodbye| BoardNews::Off { since_ms: at - 7 * 60_000, until_ms: at, board, goodbye };
        let said = |befell: BoardNews, now_ms| {
            let mut news = News::default();
            news.take(at, &befell);
            lately(&news, &calendar, now_ms)
        };
        let cut = "The board was off or started anew for up to 7 min until 14:09; it last stored anything at 14:02.";
        assert_eq!(said(off(true, false), at), [cut]);
        let killed =
            "Glasshour was not running for up to 7 min until 14:09; it last stored anything at 14:02.";
        assert_eq!(said(off(false, false), at), [killed]);
        assert_eq!(said(off(true, false), at + DAY), [""; 0]);
        let next_day = &said(off(true, false), at + DAY / 2)[0];
        assert!(
            next_day.contains("until 1 June 14:09; it last stored anything at 1 June 14:02"),
            "{next_day}"
        );
        assert!(
            said(off(false, true), at)[0].starts_with("Glasshour was not running 14:02 to 14:09, after it")
        );
        let refused = BoardNews::Refused { since_ms: at - 7 * 60_000, why: "disk I/O error".into() };
        assert_eq!(said(refused, at), ["The disk refused writes from 14:02 to 14:09 (disk I/O error)."]);
    }

    /// 2026-06-01T00:00:00Z.
    const JUNE: i64 = 1_780_272_000_000;
    const DAY: i64 = 86_400_000;

    fn entry(id: i64, at_ms: i64, note: Note) -> Entry {
        Entry { id, at_ms, from_ms: at_ms, note }
    }

    fn week() -> Fenced {
        Fenced {
            table: "chunk".into(),
            row: 68_479,
            wrong: "checksum does not fit".into(),
            probe: Some("bench-2".into()),
            quantity: Some("air_temperature".into()),
            since_ms: Some(JUNE),
            until_ms: Some(JUNE + 7 * DAY),
        }
    }

    #[test]
    fn damage_is_said_with_probe_dates_and_remedy_until_it_is_mended() {
        let calendar = Calendar::fixed(0);
        let mut entries = vec![entry(1, JUNE, Note::Fence(week()))];
        assert_eq!(
            damaged(&entries, &calendar),
            ["Readings of bench-2 (air temperature) from 1 June 2026 to 7 June 2026 are damaged; \
              “glasshour ledger mend BACKUP” brings them back."]
        );
        entries.push(entry(2, JUNE, Note::Mended { fence: 1, readings: 9, fenced: week() }));
        assert!(damaged(&entries, &calendar).is_empty());
        // The same row spoilt again is new damage.
        entries.push(entry(3, JUNE, Note::Fence(week())));
        assert_eq!(damaged(&entries, &calendar).len(), 1);
    }

    #[test]
    fn a_restore_is_news_for_a_week() {
        let calendar = Calendar::fixed(0);
        let to_ms = JUNE + 2 * DAY;
        let entries = [entry(1, JUNE + 9 * DAY, Note::Restored { to_ms, unsent: 12, other_board: false })];
        let said = restored(&entries, &calendar, JUNE + 10 * DAY);
        assert_eq!(said.as_deref(), Some("Restored to 3 June; 12 old notices not sent again."));
        assert_eq!(restored(&entries, &calendar, JUNE + 16 * DAY), None);
    }
}
