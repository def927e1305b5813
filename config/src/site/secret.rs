//! Passwords, kept out of what is printed.

use std::fmt;
use std::path::PathBuf;

use crate::reader::Table;

/// A password, or the file that holds it.
#[derive(Clone, PartialEq, Eq)]
pub enum Secret {
    /// Written in the site file itself.
    Written(String),
    /// In a file of its own, which only the service may read.
    File(PathBuf),
}

impl fmt::Debug for Secret {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Written(_) => out.write_str("Written(..)"),
            Self::File(path) => out.debug_tuple("File").field(path).finish(),
        }
    }
}

/// Reads `password` or `password_file`, one of them at most.
pub(super) fn secret(table: &Table<'_, '_>) -> Option<Secret> {
    let written = table.text("password");
    let file = table.line("password_file");
    if table.has("password") && table.has("password_file") {
        table.fault("password", "password and password_file are both there; write one of them");
    }
    if written.as_deref() == Some("") {
        table.fault("password", "password is empty; write a long one, or leave it out");
        return None;
    }
    written.map(Secret::Written).or_else(|| file.map(|path| Secret::File(path.into())))
}

/// Reads `user` with its secret; each is a fault without the other.
pub(super) fn account(table: &Table<'_, '_>) -> (Option<String>, Option<Secret>) {
    let (user, secret) = (table.line("user"), secret(table));
    let has_secret = table.has("password") || table.has("password_file");
    if table.has("user") && !has_secret {
        let title = table.title();
        table.fault(
            "user",
            format!("{title} has a user without a password; write password_file = \"/etc/glasshour/...\""),
        );
    }
    if has_secret && !table.has("user") {
        table.need::<()>("user", "user = \"glasshour\"", None);
    }
    (user, secret)
}
