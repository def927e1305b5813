//! Too hot, on course, and what may push: AGRONOMY 2.5b (lines and pushes), 1.13 (release 1.5 °C, 20 minutes).

use super::garden::*;
use agronomy::quantity::Quantity;
use glasshour::entry::{Note, PlaceKind};
use glasshour::keeper::core::Core;
use glasshour::keeper::view::{Shell, glance};

/// Ten in the morning of the first day.
fn ten() -> i64 {
    june() + 10 * HOUR
}

fn minutes(knots: &[(i64, f64)]) -> Vec<(i64, f64)> {
    knots.iter().map(|(minute, t_c)| (minute * MINUTE, *t_c)).collect()
}

#[test]
fn it_climbs_the_lines_after_their_dwell_and_comes_down_after_the_release() {
    let mut core = in_memory(&tomato_house(), june());
    // Tomato in flower: moderate from 32, severe from 35 (crop book); the place line is 40 for 30 minutes.
    let steps = [
        (0, 31.0),
        (10, 31.0),
        (10, 33.0),
        (40, 33.0),
        (40, 36.0),
        (60, 36.0),
        (60, 41.0),
        (100, 41.0),
        (100, 38.4),
        (130, 38.4),
        (130, 30.0),
        (160, 30.0),
        (161, 30.0),
    ];
    walk(&mut core, "post", ten(), MINUTE, &minutes(&steps));
    let told = told(&core, "too-hot");
    let wanted = [
        (20, "opened", "moderate"),
        (50, "worsened", "severe"),
        (90, "worsened", "extreme"),
        (120, "eased", "severe"),
        (150, "closed", "severe"),
    ];
    assert_eq!(outline(&told, ten()), wanted);
    let pushed: Vec<bool> = told.iter().map(|step| step.pushed).collect();
    // Few days are known, so of the lines only the place's pushes; the all-clear goes where the alarm went.
    assert_eq!(pushed, [false, false, true, false, true]);
}

#[test]
fn the_words_name_planting_number_limit_since_when_what_to_do_from_outside_and_the_caution() {
    let mut notes = tomato_house();
    notes[2] = Note::Planting {
        planting: "red".into(),
        crop: "tomato".into(),
        place: "house".into(),
        variety: Some("Brindle".into()),
        count: None,
        began: glasshour::entry::Began::PlantedOut,
        container_l: None,
    };
    let mut core = in_memory(&notes, june());
    walk(&mut core, "post", ten(), MINUTE, &minutes(&[(0, 36.2), (11, 36.2)]));
    let told = told(&core, "too-hot");
    let step = told.last().unwrap();
    assert_eq!(step.title, "From outside, open the door and every vent.");
    for part in ["tomatoes ‘Brindle’", "36.2 °C at 10:09", "bear 35", "past since 10:00", "before going in"]
    {
        assert!(step.text.contains(part), "{part:?} is missing in {:?}", step.text);
    }
}

#[test]
fn air_that_plays_about_a_line_is_told_once() {
    let mut core = in_memory(&tomato_house(), june());
    let mut knots = vec![(0, 31.0), (10, 32.5)];
    for turn in 1..30 {
        knots.push((10 + turn * 6, if turn % 2 == 0 { 32.4 } else { 30.8 }));
    }
    walk(&mut core, "post", ten(), MINUTE, &minutes(&knots));
    assert!(told(&core, "too-hot").is_empty(), "never ten minutes above");
    walk(&mut core, "post", ten() + 4 * HOUR, MINUTE, &minutes(&[(0, 32.5), (15, 32.5)]));
    walk(&mut core, "post", ten() + 4 * HOUR + 15 * MINUTE, MINUTE, &minutes(&knots));
    let told = told(&core, "too-hot");
    assert_eq!(outline(&told, ten() + 4 * HOUR), [(10, "opened", "moderate")], "never 20 minutes below 30.5");
}

#[test]
fn silence_neither_eases_nor_closes() {
    let mut core = in_memory(&tomato_house(), june());
    walk(&mut core, "post", ten(), MINUTE, &minutes(&[(0, 33.0), (15, 33.0)]));
    core.advance(moment(ten() + 9 * HOUR));
    assert_eq!(outline(&told(&core, "too-hot"), ten()), [(10, "opened", "moderate")]);
}

/// Lives through days with one highest each, then 36 °C for half an hour: whether the severe line pushed.
fn pushes_after(maxima: &[f64]) -> bool {
    let mut notes = tomato_bed();
    notes[1] = hang("post", "bed", 3_600);
    let mut core = in_memory(&notes, june());
    for (number, high) in maxima.iter().enumerate() {
        for hour in 0..24 {
            let t_c = if hour == 13 { *high } else { 20.0 };
            hear(&mut core, june() + number as i64 * DAY + hour * HOUR, &[("post", AIR, t_c)]);
        }
    }
    let noon = june() + maxima.len() as i64 * DAY + 12 * HOUR;
    hear(&mut core, noon - HOUR, &[("post", AIR, 25.0)]);
    hear(&mut core, noon, &[("post", AIR, 36.0)]);
    core.advance(moment(noon + 30 * MINUTE));
    let told = told(&core, "too-hot");
    let severe = told.iter().rfind(|step| step.at_ms > noon).unwrap();
    assert_eq!(severe.severity, "severe");
    severe.pushed
}

#[test]
fn a_severe_crop_line_pushes_only_more_than_two_degrees_above_the_median_of_five_full_days() {
    let cases: [(&[f64], bool); 6] = [
        (&[28.0; 4], false),
        (&[28.0; 5], true),
        (&[33.9; 5], true),
        (&[34.0; 5], false),
        (&[25.0, 25.0, 33.0, 34.5, 34.5, 34.5, 33.0], true),
        (&[25.0, 25.0, 34.5, 34.5, 34.5, 34.5, 33.0], false),
    ];
    for (maxima, pushes) in cases {
        assert_eq!(pushes_after(maxima), pushes, "{maxima:?}");
    }
}

#[test]
fn only_the_last_fourteen_days_make_the_median() {
    let mut maxima = vec![25.0; 14];
    maxima.extend([34.5; 8]);
    assert!(!pushes_after(&maxima), "eight of the last fourteen were as hot");
}

#[test]
fn a_course_to_the_place_line_is_told_at_once_and_buzzes_with_the_next_reading() {
    let notes = [place("house", PlaceKind::House), hang("post", "house", 60)];
    let mut core = in_memory(&notes, june());
    // Four degrees an hour: 39.0 after an hour and a half, 40 a quarter of an hour later.
    walk(&mut core, "post", ten(), MINUTE, &minutes(&[(0, 33.0), (90, 39.0), (105, 40.0), (150, 40.5)]));
    let told = told(&core, "on-course");
    let wanted = [(90, "opened", "severe"), (91, "worsened", "severe"), (135, "closed", "severe")];
    assert_eq!(outline(&told, ten()), wanted);
    assert_eq!([told[0].pushed, told[1].pushed], [false, true]);
    assert!(told[0].title.contains("By 11:45 it passes 40"), "{}", told[0].title);
    assert!(told[1].text.contains("rising 4.0 an hour"), "{}", told[1].text);
    // Held for half an hour from 11:45 on.
    assert_eq!(told[2].title, "It has passed the line.");
}

#[test]
fn a_course_to_the_place_line_is_told_inside_a_heat_notice_that_stands_with_the_buzz_it_has_by_itself() {
    let mut core = in_memory(&tomato_house(), june());
    // Tomatoes bear 32 and 35; from 39.0 on at four degrees an hour the place's 40 is a quarter of an hour away. Then a
    // cloud, and the same again.
    let knots =
        [(0, 33.0), (90, 39.0), (95, 39.3), (105, 38.0), (165, 37.0), (195, 39.0), (200, 39.3), (240, 37.0)];
    walk(&mut core, "post", ten(), MINUTE, &minutes(&knots));
    assert!(told(&core, "on-course").is_empty(), "{:?}", told(&core, "on-course"));
    let heat = told(&core, "too-hot");
    let by: Vec<Told> = heat.iter().filter(|step| step.title.contains(" By ")).cloned().collect();
    assert_eq!(outline(&by, ten()), [(90, "worsened", "severe"), (91, "worsened", "severe")], "{heat:?}");
    assert_eq!([by[0].pushed, by[1].pushed], [false, true]);
    assert_eq!(by[1].title, "From outside, open the door and every vent. By 11:45 it passes 40.");
    assert!(by[1].text.contains("At this pace 40 at 11:45."), "{}", by[1].text);
    assert_eq!(heat.iter().filter(|step| step.pushed).count(), 1, "once: {heat:?}");
}

#[test]
fn a_course_that_stood_before_the_heat_notice_goes_on_inside_it_and_closes_without_a_buzz() {
    let mut notes = tomato_bed();
    notes[1] = hang("post", "bed", 600);
    let mut core = in_memory(&notes, june());
    days(&mut core, "post", june(), 10 * MINUTE, &[(16.0, 30.0); 5]);
    days(&mut core, "post", june() + 5 * DAY, 10 * MINUTE, &[(18.0, 38.0)]);
    let (course, heat) = (told(&core, "on-course"), told(&core, "too-hot"));
    let closed = &course[1];
    assert_eq!((course.len(), closed.turn.as_str(), closed.pushed), (2, "closed", false), "{course:?}");
    assert_eq!((heat[0].turn.as_str(), heat[0].severity.as_str()), ("opened", "moderate"));
    assert_eq!(closed.at_ms, heat[0].at_ms);
    assert!(heat[0].title.contains(" By ") && heat[0].title.contains("it passes 35."), "{heat:?}");
}

#[test]
fn when_the_place_line_is_passed_as_foretold_one_thing_buzzes_in_that_minute() {
    let notes = [place("house", PlaceKind::House), hang("post", "house", 60)];
    let mut core = in_memory(&notes, june());
    walk(&mut core, "post", ten(), MINUTE, &minutes(&[(0, 33.0), (90, 39.0), (105, 40.0), (150, 40.5)]));
    let in_that_minute = |minder| {
        let steps = told(&core, minder).into_iter().filter(|step| step.at_ms == ten() + 135 * MINUTE);
        steps.map(|step| (step.turn, step.pushed)).collect::<Vec<_>>()
    };
    assert_eq!(in_that_minute("on-course"), [("closed".to_owned(), false)]);
    assert_eq!(in_that_minute("too-hot"), [("opened".to_owned(), true)]);
}

/// What was told of the course, a reading every quarter of an hour from ten o'clock on.
fn course_by_quarters(readings: &[f64]) -> (Vec<(i64, String, bool)>, Vec<String>) {
    let notes = [place("house", PlaceKind::House), hang("post", "house", 900)];
    let mut core = in_memory(&notes, june());
    for (number, t_c) in readings.iter().enumerate() {
        hear(&mut core, ten() + number as i64 * 15 * MINUTE, &[("post", AIR, *t_c)]);
    }
    core.advance(moment(ten() + readings.len() as i64 * 15 * MINUTE));
    let told = told(&core, "on-course");
    let steps = told.iter().map(|step| ((step.at_ms - ten()) / MINUTE, step.turn.clone(), step.pushed));
    (steps.collect(), told.iter().map(|step| step.title.clone()).collect())
}

#[test]
fn a_single_reading_close_to_the_place_line_does_not_buzz() {
    // The open tunnel record, 18 July 2022, from 14:15 on: 39.47 was its highest.
    let (steps, _) = course_by_quarters(&[37.0, 38.49, 39.47, 38.95, 38.13, 38.25]);
    assert_eq!(steps, [(30, "opened".to_owned(), false), (65, "closed".to_owned(), false)]);
}

#[test]
fn a_course_that_flattens_under_the_place_line_stays_told_until_it_is_past_or_gone() {
    // The open tunnel record, 24 July 2022, from 10:45 on, after a cooler quarter of an hour; 40 °C was passed at 12:15
    // and held until 18:15.
    let readings = [37.0, 38.22, 39.59, 39.95, 39.88, 39.43, 39.4, 40.24, 41.79, 41.68];
    let (steps, titles) = course_by_quarters(&readings);
    assert_eq!(steps[0], (30, "opened".to_owned(), false));
    assert_eq!(steps[1], (45, "worsened".to_owned(), true));
    assert_eq!(steps[2], (135, "closed".to_owned(), false), "the heat notice buzzes: {steps:?}");
    assert_eq!((steps.len(), titles[2].as_str()), (3, "It has passed the line."));
}

#[test]
fn while_a_course_stands_a_line_is_told_as_soon_as_its_dwell_is_over() {
    let mut notes = tomato_bed();
    notes[1] = hang("post", "bed", 900);
    let mut core = in_memory(&notes, june());
    days(&mut core, "post", june(), 15 * MINUTE, &[(16.0, 30.0); 5]);
    days(&mut core, "post", june() + 5 * DAY, 15 * MINUTE, &[(16.0, 38.0)]);
    assert!(told(&core, "on-course")[0].at_ms < told(&core, "too-hot")[0].at_ms);
    // Readings come at quarters of an hour; the dwell of ten minutes is over between two of them.
    let minute = (told(&core, "too-hot")[0].at_ms - june()) / MINUTE % 15;
    assert_eq!(minute, 10);
}

#[test]
fn a_probe_that_falls_silent_does_not_end_its_course() {
    let (steps, _) = course_by_quarters(&[37.0, 38.5, 39.4, 39.7]);
    let notes = [place("house", PlaceKind::House), hang("post", "house", 900)];
    let mut core = in_memory(&notes, june());
    for (number, t_c) in [37.0, 38.5, 39.4, 39.7].iter().enumerate() {
        hear(&mut core, ten() + number as i64 * 15 * MINUTE, &[("post", AIR, *t_c)]);
    }
    core.advance(moment(ten() + 9 * HOUR));
    assert_eq!(told(&core, "on-course").len(), steps.len(), "nothing was heard that could end it");
    assert_eq!(steps.len(), 2);
}

#[test]
fn a_pace_that_would_take_longer_than_half_an_hour_is_no_course_to_the_place_line() {
    let notes = [place("house", PlaceKind::House), hang("post", "house", 60)];
    let mut core = in_memory(&notes, june());
    // One degree an hour from 39.0: an hour to go; from 39.5 on, half an hour.
    walk(&mut core, "post", ten(), MINUTE, &minutes(&[(0, 38.0), (115, 39.917)]));
    let told = told(&core, "on-course");
    assert_eq!(outline(&told, ten()), [(90, "opened", "severe"), (91, "worsened", "severe")], "{told:?}");
}

#[test]
fn the_course_of_a_crop_goes_to_the_page_only_and_once_a_day() {
    let mut notes = tomato_bed();
    notes[1] = hang("post", "bed", 600);
    let mut core = in_memory(&notes, june());
    let ordinary = [(16.0, 30.0); 5];
    days(&mut core, "post", june(), 10 * MINUTE, &ordinary);
    assert!(told(&core, "on-course").is_empty(), "30 is below the line");
    let hot = june() + 5 * DAY;
    days(&mut core, "post", hot, 10 * MINUTE, &[(18.0, 38.0)]);
    let first = told(&core, "on-course");
    assert_eq!(first.first().map(|step| step.turn.as_str()), Some("opened"), "{first:?}");
    assert!(first[0].at_ms > hot + 8 * HOUR && first[0].at_ms < hot + 12 * HOUR);
    assert!(first.iter().all(|step| !step.pushed), "{first:?}");
    assert_eq!(first.iter().filter(|step| step.turn == "opened").count(), 1);
    assert!(first[0].text.contains("tomatoes bear 35"), "{}", first[0].text);
}

#[test]
fn a_heat_warning_gives_the_plan_by_day_worsens_on_its_first_day_and_closes_with_what_to_do_after() {
    let mut core = in_memory(&tomato_house(), june());
    let warning = Note::HeatWarning {
        from: "2026-06-04".into(),
        to: "2026-06-06".into(),
        about_c: 41.0,
        said_by: Some("the radio".into()),
    };
    core.note(moment(ten()), warning, None).unwrap();
    core.advance(moment(june() + 7 * DAY));
    let told = told(&core, "heat-dome");
    let evening = 5 * 24 * 60 + 21 * 60;
    let wanted = [
        (600, "opened", "severe"),
        (3 * 24 * 60 + 5 * 60, "worsened", "extreme"),
        (evening, "closed", "extreme"),
    ];
    assert_eq!(outline(&told, june()), wanted);
    // Three days ahead there is time for all of it (the plan of AGRONOMY 1.2).
    for part in ["about 41 °C", "4 to 6 June", "the radio", "mend leaks", "pick everything", "before sunrise"]
    {
        assert!(told[0].text.contains(part), "{part:?} is missing in {:?}", told[0].text);
    }
    assert!(!told[1].text.contains("mend leaks") && told[1].text.contains("before sunrise"));
    assert!(told[2].text.contains("hold hard pruning"));
}

#[test]
fn a_warning_that_is_taken_back_closes_the_notice() {
    let mut core = in_memory(&tomato_house(), june());
    let warning = Note::HeatWarning {
        from: "2026-06-04".into(),
        to: "2026-06-06".into(),
        about_c: 41.0,
        said_by: None,
    };
    let entry = core.note(moment(ten()), warning, None).unwrap();
    core.note(moment(ten() + MINUTE), Note::Undo { entry }, None).unwrap();
    assert_eq!(told(&core, "heat-dome").last().unwrap().turn, "closed");
    core.advance(moment(june() + 7 * DAY));
    assert_eq!(told(&core, "heat-dome").len(), 2, "it does not come back");
}

#[test]
fn heat_told_by_a_probe_in_doubt_says_so_and_is_told_all_the_same() {
    let mut core = in_memory(&tomato_house(), june());
    // For three hours and a half the same to the last digit, then three degrees more.
    walk(&mut core, "post", ten(), MINUTE, &minutes(&[(0, 33.0), (211, 33.0), (211, 36.0), (225, 36.0)]));
    let told = told(&core, "too-hot");
    let outline = outline(&told, ten());
    assert_eq!(outline, [(10, "opened", "moderate"), (221, "worsened", "severe")]);
    assert!(!told[0].text.contains("in doubt"), "{}", told[0].text);
    let doubt = " Probe post is in doubt: read a thermometer from outside.";
    assert_eq!(told[1].text.matches(doubt).count(), 1, "{}", told[1].text);
}

#[test]
fn heat_is_not_called_doubtful_for_a_probe_of_soil_or_a_film_of_water() {
    let mut notes = tomato_house();
    notes.push(hang("root", "house", 60));
    let mut core = in_memory(&notes, june());
    // Thirteen hours of saturation while the air swings by 17 °C, and nothing from the root that can be used.
    let heats = [(0, 18.0), (8 * HOUR, 22.0), (12 * HOUR, 33.0), (13 * HOUR, 37.0), (15 * HOUR, 37.0)];
    for pair in heats.windows(2) {
        let ((t0, v0), (t1, v1)) = (pair[0], pair[1]);
        for at in (t0..t1).step_by(MINUTE as usize) {
            let t_c = v0 + (v1 - v0) * (at - t0) as f64 / (t1 - t0) as f64;
            let told =
                [("post", AIR, t_c), ("post", HUMIDITY, 99.9), ("root", Quantity::SoilMoisture, 400.0)];
            hear(&mut core, june() + at, &told);
        }
    }
    let doubtful = told(&core, "probe-doubtful");
    let whose = |probe: &str| doubtful.iter().filter(|it| it.title.contains(probe)).count();
    assert_eq!((whose("post"), whose("root")), (1, 1), "{doubtful:#?}");
    assert!(doubtful.iter().any(|it| it.text.contains("wet film")), "{doubtful:#?}");
    let heat = told(&core, "too-hot");
    let after = heat.iter().filter(|it| it.at_ms > june() + 12 * HOUR + 30 * MINUTE);
    assert!(after.clone().count() > 0, "{heat:#?}");
    assert!(after.into_iter().all(|it| !it.text.contains("in doubt")), "{heat:#?}");
}

#[test]
fn past_a_line_nothing_is_called_well_also_before_it_has_lasted() {
    let mut core = in_memory(&tomato_house(), june());
    hear(&mut core, ten(), &[("post", AIR, 31.0)]);
    let sentence = |core: &Core| glance(core.engine(), &Shell::default()).sentence;
    assert_eq!(sentence(&core).order, "All well for now.");
    // Tomatoes in flower bear 35 (crop book, severe); a line must be passed for ten minutes before a notice opens.
    for minute in 1..8 {
        hear(&mut core, ten() + minute * MINUTE, &[("post", AIR, 36.5)]);
        let said = sentence(&core);
        assert_eq!(said.order, "Keep an eye on house.");
        assert!(said.why.starts_with("house: 1.5 °C past what tomatoes bear (35)"), "{}", said.why);
    }
}
