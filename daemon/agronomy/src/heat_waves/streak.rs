//! A crop's heat wave, and a house's: two days running at the line where harm is severe.
//!
//! The line is the crop's own, in the stages it is in or may be in
//! ([`line`](crate::crop::line), [`night_line`](crate::crop::night_line)). A thermometer is not exact to a
//! degree, so only a clear miss ends a streak: a day within a degree below the line neither counts nor ends it.

use crate::heat_stress::DayAtLine;

/// Days in a row that nobody measured before a streak is forgotten: as many as heat needs to be called over
/// (common practice).
const BLIND_DAYS: u64 = 3;
/// Days that make a wave (common practice).
const WAVE_DAYS: u32 = 2;

/// A heat wave so far, of a crop or of a house.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Wave {
    /// Number of its first day, as given.
    pub first: i64,
    /// Number of the last day that met the line.
    pub last: i64,
    /// How many days met the line.
    pub days: u32,
}

/// Follows days in order and says when they make a heat wave.
///
/// For a crop give what was [`measured`](DayAtLine::measured) while a sensitive stage is active or possible, and
/// [`end`](Self::end) it with the stage. For a house give the peaks [`expected`](DayAtLine::expected) with its usual
/// venting.
///
/// # Source
///
/// Consecutive-day rule of the crop book: common practice.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Streak {
    met: Option<Wave>,
    /// The last day taken.
    seen: Option<i64>,
    /// Days since anybody knew anything.
    blind: u64,
}

impl Streak {
    /// Takes the next day, and gives the heat wave that it is in.
    ///
    /// A day numbered no later than the last one taken is passed over; days left out count as unknown.
    pub fn step(&mut self, day: i64, at_line: DayAtLine) -> Option<Wave> {
        if self.seen.is_some_and(|seen| day <= seen) {
            return self.wave();
        }
        let left_out = self.seen.map_or(0, |seen| day.abs_diff(seen) - 1);
        self.seen = Some(day);
        self.blind = self.blind.saturating_add(left_out);
        if at_line == DayAtLine::Unknown {
            self.blind = self.blind.saturating_add(1);
        }
        if self.blind >= BLIND_DAYS || at_line == DayAtLine::Missed {
            self.met = None;
        }
        if at_line != DayAtLine::Unknown {
            self.blind = 0;
        }
        if at_line == DayAtLine::Met {
            let begun = self.met.unwrap_or(Wave { first: day, last: day, days: 0 });
            self.met = Some(Wave { last: day, days: begun.days.saturating_add(1), ..begun });
        }
        self.wave()
    }

    /// Forgets the days so far: the sensitive stage is over, or the planting.
    pub fn end(&mut self) {
        self.met = None;
    }

    /// The heat wave that is on.
    pub fn wave(&self) -> Option<Wave> {
        self.met.filter(|wave| wave.days >= WAVE_DAYS)
    }
}
