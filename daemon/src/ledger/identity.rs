//! Which ledger this is: what the far ends of couriers know its messages by.

use rusqlite::OptionalExtension;

use super::{Ledger, LedgerError};

impl Ledger {
    /// A name that no other ledger has, made on first asking, with the number of the epoch: a restored copy speaks
    /// in another epoch.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    pub fn epoch(&mut self) -> Result<String, LedgerError> {
        self.write(|conn, _, _| {
            let fact = "SELECT value FROM meta WHERE key = ?1";
            let known: Option<String> = conn.query_row(fact, ["name"], |row| row.get(0)).optional()?;
            if known.is_none() {
                conn.execute("INSERT INTO meta (key, value) VALUES ('name', lower(hex(randomblob(8))))", [])?;
            }
            let name: String = conn.query_row(fact, ["name"], |row| row.get(0))?;
            let epoch: i64 = conn.query_row(fact, ["epoch"], |row| row.get(0))?;
            Ok(format!("{name}-{epoch}"))
        })
    }
}
