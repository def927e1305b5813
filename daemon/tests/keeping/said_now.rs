//! What the page says while things move: the figures of now, both probes of a place, no slope that is over.

use super::garden::*;
use glasshour::entry::PlaceKind;
use glasshour::glance::{Glance, NoticeView};
use glasshour::keeper::core::Core;
use glasshour::keeper::view::{Shell, glance};

fn seen(core: &Core) -> Glance {
    glance(core.engine(), &Shell::default())
}

#[test]
fn a_course_that_came_true_leads_with_the_air_of_now_and_gives_way_to_the_heat_notice() {
    let mut core = in_memory(&tomato_bed(), june());
    days(&mut core, "post", june(), 10 * MINUTE, &[(16.0, 30.0); 5]);
    let day = june() + 5 * DAY;
    let hours = |minute: i64| minute as f64 / 60.0;
    // Tomatoes in flower: moderate from 32, severe from 35 (crop book). A morning on course for 35 from afar.
    let begun = (600..900).find(|minute| curve(18.0, 38.0, hours(*minute)) >= 31.9).unwrap();
    for minute in 0..begun {
        hear(&mut core, day + minute * MINUTE, &[("post", AIR, curve(18.0, 38.0, hours(minute)))]);
    }
    assert!(seen(&core).sentence.order.contains(" By "), "{:?}", seen(&core).sentence);
    // Then a leap past both lines, before either has lasted for its ten minutes.
    let mut beside = 0;
    for minute in 0..40 {
        let t_c = 33.0 + 2.4 * (minute as f64 / 8.0).min(1.0);
        hear(&mut core, day + (begun + minute) * MINUTE, &[("post", AIR, t_c)]);
        let glance = seen(&core);
        assert!(glance.sentence.why.contains(&format!("{t_c:.1} °C")), "{minute}: {:?}", glance.sentence);
        let open = |minder: &str| glance.open.iter().find(|notice| notice.minder == minder);
        if t_c >= 35.0 {
            assert!(!glance.sentence.order.contains(" By "), "{minute}: {:?}", glance.sentence);
            beside += usize::from(open("too-hot").is_some());
        }
        assert!(open("too-hot").is_none() || open("on-course").is_none(), "{minute}: one order, once");
    }
    assert!(beside > 20, "the heat notice came after {beside}");
}

#[test]
fn a_course_is_read_as_it_was_told_once_nobody_hears_the_air() {
    let notes = [place("house", PlaceKind::House), hang("post", "house", 900)];
    let mut core = in_memory(&notes, june());
    for (quarter, t_c) in [37.0, 38.5, 39.4, 39.7].iter().enumerate() {
        hear(&mut core, june() + 10 * HOUR + quarter as i64 * 15 * MINUTE, &[("post", AIR, *t_c)]);
    }
    let by_now = |core: &Core| {
        let open = seen(core).open.into_iter().find(|notice| notice.minder == "on-course");
        open.expect("it stands").now.is_some()
    };
    assert!(by_now(&core));
    core.advance(moment(june() + 13 * HOUR));
    assert!(!by_now(&core), "what was said at a quarter to eleven is not said as if it were of now");
}

#[test]
fn a_slope_is_said_only_while_it_lasts() {
    let mut core = in_memory(&tomato_house(), june());
    let ten = june() + 10 * HOUR;
    let knots = [(0, 29.0), (60, 29.0), (65, 33.0), (90, 33.0)].map(|(minute, t_c)| (minute * MINUTE, t_c));
    walk(&mut core, "post", ten, MINUTE, &knots);
    // Half an hour ago it was four degrees colder; for twenty minutes nothing has moved.
    let said = seen(&core);
    assert_eq!(said.places[0].trend_c_per_h, Some(0.0));
    assert!(said.sentence.why.contains("steady") && !said.sentence.why.contains("rising"), "{said:?}");
    walk(&mut core, "post", ten + 90 * MINUTE, MINUTE, &[(0, 33.0), (40 * MINUTE, 36.0)]);
    let trend = seen(&core).places[0].trend_c_per_h.unwrap();
    assert!((trend - 4.5).abs() < 0.3, "{trend}");
}

#[test]
fn what_two_probes_of_a_place_say_stands_side_by_side_and_one_in_doubt_does_not_speak_for_it() {
    let notes = [place("house", PlaceKind::House), hang("east", "house", 60), hang("west", "house", 60)];
    let mut core = in_memory(&notes, june());
    let ten = june() + 10 * HOUR;
    for minute in 0..40 {
        hear(
            &mut core,
            ten + minute * MINUTE,
            &[("east", AIR, 29.0), ("west", AIR, 24.0 + minute as f64 / 99.0)],
        );
    }
    let house = &seen(&core).places[0];
    assert_eq!((house.air_probe.as_deref(), house.in_doubt), (Some("east"), false));
    let beside: Vec<_> = house.beside.iter().map(|it| (it.probe.as_str(), it.t_c, it.in_doubt)).collect();
    assert_eq!(beside, [("west", 24.39, false)]);
    // The first of them leaps by more than any door or cloud brings, and half an hour later that is told.
    for minute in 40..75 {
        let leapt = 46.0 + minute as f64 / 99.0;
        hear(&mut core, ten + minute * MINUTE, &[("east", AIR, leapt), ("west", AIR, 24.5)]);
    }
    assert!(seen(&core).places[0].in_doubt, "{:?}", seen(&core).places[0]);
    // Both fall silent, the doubtful one last.
    hear(&mut core, ten + 76 * MINUTE, &[("east", AIR, 47.0)]);
    core.advance(moment(ten + 200 * MINUTE));
    let house = &seen(&core).places[0];
    assert_eq!((house.t_c, house.last_known_c, house.in_doubt), (None, Some(24.5), false));
    assert_eq!(house.air_probe.as_deref(), Some("west"));
    let silent = told(&core, "probe-silent");
    let by = |probe: &str| silent.iter().filter(|step| step.text.contains(probe)).collect::<Vec<_>>();
    let (east, west) = (by("east"), by("west"));
    assert!(!east.is_empty() && !west.is_empty(), "{silent:#?}");
    let hot = silent.iter().filter(|step| step.text.contains("last 47.0 °C"));
    assert!(hot.into_iter().all(|step| step.text.contains("which was in doubt")), "{silent:#?}");
}

#[test]
fn a_course_that_pauses_is_not_called_off_while_the_day_is_expected_to_pass_its_line() {
    let mut core = in_memory(&tomato_bed(), june());
    // Tomatoes in flower: severe from 35 (crop book); five days came to 38.
    days(&mut core, "post", june(), 10 * MINUTE, &[(18.0, 38.0); 5]);
    let day = june() + 5 * DAY;
    let hours = |minute: i64| minute as f64 / 60.0;
    let begun = (600..900).find(|minute| curve(18.0, 38.0, hours(*minute)) >= 31.0).unwrap();
    for minute in 0..begun {
        hear(&mut core, day + minute * MINUTE, &[("post", AIR, curve(18.0, 38.0, hours(minute)))]);
    }
    let course = |core: &Core| seen(core).open.into_iter().find(|it| it.minder == "on-course");
    let said = |core: &Core| {
        let glance = seen(core);
        let inside =
            glance.open.iter().flat_map(NoticeView::inside).map(|it| format!("{} {}", it.title, it.text));
        let own = glance.open.iter().map(|it| format!("{} {}", it.order(), it.reason()));
        own.chain(inside).collect::<Vec<_>>().join(" ")
    };
    assert!(said(&core).contains("it passes 35") || said(&core).contains("It passes 35"), "{}", said(&core));
    // A cloud: for a quarter of an hour it falls.
    let mut paused = false;
    for minute in 0..15 {
        let t_c = 30.9 - 0.1 * minute as f64;
        hear(&mut core, day + (begun + minute) * MINUTE, &[("post", AIR, t_c)]);
        assert!(!said(&core).contains("not expected"), "{minute}: {}", said(&core));
        paused |= course(&core).is_some_and(|it| it.order().contains("may yet stay under 35"));
    }
    assert!(paused, "{}", said(&core));
}

#[test]
fn between_sunset_and_sunrise_nothing_is_to_be_shaded_or_watered_before_dawn() {
    let mut core = in_memory(&tomato_bed(), june());
    // Tomatoes in flower feel heat from 32 (crop book).
    walk(&mut core, "post", june() + HOUR, MINUTE, &[(0, 33.0), (30 * MINUTE, 33.0)]);
    assert_eq!(seen(&core).sentence.order, "Water the tomatoes at dawn; shade them by eight.");
    walk(&mut core, "post", june() + HOUR + 31 * MINUTE, MINUTE, &[(0, 33.0), (9 * HOUR, 33.0)]);
    assert_eq!(seen(&core).sentence.order, "Shade the tomatoes; water at the root.");
}
