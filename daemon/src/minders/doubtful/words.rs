//! What is said of a probe in doubt, and where to look.

use agronomy::crop::Severity;
use agronomy::quantity::Quantity;

use super::beside::Apart;
use super::low::ReadsLow;
use super::moved::{Jump, NewChip};
use super::{ProbeSays, Why};
use crate::minders::word::Word;
use crate::reading::Reason;

/// What to do where it is not known whether a probe is still where it was.
const WHERE: &str = "If it was carried, hosed or replaced, note on the page Ground where it hangs now; if nothing was \
                     done to it, tap there that it still hangs there.";

/// How a humidity sensor is checked. In a closed jar over wet table salt the air has 75 % (75.3 at 25 °C: Greenspan 1977,
/// from memory).
const SALT: &str = "Check it with salt: for a day in a closed jar beside wet table salt it should say 75 %, give or take \
                    5. Sprays and years of wet do this to a sensor; one that fails wants replacing.";

/// What goes by a quantity, in words.
fn rests_on(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::AirTemperature => "heat, frost and degree days",
        Quantity::RelativeHumidity => "deficit, dew point and wet hours",
        Quantity::SoilMoisture | Quantity::SoilTemperature => "what is said of the roots",
        _ => "whatever rests on it",
    }
}

/// What is said of one quantity.
pub(super) fn of(now: &ProbeSays<'_>, quantity: Quantity, why: Why<'_>) -> Word {
    let what = quantity.as_str().replace('_', " ");
    let rests = rests_on(quantity);
    let (is, look) = match why {
        Why::Graded { reason, share_pct } => (
            format!("{share_pct:.0} % of the last 3 h is not to be trusted: {}", reason.words()),
            look(reason),
        ),
        Why::Stuck => ("unchanged for 3 h".to_owned(), "The chip or its feed has frozen: start it anew."),
        Why::WetFilm => (
            "wet film: saturated for 12 h while the air swung".to_owned(),
            "Dry it and shield it from spray; its temperature stays sound.",
        ),
        Why::ReadsLow(ReadsLow { nights, top_pct, by }) => (
            format!(
                "reads low: in {nights} damp nights in a row never over {top_pct:.0} %, {by} at saturation, if \
                 {by} does not read high"
            ),
            SALT,
        ),
        Why::Leapt { by_c } => (
            format!("it leapt by {:.0} °C from one reading to the next", by_c.abs()),
            "Sun or a lamp on it, a wet or broken lead, or was it carried about?",
        ),
        Why::Moved(Jump { by_c, beside }) => (
            format!(
                "it {} by {:.0} °C within an hour{}",
                if by_c < 0.0 { "fell" } else { "rose" },
                by_c.abs(),
                beside.map_or_else(String::new, |it| format!(", and {it} beside it did not"))
            ),
            WHERE,
        ),
        Why::Apart(Apart { from, by_c }) => (
            format!(
                "for three hours {:.0} °C {} than {}{}",
                by_c.abs(),
                if by_c < 0.0 { "colder" } else { "warmer" },
                from.probe,
                if from.outside { ", which hangs outside" } else { "" }
            ),
            "One of the two is wrong: sun on it, moved, failing, or are they swapped?",
        ),
    };
    let means = match why {
        Why::Graded { .. } => format!("Meanwhile {rests} go without it"),
        Why::Stuck | Why::WetFilm | Why::ReadsLow(_) | Why::Leapt { .. } | Why::Moved(_) | Why::Apart(_) => {
            format!("Meanwhile do not trust {rests} here")
        }
    };
    let title = match why {
        Why::Moved(_) => has_moved(now),
        _ => format!("Look at probe {} in {}: its {what} is doubtful.", now.probe, now.place_name),
    };
    word(title, format!("{}: {what} of {}, {is}. {look} {means}.", now.place_name, now.probe))
}

/// What is said of a probe as which another chip answers.
pub(super) fn of_chip(now: &ProbeSays<'_>, NewChip { serial, was }: NewChip<'_>) -> Word {
    let who = match was {
        Some(was) => {
            format!("the chip that was {was} answers as {}. Are two plugs exchanged? {WHERE}", now.probe)
        }
        None => format!("another chip (number {serial}) answers as {}. {WHERE}", now.probe),
    };
    let text = format!("{}: {who} Meanwhile do not trust what it says of this place.", now.place_name);
    word(has_moved(now), text)
}

fn has_moved(now: &ProbeSays<'_>) -> String {
    format!("Has probe {} in {} been moved?", now.probe, now.place_name)
}

fn word(title: String, text: String) -> Word {
    Word {
        planting: None,
        severity: Severity::Minor,
        push: false,
        joins_heat: false,
        title,
        text,
        caution: "",
    }
}

/// Where to look, as a sentence.
fn look(reason: Reason) -> &'static str {
    match reason {
        Reason::Missing | Reason::InstrumentRestarted => "Plug, cable or supply.",
        Reason::OutOfRange => "Water in the plug, a broken wire, or another unit than the site file says.",
        Reason::SameTimeOtherValue => "Do two send under one name?",
        Reason::FromTheFuture | Reason::NoTime | Reason::SendersClock => "Its sender's clock wants setting.",
        _ => "Look how it is sent.",
    }
}
