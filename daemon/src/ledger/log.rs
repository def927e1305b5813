//! The log beside the file: whether commits lie in it past its end.
//!
//! SQLite ends the log at the first frame whose checksum fails: so it must after a power cut, and so it does, without a
//! word, where a bit flipped in the middle. What tells the two apart is what lies behind. A checksum goes on from that
//! of the frame before, so frames that fit each other were written one after the other; a commit is begun when the one
//! before it has returned. Two commits behind the end that fit each other were therefore acknowledged, or at least the
//! first of them, and are cut off by damage. One alone may be the one the power cut broke: that cannot be told.
//!
//! Form: SQLite, "Database File Format", section 4.1 (a head of 32 bytes; frames of a head of 24 bytes and a page) and
//! 4.2 (checksums over pairs of 32-bit words).

const HEAD: usize = 32;
const FRAME_HEAD: usize = 24;
/// The head begins with this; its last bit says that the words of the checksum are big-endian.
const MAGIC: u32 = 0x377f_0682;

/// A running checksum.
type Sums = (u32, u32);

fn word(bytes: &[u8], at: usize) -> Option<u32> {
    Some(u32::from_be_bytes(*bytes.get(at..)?.first_chunk()?))
}

fn sums(bytes: &[u8], big: bool, from: Sums) -> Sums {
    let (pairs, _) = bytes.as_chunks::<8>();
    pairs.iter().fold(from, |(first, second), &[a, b, c, d, e, f, g, h]| {
        let read = |word| if big { u32::from_be_bytes(word) } else { u32::from_le_bytes(word) };
        let first = first.wrapping_add(read([a, b, c, d])).wrapping_add(second);
        (first, second.wrapping_add(read([e, f, g, h])).wrapping_add(first))
    })
}

/// What is needed of a frame.
struct Frame<'a> {
    commits: bool,
    salts: (u32, u32),
    sums: Sums,
    /// What its checksum is over: the first words of its head, and its page.
    summed: (&'a [u8], &'a [u8]),
}

impl<'a> Frame<'a> {
    fn read(bytes: &'a [u8]) -> Option<Self> {
        let (head, page) = bytes.split_at_checked(FRAME_HEAD)?;
        Some(Self {
            commits: word(head, 4)? != 0,
            salts: (word(head, 8)?, word(head, 12)?),
            sums: (word(head, 16)?, word(head, 20)?),
            summed: (&head[..8], page),
        })
    }

    fn follows(&self, before: &Frame<'_>, big: bool) -> bool {
        self.sums == sums(self.summed.1, big, sums(self.summed.0, big, before.sums))
    }
}

/// How many commits behind frame number `end` fit one before them: at least so many are cut off by damage. None where
/// the head itself cannot be read: a log that was begun anew looks the same.
pub(super) fn commits_cut_off(log: &[u8], end: usize) -> usize {
    let Some((magic, page)) = word(log, 0).zip(word(log, 8)) else { return 0 };
    if magic | 1 != MAGIC | 1 || !(512..=65_536).contains(&page) {
        return 0;
    }
    let (big, salts) = (magic & 1 == 1, word(log, 16).zip(word(log, 20)));
    let size = FRAME_HEAD + page as usize;
    let behind = log.get(HEAD + end * size..).unwrap_or_default();
    let (mut longest, mut run) = (0, 0);
    // The first frame behind the end is the broken one: what it says of its checksum may still be right.
    let mut frames = behind.chunks_exact(size).filter_map(Frame::read);
    let mut before = frames.next();
    for frame in frames {
        let fits =
            Some(frame.salts) == salts && before.as_ref().is_some_and(|before| frame.follows(before, big));
        run = if fits { run + usize::from(frame.commits) } else { 0 };
        longest = longest.max(run);
        before = Some(frame);
    }
    if longest < 2 { 0 } else { longest }
}

/// Bytes behind frame number `end` that belong to the same filling of the log as what is before it: begun and never
/// finished, or cut off by damage. What an earlier filling left behind bears other salts.
pub(super) fn bytes_cut(log: &[u8], end: usize) -> usize {
    let Some((magic, page)) = word(log, 0).zip(word(log, 8)) else { return 0 };
    if magic | 1 != MAGIC | 1 || !(512..=65_536).contains(&page) {
        return 0;
    }
    let (salts, size) = (word(log, 16).zip(word(log, 20)), FRAME_HEAD + page as usize);
    let behind = log.get(HEAD + end * size..).unwrap_or_default();
    let ours = |frame: &&[u8]| word(frame, 8).zip(word(frame, 12)).is_some_and(|it| Some(it) == salts);
    behind.chunks(size).take_while(ours).map(<[u8]>::len).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn commits_behind_a_flipped_bit_are_counted_where_sqlite_ends_its_log_without_a_word() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("file");
        let writer = rusqlite::Connection::open(&path).unwrap();
        writer
            .execute_batch("PRAGMA page_size = 512; PRAGMA journal_mode = WAL; CREATE TABLE t (x)")
            .unwrap();
        for number in 0..5 {
            writer.execute("INSERT INTO t VALUES (?1)", [number]).unwrap();
        }
        // Copied while open: closing would take the log away.
        let (file, log) =
            (std::fs::read(&path).unwrap(), std::fs::read(folder.path().join("file-wal")).unwrap());
        // The table takes two frames, each row one.
        assert_eq!(log.len(), HEAD + 7 * (FRAME_HEAD + 512));
        assert_eq!(commits_cut_off(&log, 7), 0);
        assert_eq!(commits_cut_off(&log, 6), 0, "one alone may be what the power broke");

        let mut spoilt = log.clone();
        spoilt[HEAD + 3 * (FRAME_HEAD + 512) + 100] ^= 1;
        let other = folder.path().join("other");
        std::fs::write(&other, file).unwrap();
        std::fs::write(folder.path().join("other-wal"), &spoilt).unwrap();
        let reader = rusqlite::Connection::open(&other).unwrap();
        let rows: i64 = reader.query_row("SELECT count(*) FROM t", [], |row| row.get(0)).unwrap();
        assert_eq!((rows, commits_cut_off(&spoilt, 3)), (1, 3));
        assert_eq!((bytes_cut(&spoilt, 3), bytes_cut(&spoilt, 7)), (4 * (FRAME_HEAD + 512), 0));
        // Half a frame, as a power cut leaves it; and a frame of an earlier filling.
        let torn = &log[..log.len() - 300];
        assert_eq!(bytes_cut(torn, 6), FRAME_HEAD + 512 - 300);
        let mut older = log.clone();
        older[HEAD + 6 * (FRAME_HEAD + 512) + 9] ^= 1;
        assert_eq!(bytes_cut(&older, 6), 0);
    }

    #[test]
    fn no_scrap_of_a_log_is_too_short_to_be_looked_at() {
        for length in 0..600 {
            let mut log = vec![0; length];
            for (place, byte) in log.iter_mut().zip(MAGIC.to_be_bytes()) {
                *place = byte;
            }
            if length > 10 {
                log[10] = 2;
            }
            assert_eq!((commits_cut_off(&log, 0), bytes_cut(&log, 9)), (0, 0));
        }
    }
}
