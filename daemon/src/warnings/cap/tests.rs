use agronomy::crop::Severity;
use proptest::prelude::*;

use super::*;

fn document(name: &str) -> String {
    let path = format!(concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/reference/cap/{}.xml"), name);
    std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{path}: {error}"))
}

fn fault(text: &str) -> String {
    read(text.as_bytes()).unwrap_err().to_string()
}

#[test]
fn all_documents_of_the_golden_table_are_taken_or_refused_as_it_says() {
    // wire_cap.csv: own documents; its column spec_valid is the OASIS schema by lxml and the rules of the text.
    let table = include_str!("../../../../tests/reference/wire_cap.csv");
    let mut rows = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(table.as_bytes());
    let mut seen = 0;
    for row in rows.records() {
        let row = row.unwrap();
        let name = row[0].strip_prefix("cap/").and_then(|name| name.strip_suffix(".xml")).unwrap();
        let valid: bool = row[2].parse().unwrap();
        let said = read(document(name).as_bytes());
        assert_eq!(said.is_ok(), valid, "{name} ({}): {said:?}", &row[3]);
        seen += 1;
    }
    assert_eq!(seen, 22);
}

#[test]
fn the_base_document_says_what_the_table_states_of_it() {
    // The head of wire_cap.csv: severity Severe, urgency Expected, certainty Likely, onset 2026-07-20T09:00:00Z,
    // expires 2026-07-22T19:00:00Z, one area with polygon, circle and geocode. Seconds by `date -u -d` of coreutils.
    let alert = read(document("alert").as_bytes()).unwrap();
    let info = &alert.infos[0];
    assert_eq!(
        (info.severity, info.urgency, info.certainty),
        (Some(Severity::Severe), Urgency::Expected, Certainty::Likely)
    );
    assert_eq!((info.onset_ms, info.expires_ms), (Some(1_784_538_000_000), Some(1_784_746_800_000)));
    let [area] = &info.areas[..] else { panic!("{:?}", info.areas) };
    assert_eq!((area.polygons.len(), area.circles.len(), area.geocodes.len()), (1, 1, 1));
    assert_eq!(area.polygons[0].corners[2], (48.30, 11.80));
    assert_eq!(area.circles[0], Circle { middle: (48.20, 11.60), radius_km: 25.0 });
    assert_eq!(area.geocodes[0], ("EMMA_ID".to_owned(), "DE999".to_owned()));
    assert_eq!(info.event_codes, [("example:hazard".to_owned(), "HEAT".to_owned())]);
    assert_eq!((info.language.as_str(), info.event.as_str()), ("en-GB", "High temperature"));
    assert_eq!(info.description.as_deref(), Some("Daytime maxima of 37 to 40 °C, nights above 20 °C."));
    assert_eq!((alert.status, alert.kind, alert.scope), (Status::Actual, MessageKind::Alert, Scope::Public));
}

#[test]
fn references_name_the_message_they_are_about() {
    let alert = read(document("alert").as_bytes()).unwrap();
    let cancel = read(document("cancel").as_bytes()).unwrap();
    assert_eq!((cancel.kind, cancel.references), (MessageKind::Cancel, vec![alert.name]));
}

#[test]
fn each_refusal_says_where_and_what() {
    let base = document("alert");
    let cases = [
        ("<scope>Public</scope>", "<scope>Private</scope>", "scope Private needs the element addresses"),
        ("<status>Actual</status>", "", "alert lacks status where it should stand"),
        ("<status>Actual", "<status>actual", "status is \"actual\", which is none of its words"),
        ("05:30:00+02:00</sent>", "05:30:00Z</sent>", "not a time like 2026-07-19T05:30:00+02:00"),
        ("<category>Met", "<category>Weather", "category is \"Weather\""),
        ("<event>High temperature</event>", "<event>a<b/></event>", "\"b\" cannot stand there in info"),
        ("<info>", "<info>words", "\"words\" cannot stand there in info"),
        ("48.10,11.40 48.30,11.40", "98.10,11.40 48.30,11.40", "polygon is \"98.10,11.40"),
        ("48.20,11.60 25.0", "48.20,11.60 -1", "circle is"),
        ("48.20,11.60 25.0", "48.20,11.60", "circle is"),
        ("48.20,11.60 25.0", "48.20,11.60 inf", "circle is"),
        ("<altitude>1500", "<altitude>high", "altitude is \"high\", not a number"),
        ("<altitude>1500</altitude>", "<ceiling>1500</ceiling>", "area lacks altitude"),
        ("<language>en-GB", "<language>en_GB", "language is \"en_GB\""),
        ("</info>", "</info><more xmlns=\"urn:x\"/>", "\"more\" cannot stand there in alert"),
        ("<sender>greenhouse", "<sender>green house", "sender is \"green house"),
        ("<sender>greenhouse@example.org", "<sender>", "sender is \"\""),
        (
            "<scope>Public</scope>",
            "<scope>Public</scope><references>a,b</references>",
            "references have \"a,b\"",
        ),
    ];
    for (from, to, words) in cases {
        assert!(base.contains(from), "{from}");
        let said = fault(&base.replacen(from, to, 1));
        assert!(said.contains(words), "{to}: {said}");
    }
}

#[test]
fn a_prefix_for_the_namespace_a_signature_and_a_resource_do_no_harm() {
    let base = document("alert");
    let prefixed = base.replace("xmlns=", "xmlns:cap=").replace("</", "</cap:").replace('<', "<cap:");
    let prefixed = prefixed.replace("<cap:/cap:", "</cap:").replace("<cap:?", "<?");
    assert_eq!(read(prefixed.as_bytes()), read(base.as_bytes()));
    let signed = base.replace(
        "</alert>",
        "<Signature xmlns=\"http://www.w3.org/2000/09/xmldsig#\"><x/></Signature></alert>",
    );
    assert_eq!(read(signed.as_bytes()), read(base.as_bytes()));
    let with = "<resource><resourceDesc>map</resourceDesc><mimeType>image/png</mimeType><size>7</size>\
                <uri>file:///etc/passwd</uri></resource><area>";
    assert_eq!(read(base.replace("<area>", with).as_bytes()), read(base.as_bytes()));
    let wrong = with.replace("<mimeType>image/png</mimeType>", "");
    assert!(fault(&base.replace("<area>", &wrong)).contains("resource lacks mimeType"));
}

#[test]
fn a_message_of_more_than_256_kib_is_refused_and_one_of_just_that_is_read() {
    let base = document("alert");
    let padded = |length: usize| {
        let filler = "x".repeat(length - base.len() - "<!---->".len());
        base.replace("</alert>", &format!("<!--{filler}--></alert>"))
    };
    assert!(read(padded(LONGEST).as_bytes()).is_ok());
    assert!(fault(&padded(LONGEST + 1)).contains("longer than 262144 bytes"));
}

proptest! {
    #[test]
    fn no_bytes_make_the_reader_panic(bytes in proptest::collection::vec(any::<u8>(), 0..600)) {
        let _ = read(&bytes);
    }

    #[test]
    fn no_document_with_pieces_cut_out_moved_or_changed_makes_it_panic(
        which in 0usize..4,
        cuts in proptest::collection::vec((any::<u16>(), 0usize..40, any::<u16>(), any::<u8>()), 1..8),
    ) {
        let name = ["alert", "two-languages", "update", "cancel"][which];
        let mut bytes = document(name).into_bytes();
        for (at, length, to, byte) in cuts {
            let at = usize::from(at) % bytes.len();
            let piece: Vec<u8> = bytes.drain(at..(at + length).min(bytes.len() - 1)).collect();
            let to = usize::from(to) % bytes.len();
            bytes.splice(to..to, piece);
            let place = usize::from(byte) * 7 % bytes.len();
            bytes[place] = byte;
        }
        let _ = read(&bytes);
    }
}
