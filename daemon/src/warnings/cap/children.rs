//! The children of an element, taken in the order the schema asks for.

use super::SPACE;
use super::fault::{CapFault, cut};
use crate::warnings::xml::Element;

/// What is left of an element's children.
pub(super) struct Children<'a> {
    of: &'static str,
    left: &'a [Element],
}

impl<'a> Children<'a> {
    /// All children of an element, which may have no text of its own beside them.
    pub(super) fn of(name: &'static str, element: &'a Element) -> Result<Self, CapFault> {
        if !element.text.trim().is_empty() {
            return Err(CapFault::Unexpected { of: name, name: cut(element.text.trim()) });
        }
        Ok(Self { of: name, left: &element.children })
    }

    /// The next child where it has this name.
    pub(super) fn element(&mut self, name: &str) -> Option<&'a Element> {
        let (next, left) = self.left.split_first()?;
        if next.name != name || next.space != SPACE {
            return None;
        }
        self.left = left;
        Some(next)
    }

    /// The next child's text where it has this name.
    pub(super) fn text(&mut self, name: &str) -> Result<Option<&'a str>, CapFault> {
        let Some(next) = self.element(name) else { return Ok(None) };
        match next.children.first() {
            Some(child) => Err(CapFault::Unexpected { of: self.of, name: cut(&child.name) }),
            None => Ok(Some(&next.text)),
        }
    }

    /// The next child's text; it must have this name.
    pub(super) fn needed(&mut self, name: &'static str) -> Result<&'a str, CapFault> {
        self.text(name)?.ok_or(CapFault::Missing { of: self.of, name })
    }

    /// The texts of all next children of this name.
    pub(super) fn texts(&mut self, name: &str) -> Result<Vec<&'a str>, CapFault> {
        let mut texts = Vec::new();
        while let Some(text) = self.text(name)? {
            texts.push(text);
        }
        Ok(texts)
    }

    /// All next children of this name.
    pub(super) fn elements(&mut self, name: &str) -> Vec<&'a Element> {
        std::iter::from_fn(|| self.element(name)).collect()
    }

    /// Nothing may be left but elements of one other namespace (empty: none either).
    pub(super) fn end(self, besides: &str) -> Result<(), CapFault> {
        match self.left.iter().find(|left| besides.is_empty() || left.space != besides) {
            Some(left) => Err(CapFault::Unexpected { of: self.of, name: cut(&left.name) }),
            None => Ok(()),
        }
    }
}
