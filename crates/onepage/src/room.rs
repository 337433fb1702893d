//! What of a sheet of paper can be printed on.

use report::Paper;

/// Blank edge that every printer can leave, millimetres.
pub(crate) const MARGIN: f64 = 9.0;
/// Points in a millimetre.
const POINTS: f64 = 72.0 / 25.4;

/// Width and height within the margins, points.
pub(crate) fn inner(paper: Paper) -> (f64, f64) {
    let (width, height) = paper.millimetres();
    (
        (width - 2.0 * MARGIN) * POINTS,
        (height - 2.0 * MARGIN) * POINTS,
    )
}
