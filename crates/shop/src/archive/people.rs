//! The files of a job's archive that are for people, and for programs that know nothing of ours.

use crate::error::ShopError;
use crate::id::JobId;
use crate::open::Reader;

/// What stands in the archive, in words.
pub(super) const READ_ME: &str = "\
An archive of one job.

record.json   every row of the record, tables by name; this is what is read back
about.json    the number of the job, and the layout of the rows
wiring/       the wirings as text, the latest of each
readings.csv  every reading that stands, with its conditions
report.html   the full hand-over report, as of the day of the archive; report.pdf likewise, where it
              could be made
photos/       the photos, named by the SHA-256 of their content; small ones for the pages among them
recordings/   the recordings, likewise

Money in record.json is in whole minor units, times are milliseconds since 1970-01-01 UTC.
";

/// A name that every file system takes.
fn plain(text: &str) -> String {
    let name: String = text
        .chars()
        .map(|c| if c.is_alphanumeric() { c } else { '-' })
        .take(60)
        .collect();
    if name.is_empty() {
        "drawing".to_owned()
    } else {
        name
    }
}

/// The latest text of each wiring of a job.
pub(super) fn wirings(r: &Reader<'_>, job: JobId) -> Result<Vec<(String, String)>, ShopError> {
    let mut ask = r.base.prepare_cached(
        "SELECT w.id, w.state, w.name, v.text FROM wirings w JOIN wiring_revisions v ON v.wiring = w.id
         WHERE w.job = ?1 AND w.gone = 0 AND v.number =
           (SELECT max(number) FROM wiring_revisions WHERE wiring = w.id AND number > 0) ORDER BY w.id",
    )?;
    let all: Vec<(i64, String, String, String)> = ask
        .query_map([job], |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?, r.get(3)?)))?
        .collect::<Result<_, _>>()?;
    let mut files: Vec<(String, String)> = Vec::new();
    for (_, state, name, text) in all {
        let mut to = format!(
            "wiring/{}.wiring",
            plain(&format!("{state} {name}")).trim_end_matches('-')
        );
        if files.iter().any(|(n, _)| *n == to) {
            to = format!("wiring/{}-{}.wiring", plain(&state), files.len() + 1);
        }
        files.push((to, text));
    }
    Ok(files)
}

/// The readings that stand, as comma-separated text (RFC 4180, from memory, not seen).
pub(super) fn readings(r: &Reader<'_>, job: JobId) -> Result<String, ShopError> {
    let mut ask = r.base.prepare_cached(
        "SELECT b.state, b.name, b.conditions, r.point, r.shown, r.unit, coalesce(i.name, ''), r.note, r.at, r.bench
         FROM blocks b JOIN readings r ON r.block = b.id LEFT JOIN instruments i ON i.id = coalesce(r.instrument, b.instrument)
         WHERE b.job = ?1 AND r.withdrawn = 0 AND NOT EXISTS (SELECT 1 FROM readings n WHERE n.corrects = r.id)
         ORDER BY b.id, r.id",
    )?;
    let mut text =
        String::from("state,block,conditions,point,shown,unit,instrument,note,at_ms,bench\r\n");
    let mut all = ask.query([job])?;
    while let Some(row) = all.next()? {
        let mut cells: Vec<String> = (0..8)
            .map(|i| row.get::<_, String>(i))
            .collect::<Result<_, _>>()?;
        cells.push(row.get::<_, i64>(8)?.to_string());
        cells.push(row.get(9)?);
        let quoted: Vec<String> = cells
            .iter()
            .map(|c| cell(&c.trim().replace('\n', "; ")))
            .collect();
        text.push_str(&quoted.join(","));
        text.push_str("\r\n");
    }
    Ok(text)
}

fn cell(text: &str) -> String {
    if text.contains(['"', ',', '\r', '\n']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.to_owned()
    }
}
