//! What others say, cut to what can be shown.

/// What is at the bottom of an error, on one line: what lies above only repeats the address.
pub(super) fn causes(error: &dyn std::error::Error) -> String {
    let mut deepest = error;
    while let Some(cause) = deepest.source() {
        deepest = cause;
    }
    one_line(&deepest.to_string())
}

/// At most 200 characters, without line ends.
pub(super) fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ").chars().take(200).collect()
}
