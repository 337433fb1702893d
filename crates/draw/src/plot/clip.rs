//! Lines cut at the frame.

/// A rectangle in pixels: left, top, right, bottom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Frame {
    pub(crate) x0: f64,
    pub(crate) y0: f64,
    pub(crate) x1: f64,
    pub(crate) y1: f64,
}

impl Frame {
    pub(crate) fn holds(&self, (x, y): (f64, f64)) -> bool {
        let e = 0.06;
        x >= self.x0 - e && x <= self.x1 + e && y >= self.y0 - e && y <= self.y1 + e
    }

    /// What of a straight piece is inside (after Liang and Barsky, ACM TOG 3 (1984) 1, from memory, not seen).
    pub(crate) fn cut(&self, a: (f64, f64), b: (f64, f64)) -> Option<((f64, f64), (f64, f64))> {
        let (dx, dy) = (b.0 - a.0, b.1 - a.1);
        let (mut from, mut to) = (0.0_f64, 1.0_f64);
        for (p, q) in [
            (-dx, a.0 - self.x0),
            (dx, self.x1 - a.0),
            (-dy, a.1 - self.y0),
            (dy, self.y1 - a.1),
        ] {
            if p == 0.0 {
                if q < 0.0 {
                    return None;
                }
                continue;
            }
            let r = q / p;
            if p < 0.0 {
                from = from.max(r);
            } else {
                to = to.min(r);
            }
        }
        let at = |t: f64| (a.0 + t * dx, a.1 + t * dy);
        (from <= to).then(|| (self.inside(at(from)), self.inside(at(to))))
    }

    /// The nearest place inside.
    pub(crate) fn inside(&self, (x, y): (f64, f64)) -> (f64, f64) {
        (x.clamp(self.x0, self.x1), y.clamp(self.y0, self.y1))
    }

    /// Runs of a broken line that are inside; a missing place breaks it.
    pub(crate) fn runs(&self, places: &[Option<(f64, f64)>]) -> Vec<Vec<(f64, f64)>> {
        let mut out: Vec<Vec<(f64, f64)>> = Vec::new();
        for pair in places.windows(2) {
            let [Some(a), Some(b)] = pair else { continue };
            let Some((a, b)) = self.cut(*a, *b) else {
                continue;
            };
            match out.last_mut() {
                Some(run) if run.last() == Some(&a) => run.push(b),
                _ => out.push(vec![a, b]),
            }
        }
        out
    }
}
