//! What an answer of a push service means, for one phone and for the errand that goes to all of them.

use crate::couriers::outbox::Delivery;
use crate::http_out::{Answer, Trouble};

/// When to ask again after our signature was refused: somebody has to do something first, ms.
const SLOW_MS: i64 = 30 * 60_000;

/// How it went with one phone.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Outcome {
    /// Its push service took the message.
    Took,
    /// There is no such phone any more.
    Gone(String),
    /// This message will never be taken for it.
    Refused(String),
    /// It may work later.
    Later {
        /// What went wrong.
        why: String,
        /// The service's own wish, ms.
        after_ms: Option<i64>,
    },
}

impl Outcome {
    /// Not asked at all, for so many ms more.
    pub(super) fn wait(after_ms: i64) -> Self {
        let why = "its push service wants to be left alone for a while".to_owned();
        Self::Later { why, after_ms: Some(after_ms) }
    }
}

/// Judges one answer (RFC 8030, 5 and 7.3, 8.4; RFC 8292, 4.2).
pub(super) fn judge(called: Result<Answer, Trouble>) -> Outcome {
    let answer = match called {
        Ok(answer) => answer,
        Err(trouble) => return Outcome::Later { why: trouble.to_string(), after_ms: None },
    };
    let status = answer.status.as_u16();
    let later = |why: String| Outcome::Later { why, after_ms: answer.retry_after_ms };
    match status {
        200..300 => Outcome::Took,
        404 | 410 => Outcome::Gone(format!("its push service does not know it any more ({status})")),
        401 | 403 => Outcome::Later {
            why: format!(
                "its push service does not take our signature ({status}): is the board's time right? If so, \
                 subscribe the phone again on the page Ground"
            ),
            after_ms: Some(answer.retry_after_ms.unwrap_or(SLOW_MS)),
        },
        408 | 429 => later(format!("its push service wants to be asked later ({status})")),
        413 => Outcome::Refused(format!("its push service finds the message too long ({status})")),
        300..400 => {
            Outcome::Refused(format!("its push service points elsewhere ({status}), which is not followed"))
        }
        400..500 => Outcome::Refused(format!("its push service refuses the message ({status})")),
        _ => later(format!("its push service is out of order ({status})")),
    }
}

/// What becomes of the errand. `took_before`: phones that took it at an earlier try.
pub(super) fn delivery(took_before: usize, outcomes: Vec<(&str, Outcome)>) -> Delivery {
    let mut took = took_before;
    let (mut waits, mut after, mut refused) = (Vec::new(), Vec::new(), Vec::new());
    for (phone, outcome) in outcomes {
        match outcome {
            Outcome::Took => took += 1,
            Outcome::Gone(why) | Outcome::Refused(why) => refused.push(format!("{phone}: {why}")),
            Outcome::Later { why, after_ms } => {
                waits.push(format!("{phone}: {why}"));
                after.push(after_ms);
            }
        }
    }
    if !waits.is_empty() {
        // The first that may be asked again decides; the others are remembered. One without a wish takes the ladder.
        let after_ms = after.into_iter().collect::<Option<Vec<i64>>>().and_then(|all| all.into_iter().min());
        return Delivery::Later { why: waits.join("; "), after_ms };
    }
    if took > 0 {
        return Delivery::Sent;
    }
    if refused.is_empty() {
        refused.push("no phone receives: subscribe one on the page Ground".to_owned());
    }
    Delivery::Never { why: refused.join("; ") }
}

#[cfg(test)]
mod tests {
    use axum::http::{HeaderMap, StatusCode};

    use super::*;

    fn answered(status: u16, retry_after_ms: Option<i64>) -> Outcome {
        judge(Ok(Answer {
            status: StatusCode::from_u16(status).unwrap(),
            headers: HeaderMap::new(),
            retry_after_ms,
            body: axum::body::Bytes::new(),
        }))
    }

    #[test]
    fn each_answer_means_what_the_standards_say() {
        // RFC 8030, 5: 201 created. 7.3: 404 for an expired subscription; 410 is met in the field.
        assert_eq!(answered(201, None), Outcome::Took);
        for status in [404, 410] {
            assert!(matches!(answered(status, None), Outcome::Gone(_)), "{status}");
        }
        // RFC 8030, 8.4: 429 with Retry-After; RFC 9110, 15.6.4: 503 with it.
        for status in [429, 503] {
            let said = answered(status, Some(120_000));
            assert!(matches!(said, Outcome::Later { after_ms: Some(120_000), .. }), "{status}");
        }
        assert!(matches!(answered(500, None), Outcome::Later { after_ms: None, .. }));
        // RFC 8292, 4.2: 401 or 403 for a token that does not hold.
        for status in [401, 403] {
            assert!(
                matches!(answered(status, None), Outcome::Later { after_ms: Some(SLOW_MS), .. }),
                "{status}"
            );
        }
        // RFC 8030, 7.2: 413.
        for status in [413, 400, 307] {
            assert!(matches!(answered(status, None), Outcome::Refused(_)), "{status}");
        }
        let silent = judge(Err(Trouble::NotReached("refused".to_owned())));
        assert!(matches!(silent, Outcome::Later { after_ms: None, .. }));
    }

    #[test]
    fn an_errand_is_done_when_no_phone_is_left_to_try_and_one_took_it() {
        let gone = || Outcome::Gone("gone".to_owned());
        let later = |after_ms| Outcome::Later { why: "busy".to_owned(), after_ms };
        assert_eq!(delivery(0, vec![("a", Outcome::Took), ("b", gone())]), Delivery::Sent);
        assert_eq!(delivery(1, vec![("b", gone())]), Delivery::Sent);
        assert_eq!(delivery(1, vec![]), Delivery::Sent);
        let why = "b: busy".to_owned();
        let waits = delivery(0, vec![("a", Outcome::Took), ("b", later(Some(9)))]);
        assert_eq!(waits, Delivery::Later { why, after_ms: Some(9) });
        let two = delivery(0, vec![("a", later(Some(9))), ("b", later(Some(5)))]);
        assert_eq!(two, Delivery::Later { why: "a: busy; b: busy".to_owned(), after_ms: Some(5) });
        // One that said nothing is asked on the ladder, whatever another said.
        let two = delivery(0, vec![("a", later(Some(9))), ("b", later(None))]);
        assert!(matches!(two, Delivery::Later { after_ms: None, .. }));
        assert_eq!(delivery(0, vec![("b", gone())]), Delivery::Never { why: "b: gone".to_owned() });
        assert!(matches!(delivery(0, vec![]), Delivery::Never { why } if why.contains("no phone receives")));
    }
}
