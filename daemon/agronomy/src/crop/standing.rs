//! How well a figure is known: what stands behind it.

use serde::Serialize;

/// What stands behind a figure, from what is known best to what is known least.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// The grower's own figure for one planting.
    Own,
    /// A publication that the source list names.
    Published,
    /// What growers commonly do; no trial stands behind the exact number.
    Practice,
    /// Reckoned from other figures of the book.
    Derived,
    /// General literature, recalled and not read again.
    Memory,
}

impl Standing {
    /// The standing that a source key gives: one of the three words, or a key of the source list.
    pub fn of_source(key: &str) -> Self {
        match key {
            OWN => Self::Own,
            "practice" => Self::Practice,
            "derived" => Self::Derived,
            "memory" => Self::Memory,
            _ => Self::Published,
        }
    }

    /// The standing of a figure that leans on several sources: that of the weakest, so that nothing remembered is
    /// shown as if a trial stood behind it. A figure without sources is remembered at best.
    pub fn of_sources(keys: &[String]) -> Self {
        keys.iter().map(|key| Self::of_source(key)).max().unwrap_or(Self::Memory)
    }

    /// The word.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Own => "your own",
            Self::Published => "published",
            Self::Practice => "practice",
            Self::Derived => "derived",
            Self::Memory => "memory",
        }
    }
}

/// The source key of a grower's own figure.
pub const OWN: &str = "own";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_weakest_source_gives_a_figure_its_standing() {
        let of = |keys: &[&str]| {
            Standing::of_sources(&keys.iter().map(|key| (*key).to_owned()).collect::<Vec<_>>())
        };
        assert_eq!(of(&["S02"]), Standing::Published);
        assert_eq!(of(&["S04", "S06"]), Standing::Published);
        assert_eq!(of(&["S01", "practice"]), Standing::Practice);
        assert_eq!(of(&["practice", "memory", "S01"]), Standing::Memory);
        assert_eq!(of(&[]), Standing::Memory);
    }
}
