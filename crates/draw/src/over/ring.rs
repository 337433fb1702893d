//! The line round a part that is marked, with gaps wherever it would run through a text, a tag or a joint.

use crate::geometry::Area;

/// A straight stroke in pixels: from x, y to x, y.
pub type Stroke = (i32, i32, i32, i32);

/// A stroke shorter than this says nothing, pixels.
const LEAST: i32 = 8;

/// The four sides of an area, without what lies within `air` pixels of anything to be kept clear.
pub(super) fn ring(round: &Area, keep: &[Area], air: i32) -> Vec<Stroke> {
    let keep: Vec<Area> = keep
        .iter()
        .map(|a| a.wider(air))
        .filter(|a| a.hits(&round.wider(1)))
        .collect();
    let mut out = Vec::new();
    for y in [round.y0, round.y1] {
        let holes = keep.iter().filter(|a| a.y0 < y && y < a.y1);
        for (x0, x1) in left(round.x0, round.x1, holes.map(|a| (a.x0, a.x1))) {
            out.push((x0, y, x1, y));
        }
    }
    for x in [round.x0, round.x1] {
        let holes = keep.iter().filter(|a| a.x0 < x && x < a.x1);
        for (y0, y1) in left(round.y0, round.y1, holes.map(|a| (a.y0, a.y1))) {
            out.push((x, y0, x, y1));
        }
    }
    out
}

/// What is left of a stretch between holes.
fn left(from: i32, to: i32, holes: impl Iterator<Item = (i32, i32)>) -> Vec<(i32, i32)> {
    let mut holes: Vec<(i32, i32)> = holes.collect();
    holes.sort_unstable();
    let mut out = Vec::new();
    let mut at = from;
    for (a, b) in holes {
        out.push((at, a.min(to)));
        at = at.max(b);
    }
    out.push((at, to));
    out.retain(|(a, b)| b - a >= LEAST);
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_stops_before_a_text_and_goes_on_behind_it() {
        let round = Area::new(0, 0, 100, 60);
        let text = Area::new(40, -10, 60, 10);
        let strokes = ring(&round, &[text], 2);
        assert!(strokes.contains(&(0, 0, 38, 0)) && strokes.contains(&(62, 0, 100, 0)));
        assert!(strokes.contains(&(0, 60, 100, 60)) && strokes.contains(&(0, 0, 0, 60)));
        assert_eq!(strokes.len(), 5);
        // A text over the whole of a side leaves nothing of it; holes may lie in each other.
        let strokes = ring(
            &round,
            &[Area::new(-5, -5, 200, 5), Area::new(10, -5, 20, 5)],
            2,
        );
        assert!(strokes.iter().all(|s| !(s.1 == 0 && s.3 == 0)));
    }
}
