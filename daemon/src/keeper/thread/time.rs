//! What the keeper does about the time: believes it, dates by it, takes somebody's word for it.

use super::super::core::Moment;
use super::super::event::{ClockWord, NotNoted};
use super::{Keeper, Setup};
use crate::clock::Clock;
use crate::clock::believed::Believed;
use crate::clock::trust::{Refusal, Said};

impl Keeper {
    /// The clock of a setup, with what the ledger knows: the newest commit, and whether this boot has its date already.
    pub(super) fn believed(setup: &Setup) -> Believed {
        let clock = Believed::new(setup.clock.clone());
        let ledger = setup.core.ledger();
        if let Ok(Some(newest_ms)) = ledger.newest_commit_ms() {
            clock.not_before(newest_ms);
        }
        if let Ok(Some((offset_ms, by))) = ledger.boot_date(setup.boot) {
            clock.believe(offset_ms, &by);
        }
        clock
    }

    pub(super) fn moment(&self) -> Moment {
        let clock = &self.clock;
        let wall_ms = clock.wall_ms();
        Moment { wall_ms, mono_ms: clock.monotonic_ms(), trusted: clock.is_known() }
    }

    /// Trust comes once in a boot: then this boot's readings are dated by one event in the ledger.
    pub(super) fn look_at_clock(&mut self) {
        let before = self.shell.board.clock.doubt.take();
        self.shell.board.clock.doubt = self.clock.doubt();
        if before != self.shell.board.clock.doubt {
            match &self.shell.board.clock.doubt {
                Some(doubt) if before.is_none() => {
                    tracing::warn!("{doubt}; time goes on by the monotonic clock");
                }
                None => tracing::info!("the clock shows what is believed again"),
                Some(_) => {}
            }
            self.publish();
        }
        if !self.clock.is_known()
            && self.refused.is_none()
            && let Some((offset_ms, by)) = self.clock.candidate()
        {
            self.date_by(offset_ms, &by, None);
        }
        self.shell.board.clock_vouched_by = self.clock.vouched_by();
    }

    /// Dates this boot and believes the time from now on; whether the ledger took it. `after_ms`: it is somebody's word,
    /// and later than that commit.
    fn date_by(&mut self, offset_ms: i64, by: &str, after_ms: Option<i64>) -> bool {
        let mono_ms = self.clock.monotonic_ms();
        let moment = Moment { wall_ms: mono_ms + offset_ms, mono_ms, trusted: false };
        match self.setup.core.date_boot(moment, self.setup.boot, by, after_ms) {
            Ok(()) => {
                tracing::info!(%by, "the clock is trusted; this boot's readings are dated");
                self.clock.believe(offset_ms, by);
                self.acknowledge();
                self.dated();
                self.publish();
                true
            }
            Err(error) => {
                self.refuse(&error, moment);
                false
            }
        }
    }

    fn dated(&mut self) {
        self.count_undated();
        self.stale = true;
        self.shell.board.clock_vouched_by = self.clock.vouched_by();
    }

    /// Takes somebody's word on the time; the entry's number comes back.
    pub(super) fn word(&mut self, word: ClockWord) -> Result<i64, Refusal> {
        let moment = self.moment();
        if self.refused.is_some() {
            self.commit(moment);
        }
        if let Some((why, _)) = &self.refused {
            return Err(format!("nothing can be stored: {why}").into());
        }
        match word {
            ClockWord::Now { at_ms, by, sure } => self.now_is(&Said { at_ms, by, sure }),
            ClockWord::AsShown { by } => {
                self.now_is(&Said { at_ms: self.clock.machine_ms(), by, sure: true })
            }
            ClockWord::Boot { boot, first_ms, by } => {
                let taken = self.setup.core.date_earlier(moment, boot, first_ms, &by);
                if let Err(NotNoted::Storage(error)) = &taken {
                    self.refuse(error, moment);
                }
                self.dated();
                taken.map_err(|error| error.to_string().into())
            }
        }
    }

    fn now_is(&mut self, said: &Said) -> Result<i64, Refusal> {
        let newest_ms = self.setup.core.ledger().newest_commit_ms().ok().flatten();
        let weighed = self.clock.weigh(said, newest_ms, &self.setup.core.words_on_time())?;
        // What waits was heard and told by the time believed until now.
        self.commit(self.moment());
        if let Some((why, _)) = &self.refused {
            return Err(format!("nothing can be stored: {why}").into());
        }
        let entry = if self.clock.is_known() {
            self.clock.take(said);
            let moment = self.moment();
            let noted = self.setup.core.note_word(moment, &said.by, weighed.after_ms);
            noted.map_err(|error| {
                self.refuse(&error, moment);
                error.to_string()
            })?
        } else {
            if !self.date_by(weighed.offset_ms, &said.by, Some(weighed.after_ms)) {
                return Err("nothing can be stored".to_owned().into());
            }
            self.clock.take(said);
            self.setup.core.engine().newest_entry()
        };
        if weighed.goes_back {
            self.go_back()?;
        }
        self.dated();
        Ok(entry)
    }

    /// Begins again from the ledger at the time that is believed now, which lies before what was lived through.
    fn go_back(&mut self) -> Result<(), Refusal> {
        let moment = self.moment();
        tracing::warn!("the clock was set back by somebody's word; what was stored since keeps its dates");
        self.last_day_worked = self.setup.core.engine().site().calendar.day_of(moment.wall_ms);
        self.setup.core.start_again(moment).map_err(|error| {
            self.refuse(&error, moment);
            Refusal::from(format!(
                "taken; but the ledger cannot be read, so start the service again: {error}"
            ))
        })
    }
}
