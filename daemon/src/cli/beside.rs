//! A sheet that comes out as it went in, with results put beside each row.

use std::io::{self, Read, Write};

use super::sheet::{REFUSED, columns, headings, whole};
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
    let headings = headings(&mut rows)?;
    let at = match columns(&headings, needed) {
        Ok(at) => at,
        Err(why) => {
            writeln!(err, "{why}")?;
            return Ok(REFUSED);
        }
    };
    let mut csv = writer(out);
    write(&mut csv, written(&rows, headings.len()), added)?;
    let mut exit = 0;
    while rows.step()? {
        let told = whole(&rows, headings.len()).and_then(|()| found(at.map(|index| rows.cell(index))));
        let word = match told {
            Ok(Found { cells, word }) => {
                write(&mut csv, written(&rows, headings.len()), cells)?;
                word
            }
            Err(why) => {
                exit = REFUSED;
                write(&mut csv, written(&rows, headings.len()), [""; M])?;
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

/// Writes rows of any length.
pub(super) fn writer<W: Write>(out: W) -> csv::Writer<W> {
    csv::WriterBuilder::new().flexible(true).from_writer(out)
}

/// The cells of a row as they were written. A short row is filled up, so that the results stand under their headings;
/// what a long one has too much is left out.
pub(super) fn written<R: Read>(rows: &Rows<R>, width: usize) -> impl Iterator<Item = &[u8]> {
    (0..width).map(|index| rows.written(index).unwrap_or_default())
}

/// Writes a row with its results behind it.
pub(super) fn write<W: Write>(
    csv: &mut csv::Writer<W>,
    cells: impl IntoIterator<Item = impl AsRef<[u8]>>,
    added: impl IntoIterator<Item = impl AsRef<[u8]>>,
) -> io::Result<()> {
    for cell in cells {
        csv.write_field(cell).map_err(plain)?;
    }
    csv.write_record(added).map_err(plain)
}
