//! How an identifier, a text and a figure may be, whatever ground they are for; and what is said of one that may not.

/// Longest name or text kept, characters.
const LONGEST: usize = 500;

pub(super) fn identifier(what: &str, id: &str) -> Result<(), String> {
    let fits = (1..=40).contains(&id.len())
        && id.bytes().all(|byte| byte.is_ascii_alphanumeric() || b"_-.".contains(&byte));
    fits.then_some(()).ok_or_else(|| {
        format!("{what} {:?} is no identifier: use up to 40 letters, digits, _ - .", escaped(id))
    })
}

pub(super) fn words(what: &str, text: &str) -> Result<(), String> {
    if text.trim().is_empty() {
        return Err(format!("the {what} is empty"));
    }
    if text.chars().count() > LONGEST {
        return Err(format!("the {what} is longer than {LONGEST} characters"));
    }
    Ok(())
}

pub(super) fn within(
    what: &str,
    value: f64,
    range: std::ops::RangeInclusive<f64>,
    unit: &str,
) -> Result<(), String> {
    range
        .contains(&value)
        .then_some(())
        .ok_or_else(|| format!("{what} {value} {unit} cannot be: write {} to {}", range.start(), range.end()))
}

pub(super) fn unique(free: bool, what: &str, id: &str) -> Result<(), String> {
    free.then_some(()).ok_or_else(|| format!("there is a {what} called {id} already"))
}

/// What is not known, and what may have been meant; all that is known where nothing comes near.
pub(super) fn unknown<'a>(what: &str, given: &str, known: impl Iterator<Item = &'a String>) -> String {
    let known: Vec<&str> = known.map(String::as_str).collect();
    let meant = match config::instead(given, known.iter().copied()) {
        Some(meant) => format!("did you mean {meant}?"),
        None => format!("known: {}", known.join(", ")),
    };
    format!("unknown {what} {:?}; {meant}", escaped(given))
}

pub(super) fn escaped(text: &str) -> String {
    text.chars().take(80).collect()
}
