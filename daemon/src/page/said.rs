//! What a notice says, so that an old figure is never read as one of now.
//!
//! What was told is never changed. So a figure in it is of the minute in which it was told, and an hour later it is said
//! with that minute; the notice that the page leads with is given in the words it leads with.

use super::figures::Civil;
use crate::figure_words::named_once;
use crate::glance::{Glance, NoticeView};

/// For so long the words of a step are those of now, ms.
const FRESH_MS: i64 = 10 * 60_000;

/// The reason of a notice, with its caution and, where it is old, with the time at which it was said.
pub(super) fn said(notice: &NoticeView, glance: &Glance) -> String {
    let (text, then) = reason(notice, glance);
    let text = match then {
        Some(when) => {
            // A clock time of today, or a day with its time.
            let at = if when.contains(',') { "on" } else { "at" };
            format!("Said {at} {when}: {text}")
        }
        None => text,
    };
    let caution = notice.caution();
    if caution.is_empty() { text } else { format!("{text} {caution}") }
}

/// The reason alone, with its place named once; and when it was said, where it is old.
pub(super) fn reason(notice: &NoticeView, glance: &Glance) -> (String, Option<String>) {
    let Some(step) = notice.steps.last() else { return (String::new(), None) };
    let leads = notice.closed_ms.is_none() && glance.sentence.notice.as_ref() == Some(&notice.id);
    let now = leads.then_some(&glance.sentence.why).or(notice.now.as_ref().map(|now| &now.text));
    let fresh = now.is_some() || glance.at_ms - step.at_ms < FRESH_MS || notice.closed_ms.is_some();
    let then = (!fresh).then(|| Civil(glance.civil_offset_s).when(step.at_ms, glance.at_ms));
    let text = now.unwrap_or(&step.text);
    let place = glance.places.iter().find(|place| place.place == notice.place);
    (place.map_or_else(|| text.clone(), |place| named_once(text, &place.name)), then)
}

#[cfg(test)]
mod tests {
    use super::super::fixtures::{self, at};
    use super::*;
    use crate::glance::SaidNow;

    #[test]
    fn an_old_figure_is_said_with_the_time_at_which_it_was_told_and_a_fresh_one_is_not() {
        let mut glance = fixtures::heat();
        let leading =
            glance.open.iter().position(|it| Some(&it.id) == glance.sentence.notice.as_ref()).unwrap();
        assert!(
            said(&glance.open[leading], &glance).starts_with(&glance.sentence.why),
            "one figure, not two"
        );
        let other = (0..glance.open.len()).find(|index| *index != leading).unwrap();
        let words = |glance: &Glance, ms| {
            let mut notice = glance.open[other].clone();
            let step = notice.steps.last_mut().unwrap();
            (step.at_ms, step.text) = (ms, "Low Bed: 32.6 at 07:40, rising 2.6.".to_owned());
            step.caution = "Drink before you go in.".to_owned();
            said(&notice, glance)
        };
        assert_eq!(
            words(&glance, at(7, 40)),
            "Said at 07:40: Low Bed: 32.6 at 07:40, rising 2.6. Drink before you go in."
        );
        assert!(words(&glance, at(13, 5)).starts_with("Low Bed: 32.6"));
        let before = words(&glance, at(7, 40) - 86_400_000);
        assert!(before.starts_with("Said on 14 July, 07:40: Low Bed"), "{before}");
        glance.open[other].now = Some(SaidNow {
            title: "Pick.".to_owned(),
            text: "Today: pick everything.".to_owned(),
            inside: Vec::new(),
        });
        assert!(
            words(&glance, at(7, 40)).starts_with("Today: pick everything."),
            "the plan of today, not of then"
        );
        assert_eq!(glance.open[other].order(), "Pick.");
    }
}
