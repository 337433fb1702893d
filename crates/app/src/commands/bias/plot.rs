//! `bias --plot`: the plate curves in a file.

use crate::arguments::Bias as Given;
use crate::outcome::{Failure, Outcome};
use crate::picture::{self, Sort};
use crate::plate_plot::plot;
use crate::table::paragraph;
use crate::words::capital;
use bench::plate_curves::PlateCurves;
use draw::plot::Shades;

/// Writes the plot, when one was asked for; what is missing on it comes back in sentences.
pub(super) fn write(
    given: &Given,
    curves: impl FnOnce() -> Result<PlateCurves, &'static str>,
) -> Result<Vec<String>, Failure> {
    let Some(path) = &given.plot else {
        return Ok(Vec::new());
    };
    let sort = picture::sort_of(path)?;
    let curves = curves().map_err(|why| Failure::misuse("No plot can be drawn.", why))?;
    let svg = plot(&curves, "bias", 800, 560).svg(Shades::DAY);
    match sort {
        Sort::Svg => picture::write(path, svg.as_bytes())?,
        Sort::Png => picture::write(path, &picture::png(&svg)?)?,
    }
    let missing = curves
        .missing
        .iter()
        .map(|m| format!("{} is not drawn. {}", capital(&m.what), m.remedy));
    Ok(missing.chain(curves.notes.iter().cloned()).collect())
}

/// Says beneath the sheet what was plotted; JSON and CSV stay what they are.
pub(super) fn told(mut outcome: Outcome, given: &Given, said: Vec<String>) -> Outcome {
    let Some(path) = &given.plot else {
        return outcome;
    };
    if given.form.json || given.form.csv {
        return outcome;
    }
    outcome.text.push('\n');
    let written = format!("Plot written to {}.", path.display());
    outcome.text.push_str(&paragraph(&written, ""));
    for sentence in said {
        outcome.text.push_str(&paragraph(&sentence, "  "));
    }
    outcome
}
