//! Stages against the crop book's own figures, read by eye; sums and shares worked out by hand.

use agronomy::crop::figures::OwnFigures;

use super::*;

/// The day every planting here began.
const BEGAN: Day = 1_000;
const MS_PER_DAY: i64 = 86_400_000;

fn planted(crop: &str, began: Began) -> Planting {
    Planting {
        id: "one".to_owned(),
        crop: crop.to_owned(),
        place: "house".to_owned(),
        variety: None,
        count: None,
        container_l: None,
        began,
        from_ms: BEGAN * MS_PER_DAY + MS_PER_DAY / 2,
        ended_ms: None,
        first_flower_ms: None,
        first_ripe_ms: None,
        figures: OwnFigures::new(),
    }
}

fn on_day(days: Day) -> i64 {
    (BEGAN + days) * MS_PER_DAY + MS_PER_DAY / 3
}

/// Stages by name: `flowering, (ripening)`; possible ones in brackets.
fn named(stages: &Stages) -> String {
    let active = stages.active.iter().map(|stage| stage.as_str().replace('_', " "));
    let possible = stages.possible.iter().map(|stage| format!("({})", stage.as_str().replace('_', " ")));
    active.chain(possible).collect::<Vec<_>>().join(", ")
}

/// The stages so many days after the beginning: possible ones in brackets.
fn words(planting: &Planting, warmth: Option<&Warmth<'_>>, days: Day) -> String {
    let book = config::crop_book().unwrap();
    let course = Course::of(planting, &book.crops[&planting.crop], &Calendar::fixed(0), warmth);
    named(&course.on(BEGAN + days))
}

/// The stages when every day so far had so many degree days by one of the crop's methods.
fn in_warmth(planting: &Planting, model: &str, each: &[Option<f64>], days: Day) -> String {
    let book = config::crop_book().unwrap();
    let rule = book.crops[&planting.crop].gdd.rule(model).unwrap().to_string();
    let page = |sum: &Option<f64>| DayPage {
        degree_days: BTreeMap::from([(rule.clone(), *sum)]),
        ..DayPage::default()
    };
    let made: Vec<DayPage> = each.iter().map(page).collect();
    let pages: BTreeMap<Day, &DayPage> = (BEGAN..).zip(&made).collect();
    let warmth = Warmth { pages: &pages, open: BEGAN + each.len() as Day, goes_on: true };
    words(planting, Some(&warmth), days)
}

#[test]
fn by_dates_a_stage_is_possible_from_the_books_days_on_and_not_named_before() {
    // Crop book: days from sowing or planting out to the harvest, from flower to fruit, fewest days to emergence. The
    // earliest flower is the shortest time to the harvest less the longest from flower to fruit, or 0.4 of the way; a
    // season may run ahead by 12 %; a plant counted from planting out is four weeks old by then.
    let (sown, out) = (Began::Sown, Began::PlantedOut);
    let young = "(germination), (seedling), (vegetative)";
    for (crop, began, days, expected) in [
        // Tomato: up after 6 days at 25 °C; 28 + 0 (transplants carry buds); 28 + 0.88 x 65.
        ("tomato", sown, 5, "germination"),
        ("tomato", sown, 6, young),
        ("tomato", sown, 21, "seedling, vegetative"),
        ("tomato", sown, 27, "seedling, vegetative"),
        ("tomato", sown, 28, "(seedling), (vegetative), (flowering)"),
        ("tomato", sown, 84, "(vegetative), (flowering)"),
        ("tomato", sown, 85, "(vegetative), (flowering), (ripening)"),
        ("tomato", out, 0, "(vegetative), (flowering)"),
        ("tomato", out, 56, "(vegetative), (flowering)"),
        ("tomato", out, 57, "(vegetative), (flowering), (ripening)"),
        // Sweet pepper: 0.88 x (60 - 56).
        ("sweet_pepper", out, 2, "vegetative"),
        ("sweet_pepper", out, 3, "(vegetative), (flowering)"),
        // Cucumber: 0.88 x (30 - 14) from planting out, 0.88 x (48 - 14) from sowing.
        ("cucumber", out, 13, "vegetative"),
        ("cucumber", out, 14, "(vegetative), (flowering)"),
        ("cucumber", sown, 28, "vegetative, (seedling)"),
        ("cucumber", sown, 29, "(seedling), (vegetative), (flowering)"),
        // Green bean: 0.88 x (50 - 21), buds two weeks before it. Set out, its days count from the sowing before.
        ("bean_green", sown, 24, "seedling, vegetative, (flower bud)"),
        ("bean_green", sown, 25, "seedling, (vegetative), (flower bud), (flowering), (fruiting)"),
        ("bean_green", out, 0, "(vegetative), (flower bud), (flowering), (fruiting)"),
        // Sweet corn: 0.88 x (65 - 24).
        ("sweet_corn", sown, 35, "vegetative, (seedling)"),
        ("sweet_corn", sown, 36, "(seedling), (vegetative), (flowering), (fruiting)"),
        // Without days from flower to fruit: 0.88 x 0.4 x 60 and 55.
        ("aubergine", out, 20, "vegetative"),
        ("aubergine", out, 21, "(vegetative), (flowering)"),
        ("pea", sown, 18, young),
        ("pea", sown, 19, "(germination), (seedling), (vegetative), (flowering), (fruiting)"),
        // Lettuce: 0.88 x 0.4 x 35 to the head, from planting out; leaves cut young are no head.
        ("lettuce", out, 11, "vegetative"),
        ("lettuce", out, 12, "(vegetative), (heading)"),
        ("lettuce", sown, 39, "vegetative, (seedling)"),
        ("lettuce", sown, 40, "(seedling), (vegetative), (heading)"),
        // Broccoli, the summer's: 0.88 x 0.4 x 55.
        ("broccoli", out, 18, "vegetative"),
        ("broccoli", out, 19, "(vegetative), (heading)"),
        // Radish 0.88 x 0.4 x 22, carrot 65, potato 65; a potato planted is not yet up.
        ("radish", sown, 6, young),
        ("radish", sown, 7, "(germination), (seedling), (vegetative), (bulking)"),
        ("carrot", sown, 21, "seedling, vegetative"),
        ("carrot", sown, 22, "seedling, (vegetative), (bulking)"),
        ("potato", out, 21, "(vegetative)"),
        ("potato", out, 22, "(vegetative), (bulking)"),
        // Of these the book has no days from planting: nothing speaks against the stage.
        ("strawberry", out, 0, "vegetative, (flowering), (fruiting)"),
        ("raspberry", out, 0, "vegetative, (fruiting)"),
        ("asparagus", out, 0, "vegetative, (picking)"),
    ] {
        let planting = planted(crop, began);
        assert_eq!(words(&planting, None, days), expected, "{crop} {began:?} {days}");
    }
}

#[test]
fn degree_days_open_a_window_in_which_a_stage_is_possible_and_after_which_it_is_certain() {
    let (out, sown) = (planted("tomato", Began::PlantedOut), planted("tomato", Began::Sown));
    // Crop book, base 10, cap 30: first flower 0 to 250 after planting out, first ripe fruit 650 to 950.
    let ten = [Some(10.0); 70];
    let told = |days| in_warmth(&out, "alt", &ten, days);
    assert_eq!(told(23), "(vegetative), (flowering)");
    assert_eq!(told(24), "flowering", "250 on the 25th day");
    assert_eq!(told(63), "flowering");
    assert_eq!(told(64), "flowering, (ripening)", "650 on the 65th day");
    // Where it stays cool the days of the calendar (57) do not open it.
    assert_eq!(in_warmth(&out, "alt", &[Some(5.0); 65], 65), "flowering");
    assert_eq!(in_warmth(&out, "alt", &[Some(3.0); 65], 65), "(vegetative), (flowering)");
    // Sown: from an age of four weeks at the earliest, and 250 from ten weeks on at the latest.
    let ten = [Some(10.0); 100];
    assert_eq!(in_warmth(&sown, "alt", &ten, 27), "seedling, vegetative");
    assert_eq!(in_warmth(&sown, "alt", &ten, 28), "(seedling), (vegetative), (flowering)");
    assert_eq!(
        in_warmth(&sown, "alt", &ten, 93),
        "(vegetative), (flowering), (ripening)",
        "92: 650 from day 28 on"
    );
    assert_eq!(in_warmth(&sown, "alt", &ten, 91), "(vegetative), (flowering)");
    assert_eq!(in_warmth(&sown, "alt", &ten, 94), "flowering, (ripening)", "25 days from day 70 on");
}

#[test]
fn a_sum_counts_from_sowing_and_a_single_number_has_a_margin_to_both_sides() {
    // Crop book, base 10: green beans flower 350 to 450 from sowing; by days it might be from the 25th.
    let bean = planted("bean_green", Began::Sown);
    let ten = [Some(10.0); 50];
    assert_eq!(in_warmth(&bean, "main", &ten, 33), "vegetative, (seedling), (flower bud)");
    let open = "(seedling), (vegetative), (flower bud), (flowering), (fruiting)";
    assert_eq!(in_warmth(&bean, "main", &ten, 34), open, "350 on the 35th day");
    assert_eq!(in_warmth(&bean, "main", &ten, 44), "flower bud, flowering, (seedling), (fruiting)", "450");
    // Crop book, base 12: winter squash flowers at 832 from sowing. By hand: 732 to 932; at 20 a day the 37th and 47th.
    let squash = planted("winter_squash", Began::Sown);
    let twenty = [Some(20.0); 50];
    assert_eq!(in_warmth(&squash, "main", &twenty, 35), "vegetative, (seedling)");
    assert_eq!(in_warmth(&squash, "main", &twenty, 36), "(seedling), (vegetative), (flowering)");
    assert_eq!(in_warmth(&squash, "main", &twenty, 46), "flowering, (seedling)");
}

#[test]
fn where_too_little_warmth_was_measured_the_dates_stand_in() {
    let bean = planted("bean_green", Began::Sown);
    let mut holed = [Some(10.0); 50];
    holed[5..15].fill(None);
    let open = "seedling, (vegetative), (flower bud), (flowering), (fruiting)";
    assert_eq!(in_warmth(&bean, "main", &holed, 25), open);
    assert_eq!(
        in_warmth(&bean, "main", &[], 25),
        "seedling, vegetative",
        "nothing is in sight on the first day"
    );
}

#[test]
fn a_note_is_certain_and_says_that_there_was_no_flower_before_it() {
    let flowered =
        Planting { first_flower_ms: Some(on_day(30)), ..planted("sweet_pepper", Began::PlantedOut) };
    assert_eq!(words(&flowered, None, 29), "vegetative");
    assert_eq!(words(&flowered, None, 30), "flowering");
    let early = Planting { first_flower_ms: Some(on_day(10)), ..planted("tomato", Began::Sown) };
    assert_eq!(words(&early, None, 10), "flowering, (germination), (seedling)", "the grower knows better");
}

#[test]
fn a_noted_flower_dates_its_fruit_and_a_noted_fruit_means_that_it_flowered() {
    let flowered = Planting { first_flower_ms: Some(on_day(10)), ..planted("tomato", Began::PlantedOut) };
    // Crop book: 35 days from flower to pick, 0.88 of them 30; or 480 to 620 degree days from the flower.
    assert_eq!(words(&flowered, None, 39), "flowering");
    assert_eq!(words(&flowered, None, 40), "flowering, (ripening)");
    let ten = [Some(10.0); 80];
    assert_eq!(in_warmth(&flowered, "alt", &ten, 56), "flowering");
    assert_eq!(
        in_warmth(&flowered, "alt", &ten, 57),
        "flowering, (ripening)",
        "480 on the 48th day from day 10"
    );
    assert_eq!(in_warmth(&flowered, "alt", &ten, 71), "flowering, ripening", "620 on the 62nd");
    let ripe = Planting { first_ripe_ms: Some(on_day(70)), ..planted("tomato", Began::PlantedOut) };
    assert_eq!(words(&ripe, None, 69), "(vegetative), (flowering)");
    assert_eq!(words(&ripe, None, 70), "flowering, ripening");
    let berries = Planting { first_ripe_ms: Some(on_day(400)), ..planted("blueberry", Began::PlantedOut) };
    assert_eq!(words(&berries, None, 400), "vegetative, fruiting");
}

#[test]
fn every_rule_of_the_book_runs_at_some_time_save_those_of_what_is_lifted() {
    let book = config::crop_book().unwrap();
    let mut never = Vec::new();
    for crop in book.crops.values() {
        let days: Vec<Stages> = [Began::Sown, Began::PlantedOut]
            .into_iter()
            .map(|began| Course::of(&planted(&crop.key, began), crop, &Calendar::fixed(0), None))
            .flat_map(|course| (0..300).map(move |day| course.on(BEGAN + day)))
            .collect();
        let runs = |rule: &&agronomy::crop::HeatRule| days.iter().all(|it| it.certainty(rule).is_none());
        never.extend(crop.heat_rules.iter().filter(runs).map(|rule| format!("{} {}", crop.key, rule.id)));
    }
    assert_eq!(never, ["onion curing_scald"]);
}
