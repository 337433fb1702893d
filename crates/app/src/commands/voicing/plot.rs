//! `voicing --plot`: the curves in a file.

use super::Run;
use crate::outcome::Failure;
use crate::picture::{self, Sort};
use crate::voicing_plot::plot;
use bench::voicing::{Contributions, Voicing};
use draw::plot::Shades;
use std::path::Path;

pub(super) fn write(
    path: &Path,
    runs: &[Run],
    parts: Option<&Contributions>,
) -> Result<(), Failure> {
    let sort = picture::sort_of(path)?;
    let edges = edges(runs, parts);
    let mut curves: Vec<_> = runs.iter().map(|r| (r.label.clone(), &r.found)).collect();
    // the band belongs to the first curve
    for (i, (label, found)) in edges.iter().enumerate() {
        curves.insert(1 + i, (label.clone(), found));
    }
    let svg = plot(&curves, "voicing", 800, 560).svg(Shades::DAY);
    match sort {
        Sort::Svg => picture::write(path, svg.as_bytes()),
        Sort::Png => picture::write(path, &picture::png(&svg)?),
    }
}

/// The first curve as high and as low as 95 of 100 sound amplifiers have it.
fn edges(runs: &[Run], parts: Option<&Contributions>) -> Vec<(String, Voicing)> {
    let (Some(first), Some(parts)) = (runs.first(), parts) else {
        return Vec::new();
    };
    [("highest of 95 in 100", 1.0), ("lowest of 95 in 100", -1.0)]
        .into_iter()
        .map(|(label, side)| {
            let mut found = first.found.clone();
            for (db, band) in found.db.iter_mut().zip(&parts.band_db) {
                *db += side * band;
            }
            found.figures = bench::voicing::figures(&found.hz, &found.db, &found.input_ohms);
            (label.to_owned(), found)
        })
        .collect()
}
