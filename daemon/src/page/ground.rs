//! Ground: what stands and hangs where, and how to change it in a few taps.

use config::ground::Shelter;
use maud::{Markup, html};

use super::entries::{self, KINDS, crop_words, kind_words};
use super::figures::{Civil, tenth};
use super::frame::{Did, Lintel, View, page, undo};
use super::phones;
use crate::entry::{Entry, PlaceKind};
use crate::figure_words::capital;
use crate::glance::{Glance, PlaceGlance, PlantingGlance, ProbeGlance, Tone};

/// Crops offered before "all".
const FIRST_CROPS: usize = 8;
/// Height of a planting's or probe's row, px, and distance between two strings.
const ROW_PX: usize = 76;
const STRING_PX: usize = 26;
/// Strings drawn for a place; further plantings have a row only.
const STRINGS: usize = 5;
/// Changes listed at the foot.
const LATELY: usize = 6;

/// What was tapped so far, from the address.
#[derive(Clone, Debug, Default)]
pub(crate) struct Taps {
    pub(crate) place: Option<String>,
    pub(crate) crop: Option<String>,
}

/// The page Ground. `crops`: key and name of every crop of the book; `calendar`: where the calendar is read.
pub(crate) fn view(
    glance: &Glance,
    crops: &[(String, String)],
    taps: &Taps,
    did: Did,
    calendar: &Markup,
) -> Markup {
    let homeless = glance.probes.iter().find(|probe| probe.place.is_none());
    let doubtful = glance.probes.iter().find(|probe| probe.doubtful || probe.silent);
    let (order, why) = match (doubtful, homeless) {
        (Some(probe), _) => {
            (format!("Look at probe {} today.", probe.probe), format!("{}.", capital(&probe.condition)))
        }
        (None, Some(probe)) => (
            format!("Say where probe {} hangs.", probe.probe),
            "It speaks, but counts for nothing until then.".to_owned(),
        ),
        (None, None) => {
            ("What stands where.".to_owned(), "Every change is dated and can be undone.".to_owned())
        }
    };
    let lintel = Lintel {
        tone: if doubtful.is_some() { Tone::Soon } else { Tone::Well },
        place: glance.site.clone(),
        order,
        why,
        more: html! {
            div.answers {
                a.button.first href="#plant" { "plant something" }
                a.button href="#hang" { "hang a probe" }
            }
        },
    };
    let main = html! {
        @for (index, place) in glance.places.iter().enumerate() { (place_section(place, glance, index)) }
        (plant(glance, crops, taps))
        (hang(glance))
        (add_place(glance))
        (end(glance))
        (super::drill::section(glance))
        (phones::section(glance))
        (calendar)
        (lately(glance))
    };
    page(View::Ground, glance, did, &lintel, &main)
}

fn place_section(place: &PlaceGlance, glance: &Glance, index: usize) -> Markup {
    let plantings: Vec<_> = glance.plantings.iter().filter(|one| one.place == place.place).collect();
    let probes: Vec<_> =
        glance.probes.iter().filter(|probe| probe.place.as_deref() == Some(place.place.as_str())).collect();
    let rows = plantings.len() + probes.len();
    html! {
        section.beam[index > 0] aria-labelledby={ "ground-" (index) } {
            div.pg {
                h2 id={ "ground-" (index) } { (place.name) }
                p.source { (kind_words(place.kind)) @if place.kind.under_cover() { "; its own line 40°" } }
            }
            @if rows == 0 { p.pg { "Nothing stands or hangs here yet." } }
            @else {
                div.hanging {
                    (strings(plantings.len(), &probes))
                    ul.{ "rows s" (plantings.len().min(STRINGS)) } {
                        @for planting in &plantings { (planting_row(planting, glance)) }
                        @for probe in &probes { (probe_row(probe, glance)) }
                    }
                }
            }
        }
    }
}

/// Each planting's string hangs from its own row, rightmost first, so that no string crosses words; probes tie round
/// knots into the strings they serve. Positions are counted from the right edge.
fn strings(plantings: usize, probes: &[&ProbeGlance]) -> Markup {
    let height = (plantings + probes.len()) * ROW_PX + 14;
    let foot = |row: usize| row * ROW_PX + ROW_PX - 2;
    let x = |index: usize| format!("-{}", 18 + index * STRING_PX);
    let shown = plantings.min(STRINGS);
    html! {
        svg.ties width="100%" height=(height) aria-hidden="true" {
            svg x="100%" overflow="visible" {
                @for row in 0..shown {
                    line.string x1=(x(row)) x2=(x(row)) y1=(foot(row)) y2=(height) {}
                    line.thin x1="-1000" x2=(x(row)) y1=(foot(row)) y2=(foot(row)) {}
                    svg x=(x(row)) y=(foot(row)) overflow="visible" { path.knot d="M0-6L6 0L0 6L-6 0Z" {} }
                }
                @for (index, probe) in probes.iter().enumerate() {
                    @let y = foot(plantings + index);
                    @let end = if probe.silent { x(shown) } else { x(0) };
                    line.thin x1="-1000" x2=(end) y1=(y) y2=(y) {}
                    @if probe.silent {
                        svg x=(end) y=(y) overflow="visible" { line.string x1="-4" x2="4" y1="6" y2="-6" {} }
                    } @else {
                        @for row in 0..shown { circle.knot.hollow[probe.doubtful] cx=(x(row)) cy=(y) r="4.5" {} }
                    }
                }
            }
        }
    }
}

fn planting_row(planting: &PlantingGlance, glance: &Glance) -> Markup {
    let civil = Civil(glance.civil_offset_s);
    html! {
        li {
            a href={ "/season/" (planting.planting) } { strong { (planting.name) } @if let Some(count) = planting.count { ", " (count) } }
            small { "since " (civil.date(planting.since_ms, glance.at_ms)) @if !planting.stages.is_empty() { "; " (planting.stages) } }
        }
    }
}

fn probe_row(probe: &ProbeGlance, glance: &Glance) -> Markup {
    let civil = Civil(glance.civil_offset_s);
    html! {
        li {
            span { strong { (probe.probe) } ", " span.loud[probe.doubtful || probe.silent] { (probe.condition) } }
            small {
                @for (_, value, unit, _) in probe.newest.iter().take(3) { (tenth(*value)) " " (unit) ", " }
                @if let Some((.., Some(ms))) = probe.newest.first() { (civil.when(*ms, glance.at_ms)) }
                @if let Some(height) = probe.height_m { "; " (tenth(height)) " m" }
                @if let Some(shelter) = &probe.shelter { ", " (shelter) }
            }
            @if let (true, Some(place)) = (probe.asks_where, &probe.place) {
                form method="post" action="/ground" {
                    input type="hidden" name="do" value="hang";
                    input type="hidden" name="probe" value=(probe.probe);
                    input type="hidden" name="place" value=(place);
                    button { "it still hangs there" }
                }
            }
            @if let Some(sample) = &probe.malformed_sample {
                small { (probe.malformed) " could not be read, the last: " code { (sample) } }
            }
        }
    }
}

fn tap(label: &str, address: &str, chosen: bool) -> Markup {
    html! { a href=(address) aria-current=[chosen.then_some("true")] { (label) } }
}

/// Three taps on words: where, what, when. The third stores it.
fn plant(glance: &Glance, crops: &[(String, String)], taps: &Taps) -> Markup {
    let place = taps.place.as_ref().and_then(|id| glance.places.iter().find(|place| &place.place == id));
    let crop = taps.crop.as_ref().and_then(|key| crops.iter().find(|crop| &crop.0 == key));
    html! {
        section.pg aria-labelledby="plant" {
            h2 id="plant" { "Plant something: three taps" }
            p.source { "The third tap stores it. It can be undone, and any day can be put right later." }
            h3 { "1 where" }
            p.taps {
                @for one in &glance.places {
                    (tap(&one.name, &format!("/ground?place={}#what", one.place), place.is_some_and(|chosen| chosen.place == one.place)))
                }
                @if glance.places.is_empty() { a href="#add-place" { "add a place first" } }
            }
            @if let Some(place) = place {
                h3 id="what" { "2 what" }
                (what(glance, crops, &place.place, crop.map(|crop| crop.0.as_str())))
                @if let Some(crop) = crop { (when(place, crop, glance)) }
            }
        }
    }
}

/// The crops, those that already grow here first.
fn what(glance: &Glance, crops: &[(String, String)], place: &str, chosen: Option<&str>) -> Markup {
    let mut sorted: Vec<_> = crops.iter().collect();
    sorted.sort_by_key(|(key, name)| (!glance.plantings.iter().any(|one| &one.crop == key), name.clone()));
    let (first, rest) = sorted.split_at(FIRST_CROPS.min(sorted.len()));
    let link = |(key, name): &(String, String)| {
        tap(name, &format!("/ground?place={place}&crop={key}#when"), chosen == Some(key.as_str()))
    };
    html! {
        p.taps { @for crop in first { (link(crop)) } }
        @if !rest.is_empty() {
            details id="all-crops" open[rest.iter().any(|crop| chosen == Some(crop.0.as_str()))] {
                summary { "all " (sorted.len()) " crops" }
                p.taps { @for crop in rest { (link(crop)) } }
            }
        }
    }
}

/// The third tap: planted out or sown, and when.
fn when(place: &PlaceGlance, crop: &(String, String), glance: &Glance) -> Markup {
    let today = Civil(glance.civil_offset_s).iso_day(glance.at_ms);
    let sown_first = place.kind == PlaceKind::Seedbed;
    let rows = if sown_first { ["sown", "planted-out"] } else { ["planted-out", "sown"] };
    html! {
        h3 id="when" { "3 when" }
        form.fields method="post" action="/ground" {
            input type="hidden" name="do" value="plant";
            input type="hidden" name="place" value=(place.place);
            input type="hidden" name="crop" value=(crop.0);
            @for began in rows {
                fieldset.answers {
                    legend { (capital(&crop.1)) ", " (began.replace('-', " ")) " in " (place.name) }
                    @for day in ["today", "yesterday", "a week ago"] {
                        button name="when" value={ (began) "/" (day) } { (day) }
                    }
                    button name="when" value={ (began) "/on" } { "on the day below" }
                }
            }
            label { "another day" input type="date" name="day" max=(today); }
            label { "variety, can wait" input.wide name="variety" maxlength="60"; }
            label { "how many, can wait" input name="count" inputmode="numeric"; }
            @if !matches!(place.kind, PlaceKind::Bed | PlaceKind::Seedbed | PlaceKind::Heap) {
                label { "in containers: litres each, can wait" input name="container" inputmode="decimal"; }
            }
        }
    }
}

fn place_choice(glance: &Glance) -> Markup {
    html! { select name="place" { @for place in &glance.places { option value=(place.place) { (place.name) } } } }
}

fn hang(glance: &Glance) -> Markup {
    let (homeless, hanging): (Vec<_>, Vec<_>) = glance.probes.iter().partition(|probe| probe.place.is_none());
    html! {
        section.pg aria-labelledby="hang" {
            h2 id="hang" { "Hang a probe" }
            @for probe in &homeless {
                p { "One has spoken that hangs nowhere yet: " strong { (probe.probe) }
                    @if let Some((_, value, unit, _)) = probe.newest.first() { ", " (tenth(*value)) " " (unit) } "." }
            }
            @if glance.places.is_empty() { p { a href="#add-place" { "add a place first" } } }
            @else {
                p.source { "What you leave empty stays as it was." }
                form.fields method="post" action="/ground" {
                    input type="hidden" name="do" value="hang";
                    label { "probe"
                        input.wide name="probe" list="probe-names" required maxlength="64" value=(homeless.first().map_or("", |probe| probe.probe.as_str()));
                        datalist id="probe-names" { @for probe in homeless.iter().chain(&hanging) { option value=(probe.probe) {} } }
                    }
                    label { "hangs in" (place_choice(glance)) }
                    label { "reads every, s" input name="interval" inputmode="numeric" placeholder="new: 60"; }
                    label { "height, m" input name="height" inputmode="decimal"; }
                    label { "shelter" select name="shelter" {
                        option value="" {}
                        @for (word, _) in Shelter::WORDS { option value=(word) { (word) } }
                    } }
                    button { "hang it" }
                }
            }
        }
    }
}

fn add_place(glance: &Glance) -> Markup {
    html! {
        section.pg aria-labelledby="add-place" {
            h2 id="add-place" { "Add a place" }
            form.fields method="post" action="/ground" {
                input type="hidden" name="do" value="place";
                label { "name" input.wide name="name" maxlength="60" required placeholder=(if glance.places.is_empty() { "Long House" } else { "" }); }
                label { "kind" select name="kind" { @for (value, kind) in KINDS { option value=(value) { (kind_words(kind)) } } } }
                button { "add it" }
            }
        }
    }
}

fn end(glance: &Glance) -> Markup {
    html! {
        @if !glance.plantings.is_empty() {
            section.pg aria-labelledby="end" {
                h2 id="end" { "End a planting" }
                form.fields method="post" action="/ground" {
                    input type="hidden" name="do" value="end";
                    label { "planting" select name="planting" {
                        @for planting in &glance.plantings { option value=(planting.planting) { (planting.name) ", " (entries::name(glance, &planting.place)) } }
                    } }
                    label { "when, empty for now" input.wide type="datetime-local" name="when"; }
                    button { "end it" }
                }
            }
        }
    }
}

fn lately(glance: &Glance) -> Markup {
    let civil = Civil(glance.civil_offset_s);
    let ground: Vec<&Entry> =
        glance.entries.iter().filter(|entry| entry.note.kind() == "ground").take(LATELY).collect();
    html! {
        @if !ground.is_empty() {
            section.pg aria-labelledby="lately" {
                h2 id="lately" { "Changed lately" }
                ul.list {
                    @for entry in ground {
                        @let (words, more) = entries::words(&entry.note, glance);
                        li.with-undo {
                            span { strong { (civil.date(entry.from_ms, glance.at_ms)) } " " (words) @if !more.is_empty() { ", " (more) } }
                            (undo(entry.id, "/ground", "undo"))
                        }
                    }
                }
            }
        }
    }
}

/// A crop's name for the list of crops where the book gives none.
pub(crate) fn named(crops: impl IntoIterator<Item = (String, String)>) -> Vec<(String, String)> {
    let named = crops.into_iter().map(|(key, name)| {
        let name = if name.is_empty() { capital(&crop_words(&key)) } else { name };
        (key, name)
    });
    named.collect()
}

#[cfg(test)]
mod tests {
    use super::super::fixtures;
    use super::*;

    fn crops() -> Vec<(String, String)> {
        named(["tomato", "bean", "chard"].map(|key| (key.to_owned(), String::new())))
    }

    #[test]
    fn each_tap_opens_the_next_and_the_third_is_a_form() {
        let glance = fixtures::calm();
        let mut taps = Taps::default();
        let first = view(&glance, &crops(), &taps, Did::default(), &html! {}).into_string();
        assert!(first.contains("/ground?place=bed#what") && !first.contains("2 what"));
        taps.place = Some("bed".to_owned());
        let second = view(&glance, &crops(), &taps, Did::default(), &html! {}).into_string();
        assert!(second.contains("/ground?place=bed&amp;crop=chard#when") && !second.contains("3 when"));
        taps.crop = Some("chard".to_owned());
        let third = view(&glance, &crops(), &taps, Did::default(), &html! {}).into_string();
        assert!(third.contains("value=\"planted-out/today\"") && third.contains("value=\"sown/yesterday\""));
    }

    #[test]
    fn a_doubtful_probe_is_the_sentence_and_its_knots_are_hollow() {
        let html =
            view(&fixtures::calm(), &crops(), &Taps::default(), Did::default(), &html! {}).into_string();
        assert!(html.contains("Look at probe bed-7 today.") && html.contains("unchanged for hours"));
        assert!(html.contains("One has spoken that hangs nowhere yet: <strong>tin-3</strong>"));
    }

    #[test]
    fn the_form_that_hangs_a_probe_tells_no_interval_and_no_shelter_by_itself() {
        let html =
            view(&fixtures::calm(), &crops(), &Taps::default(), Did::default(), &html! {}).into_string();
        let form = html.split("value=\"hang\"").nth(1).and_then(|rest| rest.split("</form>").next()).unwrap();
        assert!(!form.contains("value=\"60\"") && form.contains("<option value=\"\"></option>"), "{form}");
    }

    #[test]
    fn whether_a_probe_still_hangs_there_is_answered_by_one_tap() {
        let mut glance = fixtures::calm();
        let html = |glance: &Glance| {
            view(glance, &crops(), &Taps::default(), Did::default(), &html! {}).into_string()
        };
        assert!(!html(&glance).contains("it still hangs there"));
        glance.probes.iter_mut().filter(|it| it.probe == "post-1").for_each(|it| it.asks_where = true);
        let asked = html(&glance);
        let form = asked.split("it still hangs there").next().unwrap().rsplit("<form").next().unwrap();
        for field in ["name=\"do\" value=\"hang\"", "value=\"post-1\"", "name=\"place\" value=\"house\""] {
            assert!(form.contains(field), "no {field} in {form}");
        }
    }

    #[test]
    fn a_payload_that_could_not_be_read_is_shown_as_text() {
        let html =
            view(&fixtures::hostile(), &crops(), &Taps::default(), Did::default(), &html! {}).into_string();
        assert!(html.contains("2 could not be read") && !html.contains("<script>alert"));
    }

    #[test]
    fn an_unknown_place_in_the_address_is_ignored() {
        let taps = Taps { place: Some("<b>".to_owned()), crop: Some("nothing".to_owned()) };
        let html = view(&fixtures::calm(), &crops(), &taps, Did::default(), &html! {}).into_string();
        assert!(!html.contains("2 what") && !html.contains("<b>\""));
    }
}
