//! A file in pieces of whole lines, always in the same memory.

use std::io::{self, Cursor, Read};

/// Enough that the calls to the system do not show, and little enough to stay in a processor's cache.
const ROOM: usize = 256 * 1024;

/// Reads a source piece by piece.
pub(super) struct Pieces<R> {
    source: R,
    buffer: Vec<u8>,
    /// What lies in the buffer unused: from here …
    from: usize,
    /// … to here.
    to: usize,
}

impl<R: Read> Pieces<R> {
    pub(super) fn new(source: R) -> Self {
        Self { source, buffer: vec![0; ROOM], from: 0, to: 0 }
    }

    /// The unused lines that are in the buffer whole, with their line ends.
    pub(super) fn lines(&self) -> &[u8] {
        let unused = &self.buffer[self.from..self.to];
        let end = unused.iter().rposition(|byte| *byte == b'\n').map_or(0, |last| last + 1);
        &unused[..end]
    }

    /// So many bytes have been used.
    pub(super) fn use_up(&mut self, count: usize) {
        self.from = (self.from + count).min(self.to);
    }

    /// Reads more; `false` at the end, and where a line fills the whole buffer.
    ///
    /// # Errors
    ///
    /// What the source gave.
    pub(super) fn more(&mut self) -> io::Result<bool> {
        self.buffer.copy_within(self.from..self.to, 0);
        (self.from, self.to) = (0, self.to - self.from);
        loop {
            match self.source.read(&mut self.buffer[self.to..]) {
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                read => {
                    let count = read?;
                    self.to += count;
                    return Ok(count > 0);
                }
            }
        }
    }

    /// Everything unused, from the buffer and behind it.
    pub(super) fn rest(mut self) -> impl Read {
        self.buffer.truncate(self.to);
        let mut unused = Cursor::new(self.buffer);
        unused.set_position(self.from as u64);
        unused.chain(self.source)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Gives a few bytes at a time, as a pipe may.
    struct Drips<'a>(&'a [u8], usize);

    impl Read for Drips<'_> {
        fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
            let count = self.1.min(self.0.len()).min(into.len());
            into[..count].copy_from_slice(&self.0[..count]);
            self.0 = &self.0[count..];
            Ok(count)
        }
    }

    #[test]
    fn only_whole_lines_come_out_and_nothing_is_lost() {
        let text = b"one\ntwo\n\nthree and more\nno end";
        for drip in 1..40 {
            let mut pieces = Pieces::new(Drips(text, drip));
            let mut found = Vec::new();
            while pieces.more().unwrap() {
                let lines = pieces.lines();
                assert!(lines.is_empty() || lines.ends_with(b"\n"));
                found.extend_from_slice(lines);
                let count = lines.len();
                pieces.use_up(count);
            }
            assert_eq!(found, b"one\ntwo\n\nthree and more\n");
            let mut rest = String::new();
            pieces.rest().read_to_string(&mut rest).unwrap();
            assert_eq!(rest, "no end");
        }
    }

    #[test]
    fn a_line_that_fills_the_buffer_ends_it_and_is_kept() {
        let text = vec![b'x'; ROOM + 5];
        let mut pieces = Pieces::new(text.as_slice());
        assert!(pieces.more().unwrap() && pieces.lines().is_empty());
        assert!(!pieces.more().unwrap());
        let mut rest = Vec::new();
        pieces.rest().read_to_end(&mut rest).unwrap();
        assert_eq!(rest.len(), ROOM + 5);
    }
}
