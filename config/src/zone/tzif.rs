//! The bytes of a zone file: RFC 9636, section 3.
//!
//! A file holds the same data twice, first with 32-bit instants for old readers, then with 64-bit ones.
//! Only the second block is used. Every count comes from the file and is believed only as far as the file
//! is long.

use super::rule::{Rule, WIDEST};

/// What a file says.
pub(super) struct Contents {
    /// Offset before the first change.
    pub(super) first: i32,
    /// Offset of the last standard time named in the file.
    pub(super) last_standard: i32,
    /// Instants of change and the offset from there on.
    pub(super) changes: Vec<(i64, i32)>,
    /// What holds after the last change.
    pub(super) rule: Option<Rule>,
}

/// The six counts of a header.
struct Header {
    version: u8,
    utc_marks: usize,
    standard_marks: usize,
    leaps: usize,
    changes: usize,
    types: usize,
    names: usize,
}

/// Reads a file from its bytes.
pub(super) fn parse(bytes: &[u8]) -> Result<Contents, &'static str> {
    let mut rest = bytes;
    let old = header(&mut rest)?;
    if old.version < b'2' {
        return Err("it is of version 1, with 32-bit times only");
    }
    take(&mut rest, old.size(4))?;
    let counts = header(&mut rest)?;
    let instants = take(&mut rest, counts.changes * 8)?;
    let indices = take(&mut rest, counts.changes)?;
    let types = types(take(&mut rest, counts.types * 6)?)?;
    take(&mut rest, counts.names + counts.leaps * 12 + counts.standard_marks + counts.utc_marks)?;
    let rule = closing(rest)?;

    let mut changes = Vec::with_capacity(counts.changes);
    for (instant, index) in instants.as_chunks::<8>().0.iter().zip(indices) {
        let (offset, _) = types.get(usize::from(*index)).ok_or("a change names a type that is not there")?;
        changes.push((i64::from_be_bytes(*instant), *offset));
    }
    if !changes.is_sorted_by(|a, b| a.0 < b.0) {
        return Err("its changes do not ascend");
    }
    let (first, _) = *types.first().ok_or("it names no type of time")?;
    let last_standard = last_standard(indices, &types).unwrap_or(first);
    Ok(Contents { first, last_standard, changes, rule })
}

fn last_standard(indices: &[u8], types: &[(i32, bool)]) -> Option<i32> {
    let used = indices.iter().rev().filter_map(|index| types.get(usize::from(*index)));
    used.chain(types).find(|(_, summer)| !summer).map(|(offset, _)| *offset)
}

fn header(rest: &mut &[u8]) -> Result<Header, &'static str> {
    let head = take(rest, 44)?;
    if !head.starts_with(b"TZif") {
        return Err("it does not start with TZif");
    }
    let count = |index: usize| {
        let at = 20 + 4 * index;
        head[at..at + 4].iter().fold(0_usize, |sum, byte| sum << 8 | usize::from(*byte))
    };
    let header = Header {
        version: head[4],
        utc_marks: count(0),
        standard_marks: count(1),
        leaps: count(2),
        changes: count(3),
        types: count(4),
        names: count(5),
    };
    // A count beyond the file's own length is a lie, and refusing it here keeps the sums below small.
    let counts =
        [header.utc_marks, header.standard_marks, header.leaps, header.changes, header.types, header.names];
    if counts.iter().any(|count| *count > rest.len()) {
        return Err("its counts are larger than the file");
    }
    Ok(header)
}

impl Header {
    /// Length of a block whose instants take `width` bytes.
    fn size(&self, width: usize) -> usize {
        self.changes * (width + 1)
            + self.types * 6
            + self.names
            + self.leaps * (width + 4)
            + self.standard_marks
            + self.utc_marks
    }
}

/// Offset and whether it is summer time, per type.
fn types(bytes: &[u8]) -> Result<Vec<(i32, bool)>, &'static str> {
    bytes
        .as_chunks::<6>()
        .0
        .iter()
        .map(|[a, b, c, d, summer, _]| {
            let offset = i32::from_be_bytes([*a, *b, *c, *d]);
            (offset.checked_abs().is_some_and(|size| size < WIDEST))
                .then_some((offset, *summer != 0))
                .ok_or("it has an offset of more than 26 hours")
        })
        .collect()
}

/// The closing rule: a line of text between two line breaks, empty if there is none.
fn closing(rest: &[u8]) -> Result<Option<Rule>, &'static str> {
    let text = rest.strip_prefix(b"\n").ok_or("its closing rule is missing")?;
    let end = text.iter().position(|byte| *byte == b'\n').ok_or("its closing rule does not end")?;
    let text = std::str::from_utf8(&text[..end]).map_err(|_| "its closing rule is no text")?;
    if text.is_empty() {
        return Ok(None);
    }
    Rule::parse(text).map(Some).ok_or("its closing rule cannot be read")
}

fn take<'b>(rest: &mut &'b [u8], count: usize) -> Result<&'b [u8], &'static str> {
    let (taken, left) = rest.split_at_checked(count).ok_or("it ends too early")?;
    *rest = left;
    Ok(taken)
}
