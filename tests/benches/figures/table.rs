//! Tables of figures, as Markdown, so that they can be pasted where figures are told.

use std::fmt::Write as _;

/// One group of figures.
pub(crate) struct Table {
    text: String,
}

impl Table {
    /// Begins a table: its title, and in a line how its figures were come by.
    pub(crate) fn new(title: &str, how: &str) -> Self {
        Self {
            text: format!(
                "\n## {title}\n\n{how}\n\n| figure | who | this run | design |\n| --- | --- | --- | --- |\n"
            ),
        }
    }

    /// A figure: of what, whose, how much. `design`: what the design aims at or measured; empty where it says nothing.
    pub(crate) fn row(&mut self, figure: &str, who: &str, much: &str, design: &str) {
        // Writing to a string cannot fail.
        let _ = writeln!(self.text, "| {figure} | {who} | {much} | {design} |");
    }

    /// Prints it.
    pub(crate) fn print(&self) {
        println!("{}", self.text);
    }
}

/// The middle of several measurements with the least and the most, as in `12.3 (11.9-14.0)`.
pub(crate) fn spread(values: &[f64], decimals: usize) -> String {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    match (sorted.first(), sorted.last()) {
        (Some(least), Some(most)) if sorted.len() > 1 => {
            let middle = median(values);
            format!("{middle:.decimals$} ({least:.decimals$}-{most:.decimals$})")
        }
        (Some(only), _) => format!("{only:.decimals$}"),
        _ => "-".to_owned(),
    }
}

/// The middle one; 0 of none.
pub(crate) fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let middle = sorted.len() / 2;
    match sorted.len() {
        0 => 0.0,
        odd if odd % 2 == 1 => sorted[middle],
        _ => f64::midpoint(sorted[middle - 1], sorted[middle]),
    }
}

/// Bytes as MB (10⁶).
pub(crate) fn mb(bytes: u64) -> String {
    format!("{:.1} MB", bytes as f64 / 1e6)
}
