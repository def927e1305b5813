//! The mirror's task: reads on from the cursor, writes, and tells the keeper how far it came.

use std::sync::Arc;
use std::time::Duration;

use tokio_util::sync::CancellationToken;

use super::points::{NoPoint, Point, point};
use super::server::{Refusal, Server, write_all};
use super::{Dating, Portion, Source};
use crate::clock::Clock;
use crate::keeper::event::Event;
use crate::keeper::handle::Handle;
use crate::supervise::Outcome;

/// Points of one call: about 400 kB, and cheap to make again.
pub const POINTS_AT_ONCE: usize = 5_000;
/// Batches read at once: a few hours of commits.
const BATCHES_AT_ONCE: usize = 256;
/// First and longest pause while the other side is away.
const AWAY: (Duration, Duration) = (Duration::from_secs(5), Duration::from_secs(300));
/// The pause when it will not have anything from us.
const REFUSED: Duration = Duration::from_secs(600);
/// The pause when the ledger cannot be read.
const UNREADABLE: Duration = Duration::from_secs(60);

/// Copies what is new, until `stop`.
///
/// # Errors
///
/// When the keeper is gone while nobody asked to stop. A database that is away is not the end of the program.
pub async fn run<S: Source, W: Server>(
    source: S,
    server: W,
    keeper: Handle,
    clock: Arc<dyn Clock>,
    stop: CancellationToken,
) -> Outcome {
    let mirror = Mirror { source, server, keeper, clock, cursor: None, away: None, pause: AWAY.0 };
    // A call that is cut off here is made again after the next start, and overwrites what it wrote.
    tokio::select! {
        outcome = mirror.follow() => outcome,
        () = stop.cancelled() => Ok(()),
    }
}

struct Mirror<S, W> {
    source: S,
    server: W,
    keeper: Handle,
    clock: Arc<dyn Clock>,
    /// The last batch the other side has; read from the ledger at first.
    cursor: Option<i64>,
    /// What was last said about the other side being away.
    away: Option<String>,
    /// The next pause while it is away.
    pause: Duration,
}

/// What to do next.
enum Next {
    /// There may be more.
    On,
    /// Nothing new: until the next commit.
    Rest,
    /// Trouble: not before this long.
    After(Duration),
}

impl<S: Source, W: Server> Mirror<S, W> {
    async fn follow(mut self) -> Outcome {
        loop {
            self.keeper.glance.borrow_and_update();
            match self.turn().await? {
                Next::On => {}
                Next::Rest => self.keeper.glance.changed().await.map_err(|_| gone())?,
                Next::After(pause) => tokio::time::sleep(self.clock.real(pause)).await,
            }
        }
    }

    /// Copies the next few batches.
    async fn turn(&mut self) -> Result<Next, String> {
        let (cursor, portions) = match self.read() {
            Ok(read) => read,
            Err(why) => {
                self.say_away(Some(format!("the ledger cannot be read: {why}"))).await?;
                return Ok(Next::After(UNREADABLE));
            }
        };
        let (mut points, seq) = gather(portions);
        let Some(seq) = seq.filter(|seq| *seq > cursor) else { return Ok(Next::Rest) };
        while !points.is_empty() {
            let rest = points.split_off(points.len().min(POINTS_AT_ONCE));
            match write_all(&self.server, std::mem::replace(&mut points, rest)).await {
                Ok(aside) => {
                    for aside in aside {
                        tracing::warn!(point = ?aside.point, why = %aside.why, "the mirror set a point aside");
                    }
                }
                Err(refusal) => return self.refused(refusal).await.map(Next::After),
            }
        }
        self.cursor = Some(seq);
        self.pause = AWAY.0;
        self.say_away(None).await?;
        self.send(Event::Mirrored { seq }).await?;
        Ok(Next::On)
    }

    fn read(&mut self) -> Result<(i64, Vec<Portion>), String> {
        let cursor = match self.cursor {
            Some(cursor) => cursor,
            None => self.source.cursor()?,
        };
        self.cursor = Some(cursor);
        Ok((cursor, self.source.after(cursor, BATCHES_AT_ONCE)?))
    }

    async fn refused(&mut self, refusal: Refusal) -> Result<Duration, String> {
        let (why, pause) = match refusal {
            Refusal::Away(why) => {
                let pause = self.pause;
                self.pause = AWAY.1.min(pause * 2);
                (why, pause)
            }
            Refusal::Us(why) | Refusal::Points(why) => (format!("it takes nothing from us: {why}"), REFUSED),
        };
        self.say_away(Some(why)).await?;
        Ok(pause)
    }

    async fn say_away(&mut self, why: Option<String>) -> Outcome {
        if self.away == why {
            return Ok(());
        }
        self.away.clone_from(&why);
        self.send(Event::Away { source: "mirror".to_owned(), why }).await
    }

    /// Waits for room in the keeper's queue: the mirror has time.
    async fn send(&self, event: Event) -> Outcome {
        self.keeper.events.send(event).await.map_err(|_| gone())
    }
}

fn gone() -> String {
    "the keeper has stopped".to_owned()
}

/// The points of whole batches up to about one call's worth, and the number of the last batch they cover.
fn gather(portions: Vec<Portion>) -> (Vec<Point>, Option<i64>) {
    let mut points = Vec::new();
    let mut seq = None;
    for portion in portions {
        if portion.dating == Dating::Waits || points.len() >= POINTS_AT_ONCE {
            break;
        }
        seq = Some(portion.seq);
        if portion.dating == Dating::Never {
            continue;
        }
        for reading in &portion.readings {
            match point(reading) {
                Ok(point) => points.push(point),
                Err(NoPoint::Nothing(_)) => {}
                Err(why) => tracing::warn!(seq = portion.seq, %why, "the mirror leaves a reading out"),
            }
        }
    }
    (points, seq)
}

#[cfg(test)]
#[path = "copy_tests.rs"]
mod tests;
