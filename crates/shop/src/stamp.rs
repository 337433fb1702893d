//! Who did something, and when.

use serde::{Deserialize, Serialize};

/// A time: milliseconds since 1970-01-01, UTC. Given by the caller; nothing here reads a clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct At(pub i64);

impl rusqlite::ToSql for At {
    fn to_sql(&self) -> rusqlite::Result<rusqlite::types::ToSqlOutput<'_>> {
        Ok(self.0.into())
    }
}

impl rusqlite::types::FromSql for At {
    fn column_result(v: rusqlite::types::ValueRef<'_>) -> rusqlite::types::FromSqlResult<Self> {
        v.as_i64().map(Self)
    }
}

impl From<At> for rusqlite::types::Value {
    fn from(at: At) -> Self {
        Self::Integer(at.0)
    }
}

/// What every change is signed with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stamp {
    /// When.
    pub at: At,
    /// The name of the bench or device (`Desk`, `Phone`).
    pub bench: String,
}

impl Stamp {
    /// A stamp of this time and bench.
    #[must_use]
    pub fn new(at: i64, bench: impl Into<String>) -> Self {
        Self {
            at: At(at),
            bench: bench.into(),
        }
    }
}
