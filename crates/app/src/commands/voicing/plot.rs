//! `voicing --plot`: the curves in a file.

use super::Run;
use crate::outcome::Failure;
use crate::picture::{self, Sort};
use crate::voicing_plot::plot;
use draw::plot::Shades;
use std::path::Path;

pub(super) fn write(path: &Path, runs: &[Run]) -> Result<(), Failure> {
    let sort = picture::sort_of(path)?;
    let curves: Vec<_> = runs.iter().map(|r| (r.label.clone(), &r.found)).collect();
    let svg = plot(&curves, "voicing", 800, 560).svg(Shades::DAY);
    match sort {
        Sort::Svg => picture::write(path, svg.as_bytes()),
        Sort::Png => picture::write(path, &picture::png(&svg)?),
    }
}
