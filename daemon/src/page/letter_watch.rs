//! What notices say in the letter: the order of each, its reason in brief, and the cautions of all of them together.
//!
//! Where a sentence stands already it is not said again. What is left out stands on the page Now; of a caution nothing is
//! left out.

use std::cmp::Reverse;
use std::collections::BTreeSet;

use agronomy::crop::Severity;
use agronomy::people::caution::{AIR_FIRST, IN_THE_HOUSE};

use super::cautions;
use super::figures::Civil;
use super::said::reason;
use crate::entry::UNDATED_BELOW_MS;
use crate::figure_words::capital;
use crate::glance::{Glance, NoticeView};
use crate::minders::air::AIR;
use crate::minders::dome::HEAT_DOME;
use crate::minders::heap::HEAP;
use crate::minders::night::WARM_NIGHT;
use crate::minders::people::PEOPLE;
use crate::minders::signs::SIGNS;
use crate::minders::warm_spell::WARM_SPELL;

/// Most words of one reason, beyond its first sentence.
const REASON_WORDS: usize = 16;
/// Whose reason says how the order is followed without harm: it is never cut where the cautions do not say so as well.
const WHOLE: [&str; 3] = [AIR, HEAP, PEOPLE];
/// Who speaks of nights: what several of them said against what the last one was.
const NIGHTS: [&str; 2] = [WARM_SPELL, WARM_NIGHT];

/// The sentences that stand in a letter so far; those with a figure in them are each place's own.
#[derive(Default)]
pub(super) struct Said(BTreeSet<String>);

impl Said {
    /// A text without the sentences that were said before.
    pub(super) fn fresh(&mut self, text: &str) -> String {
        let own = |sentence: &str| sentence.contains(|c: char| c.is_ascii_digit());
        let new = sentences(text).filter(|it| self.0.insert((*it).to_owned()) || own(it));
        new.collect::<Vec<_>>().join(" ")
    }
}

/// The sentences of a text, each with its full stop.
fn sentences(text: &str) -> impl Iterator<Item = &str> {
    text.split_inclusive(". ").map(str::trim).filter(|sentence| !sentence.is_empty())
}

/// As many whole sentences as have at most so many words, and at least one.
pub(super) fn brief(text: &str, most: usize) -> String {
    let mut words = 0;
    let kept = sentences(text).enumerate().take_while(|(at, sentence)| {
        words += sentence.split_whitespace().count();
        *at == 0 || words <= most
    });
    kept.map(|(_, sentence)| sentence).collect::<Vec<_>>().join(" ")
}

/// Open notices in the order of their deadlines, of one deadline the worst and then the newest first, those that never
/// buzzed a phone among them.
pub(super) fn watch(glance: &Glance) -> Vec<String> {
    let apart = |notice: &&NoticeView| {
        [WARM_NIGHT, WARM_SPELL, SIGNS, HEAT_DOME].contains(&notice.minder.as_str()) && !leads(notice, glance)
    };
    let mut open: Vec<&NoticeView> = glance.open.iter().filter(|notice| !apart(notice)).collect();
    let told_ms = |notice: &NoticeView| notice.steps.last().map_or(notice.opened_ms, |step| step.at_ms);
    open.sort_by_key(|notice| (deadline(notice, glance), Reverse((notice.severity, told_ms(notice)))));
    open.into_iter().filter_map(|notice| line(notice, glance)).collect()
}

/// What a minder says now, or said last before its notice closed within the last day.
pub(super) fn of_minder(glance: &Glance, minder: &str) -> Vec<String> {
    lately(glance, minder).filter_map(|notice| line(notice, glance)).collect()
}

/// The night, in one line for each place.
pub(super) fn nights(glance: &Glance) -> Vec<String> {
    let mut told = BTreeSet::new();
    let all = NIGHTS.into_iter().flat_map(|minder| lately(glance, minder));
    let first = all.filter(|notice| told.insert(notice.place.as_str()));
    first.filter_map(|notice| line(notice, glance)).collect()
}

fn lately<'a>(glance: &'a Glance, minder: &str) -> impl Iterator<Item = &'a NoticeView> {
    let notices = glance.open.iter().chain(&glance.closed_lately);
    notices.filter(move |notice| notice.minder == minder && !leads(notice, glance))
}

/// Whether the letter's own sentence is this notice's.
fn leads(notice: &NoticeView, glance: &Glance) -> bool {
    notice.closed_ms.is_none() && glance.sentence.notice.as_ref() == Some(&notice.id)
}

/// Minutes from now to the clock time that a notice's order names. Without one: what is severe is due now, the rest last.
fn deadline(notice: &NoticeView, glance: &Glance) -> i64 {
    const DAY_MIN: i64 = 24 * 60;
    let order = notice.order();
    let now_min = (Civil(glance.civil_offset_s).hour_of_day(glance.at_ms) * 60.0) as i64;
    let mut orders = std::iter::once(order).chain(notice.inside().iter().map(|it| it.title.as_str()));
    match orders.find_map(clock_in) {
        // A time of this morning that is past is overdue rather than tomorrow's.
        Some(minute) => (minute - now_min).max(0),
        None if notice.severity >= Severity::Severe => 0,
        None => DAY_MIN,
    }
}

/// The first clock time in words, as `13:40`, in minutes after midnight.
fn clock_in(words: &str) -> Option<i64> {
    words.split(|c: char| !(c.is_ascii_digit() || c == ':')).find_map(|word| {
        let (hour, minute) = word.split_once(':')?;
        let (hour, minute): (i64, i64) = (hour.parse().ok()?, minute.parse().ok()?);
        (hour < 24 && minute < 60).then_some(hour * 60 + minute)
    })
}

/// A notice in one line: where, what to do, why in brief, and since which day. What is minor goes without its reason, and
/// what the letter's own sentence says already without order and reason: none where nothing is left to say.
fn line(notice: &NoticeView, glance: &Glance) -> Option<String> {
    let civil = Civil(glance.civil_offset_s);
    let place = glance.places.iter().find(|place| place.place == notice.place);
    let mut words = Vec::new();
    let since = civil.date(notice.opened_ms, glance.at_ms);
    let lasts = notice.closed_ms.is_none() && notice.opened_ms >= UNDATED_BELOW_MS;
    let mut since = Some(since).filter(|since| lasts && *since != civil.date(glance.at_ms, glance.at_ms));
    if !leads(notice, glance) {
        let order = notice.order();
        let name = place.map(|place| place.name.as_str());
        let own = name.and_then(|name| order.strip_prefix(name)?.strip_prefix(": ")).unwrap_or(order);
        if let Some(name) = name.filter(|name| !own.contains(name)) {
            words.push(
                since.take().map_or_else(|| format!("{name}:"), |since| format!("{name}, since {since}:")),
            );
        }
        words.push(own.to_owned());
        let (why, then) = reason(notice, glance);
        let why = place.map_or(why.clone(), |place| without(&why, &place.name));
        let severity = if notice.closed_ms.is_some() { Severity::Moderate } else { notice.severity };
        let why = why_words(&notice.minder, severity, &why, glance);
        // A figure that bears no time is of the minute in which it was told; one of a night or of days is named so.
        let own = clock_in(&why).is_some() || NIGHTS.contains(&notice.minder.as_str());
        let then = then.filter(|_| !why.is_empty() && !own && notice.minder != HEAT_DOME);
        words.push(why);
        words.extend(then.map(|when| format!("Said {when}.")));
    }
    for it in notice.inside() {
        words.push(it.title.clone());
        words.push(why_words(&it.minder, it.severity, &it.text, glance));
    }
    if let Some(ms) = notice.on_it_ms {
        words.push(format!("On it since {}.", civil.when(ms, glance.at_ms)));
    }
    if let Some(since) = since.filter(|_| !words.is_empty()) {
        words.push(format!("Since {since}."));
    }
    let line = words.into_iter().filter(|words| !words.is_empty()).collect::<Vec<_>>().join(" ");
    Some(line).filter(|line| !line.is_empty())
}

/// A reason whose line begins with its place, without that place's name at its head.
fn without(why: &str, name: &str) -> String {
    why.strip_prefix(name).and_then(|rest| rest.strip_prefix(": ")).map_or_else(|| why.to_owned(), capital)
}

fn why_words(minder: &str, severity: Severity, why: &str, glance: &Glance) -> String {
    let cautioned = minder != HEAP && cautions::stay_out(glance).is_some();
    if WHOLE.contains(&minder) && !cautioned {
        why.to_owned()
    } else if severity >= Severity::Moderate && minder != PEOPLE {
        brief(why, REASON_WORDS)
    } else {
        String::new()
    }
}

/// What is said for people's safety: of the heat, then what stands beside the advice of each open notice.
pub(super) fn for_people(glance: &Glance) -> Option<(String, Vec<String>)> {
    let heat = cautions::stay_out(glance);
    // All of it in brief, where all of it stands here at length.
    let brief = |caution| if heat.is_some() && caution == IN_THE_HOUSE { AIR_FIRST } else { caution };
    let mut beside: Vec<&str> = Vec::new();
    for caution in glance.open.iter().map(|notice| brief(notice.caution())) {
        if !caution.is_empty() && !beside.contains(&caution) {
            beside.push(caution);
        }
    }
    let (head, mut lines) = heat.unwrap_or_else(|| ("Take care".to_owned(), Vec::new()));
    lines.extend(beside.into_iter().map(str::to_owned));
    (!lines.is_empty()).then_some((head, lines))
}

#[cfg(test)]
mod tests {
    use super::super::fixtures;
    use super::super::letter_parts::tests::lines;
    use super::*;

    fn named(glance: &Glance, minder: &str, title: &str, severity: Severity) -> NoticeView {
        let mut notice = glance.open[0].clone();
        (notice.id, notice.minder, notice.severity) = (title.to_owned(), minder.to_owned(), severity);
        title.clone_into(&mut notice.steps[0].title);
        notice
    }

    #[test]
    fn notices_stand_in_the_order_of_their_deadlines() {
        let mut glance = fixtures::heat();
        let of = |title, severity| named(&glance, "too-hot", title, severity);
        let open = vec![
            of("Turn the heap when you pass.", Severity::Minor),
            of("Look at the heap probe by 18:00.", Severity::Moderate),
            of("By 13:40 the house passes 35.", Severity::Minor),
            of("From outside, open the far door now.", Severity::Severe),
        ];
        glance.open = open;
        let first_words: Vec<_> =
            lines(&glance, "What to watch for today").iter().map(|line| line[12..24].to_owned()).collect();
        assert_eq!(first_words, ["From outside", "By 13:40 the", "Look at the ", "Turn the hea"]);
    }

    #[test]
    fn a_clock_time_in_words_is_found_and_nothing_else_is_taken_for_one() {
        assert_eq!(clock_in("By 13:40 the house passes 35."), Some(13 * 60 + 40));
        assert_eq!(clock_in("mean-capped 7/28, ratio 3:99, at 25:10, 12"), None);
    }

    #[test]
    fn the_night_and_the_signs_have_their_own_place_also_after_they_closed() {
        let mut glance = fixtures::heat();
        let mut night = named(&glance, WARM_NIGHT, "The night is over.", Severity::Minor);
        night.closed_ms = Some(glance.at_ms - 3_600_000);
        night.steps[0].text = "Long House: lowest of the night 21.2 °C.".to_owned();
        glance.open.push(named(&glance, SIGNS, "Look under the leaves of the tomatoes.", Severity::Minor));
        glance.closed_lately = vec![night];
        assert_eq!(
            lines(&glance, "The night"),
            ["Long House: The night is over. Lowest of the night 21.2 °C."]
        );
        assert!(lines(&glance, "Signs of disease")[0].starts_with("Long House: Look under the leaves"));
        assert_eq!(lines(&glance, "What to watch for today").len(), 1, "what leads is said above");
    }

    /// The words of a text: what holds a letter or a digit.
    fn words(text: &str) -> usize {
        text.split_whitespace().filter(|word| word.contains(char::is_alphanumeric)).count()
    }

    #[test]
    fn on_a_day_of_heat_with_five_crops_the_letter_is_short_and_says_no_sentence_twice() {
        let glance = fixtures::dome();
        let text = crate::page::letter(&glance).text;
        assert!((250..500).contains(&words(&text)), "{} words:\n{text}", words(&text));
        let flat = text.split_whitespace().collect::<Vec<_>>().join(" ").replace(" - ", " ");
        let mut seen = BTreeSet::new();
        for sentence in sentences(&flat) {
            assert!(seen.insert(sentence), "twice: {sentence:?} in\n{text}");
        }
        for wanted in [
            "Heat of about 43 °C outside, 13 to 17 July.",
            "Low Bed: 28.8 °C at 06:25, rising 2.6 an hour",
            "Long House, since 7 July: From outside, open door and vents from evening to morning. Lowest of the night 24.2 °C",
            "Well Bed, since 12 July: look for spider mites.",
            "Well Bed: Shade the beans; water at the root.",
        ] {
            assert!(flat.contains(wanted), "no {wanted:?} in\n{text}");
        }
        assert!(!flat.contains("Said at") && !flat.contains("costs yield"), "{text}");
    }

    #[test]
    fn no_caution_of_an_open_notice_is_left_out_of_the_letter() {
        for glance in [fixtures::dome(), fixtures::heat()] {
            let text = crate::page::letter(&glance).text;
            let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
            let beside = glance.open.iter().flat_map(|notice| sentences(notice.caution()));
            let at_length = "A still house counts as full sun: drink";
            for caution in beside.filter(|caution| !caution.starts_with(at_length)) {
                assert!(flat.contains(caution), "no {caution:?} in\n{text}");
            }
            let (_, heat) = cautions::stay_out(&glance).unwrap();
            for caution in heat.iter().flat_map(|line| sentences(line)) {
                assert!(flat.contains(caution), "no {caution:?} in\n{text}");
            }
        }
    }

    #[test]
    fn of_one_deadline_the_worst_stands_first_and_then_the_newest() {
        let mut glance = fixtures::heat();
        let of = |title, severity, hours: i64| {
            let mut notice = named(&glance, "too-hot", title, severity);
            notice.steps[0].at_ms = glance.at_ms - hours * 3_600_000;
            notice
        };
        let open = vec![
            of("Of last week.", Severity::Severe, 168),
            of("Of this hour.", Severity::Severe, 1),
            of("Of yesterday, and worse.", Severity::Extreme, 24),
        ];
        glance.open = open;
        let order: Vec<String> = watch(&glance).iter().map(|line| line[..20].to_owned()).collect();
        assert_eq!(order, ["Long House: Of yeste", "Long House: Of this ", "Long House: Of last "]);
    }
}
