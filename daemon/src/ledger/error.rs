//! What can go wrong with the ledger, by what one would do about it.

use rusqlite::ErrorCode;

/// Why the ledger did not do what was asked.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum LedgerError {
    /// No room is left: nothing was changed; the same call works again when there is room.
    #[error("the disk is full")]
    Full,
    /// The file system takes no writes: it was mounted so, or it gave up after an error and needs a restart.
    #[error("the disk takes no writes (read-only)")]
    ReadOnly,
    /// Reading or writing was refused: acknowledge nothing, call [`reopen`](super::Ledger::reopen).
    #[error("the disk refused: {what}")]
    Io {
        /// What the system said.
        what: String,
    },
    /// Closed after an error and not open again yet.
    #[error("the ledger is closed after an error and not open again yet")]
    Closed,
    /// Another process (or another ledger in this one) holds it.
    #[error("the ledger is held by {by}: ask the running service (name its --site file), or stop it first")]
    Held {
        /// Who.
        by: String,
    },
    /// There is no such file.
    #[error("there is no file {file}")]
    Absent {
        /// Its path.
        file: String,
    },
    /// The file is something else.
    #[error("{file} is not a ledger of this program")]
    NotALedger {
        /// Its path.
        file: String,
    },
    /// Written by a newer program.
    #[error("the ledger has schema {version}, newer than this program's {known}")]
    Newer {
        /// Its schema number.
        version: i64,
        /// The newest this program knows.
        known: i64,
    },
    /// Written by an older program, and not brought up to this one's form yet.
    #[error("the ledger has schema {version}, older than this program's {known}: opening it changes it")]
    Older {
        /// Its schema number.
        version: i64,
        /// The one this program writes.
        known: i64,
    },
    /// The file itself is damaged, beyond single rows.
    #[error("the ledger is damaged: {what}")]
    Damaged {
        /// How.
        what: String,
    },
    /// A file of that name is there already.
    #[error("{file} is there already: name another, or say --replace")]
    There {
        /// Its path.
        file: String,
    },
    /// What a ledger in use is made of may not be written over by a backup.
    #[error("{file} is part of a ledger in use, or would be taken for it: name another place for the backup")]
    InUse {
        /// Its path.
        file: String,
    },
    /// A backup, but of another ledger.
    #[error("the backup is of another ledger: its readings are not this garden's")]
    OtherLedger,
    /// A backup of another ledger than the one it is to take the place of.
    #[error("the backup is of another ledger than the one in place: if that is meant, say --replace-other")]
    OtherInPlace,
    /// What can only be read from a copy cannot be copied.
    #[error("no copy of the ledger can be made in {folder} ({why}): name a folder with room, TMPDIR=FOLDER")]
    NoTemporary {
        /// The folder for temporary files.
        folder: String,
        /// What the system said.
        why: String,
    },
    /// The database refused a statement: a fault of this program.
    #[error("the database refused: {what}")]
    Refused {
        /// What it said.
        what: String,
    },
}

impl LedgerError {
    /// Whether the storage refused, so that it may work later: hold what is unacknowledged and try again.
    pub fn is_storage_refusal(&self) -> bool {
        matches!(self, Self::Full | Self::ReadOnly | Self::Io { .. } | Self::Closed)
    }

    /// Whether memory and disk may disagree now, so that the ledger must be reopened before the next commit.
    pub fn needs_reopening(&self) -> bool {
        matches!(self, Self::ReadOnly | Self::Io { .. } | Self::Closed | Self::Damaged { .. })
    }
}

impl From<rusqlite::Error> for LedgerError {
    fn from(error: rusqlite::Error) -> Self {
        let code =
            error.sqlite_error().map(|error| format!(" (code {})", error.extended_code)).unwrap_or_default();
        let what = format!("{error}{code}");
        match error.sqlite_error_code() {
            Some(ErrorCode::DiskFull) => Self::Full,
            Some(ErrorCode::ReadOnly) => Self::ReadOnly,
            Some(ErrorCode::SystemIoFailure | ErrorCode::CannotOpen | ErrorCode::PermissionDenied) => {
                Self::Io { what }
            }
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => {
                Self::Held { by: "a process that did not say its name".to_owned() }
            }
            Some(ErrorCode::NotADatabase) => Self::NotALedger { file: super::file::NAME.to_owned() },
            Some(ErrorCode::DatabaseCorrupt) => Self::Damaged { what },
            _ => Self::Refused { what },
        }
    }
}

impl From<std::io::Error> for LedgerError {
    fn from(error: std::io::Error) -> Self {
        match error.kind() {
            std::io::ErrorKind::StorageFull | std::io::ErrorKind::QuotaExceeded => Self::Full,
            std::io::ErrorKind::ReadOnlyFilesystem => Self::ReadOnly,
            _ => Self::Io { what: error.to_string() },
        }
    }
}
