//! XML from strangers, as a tree of elements, within limits.
//!
//! A document type can define entities that grow without end or name files of ours, so a document that has one is
//! refused before it is parsed, whatever is in it. Besides the five entities that XML itself defines and characters by
//! number there are none. Only UTF-8 is read: in another encoding the search for a document type could be deceived.
//!
//! # Source
//!
//! W3C, Extensible Markup Language 1.0 (Fifth Edition), and Namespaces in XML 1.0 (Third Edition).

use quick_xml::NsReader;
use quick_xml::XmlVersion;
use quick_xml::events::{BytesDecl, BytesRef, BytesStart, Event};
use quick_xml::name::ResolveResult;

/// Elements within elements: a warning needs five.
pub const DEEPEST: usize = 32;

/// Elements and attributes in all: a feed of a thousand warnings has some ten thousand. Each takes much more memory than
/// the few bytes it is written with.
pub const MOST: usize = 50_000;

/// The longest name of a namespace, bytes: those in use have some 40.
const LONGEST_SPACE: usize = 256;

/// Why a document is not read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum XmlFault {
    /// It is longer than the reader takes.
    #[error("it is longer than {most} bytes")]
    TooLong {
        /// The limit.
        most: usize,
    },
    /// Its bytes are no UTF-8, or it says that it is in another encoding.
    #[error("it is not in UTF-8")]
    Encoding,
    /// It has a document type, or defines entities.
    #[error("it has a document type, which may define things that harm")]
    DocumentType,
    /// Elements lie within elements too often.
    #[error("its elements lie more than {DEEPEST} deep")]
    TooDeep,
    /// It has too many elements and attributes.
    #[error("it has more than {MOST} elements and attributes")]
    TooMany,
    /// It names an entity that XML itself does not define, or a character that XML does not have.
    #[error("it uses {0:?}, which XML itself does not define")]
    Entity(String),
    /// It is no well-formed XML.
    #[error("it is no well-formed XML: {0}")]
    Malformed(String),
}

/// One element of a document.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Element {
    /// Its name, without prefix.
    pub name: String,
    /// The namespace its name is of; empty for none.
    pub space: String,
    /// Its attributes without those that declare namespaces: name with prefix, value.
    pub attributes: Vec<(String, String)>,
    /// Its own text, in one piece; that of its children is theirs.
    pub text: String,
    /// Its children, in order.
    pub children: Vec<Element>,
}

impl Element {
    /// The value of an attribute.
    pub fn attribute(&self, name: &str) -> Option<&str> {
        self.attributes.iter().find(|(known, _)| known == name).map(|(_, value)| value.as_str())
    }

    /// The first child of a name, of whatever namespace.
    pub fn child(&self, name: &str) -> Option<&Self> {
        self.children.iter().find(|child| child.name == name)
    }
}

/// The first element of a document of at most `most` bytes.
///
/// # Errors
///
/// See [`XmlFault`].
pub fn read(bytes: &[u8], most: usize) -> Result<Element, XmlFault> {
    if bytes.len() > most {
        return Err(XmlFault::TooLong { most });
    }
    let text = std::str::from_utf8(bytes).map_err(|_| XmlFault::Encoding)?;
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    if defines(text.as_bytes()) {
        return Err(XmlFault::DocumentType);
    }
    if let Some(wrong) = text.chars().find(|sign| !is_xml(*sign)) {
        return Err(XmlFault::Entity(format!("U+{:04X}", u32::from(wrong))));
    }
    tree(text)
}

/// Whether something is declared anywhere, also where a parser would not look for it.
fn defines(bytes: &[u8]) -> bool {
    [&b"<!DOCTYPE"[..], b"<!ENTITY"]
        .iter()
        .any(|declared| bytes.windows(declared.len()).any(|window| window.eq_ignore_ascii_case(declared)))
}

/// Whether XML 1.0 has a character (its section 2.2).
fn is_xml(sign: char) -> bool {
    matches!(sign, '\t' | '\n' | '\r' | '\u{20}'..='\u{d7ff}' | '\u{e000}'..='\u{fffd}' | '\u{10000}'..)
}

fn tree(text: &str) -> Result<Element, XmlFault> {
    let mut reader = NsReader::from_str(text);
    let mut open: Vec<Element> = Vec::new();
    let mut root: Option<Element> = None;
    let mut left = MOST;
    loop {
        let (space, event) = reader.read_resolved_event().map_err(|error| malformed(&error))?;
        match event {
            Event::Start(start) => {
                let element = begun(&space, &start, open.len(), root.is_some(), &mut left)?;
                open.push(element);
            }
            Event::Empty(start) => {
                let element = begun(&space, &start, open.len(), root.is_some(), &mut left)?;
                close(element, &mut open, &mut root);
            }
            Event::End(_) => {
                let element = open.pop().ok_or_else(|| malformed(&"an end without a beginning"))?;
                close(element, &mut open, &mut root);
            }
            Event::Text(text) => add(&text.xml10_content(), &mut open)?,
            Event::CData(text) => add(&text.xml10_content(), &mut open)?,
            Event::GeneralRef(named) => add(resolved(&named)?.encode_utf8(&mut [0; 4]), &mut open)?,
            Event::Decl(declared) => utf8(&declared)?,
            Event::DocType(_) => return Err(XmlFault::DocumentType),
            Event::Comment(_) | Event::PI(_) => {}
            Event::Eof if open.is_empty() => return root.ok_or_else(|| malformed(&"it has no element")),
            Event::Eof => return Err(malformed(&"it ends within an element")),
        }
    }
}

fn malformed(what: &impl ToString) -> XmlFault {
    XmlFault::Malformed(what.to_string().chars().take(200).collect())
}

/// An element whose beginning was read, `depth` others being open; `left` counts down what may still come.
fn begun(
    space: &ResolveResult<'_>,
    start: &BytesStart<'_>,
    depth: usize,
    after_the_root: bool,
    left: &mut usize,
) -> Result<Element, XmlFault> {
    let mut one_more = || {
        *left = left.checked_sub(1).ok_or(XmlFault::TooMany)?;
        Ok(())
    };
    one_more()?;
    if depth >= DEEPEST {
        return Err(XmlFault::TooDeep);
    }
    if depth == 0 && after_the_root {
        return Err(malformed(&"it has two first elements"));
    }
    let space = match space {
        // Every element keeps it, and one declaration serves them all.
        ResolveResult::Bound(space) if space.as_ref().len() > LONGEST_SPACE => {
            return Err(malformed(&format!("a namespace is longer than {LONGEST_SPACE} bytes")));
        }
        ResolveResult::Bound(space) => space.as_ref().to_owned(),
        ResolveResult::Unbound => String::new(),
        ResolveResult::Unknown(prefix) => {
            return Err(malformed(&format!("nothing says what the prefix {prefix} stands for")));
        }
    };
    let mut attributes = Vec::new();
    for attribute in start.attributes() {
        let attribute = attribute.map_err(|error| malformed(&error))?;
        one_more()?;
        if attribute.key.as_namespace_binding().is_none() {
            let value = attribute.normalized_value(XmlVersion::Explicit1_0);
            let value = value.map_err(|error| malformed(&error))?.into_owned();
            attributes.push((attribute.key.as_ref().to_owned(), value));
        }
    }
    let name = start.local_name().as_ref().to_owned();
    Ok(Element { name, space, attributes, ..Element::default() })
}

fn close(element: Element, open: &mut [Element], root: &mut Option<Element>) {
    match open.last_mut() {
        Some(parent) => parent.children.push(element),
        None => *root = Some(element),
    }
}

fn add(text: &str, open: &mut [Element]) -> Result<(), XmlFault> {
    match open.last_mut() {
        Some(element) => element.text.push_str(text),
        None if text.trim().is_empty() => {}
        None => return Err(malformed(&"text outside of all elements")),
    }
    Ok(())
}

/// The character that a reference stands for (section 4.6 for the five names).
fn resolved(named: &BytesRef<'_>) -> Result<char, XmlFault> {
    let unknown = || XmlFault::Entity(format!("&{};", named.chars().take(40).collect::<String>()));
    match &**named {
        "lt" => Ok('<'),
        "gt" => Ok('>'),
        "amp" => Ok('&'),
        "apos" => Ok('\''),
        "quot" => Ok('"'),
        _ => named.resolve_char_ref().ok().flatten().filter(|sign| is_xml(*sign)).ok_or_else(unknown),
    }
}

fn utf8(declared: &BytesDecl<'_>) -> Result<(), XmlFault> {
    match declared.encoding() {
        None => Ok(()),
        Some(Ok(name)) if name.eq_ignore_ascii_case("utf-8") => Ok(()),
        Some(Ok(_)) => Err(XmlFault::Encoding),
        Some(Err(error)) => Err(malformed(&error)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fault(text: &str) -> XmlFault {
        read(text.as_bytes(), 10_000).unwrap_err()
    }

    #[test]
    fn elements_come_with_namespace_attributes_text_and_children() {
        let text = "\u{feff}<?xml version=\"1.0\" encoding=\"utf-8\"?><!-- c --><c:a xmlns:c=\"urn:x\" k=\"1 &lt; 2\">\
                    5 &#176;C &amp; <![CDATA[<more>]]><c:b/>\r\nend</c:a>\n";
        let root = read(text.as_bytes(), 10_000).unwrap();
        assert_eq!((root.name.as_str(), root.space.as_str()), ("a", "urn:x"));
        assert_eq!(root.attribute("k"), Some("1 < 2"));
        assert_eq!(root.text, "5 °C & <more>\nend");
        assert_eq!(root.children.len(), 1);
    }

    #[test]
    fn a_document_type_is_refused_wherever_and_however_it_is_written() {
        for text in [
            "<!DOCTYPE a [<!ENTITY x \"y\">]><a>&x;</a>",
            "<!doctype a><a/>",
            "<?xml version=\"1.0\"?>\n<!DOCTYPE a SYSTEM \"file:///etc/passwd\"><a/>",
            "<a><![CDATA[<!ENTITY x \"y\">]]></a>",
        ] {
            assert_eq!(fault(text), XmlFault::DocumentType, "{text}");
        }
    }

    #[test]
    fn entities_of_a_documents_own_and_characters_that_xml_has_not_are_refused() {
        for text in ["<a>&lol;</a>", "<a>&nbsp;</a>", "<a>&#0;</a>", "<a>&#xFFFE;</a>", "<a>\u{1}</a>"] {
            assert!(matches!(fault(text), XmlFault::Entity(_)), "{text}: {:?}", fault(text));
        }
        assert!(matches!(fault("<a k=\"&lol;\"/>"), XmlFault::Malformed(_)));
    }

    #[test]
    fn another_encoding_than_utf_8_is_refused_whether_it_is_said_or_not() {
        assert_eq!(fault("<?xml version=\"1.0\" encoding=\"UTF-16\"?><a/>"), XmlFault::Encoding);
        assert_eq!(read(b"<a>\xe9</a>", 100), Err(XmlFault::Encoding));
        let wide: Vec<u8> = "<!DOCTYPE a><a/>".encode_utf16().flat_map(u16::to_le_bytes).collect();
        assert!(read(&wide, 100).is_err());
    }

    #[test]
    fn the_limits_of_length_and_depth_hold_to_the_byte_and_to_the_element() {
        assert_eq!(read(b"<a></a>", 6), Err(XmlFault::TooLong { most: 6 }));
        assert!(read(b"<a></a>", 7).is_ok());
        let nested = |depth: usize| format!("{}{}", "<a>".repeat(depth), "</a>".repeat(depth));
        assert!(read(nested(32).as_bytes(), 10_000).is_ok());
        assert_eq!(fault(&nested(33)), XmlFault::TooDeep);
        assert_eq!(fault(&format!("{}<a/>{}", "<a>".repeat(32), "</a>".repeat(32))), XmlFault::TooDeep);
        let endless = "<a>".repeat(1_000_000);
        assert_eq!(read(endless.as_bytes(), 10_000_000), Err(XmlFault::TooDeep));
    }

    #[test]
    fn a_small_document_cannot_grow_large_in_memory() {
        let many = |inside: &str, count: usize| format!("<r>{}</r>", inside.repeat(count)).into_bytes();
        assert!(read(&many("<a/>", MOST - 1), 1 << 20).is_ok());
        assert_eq!(read(&many("<a/>", MOST), 1 << 20), Err(XmlFault::TooMany));
        assert_eq!(read(&many("<a b=\"\"/>", MOST / 2), 1 << 20), Err(XmlFault::TooMany));
        let named = |length: usize| format!("<r xmlns:x=\"{}\"><x:a/></r>", "n".repeat(length));
        assert!(read(named(LONGEST_SPACE).as_bytes(), 10_000).is_ok());
        assert!(fault(&named(LONGEST_SPACE + 1)).to_string().contains("longer than 256 bytes"));
    }

    #[test]
    fn what_is_not_well_formed_is_refused() {
        for text in [
            "",
            "words",
            "<a>",
            "<a></b>",
            "</a>",
            "<a/><b/>",
            "<a/>text",
            "<x:a/>",
            "<a k=1/>",
            "<a>&amp</a>",
        ] {
            assert!(matches!(fault(text), XmlFault::Malformed(_)), "{text}: {:?}", fault(text));
        }
    }
}
