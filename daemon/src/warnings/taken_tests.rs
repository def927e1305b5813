use agronomy::crop::Severity;

use super::*;
use crate::warnings::cap;

fn document(name: &str) -> String {
    let path = format!(concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/reference/cap/{}.xml"), name);
    std::fs::read_to_string(path).unwrap()
}

/// Within the polygon of the golden documents.
fn listening() -> Listening {
    Listening {
        place: (48.2, 11.6),
        geocodes: BTreeMap::new(),
        language: None,
        heat: Events::of(["high temperature"]),
        frost: Events::of(["frost"]),
    }
}

fn taken(text: &str, listening: &Listening) -> Option<PublicWarning> {
    concerning(&cap::read(text.as_bytes()).unwrap(), listening, "http://warnings.example/feed")
}

#[test]
fn a_warning_of_heat_here_is_kept_in_the_authoritys_own_words() {
    let warning = taken(&document("alert"), &listening()).unwrap();
    let [said] = &warning.says[..] else { panic!("{warning:?}") };
    assert_eq!((said.hazard, said.severity), (Hazard::Heat, Some(Severity::Severe)));
    assert_eq!(said.headline.as_deref(), Some("Very hot days from Monday to Wednesday"));
    assert_eq!(
        said.instruction.as_deref(),
        Some(
            "Shade and vent early, water before sunrise, rest people out of the glasshouse from noon to five."
        )
    );
    assert_eq!(said.area, "Test valley");
    assert_eq!(said.from_ms(warning.name.sent_ms), 1_784_538_000_000);
}

#[test]
fn what_is_a_test_restricted_elsewhere_over_or_of_another_event_is_not_kept() {
    assert_eq!(taken(&document("test-status"), &listening()), None);
    let base = document("alert");
    for (from, to) in [
        ("<status>Actual", "<status>Exercise"),
        ("<msgType>Alert", "<msgType>Ack"),
        ("<scope>Public</scope>", "<scope>Restricted</scope><restriction>crews</restriction>"),
        ("<urgency>Expected", "<urgency>Past"),
        ("<responseType>Prepare", "<responseType>AllClear"),
        ("<event>High temperature", "<event>High wind"),
    ] {
        assert_ne!(base.replace(from, to), base, "{from}");
        assert_eq!(taken(&base.replace(from, to), &listening()), None, "{to}");
    }
    assert_eq!(taken(&base, &Listening { place: (52.1, 5.3), ..listening() }), None);
}

#[test]
fn updates_and_cancels_are_kept_for_what_they_are_about() {
    let cancel = taken(&document("cancel"), &listening()).unwrap();
    assert!(cancel.bare && cancel.says.is_empty() && cancel.references.len() == 1);
    let elsewhere = Listening { place: (52.1, 5.3), ..listening() };
    let update = taken(&document("update"), &elsewhere).unwrap();
    assert!(!update.bare && update.says.is_empty());
}

#[test]
fn the_growers_language_is_taken_where_it_is_there_and_the_first_where_not() {
    let text = document("two-languages");
    let words = |language: Option<&str>| {
        let listening = Listening { language: language.map(str::to_owned), ..listening() };
        let warning = taken(&text, &listening).unwrap();
        let [said] = &warning.says[..] else { panic!("{warning:?}") };
        (said.event.clone(), said.area.clone(), said.onset_ms)
    };
    let english = ("High temperature".to_owned(), "Test valley".to_owned(), Some(1_784_538_000_000));
    // The German block has no shape and no onset: both come from the block it translates.
    let german = ("Hitze".to_owned(), "Testtal".to_owned(), Some(1_784_538_000_000));
    assert_eq!((words(None), words(Some("fr"))), (english.clone(), english.clone()));
    assert_eq!((words(Some("de")), words(Some("de-AT"))), (german.clone(), german));
    assert_eq!((words(Some("EN-gb")), words(Some("en"))), (english.clone(), english));
}

#[test]
fn an_event_is_told_by_whole_words_of_its_name_or_by_a_listed_code_and_by_nothing_else() {
    let base = document("alert");
    let info = |event: &str| {
        let text = base.replace("<event>High temperature", &format!("<event>{event}"));
        cap::read(text.as_bytes()).unwrap().infos.remove(0)
    };
    let heat = Events::of(["heat", "high temperature", "vague de chaleur", ""]);
    for event in ["Extreme Heat Warning", "HEAT", "Orange High-Temperature warning", "Vague  de Chaleur"] {
        assert!(heat.mean(&info(event)), "{event}");
    }
    for event in ["Wheat rust", "Heathland fire", "High winds, low temperature", "Wind", ""] {
        assert!(!heat.mean(&info(event)), "{event}");
    }
    // Headline and description of the document speak of heat all the while. Its code is example:hazard=HEAT.
    assert!(Events::of(["example:hazard = HEAT"]).mean(&info("Wind")));
    assert!(!Events::of(["example:hazard=heat", "HEAT=example:hazard"]).mean(&info("Wind")));
}

#[test]
fn long_words_are_cut_with_a_mark_and_never_within_a_letter() {
    let base = document("alert");
    let long = "é".repeat(3000);
    let warning =
        taken(&base.replace("Very hot days from Monday to Wednesday", &long), &listening()).unwrap();
    let headline = warning.says[0].headline.clone().unwrap();
    assert!(headline.len() <= 4096 && headline.ends_with("é […]"), "{}", headline.len());
    let fits = "x".repeat(4096);
    let warning =
        taken(&base.replace("Very hot days from Monday to Wednesday", &fits), &listening()).unwrap();
    assert_eq!(warning.says[0].headline.as_ref(), Some(&fits));
    let named = base.replace("gh-example-2026-07-19-0001", &"x".repeat(513));
    assert_eq!(taken(&named, &listening()), None);
}

#[test]
fn a_message_with_many_blocks_keeps_a_few() {
    let base = document("alert");
    let start = base.find("<info>").unwrap();
    let end = base.find("</info>").unwrap() + "</info>".len();
    let many = format!("{}{}{}", &base[..start], base[start..end].repeat(20), &base[end..]);
    assert_eq!(taken(&many, &listening()).unwrap().says.len(), 8);
}
