//! Rows of a delimited text file, each with the line it truly stands on.
//!
//! People look faults up in an editor, so a line number that is one off is no help. The reader of the `csv`
//! crate counts a line when it meets its line feed, but ends a record at the carriage return before it, and
//! begins the next one before the blank lines in between. Here a record ends at the line feed alone, and its
//! line is counted back from there.

use std::io::{self, Read};
use std::ops::Range;

use csv::{ByteRecord, ReaderBuilder, Terminator};

/// What stands between the cells of a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Between {
    /// One sign, with quotation as RFC 4180 has it.
    Sign(u8),
    /// One or more blanks or tabs, without quotation.
    Blanks,
}

/// A sign that does not occur in text: with it, a row separated by blanks is read as one cell.
const NEVER: u8 = 0x1f;

/// Reads rows one after the other into the same memory.
pub struct Rows<R> {
    // What comes after the end makes the last row end as all others do, also where its quotation never does.
    reader: csv::Reader<io::Chain<R, &'static [u8]>>,
    record: ByteRecord,
    /// Where the cells of a row separated by blanks lie.
    spans: Vec<Range<usize>>,
    between: Between,
}

impl<R: Read> Rows<R> {
    /// Reads from `input`, in pieces of its own.
    pub fn new(input: R, between: Between) -> Self {
        // A quotation left open is closed on a line of its own; else that line opens one around nothing, a blank row.
        let (delimiter, quoting, behind) = match between {
            Between::Sign(sign) => (sign, true, &b"\n\"\n"[..]),
            Between::Blanks => (NEVER, false, &b"\n"[..]),
        };
        let reader = ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .delimiter(delimiter)
            .quoting(quoting)
            .terminator(Terminator::Any(b'\n'))
            .buffer_capacity(1 << 16)
            .from_reader(input.chain(behind));
        Self { reader, record: ByteRecord::new(), spans: Vec::new(), between }
    }

    /// Goes to the next row that is not blank; `false` at the end.
    ///
    /// # Errors
    ///
    /// What the input gave.
    pub fn step(&mut self) -> io::Result<bool> {
        while self.reader.read_byte_record(&mut self.record).map_err(plain)? {
            if self.between == Between::Blanks {
                self.spans.clear();
                spans(&self.record[0], &mut self.spans);
            }
            if self.count() > 1 || self.cell(0).is_some_and(|only| !only.is_empty()) {
                return Ok(true);
            }
        }
        Ok(false)
    }

    /// The line on which the row begins, from 1.
    pub fn line(&self) -> u64 {
        let within = self.record.as_slice().iter().filter(|byte| **byte == b'\n').count() as u64;
        self.reader.position().line().saturating_sub(1 + within)
    }

    /// How many cells the row has.
    pub fn count(&self) -> usize {
        match self.between {
            Between::Sign(_) => self.record.len(),
            Between::Blanks => self.spans.len(),
        }
    }

    /// A cell by its index from 0, without the blanks around it.
    pub fn cell(&self, index: usize) -> Option<&[u8]> {
        match self.between {
            Between::Sign(_) => self.record.get(index).map(<[u8]>::trim_ascii),
            Between::Blanks => self.spans.get(index).map(|span| &self.record[0][span.clone()]),
        }
    }

    /// A cell as it was written, quotation aside.
    pub fn written(&self, index: usize) -> Option<&[u8]> {
        match self.between {
            Between::Sign(_) => {
                let cell = self.record.get(index)?;
                // The carriage return belongs to the end of the line.
                Some(if index + 1 == self.record.len() {
                    cell.strip_suffix(b"\r").unwrap_or(cell)
                } else {
                    cell
                })
            }
            Between::Blanks => self.cell(index),
        }
    }

    /// All cells as text, without the blanks around them; what is no UTF-8 is replaced.
    pub fn texts(&self) -> Vec<String> {
        (0..self.count())
            .filter_map(|index| self.cell(index))
            .map(|cell| String::from_utf8_lossy(cell).into_owned())
            .collect()
    }
}

fn spans(line: &[u8], spans: &mut Vec<Range<usize>>) {
    let mut start = None;
    for (at, byte) in line.iter().enumerate() {
        match (byte.is_ascii_whitespace(), start) {
            (true, Some(from)) => {
                spans.push(from..at);
                start = None;
            }
            (false, None) => start = Some(at),
            _ => {}
        }
    }
    spans.extend(start.map(|from| from..line.len()));
}

/// An input error as it was; nothing else can go wrong with rows of any length.
pub(crate) fn plain(error: csv::Error) -> io::Error {
    let text = error.to_string();
    match error.into_kind() {
        csv::ErrorKind::Io(error) => error,
        _ => io::Error::other(text),
    }
}

/// A cell for a message: in quotation marks, on one line whatever it holds, and not long.
pub fn shown(cell: &[u8]) -> String {
    const LONGEST: usize = 40;
    let text = String::from_utf8_lossy(cell);
    let cut: String = text.chars().take(LONGEST).collect();
    let more = if cut.len() < text.len() { "…" } else { "" };
    format!("\"{}{more}\"", cut.escape_debug())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(text: &str, between: Between) -> Vec<(u64, Vec<String>)> {
        let mut rows = Rows::new(text.as_bytes(), between);
        let mut told = Vec::new();
        while rows.step().unwrap() {
            told.push((rows.line(), rows.texts()));
        }
        told
    }

    fn row(line: u64, cells: &[&str]) -> (u64, Vec<String>) {
        (line, cells.iter().map(|cell| (*cell).to_owned()).collect())
    }

    #[test]
    fn every_row_knows_the_line_an_editor_shows() {
        let expected =
            [row(1, &["a", "b"]), row(4, &["1", "2\nand more"]), row(6, &["3", "4"]), row(7, &["5", "6"])];
        let text = "a,b\n\n \n1,\"2\nand more\"\n3,4\n5,6";
        assert_eq!(lines(text, Between::Sign(b',')), expected);
        assert_eq!(lines(&format!("{text}\n\n"), Between::Sign(b',')), expected);
        let windows = lines("a;b\r\n\r\n1;2\r\n3;4", Between::Sign(b';'));
        assert_eq!(windows, [row(1, &["a", "b"]), row(3, &["1", "2"]), row(4, &["3", "4"])]);
    }

    #[test]
    fn a_quotation_that_never_ends_is_told_where_it_begins() {
        let text = "a,b\n1,\"2\n3,4\n5,6";
        assert_eq!(lines(text, Between::Sign(b',')), [row(1, &["a", "b"]), row(2, &["1", "2\n3,4\n5,6"])]);
        let expected = [row(1, &["a", "b"]), row(2, &["1", "2"]), row(4, &["3", "4\n\"\""])];
        assert_eq!(lines("a,b\n1,2\n\n3,\"4\n\"\"\"\"", Between::Sign(b',')), expected);
        assert_eq!(
            lines("a,b\n1,\"2\"\"", Between::Sign(b',')),
            [row(1, &["a", "b"]), row(2, &["1", "2\""])]
        );
        assert_eq!(
            lines("a,b\n\"1\",\"2\"", Between::Sign(b',')),
            [row(1, &["a", "b"]), row(2, &["1", "2"])]
        );
        assert_eq!(lines("\"", Between::Sign(b',')), []);
    }

    #[test]
    fn blanks_of_any_length_stand_between_cells_and_a_quote_is_a_sign_like_others() {
        let told = lines("  04236 20210101\t -9.5 \n\n5' \"6\n", Between::Blanks);
        assert_eq!(told, [row(1, &["04236", "20210101", "-9.5"]), row(3, &["5'", "\"6"])]);
    }

    #[test]
    fn a_mark_of_byte_order_is_no_part_of_the_first_heading() {
        assert_eq!(lines("\u{feff}t_c,rh_pct\n", Between::Sign(b',')), [row(1, &["t_c", "rh_pct"])]);
    }

    #[test]
    fn a_cell_is_kept_as_written_but_for_the_end_of_the_line() {
        let mut rows = Rows::new(&b" a , b \r\n"[..], Between::Sign(b','));
        assert!(rows.step().unwrap());
        assert_eq!((rows.written(0), rows.written(1)), (Some(&b" a "[..]), Some(&b" b "[..])));
        assert_eq!((rows.cell(0), rows.cell(2)), (Some(&b"a"[..]), None));
    }

    #[test]
    fn what_a_message_quotes_stays_on_its_line() {
        assert_eq!(shown(b"3\n\x1b[31m\xff"), "\"3\\n\\u{1b}[31m\u{fffd}\"");
        assert!(shown(&[b'x'; 1000]).chars().count() < 50);
    }
}
