//! The couriers over the web: web push and webhook, opened before the keeper takes the ledger.

use std::sync::Arc;

use super::settings;
use crate::clock::Clock;
use crate::couriers::shelf::Shelf;
use crate::couriers::web_push::own_key::own_key;
use crate::couriers::web_push::vapid::Vapid;
use crate::couriers::{runner, web_push, webhook};
use crate::keeper::core::Core;
use crate::keeper::handle::Handle;
use crate::ledger::Reader;
use crate::supervise::Tasks;

/// What the site file names of them.
pub(super) struct Web {
    /// Settings, key, its rows, and a reader for its phones.
    pub(super) push: Option<(web_push::Settings, Vapid, Shelf, Reader)>,
    hook: Option<(webhook::Settings, Shelf)>,
}

impl Web {
    /// Reads settings and secrets; makes the key where there is none.
    ///
    /// # Errors
    ///
    /// In words: what is missing or cannot be read.
    pub(super) fn open(file: &config::site::Site, core: &Core) -> Result<Self, String> {
        let reader = || core.ledger().reader().map_err(|error| error.to_string());
        let push = match settings::web_push(file) {
            Some(settings) => {
                let machine = crate::ledger::machine();
                let key =
                    own_key(&file.ledger.folder, machine.as_deref()).map_err(|error| error.to_string())?;
                let vapid = Vapid::new(&key, settings.contact.clone()).map_err(|error| error.to_string())?;
                let when = file.web_push.as_ref().map(|push| push.when).unwrap_or_default();
                Some((settings, vapid, settings::shelf(reader()?, when), reader()?))
            }
            None => None,
        };
        let hook = match settings::webhook(file)? {
            Some(settings) => {
                let when = file.webhook.as_ref().map(|hook| hook.when).unwrap_or_default();
                Some((settings, settings::shelf(reader()?, when)))
            }
            None => None,
        };
        Ok(Self { push, hook })
    }

    /// Starts their tasks. `epoch` names the ledger.
    ///
    /// # Errors
    ///
    /// In words: what cannot be set up.
    pub(super) fn start(
        self,
        handle: &Handle,
        clock: &Arc<dyn Clock>,
        epoch: &str,
        tasks: &mut Tasks,
    ) -> Result<(), String> {
        if let Some((settings, vapid, shelf, entries)) = self.push {
            let read = move |after| entries.entries_after(after).map_err(|error| error.to_string());
            let (keeper, now) = (handle.clone(), Arc::clone(clock));
            let courier =
                web_push::WebPush::new(&settings, vapid, epoch.to_owned(), Box::new(read), keeper, now)
                    .map_err(|error| error.to_string())?;
            let (handle, clock) = (handle.clone(), Arc::clone(clock));
            tasks.spawn(web_push::NAME, |stop| runner::run(courier, shelf, handle, clock, stop));
        }
        if let Some((settings, shelf)) = self.hook {
            let courier = webhook::Webhook::new(&settings, epoch.to_owned(), Arc::clone(clock))
                .map_err(|error| error.to_string())?;
            let (handle, clock) = (handle.clone(), Arc::clone(clock));
            tasks.spawn(webhook::NAME, |stop| runner::run(courier, shelf, handle, clock, stop));
        }
        Ok(())
    }
}
