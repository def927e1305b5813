//! Everything that reached the disk, in order, and what a power cut leaves of it.
//!
//! What was written before the last flush is there. Of what came after it, a disk may have kept any part, in any
//! order; here each write is kept with even chance, and the last one up to some sector of 512 bytes.
//!
//! One write is never torn: that of ext4's superblock, two sectors under one checksum, which ext4 writes in place and
//! takes for granted. Torn there, no file on it opens before somebody runs e2fsck with a spare superblock (tried).

use std::ops::Range;

use rand::seq::SliceRandom as _;
use rand::{RngExt as _, SeedableRng as _};

use super::Flushes;

const SECTOR: usize = 512;
/// Where ext4 has its superblock, whatever its block size (Linux, Documentation/filesystems/ext4/super.rst).
const SUPERBLOCK: Range<usize> = 1024..2048;

#[derive(Debug)]
enum Event {
    Write { offset: usize, bytes: Vec<u8> },
    Flush,
}

/// A disk's content with its history.
#[derive(Debug)]
pub(super) struct Kept {
    /// As it was at first.
    base: Vec<u8>,
    /// As it is now.
    now: Vec<u8>,
    events: Vec<Event>,
}

impl Kept {
    pub(super) fn new(base: Vec<u8>) -> Self {
        Self { now: base.clone(), base, events: Vec::new() }
    }

    /// Its bytes.
    pub(super) fn now(&self) -> &[u8] {
        &self.now
    }

    /// Takes a write; false where it lies outside.
    pub(super) fn write(&mut self, offset: usize, bytes: &[u8]) -> bool {
        let Some(room) = offset.checked_add(bytes.len()).and_then(|end| self.now.get_mut(offset..end)) else {
            return false;
        };
        room.copy_from_slice(bytes);
        self.events.push(Event::Write { offset, bytes: bytes.to_owned() });
        true
    }

    pub(super) fn flush(&mut self) {
        self.events.push(Event::Flush);
    }

    /// Events so far.
    pub(super) fn moment(&self) -> usize {
        self.events.len()
    }

    /// What a cut after so many events leaves.
    pub(super) fn cut(&self, moment: usize, flushes: Flushes, seed: u64) -> Vec<u8> {
        let events = &self.events[..moment.min(self.events.len())];
        let safe = match flushes {
            Flushes::Honoured => events.iter().rposition(|event| matches!(event, Event::Flush)).unwrap_or(0),
            Flushes::Ignored(cached) => {
                let writes = events.iter().enumerate().rev().filter(|(_, event)| is_write(event));
                writes.map(|(at, _)| at).take(cached).last().unwrap_or(0)
            }
        };
        let mut image = self.base.clone();
        for event in &events[..safe] {
            apply(&mut image, event, usize::MAX);
        }
        let mut random = rand_pcg::Pcg64Mcg::seed_from_u64(seed);
        let open: Vec<&Event> = events[safe..].iter().filter(|event| is_write(event)).collect();
        let Some((last, others)) = open.split_last() else { return image };
        let mut left: Vec<&Event> = others.iter().copied().filter(|_| random.random_bool(0.5)).collect();
        left.shuffle(&mut random);
        for event in left {
            apply(&mut image, event, usize::MAX);
        }
        let torn = SECTOR * random.random_range(0..=length(last) / SECTOR);
        apply(&mut image, last, if holds_superblock(last) { usize::MAX } else { torn });
        image
    }
}

fn is_write(event: &Event) -> bool {
    matches!(event, Event::Write { .. })
}

fn length(event: &Event) -> usize {
    match event {
        Event::Write { bytes, .. } => bytes.len(),
        Event::Flush => 0,
    }
}

fn holds_superblock(event: &Event) -> bool {
    match event {
        Event::Write { offset, bytes } => *offset < SUPERBLOCK.end && SUPERBLOCK.start < offset + bytes.len(),
        Event::Flush => false,
    }
}

/// Writes the first bytes of an event.
fn apply(image: &mut [u8], event: &Event, most: usize) {
    if let Event::Write { offset, bytes } = event {
        let bytes = &bytes[..bytes.len().min(most)];
        image[*offset..offset + bytes.len()].copy_from_slice(bytes);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What lies behind the superblock; the rest of the disk is not of interest.
    const AFTER: usize = 4096;

    /// Ten sectors behind the superblock: the first flushed, the next two and four in one not.
    fn disk() -> Kept {
        let mut kept = Kept::new(vec![0; AFTER + 10 * SECTOR]);
        assert!(kept.write(AFTER, &[1; SECTOR]));
        kept.flush();
        for place in 1..3 {
            assert!(kept.write(AFTER + place * SECTOR, &[2; SECTOR]));
        }
        assert!(kept.write(AFTER + 4 * SECTOR, &[3; 4 * SECTOR]));
        kept
    }

    fn cut(kept: &Kept, moment: usize, flushes: Flushes, seed: u64) -> Vec<u8> {
        kept.cut(moment, flushes, seed).split_off(AFTER)
    }

    #[test]
    fn what_was_flushed_is_always_there_and_of_the_rest_any_part_may_be() {
        let kept = disk();
        let images: Vec<_> =
            (0..200).map(|seed| cut(&kept, kept.moment(), Flushes::Honoured, seed)).collect();
        assert!(images.iter().all(|image| image[..SECTOR] == [1; SECTOR]));
        for (first, second) in [(0, 0), (0, 2), (2, 0), (2, 2)] {
            assert!(images.iter().any(|image| (image[SECTOR], image[2 * SECTOR]) == (first, second)));
        }
        for sectors in 0..=4 {
            let torn = |image: &&Vec<u8>| image.iter().filter(|byte| **byte == 3).count() == sectors * SECTOR;
            assert!(images.iter().any(|image| torn(&image)), "{sectors}");
        }
    }

    #[test]
    fn a_cut_before_an_event_knows_nothing_of_it() {
        let kept = disk();
        assert_eq!(cut(&kept, 0, Flushes::Honoured, 1), vec![0; 10 * SECTOR]);
        let after_flush = cut(&kept, 2, Flushes::Honoured, 1);
        assert_eq!((after_flush[0], after_flush[SECTOR]), (1, 0));
    }

    #[test]
    fn a_disk_that_ignores_flushes_may_lose_what_was_flushed() {
        let kept = disk();
        let lost = (0..200).any(|seed| cut(&kept, kept.moment(), Flushes::Ignored(4), seed)[0] == 0);
        assert!(lost);
        let out_of_the_cache =
            (0..200).all(|seed| cut(&kept, kept.moment(), Flushes::Ignored(3), seed)[0] == 1);
        assert!(out_of_the_cache);
    }

    #[test]
    fn the_superblock_is_torn_by_no_cut_and_its_neighbour_is() {
        let torn = |offset: usize| {
            let mut kept = Kept::new(vec![0; AFTER]);
            assert!(kept.write(offset, &[1; 2 * SECTOR]));
            let image = |seed| kept.cut(1, Flushes::Honoured, seed);
            (0..100).any(|seed| image(seed)[offset] == 1 && image(seed)[offset + SECTOR] == 0)
        };
        assert_eq!((torn(SUPERBLOCK.start), torn(SUPERBLOCK.end)), (false, true));
    }

    #[test]
    fn nothing_is_written_past_the_end() {
        let mut kept = disk();
        assert!(!kept.write(AFTER + 9 * SECTOR, &[0; 2 * SECTOR]) && !kept.write(usize::MAX, &[0]));
    }
}
