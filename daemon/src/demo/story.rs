//! What happens while one looks on: two warm days, five of a heat dome, a break; and what the grower does.
//!
//! The grower hears a warning two days ahead, opens the vents at dawn, waters, and puts the net on too late on the
//! first day of the dome, so that notices open, worsen, ease and close. One probe falls silent on the third
//! afternoon. All of it is data: [`acts`] gives the whole story with its times, [`narrate`] a line for each act.

use super::calendar::{Calendar, MINUTE_MS, local};
use super::weather::{DOME, DOME_DAYS, LEAD_IN};
use super::{World, site};
use crate::entry::Note;

/// One thing that happens in the story.
#[derive(Clone, Debug, PartialEq)]
pub enum Act {
    /// The story begins.
    Begins,
    /// The grower notes something: to be noted when its time comes.
    Note(Note),
    /// The grower answers "on it" to the open notices of a minder at a place: to be noted as replies.
    OnIt {
        /// Which minder's.
        minder: &'static str,
        /// Where; any place when it is none.
        place: Option<&'static str>,
    },
    /// A probe falls silent. To be told only: [`speaks`] already says so to the probe.
    FallsSilent(&'static str),
    /// It is heard again. To be told only.
    HeardAgain(&'static str),
    /// The air in the house passes a line, °C. To be told only.
    Passes(f64),
    /// It has fallen clear of the line, °C. To be told only.
    Clears(f64),
    /// The story is over.
    Ends,
}

/// The lines whose crossing is told, °C: the tomatoes' and the house's own.
const LINES_C: [f64; 2] = [35.0, 40.0];
/// How far below a line the air must fall to be clear of it, K (AGRONOMY 1.13).
const RELEASE_K: f64 = 1.5;
/// The break after the dome.
const BREAK: i64 = DOME + DOME_DAYS;
/// The probe that falls silent.
const SILENT: &str = site::BED_PROBES[0].probe;
/// From when until when it is silent: day, hour, minute.
const SILENCE: [(i64, i64, i64); 2] = [(DOME + 2, 14, 0), (DOME + 2, 14, 50)];

/// When the story is over, UTC ms: noon of the second cool day.
pub fn end_ms(calendar: Calendar) -> i64 {
    calendar.at(BREAK + 1, 12, 0)
}

/// Whether a probe speaks at a moment, UTC ms.
pub fn speaks(calendar: Calendar, probe: &str, at_ms: i64) -> bool {
    let [from_ms, until_ms] = silence(calendar);
    probe != SILENT || !(from_ms..until_ms).contains(&at_ms)
}

/// The beginning and the end of the silence, UTC ms.
fn silence(calendar: Calendar) -> [i64; 2] {
    SILENCE.map(|(day, hour, minute)| calendar.at(day, hour, minute))
}

/// What the grower notes in the course of the story, oldest first: `(UTC ms, note)`.
pub fn notes(calendar: Calendar) -> Vec<(i64, Note)> {
    let at = |day, hour, minute, note| (calendar.at(day, hour, minute), note);
    let vents = |open| Note::Vents { place: site::HOUSE.into(), open };
    let shade = |on| Note::Shade { place: site::HOUSE.into(), on };
    let water = |subject: &str, litres| Note::Watered { subject: subject.into(), litres };
    let remark = |text: &str| Note::Remark { text: text.into() };
    let warning = Note::HeatWarning {
        from: calendar.date(DOME).to_string(),
        to: calendar.date(DOME + DOME_DAYS - 1).to_string(),
        about_c: 43.0,
        said_by: Some("the wireless".into()),
    };
    let mut notes = vec![
        at(LEAD_IN, 5, 20, vents(true)),
        at(LEAD_IN, 6, 30, warning),
        at(LEAD_IN, 7, 15, water(site::HOUSE, 30.0)),
        at(LEAD_IN, 19, 30, water(site::GATE_BED, 60.0)),
        at(LEAD_IN, 19, 45, water(site::DITCH_BED, 50.0)),
        at(LEAD_IN, 20, 30, vents(false)),
        at(LEAD_IN + 1, 5, 15, vents(true)),
        at(LEAD_IN + 1, 5, 40, water(site::HOUSE, 60.0)),
        at(LEAD_IN + 1, 18, 30, remark("Picked all that was fit to pick. Straw round the beans.")),
        at(LEAD_IN + 1, 20, 40, vents(false)),
        at(DOME, 5, 10, vents(true)),
        at(DOME, 14, 20, shade(true)),
        at(DOME, 21, 0, remark("Everything stays open tonight.")),
        at(DOME + 2, 14, 55, remark("New battery for the probe at the gate.")),
        at(BREAK, 11, 0, remark("Thunder since ten. Cool air at last.")),
        at(BREAK, 17, 30, shade(false)),
        at(BREAK + 1, 6, 45, remark("Some scorched leaves, some flowers on the floor. Nothing lost.")),
    ];
    for day in DOME..DOME + DOME_DAYS {
        notes.push(at(day, 5, 25, water(site::HOUSE, 40.0)));
        notes.push(at(day, 14, 40, water(site::HOUSE, 15.0)));
        notes.push(at(day, 19, 30, water(site::GATE_BED, 40.0)));
        notes.push(at(day, 19, 45, water(site::DITCH_BED, 40.0)));
    }
    notes.sort_by_key(|(at_ms, _)| *at_ms);
    notes
}

/// The whole story, oldest first: `(UTC ms, act)`.
pub fn acts(world: &World) -> Vec<(i64, Act)> {
    let calendar = world.calendar();
    let [from_ms, until_ms] = silence(calendar);
    let on_it = |minder, place| Act::OnIt { minder, place };
    let mut acts = vec![
        (world.start_ms(), Act::Begins),
        (calendar.at(LEAD_IN + 1, 18, 35), on_it("heat-dome", None)),
        (calendar.at(DOME, 14, 15), on_it("too-hot", Some(site::HOUSE))),
        (calendar.at(DOME + 1, 12, 30), on_it("too-hot", Some(site::HOUSE))),
        (calendar.at(DOME + 2, 14, 45), on_it("probe-silent", Some(site::GATE_BED))),
        (from_ms, Act::FallsSilent(SILENT)),
        (until_ms, Act::HeardAgain(SILENT)),
        (end_ms(calendar), Act::Ends),
    ];
    acts.extend(notes(calendar).into_iter().map(|(at_ms, note)| (at_ms, Act::Note(note))));
    acts.extend(crossings(world));
    acts.retain(|(at_ms, _)| *at_ms >= world.start_ms());
    acts.sort_by_key(|(at_ms, _)| *at_ms);
    acts
}

/// When the air of the house passes the lines and when it is clear of them again.
fn crossings(world: &World) -> Vec<(i64, Act)> {
    let mut above = LINES_C.map(|_| false);
    let mut crossings = Vec::new();
    let mut at_ms = world.start_ms();
    while at_ms < end_ms(world.calendar()) {
        let t_c = world.at(at_ms).house.t_c;
        for (above, line_c) in above.iter_mut().zip(LINES_C) {
            if !*above && t_c >= line_c {
                *above = true;
                crossings.push((at_ms, Act::Passes(line_c)));
            } else if *above && t_c < line_c - RELEASE_K {
                *above = false;
                crossings.push((at_ms, Act::Clears(line_c)));
            }
        }
        at_ms += MINUTE_MS;
    }
    crossings
}

/// A line for the terminal: `Wed 11:52  the Pear House passes 40`.
pub fn narrate(at_ms: i64, act: &Act) -> String {
    format!("{}  {}", local(at_ms).format("%a %H:%M"), words(at_ms, act))
}

fn words(at_ms: i64, act: &Act) -> String {
    match act {
        Act::Begins => format!("{}: two warm days, and a dome of heat behind them", site::NAME),
        Act::Note(note) => note_words(at_ms, note),
        Act::OnIt { minder, .. } => format!("the grower answers \"on it\" ({minder})"),
        Act::FallsSilent(probe) => format!("the probe \"{probe}\" falls silent"),
        Act::HeardAgain(probe) => format!("the probe \"{probe}\" is heard again"),
        Act::Passes(line_c) => format!("the {} passes {line_c}", place_name(site::HOUSE)),
        Act::Clears(line_c) => format!("the {} is clear of {line_c}", place_name(site::HOUSE)),
        Act::Ends => "the story is over; the world goes on".to_owned(),
    }
}

fn note_words(at_ms: i64, note: &Note) -> String {
    match note {
        Note::HeatWarning { from, about_c, said_by, .. } => {
            let who = said_by.as_deref().unwrap_or("somebody");
            let days = chrono::NaiveDate::parse_from_str(from, "%Y-%m-%d")
                .map_or(0, |from| (from - local(at_ms).date_naive()).num_days());
            format!("a heat warning is noted: in {days} days, about {about_c}, says {who}")
        }
        Note::Vents { place, open: true } => format!("vents and door of the {} open", place_name(place)),
        Note::Vents { place, open: false } => format!("vents and door of the {} shut", place_name(place)),
        Note::Shade { place, on: true } => format!("the net goes on the {}", place_name(place)),
        Note::Shade { place, on: false } => format!("the net comes off the {}", place_name(place)),
        Note::Watered { subject, litres } => format!("{litres} L of water for the {}", place_name(subject)),
        Note::Remark { text } => format!("diary: {text}"),
        other => format!("noted: {}", other.kind()),
    }
}

fn place_name(place: &str) -> &str {
    site::PLACES.iter().find(|(key, ..)| *key == place).map_or(place, |(_, name, _)| name)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::site::DEFAULT_START_MS;

    fn world() -> World {
        World::new(1, DEFAULT_START_MS)
    }

    #[test]
    fn the_warning_is_noted_two_days_ahead_for_the_five_days_of_the_dome() {
        let world = world();
        let (at_ms, note) = notes(world.calendar())
            .into_iter()
            .find(|(_, note)| matches!(note, Note::HeatWarning { .. }))
            .unwrap();
        let Note::HeatWarning { from, to, about_c, .. } = &note else { unreachable!() };
        assert_eq!(
            (local(at_ms).date_naive().to_string().as_str(), from.as_str()),
            ("2026-07-13", "2026-07-15")
        );
        assert_eq!(to, "2026-07-19");
        assert!((40.0..=45.0).contains(about_c));
        assert_eq!(
            narrate(at_ms, &Act::Note(note)),
            "Mon 06:30  a heat warning is noted: in 2 days, about 43, says the wireless"
        );
    }

    #[test]
    fn the_story_is_told_in_order_from_its_beginning_to_its_end() {
        let acts = acts(&world());
        assert_eq!(acts.first(), Some(&(DEFAULT_START_MS, Act::Begins)));
        assert_eq!(acts.last().map(|(_, act)| act), Some(&Act::Ends));
        assert!(acts.windows(2).all(|w| w[0].0 <= w[1].0));
        for (at_ms, act) in &acts {
            assert!(!narrate(*at_ms, act).contains("  noted: "), "{act:?} has words of its own");
        }
    }

    #[test]
    fn on_every_day_of_the_dome_the_house_passes_40_and_is_clear_of_it_by_night() {
        let world = world();
        let acts = acts(&world);
        for day in DOME..DOME + DOME_DAYS {
            let today: Vec<_> = acts
                .iter()
                .filter(|(at_ms, _)| world.calendar().day_of(*at_ms) == day)
                .map(|(_, a)| a)
                .collect();
            let count = |wanted: &Act| today.iter().filter(|act| **act == wanted).count();
            assert_eq!(count(&Act::Passes(40.0)), count(&Act::Clears(40.0)), "day {day}");
            assert!((1..=2).contains(&count(&Act::Passes(40.0))), "day {day}");
        }
        let last = acts.iter().rfind(|(_, act)| matches!(act, Act::Clears(_))).unwrap();
        assert!(last.0 <= world.calendar().at(BREAK, 4, 0), "nothing above a line once it has broken");
    }

    #[test]
    fn the_net_brings_relief_that_can_be_told() {
        let world = world();
        let net_ms = world.calendar().at(DOME, 14, 20);
        let above = |at_ms| {
            let truth = world.at(at_ms);
            truth.house.t_c - truth.outside.t_c
        };
        // AGRONOMY 3.6: with vents open the net takes 2.8 K off a house under a full canopy, settled and at noon.
        let relief = above(net_ms - 5 * MINUTE_MS) - above(net_ms + 40 * MINUTE_MS);
        assert!((1.0..3.5).contains(&relief), "{relief}");
    }

    #[test]
    fn one_probe_is_silent_for_fifty_minutes_and_no_other() {
        let calendar = world().calendar();
        let silent_minutes = |probe: &str| {
            (0..end_ms(calendar) - DEFAULT_START_MS)
                .step_by(MINUTE_MS as usize)
                .filter(|since| !speaks(calendar, probe, DEFAULT_START_MS + since))
                .count()
        };
        assert_eq!(silent_minutes("gate"), 50);
        assert_eq!(silent_minutes("ditch") + silent_minutes("post") + silent_minutes("ridge"), 0);
    }
}
