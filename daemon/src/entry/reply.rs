//! The grower's answer to a notice, and for how long "later" puts it off.

use agronomy::series::{MS_PER_DAY, MS_PER_HOUR};

use super::{Entry, Note};

/// An answer to a notice.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reply {
    /// Which notice.
    pub notice: String,
    /// When, UTC ms.
    pub at_ms: i64,
    /// Until when "later" puts it off, UTC ms; none where the answer was "on it".
    pub until_ms: Option<i64>,
}

impl Reply {
    /// The answer that an entry is, if it is one.
    pub fn of(entry: &Entry) -> Option<Self> {
        let Note::Reply { notice, on_it, until_ms } = &entry.note else { return None };
        let later = || until_ms.unwrap_or(entry.at_ms + Later::HalfHour.ms(entry.at_ms, 0));
        Some(Self { notice: notice.clone(), at_ms: entry.at_ms, until_ms: (!on_it).then(later) })
    }
}

/// What "later" may mean.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Later {
    /// In half an hour.
    HalfHour,
    /// In an hour.
    Hour,
    /// At six tomorrow morning.
    Tomorrow,
}

/// Longest that anything is put off, ms: to six tomorrow morning, asked just after midnight.
pub const LONGEST_LATER_MS: i64 = 30 * MS_PER_HOUR;

impl Later {
    /// Each with the word for it in forms and commands.
    pub const WORDS: [(&'static str, Self); 3] =
        [("30m", Self::HalfHour), ("1h", Self::Hour), ("tomorrow", Self::Tomorrow)];

    /// As it stands on a button.
    pub fn words(self) -> &'static str {
        match self {
            Self::HalfHour => "in half an hour",
            Self::Hour => "in an hour",
            Self::Tomorrow => "tomorrow",
        }
    }

    /// The one that is written so.
    pub fn read(word: &str) -> Option<Self> {
        Self::WORDS.iter().find(|(written, _)| *written == word).map(|(_, later)| *later)
    }

    /// How long from a moment (UTC ms) on, ms. `civil_offset_s`: of civil time now, seconds east of UTC.
    pub fn ms(self, now_ms: i64, civil_offset_s: i32) -> i64 {
        match self {
            Self::HalfHour => MS_PER_HOUR / 2,
            Self::Hour => MS_PER_HOUR,
            Self::Tomorrow => {
                let civil_ms = now_ms + i64::from(civil_offset_s) * 1000;
                MS_PER_DAY - civil_ms.rem_euclid(MS_PER_DAY) + 6 * MS_PER_HOUR
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tomorrow_is_at_six_of_the_civil_clock() {
        // 21:30 UTC is 23:30 two hours east; six in the morning is six and a half hours on.
        let now_ms = 21 * MS_PER_HOUR + MS_PER_HOUR / 2;
        assert_eq!(Later::Tomorrow.ms(now_ms, 7_200), 6 * MS_PER_HOUR + MS_PER_HOUR / 2);
        assert_eq!(Later::Tomorrow.ms(0, 0), LONGEST_LATER_MS);
    }
}
