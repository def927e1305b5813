//! A sheet that comes out as it went in, with results put beside each row.

use std::io::{self, Read, Write};

use super::sheet::{REFUSED, columns};
use crate::rows::{Between, Rows, plain};

/// What is put beside a row.
pub(super) struct Found<const M: usize> {
    /// The cells, in the order of their headings.
    pub cells: [String; M],
    /// What the cells cannot say, for standard error; no fault.
    pub word: Option<String>,
}

/// Reads the cells `needed` of every row, and writes the row with the cells `found` in them under the headings `added`.
///
/// A row that is refused gets empty cells and a message with its line number. Gives the exit code.
///
/// # Errors
///
/// Reading `sheet` or writing `out` or `err`.
pub(super) fn each<const N: usize, const M: usize>(
    sheet: impl Read,
    (needed, added): ([&str; N], [&str; M]),
    out: impl Write,
    err: &mut impl Write,
    mut found: impl FnMut([Option<&[u8]>; N]) -> Result<Found<M>, String>,
) -> io::Result<u8> {
    let mut rows = Rows::new(sheet, Between::Sign(b','));
    let headings = if rows.step()? { rows.texts() } else { Vec::new() };
    let at = match columns(&headings, needed) {
        Ok(at) => at,
        Err(why) => {
            writeln!(err, "{why}")?;
            return Ok(REFUSED);
        }
    };
    let mut csv = csv::WriterBuilder::new().flexible(true).from_writer(out);
    row(&mut csv, &rows, headings.len(), added)?;
    let mut exit = 0;
    while rows.step()? {
        let told = if rows.count() == headings.len() {
            found(at.map(|index| rows.cell(index)))
        } else {
            Err(format!("the row has {} cells, the heading {}", rows.count(), headings.len()))
        };
        let word = match told {
            Ok(Found { cells, word }) => {
                row(&mut csv, &rows, headings.len(), cells)?;
                word
            }
            Err(why) => {
                exit = REFUSED;
                row(&mut csv, &rows, headings.len(), [""; M])?;
                Some(why)
            }
        };
        if let Some(word) = word {
            writeln!(err, "line {}: {word}", rows.line())?;
        }
    }
    csv.flush()?;
    Ok(exit)
}

/// A short row is filled up, so that the results stand under their headings; what a long one has too much is left out.
fn row<R: Read, W: Write, C: AsRef<[u8]>>(
    csv: &mut csv::Writer<W>,
    rows: &Rows<R>,
    headings: usize,
    cells: impl IntoIterator<Item = C>,
) -> io::Result<()> {
    for index in 0..headings {
        csv.write_field(rows.written(index).unwrap_or_default()).map_err(plain)?;
    }
    csv.write_record(cells).map_err(plain)
}
