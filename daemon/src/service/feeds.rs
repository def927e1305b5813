//! Feeds: what others foretell and warn of, taken in.

use std::sync::Arc;
use std::time::Duration;

use super::settings;
use crate::clock::Clock;
use crate::http_out::Client;
use crate::keeper::handle::Handle;
use crate::outlook::intake::Intake as Forecasts;
use crate::outlook::{fetch, topic};
use crate::sources::warnings;
use crate::supervise::Tasks;

/// What a forecast service may take for an answer.
const OUTLOOK_PATIENCE: Duration = Duration::from_secs(60);

/// The ways by which public warnings come in.
pub(super) fn warnings(
    file: &config::site::Site,
    handle: &Handle,
    clock: &Arc<dyn Clock>,
    tasks: &mut Tasks,
) -> Result<(), String> {
    let Some(settings) = settings::warnings(file)? else { return Ok(()) };
    let listening = Arc::new(settings.listening);
    let intake = warnings::Intake { listening, handle: handle.clone(), clock: Arc::clone(clock) };
    if let Some(feed) = settings.feed {
        let intake = intake.clone();
        tasks.spawn("warnings feed", |stop| warnings::run_feed(feed, intake, stop));
    }
    if let Some(topic) = settings.topic {
        tasks.spawn("warnings topic", |stop| warnings::run_topic(topic, intake, stop));
    }
    Ok(())
}

/// The forecast, from where the site file says.
pub(super) fn outlook(
    file: &config::site::Site,
    handle: &Handle,
    clock: &Arc<dyn Clock>,
    tasks: &mut Tasks,
) -> Result<(), String> {
    use config::site::Way;
    let Some(feed) = file.outlook.as_ref().and_then(|outlook| outlook.feed.as_ref()) else { return Ok(()) };
    let map = settings::outlook_map(feed)?;
    let every = Duration::from_secs(u64::from(feed.every_min) * 60);
    let here = (file.site.latitude, file.site.longitude);
    let intake = Forecasts::new(map, here, every, handle.events.clone(), Arc::clone(clock));
    match &feed.way {
        Way::Url { url, ca } => {
            let url = url.parse().map_err(|error| format!("{url}: {error}"))?;
            let client = Client::new(ca.as_deref(), OUTLOOK_PATIENCE).map_err(|error| error.to_string())?;
            tasks.spawn("outlook", |stop| fetch::run(url, client, intake, stop));
        }
        Way::Topic(topic) => {
            // The site file's check sees to it that there is a broker.
            let Some(broker) = settings::broker(file)? else { return Ok(()) };
            let topic = topic.clone();
            tasks.spawn("outlook", |stop| topic::run(topic, broker, intake, stop));
        }
    }
    Ok(())
}
