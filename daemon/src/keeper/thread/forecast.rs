//! A forecast that comes in.

use super::super::core::Moment;
use super::Keeper;
use crate::entry::Note;
use crate::outlook::keep;
use crate::outlook::parse::Hours;

impl Keeper {
    /// Takes in a forecast, and writes it down where it is news.
    pub(super) fn note_outlook(&mut self, moment: Moment, read: &Hours) -> Result<bool, String> {
        if !moment.trusted {
            return Err("the board does not know the time yet".to_owned());
        }
        let new = keep::forecast(read, moment.wall_ms);
        if !keep::worth_keeping(self.setup.core.engine().last_outlook(), &new, moment.wall_ms) {
            return Ok(false);
        }
        self.note(moment, Note::Outlook(new), None).map(|_| true)
    }
}
