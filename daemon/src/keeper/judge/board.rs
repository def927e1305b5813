//! The board at a moment: its own readings, and what befell it.

use agronomy::quantity::Quantity;
use agronomy::series::{MS_PER_DAY, MS_PER_HOUR};

use crate::almanac::pages::Readings;
use crate::almanac::shape::median;
use crate::keeper::engine::Engine;
use crate::minders::board::{self, BOARD};
use crate::minders::book::Book;
use crate::minders::disk::{self, DiskNow, Left};
use crate::minders::word::{Says, Verdict};

/// Over how long readings at either end of a stretch are taken together, ms.
const END_MS: i64 = MS_PER_HOUR;
/// How far back the pace of the disk is looked for, ms.
const PACE_MS: i64 = 2 * MS_PER_DAY;

impl Engine {
    /// Lets the minders of the board look. `whole`: it is time to look at hours of readings too.
    pub(super) fn judge_board(&self, whole: bool, book: &Book, verdicts: &mut Vec<Verdict>) {
        let matters = |verdict: &Verdict| {
            !matches!(verdict.says, Says::Clear { .. }) || book.get(BOARD, verdict.minder).is_some()
        };
        let mut told = Vec::new();
        if self.news.doubt().is_some() || book.get(BOARD, board::CLOCK).is_some() {
            told.push(board::clock(self.news.doubt()));
        }
        let losses: Vec<_> = self.news.losses(self.now_ms() - board::LOSS_MS).collect();
        if !losses.is_empty() || book.get(BOARD, board::LYING_CARD).is_some() {
            told.push(board::lying_card(&losses, &self.site.calendar));
        }
        let slow: Vec<_> = self.news.slow_writes(self.now_ms()).collect();
        if !slow.is_empty() || book.get(BOARD, board::SLOW_CARD).is_some() {
            told.push(board::slow_card(&slow, &self.site.calendar));
        }
        if whole {
            told.push(board::hot(&self.of_board(Quantity::BoardTemperature, MS_PER_HOUR / 2)));
            told.push(board::supply(&self.of_board(Quantity::Supply, 6 * MS_PER_HOUR)));
            told.push(disk::judge(&DiskNow {
                space: self.left(Quantity::FreeSpace),
                files: self.left(Quantity::FreeFiles),
                ledger: self.left(Quantity::LedgerSpace),
            }));
        }
        verdicts.extend(told.into_iter().filter(matters));
    }

    /// Sound readings of the board over the last while.
    fn of_board(&self, quantity: Quantity, span_ms: i64) -> Vec<f64> {
        let now_ms = self.now_ms();
        let sound = self.tracks.sound(BOARD, quantity, now_ms - span_ms..now_ms + 1);
        sound.into_iter().map(|(_, value)| value).collect()
    }

    /// What was left two days ago, or as long ago as is known, and what is left now: medians of an hour, since what is
    /// written and deleted again is no pace.
    fn left(&self, quantity: Quantity) -> Option<Left> {
        let now_ms = self.now_ms();
        let sound = self.tracks.sound(BOARD, quantity, now_ms - PACE_MS..now_ms + 1);
        let (first_ms, last_ms) = (sound.first()?.0, sound.last()?.0);
        if now_ms - last_ms > END_MS {
            return None;
        }
        let middle = |from_ms: i64, until_ms: i64| {
            let here = sound.iter().filter(|(at, _)| (from_ms..=until_ms).contains(at));
            median(&mut here.map(|(_, value)| *value).collect::<Vec<_>>())
        };
        Some(Left {
            then: (first_ms, middle(first_ms, first_ms + END_MS)?),
            now: (last_ms, middle(last_ms - END_MS, last_ms)?),
        })
    }
}
