//! Glances for tests: an invented site and invented varieties; the figures tell one hot July day.

use agronomy::crop::Severity;

use super::figures::HOUR_MS;
use crate::entry::{Began, Entry, Note, PlaceKind, Step, fixtures};
use crate::glance::{
    BoardGlance, ByHand, Glance, Knot, Line, LitresGlance, NoticeView, PlaceGlance, PlantingGlance,
    ProbeGlance, Sentence, State, Tone,
};

mod dome;
mod season;

pub(crate) use dome::dome;
pub(crate) use season::season;

/// 15 July 2026, 00:00 UTC.
pub(crate) const MIDNIGHT: i64 = 1_784_073_600_000;

/// A civil clock time (UTC+2) of that day, UTC ms.
pub(crate) fn at(hour: i64, minute: i64) -> i64 {
    MIDNIGHT + (hour - 2) * HOUR_MS + minute * 60_000
}

fn place(id: &str, name: &str, kind: PlaceKind) -> PlaceGlance {
    PlaceGlance {
        place: id.to_owned(),
        name: name.to_owned(),
        kind,
        t_c: None,
        rh_pct: None,
        saturated: false,
        vpd_kpa: None,
        dryness: None,
        dew_point_c: None,
        heat_index_c: None,
        trend_c_per_h: None,
        heard_ms: None,
        air_probe: None,
        in_doubt: false,
        beside: Vec::new(),
        last_known_c: None,
        high_today: None,
        low_last_night: None,
        by_hand: None,
        curve: Vec::new(),
        holes: Vec::new(),
        expected: Vec::new(),
        lines: Vec::new(),
        knots: Vec::new(),
        sun: Some((at(5, 40), at(21, 20))),
        vents_open: Some(true),
        shade_on: Some(false),
    }
}

fn line(whose: &str, limit_c: f64, of_place: bool) -> Line {
    Line { whose: whose.to_owned(), limit_c, of_place }
}

fn knot(at_ms: i64, t_c: f64, words: &str, by_hand: bool) -> Knot {
    Knot { at_ms, t_c: Some(t_c), words: words.to_owned(), by_hand }
}

/// A smooth invented curve: low at 05:30, then rising to `top` at 15:00.
fn warm(top: f64, low: f64, until: i64) -> Vec<(i64, f64)> {
    let start = at(5, 0);
    let steps = (until - start) / 600_000;
    let rise = |k: i64| {
        let part = (k as f64 / 60.0).min(1.0);
        low + (top - low) * (2.0 - part) * part
    };
    (0..=steps)
        .map(|k| (start + k * 600_000, if k < 3 { low + 0.1 * (3 - k) as f64 } else { rise(k - 3) }))
        .collect()
}

fn house(top: f64, low: f64) -> PlaceGlance {
    let mut house = place("house", "Long House", PlaceKind::House);
    let curve = warm(top, low, at(13, 0));
    house.t_c = curve.last().map(|point| point.1);
    house.heard_ms = Some(at(13, 9));
    house.high_today = house.t_c.map(|t| (t, at(13, 9)));
    house.low_last_night = Some((low, at(5, 30)));
    house.curve = curve;
    let from = house.t_c.unwrap_or(top);
    let ahead = [
        (13, 10, from, 0.3),
        (15, 20, top, 1.5),
        (18, 0, top - 3.0, 1.5),
        (21, 0, low + 8.0, 1.5),
        (0, 0, low + 3.5, 1.2),
        (4, 50, low + 1.5, 1.0),
    ];
    house.expected = ahead
        .iter()
        .map(|&(h, m, t, stray)| (at(if h < 5 { h + 24 } else { h }, m), t - stray, t, t + stray))
        .collect();
    house.lines = vec![
        line("peppers", 33.0, false),
        line("tomatoes", 35.0, false),
        line("cucumbers", 38.0, false),
        line("the house", 40.0, true),
    ];
    house
}

fn planting(id: &str, name: &str, crop: &str, place: &str, line_c: f64) -> PlantingGlance {
    PlantingGlance {
        litres_today: Some(LitresGlance {
            each: 2.84,
            assumption: "reckoned from the span of temperatures in the open, give or take a third".to_owned(),
        }),
        planting: id.to_owned(),
        name: name.to_owned(),
        crop: crop.to_owned(),
        place: place.to_owned(),
        count: Some(12),
        since_ms: MIDNIGHT - 74 * 24 * HOUR_MS,
        ended_ms: None,
        state: State::AtEase,
        stages: "in flower (first fruit)".to_owned(),
        line_c,
        past_line_c: Some(-13.6),
        stress_today_h: 0.0,
        stress_season_h: 25.0,
        degree_days: 1143.4,
        filled: 0.0,
        filled_days: 0,
        missing_days: 0,
        rule: "mean-capped 7/28".to_owned(),
        measured_share: 0.992,
        warm_nights: 3,
        worst: None,
        own: Vec::new(),
    }
}

fn probe(name: &str, place: Option<&str>, value: f64, condition: &str) -> ProbeGlance {
    ProbeGlance {
        probe: name.to_owned(),
        place: place.map(str::to_owned),
        height_m: Some(1.4),
        shelter: Some("shaded and blown".to_owned()),
        usual_interval_s: place.map(|_| 300),
        hung_since_ms: place.map(|_| MIDNIGHT - 74 * 24 * HOUR_MS),
        newest: vec![("air_temperature".to_owned(), value, "°C".to_owned(), Some(at(13, 9)))],
        condition: condition.to_owned(),
        silent: condition.starts_with("silent"),
        doubtful: condition.starts_with("doubtful"),
        asks_where: false,
        malformed: 0,
        malformed_sample: None,
    }
}

fn entry(id: i64, at_ms: i64, note: Note) -> Entry {
    Entry { id, at_ms, from_ms: at_ms, note }
}

/// What was noted last, and that a planting stands.
fn diary() -> Vec<Entry> {
    vec![
        entry(9, at(12, 15), Note::Watered { subject: "tomato-1".to_owned(), litres: 12.0 }),
        entry(8, at(8, 12), Note::Vents { place: "house".to_owned(), open: true }),
        entry(
            2,
            MIDNIGHT - 74 * 24 * HOUR_MS,
            Note::Planting {
                planting: "tomato-1".to_owned(),
                crop: "tomato".to_owned(),
                place: "house".to_owned(),
                variety: Some("Amber Thimble".to_owned()),
                count: Some(12),
                began: Began::PlantedOut,
                container_l: None,
            },
        ),
    ]
}

/// A calm day: nothing past, nothing coming.
pub(crate) fn calm() -> Glance {
    let mut house = house(26.0, 12.4);
    house.rh_pct = Some(58.0);
    house.vpd_kpa = Some(0.84);
    house.dryness = Some("easy".to_owned());
    house.dew_point_c = Some(14.2);
    house.trend_c_per_h = Some(0.8);
    house.knots = vec![knot(at(5, 30), 12.4, "low 12.4", false), knot(at(8, 12), 17.0, "vents opened", true)];
    let mut bed = place("bed", "Well Bed", PlaceKind::Bed);
    bed.by_hand = None;
    Glance {
        at_ms: at(13, 10),
        site: "Tansy Corner".to_owned(),
        civil_offset_s: 7200,
        standard_offset_s: 3600,
        sentence: Sentence {
            tone: Tone::Well,
            order: "All well until half past six.".to_owned(),
            why: "Then shut the roof and leave the door a hand open.".to_owned(),
            notice: None,
        },
        open: Vec::new(),
        closed_lately: Vec::new(),
        missed: crate::glance::Missed::default(),
        warnings: Vec::new(),
        heat: None,
        places: vec![house, bed],
        plantings: vec![
            planting("pepper-1", "Pepper ‘Redstart’", "sweet_pepper", "house", 33.0),
            planting("tomato-1", "Tomato ‘Amber Thimble’", "tomato", "house", 35.0),
            planting("cucumber-1", "Cucumber ‘Long Quill’", "cucumber", "house", 38.0),
        ],
        probes: vec![
            probe("post-1", Some("house"), 36.4, "sound"),
            probe("bed-7", Some("bed"), 29.8, "doubtful since 12 July: unchanged for hours"),
            probe("tin-3", None, 24.0, "sound"),
        ],
        entries: diary(),
        outlook: crate::glance::OutlookGlance::default(),
        board: BoardGlance {
            storage_refused: None,
            clock_vouched_by: Some("the time service".to_owned()),
            away: Vec::new(),
            listening: "open to this board only (loopback)".to_owned(),
            undated: 0,
            letter_by: Some("06:30".to_owned()),
            ..BoardGlance::default()
        },
    }
}

fn notice(id: &str, minder: &str, title: &str, text: &str) -> NoticeView {
    NoticeView {
        id: id.to_owned(),
        minder: minder.to_owned(),
        place: "house".to_owned(),
        planting: None,
        severity: Severity::Severe,
        pushed: true,
        opened_ms: at(12, 20),
        closed_ms: None,
        steps: vec![Step {
            notice: id.to_owned(),
            minder: minder.to_owned(),
            text: text.to_owned(),
            ..fixtures::step(at(12, 20), Severity::Severe, title)
        }],
        now: None,
        on_it_ms: None,
        later_until_ms: None,
        undelivered: Vec::new(),
        seen: false,
        rang_in_quiet: false,
        deliveries: Vec::new(),
    }
}

/// A hot day: two crops past their lines.
pub(crate) fn heat() -> Glance {
    let mut glance = calm();
    let mut house = house(39.6, 20.4);
    let curve_end = 36.4;
    house.t_c = Some(curve_end);
    if let Some(last) = house.curve.last_mut() {
        last.1 = 36.3;
    }
    let held = house.curve.len() as f64;
    for (index, point) in house.curve.iter_mut().enumerate() {
        point.1 = 20.4 + (36.3 - 20.4) * (index as f64 / (held - 1.0)).min(1.0);
    }
    house.expected[0] = (at(13, 10), 36.1, 36.4, 36.7);
    house.high_today = Some((36.4, at(13, 9)));
    house.rh_pct = Some(33.0);
    house.vpd_kpa = Some(4.07);
    house.dryness = Some("harsh".to_owned());
    house.dew_point_c = Some(17.6);
    house.heat_index_c = Some(41.4);
    house.trend_c_per_h = Some(1.6);
    house.knots = vec![
        knot(at(5, 30), 21.4, "low 20.4", false),
        knot(at(7, 50), 26.2, "vents opened", true),
        knot(at(9, 20), 29.2, "shade on", true),
        knot(at(11, 13), 33.0, "peppers pass 33", false),
        knot(at(12, 20), 35.0, "tomatoes pass 35", false),
    ];
    glance.places[0] = house;
    glance.sentence = Sentence {
        tone: Tone::Past,
        order: "From outside, open the far door now.".to_owned(),
        why: "36.4 and rising 1.6 an hour. Shut, the house tops out near 40; with the door open, near 37."
            .to_owned(),
        notice: Some("n-1".to_owned()),
    };
    glance.open = vec![
        notice("n-1", "too-hot", "From outside, open the far door now.", "Tomatoes past 35 since 12:20."),
        notice("n-2", "probe-silent", "Look at the heap probe by 18:00.", "Nothing heard since 6 July."),
    ];
    let states = [(State::Suffering, 3.4, 2.0), (State::Suffering, 1.4, 0.8), (State::Pressed, -1.6, 0.0)];
    for (planting, (state, past, hours)) in glance.plantings.iter_mut().zip(states) {
        planting.state = state;
        planting.past_line_c = Some(past);
        planting.stress_today_h = hours;
    }
    glance
}

/// Nothing heard from the house since 11:20.
pub(crate) fn blind() -> Glance {
    let mut glance = heat();
    let house = &mut glance.places[0];
    house.t_c = None;
    house.rh_pct = None;
    house.vpd_kpa = None;
    house.dryness = None;
    house.heat_index_c = None;
    house.last_known_c = Some(33.4);
    house.heard_ms = Some(at(11, 20));
    house.curve.retain(|point| point.0 <= at(11, 20));
    house.knots.retain(|knot| knot.at_ms <= at(11, 20));
    house.holes = vec![(at(11, 20), at(12, 40))];
    house.expected.insert(0, (at(12, 40), 34.0, 35.5, 37.0));
    glance.at_ms = at(12, 40);
    glance.sentence = Sentence {
        tone: Tone::Blind,
        order: "Go and look at the house.".to_owned(),
        why: "Blind since 11:20; last 33.4 and rising.".to_owned(),
        notice: None,
    };
    for planting in &mut glance.plantings {
        planting.state = State::NotKnown;
        planting.past_line_c = None;
    }
    glance
}

/// A lean-to with a thermometer that is read by hand.
pub(crate) fn by_hand() -> Glance {
    let mut glance = calm();
    let mut lean_to = place("lean-to", "Lean-to", PlaceKind::House);
    lean_to.by_hand = Some(ByHand { at_ms: at(7, 5), now_c: None, low_c: Some(20.5), high_c: Some(36.0) });
    lean_to.lines = vec![line("tomatoes", 35.0, false), line("the house", 40.0, true)];
    lean_to.sun = None;
    glance.places = vec![lean_to];
    let day = 24 * HOUR_MS;
    let reading = |id, at_ms, low, high| {
        let place = "lean-to".to_owned();
        entry(id, at_ms, Note::Thermometer { place, now_c: None, low_c: Some(low), high_c: Some(high) })
    };
    glance.entries = vec![
        reading(24, at(7, 5), 20.5, 36.0),
        reading(23, at(6, 0), 20.5, 35.0),
        reading(22, at(7, 0) - day, 18.0, 32.0),
        reading(21, at(7, 0) - 2 * day, 17.5, 30.0),
    ];
    glance.plantings.truncate(1);
    glance.plantings[0].place = "lean-to".to_owned();
    glance
}

/// A disk that takes nothing more.
pub(crate) fn storage_refused() -> Glance {
    let mut glance = calm();
    glance.board.storage_refused = Some(("the disk is full".to_owned(), at(12, 0)));
    glance.board.clock_vouched_by = None;
    glance
}

/// Names that try to break out of the page.
pub(crate) fn hostile() -> Glance {
    let mut glance = heat();
    let bad = "<script>alert(1)</script>\"'&";
    glance.site = bad.to_owned();
    glance.places[0].name = bad.to_owned();
    glance.places[0].lines[0].whose = bad.to_owned();
    glance.places[0].knots[0].words = bad.to_owned();
    glance.plantings[0].name = bad.to_owned();
    glance.probes[0].malformed = 2;
    glance.probes[0].malformed_sample = Some(bad.to_owned());
    glance.open[0].steps[0].text = bad.to_owned();
    glance.sentence.why = bad.to_owned();
    glance.entries.push(entry(30, at(12, 30), Note::Remark { text: bad.to_owned() }));
    glance
}
