//! What is wrong with a document, in words for whoever has to tell its sender.

use crate::warnings::xml::XmlFault;

/// Why a document is no message by the standard.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CapFault {
    /// It is not read at all.
    #[error(transparent)]
    Xml(#[from] XmlFault),
    /// It is something else, or of another version.
    #[error("its first element is {name:?} of {space:?}, not the alert of CAP 1.2")]
    NotCap {
        /// Its first element.
        name: String,
        /// Of which namespace.
        space: String,
    },
    /// An element that must be there is not, or stands elsewhere.
    #[error("{of} lacks {name} where it should stand")]
    Missing {
        /// In which element.
        of: &'static str,
        /// Which.
        name: &'static str,
    },
    /// An element is unknown, comes too often or at the wrong place, or has something in it that it cannot have.
    #[error("{name:?} cannot stand there in {of}")]
    Unexpected {
        /// In which element.
        of: &'static str,
        /// What.
        name: String,
    },
    /// A word is none of those listed for an element.
    #[error("{name} is {said:?}, which is none of its words")]
    Word {
        /// Which element.
        name: &'static str,
        /// What it says.
        said: String,
    },
    /// A time is not of the one form there is.
    #[error("{name} is {said:?}, not a time like 2026-07-19T05:30:00+02:00")]
    Time {
        /// Which element.
        name: &'static str,
        /// What it says.
        said: String,
    },
    /// A name by which messages are told apart has signs that it cannot have, or is empty.
    #[error("{name} is {said:?}; it needs signs, and no space, comma, < or &")]
    Name {
        /// Which element.
        name: &'static str,
        /// What it says.
        said: String,
    },
    /// A polygon, circle or height is none.
    #[error("{name} is {said:?}, which is none on Earth by the standard")]
    Shape {
        /// Which element.
        name: &'static str,
        /// What it says.
        said: String,
    },
    /// A reference is not sender, identifier and time.
    #[error("references have {said:?}, not sender,identifier,sent")]
    Reference {
        /// What stands there.
        said: String,
    },
    /// An Update or a Cancel does not say of what.
    #[error("an Update or Cancel must say which messages it is about")]
    NoReferences,
    /// A scope that is not Public does not say for whom.
    #[error("scope {scope} needs the element {name}")]
    ForWhom {
        /// The scope.
        scope: &'static str,
        /// What is missing.
        name: &'static str,
    },
    /// A number is none.
    #[error("{name} is {said:?}, not a number")]
    Number {
        /// Which element.
        name: &'static str,
        /// What it says.
        said: String,
    },
}

/// What a document says, short enough to be shown.
pub(super) fn cut(said: &str) -> String {
    said.chars().take(80).collect()
}
