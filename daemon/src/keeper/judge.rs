//! Judging: every minder looks, tells what changed, and says when it wants to look again.

pub(super) mod soil;

use agronomy::quantity::Quantity;

use super::engine::Engine;
use crate::calendar::{Day, date};
use crate::entry::Step;
use crate::ground::Hang;
use crate::minders::place_now::PlaceNow;
use crate::minders::silent::ProbeNow;
use crate::minders::{dome, night, silent, teller};

impl Engine {
    /// Lets every minder look at the present moment.
    pub(super) fn judge(&mut self) -> Vec<Step> {
        let mut verdicts = Vec::new();
        let mut wake = i64::MAX;
        let calendar = self.site.calendar.clone();
        let today = calendar.day_of(self.now_ms());
        if self.light.as_ref().is_none_or(|light| light.day != today) {
            self.light = Some(self.site.light(today));
        }
        let mut book = std::mem::take(&mut self.book);
        let mut minders = std::mem::take(&mut self.minders);
        let places: Vec<_> = self.ground.places.iter().map(|place| self.place_now(place)).collect();
        for (place, now) in self.ground.places.iter().zip(&places) {
            let mind = minders.entry(now.place.to_owned()).or_default();
            verdicts.extend(mind.heat.judge(now, &calendar, &book));
            verdicts.push(mind.air.judge(now, mind.heat.ladder.current(), &calendar));
            verdicts.extend(night::judge(now, &book));
            verdicts.extend(self.judge_soil(place, now, &mut mind.soil, &book));
            // When the value of the moment stops being held, what was known is not known any more.
            let asked = [mind.heat.wake(now), mind.air.wake(now), mind.soil.wake(), now.air_until_ms];
            wake = asked.into_iter().flatten().filter(|at| *at > now.now_ms).fold(wake, i64::min);
        }
        for hang in &self.ground.hangs {
            if !hang.overlaps(self.now_ms(), self.now_ms() + 1) {
                continue;
            }
            let now = self.probe_now(hang, places.iter().find(|now| now.place == hang.place));
            verdicts.extend(silent::judge(&now, &calendar));
            wake = now.told_from().filter(|at| *at > now.now_ms).map_or(wake, |at| wake.min(at));
        }
        verdicts.push(dome::judge(&self.ground.entries, &calendar, self.now_ms()));
        let steps = teller::tell(&mut book, self.now_ms(), &date(today), verdicts);
        let answers = book.wake(self.now_ms());
        wake = wake.min(self.next_clock_moment(today)).min(answers.unwrap_or(i64::MAX));
        self.book = book;
        self.minders = minders;
        self.told.extend(steps.iter().cloned());
        self.set_wake(wake);
        steps
    }

    /// The next moment at which the clock alone matters: 05:00 (a day of heat), 08:00 and 21:00 of civil time (the nights), and
    /// the last evening of a heat wave.
    fn next_clock_moment(&self, today: Day) -> i64 {
        let calendar = &self.site.calendar;
        let moment = |day: Day, civil_hour: i64| {
            let start = calendar.start_of(day);
            let civil_ms = i64::from(calendar.civil_offset_s(start + 12 * 3_600_000)) * 1000;
            start + civil_hour * 3_600_000 + calendar.offset_ms() - civil_ms
        };
        [moment(today, 5), moment(today, 8), moment(today, 21), moment(today + 1, 5)]
            .into_iter()
            .filter(|at| *at > self.now_ms())
            .fold(i64::MAX, i64::min)
    }

    fn probe_now<'a>(&self, hang: &'a Hang, here: Option<&PlaceNow<'a>>) -> ProbeNow<'a> {
        let now_ms = self.now_ms();
        let newest = self.tracks.newest(&hang.probe, Quantity::AirTemperature, now_ms);
        let line = here.and_then(|now| {
            let crop = now.tenderest().map(|it| it.lines.severe_c);
            crop.into_iter().chain(now.place_line_c).reduce(f64::min)
        });
        let near = newest.zip(line).is_some_and(|((_, t_c), line)| t_c >= line - 3.0);
        ProbeNow {
            now_ms,
            probe: &hang.probe,
            place_name: here.map_or(hang.place.as_str(), |now| now.name),
            usual_interval_ms: hang.usual_interval_ms,
            heard_ms: self.tracks.last_heard(&hang.probe, now_ms).filter(|at| *at >= hang.from_ms),
            last_air: newest.map(|(_, t_c)| (t_c, None)),
            limit_near: near,
            place_still_seen: here.is_some_and(|now| now.air.is_some()),
        }
    }
}
