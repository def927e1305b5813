//! JSON pointers (RFC 6901) as a file writes them.

use crate::reader::Table;

/// Reads a pointer at a key; a fault with what to write where it is none. Absent is no fault here.
pub(crate) fn pointer(table: &Table<'_, '_>, key: &str) -> Option<String> {
    let pointer = table.text(key)?;
    // RFC 6901 section 3: empty, or tokens each led by a slash, with ~ only as ~0 and ~1.
    let escapes_sound = pointer.split('~').skip(1).all(|after| after.starts_with(['0', '1']));
    if (pointer.is_empty() || pointer.starts_with('/')) && escapes_sound {
        return Some(pointer);
    }
    let instead = pointer.replace('~', "~0");
    table.fault(key, format!("pointer {pointer:?} is no JSON pointer; write \"/{instead}\""));
    None
}
