//! What hangs in the lintel of Now: the answers, the first figures, each crop's state, the other notices.

use agronomy::crop::Severity;
use maud::{Markup, html};

use super::figures::{Civil, span, tenth};
use super::missed;
use super::said::said;
use crate::calendar_out::happening::{heat_days, today};
use crate::entry::Later;
use crate::glance::{Glance, NoticeView, PlaceGlance, PlantingGlance, State};
use crate::minders::dome::{HEAT_DOME, NOON_H, first_line};

/// Notices told one by one on the lintel before "and 2 more".
const FOLDED: usize = 2;

/// Everything beneath the sentence and its reason; `first`: the place it speaks of.
pub(crate) fn beneath(glance: &Glance, first: Option<&PlaceGlance>) -> Markup {
    html! {
        (missed::line(glance))
        @if let Some(notice) = main_notice(glance) { (inside(notice)) (answers(notice, glance)) (missed::deliveries(notice, glance)) }
        @if let Some(place) = first { (first_figures(place, glance)) }
        (states(glance))
        (others(glance))
        (heard_warning(glance, false))
    }
}

/// The place the sentence speaks of first, then ground order.
pub(crate) fn in_order(glance: &Glance) -> Vec<&PlaceGlance> {
    let spoken = main_notice(glance).map(|notice| notice.place.as_str());
    let mut places: Vec<_> = glance.places.iter().collect();
    places.sort_by_key(|place| Some(place.place.as_str()) != spoken);
    places
}

/// The plan for coming heat as its first line, with what to do today, and as the whole of it in a fold: crops are to be seen
/// on the first screen. None where no such notice is open.
pub(crate) fn folded_plan(glance: &Glance) -> Option<(String, Markup)> {
    let dome = glance.open.iter().find(|notice| notice.minder == HEAT_DOME)?;
    let heat = heat_days(glance)?;
    let ahead = (heat.from - today(glance)).num_days();
    let late = Civil(glance.civil_offset_s).hour_of_day(glance.at_ms) >= NOON_H;
    let line = format!("{} {}", first_line(ahead, heat.pots, late), dome.caution());
    let fold = html! {
        details.fold id="heat-plan" {
            summary { "How hot, and the plan day by day" }
            p { (said(dome, glance)) }
        }
    };
    Some((line.trim_end().to_owned(), fold))
}

/// The notice the sentence comes from.
pub(crate) fn main_notice(glance: &Glance) -> Option<&NoticeView> {
    let id = glance.sentence.notice.as_ref()?;
    glance.open.iter().find(|notice| &notice.id == id)
}

/// What others say inside a heat notice: the order, and its reason in the fold.
pub(super) fn inside(notice: &NoticeView) -> Markup {
    html! {
        @for it in notice.inside() {
            details.fold id={ "inside-" (it.minder) "-" (notice.id) } {
                summary { (it.title) }
                p { (it.text) }
            }
        }
    }
}

/// The buttons by which a notice is answered, or since when somebody is on it.
pub(super) fn answers(notice: &NoticeView, glance: &Glance) -> Markup {
    let civil = Civil(glance.civil_offset_s);
    // A severe notice that nobody has seen goes to the next person: a touch on the page it stands on tells that it was.
    let unseen = (notice.severity >= Severity::Severe && !notice.seen).then_some(notice.id.as_str());
    html! {
        @if let Some(notice) = unseen { span hidden data-unseen=(notice) {} }
        @if let Some(since) = notice.on_it_ms {
            p.done { "on it since " (civil.when(since, glance.at_ms)) }
        } @else {
            form.answers method="post" action="/reply" {
                input type="hidden" name="notice" value=(notice.id);
                button.first name="answer" value="on-it" { "on it" }
                @for (word, later) in Later::WORDS { button name="answer" value=(word) { (later.words()) } }
                @if let Some(until) = notice.later_until_ms { span { "put off until " (civil.when(until, glance.at_ms)) } }
            }
        }
    }
}

/// Highest today and lowest last night.
pub(crate) fn first_figures(place: &PlaceGlance, glance: &Glance) -> Markup {
    let civil = Civil(glance.civil_offset_s);
    let figure = |value: Option<(f64, i64)>, words: &str| {
        html! {
            @if let Some((t, ms)) = value {
                span title=(civil.clock(ms)) { b { (tenth(t)) } " " (words) }
            }
        }
    };
    html! {
        p.two {
            @if let Some(hand) = place.by_hand.as_ref().filter(|_| place.heard_ms.is_none()) {
                @if let Some(high) = hand.high_c { span { b { (tenth(high)) } " highest, by hand" } }
                @if let Some(low) = hand.low_c { span { b { (tenth(low)) } " lowest, by hand" } }
                span { small { "read " (civil.when(hand.at_ms, glance.at_ms)) } }
            } @else {
                (figure(place.high_today, "highest today"))
                (figure(place.low_last_night, "lowest last night"))
                @if let Some(ms) = place.heard_ms { (age(place, ms, glance)) }
            }
        }
        (other_probes(place))
    }
}

/// Two probes of one place nearer than this are one air, °C (own choice: sun and draught make as much).
const ALIKE_C: f64 = 2.0;

/// That another probe of the place says otherwise, and by which the place is told.
fn other_probes(place: &PlaceGlance) -> Markup {
    let (Some(t_c), Some(used)) = (place.t_c, &place.air_probe) else { return html! {} };
    let others: Vec<_> = place.beside.iter().filter(|it| (it.t_c - t_c).abs() >= ALIKE_C).collect();
    html! {
        @if !others.is_empty() {
            p.other {
                (tenth(t_c)) " by " (used)
                @for other in others {
                    @let by_c = other.t_c - t_c;
                    "; " (other.probe) (if other.in_doubt { ", which is in doubt," } else { "" }) " says " strong { (tenth(other.t_c)) }
                    ", " (tenth(by_c.abs())) (if by_c > 0.0 { " warmer" } else { " colder" })
                }
                ". What is told goes by " (used) ". Sun on one of them, or a draught? Hold a thermometer beside them."
            }
        }
    }
}

/// "read 13:09, sound", with its age for the page's own timer; after a hole, since when it is heard again.
fn age(place: &PlaceGlance, heard_ms: i64, glance: &Glance) -> Markup {
    let civil = Civil(glance.civil_offset_s);
    let old = glance.at_ms - heard_ms;
    html! {
        span.age data-age=(old.max(0) / 1000) {
            @if place.t_c.is_some() {
                "read " (civil.when(heard_ms, glance.at_ms)) (if place.in_doubt { ", in doubt" } else { ", sound" }) small data-ago="" {}
                @if let Some(hole) = place.holes.last() { ", without a break since " (civil.clock(hole.1)) }
            } @else { "nothing heard for " (span(old)) }
        }
    }
}

/// A state as its word and as the class of its block.
pub(crate) fn state_words(state: State) -> (&'static str, &'static str) {
    match state {
        State::AtEase => ("at ease", "ease"),
        State::Pressed => ("pressed", "pressed"),
        State::Suffering => ("suffering", "suffering"),
        State::NotKnown => ("not known", "unknown"),
    }
}

/// How each crop is doing, in a word each, on the first screen.
fn states(glance: &Glance) -> Markup {
    html! {
        @if !glance.plantings.is_empty() {
            ul.states {
                @for planting in &glance.plantings {
                    @let (word, class) = state_words(planting.state);
                    li { (short_name(planting, glance)) " " i.state.(class) { (word) } }
                }
            }
        }
    }
}

/// The crop's name without its variety, where no other planting has the same.
fn short_name<'g>(planting: &'g PlantingGlance, glance: &Glance) -> &'g str {
    fn short(planting: &PlantingGlance) -> &str {
        planting.name.split(['‘', ',', '(']).next().unwrap_or_default().trim()
    }
    let own = short(planting);
    let alone = glance.plantings.iter().filter(|other| short(other) == own).count() == 1;
    if alone && !own.is_empty() { own } else { &planting.name }
}

/// The notices that are not the sentence's own, folded.
fn others(glance: &Glance) -> Markup {
    let main = main_notice(glance).map(|notice| notice.id.as_str());
    let others: Vec<_> = glance.open.iter().filter(|notice| Some(notice.id.as_str()) != main).collect();
    html! {
        @for notice in others.iter().take(FOLDED) { (folded(notice, glance)) }
        @if others.len() > FOLDED {
            details.fold id="more-notices" {
                summary { "and " (others.len() - FOLDED) " more" }
                @for notice in others.iter().skip(FOLDED) { (folded(notice, glance)) }
            }
        }
    }
}

/// The place's name before an order that another place's notice gives too, else nothing.
fn whose(notice: &NoticeView, glance: &Glance) -> String {
    let same = glance.open.iter().any(|it| it.id != notice.id && it.order() == notice.order());
    let place = glance.places.iter().find(|place| same && place.place == notice.place);
    place.map_or_else(String::new, |place| format!("{}: ", place.name))
}

fn folded(notice: &NoticeView, glance: &Glance) -> Markup {
    let civil = Civil(glance.civil_offset_s);
    html! {
        details.fold id={ "notice-" (notice.id) } name="notices" {
            summary.answered[notice.on_it_ms.is_some()] { (whose(notice, glance)) (notice.order()) }
            p { (said(notice, glance)) " Open since " (civil.when(notice.opened_ms, glance.at_ms)) ", " (notice.severity.as_str()) "." }
            (inside(notice))
            (missed::deliveries(notice, glance))
            (answers(notice, glance))
        }
    }
}

/// The form for a warning heard elsewhere.
pub(crate) fn heard_warning(glance: &Glance, open: bool) -> Markup {
    let today = Civil(glance.civil_offset_s).iso_day(glance.at_ms);
    html! {
        details.fold id="heard-warning" open[open] {
            summary { "I heard a heat warning" }
            form.fields method="post" action="/heard-warning" {
                label { "from" input type="date" name="from" value=(today) required; }
                label { "until" input type="date" name="to" value=(today) required; }
                label { "about how hot, °C" input name="about" inputmode="decimal" placeholder="42" required; }
                label { "said by" input.wide name="said_by" maxlength="80"; }
                button { "note it" }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::fixtures;
    use super::super::frame::Did;
    use super::super::{ahead, letter, now};
    use super::*;
    use crate::glance::{BesideGlance, HeatAhead, InsideNow, SaidNow};

    fn shown(glance: &Glance) -> String {
        now::view(glance, Did::default()).into_string()
    }

    #[test]
    fn of_two_notices_with_one_order_each_says_whose_it_is() {
        let mut glance = fixtures::heat();
        assert!(glance.open.len() >= 2 && !shown(&glance).contains("Long House: Same order."));
        for (notice, place) in glance.open.iter_mut().zip(["house", "bed"]) {
            notice.place = place.to_owned();
            notice.steps.last_mut().unwrap().title = "Same order.".to_owned();
        }
        glance.sentence.notice = None;
        let html = shown(&glance);
        assert!(html.contains("Long House: Same order.") && html.contains("Well Bed: Same order."), "{html}");
    }

    #[test]
    fn another_probe_of_the_place_that_says_otherwise_stands_beside_the_one_it_is_told_by() {
        let mut glance = fixtures::heat();
        let house = &mut glance.places[0];
        let t_c = house.t_c.unwrap();
        house.air_probe = Some("east".to_owned());
        let beside = |t_c, in_doubt| vec![BesideGlance { probe: "west".to_owned(), t_c, in_doubt }];
        house.beside = beside(t_c - 5.0, false);
        let html = shown(&glance);
        assert!(
            html.contains(&format!(
                "{t_c:.1} by east; west says <strong>{:.1}</strong>, 5.0 colder.",
                t_c - 5.0
            )),
            "{html}"
        );
        glance.places[0].beside = beside(t_c + 3.0, true);
        assert!(shown(&glance).contains("west, which is in doubt, says"));
        glance.places[0].beside = beside(t_c + 1.0, false);
        assert!(!shown(&glance).contains("by east"), "a degree is one air");
        glance.places[0].in_doubt = true;
        assert!(shown(&glance).contains(", in doubt<small"), "what it is told by is not called sound");
    }

    #[test]
    fn the_plan_for_coming_heat_and_what_the_heat_is_to_people_are_folded_before_the_crops() {
        let mut glance = fixtures::heat();
        let leading = glance.sentence.notice.clone().unwrap();
        let words = "Long House up to about 44 °C. ".repeat(40);
        let people = InsideNow {
            minder: "people".to_owned(),
            severity: Severity::Severe,
            title: "Stay out of Long House.".to_owned(),
            text: "Feels like 44 in shade.".to_owned(),
        };
        let notice = glance.open.iter_mut().find(|notice| notice.id == leading).unwrap();
        notice.minder = HEAT_DOME.to_owned();
        notice.now = Some(SaidNow { title: "Pick.".to_owned(), text: words.clone(), inside: vec![people] });
        glance.sentence.why = words.clone();
        let date = |days: i64| (today(&glance) + chrono::TimeDelta::days(days)).to_string();
        let (from, to) = (date(1), date(3));
        glance.heat = Some(HeatAhead { notice: leading, from, to, about_c: Some(44.0), pots: true });
        let html = shown(&glance);
        let at = |needle: &str| html.find(needle).unwrap_or_else(|| panic!("{needle} missing in {html}"));
        assert!(at("Today: pots to afternoon shade") < at("id=\"heat-plan\""));
        assert_eq!(html[..at("id=\"heat-plan\"")].matches("about 44 °C. Long House").count(), 0);
        assert!(
            at("id=\"heat-plan\"") < at("Long House up to about 44") && !html.contains("\" open>"),
            "{html}"
        );
        assert!(at("Stay out of Long House.") < at("class=\"states\""));
        glance.outlook.fresh = false;
        let ahead = ahead::view(&glance, Did::default()).into_string();
        assert!(!ahead.contains("id=\"heard-warning\" open"), "the days come before the form");
        assert!(
            ahead.contains("Today: pots to afternoon shade") && ahead.contains("id=\"heat-plan\""),
            "{ahead}"
        );
    }

    #[test]
    fn what_stands_inside_a_heat_notice_is_read_as_it_is_now_on_page_and_in_the_letter() {
        let mut glance = fixtures::heat();
        let people = InsideNow {
            minder: "people".to_owned(),
            severity: Severity::Severe,
            title: "Stay out of Long House: too hot to work inside.".to_owned(),
            text: "Feels like 44 in shade <b>".to_owned(),
        };
        for (notice, place) in glance.open.iter_mut().zip(["now", "folded"]) {
            let (title, text) = (format!("Order {place}."), format!("Reason {place}."));
            notice.now = Some(SaidNow { title, text, inside: vec![people.clone()] });
        }
        let html = now::view(&glance, Did::default()).into_string();
        let said = "<summary>Stay out of Long House: too hot to work inside.</summary><p>Feels like 44 in shade &lt;b&gt;";
        assert_eq!(html.matches(said).count(), 2, "of the sentence's own notice and of a folded one: {html}");
        assert!(html.contains("Order folded.") && html.contains("Reason folded."), "{html}");
        assert!(!html.contains("Look at the heap probe"), "what was told then is not what stands now");
        let text = letter::written(&glance).text.replace("\n  ", " ");
        assert!(text.contains("Long House: Order folded. Reason folded."), "{text}");
        assert_eq!(text.matches("Stay out of Long House: too hot to work inside.").count(), 1, "{text}");
    }
}
