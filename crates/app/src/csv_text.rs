//! Rows as comma-separated text (RFC 4180, from memory, not seen).

use crate::outcome::Failure;

/// The rows, quoted where a cell needs it.
pub(crate) fn of<R, S>(rows: impl IntoIterator<Item = R>) -> Result<String, Failure>
where
    R: IntoIterator<Item = S>,
    S: AsRef<[u8]>,
{
    let failed = |e: &dyn std::fmt::Display| {
        Failure::outside(
            format!("The table could not be written as CSV: {e}."),
            "Leave `--csv` out, or use `--json`.",
        )
    };
    let mut writer = csv::Writer::from_writer(Vec::new());
    for row in rows {
        writer.write_record(row).map_err(|e| failed(&e))?;
    }
    let bytes = writer.into_inner().map_err(|e| failed(&e))?;
    String::from_utf8(bytes).map_err(|e| failed(&e))
}
