//! Which edition of the reckoned figures is served, and which is being reckoned behind it.
//!
//! Crop book, rules, limits and position make the edition ([`Site::edition`](crate::site::Site::edition)). When it is
//! another than the one in service, the old pages are served whole while new ones are made of every day, newest first;
//! then all change at once, so that no sum ever holds pages of two. The ledger has an entry when the reckoning begins
//! and one when its edition comes into service, with what every sum was and came to.
//!
//! Pages are kept of the edition in service and of the one being reckoned; those of any other go. Going back to a book
//! of old is therefore an edition like any other: reckoned anew, and said.

use std::collections::BTreeMap;

use crate::almanac::account::account_until;
use crate::almanac::day_page::rounded;
use crate::almanac::pages::Pages;
use crate::calendar::Day;
use crate::entry::{Anew, Cause, Entry, Note, Sums};

/// An edition in service.
#[derive(Clone, Debug, PartialEq)]
pub struct InService {
    /// Its name.
    pub edition: String,
    /// Since when, UTC ms.
    pub since_ms: i64,
    /// What made it another than the one before; empty for the first.
    pub because: Vec<Cause>,
    /// What the sums of each planting were and came to; empty for the first.
    pub anew: BTreeMap<String, Anew>,
}

/// Which edition is served, and which the figures made now belong to.
#[derive(Clone, Debug, PartialEq)]
pub struct Editions {
    current: String,
    in_service: Option<InService>,
    begun: bool,
}

impl Editions {
    /// What the entries of a ledger say (in commit order) to a program that reckons `current`.
    pub fn of(entries: &[Entry], current: String) -> Self {
        let mut editions = Self { current, in_service: None, begun: false };
        for entry in entries {
            let Note::Edition { edition, because, anew } = &entry.note else { continue };
            match anew {
                Some(anew) => {
                    editions.begun = false;
                    editions.in_service = Some(InService {
                        edition: edition.clone(),
                        since_ms: entry.at_ms,
                        because: because.clone(),
                        anew: anew.clone(),
                    });
                }
                None => editions.begun = *edition == editions.current,
            }
        }
        editions
    }

    /// The edition that pages made now belong to.
    pub fn current(&self) -> &str {
        &self.current
    }

    /// The edition that is served.
    pub fn served(&self) -> &str {
        self.in_service.as_ref().map_or(&self.current, |it| &it.edition)
    }

    /// The edition in service, as the ledger has it; none before the first page was kept.
    pub fn in_service(&self) -> Option<&InService> {
        self.in_service.as_ref()
    }

    /// Whether another edition is being reckoned than the one that is served.
    pub fn renewing(&self) -> bool {
        self.served() != self.current
    }

    /// The pages that count: those of these editions. What an abandoned reckoning left behind may lack late readings
    /// that came since, so it goes with the rest.
    pub fn kept(&self) -> Vec<String> {
        let mut kept = vec![self.served().to_owned()];
        if self.renewing() {
            kept.push(self.current.clone());
        }
        kept
    }

    /// The entry that is due now, if one is: that a reckoning begins, or (once pages are kept) that the first edition
    /// of this ledger is in service.
    pub fn due(&self, pages_kept: bool) -> Option<Note> {
        let edition = self.current.clone();
        match &self.in_service {
            None if pages_kept => {
                Some(Note::Edition { edition, because: Vec::new(), anew: Some(BTreeMap::new()) })
            }
            Some(_) if self.renewing() && !self.begun => {
                Some(Note::Edition { edition, because: self.because(), anew: None })
            }
            _ => None,
        }
    }

    /// Takes the edition being reckoned into service, at a moment (UTC ms): `old` pages go, `new` ones come. Begin and
    /// id of each planting are given. The entry that says so.
    pub fn take_into_service(
        &mut self,
        at_ms: i64,
        plantings: &[(String, Day)],
        old: &Pages,
        new: &Pages,
    ) -> Note {
        let mut anew = BTreeMap::new();
        for (planting, began) in plantings {
            // Both over the same days: those that the old edition had.
            let Some(last) = old.last_day(planting) else { continue };
            let sums = |pages| sums(pages, planting, *began, last);
            anew.insert(planting.clone(), Anew { was: sums(old), came_to: sums(new) });
        }
        let because = self.because();
        self.in_service = Some(InService {
            edition: self.current.clone(),
            since_ms: at_ms,
            because: because.clone(),
            anew: anew.clone(),
        });
        Note::Edition { edition: self.current.clone(), because, anew: Some(anew) }
    }

    /// Remembers that an entry has become durable.
    pub fn noted(&mut self, note: &Note, at_ms: i64) {
        let Note::Edition { edition, because, anew } = note else { return };
        self.begun = anew.is_none();
        if let (None, Some(anew)) = (&self.in_service, anew) {
            let (edition, because, anew) = (edition.clone(), because.clone(), anew.clone());
            self.in_service = Some(InService { edition, since_ms: at_ms, because, anew });
        }
    }

    /// What differs between the edition in service and the one being reckoned, by the parts of their names.
    fn because(&self) -> Vec<Cause> {
        let parts = |name: &str, at: usize| name.split('+').nth(at).map(str::to_owned);
        let (old, new) = (self.served(), self.current.as_str());
        let causes = [Cause::Book, Cause::Rules, Cause::Position, Cause::Limits];
        let differs = |at: usize| parts(old, at) != parts(new, at);
        (0..causes.len()).filter(|at| differs(*at)).map(|at| causes[at]).collect()
    }
}

fn sums(pages: &Pages, planting: &str, began: Day, last: Day) -> Sums {
    let account = account_until(pages, planting, began, last);
    Sums {
        degree_days: rounded(account.degree_days, 2),
        stress_h: rounded(account.stress_hours, 2),
        warm_nights: account.warm_nights,
    }
}
