use super::*;
use crate::entry::{Certainty, Urgency};

const HOUR: i64 = 3_600_000;
/// Noon of an invented summer's day.
const NOON: i64 = 1_940_760_000_000;

fn name(sender: &str, identifier: &str, sent_ms: i64) -> Reference {
    Reference { sender: sender.into(), identifier: identifier.into(), sent_ms }
}

/// From two hours after `NOON` to a day after it.
fn heat() -> Said {
    Said {
        hazard: Hazard::Heat,
        event: "Heat".into(),
        severity: Some(Severity::Severe),
        urgency: Urgency::Expected,
        certainty: Certainty::Likely,
        effective_ms: None,
        onset_ms: Some(NOON + 2 * HOUR),
        expires_ms: Some(NOON + 24 * HOUR),
        language: "en".into(),
        sender_name: Some("The office".into()),
        headline: None,
        description: None,
        instruction: None,
        web: None,
        area: "Test valley".into(),
    }
}

fn message(kind: MessageKind, name: Reference, about: &[&PublicWarning], says: Vec<Said>) -> PublicWarning {
    let references = about.iter().map(|message| message.name.clone()).collect();
    PublicWarning { name, kind, references, bare: says.is_empty(), says, heard_from: "feed".into() }
}

fn alert() -> PublicWarning {
    message(MessageKind::Alert, name("office", "a", NOON), &[], vec![heat()])
}

fn cancel(sender: &str, about: &[&PublicWarning]) -> PublicWarning {
    message(MessageKind::Cancel, name(sender, "c", NOON + 2 * HOUR), about, vec![])
}

fn update(identifier: &str, hours: i64, about: &[&PublicWarning], says: Vec<Said>) -> PublicWarning {
    message(MessageKind::Update, name("office", identifier, NOON + hours * HOUR), about, says)
}

/// Taken in one after another from `NOON` on, a minute apart, as far as they are to be kept.
fn kept(messages: &[&PublicWarning]) -> Vec<Entry> {
    let mut entries: Vec<Entry> = Vec::new();
    for (index, message) in messages.iter().enumerate() {
        let at_ms = NOON + 2 * HOUR + index as i64 * 60_000;
        if admission(&entries, message, at_ms) == Admission::New {
            let note = Note::PublicWarning((*message).clone());
            entries.push(Entry { id: entries.len() as i64 + 1, at_ms, from_ms: at_ms, note });
        }
    }
    entries
}

/// The identifiers of what is in force an hour after all was taken in.
fn standing(messages: &[&PublicWarning]) -> Vec<String> {
    let entries = kept(messages);
    in_force(&entries, NOON + 3 * HOUR).iter().map(|it| it.message.name.identifier.clone()).collect()
}

#[test]
fn a_warning_stands_from_when_it_is_heard_until_it_expires() {
    let entries = kept(&[&alert()]);
    let at = |ms| in_force(&entries, ms).len();
    assert_eq!(at(NOON + HOUR), 0, "nobody had heard it");
    assert_eq!((at(NOON + 3 * HOUR), at(NOON + 24 * HOUR - 1), at(NOON + 24 * HOUR)), (1, 1, 0));
    let open = alert();
    let without_end = Said { expires_ms: None, ..heat() };
    let entries = kept(&[&PublicWarning { says: vec![without_end], ..open }]);
    assert_eq!(in_force(&entries, NOON + 25 * HOUR)[0].to_ms, NOON + 26 * HOUR);
}

#[test]
fn what_begins_later_is_to_come_and_heat_is_handed_on_with_its_times() {
    let later = Said { onset_ms: Some(NOON + 20 * HOUR), ..heat() };
    let frost = Said { hazard: Hazard::Frost, ..heat() };
    let entries = kept(&[&PublicWarning { says: vec![later, frost], ..alert() }]);
    let told = heat_in_force(&entries, NOON + 3 * HOUR);
    let [warning] = &told[..] else { panic!("{told:?}") };
    assert_eq!((warning.from_ms, warning.to_ms), (NOON + 20 * HOUR, NOON + 24 * HOUR));
    assert_eq!((warning.sender_name.as_str(), warning.severity), ("The office", Some(Severity::Severe)));
}

#[test]
fn a_cancel_of_the_same_sender_takes_it_back_and_another_senders_does_not() {
    let alert = alert();
    assert_eq!(standing(&[&alert, &cancel("office", &[&alert])]), Vec::<String>::new());
    assert_eq!(standing(&[&alert, &cancel("stranger", &[&alert])]), ["a"]);
    let forged =
        PublicWarning { references: vec![name("stranger", "a", NOON)], ..cancel("stranger", &[&alert]) };
    assert_eq!(standing(&[&alert, &forged]), ["a"]);
}

#[test]
fn a_reference_must_name_identifier_and_time() {
    let alert = alert();
    for wrong in [name("office", "b", NOON), name("office", "a", NOON + 1)] {
        let cancel = PublicWarning { references: vec![wrong], ..cancel("office", &[]) };
        assert_eq!(standing(&[&alert, &cancel]), ["a"]);
    }
}

#[test]
fn an_alert_with_references_replaces_nothing() {
    let first = alert();
    let second = message(MessageKind::Alert, name("office", "b", NOON + HOUR), &[&first], vec![heat()]);
    assert_eq!(standing(&[&first, &second]), ["a", "b"]);
}

#[test]
fn an_update_takes_the_place_of_what_it_is_about_also_where_it_says_nothing_here() {
    let alert = alert();
    assert_eq!(standing(&[&alert, &update("u", 1, &[&alert], vec![heat()])]), ["u"]);
    let elsewhere = PublicWarning { bare: false, ..update("u", 1, &[&alert], vec![]) };
    assert_eq!(standing(&[&alert, &elsewhere]), Vec::<String>::new());
}

#[test]
fn messages_that_come_again_late_or_in_any_order_change_nothing() {
    let alert = alert();
    let first = update("u1", 1, &[&alert], vec![heat()]);
    // It does not name the first update, as senders do who forget it.
    let second = update("u2", 2, &[&alert], vec![heat()]);
    let cancel = cancel("office", &[&alert]);
    let orders: [&[&PublicWarning]; 4] = [
        &[&alert, &first, &second],
        &[&second, &first, &alert],
        &[&first, &second, &alert, &first],
        &[&second, &alert, &first],
    ];
    for order in orders {
        assert_eq!(standing(order), ["u2"], "{order:?}");
    }
    assert_eq!(standing(&[&cancel, &first, &alert]), Vec::<String>::new());
    assert_eq!(standing(&[&alert, &cancel, &alert, &first]), Vec::<String>::new());
}

#[test]
fn an_update_that_says_nothing_here_does_not_overtake_one_that_does() {
    let alert = alert();
    let here = update("u1", 1, &[&alert], vec![heat()]);
    let elsewhere = PublicWarning { bare: false, ..update("u2", 2, &[&alert], vec![]) };
    assert_eq!(standing(&[&alert, &here, &elsewhere]), ["u1"]);
}

#[test]
fn each_message_is_kept_once_and_only_where_it_concerns_us() {
    let alert = alert();
    let now = NOON + 2 * HOUR;
    let entries = kept(&[&alert]);
    assert_eq!(admission(&entries, &alert, now), Admission::Held(1));
    let other = PublicWarning { bare: false, ..update("u", 1, &[], vec![]) };
    let about_it = PublicWarning { references: vec![alert.name.clone()], ..other.clone() };
    assert!(matches!(admission(&entries, &other, now), Admission::Not(_)));
    assert_eq!(admission(&entries, &about_it, now), Admission::New);
    assert_eq!(
        admission(&[], &cancel("office", &[&alert]), now),
        Admission::New,
        "it may come before its alert"
    );
    let over = Said { expires_ms: Some(now), ..heat() };
    let over = PublicWarning { says: vec![over], ..alert.clone() };
    assert_eq!(admission(&[], &over, now), Admission::Not("it is over"));
    let ahead = PublicWarning { name: name("office", "a", now + HOUR + 1), ..alert };
    assert!(matches!(admission(&[], &ahead, now), Admission::Not(_)));
}

#[test]
fn the_entry_reads_back_as_it_was_written() {
    let note = Note::PublicWarning(update("u", 1, &[&alert()], vec![heat()]));
    let text = serde_json::to_string(&note).unwrap();
    assert!(text.starts_with(r#"{"what":"public_warning","name":{"sender":"office""#), "{text}");
    assert_eq!(serde_json::from_str::<Note>(&text).unwrap(), note);
    assert!(note.is_told() && note.kind() == "warning" && note.subject() == "u");
}
