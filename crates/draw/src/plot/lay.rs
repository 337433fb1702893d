//! Every line and every text of a plot gets its place.

use super::clip::Frame;
use super::{Curve, Pen, Plot};
use crate::geometry::Area;

/// A text with its place, in pixels.
#[derive(Debug, Clone, PartialEq)]
pub struct Text {
    /// What is written.
    pub words: String,
    /// The room that it takes.
    pub area: Area,
    /// Bold.
    pub bold: bool,
    /// Secondary.
    pub soft: bool,
    /// It stands on the plot: lines behind it are held off.
    pub on_plot: bool,
    /// The pen of the curve that it names.
    pub of: Option<Pen>,
}

/// A line in pixels, cut at the frame.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// How it is drawn.
    pub pen: Pen,
    /// Its runs.
    pub runs: Vec<Vec<(f64, f64)>>,
    /// The tint above it, as a closed outline.
    pub tint: Vec<(f64, f64)>,
}

/// A point in pixels.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Mark {
    pub(crate) at: (f64, f64),
    /// Its error bars, cut at the frame.
    pub(crate) bars: Vec<((f64, f64), (f64, f64))>,
    pub(crate) read: bool,
    pub(crate) name: String,
}

/// A plot with everything in its place.
#[derive(Debug, Clone, PartialEq)]
pub struct Laid {
    /// Pixels across.
    pub width: i32,
    /// Pixels down.
    pub height: i32,
    pub(crate) frame: Frame,
    /// Texts.
    pub texts: Vec<Text>,
    /// Curves, in the order of the plot.
    pub lines: Vec<Line>,
    pub(crate) grid: Vec<(f64, f64, f64, f64, bool)>,
    pub(crate) bands: Vec<Vec<(f64, f64)>>,
    pub(crate) stems: Vec<((f64, f64), (f64, f64))>,
    pub(crate) marks: Vec<Mark>,
    /// Samples of lines in the list beneath: where, and how drawn.
    pub(crate) samples: Vec<(f64, f64, Pen)>,
}

const HIGH: i32 = 18;
/// Longest name that is written whole.
const LONGEST: usize = 48;

impl Laid {
    /// What is wrong with it: texts that meet, anything outside. Empty for every plot.
    #[must_use]
    pub fn faults(&self) -> Vec<String> {
        let mut out = Vec::new();
        let page = Area::new(0, 0, self.width, self.height);
        for (i, a) in self.texts.iter().enumerate() {
            if !page.holds(&a.area) {
                out.push(format!("`{}` is off the page: {:?}", a.words, a.area));
            }
            for b in &self.texts[..i] {
                if a.area.hits(&b.area) {
                    out.push(format!("`{}` meets `{}`", a.words, b.words));
                }
            }
        }
        let mut seen = |what: &str, p: (f64, f64)| {
            if !self.frame.holds(p) {
                out.push(format!("{what} leaves the frame at {p:?}"));
            }
        };
        for line in &self.lines {
            line.runs.iter().flatten().for_each(|p| seen("a curve", *p));
            line.tint.iter().for_each(|p| seen("a tint", *p));
        }
        self.bands.iter().flatten().for_each(|p| seen("a band", *p));
        for (a, b) in self
            .stems
            .iter()
            .chain(self.marks.iter().flat_map(|m| &m.bars))
        {
            seen("a stem or bar", *a);
            seen("a stem or bar", *b);
        }
        self.marks.iter().for_each(|m| seen("a point", m.at));
        for (x0, y0, x1, y1, _) in &self.grid {
            seen("the grid", (*x0, *y0));
            seen("the grid", (*x1, *y1));
        }
        out
    }

    /// A text where it meets no other.
    fn put(&mut self, text: Text, edge: i32) -> bool {
        let a = text.area;
        let inside = a.x0 >= 0 && a.y0 >= 0 && a.x1 <= self.width && a.y1 <= self.height;
        let free = inside && self.texts.iter().all(|t| !t.area.wider(edge).hits(&a));
        if free {
            self.texts.push(text);
        }
        free
    }

    /// How many pieces of lines, and points, lie under an area.
    fn covers(&self, a: Area, but: Option<usize>) -> usize {
        let box_ = Frame {
            x0: f64::from(a.x0),
            y0: f64::from(a.y0),
            x1: f64::from(a.x1),
            y1: f64::from(a.y1),
        };
        let lines: usize = self
            .lines
            .iter()
            .enumerate()
            .map(|(i, line)| {
                let hit = line
                    .runs
                    .iter()
                    .flat_map(|r| r.windows(2))
                    .filter(|p| box_.cut(p[0], p[1]).is_some())
                    .count()
                    .min(4);
                // Its own curve under a name is read; another's is not.
                if Some(i) == but { hit } else { hit * 3 }
            })
            .sum();
        let wide = a.wider(7);
        let near = |p: (f64, f64)| {
            p.0 >= f64::from(wide.x0)
                && p.0 <= f64::from(wide.x1)
                && p.1 >= f64::from(wide.y0)
                && p.1 <= f64::from(wide.y1)
        };
        let marks = self.marks.iter().filter(|m| near(m.at)).count();
        let bars = self
            .marks
            .iter()
            .flat_map(|m| &m.bars)
            .chain(&self.stems)
            .filter(|(p, q)| box_.cut(*p, *q).is_some())
            .count();
        lines + 40 * marks + 6 * bars
    }

    /// The place of a name with the least under it; none where every place is taken.
    fn name(&mut self, text: &Text, places: &[(f64, f64)], but: Option<usize>) -> bool {
        let (w, h) = (text.area.width(), text.area.height());
        let mut best: Option<(usize, Area)> = None;
        for (x, y) in places {
            let (x, y) = (x.round() as i32, y.round() as i32);
            let area = Area::new(x, y, x + w, y + h);
            let f = self.frame;
            let inside = f64::from(area.x0) >= f.x0
                && f64::from(area.x1) <= f64::from(self.width)
                && f64::from(area.y0) >= f.y0
                && f64::from(area.y1) <= f.y1;
            if !inside || self.texts.iter().any(|t| t.area.wider(2).hits(&area)) {
                continue;
            }
            let cost = self.covers(area, but);
            if best.is_none_or(|(least, _)| cost < least) {
                best = Some((cost, area));
            }
            if cost == 0 {
                break;
            }
        }
        best.is_some_and(|(_, area)| {
            self.put(
                Text {
                    area,
                    ..text.clone()
                },
                0,
            )
        })
    }
}

fn text(words: &str, bold: bool) -> Text {
    let words: String = if words.chars().count() > LONGEST {
        let mut cut: String = words.chars().take(LONGEST - 3).collect();
        cut.push_str("...");
        cut
    } else {
        words.to_owned()
    };
    Text {
        area: Area::new(0, 0, typeface::width(&words, bold) + 2, HIGH),
        words,
        bold,
        soft: false,
        on_plot: false,
        of: None,
    }
}

fn at(mut t: Text, x: i32, y: i32) -> Text {
    t.area = Area::new(x, y, x + t.area.width(), y + t.area.height());
    t
}

/// Words cut to a width.
fn cut(words: &str, bold: bool, width: i32) -> String {
    let mut words = words.to_owned();
    if typeface::width(&words, bold) <= width {
        return words;
    }
    while !words.is_empty() && typeface::width(&format!("{words}..."), bold) > width {
        words.pop();
    }
    words + "..."
}

impl Plot {
    /// Gives everything its place.
    #[must_use]
    pub fn lay(&self) -> Laid {
        let (width, height) = (self.width.clamp(320, 4000), self.height.clamp(240, 4000));
        let up = self
            .y
            .ticks(usize::try_from((height - 100) / 44).unwrap_or(8));
        let widest = up
            .iter()
            .map(|t| typeface::width(&t.text, false))
            .max()
            .unwrap_or(0);
        let left = widest.clamp(16, 120) + 14;
        let right = self.margin(width);
        let frame = Frame {
            x0: f64::from(left),
            y0: 34.0,
            x1: f64::from(width - right),
            y1: f64::from(height - 58),
        };
        let mut laid = Laid {
            width,
            height,
            frame,
            texts: Vec::new(),
            lines: Vec::new(),
            grid: Vec::new(),
            bands: Vec::new(),
            stems: Vec::new(),
            marks: Vec::new(),
            samples: Vec::new(),
        };
        let mut title = text(&cut(&self.y.title, false, width - 8), false);
        title.soft = true;
        laid.put(at(title, 4, 4), 0);
        let mut title = text(&cut(&self.x.title, false, width - 8), false);
        title.soft = true;
        let x = (frame.x1 as i32 - title.area.width()).max(2);
        laid.put(at(title, x, height - 20), 0);
        self.grid(&mut laid, &up);
        self.figures(&mut laid);
        self.names(&mut laid);
        laid
    }

    /// Room at the right for names of curves that end there.
    fn margin(&self, width: i32) -> i32 {
        let ends = |c: &Curve| {
            let last = c.points.iter().rev().find(|p| p.0.is_finite());
            let last = last.copied();
            let inside = |s: f64| (0.0..=1.0001).contains(&s);
            last.is_some_and(|p| {
                self.x.share(p.0).is_some_and(|s| s >= 0.999)
                    && self.y.share(p.1).is_some_and(inside)
            })
        };
        let widest = self
            .curves
            .iter()
            .filter(|c| ends(c))
            .map(|c| text(&c.name, bold(c.pen)).area.width() + 12)
            .max()
            .unwrap_or(0);
        widest.max(24).min(width / 4)
    }

    fn pixel(&self, frame: Frame, (x, y): (f64, f64)) -> Option<(f64, f64)> {
        let far = 1e7;
        Some((
            (frame.x0 + self.x.share(x)? * (frame.x1 - frame.x0)).clamp(-far, far),
            (frame.y1 - self.y.share(y)? * (frame.y1 - frame.y0)).clamp(-far, far),
        ))
    }

    fn grid(&self, laid: &mut Laid, up: &[super::Tick]) {
        let f = laid.frame;
        let across = self
            .x
            .ticks(usize::try_from((laid.width - 80) / 76).unwrap_or(8));
        for t in &across {
            let Some(share) = self.x.share(t.value) else {
                continue;
            };
            let x = (f.x0 + share * (f.x1 - f.x0)).clamp(f.x0, f.x1);
            laid.grid.push((x, f.y0, x, f.y1, t.text.is_empty()));
            if !t.text.is_empty() {
                let words = text(&t.text, false);
                let left = x.round() as i32 - words.area.width() / 2;
                let y = laid.height - 44;
                laid.put(at(words, left, y), 4);
            }
        }
        for t in up {
            let Some(share) = self.y.share(t.value) else {
                continue;
            };
            let y = (f.y1 - share * (f.y1 - f.y0)).clamp(f.y0, f.y1);
            laid.grid.push((f.x0, y, f.x1, y, t.text.is_empty()));
            if !t.text.is_empty() {
                let words = text(&t.text, false);
                let left = f.x0 as i32 - 8 - words.area.width();
                laid.put(at(words, left, y.round() as i32 - 9), 1);
            }
        }
    }

    fn figures(&self, laid: &mut Laid) {
        let f = laid.frame;
        for curve in &self.curves {
            let places: Vec<_> = curve.points.iter().map(|p| self.pixel(f, *p)).collect();
            let mut tint = Vec::new();
            if curve.tint_above {
                tint.extend(places.iter().flatten().map(|p| f.inside(*p)));
                if let (Some(a), Some(b)) = (tint.first().copied(), tint.last().copied()) {
                    tint.push((b.0, f.y0));
                    tint.push((a.0, f.y0));
                }
            }
            laid.lines.push(Line {
                pen: curve.pen,
                runs: f.runs(&places),
                tint,
            });
        }
        for band in &self.bands {
            let edge = |high: bool| {
                band.edges.iter().filter_map(move |(x, a, b)| {
                    self.pixel(f, (*x, if high { *b } else { *a }))
                        .map(|p| f.inside(p))
                })
            };
            let mut outline: Vec<_> = edge(false).collect();
            let mut back: Vec<_> = edge(true).collect();
            back.reverse();
            outline.extend(back);
            laid.bands.push(outline);
        }
        for stem in &self.stems {
            if let Some((x, y)) = self.pixel(f, stem.at)
                && x >= f.x0
                && x <= f.x1
                && y <= f.y1
            {
                laid.stems.push(((x, f.y1), (x, y.max(f.y0))));
            }
        }
        for spot in &self.spots {
            let Some(place) = self.pixel(f, spot.at).filter(|p| f.holds(*p)) else {
                continue;
            };
            let bar = |dx: f64, dy: f64| {
                let far = |s: f64| self.pixel(f, (spot.at.0 + s * dx, spot.at.1 + s * dy));
                f.cut(far(-1.0)?, far(1.0)?)
            };
            let sound = |v: Option<f64>| v.filter(|v| v.is_finite() && *v > 0.0);
            let bars = [
                sound(spot.plus_minus_x).and_then(|d| bar(d, 0.0)),
                sound(spot.plus_minus_y).and_then(|d| bar(0.0, d)),
            ];
            laid.marks.push(Mark {
                at: f.inside(place),
                bars: bars.into_iter().flatten().collect(),
                read: spot.read,
                name: spot.name.clone(),
            });
        }
    }

    /// Names of points and curves: where least lies under them; those without room in a list beneath.
    fn names(&self, laid: &mut Laid) {
        let mut rest: Vec<(String, Option<Pen>)> = Vec::new();
        for mark in laid.marks.clone() {
            if mark.name.is_empty() {
                continue;
            }
            let mut words = text(&mark.name, true);
            words.on_plot = true;
            let (w, (x, y)) = (f64::from(words.area.width()), mark.at);
            let mut places = Vec::new();
            for far in [11.0, 22.0, 36.0] {
                places.extend([
                    (x + far, y - 9.0),
                    (x - w - far, y - 9.0),
                    (x - w / 2.0, y - 18.0 - far),
                    (x - w / 2.0, y + far),
                    (x + far, y - 12.0 - far),
                    (x + far, y + far - 6.0),
                    (x - w - far, y - 12.0 - far),
                    (x - w - far, y + far - 6.0),
                ]);
            }
            if !laid.name(&words, &places, None) {
                rest.push((mark.name, None));
            }
        }
        for stem in self.stems.iter().filter(|s| !s.name.is_empty()) {
            let Some((x, y)) = self.pixel(laid.frame, stem.at) else {
                continue;
            };
            let mut words = text(&stem.name, false);
            words.on_plot = true;
            let (w, y) = (f64::from(words.area.width()), y.max(laid.frame.y0));
            let places = [
                (x - w / 2.0, y - 24.0),
                (x + 6.0, y - 9.0),
                (x - w - 6.0, y - 9.0),
                (x + 6.0, y + 12.0),
            ];
            if !laid.name(&words, &places, None) {
                rest.push((
                    format!("{}: {}", stem.name, super::words::figure(stem.at.1)),
                    None,
                ));
            }
        }
        // A limit and what you have are named before the many curves of a sheet.
        let mut order: Vec<usize> = (0..self.curves.len()).collect();
        order.sort_by_key(|i| (self.curves[*i].pen == Pen::Sheet, *i));
        for i in order {
            let curve = &self.curves[i];
            let drawn = laid.lines.get(i).is_some_and(|l| !l.runs.is_empty());
            if curve.name.is_empty() || !drawn {
                continue;
            }
            if !self.name_curve(laid, i) {
                rest.push((curve.name.clone(), Some(curve.pen)));
            }
        }
        let sheet = self.bands.iter().filter(|b| !b.name.is_empty());
        rest.extend(sheet.map(|b| (b.name.clone(), None)));
        beneath(laid, &rest);
    }

    fn name_curve(&self, laid: &mut Laid, i: usize) -> bool {
        let curve = &self.curves[i];
        let mut words = text(&curve.name, bold(curve.pen));
        words.on_plot = true;
        words.of = Some(curve.pen);
        let f = laid.frame;
        let w = f64::from(words.area.width());
        let Some(points) = laid
            .lines
            .get(i)
            .and_then(|l| l.runs.iter().max_by_key(|r| r.len()).cloned())
        else {
            return false;
        };
        let Some(end) = points.last().copied() else {
            return false;
        };
        let mut places = Vec::new();
        // At its end, beside the frame, where there is the margin for it.
        if end.0 >= f.x1 - 0.5 && f.x1 + 6.0 + w <= f64::from(laid.width) {
            for far in [0.0, -5.0, 5.0, -10.0, 10.0, -15.0, 15.0] {
                places.push((f.x1 + 6.0, end.1 - 9.0 + far));
            }
        }
        // Along it, from the end.
        for n in 0..=12 {
            let at = points.len().saturating_sub(1) * (12 - n) / 12;
            let Some((x, y)) = points.get(at).copied() else {
                continue;
            };
            for far in [5.0, 14.0, 26.0] {
                places.extend([
                    (x + far, y - 9.0),
                    (x + far, y - 14.0 - far),
                    (x - w - far, y - 14.0 - far),
                    (x - w / 2.0, y - 18.0 - far),
                    (x - w / 2.0, y + far),
                    (x + far, y + far),
                    (x - w - far, y + far),
                ]);
            }
        }
        laid.name(&words, &places, Some(i))
    }
}

/// Whether names of this pen are bold.
fn bold(pen: Pen) -> bool {
    pen != Pen::Sheet
}

/// Names that found no room stand beneath, each with a sample of its line.
fn beneath(laid: &mut Laid, rest: &[(String, Option<Pen>)]) {
    let (mut x, mut y) = (8, laid.height + 4);
    for (name, pen) in rest {
        let lead = if pen.is_some() { 52 } else { 0 };
        let words = cut(name, false, laid.width - 24 - lead);
        let mut t = text(&words, false);
        // Here there is room for the whole of it.
        t.words.clone_from(&words);
        t.area = Area::new(0, 0, typeface::width(&words, false) + 2, HIGH);
        if x > 8 && x + lead + t.area.width() > laid.width - 8 {
            x = 8;
            y += 24;
        }
        if let Some(pen) = pen {
            laid.samples.push((f64::from(x), f64::from(y) + 9.0, *pen));
        }
        let w = t.area.width();
        laid.texts.push(at(t, x + lead, y));
        x += lead + w + 24;
    }
    if !rest.is_empty() {
        laid.height = y + 26;
    }
}
