//! Which steps go by which courier, and when: pure decisions over what the site file says.
//!
//! A courier either hears of everything at once, or only of what is severe and was seen by nobody for a while: the next
//! way, or the next person. Its rows are written with the step all the same, and wait; whoever reads them drops those
//! that somebody has seen meanwhile. So an escalation survives every restart and needs no timer.

use agronomy::crop::Severity;
use chrono::NaiveTime;

use super::STEP_LIFE_MS;
use crate::calendar::Calendar;
use crate::entry::{Step, Turn};
use crate::ledger::NO_EXPIRY_MS;
use crate::minders::drill::DRILL;

/// How long a severe step may be seen by nobody before the next person is told, ms.
pub const UNSEEN_MS: i64 = 30 * 60_000;

/// Which steps go by a courier.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Route {
    /// The courier's name.
    pub courier: String,
    /// Only steps that may buzz a phone.
    pub pushes_only: bool,
    /// Civil hours in which only severe alarms go: from, to.
    pub quiet: Option<(u32, u32)>,
    /// When the morning letter goes by it, civil time.
    pub letter_at: Option<NaiveTime>,
    /// Only severe steps, and only once nobody has seen them for so long, ms.
    pub unseen_ms: Option<i64>,
}

impl Route {
    /// When a step goes this way, and until when it is of use (UTC ms); none where it does not.
    pub fn when(&self, step: &Step, calendar: &Calendar) -> Option<(i64, i64)> {
        if self.pushes_only && !step.push {
            return None;
        }
        // While nobody knows the time, no hour is quiet and no step is old.
        if step.is_undated() {
            return self.unseen_ms.is_none().then_some((0, NO_EXPIRY_MS));
        }
        let due_ms = match self.unseen_ms {
            Some(_) if step.weight() < Severity::Severe || step.minder == DRILL => return None,
            Some(unseen_ms) if rises(step.turn) => step.at_ms + unseen_ms,
            Some(_) => step.at_ms,
            None => step.at_ms + self.quiet_left_ms(step, calendar),
        };
        Some((due_ms, due_ms + STEP_LIFE_MS))
    }

    /// How long quiet hours hold a step back, ms. A severe alarm, and a drill that somebody just asked for, are not held
    /// back; that something severe eases or is over can wait until morning.
    fn quiet_left_ms(&self, step: &Step, calendar: &Calendar) -> i64 {
        let passes = is_alarm(step) || step.minder == DRILL;
        if passes { 0 } else { self.quiet_left_at(step.at_ms, calendar).unwrap_or(0) }
    }

    /// How much of its quiet hours is left at a moment within them, ms.
    fn quiet_left_at(&self, at_ms: i64, calendar: &Calendar) -> Option<i64> {
        let (from, to) = self.quiet?;
        let (hour, from, to) = (calendar.civil_hour_of(at_ms), f64::from(from), f64::from(to));
        let inside = if from <= to { (from..to).contains(&hour) } else { hour >= from || hour < to };
        inside.then(|| ((to - hour).rem_euclid(24.0) * 3_600_000.0) as i64)
    }

    /// Whether a step rang this way in hours in which nothing rings but what is severe.
    pub fn rang_in_quiet(&self, step: &Step, calendar: &Calendar) -> bool {
        let goes = self.unseen_ms.is_none() && (step.push || !self.pushes_only) && !step.is_undated();
        goes && is_alarm(step) && self.quiet_left_at(step.at_ms, calendar).is_some()
    }
}

/// Whether a step is a severe alarm: news of something severe that somebody must see.
fn is_alarm(step: &Step) -> bool {
    step.weight() >= Severity::Severe && rises(step.turn)
}

/// Whether a step brings news that somebody must see.
pub fn rises(turn: Turn) -> bool {
    matches!(turn, Turn::Opened | Turn::Worsened | Turn::Again)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::entry::fixtures;

    const HOUR: i64 = 3_600_000;
    /// 2 July 2031, 00:00 UTC.
    const DAY: i64 = 1_940_716_800_000;

    fn step(severity: Severity, hour: i64, turn: Turn) -> Step {
        Step { turn, ..fixtures::step(DAY + hour * HOUR, severity, "") }
    }

    fn due(route: &Route, step: &Step) -> Option<i64> {
        route.when(step, &Calendar::fixed(0)).map(|(due, _)| (due - DAY) / 60_000)
    }

    #[test]
    fn quiet_hours_hold_back_all_but_what_is_severe_and_a_drill() {
        let route = Route { pushes_only: true, quiet: Some((22, 5)), ..Route::default() };
        for (hour, wait_h) in [(21, 0), (22, 7), (23, 6), (0, 5), (4, 1), (5, 0), (12, 0)] {
            let wanted = Some((hour + wait_h) * 60);
            assert_eq!(due(&route, &step(Severity::Moderate, hour, Turn::Opened)), wanted, "{hour}");
            for severity in [Severity::Severe, Severity::Extreme] {
                assert_eq!(due(&route, &step(severity, hour, Turn::Opened)), Some(hour * 60), "{hour}");
            }
        }
        let drill = Step { minder: DRILL.to_owned(), ..step(Severity::Minor, 23, Turn::Opened) };
        assert_eq!(due(&route, &drill), Some(23 * 60));
    }

    #[test]
    fn that_something_severe_eases_or_is_over_waits_for_the_end_of_the_quiet_hours_and_lives_on_from_there() {
        let route = Route { pushes_only: true, quiet: Some((22, 5)), ..Route::default() };
        for turn in [Turn::Eased, Turn::Closed] {
            for severity in [Severity::Severe, Severity::Extreme] {
                for (hour, wait_h) in [(21, 0), (23, 6), (2, 3), (5, 0)] {
                    let step = step(severity, hour, turn);
                    let due_ms = DAY + (hour + wait_h) * HOUR;
                    let wanted = Some((due_ms, due_ms + STEP_LIFE_MS));
                    assert_eq!(
                        route.when(&step, &Calendar::fixed(0)),
                        wanted,
                        "{turn:?} {severity:?} {hour}"
                    );
                }
            }
        }
        for turn in [Turn::Opened, Turn::Worsened, Turn::Again] {
            assert_eq!(due(&route, &step(Severity::Severe, 2, turn)), Some(2 * 60), "{turn:?}");
        }
    }

    #[test]
    fn quiet_hours_may_lie_within_one_day() {
        let route = Route { quiet: Some((13, 15)), ..Route::default() };
        for (hour, wait_h) in [(12, 0), (13, 2), (14, 1), (15, 0)] {
            let wanted = Some((hour + wait_h) * 60);
            assert_eq!(due(&route, &step(Severity::Severe, hour, Turn::Closed)), wanted, "{hour}");
        }
    }

    #[test]
    fn the_next_person_is_told_of_severe_things_only_and_after_half_an_hour() {
        let route = Route { pushes_only: true, unseen_ms: Some(UNSEEN_MS), ..Route::default() };
        assert_eq!(due(&route, &step(Severity::Severe, 12, Turn::Opened)), Some(12 * 60 + 30));
        assert_eq!(due(&route, &step(Severity::Extreme, 12, Turn::Again)), Some(12 * 60 + 30));
        assert_eq!(due(&route, &step(Severity::Moderate, 12, Turn::Opened)), None);
        assert_eq!(due(&route, &step(Severity::Severe, 12, Turn::Closed)), Some(12 * 60));
    }

    #[test]
    fn what_may_not_buzz_goes_by_no_courier_that_only_pushes() {
        let quiet = Step { push: false, ..step(Severity::Severe, 12, Turn::Opened) };
        assert_eq!(due(&Route { pushes_only: true, ..Route::default() }, &quiet), None);
        assert_eq!(due(&Route::default(), &quiet), Some(12 * 60));
    }
}
