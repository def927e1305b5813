//! Where forecasts come in, whichever way they came: read, handed to the keeper, and said when they fail.
//!
//! A forecast is needed by the hour and read by the day, so one failure is no news. What is read and cannot be used is
//! told at once, and so is a source that never answered; one that did is told as away after twice its interval.

use std::sync::Arc;
use std::time::Duration;

use config::OutlookMap;
use tokio::sync::{mpsc, oneshot};

use super::parse::{Here, read};
use crate::clock::Clock;
use crate::keeper::event::Event;

/// What the grower calls it.
const SOURCE: &str = "outlook";

/// Where forecasts are taken in.
pub struct Intake {
    map: OutlookMap,
    north_east: (f64, f64),
    every: Duration,
    events: mpsc::Sender<Event>,
    clock: Arc<dyn Clock>,
    begun_ms: i64,
    /// It is asked by us, and asked again at the latest after its interval.
    asked: bool,
    /// When all was well last, by the monotonic clock, ms.
    well_ms: Option<i64>,
    said: Option<String>,
}

/// The keeper has gone: there is nobody to tell.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct KeeperGone;

/// What became of a forecast.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Taken {
    /// It is known; written down where it was news.
    Well,
    /// It cannot be used.
    Refused,
    /// The keeper could not take it now.
    Later,
}

impl Intake {
    /// An intake for a site at degrees north and east, whose source speaks so often.
    pub fn new(
        map: OutlookMap,
        north_east: (f64, f64),
        every: Duration,
        events: mpsc::Sender<Event>,
        clock: Arc<dyn Clock>,
    ) -> Self {
        let begun_ms = clock.monotonic_ms();
        Self { map, north_east, every, events, clock, begun_ms, asked: false, well_ms: None, said: None }
    }

    /// Of a source that is asked, so that what is said of it says when it is asked again.
    #[must_use]
    pub fn asked(self) -> Self {
        Self { asked: true, ..self }
    }

    /// How often the source speaks.
    pub fn every(&self) -> Duration {
        self.every
    }

    /// The clock it goes by.
    pub fn clock(&self) -> &dyn Clock {
        self.clock.as_ref()
    }

    /// Takes in what came. `may_be_old`: it may have waited on its way.
    ///
    /// # Errors
    ///
    /// When the keeper has gone.
    pub async fn take(&mut self, body: &[u8], may_be_old: bool) -> Result<Taken, KeeperGone> {
        if self.clock.vouched_by().is_none() {
            // Whether it is of today cannot be told yet, and that is not the source's fault.
            return Ok(Taken::Later);
        }
        let (latitude, longitude) = self.north_east;
        let here = Here { now_ms: self.clock.wall_ms(), latitude, longitude, may_be_old };
        let read = match read(body, &self.map, &here) {
            Ok(read) => read,
            Err(refused) => {
                self.say(Some(format!("outlook doubtful: {refused}{}", self.again(self.every)))).await?;
                return Ok(Taken::Refused);
            }
        };
        let (answer, answered) = oneshot::channel();
        self.events.send(Event::Outlook { read, answer }).await.map_err(|_| KeeperGone)?;
        match answered.await.map_err(|_| KeeperGone)? {
            Ok(_) => self.well().await.map(|()| Taken::Well),
            // That nothing can be stored, or the time is not known, is said elsewhere.
            Err(_) => Ok(Taken::Later),
        }
    }

    /// The source answered, and had nothing new.
    ///
    /// # Errors
    ///
    /// When the keeper has gone.
    pub async fn well(&mut self) -> Result<(), KeeperGone> {
        self.well_ms = Some(self.clock.monotonic_ms());
        self.say(None).await
    }

    /// The source was not reached: told where it never was well, or was last too long ago.
    ///
    /// # Errors
    ///
    /// When the keeper has gone.
    pub async fn trouble(&mut self, why: String) -> Result<(), KeeperGone> {
        if self.well_ms.is_some_and(|well| self.is_recent(well)) {
            return Ok(());
        }
        self.say(Some(why)).await
    }

    /// The source is there and says nothing: told once that has lasted too long. What else was said of it stands.
    ///
    /// # Errors
    ///
    /// When the keeper has gone.
    pub async fn silence(&mut self, why: String) -> Result<(), KeeperGone> {
        if self.said.is_some() || self.is_recent(self.well_ms.unwrap_or(self.begun_ms)) {
            return Ok(());
        }
        self.say(Some(why)).await
    }

    /// When it is asked again, as the end of a sentence; nothing where nobody asks.
    pub fn again(&self, within: Duration) -> String {
        if !self.asked {
            return String::new();
        }
        match within.as_secs() {
            seconds @ ..120 => format!("; asked again within {seconds} s"),
            seconds => format!("; asked again within {} min", seconds.div_ceil(60)),
        }
    }

    fn is_recent(&self, at_ms: i64) -> bool {
        let twice_ms = 2 * i64::try_from(self.every.as_millis()).unwrap_or(i64::MAX / 2);
        self.clock.monotonic_ms() - at_ms <= twice_ms
    }

    async fn say(&mut self, why: Option<String>) -> Result<(), KeeperGone> {
        if self.said == why {
            return Ok(());
        }
        self.said.clone_from(&why);
        let away = Event::Away { source: SOURCE.to_owned(), why };
        self.events.send(away).await.map_err(|_| KeeperGone)
    }
}
