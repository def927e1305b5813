//! Probe silent: blind is not calm. Told once twice the usual interval has passed without a reading.

use agronomy::crop::Severity;
use agronomy::series::MS_PER_HOUR;

use super::word::{Verdict, Word};
use crate::calendar::Calendar;

/// The name of the minder.
pub const SILENT: &str = "probe-silent";
/// Shortest silence that is told, ms: a probe that speaks each second may be busy for a while.
const SHORTEST_MS: i64 = 10 * 60_000;

/// Silence longer than this is no news any more, ms.
const NEWS_MS: i64 = 2 * 86_400_000;

/// A probe at a moment.
#[derive(Clone, Debug)]
pub struct ProbeNow<'a> {
    /// The moment, UTC ms.
    pub now_ms: i64,
    /// Its name.
    pub probe: &'a str,
    /// Where it hangs.
    pub place_name: &'a str,
    /// Its usual interval, ms.
    pub usual_interval_ms: i64,
    /// When it last said anything at all, UTC ms; none if never since it was hung.
    pub heard_ms: Option<i64>,
    /// Its last air temperature and slope: °C, °C per hour.
    pub last_air: Option<(f64, Option<f64>)>,
    /// Within 3 °C below a severe line when last heard, or a heat notice is open there: blindness may push.
    pub limit_near: bool,
    /// Another probe still gives the place sound air.
    pub place_still_seen: bool,
}

impl ProbeNow<'_> {
    /// When the silence is long enough to be told, UTC ms.
    pub fn told_from(&self) -> Option<i64> {
        Some(self.heard_ms? + (2 * self.usual_interval_ms + 60_000).max(SHORTEST_MS))
    }
}

/// Judges a probe at a moment. The notice's place is the probe's name.
pub fn judge(now: &ProbeNow<'_>, calendar: &Calendar) -> Option<Verdict> {
    let heard_ms = now.heard_ms?;
    let silent = now.told_from().is_some_and(|from| now.now_ms >= from);
    if !silent {
        let text =
            format!("{} in {}: heard again at {}.", now.probe, now.place_name, calendar.clock(heard_ms));
        return Some(Verdict::clear(SILENT, now.probe, "Heard again.", text));
    }
    // What was last heard days ago says nothing of a limit now: a record taken in wakes nobody.
    let push = now.limit_near && !now.place_still_seen && now.now_ms - heard_ms < NEWS_MS;
    let last = now
        .last_air
        .map_or_else(String::new, |(t_c, slope)| format!("; last {t_c:.1} °C{}", super::words::pace(slope)));
    let word = Word {
        planting: None,
        severity: if now.place_still_seen { Severity::Minor } else { Severity::Moderate },
        push,
        joins_heat: false,
        title: format!("Go and look at {}.", now.place_name),
        text: format!(
            "{} in {}: nothing heard since {}{last}. Battery, cable, shade on the probe? What is not measured is not known.",
            now.probe,
            now.place_name,
            since(heard_ms, now.now_ms, calendar)
        ),
        caution: "",
    };
    Some(Verdict::word(SILENT, now.probe, word))
}

/// A clock time alone says nothing once it is not today's or last night's.
fn since(heard_ms: i64, now_ms: i64, calendar: &Calendar) -> String {
    if now_ms - heard_ms < 20 * MS_PER_HOUR {
        calendar.clock(heard_ms)
    } else {
        calendar.civil_format(heard_ms, "%a %-d %B, %H:%M")
    }
}
