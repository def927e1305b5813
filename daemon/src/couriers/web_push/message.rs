//! What a phone is told: a step as JSON, small enough for every push service, and the header fields beside it.

use agronomy::crop::Severity;
use ring::digest::{SHA256, digest};
use serde_json::json;

use super::base64url::encode;
use crate::couriers::STEP_LIFE_MS;
use crate::couriers::route::rises;
use crate::entry::{Step, Turn};

/// The longest message before it is encrypted, bytes: some services take less than the 4096 of the standard.
const LONGEST: usize = 3000;
/// The longest title kept, characters.
const LONGEST_TITLE: usize = 200;
/// The length of a topic, characters (RFC 8030, 5.4).
const TOPIC: usize = 32;

/// A message, the same for each phone and at each try.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Message {
    /// JSON: `id`, `notice`, `step`, `title`, `text`, `severity`, `loud`, `buttons`.
    pub(super) text: String,
    /// `high` wakes a sleeping phone, `normal` does not (RFC 8030, 5.3).
    pub(super) urgency: &'static str,
    /// A newer message of the same topic replaces an older one that was not fetched yet (RFC 8030, 5.4).
    pub(super) topic: String,
}

impl Message {
    /// `id` is the errand's public id, `epoch` names the ledger.
    pub(super) fn of(step: &Step, id: &str, epoch: &str) -> Self {
        let urgency = if step.severity >= Severity::Severe { "high" } else { "normal" };
        Self { text: text(step, id), urgency, topic: topic(&step.notice, epoch) }
    }
}

/// How long the push service may keep a message, s: what is left of the step's life.
pub(super) fn life_s(expires_ms: i64, now_ms: i64) -> i64 {
    expires_ms.saturating_sub(now_ms).clamp(0, STEP_LIFE_MS) / 1000
}

fn text(step: &Step, id: &str) -> String {
    let loud = rises(step.turn);
    let buttons: &[&str] = if step.turn == Turn::Closed { &[] } else { &["on-it", "later"] };
    let title: String = step.title.chars().take(LONGEST_TITLE).collect();
    let written = |words: &str| {
        json!({
            "id": id, "notice": step.notice, "step": step.number, "title": title, "text": words,
            "severity": step.severity, "loud": loud, "buttons": buttons,
        })
        .to_string()
    };
    let words = step.text_under_title();
    let whole = written(&words);
    if whole.len() <= LONGEST {
        return whole;
    }
    // The page has all of it. A sign of the text takes at least one byte, so this ends.
    let mut kept = words.chars().count();
    loop {
        kept = kept.saturating_sub(50);
        let cut: String = words.chars().take(kept).collect();
        let cut = written(&format!("{cut}…"));
        if cut.len() <= LONGEST || kept == 0 {
            return cut;
        }
    }
}

/// 32 signs from the notice's id, of an alphabet that is safe in addresses. Of the ledger's name too: a restored copy
/// has other notices under the same ids.
fn topic(notice: &str, epoch: &str) -> String {
    let mut topic = encode(digest(&SHA256, format!("{epoch}\n{notice}").as_bytes()).as_ref());
    topic.truncate(TOPIC);
    topic
}

#[cfg(test)]
mod tests {
    use serde_json::Value;

    use super::*;
    use crate::entry::fixtures;

    fn step(turn: Turn, severity: Severity, text: &str) -> Step {
        Step {
            notice: "2031-07-02.house.too-hot~1".to_owned(),
            number: 2,
            turn,
            text: text.to_owned(),
            caution: "Do not go in.".to_owned(),
            ..fixtures::step(1_940_760_000_000, severity, "Open the far door from outside")
        }
    }

    fn read(message: &Message) -> Value {
        serde_json::from_str(&message.text).unwrap()
    }

    #[test]
    fn the_phone_learns_what_to_show_and_what_may_be_answered() {
        let told = step(Turn::Worsened, Severity::Severe, "House at 41.");
        let message = Message::of(&told, "step-41.e5", "e5");
        let wanted = json!({
            "id": "step-41.e5", "notice": "2031-07-02.house.too-hot~1", "step": 2,
            "title": "Open the far door from outside", "text": "House at 41. Do not go in.",
            "severity": "severe", "loud": true, "buttons": ["on-it", "later"],
        });
        assert_eq!((read(&message), message.urgency), (wanted, "high"));
        let again = Message::of(&step(Turn::Again, Severity::Severe, "House at 41."), "step-43.e5", "e5");
        assert_eq!(read(&again)["loud"], true);
        let closed = Message::of(&step(Turn::Closed, Severity::Moderate, "House at 30."), "step-42.e5", "e5");
        let closed_says = read(&closed);
        assert_eq!((&closed_says["loud"], &closed_says["buttons"]), (&json!(false), &json!([])));
        assert_eq!(closed.urgency, "normal");
    }

    #[test]
    fn one_notice_is_one_topic_of_32_safe_signs() {
        // RFC 8030, 5.4: no more than 32 characters from the URL and filename safe base64 alphabet.
        let of = |turn, epoch| Message::of(&step(turn, Severity::Severe, ""), "x", epoch).topic;
        let topic = of(Turn::Opened, "e5");
        assert_eq!(topic.len(), 32);
        assert!(topic.bytes().all(|sign| sign.is_ascii_alphanumeric() || b"-_".contains(&sign)), "{topic}");
        assert_eq!(of(Turn::Closed, "e5"), topic);
        assert_ne!(of(Turn::Opened, "e6"), topic);
    }

    #[test]
    fn no_text_makes_a_message_of_more_than_3000_bytes() {
        for long in ["x".repeat(9000), "°".repeat(4000), "\"\\\u{1}".repeat(2000), "日".repeat(960)] {
            let mut told = step(Turn::Opened, Severity::Extreme, &long);
            told.title = "\"".repeat(1000);
            let message = Message::of(&told, "step-41.e5", "e5");
            assert!(message.text.len() <= 3000, "{}", message.text.len());
            let shown = read(&message);
            assert!(shown["text"].as_str().unwrap().ends_with('…'));
            assert!(long.starts_with(shown["text"].as_str().unwrap().trim_end_matches('…')));
        }
    }

    #[test]
    fn a_message_is_kept_no_longer_than_the_step_is_news() {
        assert_eq!(life_s(10_000_500, 500), 10_000);
        assert_eq!(life_s(500, 500), 0);
        assert_eq!(life_s(400, 500), 0);
        // Told from memory: it has no end of its own.
        assert_eq!(life_s(i64::MAX, 500), 6 * 3600);
    }
}
