//! The probes at a moment: silent, doubtful, low on battery.

use std::collections::BTreeSet;
use std::ops::Range;

use agronomy::people::caution::Strain;
use agronomy::quantity::Quantity;

use super::felt::feels_like;
use crate::almanac::pages::Readings;
use crate::entry::{Note, PlaceKind};
use crate::ground::Hang;
use crate::keeper::engine::Engine;
use crate::minders::battery::{self, BatteryNow};
use crate::minders::book::Book;
use crate::minders::doubtful::{self, DOUBTFUL, Neighbour, NewChip, ProbeSays, SeriesNow};
use crate::minders::frost::FROST;
use crate::minders::heat::{ON_COURSE, TOO_HOT};
use crate::minders::place_now::PlaceNow;
use crate::minders::silent::{self, ProbeNow};
use crate::minders::word::{Says, Verdict};
use crate::sources;

/// How near a limit must be for blindness to press, °C.
const NEAR_C: f64 = 3.0;
/// How near to what is out of the ordinary a day must have come for a crop's line to count, °C (own choice: tried on a
/// record of two summers).
const UNUSUAL_NEAR_C: f64 = 1.0;
/// How long after a source went away its last messages may come, ms.
const LAST_WORDS_MS: i64 = 2 * 60_000;
/// No crop of the book is harmed by cold in warmer air than this, °C.
const NO_FROST_C: f64 = 8.0;

/// What is said by the air of a place and must say so where that is in doubt.
const RESTS_ON_AIR: [&str; 3] = [TOO_HOT, ON_COURSE, FROST];

impl Engine {
    /// Lets the minders of probes look; when they want to look again, UTC ms. `whole`: it is time to look at hours of
    /// readings too.
    pub(super) fn judge_probes(
        &self,
        places: &[PlaceNow<'_>],
        whole: bool,
        book: &Book,
        verdicts: &mut Vec<Verdict>,
    ) -> Option<i64> {
        let now_ms = self.now_ms();
        let hung = self.ground.hangs.iter().filter(|hang| hang.overlaps(now_ms, now_ms + 1));
        let hung: Vec<(&Hang, Option<&PlaceNow<'_>>)> =
            hung.map(|hang| (hang, places.iter().find(|now| now.place == hang.place))).collect();
        let probes: Vec<ProbeNow<'_>> = hung.iter().map(|(hang, here)| self.probe_now(hang, *here)).collect();
        let matters = |verdict: &Verdict| {
            !matches!(verdict.says, Says::Clear { .. }) || book.get(&verdict.place, verdict.minder).is_some()
        };
        let silent = silent::judge(&probes, self.news.sources().map(sources::line), &self.site.calendar);
        verdicts.extend(silent.into_iter().filter(matters));
        if whole {
            for (hang, here) in &hung {
                let name = here.map_or(hang.place.as_str(), |now| now.name);
                verdicts.extend(Some(self.doubtful(hang, name, book)).filter(matters));
                verdicts.extend(battery::judge(&self.battery_now(hang, name)).filter(matters));
            }
        }
        probes.iter().filter_map(ProbeNow::told_from).filter(|at| *at > now_ms).min()
    }

    /// Adds to what is said of a place's heat and frost that the air temperature it rests on is in doubt: it is told all
    /// the same, for a warning that a doubt held back could be the one that was right.
    pub(super) fn qualify(
        &self,
        places: &[PlaceNow<'_>],
        in_doubt: &BTreeSet<String>,
        verdicts: &mut [Verdict],
    ) {
        for here in places {
            let Some(probe) = self.air_probe(here.place) else { continue };
            if !in_doubt.contains(probe) {
                continue;
            }
            let look = if here.kind.under_cover() { "from outside" } else { "beside it" };
            // A course is said inside the heat notice where there is one: once is enough.
            let is_hot = verdicts.iter().any(|it| is_told(it, TOO_HOT, here.place));
            let rests = RESTS_ON_AIR.iter().filter(|minder| !(is_hot && **minder == ON_COURSE));
            for minder in rests {
                if let Some(verdict) = verdicts.iter_mut().find(|it| is_told(it, minder, here.place))
                    && let Says::Word(word) | Says::Meanwhile(word) = &mut verdict.says
                {
                    word.text += &format!(" Probe {probe} is in doubt: read a thermometer {look}.");
                }
            }
        }
    }

    fn probe_now<'a>(&'a self, hang: &'a Hang, here: Option<&PlaceNow<'a>>) -> ProbeNow<'a> {
        let now_ms = self.now_ms();
        let newest = self.tracks.newest(&hang.probe, Quantity::AirTemperature, now_ms);
        let heard_ms = self.tracks.last_heard(&hang.probe, now_ms).filter(|at| *at >= hang.from_ms);
        let last_c = newest.map(|(_, t_c)| t_c);
        ProbeNow {
            now_ms,
            probe: &hang.probe,
            place: &hang.place,
            place_name: here.map_or(hang.place.as_str(), |now| now.name),
            usual_interval_ms: hang.usual_interval_ms,
            heard_ms,
            heard_before_ms: self.tracks.last_heard(&hang.probe, now_ms - silent::SETTLED_MS),
            last_c,
            in_doubt: self.in_doubt.contains(&hang.probe),
            limit_near: last_c.zip(here).is_some_and(|(t_c, now)| is_near(t_c, now)),
            stay_out: newest
                .zip(here)
                .is_some_and(|((at_ms, t_c), now)| self.kept_out(hang, now, at_ms, t_c)),
            place_still_seen: here.is_some_and(|now| now.air.is_some()),
            away: heard_ms.and_then(|heard_ms| self.away_from(hang, heard_ms)),
        }
    }

    /// Whether the air that a probe last told of was too hot for anybody to go in: past the line of a house, or as warm and
    /// damp as the people's minder says to stay out.
    fn kept_out(&self, hang: &Hang, here: &PlaceNow<'_>, at_ms: i64, t_c: f64) -> bool {
        let rh_pct = self.tracks.newest(&hang.probe, Quantity::RelativeHumidity, self.now_ms());
        let with_it = rh_pct.filter(|(at, _)| (at - at_ms).abs() <= 2 * hang.usual_interval_ms);
        let felt_c = with_it.and_then(|(_, rh_pct)| feels_like(t_c, rh_pct));
        here.kind.under_cover()
            && (here.place_line_c.is_some_and(|line| t_c >= line)
                || felt_c.is_some_and(|felt_c| Strain::of(felt_c) >= Some(Strain::High)))
    }

    /// The source whose going away made a probe fall silent: the line it hangs on, or the broker where that went away
    /// within two intervals of its last word.
    fn away_from(&self, hang: &Hang, heard_ms: i64) -> Option<&str> {
        let away = self.news.away();
        if let Some(own) = away.keys().find(|source| sources::is_of(source, &hang.probe)) {
            return Some(sources::line(own));
        }
        let since_ms = self.news.outages().get(sources::BROKER)?;
        let fits = since_ms - 2 * hang.usual_interval_ms - LAST_WORDS_MS..since_ms + LAST_WORDS_MS;
        fits.contains(&heard_ms).then_some(sources::BROKER)
    }

    fn doubtful(&self, hang: &Hang, place_name: &str, book: &Book) -> Verdict {
        let now_ms = self.now_ms();
        let told = book.get(&hang.probe, DOUBTFUL);
        let noted_ms = self.noted_ms(hang);
        let kind = self.ground.place(&hang.place).map(|it| it.kind);
        let calendar = &self.site.calendar;
        let range = now_ms - doubtful::WET_FILM_MS - 2 * hang.usual_interval_ms..now_ms + 1;
        let series = self.tracks.quantities(&hang.probe).into_iter();
        let series = series
            .filter(|quantity| !quantity.is_of_the_board())
            .map(|quantity| SeriesNow { quantity, taken: self.tracks.taken(&hang.probe, quantity, &range) });
        let (air, _) = self.air_of(&hang.place, range.start, range.end);
        let swing = air.iter().map(|(_, t_c)| *t_c).fold(None, |swing, t_c| match swing {
            None => Some((t_c, t_c)),
            Some((low, high)) => Some((t_c.min(low), t_c.max(high))),
        });
        doubtful::judge(&ProbeSays {
            now_ms,
            probe: &hang.probe,
            place_name,
            usual_interval_ms: hang.usual_interval_ms,
            series: series.collect(),
            air_swing_c: swing.map(|(low, high)| high - low),
            hour: calendar.hour_of(now_ms),
            sunrise_h: calendar.hour_of(self.light_of(calendar.day_of(now_ms)).night_before.end),
            neighbours: self.neighbours(hang, &range, book),
            told_apart: told.is_some_and(doubtful::tells_apart),
            covered: kind.is_some_and(PlaceKind::under_cover),
            placed_ms: noted_ms.max(hang.from_ms),
            told_moved: self.asks_moved(hang, book),
            new_chip: self.new_chip(&hang.probe, noted_ms),
            reads_low: doubtful::reads_low(self.humid.of(&hang.probe), noted_ms.max(hang.from_ms)),
        })
    }

    /// When it was noted where a probe hangs by now, UTC ms. What is noted of an earlier time answers nothing.
    fn noted_ms(&self, hang: &Hang) -> i64 {
        let noted = self.ground.entries.iter().filter(|entry| entry.from_ms == hang.from_ms);
        let noted = noted.filter_map(|entry| match &entry.note {
            Note::Hang { probe, .. } if *probe == hang.probe => Some(entry.at_ms),
            _ => None,
        });
        noted.max().unwrap_or(i64::MIN)
    }

    /// Whether it is asked if a probe was moved, and nobody has noted since where it hangs.
    fn asks_moved(&self, hang: &Hang, book: &Book) -> bool {
        doubtful::asked_ms(book, &hang.probe).is_some_and(|asked_ms| self.noted_ms(hang) < asked_ms)
    }

    /// Whether it is asked if this is still the same probe in the same place.
    pub(in crate::keeper) fn asks_where(&self, hang: &Hang, book: &Book) -> bool {
        self.asks_moved(hang, book) || self.new_chip(&hang.probe, self.noted_ms(hang)).is_some()
    }

    /// The chip that answers as a probe, where it is another than when that was last noted to hang, or than the first.
    fn new_chip(&self, probe: &str, noted_ms: i64) -> Option<NewChip<'_>> {
        let chips = self.news.chips_of(probe);
        let known = chips.iter().rfind(|(at_ms, _)| *at_ms <= noted_ms).or(chips.first())?;
        let (_, serial) = *chips.last()?;
        (serial != known.1).then(|| NewChip { serial, was: self.news.was(serial, probe) })
    }

    /// The other probes of air in the same place, and for one under cover those outside; heard or not.
    /// One of which it is asked whether it still hangs there is no measure.
    fn neighbours(&self, hang: &Hang, range: &Range<i64>, book: &Book) -> Vec<Neighbour<'_>> {
        let now_ms = self.now_ms();
        let kind = |place: &str| self.ground.place(place).map(|it| it.kind);
        let covered = kind(&hang.place).is_some_and(PlaceKind::under_cover);
        let others =
            self.ground.hangs.iter().filter(|it| it.overlaps(now_ms, now_ms + 1) && it.probe != hang.probe);
        let fits = others.filter_map(|it| {
            let outside = covered && kind(&it.place) == Some(PlaceKind::Outdoors);
            let beside = !self.asks_where(it, book) && (outside || it.place == hang.place);
            // Of one that has long been silent it is not known whether it was of air.
            let tells = || {
                let heard = self.tracks.quantities(&it.probe);
                heard.is_empty() || heard.contains(&Quantity::AirTemperature)
            };
            (beside && tells()).then(|| Neighbour {
                probe: &it.probe,
                outside,
                taken: self.tracks.taken(&it.probe, Quantity::AirTemperature, range),
            })
        });
        fits.collect()
    }

    fn battery_now<'a>(&'a self, hang: &'a Hang, place_name: &'a str) -> BatteryNow<'a> {
        let now_ms = self.now_ms();
        let sound = |quantity| {
            let range = now_ms - battery::LOOKED_AT_MS.max(2 * hang.usual_interval_ms)..now_ms + 1;
            self.tracks.sound(&hang.probe, quantity, range).into_iter().map(|(_, value)| value).collect()
        };
        BatteryNow {
            probe: &hang.probe,
            place_name,
            charges_pct: sound(Quantity::BatteryCharge),
            volts: sound(Quantity::Battery),
            low_v: self.ground.battery_lines.get(&hang.probe).copied(),
        }
    }
}

/// Whether a verdict is a word of this minder about this place.
fn is_told(verdict: &Verdict, minder: &str, place: &str) -> bool {
    verdict.minder == minder
        && verdict.place == place
        && matches!(verdict.says, Says::Word(_) | Says::Meanwhile(_))
}

/// Whether the air was near a line that buzzes a phone when it was last heard: the place's own, a crop's on a day that is
/// hotter than usual, or a tender crop's of cold.
fn is_near(t_c: f64, now: &PlaceNow<'_>) -> bool {
    // What happens each day is no danger unseen: on an ordinary day a crop's line buzzes nobody, so blindness must not.
    // Where nobody knows yet what is ordinary, it may.
    let unusual = now.median_high_c.is_none() || now.out_of_the_ordinary(t_c + UNUSUAL_NEAR_C);
    let crop = now.tenderest().is_some_and(|it| unusual && t_c >= it.lines.severe_c - NEAR_C);
    let place = now.place_line_c.is_some_and(|line| t_c >= line - NEAR_C);
    let tender = now.standing.iter().map(|it| it.crop.cold.frost_damage.hi).filter(|line| *line >= -1.0);
    let cold = tender.reduce(f64::max).filter(|_| t_c < NO_FROST_C);
    crop || place || cold.is_some_and(|line| t_c <= line + NEAR_C)
}
