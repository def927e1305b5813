//! How often a test does what it does by chance: a few times in an ordinary run, often where somebody asks for it.

/// The environment variable that asks for the full counts, by the word `full`.
pub const NAME: &str = "GLASSHOUR_COUNTS";

/// The full count where [`NAME`] says `full`, else the ordinary one.
///
/// # Panics
///
/// When the variable says anything else: a misspelt run would prove less than it was meant to.
pub fn of(ordinary: u64, full: u64) -> u64 {
    match std::env::var(NAME).as_deref() {
        Err(_) | Ok("") => ordinary,
        Ok("full") => full,
        Ok(other) => panic!("{NAME}={other}: it may only say full"),
    }
}
