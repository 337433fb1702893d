//! The one place that reads the clock; everything below gets times as arguments.

use shop::At;
use std::time::{SystemTime, UNIX_EPOCH};

/// Milliseconds since 1970, UTC.
#[allow(
    clippy::disallowed_methods,
    reason = "the program's edge: the record and the computations take times as arguments"
)]
pub(crate) fn now() -> At {
    let since = SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .unwrap_or_default();
    At(i64::try_from(since.as_millis()).unwrap_or(i64::MAX))
}
