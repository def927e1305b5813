//! Days made afresh from the ledger, and the edition that comes into service once all of them are.

use super::super::start::each_page;
use super::super::stored::Stored;
use super::Core;
use crate::almanac::pages::{Pages, make};
use crate::calendar::Day;
use crate::entry::Note;

impl Core {
    /// How many day pages wait to become durable.
    pub fn waiting_pages(&self) -> usize {
        self.pending.pages.len()
    }

    /// What the next commit has to say about editions, if anything.
    pub(super) fn edition_note(&self) -> Option<Note> {
        let renewed = self.pending.renewed.clone();
        renewed.or_else(|| self.engine.editions().due(!self.pending.pages.is_empty()))
    }

    /// Makes marked days afresh from the ledger and what waits for it, at most so many and the newest first; whether
    /// more are left. Once none is left, an edition that was being reckoned comes into service.
    pub fn remake(&mut self, most: usize) -> bool {
        let mut marked: Vec<(String, Day)> = self.engine.take_dirty().into_iter().collect();
        if most < marked.len() {
            marked.select_nth_unstable_by(most, |(_, a), (_, b)| b.cmp(a));
        }
        let left = marked.split_off(most.min(marked.len()));
        for (place, day) in marked {
            let (site, ground) = (self.engine.site(), self.engine.ground());
            let stored = Stored { site, ground, ledger: &self.ledger, waiting: &self.pending.dated };
            let made = make(site, ground, &stored, &place, day);
            self.pending.pages.insert((place.clone(), day), made.clone());
            self.engine.put(&place, day, made);
        }
        let more = !left.is_empty();
        self.engine.mark(left);
        if !more && self.engine.editions().renewing() {
            self.take_into_service();
        }
        more
    }

    /// Every day is made by the new edition: all its pages take the place of the old ones at once. The entry that says
    /// so and the end of the old pages ride in the commit of the last new ones.
    fn take_into_service(&mut self) {
        let edition = self.engine.editions().current().to_owned();
        let mut pages = Pages::default();
        let read = each_page(&self.ledger, &edition, |place, day, made| {
            pages.put(self.engine.ground(), place, day, made);
        });
        if let Err(error) = read {
            tracing::warn!(%error, "the new edition waits: its pages cannot be read");
            return;
        }
        for ((place, day), made) in &self.pending.pages {
            pages.put(self.engine.ground(), place, *day, made.clone());
        }
        self.pending.renewed = Some(self.engine.take_into_service(pages));
        self.pending.editions = self.engine.editions().kept();
    }

    /// Lets go of what earlier programs kept of editions that no longer count.
    pub(in crate::keeper) fn keep_editions(&mut self, editions: Vec<String>) {
        self.pending.editions = editions;
    }
}
