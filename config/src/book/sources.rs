//! The list of sources behind the crop book, `crop-sources.md`: what a key stands for.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use agronomy::crop::OWN;

/// One source of the list.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Source {
    /// How far it was checked: `A` an abstract or excerpt was read, `B` read in somebody else's copy, `M` from memory.
    pub checked: char,
    /// Authors, year, title, and what was taken from it.
    pub text: &'static str,
}

static SOURCES: LazyLock<BTreeMap<&'static str, Source>> =
    LazyLock::new(|| include_str!("../../crop-sources.md").lines().filter_map(source).collect());

/// The sources by key, as the list gives them.
pub fn sources_of_book() -> &'static BTreeMap<&'static str, Source> {
    &SOURCES
}

/// What a figure may lean on besides the sources of the list.
pub(super) fn words_for_sources() -> impl Iterator<Item = &'static str> {
    ["practice", "memory", "derived", OWN].into_iter()
}

/// Whether the list marks a key as cited from memory.
pub(super) fn is_cited_from_memory(key: &str) -> bool {
    SOURCES.get(key).is_some_and(|source| source.checked == 'M')
}

/// Reads `- **S01** [B] Authors (year). Title.`
fn source(line: &'static str) -> Option<(&'static str, Source)> {
    let (key, rest) = line.strip_prefix("- **")?.split_once("** [")?;
    let (checked, text) = rest.split_once("] ")?;
    Some((key, Source { checked: checked.chars().next()?, text }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_line_of_the_list_with_a_key_is_read() {
        let lines = include_str!("../../crop-sources.md").lines();
        let keys = lines.filter(|line| line.starts_with("- **S")).count();
        assert!(keys > 100 && sources_of_book().len() == keys, "{} of {keys}", sources_of_book().len());
        assert!(sources_of_book()["S01"].text.contains("Crop evapotranspiration"));
        assert!(sources_of_book().values().all(|source| "ABM".contains(source.checked)));
    }
}
