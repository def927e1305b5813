//! The only place that spawns: every task and thread has a name and is joined.
//!
//! The first task to end stops all others, which then have a grace; whoever is late is named.
//! The service manager restarts the program; tasks do not restart each other.

use std::collections::HashMap;
use std::future::Future;
use std::time::Duration;

use tokio::task::{Id, JoinSet};
use tokio_util::sync::CancellationToken;

/// How a task ended: well, or with a sentence.
pub type Outcome = Result<(), String>;

/// Why the program stopped.
#[derive(Debug, PartialEq, Eq, thiserror::Error)]
pub enum Failure {
    /// A task ended with an error.
    #[error("{task}: {cause}")]
    Task {
        /// Its name.
        task: &'static str,
        /// What it said.
        cause: String,
    },
    /// A task panicked.
    #[error("{task} stopped unexpectedly")]
    Panic {
        /// Its name.
        task: &'static str,
    },
    /// Tasks did not end within the grace.
    #[error("still running after {}s: {}", grace.as_secs_f64(), tasks.join(", "))]
    Overran {
        /// How long they had.
        grace: Duration,
        /// Their names, sorted.
        tasks: Vec<&'static str>,
    },
}

/// The tasks of the program.
#[derive(Debug, Default)]
pub struct Tasks {
    running: JoinSet<Outcome>,
    names: HashMap<Id, &'static str>,
    stop: CancellationToken,
}

impl Tasks {
    /// None yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// None yet; they stop when `stop` says so, besides by themselves.
    pub fn under(stop: &CancellationToken) -> Self {
        Self { stop: stop.child_token(), ..Self::default() }
    }

    /// The word to watch for: cancelled when the program is to stop.
    pub fn stop(&self) -> CancellationToken {
        self.stop.clone()
    }

    /// Starts a task, handing it the word to watch for.
    pub fn spawn<F>(&mut self, name: &'static str, task: impl FnOnce(CancellationToken) -> F)
    where
        F: Future<Output = Outcome> + Send + 'static,
    {
        let id = self.running.spawn(task(self.stop())).id();
        self.names.insert(id, name);
    }

    /// Starts a plain thread (a bus owner, the keeper), handing it the word to watch for.
    pub fn spawn_blocking(
        &mut self,
        name: &'static str,
        work: impl FnOnce(CancellationToken) -> Outcome + Send + 'static,
    ) {
        let stop = self.stop();
        let id = self.running.spawn_blocking(move || work(stop)).id();
        self.names.insert(id, name);
    }

    /// Waits for all tasks. The first to end stops the rest, which then have `grace` to finish.
    ///
    /// # Errors
    ///
    /// The first thing that went wrong, when anything did.
    pub async fn join(mut self, grace: Duration) -> Result<(), Failure> {
        let stop = self.stop();
        let deadline = async move {
            stop.cancelled().await;
            tokio::time::sleep(grace).await;
        };
        tokio::pin!(deadline);
        let mut verdict = Ok(());
        loop {
            let ended = tokio::select! {
                ended = self.running.join_next_with_id() => ended,
                () = &mut deadline => {
                    self.running.abort_all();
                    let mut tasks: Vec<_> = self.names.into_values().collect();
                    tasks.sort_unstable();
                    return verdict.and(Err(Failure::Overran { grace, tasks }));
                }
            };
            let Some(ended) = ended else { return verdict };
            self.stop.cancel();
            let id = match &ended {
                Ok((id, _)) => *id,
                Err(error) => error.id(),
            };
            let task = self.names.remove(&id).unwrap_or("unnamed");
            verdict = verdict.and(match ended {
                Ok((_, outcome)) => outcome.map_err(|cause| Failure::Task { task, cause }),
                Err(_) => Err(Failure::Panic { task }),
            });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const GRACE: Duration = Duration::from_secs(5);

    #[tokio::test(start_paused = true)]
    async fn the_first_to_fail_stops_the_rest_and_is_named() {
        let mut tasks = Tasks::new();
        tasks.spawn("patient", |stop| async move {
            stop.cancelled().await;
            Ok(())
        });
        tasks.spawn("hasty", |_| async { Err("out of luck".to_owned()) });
        let verdict = tasks.join(GRACE).await;
        assert_eq!(verdict, Err(Failure::Task { task: "hasty", cause: "out of luck".to_owned() }));
    }

    #[tokio::test(start_paused = true)]
    async fn one_that_ignores_the_word_is_cut_off_and_named() {
        let mut tasks = Tasks::new();
        tasks.spawn("deaf", |_| std::future::pending());
        tasks.stop().cancel();
        let verdict = tasks.join(GRACE).await;
        assert_eq!(verdict, Err(Failure::Overran { grace: GRACE, tasks: vec!["deaf"] }));
    }
}
