//! The mirror's task: reads on from where it stands, writes, and tells the keeper how far it came.

use std::sync::Arc;
use std::time::Duration;

use tokio_util::sync::CancellationToken;

use super::halving::{SetAside, write_all};
use super::place::Place;
use super::server::{Refusal, Server};
use super::source::POINTS_AT_ONCE;
use super::{Slice, Source};
use crate::clock::Clock;
use crate::glance::MirrorGlance;
use crate::keeper::event::Event;
use crate::keeper::handle::Handle;
use crate::sources::pause::Pause;
use crate::supervise::Outcome;

/// First and longest pause while the other side is away.
const AWAY: (Duration, Duration) = (Duration::from_secs(5), Duration::from_secs(300));
/// The pause when it will not have anything from us.
const REFUSED: Duration = Duration::from_secs(600);
/// The pause when the ledger cannot be read.
const UNREADABLE: Duration = Duration::from_secs(60);

/// Copies what is new, until `stop`. `jitter` gives numbers from 0 to 1: how much of its second half a pause has.
///
/// # Errors
///
/// When the keeper is gone while nobody asked to stop. A database that is away is not the end of the program.
pub async fn run<S: Source, W: Server>(
    source: S,
    server: W,
    keeper: Handle,
    clock: Arc<dyn Clock>,
    jitter: impl FnMut() -> f64 + Send,
    stop: CancellationToken,
) -> Outcome {
    let pause = Pause::new(AWAY.0, AWAY.1);
    let mirror = Mirror {
        source,
        server,
        keeper,
        clock,
        jitter,
        place: None,
        stored: Place::default(),
        away: None,
        pause,
        proven: false,
        standing: MirrorGlance::default(),
        told: None,
    };
    // A call that is cut off here is made again after the next start, and overwrites what it wrote.
    tokio::select! {
        outcome = mirror.follow() => outcome,
        () = stop.cancelled() => Ok(()),
    }
}

struct Mirror<S, W, J> {
    source: S,
    server: W,
    keeper: Handle,
    clock: Arc<dyn Clock>,
    jitter: J,
    /// How far the copy is; read from the ledger at first.
    place: Option<Place>,
    /// How far it is as the ledger has it, or will with the next commit.
    stored: Place,
    /// What was last said about the other side being away.
    away: Option<String>,
    /// The next pause while it is away.
    pause: Pause,
    /// The other side has taken something in this run.
    proven: bool,
    /// How it stands, and how it stood when that was last told.
    standing: MirrorGlance,
    told: Option<MirrorGlance>,
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

impl<S: Source, W: Server, J: FnMut() -> f64> Mirror<S, W, J> {
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

    /// Copies the next slice.
    async fn turn(&mut self) -> Result<Next, String> {
        let slice = match self.read() {
            Ok(read) => read,
            Err(why) => {
                self.say_away(Some(format!("the ledger cannot be read: {why}"))).await?;
                return Ok(Next::After(UNREADABLE));
            }
        };
        let Some(slice) = slice else {
            self.standing.from_beginning &= !self.standing.reached;
            self.tell(Vec::new()).await?;
            return Ok(Next::Rest);
        };
        let Slice { mut points, after, mut marks, undated, left_out } = slice;
        let mut aside = Vec::new();
        while !points.is_empty() {
            let rest = points.split_off(points.len().min(POINTS_AT_ONCE));
            match write_all(&self.server, std::mem::replace(&mut points, rest), self.proven).await {
                Ok(more) => aside.extend(more),
                Err(refusal) => return self.refused(refusal).await.map(Next::After),
            }
            self.proven = true;
        }
        self.note(undated, left_out, aside);
        self.place = Some(after);
        self.look(&after);
        self.standing.reached = true;
        self.pause.reset();
        self.say_away(None).await?;
        marks.extend(after.moved_from(&self.stored));
        self.stored = after;
        self.tell(marks).await?;
        Ok(Next::On)
    }

    fn read(&mut self) -> Result<Option<Slice>, String> {
        let place = match self.place {
            Some(place) => place,
            None => self.begin()?,
        };
        let next = self.source.next(&place)?;
        self.look(&place);
        Ok(next)
    }

    /// Where to go on: where the ledger's cursors stand, or from the beginning where they are another server's.
    fn begin(&mut self) -> Result<Place, String> {
        self.stored = self.source.place()?;
        let server = self.server.number();
        let place =
            if self.stored.server == server { self.stored } else { Place { server, ..Place::default() } };
        if self.stored != place && !self.stored.is_beginning() {
            tracing::info!(
                "the mirror is another server or bucket than before: it is filled from the beginning"
            );
            self.standing.from_beginning = true;
        }
        self.place = Some(place);
        Ok(place)
    }

    /// How far behind that is. A ledger that cannot be read is told where it is read for its readings.
    fn look(&mut self, place: &Place) {
        if let Ok(newest) = self.source.newest() {
            self.standing.behind = newest.saturating_sub(place.batch).max(0);
        }
        self.standing.filling_in = place.until > 0 || place.again > 0;
    }

    /// Counts what will not be in the copy; the log has it when the reason is a new one.
    fn note(&mut self, undated: u64, left_out: (u64, Option<String>), aside: Vec<SetAside>) {
        self.standing.undated += undated;
        let left_out = left_out.1.map(|why| (left_out.0, why.clone(), why));
        let aside =
            aside.into_iter().map(|it| (it.count, it.why.clone(), format!("{} ({:?})", it.why, it.sample)));
        for (count, why, sample) in left_out.into_iter().chain(aside) {
            self.standing.set_aside += count;
            if self.standing.set_aside_why.as_ref() != Some(&why) {
                tracing::warn!(count, %sample, "the mirror set points aside");
                self.standing.set_aside_why = Some(why);
            }
        }
    }

    async fn refused(&mut self, refusal: Refusal) -> Result<Duration, String> {
        let (why, pause) = match refusal {
            Refusal::Away(why) => (why, self.pause.next((self.jitter)())),
            Refusal::Us(why) | Refusal::Points(why) | Refusal::TooOld { why, .. } => {
                (format!("it takes nothing from us: {why}"), REFUSED)
            }
        };
        self.standing.reached = false;
        self.say_away(Some(why)).await?;
        self.tell(Vec::new()).await?;
        Ok(pause)
    }

    async fn say_away(&mut self, why: Option<String>) -> Outcome {
        if self.away == why {
            return Ok(());
        }
        self.away.clone_from(&why);
        self.send(Event::Away { source: "mirror".to_owned(), why }).await
    }

    /// Tells the keeper what moved, and how the copy stands where that is new.
    async fn tell(&mut self, cursors: Vec<(String, i64)>) -> Outcome {
        if cursors.is_empty() && self.told.as_ref() == Some(&self.standing) {
            return Ok(());
        }
        self.told = Some(self.standing.clone());
        self.send(Event::Mirrored { cursors, standing: self.standing.clone() }).await
    }

    /// Waits for room in the keeper's queue: the mirror has time.
    async fn send(&self, event: Event) -> Outcome {
        self.keeper.events.send(event).await.map_err(|_| gone())
    }
}

fn gone() -> String {
    "the keeper has stopped".to_owned()
}

#[cfg(test)]
#[path = "copy_tests.rs"]
mod tests;
