//! What time is believed. Pure: it is shown the machine's clocks and told words, and reads nothing itself.
//!
//! Trust comes once in a boot, when somebody vouches for a wall clock that does not stand before the newest commit.
//! From then on the wall clock is followed, but not anywhere: a jump of more than 1,000 s is not believed, and neither
//! is a pull that adds up to as much faster than a crystal can be wrong. Then time goes on by the monotonic clock from
//! the last pair that was believed, and the grower is asked. A time service that vouches for the jump does not win by
//! itself; a clock that comes back does. Before trust, time is a floor that is surely not too late: the newest commit
//! and the time that has passed since the start.
//!
//! People mistype. A word far past all that is known is asked for twice, and a word said for certain may go back as far
//! as the newest commit before an earlier word. Nothing but a person's word ever does either.

use super::vouchers::EARLIEST_MS;

/// A jump of more than this is not believed, ms.
pub const JUMP_MS: i64 = 1_000_000;
/// A pull that is no slower than this adds up: 1 ms in so many. No crystal is that wrong; the kernel itself slews by at
/// most 500 ppm (adjtimex(2)).
const SLEW_MS: i64 = 2_000;
/// How far a board's crystal may drift, ms of a day: 100 ppm (common practice for boards in the heat).
const DRIFT_MS_PER_DAY: i64 = 8_640;
/// A word further past the newest commit and the machine's clock than this is asked for twice, ms: a mistyped month.
const FAR_MS: i64 = 30 * DAY_MS;
/// A word older than this is given with its age, ms.
const OLD_MS: i64 = 3_600_000;
/// No word reaches past this, 1 January 2100 UTC, ms.
const LATEST_MS: i64 = 4_102_444_800_000;
const HOUR_MS: i64 = 3_600_000;
const DAY_MS: i64 = 24 * HOUR_MS;

/// What the machine's clocks show at one moment.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shown {
    /// Wall clock, UTC ms.
    pub wall_ms: i64,
    /// Monotonic clock, ms.
    pub mono_ms: i64,
    /// Who vouches for the wall clock.
    pub voucher: Option<String>,
}

/// Somebody's word on what time it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Said {
    /// The time, UTC ms.
    pub at_ms: i64,
    /// Who says so: "a phone", "the grower".
    pub by: String,
    /// Said again after the difference was shown.
    pub sure: bool,
}

/// An earlier word on what time it was, as the ledger has it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Word {
    /// What it said, UTC ms.
    pub at_ms: i64,
    /// The newest commit that it was later than, UTC ms.
    pub after_ms: i64,
}

/// What a word comes to that can be taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Weighed {
    /// What would be believed: wall less monotonic time, ms.
    pub offset_ms: i64,
    /// The newest commit that it is later than, UTC ms.
    pub after_ms: i64,
    /// It goes back to before an earlier word, and before what was stored under that.
    pub goes_back: bool,
}

/// Why a word was not taken. As text it is a sentence for whoever gave it on the command line.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{why}{}", if *.again { "; if that is right all the same, say it again with --sure" } else { "" })]
pub struct Refusal {
    /// The reason, in words.
    pub why: String,
    /// It would be taken if it were said again as certain.
    pub again: bool,
}

impl From<String> for Refusal {
    /// A reason that stands however certain somebody is.
    fn from(why: String) -> Self {
        Self { why, again: false }
    }
}

/// A time that is believed.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Known {
    /// Believed wall time less monotonic time, ms.
    offset_ms: i64,
    /// Whose word it rests on.
    by: String,
    /// It rests on somebody's word and not on the machine's wall clock, which may stand anywhere.
    by_word: bool,
    /// When it was last vouched for, monotonic ms.
    vouched_ms: i64,
    /// How far the wall clock was pulled lately, ms, and up to when that was reckoned, monotonic ms.
    pulled_ms: i64,
    reckoned_ms: i64,
    /// A jump that is not believed: how far the wall clock stands from here, ms.
    jump_ms: Option<i64>,
}

/// What is believed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Trust {
    /// Surely not later than now: wall ms at monotonic ms.
    floor: Option<(i64, i64)>,
    known: Option<Known>,
}

impl Trust {
    /// States the newest commit's time (UTC ms) at a monotonic time: it is later than that.
    pub fn not_before(&mut self, newest_ms: i64, mono_ms: i64) {
        self.floor = Some((newest_ms, mono_ms));
    }

    /// Believes from now on that wall time is monotonic time and `offset_ms`, by somebody's word.
    pub fn believe(&mut self, shown: &Shown, offset_ms: i64, by: &str) {
        self.known = Some(Known {
            offset_ms,
            by: by.to_owned(),
            by_word: shown.voucher.is_none(),
            vouched_ms: shown.mono_ms,
            pulled_ms: 0,
            reckoned_ms: shown.mono_ms,
            jump_ms: None,
        });
    }

    /// Whether any time is believed.
    pub fn is_known(&self) -> bool {
        self.known.is_some()
    }

    /// How far the wall clock stands from what is believed, ms, while it is not believed.
    pub fn jump_ms(&self) -> Option<i64> {
        self.known.as_ref().and_then(|known| known.jump_ms)
    }

    /// The time at a moment, UTC ms: as believed, or else surely not later than it is. An empty ledger begins no earlier
    /// than the program was made.
    pub fn wall_ms(&self, shown: &Shown) -> i64 {
        match (&self.known, self.floor) {
            (Some(known), _) => known.offset_ms + shown.mono_ms,
            (None, Some((newest_ms, mono_ms))) => newest_ms + (shown.mono_ms - mono_ms).max(0),
            (None, None) => EARLIEST_MS + shown.mono_ms,
        }
    }

    /// What could be believed now if nothing is yet: wall less monotonic time, and who vouches. A wall clock before the
    /// newest commit is wrong, whoever vouches for it.
    pub fn candidate<'a>(&self, shown: &'a Shown) -> Option<(i64, &'a str)> {
        let by = shown.voucher.as_deref().filter(|_| self.known.is_none())?;
        let sound = self.floor.is_none_or(|(newest_ms, _)| shown.wall_ms >= newest_ms);
        sound.then_some((shown.wall_ms - shown.mono_ms, by))
    }

    /// Looks at the clocks: follows the wall clock, or finds that it jumped.
    pub fn look(&mut self, shown: &Shown) {
        let Some(known) = &mut self.known else { return };
        if known.by_word && shown.voucher.is_none() {
            return;
        }
        let passed = (shown.mono_ms - known.reckoned_ms) / SLEW_MS;
        known.pulled_ms -= known.pulled_ms.signum() * passed.min(known.pulled_ms.abs());
        known.reckoned_ms += passed * SLEW_MS;
        let offset_ms = shown.wall_ms - shown.mono_ms;
        let step_ms = offset_ms - known.offset_ms;
        if (known.pulled_ms + step_ms).abs() > JUMP_MS {
            known.jump_ms = Some(step_ms);
            return;
        }
        known.jump_ms = None;
        known.pulled_ms += step_ms;
        known.offset_ms = offset_ms;
        if let Some(voucher) = &shown.voucher {
            (known.by, known.by_word, known.vouched_ms) = (voucher.clone(), false, shown.mono_ms);
        }
    }

    /// Whether somebody's word can be taken, and what it comes to. `newest_ms` is the newest commit, UTC ms; `words` are
    /// the earlier ones, oldest first.
    ///
    /// # Errors
    ///
    /// What stands against it.
    pub fn weigh(
        &self,
        said: &Said,
        shown: &Shown,
        newest_ms: Option<i64>,
        words: &[Word],
    ) -> Result<Weighed, Refusal> {
        if !(EARLIEST_MS..LATEST_MS).contains(&said.at_ms) {
            return Err("that is no time this board can be at; look at the clock that says so"
                .to_owned()
                .into());
        }
        let newest_ms = newest_ms.unwrap_or(EARLIEST_MS);
        let offset_ms = said.at_ms - shown.mono_ms;
        if said.at_ms < newest_ms {
            let after_ms = back_to(said, newest_ms, words)?;
            return Ok(Weighed { offset_ms, after_ms, goes_back: true });
        }
        if !said.sure {
            self.doubted(said, shown, newest_ms)?;
        }
        Ok(Weighed { offset_ms, after_ms: newest_ms, goes_back: false })
    }

    /// What a word that is not before the newest commit must be certain for.
    fn doubted(&self, said: &Said, shown: &Shown, newest_ms: i64) -> Result<(), Refusal> {
        let again = |why| Err(Refusal { why, again: true });
        let apart = said.at_ms - self.wall_ms(shown);
        let settled = self.is_known() && self.jump_ms().is_none();
        if settled && apart.abs() > JUMP_MS {
            let by = self.known.as_ref().map_or("", |known| known.by.as_str());
            let way = if apart > 0 { "behind" } else { "ahead" };
            return again(format!("the board's time, by {by}, is {} {way} that", span(apart.abs())));
        }
        let far = said.at_ms - newest_ms.max(shown.wall_ms);
        if far > FAR_MS {
            return again(format!("that is {} after all that the board knows of", span(far)));
        }
        Ok(())
    }

    /// Takes a word that was weighed. Where it agrees with the machine's clock, that clock is followed from now on.
    pub fn take(&mut self, said: &Said, shown: &Shown) {
        let machine_ms = shown.wall_ms - shown.mono_ms;
        let offset_ms = said.at_ms - shown.mono_ms;
        let agrees = shown.voucher.is_some() && (machine_ms - offset_ms).abs() <= JUMP_MS;
        self.believe(shown, if agrees { machine_ms } else { offset_ms }, &said.by);
        if let Some(known) = &mut self.known {
            known.by_word = !agrees;
        }
    }

    /// Who vouches, with age and drift where it was long ago; none while nobody ever did.
    pub fn words(&self, mono_ms: i64) -> Option<String> {
        let known = self.known.as_ref()?;
        let old_ms = mono_ms - known.vouched_ms;
        if old_ms < OLD_MS {
            return Some(known.by.clone());
        }
        let drift_s = (old_ms * DRIFT_MS_PER_DAY / DAY_MS + 999) / 1000;
        Some(format!("{} {} ago, and may be {drift_s} s off by now", known.by, span(old_ms)))
    }

    /// The jump that is not believed, in words.
    pub fn doubt(&self) -> Option<String> {
        let jump_ms = self.jump_ms()?;
        let way = if jump_ms > 0 { "ahead" } else { "back" };
        Some(format!("The clock jumped {} {way}; not believed", span(jump_ms.abs())))
    }
}

/// The newest commit that a word before `newest_ms` still has to be later than: the one before the last of the words it
/// takes back.
fn back_to(said: &Said, newest_ms: i64, words: &[Word]) -> Result<i64, Refusal> {
    let taken_back = words.iter().rev().find(|word| (word.after_ms..word.at_ms).contains(&said.at_ms));
    let before = span(newest_ms - said.at_ms);
    match taken_back {
        Some(word) if said.sure => Ok(word.after_ms),
        Some(_) => {
            Err(Refusal { why: format!("something was stored {before} after that time"), again: true })
        }
        None => Err(format!("something was stored {before} after that time, so it must be later").into()),
    }
}

/// A span in words, rounded down: "4 years", "3 days", "2 h", "17 min", "8 s".
pub fn span(ms: i64) -> String {
    // Four years of the calendar are 1,461 days.
    let (many, unit) = match ms {
        _ if ms >= 731 * DAY_MS => (ms / (DAY_MS * 1461 / 4), "years"),
        _ if ms >= 2 * DAY_MS => (ms / DAY_MS, "days"),
        _ if ms >= HOUR_MS => (ms / HOUR_MS, "h"),
        _ if ms >= 60_000 => (ms / 60_000, "min"),
        _ => (ms / 1000, "s"),
    };
    format!("{many} {unit}")
}

#[cfg(test)]
#[path = "trust_tests.rs"]
mod tests;
