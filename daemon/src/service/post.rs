//! Mail: to the grower at once, and to others when nobody has seen what is severe.

use std::sync::Arc;

use config::site::When;

use crate::calendar_out::Desk;
use crate::clock::Clock;
use crate::couriers::shelf::Shelf;
use crate::couriers::{email, runner};
use crate::keeper::core::Core;
use crate::keeper::handle::Handle;
use crate::service::settings;
use crate::supervise::Tasks;

/// Every address mail goes to, each with its own view of the outbox.
pub(super) struct Post {
    ways: Vec<(email::Settings, Shelf, When)>,
}

impl Post {
    pub(super) fn open(file: &config::site::Site, core: &Core) -> Result<Self, String> {
        let reader = || core.ledger().reader().map_err(|error| error.to_string());
        let mut ways = Vec::new();
        for (number, settings) in settings::mail(file)?.into_iter().enumerate() {
            let first = file.mail.as_ref().map(|mail| mail.when).unwrap_or_default();
            let when = if number == 0 { first } else { When::Unseen };
            let shelf = settings::shelf(reader()?, when);
            ways.push((settings, shelf, when));
        }
        Ok(Self { ways })
    }

    pub(super) fn start(
        self,
        handle: &Handle,
        clock: &Arc<dyn Clock>,
        epoch: &str,
        desk: &Arc<Desk>,
        page: Option<&String>,
        tasks: &mut Tasks,
    ) -> Result<(), String> {
        for (settings, shelf, when) in self.ways {
            let (epoch, glance) = (epoch.to_owned(), handle.glance.clone());
            let courier = email::Email::new(&settings, epoch, glance, crate::page::letter)
                .map_err(|error| error.to_string())?
                .answered_at(page.cloned())
                .to_the_next(when == When::Unseen)
                .enclosing(Arc::clone(desk), handle.clone());
            let (handle, clock) = (handle.clone(), Arc::clone(clock));
            tasks.spawn("e-mail", |stop| runner::run(courier, shelf, handle, clock, stop));
        }
        Ok(())
    }
}
