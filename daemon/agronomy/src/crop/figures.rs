//! A crop's figures under the names the book gives them, and a grower's own figures in their place.
//!
//! Every number of a crop has a dotted name, the way it is reached in the book: `gdd.t_base_c`,
//! `heat_rule.day_severe.threshold`, `cold.lethal_c`. Under that name it is listed with its sources, and under that
//! name a grower who knows better can put an own figure for one planting. An own figure is held to what the book is
//! held to: a name that is there, a number where plants can live, neighbours in order.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::Serialize;

use super::{Crop, Figure, OWN, Standing};

mod kind;
mod order;
mod slot;

pub use kind::Kind;
pub use order::{OutOfOrder, out_of_order};

/// A figure with what it is measured in.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Listed {
    /// What it is measured in.
    pub kind: Kind,
    /// The figure.
    pub figure: Figure,
}

impl Listed {
    /// How well it is known.
    pub fn standing(&self) -> Standing {
        Standing::of_sources(&self.figure.sources)
    }
}

/// Figures by dotted name.
pub type Figures = BTreeMap<String, Listed>;

/// A grower's own figures by dotted name, lowest and highest; the same twice for one number.
pub type OwnFigures = BTreeMap<String, [f64; 2]>;

/// Why an own figure cannot stand in the place of the book's.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum OwnFault {
    /// The crop has no figure of this name.
    #[error("{crop} has no figure {name}")]
    Unknown {
        /// Key of the crop.
        crop: String,
        /// The name given.
        name: String,
    },
    /// No plant lives there, or it is in another unit.
    #[error("{name} {value} is out of range; write {}", .kind.bounds())]
    OutOfRange {
        /// The figure.
        name: String,
        /// The number given; it may be NaN.
        value: f64,
        /// What it is measured in.
        kind: Kind,
    },
    /// A span where the book's rule takes one number.
    #[error("{name} is one number and no span; write {lo} or {hi}")]
    OneNumber {
        /// The figure.
        name: String,
        /// The lower end given.
        lo: f64,
        /// The upper end given.
        hi: f64,
    },
    /// The ends of a span the wrong way round.
    #[error("{name} goes from {lo} to {hi}; write the smaller first")]
    Backwards {
        /// The figure.
        name: String,
        /// The first end given.
        lo: f64,
        /// The second end given.
        hi: f64,
    },
    /// It stands on the wrong side of its neighbour.
    #[error(transparent)]
    OutOfOrder(#[from] OutOfOrder),
}

impl OwnFault {
    /// Whether it is about the figure of this name.
    pub fn concerns(&self, figure: &str) -> bool {
        match self {
            Self::Unknown { name, .. }
            | Self::OutOfRange { name, .. }
            | Self::OneNumber { name, .. }
            | Self::Backwards { name, .. } => name == figure,
            Self::OutOfOrder(wrong) => wrong.below == figure || wrong.above == figure,
        }
    }
}

impl Crop {
    /// The crop with a grower's own figures in the place of the book's, and everything that is wrong with them. What
    /// is wrong with its name or its number stays out; figures out of order are told and put in.
    ///
    /// # Errors
    ///
    /// Those of the list; a book that has changed since can make a figure wrong that was right when it was noted.
    pub fn with_own(&self, own: &OwnFigures) -> (Self, Vec<OwnFault>) {
        let (mut crop, mut faults) = (self.clone(), Vec::new());
        for (name, [lo, hi]) in own {
            if let Err(fault) = crop.put(name, *lo, *hi) {
                faults.push(fault);
            }
        }
        let ours = |wrong: &OutOfOrder| own.contains_key(&wrong.below) || own.contains_key(&wrong.above);
        let wrong = out_of_order(&crop.figures, &crop.heat_rules).into_iter().filter(ours);
        faults.extend(wrong.map(OwnFault::from));
        (crop, faults)
    }

    fn put(&mut self, name: &str, lo: f64, hi: f64) -> Result<(), OwnFault> {
        let Some(kind) = self.figures.get(name).map(|listed| listed.kind) else {
            return Err(OwnFault::Unknown { crop: self.key.clone(), name: name.to_owned() });
        };
        let name = name.to_owned();
        if let Some(value) = [lo, hi].into_iter().find(|value| !kind.holds(*value)) {
            return Err(OwnFault::OutOfRange { name, value, kind });
        }
        if lo > hi {
            return Err(OwnFault::Backwards { name, lo, hi });
        }
        if lo != hi && slot::is_one_number(self, &name) {
            return Err(OwnFault::OneNumber { name, lo, hi });
        }
        let figure = Figure { lo, hi, sources: vec![OWN.to_owned()], note: None };
        slot::put(self, &name, &figure);
        Arc::make_mut(&mut self.figures).insert(name, Listed { kind, figure });
        Ok(())
    }
}
