//! Another figure for one planting, for a back-test.

use std::str::FromStr;

use agronomy::crop::CropBook;

use super::diary::Dated;
use crate::cli::Trouble;
use crate::entry::{Entry, Note};
use crate::ground::{self, Ground};

/// `PLANTING:NAME=VALUE`, as it is given.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Figure {
    planting: String,
    name: String,
    value: f64,
}

impl FromStr for Figure {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let split = || {
            let (planting, rest) = text.split_once(':')?;
            let (name, value) = rest.split_once('=')?;
            let value = value.parse::<f64>().ok().filter(|value| value.is_finite())?;
            Some(Self { planting: planting.to_owned(), name: name.to_owned(), value })
        };
        split()
            .ok_or_else(|| "write PLANTING:NAME=VALUE, tomatoes:heat_rule.day_severe.threshold=38".to_owned())
    }
}

/// Adds figures to what stands where; each is held to what the book is held to.
pub(super) fn with_figures(stands: &mut Dated, book: &CropBook, figures: &[Figure]) -> Result<(), Trouble> {
    for Figure { planting, name, value } in figures {
        let entries: Vec<Entry> = (1..)
            .zip(&*stands)
            .map(|(id, (from_ms, note))| Entry { id, at_ms: *from_ms, from_ms: *from_ms, note: note.clone() })
            .collect();
        let ground = Ground::of(&entries);
        let from_ms = ground.planting(planting).map_or(0, |it| it.from_ms);
        let (planting, figure) = (planting.clone(), name.clone());
        let note = Note::OwnFigure { planting, figure, from: *value, to: None };
        ground::check(&ground, book, &note, from_ms, from_ms).map_err(Trouble::Given)?;
        stands.push((from_ms, note));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_figure_is_a_planting_a_name_and_a_number() {
        let wanted = Figure {
            planting: "red".to_owned(),
            name: "heat_rule.day_severe.threshold".to_owned(),
            value: 38.5,
        };
        assert_eq!("red:heat_rule.day_severe.threshold=38.5".parse(), Ok(wanted));
        for wrong in ["red", "red:day", "red:day=", "red:day=hot", "red:day=inf", "day=3"] {
            assert!(wrong.parse::<Figure>().is_err(), "{wrong}");
        }
    }
}
