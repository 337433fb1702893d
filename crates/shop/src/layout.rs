//! The layouts of the data base, oldest first. A shipped one is never edited.

use crate::error::ShopError;
use rusqlite::Connection;
use rusqlite_migration::{M, Migrations};

/// The files, in order; layout N is reached by the first N of them.
pub(crate) const FILES: &[&str] = &[
    include_str!("../migrations/0001.sql"),
    include_str!("../migrations/0002.sql"),
    include_str!("../migrations/0003.sql"),
];

/// The latest layout.
pub(crate) fn latest() -> i64 {
    i64::try_from(FILES.len()).unwrap_or(i64::MAX)
}

/// The layout of a file; 0 for an empty one.
pub(crate) fn of(base: &Connection) -> Result<i64, ShopError> {
    Ok(base.pragma_query_value(None, "user_version", |row| row.get(0))?)
}

/// Brings a file to the latest layout, one transaction a step.
pub(crate) fn migrate(base: &mut Connection) -> Result<(), ShopError> {
    reach(base, latest())
}

/// Brings a file to a layout.
pub(crate) fn reach(base: &mut Connection, layout: i64) -> Result<(), ShopError> {
    let steps = Migrations::new(FILES.iter().map(|sql| M::up(sql)).collect());
    let layout = usize::try_from(layout).unwrap_or(0);
    steps.to_version(base, layout).map_err(|e| match e {
        rusqlite_migration::Error::RusqliteError { err, .. } => ShopError::Base(err),
        other => ShopError::Damaged(other.to_string()),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use sha2::{Digest as _, Sha256};

    #[test]
    fn the_steps_are_valid() {
        Migrations::new(FILES.iter().map(|sql| M::up(sql)).collect())
            .validate()
            .unwrap();
    }

    /// A shipped step is frozen: a file in somebody's shop has passed through it as it is here.
    #[test]
    fn shipped_steps_stay_as_they_are() {
        let hashes: Vec<String> = FILES
            .iter()
            .map(|sql| {
                Sha256::digest(sql.as_bytes())
                    .iter()
                    .map(|b| format!("{b:02x}"))
                    .collect()
            })
            .collect();
        assert_eq!(
            hashes,
            include_str!("../migrations/frozen.txt")
                .lines()
                .collect::<Vec<_>>()
        );
    }
}
