//! Frost in the nights ahead: what a forecast tells of the next three, for the page and the letter.
//!
//! Fleece has to be found, stakes driven and pots carried in by daylight, so a day or two are worth having; but a
//! forecast wavers, so it is told once two in a row say so and taken back when two in a row do not, and it buzzes
//! nobody. A forecast that falls short of a night takes back nothing that was told of it. The evening before the frost
//! has its own notice, and that one may buzz.

use agronomy::crop::Severity;

use super::dome::plan::day_name;
use super::frost::{COLD_CAUTION, state, to_cover, whole};
use super::night_now::{Cold, NightAhead, NightNow};
use super::word::{Verdict, Word};
use super::words::{limit, plural};
use crate::calendar::Calendar;
use crate::figure_words::capital;

/// The name of the minder.
pub const FROST_AHEAD: &str = "frost-ahead";
/// Nights that are told of, the coming one first.
pub const NIGHTS: i64 = 3;

/// What else is known of the notice and of tonight.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Told {
    /// The notice is open.
    pub open: bool,
    /// Tonight's frost has a notice of its own.
    pub tonight: bool,
    /// The newest forecast is fresh: a stale one opens nothing.
    pub fresh: bool,
}

/// Judges a place by the nights ahead; none where no forecast tells of any and nothing was told.
pub fn judge(night: &NightNow<'_>, ahead: &[NightAhead], told: Told, calendar: &Calendar) -> Option<Verdict> {
    let place = night.place;
    let cold = night.cold();
    let harms = |low_c: f64| cold.iter().any(|it| night.risk(it, low_c).is_some());
    let threatens = |it: &&NightAhead| {
        let (newest, before) = (it.reached && harms(it.last_c), it.before_c.is_some_and(&harms));
        if told.open { newest || before } else { newest && before && told.fresh }
    };
    let nights: Vec<&NightAhead> = ahead.iter().filter(threatens).collect();
    if let Some(((first, later), tenderest)) = nights.split_first().zip(cold.first()) {
        let word = word(night, &cold, tenderest, (first, later), calendar);
        return Some(Verdict::word(FROST_AHEAD, place.place, word));
    }
    if !told.open {
        return None;
    }
    if ahead.iter().any(|it| !it.reached && harms(it.last_c)) {
        return Some(Verdict::unknown(FROST_AHEAD, place.place));
    }
    if told.tonight {
        let text = format!("{}: the frost of tonight has its own notice.", place.name);
        return Some(Verdict::came(FROST_AHEAD, place.place, "The night of frost has come.", text));
    }
    let (title, text) = match ahead.first() {
        _ if cold.is_empty() => ("Nothing to cover.", "nothing stands here any more.".to_owned()),
        // No forecast reaches the nights ahead: what was told was of nights that are over.
        None => ("The nights foretold are over.", "no forecast tells of the nights to come.".to_owned()),
        Some(_) => {
            let lows = ahead.iter().map(|it| it.last_c).fold(f64::INFINITY, f64::min);
            let text = format!("the forecast has {} at the lowest in the nights ahead.", whole(lows));
            ("No frost is foretold any more.", text)
        }
    };
    Some(Verdict::clear(FROST_AHEAD, place.place, title, format!("{}: {text}", place.name)))
}

fn word(
    night: &NightNow<'_>,
    cold: &[Cold<'_>],
    tenderest: &Cold<'_>,
    (first, later): (&NightAhead, &[&NightAhead]),
    calendar: &Calendar,
) -> Word {
    let place = night.place;
    let today = calendar.day_of(place.now_ms);
    let which = match first.dawn - today {
        ..=1 => "tonight".to_owned(),
        _ => format!("in the night to {}", day_name(first.dawn, today, calendar)),
    };
    let first_c = first.low_c();
    let later_c = later.iter().map(|it| it.low_c()).fold(f64::INFINITY, f64::min);
    // What is to be found by then has to do for the coldest of them.
    let title = match to_cover(night, cold, first_c.min(later_c)).as_str() {
        "" => format!("Have fleece ready in {}: frost may come {which}.", place.name),
        names => format!("Have fleece ready for {names}: frost may come {which}."),
    };
    let more = match later.len() {
        0 => String::new(),
        more => format!(", the first of {} such nights in the next {NIGHTS}", more + 1),
    };
    let down = match whole(later_c) {
        down if later_c < first_c && down != whole(first_c) => format!(", down to {down} on a later one"),
        _ => String::new(),
    };
    let leaf = if night.leaf_below_c() > 0.0 { "; under a clear sky leaves are 1 to 3 colder" } else { "" };
    Word {
        planting: Some(tenderest.standing.planting.id.clone()),
        severity: Severity::Moderate,
        push: false,
        joins_heat: false,
        title,
        text: format!(
            "{}: {} has about {} at the lowest {which}{more}{down}{leaf}. {} are harmed at {}{}, and may be lost \
             uncovered.",
            place.name,
            night.forecast_words(),
            whole(first_c),
            capital(&plural(&tenderest.standing.crop)),
            limit(tenderest.lines.damage.get()),
            state(night),
        ),
        caution: COLD_CAUTION,
    }
}
