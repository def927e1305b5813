//! What the calculators on CSV have in common: where a sheet comes from, its headings, its figures.

use std::fs::File;
use std::io::{self, Read, Write};
use std::path::Path;

use crate::rows::{Rows, shown};

/// Exit code when something was refused.
pub(super) const REFUSED: u8 = 2;

/// The sheet named on the command line: a file, or `-` for `input`.
pub(super) fn open<'a>(path: &Path, input: impl Read + 'a) -> io::Result<Box<dyn Read + 'a>> {
    if path == Path::new("-") {
        return Ok(Box::new(input));
    }
    let file = File::open(path)?;
    // Opening a folder is no fault yet, reading it is, and by then its name is forgotten.
    if file.metadata()?.is_dir() {
        return Err(io::ErrorKind::IsADirectory.into());
    }
    Ok(Box::new(file))
}

/// Says that a file cannot be read, and gives the exit code.
pub(super) fn unreadable(err: &mut impl Write, path: &Path, error: &io::Error) -> io::Result<u8> {
    writeln!(err, "{}: {error}", path.display())?;
    Ok(REFUSED)
}

/// Whoever read our output has heard enough (`… | head`): that is no fault of anybody.
pub(super) fn until_closed(done: io::Result<u8>) -> io::Result<u8> {
    match done {
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(0),
        other => other,
    }
}

/// The headings: the cells of the first row that is not blank; none of an empty sheet.
pub(super) fn headings<R: Read>(rows: &mut Rows<R>) -> io::Result<Vec<String>> {
    Ok(if rows.step()? { rows.texts() } else { Vec::new() })
}

/// Refuses a row that has more or fewer cells than the heading.
///
/// # Errors
///
/// A sentence with both numbers.
pub(super) fn whole<R: Read>(rows: &Rows<R>, width: usize) -> Result<(), String> {
    if rows.count() == width {
        return Ok(());
    }
    let over_lines = (0..rows.count()).filter_map(|index| rows.cell(index)).any(|cell| cell.contains(&b'\n'));
    let open = if over_lines { "; a cell runs over several lines: is a quotation left open?" } else { "" };
    Err(format!("the row has {} cells, the heading {width}{open}", rows.count()))
}

/// The index of a column; `None` where there is none of that name.
///
/// # Errors
///
/// A sentence, where it is there twice and nobody can say which is meant.
pub(super) fn column(headings: &[String], name: &str) -> Result<Option<usize>, String> {
    let mut found = (0..headings.len()).filter(|index| headings[*index] == name);
    match (found.next(), found.next()) {
        (_, Some(_)) => Err(format!("there are two columns {name}; write it once")),
        (first, None) => Ok(first),
    }
}

/// The indices of columns that must be there.
///
/// # Errors
///
/// A sentence that names the columns needed and those found.
pub(super) fn columns<const N: usize>(headings: &[String], names: [&str; N]) -> Result<[usize; N], String> {
    let mut indices = [0; N];
    for (index, name) in indices.iter_mut().zip(names) {
        *index = column(headings, name)?.ok_or_else(|| {
            let found: Vec<_> = headings.iter().map(|heading| shown(heading.as_bytes())).collect();
            let found = if found.is_empty() { "nothing".to_owned() } else { found.join(", ") };
            format!(
                "no column {name}; the first line must name {}, separated by commas; found {found}",
                names.join(", ")
            )
        })?;
    }
    Ok(indices)
}

/// Reads a number with a decimal point.
///
/// # Errors
///
/// A sentence with the cell in it.
pub(super) fn number(name: &str, cell: Option<&[u8]>) -> Result<f64, String> {
    let cell = cell.ok_or_else(|| format!("{name} is missing: the row is too short"))?;
    if cell.is_empty() {
        return Err(format!("{name} is empty"));
    }
    let text = std::str::from_utf8(cell).ok();
    text.and_then(|text| text.parse().ok()).ok_or_else(|| format!("{name} {} is no number", shown(cell)))
}

/// A figure with twelve significant digits, without noughts at the end and without an exponent.
///
/// Twelve are more than any formula here is worth and few enough to hide the last bits of binary fractions.
pub(super) fn figure(value: f64) -> String {
    rounded(value).to_string()
}

/// The same figure as a number, for JSON.
pub(super) fn rounded(value: f64) -> f64 {
    // Adding nought turns a negative nought into a plain one.
    format!("{value:.11e}").parse::<f64>().unwrap_or(value) + 0.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_row_of_another_length_asks_for_an_open_quotation_where_there_may_be_one() {
        let told = |text: &str| {
            let mut rows = Rows::new(text.as_bytes(), crate::rows::Between::Sign(b','));
            assert!(rows.step().unwrap());
            whole(&rows, 3)
        };
        assert_eq!(told("1,\"2\n2\",3"), Ok(()));
        assert_eq!(told("1,2"), Err("the row has 2 cells, the heading 3".to_owned()));
        assert!(told("1,\"2,3\n4,5,6\n").unwrap_err().ends_with("is a quotation left open?"));
    }

    #[test]
    fn a_folder_is_refused_by_name_like_a_file_that_is_not_there() {
        let folder = tempfile::tempdir().unwrap();
        let error = open(folder.path(), io::empty()).map(|_| ()).unwrap_err();
        let mut err = Vec::new();
        assert_eq!(unreadable(&mut err, folder.path(), &error).unwrap(), REFUSED);
        let told = String::from_utf8(err).unwrap();
        assert_eq!(told, format!("{}: is a directory\n", folder.path().display()));
    }

    #[test]
    fn figures_keep_twelve_digits_wherever_the_point_stands() {
        assert_eq!(figure(0.1 + 0.2), "0.3");
        assert_eq!(figure(3.167_777_777_777_777), "3.16777777778");
        assert_eq!(figure(0.000_006_338_310_452_123_4), "0.00000633831045212");
        assert_eq!(figure(-0.0), "0");
        assert_eq!(figure(3199.7), "3199.7");
    }

    #[test]
    fn a_column_twice_or_missing_is_told_with_what_is_there() {
        let headings = ["t_c", "t_c", "rh"].map(str::to_owned);
        assert!(columns(&headings, ["t_c"]).unwrap_err().contains("two columns t_c"));
        let message = columns(&headings[1..], ["t_c", "rh_pct"]).unwrap_err();
        assert!(message.contains("t_c, rh_pct") && message.contains("\"rh\""), "{message}");
    }
}
