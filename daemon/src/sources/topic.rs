//! MQTT topics and topic filters.
//!
//! A topic is a path of levels parted by `/`. A filter names many topics: `+` stands for one whole level,
//! `#` at the end for any number of further levels, none included. Topics that begin with `$` are a
//! broker's own and are met only by filters that name that first level.
//!
//! # Source
//!
//! MQTT Version 3.1.1, OASIS Standard (2014), section 4.7.

/// Why a filter is not one.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FilterFault {
    /// Empty, over 65,535 bytes, or with a NUL in it.
    #[error("a topic is 1 to 65535 bytes without a NUL")]
    Length,
    /// `#` elsewhere than alone in the last level.
    #[error("'#' stands alone and last, as in garden/#")]
    Hash,
    /// `+` beside other characters in its level.
    #[error("'+' stands alone between slashes, as in garden/+/air")]
    Plus,
    /// A shared subscription, which would give part of the messages to somebody else.
    #[error("'$share' would let another client take part of the readings")]
    Shared,
}

/// Checks that `filter` is a topic filter we may subscribe to.
///
/// # Errors
///
/// [`FilterFault`].
pub fn check_filter(filter: &str) -> Result<(), FilterFault> {
    if filter.is_empty() || filter.len() > 65_535 || filter.contains('\0') {
        return Err(FilterFault::Length);
    }
    let mut levels = filter.split('/').peekable();
    if levels.peek() == Some(&"$share") {
        return Err(FilterFault::Shared);
    }
    while let Some(level) = levels.next() {
        if level.contains('#') && (level != "#" || levels.peek().is_some()) {
            return Err(FilterFault::Hash);
        }
        if level.contains('+') && level != "+" {
            return Err(FilterFault::Plus);
        }
    }
    Ok(())
}

/// Whether `topic` may be published to: no wildcard, no NUL, 1 to 65,535 bytes.
pub fn is_topic(topic: &str) -> bool {
    !topic.is_empty() && topic.len() <= 65_535 && !topic.contains(['+', '#', '\0'])
}

/// One level of a topic: what is not a letter, digit, `_`, `-` or `.` becomes `_`, so that no name can reach another
/// topic or act as a wildcard (MQTT 3.1.1, 4.7).
pub fn one_level(text: &str) -> String {
    text.chars().map(|c| if c.is_ascii_alphanumeric() || "_-.".contains(c) { c } else { '_' }).collect()
}

/// Whether `filter` meets `topic`.
pub fn matches(filter: &str, topic: &str) -> bool {
    if topic.starts_with('$') && filter.starts_with(['+', '#']) {
        return false;
    }
    let mut topic = topic.split('/');
    for wanted in filter.split('/') {
        match (wanted, topic.next()) {
            // Also where the topic has ended: "sport/#" meets "sport".
            ("#", _) => return true,
            ("+", Some(_)) => {}
            (wanted, Some(level)) if wanted == level => {}
            _ => return false,
        }
    }
    topic.next().is_none()
}

/// Whether `topic` lies under `prefix`: the prefix itself, or below it.
pub fn is_under(prefix: &str, topic: &str) -> bool {
    let prefix = prefix.trim_end_matches('/');
    topic.strip_prefix(prefix).is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
}

#[cfg(test)]
mod tests {
    use super::*;
    use config::site::overlap;
    use proptest::prelude::*;

    #[test]
    fn the_examples_of_the_standard_match_as_it_says() {
        // MQTT 3.1.1, sections 4.7.1.2, 4.7.1.3 and 4.7.2 (non-normative comments).
        for (filter, topic, expected) in [
            ("sport/tennis/player1/#", "sport/tennis/player1", true),
            ("sport/tennis/player1/#", "sport/tennis/player1/ranking", true),
            ("sport/#", "sport", true),
            ("sport/tennis/+", "sport/tennis/player1", true),
            ("sport/tennis/+", "sport/tennis/player2", true),
            ("sport/tennis/+", "sport/tennis/player1/ranking", false),
            ("sport/+", "sport", false),
            ("sport/+", "sport/", true),
            ("+/+", "/finance", true),
            ("/+", "/finance", true),
            ("+", "/finance", false),
            ("#", "$SYS/broker", false),
            ("+/monitor/Clients", "$SYS/monitor/Clients", false),
            ("$SYS/#", "$SYS/broker/load", true),
            ("$SYS/monitor/+", "$SYS/monitor/Clients", true),
        ] {
            assert_eq!(matches(filter, topic), expected, "{filter} {topic}");
        }
    }

    #[test]
    fn the_examples_of_the_standard_are_taken_and_refused_as_it_says() {
        // MQTT 3.1.1, sections 4.7.1.2 and 4.7.1.3.
        for good in ["#", "sport/tennis/#", "+", "+/tennis/#", "sport/+/player1", "/+", "$SYS/#"] {
            assert_eq!(check_filter(good), Ok(()), "{good}");
        }
        assert_eq!(check_filter("sport/tennis#"), Err(FilterFault::Hash));
        assert_eq!(check_filter("sport/tennis/#/ranking"), Err(FilterFault::Hash));
        assert_eq!(check_filter("sport+"), Err(FilterFault::Plus));
        assert_eq!(check_filter(""), Err(FilterFault::Length));
        assert_eq!(check_filter("$share/a/b"), Err(FilterFault::Shared));
    }

    #[test]
    fn filters_that_share_a_topic_overlap() {
        for (one, other, expected) in [
            ("garden/+/air", "garden/house/+", true),
            ("garden/#", "garden", true),
            ("garden/#", "garden/house/air", true),
            ("garden/+", "garden/house/air", false),
            ("garden/house", "garden/bed", false),
            ("garden/a/+", "garden/b/+", false),
            ("#", "$SYS/#", false),
            ("#", "+/+/+", true),
        ] {
            assert_eq!(overlap(one, other), expected, "{one} {other}");
            assert_eq!(overlap(other, one), expected, "{other} {one}");
        }
    }

    #[test]
    fn no_name_reaches_another_topic() {
        assert_eq!(one_level("too-hot.house-2"), "too-hot.house-2");
        assert_eq!(one_level("a/b+#\n$ é"), "a_b______");
    }

    #[test]
    fn a_prefix_ends_at_a_level() {
        assert!(is_under("glasshour", "glasshour/notice"));
        assert!(is_under("glasshour/", "glasshour"));
        assert!(!is_under("glasshour", "glasshours/notice"));
    }

    fn level() -> impl Strategy<Value = &'static str> {
        prop::sample::select(vec!["a", "b", "+", "", "$c"])
    }

    fn filter() -> impl Strategy<Value = String> {
        (prop::collection::vec(level(), 1..4), any::<bool>())
            .prop_map(|(levels, open)| levels.join("/") + if open { "/#" } else { "" })
    }

    proptest! {
        #[test]
        fn what_two_filters_both_meet_shows_that_they_overlap(
            one in filter(), other in filter(),
            topic in prop::collection::vec(prop::sample::select(vec!["a", "b", "", "$c"]), 1..4)
        ) {
            let topic = topic.join("/");
            prop_assert!(!(matches(&one, &topic) && matches(&other, &topic)) || overlap(&one, &other));
        }
    }
}
