//! A line that moves with the season: what is hot for *this* time of year.
//!
//! From a record, a line is the percentile of all days of all years within some days of the calendar day.
//! Without one, twelve figures from a climate table do, joined from the middle of month to the middle of month.

use super::percentile::{Definition, Ordered};
use crate::sun::DayOfYear;
use crate::units::{Celsius, Percent};

/// The most days a year has.
const LONGEST_YEAR: usize = 366;
/// By so much the former duration index wants the normal maximum exceeded, °C.
const ABOVE_NORMAL_C: f64 = 5.0;
/// The middle of each month, in days since the year began; February has 28¼.
const MIDDLES: [f64; 12] =
    [15.5, 45.125, 74.75, 105.25, 135.75, 166.25, 196.75, 227.75, 258.25, 288.75, 319.25, 349.75];

/// A time of year for which the record holds nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("nothing measured around day {0} of the year, in any year")]
pub struct DayWithoutValue(pub u16);

/// A line for each day of the year.
#[derive(Clone, Debug, PartialEq)]
pub struct CalendarLines {
    lines: [Celsius; LONGEST_YEAR],
}

impl CalendarLines {
    /// Learns the lines from consecutive days: the percentile of the values within `either_side` days of each
    /// calendar day, over all years.
    ///
    /// Days are taken by their number in the year, 365 of them; those lines are then spread over 366, because
    /// day 366 comes once in four years and would have a quarter of the values.
    ///
    /// Not for the hot path: it keeps one list of values while it works.
    ///
    /// # Domain
    ///
    /// Thirty years are meant; 2 days on either side and type 8 for the warm spell index, 7 days for other
    /// percentile rules.
    ///
    /// # Errors
    ///
    /// [`DayWithoutValue`] for the first time of year at which nothing was measured.
    ///
    /// # Source
    ///
    /// ETCCDI definition of calendar-day percentiles (Zhang et al. 2005, J. Climate 18, 1641, without their
    /// bootstrap); checked against an independent library in `tests/heat_waves.rs`.
    pub fn learn(
        record: &[(DayOfYear, Option<Celsius>)],
        either_side: usize,
        share: Percent,
        definition: Definition,
    ) -> Result<Self, DayWithoutValue> {
        let mut common = [0.0; LONGEST_YEAR - 1];
        let mut values = Vec::new();
        for (number, line) in (1..).zip(&mut common) {
            values.clear();
            let centres = record.iter().enumerate().filter(|(_, (day, _))| day.get() == number);
            for (at, _) in centres {
                let around = at.saturating_sub(either_side)
                    ..record.len().min(at.saturating_add(either_side).saturating_add(1));
                values.extend(record[around].iter().filter_map(|(_, value)| value.map(Celsius::get)));
            }
            let ordered = Ordered::try_new(&mut values).map_err(|_| DayWithoutValue(number))?;
            *line = ordered.percentile(share, definition);
        }
        Ok(Self::spread(&common))
    }

    /// Draws 365 values out over 366 days, end on end.
    fn spread(common: &[f64; LONGEST_YEAR - 1]) -> Self {
        let last = common.len() - 1;
        let lines = std::array::from_fn(|day| {
            let position = (day * last) as f64 / (LONGEST_YEAR - 1) as f64;
            let below = (position as usize).min(last);
            between(common[below], common[(below + 1).min(last)], position - below as f64)
        });
        Self { lines }
    }

    /// Takes twelve figures of a climate table, January first, each for the middle of its month; between them straight
    /// lines, also over the turn of the year.
    ///
    /// # Source
    ///
    /// Common practice; a mean of a month lies a little inside the curve's peak and trough.
    pub fn from_months(months: &[Celsius; 12]) -> Self {
        const YEAR: f64 = 365.25;
        let lines = std::array::from_fn(|day| {
            let moment = day as f64 + 0.5;
            let next = MIDDLES.iter().position(|middle| *middle > moment).unwrap_or(0);
            let before = (next + 11) % 12;
            let since = (moment - MIDDLES[before]).rem_euclid(YEAR);
            let apart = (MIDDLES[next] - MIDDLES[before]).rem_euclid(YEAR);
            between(months[before].get(), months[next].get(), since / apart)
        });
        Self { lines }
    }

    /// The line of a day.
    pub fn at(&self, day: DayOfYear) -> Celsius {
        self.lines[usize::from(day.get()) - 1]
    }

    /// Lines of the former duration index, from normal maxima: 5 °C above them.
    ///
    /// # Source
    ///
    /// Older wording of the World Meteorological Organization.
    #[must_use]
    pub fn duration_lines(&self) -> Self {
        Self { lines: self.lines.map(|line| Celsius::reckoned(line.get() + ABOVE_NORMAL_C)) }
    }
}

fn between(from: f64, to: f64, share: f64) -> Celsius {
    Celsius::reckoned(from + share * (to - from))
}
