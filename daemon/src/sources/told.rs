//! What was told last about a source, so that only changes are told.

use crate::keeper::event::Event;

/// What was told last about a source.
#[derive(Debug)]
pub(super) struct Told {
    source: String,
    /// Whether anything was told yet.
    said: bool,
    why: Option<String>,
}

impl Told {
    /// Nothing yet about the source of this name.
    pub(super) fn nothing(source: String) -> Self {
        Self { source, said: false, why: None }
    }

    /// It is away for this reason, or here; gives the event when that is news. The first word always is: what
    /// was known before we started may no longer hold.
    pub(super) fn news(&mut self, why: Option<String>) -> Option<Event> {
        if self.said && self.why == why {
            return None;
        }
        self.said = true;
        self.why.clone_from(&why);
        Some(Event::Away { source: self.source.clone(), why })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_first_word_and_changes_are_told() {
        let mut told = Told::nothing("broker".to_owned());
        let gone = || Some("gone".to_owned());
        let told: Vec<_> =
            [None, None, gone(), gone(), None].into_iter().map(|why| told.news(why).is_some()).collect();
        assert_eq!(told, [true, false, true, false, true]);
    }
}
