//! The next days, put together.

use agronomy::own_estimate::OwnEstimate;
use serde::{Deserialize, Serialize};

use super::correct::{ByDay, Ranged, TENTHS};
use super::past::Extremes;
use crate::calendar::Day;

/// Days that are told; today is the first. A heat wave has two days, so that one can be told of five days before it.
pub const DAYS: u32 = 7;

/// Where the figures of a day come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Origin {
    /// A forecast, corrected to the place.
    Forecast,
    /// The own estimate: today's departure from the usual, dying away. It cannot see a heat wave coming.
    OwnEstimate,
    /// The own estimate so far ahead that it is what is usual, and no more.
    Climatology,
}

/// A day ahead at a place.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct DayAhead {
    /// Which day; days are those of the standard offset. Written as its date.
    #[serde(with = "as_date")]
    pub day: Day,
    /// Its highest.
    pub high: Ranged,
    /// Its lowest.
    pub low: Ranged,
    /// Where this comes from.
    pub origin: Origin,
}

/// A day as its date, `2026-07-15`.
mod as_date {
    use serde::{Deserialize, Deserializer, Serializer};

    use crate::calendar::{Day, date, day};

    #[expect(clippy::trivially_copy_pass_by_ref, reason = "the form serde asks for")]
    pub(super) fn serialize<S: Serializer>(value: &Day, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(&date(*value))
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Day, D::Error> {
        let text = String::deserialize(from)?;
        day(&text).ok_or_else(|| serde::de::Error::custom(format!("{text:?} is no date")))
    }
}

/// What the own estimate is made from: that of highs and of lows, and the last full day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Own {
    /// Of the highest.
    pub high: OwnEstimate,
    /// Of the lowest.
    pub low: OwnEstimate,
    /// The last full day.
    pub last: (Day, Extremes),
}

/// The days from today on that anything is known of, in order. `told`: what a fresh forecast says of a day outside.
/// `by_lead`: what is made of it here, one day ahead first; none where a house's own way is not known yet. `so_far`: of
/// today. The own estimate fills in where no forecast reaches.
pub fn days_ahead(
    today: Day,
    told: &dyn Fn(Day) -> Option<Extremes>,
    by_lead: Option<&[ByDay]>,
    own: Option<&Own>,
    so_far: Option<Extremes>,
) -> Vec<DayAhead> {
    (0..DAYS)
        .filter_map(|ahead| {
            let day = today + i64::from(ahead);
            let lead = (ahead.max(1) - 1) as usize;
            let made = by_lead.and_then(|leads| leads.get(lead).or(leads.last()));
            let forecast = made.zip(told(day)).map(|(made, told)| {
                let (high, low) = made.of_told(told);
                DayAhead { day, high, low, origin: Origin::Forecast }
            });
            let mut day = forecast.or_else(|| estimated(day, own?))?;
            if let (0, Some(so_far)) = (ahead, so_far) {
                // What has been cannot be undone by what was expected.
                day.high = at_least(day.high, so_far.high_c);
                day.low = at_most(day.low, so_far.low_c);
            }
            Some(day)
        })
        .collect()
}

fn estimated(day: Day, own: &Own) -> Option<DayAhead> {
    let (last, came) = own.last;
    let ahead = u32::try_from(day - last).ok().filter(|ahead| (1..=DAYS + 2).contains(ahead))?;
    let (high, low) = (own.high.after(last, came.high_c, ahead), own.low.after(last, came.low_c, ahead));
    let origin = if high.climatology { Origin::Climatology } else { Origin::OwnEstimate };
    let ranged = |middle: f64, spread: f64| Ranged::about(middle, spread * TENTHS);
    Some(DayAhead {
        day,
        high: ranged(high.middle_c, high.spread_c),
        low: ranged(low.middle_c, low.spread_c),
        origin,
    })
}

fn at_least(value: Ranged, least: f64) -> Ranged {
    Ranged {
        middle_c: value.middle_c.max(least),
        from_c: value.from_c.max(least),
        to_c: value.to_c.max(least),
    }
}

fn at_most(value: Ranged, most: f64) -> Ranged {
    Ranged { middle_c: value.middle_c.min(most), from_c: value.from_c.min(most), to_c: value.to_c.min(most) }
}

#[cfg(test)]
mod tests {
    use agronomy::own_estimate::Usual;
    use agronomy::units::Celsius;

    use super::*;

    fn own() -> Own {
        let flat = |at: f64| Usual::of_months(&[Celsius::try_new(at).unwrap(); 12]);
        let last = (99, Extremes { low_c: 16.0, high_c: 36.0 });
        Own {
            high: OwnEstimate::new(flat(26.0), &[]).with_phi(0.5),
            low: OwnEstimate::new(flat(14.0), &[]),
            last,
        }
    }

    fn told(day: Day) -> Option<Extremes> {
        (day <= 102).then_some(Extremes { low_c: 20.0, high_c: 40.0 })
    }

    #[test]
    fn a_forecast_goes_first_and_the_own_estimate_fills_in_behind_it_and_says_so() {
        let leads = [ByDay::as_told(1), ByDay::as_told(2)];
        let days = days_ahead(100, &told, Some(&leads), Some(&own()), None);
        let origins: Vec<Origin> = days.iter().map(|day| day.origin).collect();
        assert_eq!(origins[..3], [Origin::Forecast; 3]);
        assert_eq!(origins[3..], [Origin::Climatology; 4]);
        assert_eq!(days[0].high, Ranged { middle_c: 40.0, from_c: 37.5, to_c: 42.5 });
        assert_eq!(days[2].high.to_c, 43.0, "the last lead that is known stands for those behind it");
        // By hand: 26 + 10 × 0.5⁴ on the fourth day after the last full one.
        assert!((days[3].high.middle_c - 26.625).abs() < 1e-9);
    }

    #[test]
    fn without_forecast_the_own_estimate_stands_alone_and_without_either_nothing() {
        let days = days_ahead(100, &|_| None, None, Some(&own()), None);
        assert_eq!(days.len(), 7);
        assert_eq!((days[0].origin, days[0].high.middle_c), (Origin::OwnEstimate, 31.0));
        assert!(days_ahead(100, &|_| None, None, None, None).is_empty());
        assert!(
            days_ahead(100, &told, None, None, None).is_empty(),
            "of a house whose way is not known nothing is told"
        );
        assert!(
            days_ahead(109, &|_| None, None, Some(&own()), None).is_empty(),
            "from a last day too long ago"
        );
    }

    #[test]
    fn what_today_has_been_already_is_not_less_than_it_was() {
        let so_far = Some(Extremes { low_c: 12.0, high_c: 41.0 });
        let days = days_ahead(100, &told, Some(&[ByDay::as_told(1)]), None, so_far);
        assert_eq!(days[0].high, Ranged { middle_c: 41.0, from_c: 41.0, to_c: 42.5 });
        assert_eq!(days[0].low, Ranged { middle_c: 12.0, from_c: 12.0, to_c: 12.0 });
        assert_eq!(days[1].high.middle_c, 40.0);
    }
}
