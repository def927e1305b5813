//! What is wrong with a file, all of it, and what to write instead.

use std::fmt;

/// One thing that is wrong, at one place.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Fault {
    /// Line, from 1.
    pub line: usize,
    /// Column, from 1, counted in characters.
    pub column: usize,
    /// What is wrong and what to write.
    pub message: String,
}

/// Everything that is wrong with one file, in the order of the file.
///
/// Prints one fault per line as `FILE:LINE:COLUMN: message`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Faults {
    /// The name of the file as the reader of the message knows it.
    pub file: String,
    /// The faults, by line and column.
    pub list: Vec<Fault>,
}

impl Faults {
    /// The same faults told of a file of another name.
    #[must_use]
    pub fn named(mut self, file: &str) -> Self {
        file.clone_into(&mut self.file);
        self
    }
}

impl fmt::Display for Faults {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, Fault { line, column, message }) in self.list.iter().enumerate() {
            if index > 0 {
                writeln!(out)?;
            }
            write!(out, "{}:{line}:{column}: {message}", self.file)?;
        }
        Ok(())
    }
}

impl std::error::Error for Faults {}
