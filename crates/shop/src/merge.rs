//! Two texts that grew from one: joined line by line, or both shown.
//!
//! Lines that only one side changed are taken from it. Lines that both changed in the same way
//! are taken once. Where both changed the same lines in different ways there is a clash, which
//! holds both; nothing is ever dropped.

use serde::Serialize;
use similar::{Algorithm, DiffOp, capture_diff_slices};

/// A stretch of a joined text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Piece {
    /// Lines that are settled.
    Settled(Vec<String>),
    /// Lines that stand two ways.
    Clash(Clash),
}

/// The same lines, two ways.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Clash {
    /// Line number, from 1, in the text that both grew from.
    pub line: usize,
    /// What stood there.
    pub base: Vec<String>,
    /// One way.
    pub here: Vec<String>,
    /// The other.
    pub there: Vec<String>,
}

/// What joining gave.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Merged {
    /// In order.
    pub pieces: Vec<Piece>,
}

impl Merged {
    /// The text, when nothing clashed.
    #[must_use]
    pub fn text(&self) -> Option<String> {
        let mut out = String::new();
        for piece in &self.pieces {
            match piece {
                Piece::Settled(lines) => lines.iter().for_each(|l| out.push_str(l)),
                Piece::Clash(_) => return None,
            }
        }
        Some(out)
    }

    /// The clashes in order.
    pub fn clashes(&self) -> impl Iterator<Item = &Clash> {
        self.pieces.iter().filter_map(|p| match p {
            Piece::Clash(c) => Some(c),
            Piece::Settled(_) => None,
        })
    }
}

/// A changed stretch: `base` lines in place of which `lines` stand.
#[derive(Debug, Clone)]
struct Edit {
    from: usize,
    to: usize,
    lines: Vec<String>,
}

/// Joins two texts that grew from `base`.
#[must_use]
pub fn merge(base: &str, here: &str, there: &str) -> Merged {
    let old = lines(base);
    let mine = edits(&old, &lines(here));
    let theirs = edits(&old, &lines(there));
    let mut pieces = Vec::new();
    let mut settled: Vec<String> = Vec::new();
    let (mut at, mut m, mut t) = (0, 0, 0);
    while m < mine.len() || t < theirs.len() {
        // the stretch that begins with the next edit and grows while edits of the two sides touch
        let start = [mine.get(m), theirs.get(t)]
            .into_iter()
            .flatten()
            .map(|e| e.from)
            .min()
            .unwrap_or(at);
        let (m0, t0) = (m, t);
        let mut end = start;
        loop {
            let before = (m, t);
            while let Some(e) = mine.get(m).filter(|e| touches(e, start, end, m == m0)) {
                end = end.max(e.to);
                m += 1;
            }
            while let Some(e) = theirs.get(t).filter(|e| touches(e, start, end, t == t0)) {
                end = end.max(e.to);
                t += 1;
            }
            if before == (m, t) {
                break;
            }
        }
        settled.extend(old[at..start].iter().map(|l| (*l).to_owned()));
        let one = applied(&old, start, end, &mine[m0..m]);
        let other = applied(&old, start, end, &theirs[t0..t]);
        if t == t0 || one == other {
            settled.extend(one);
        } else if m == m0 {
            settled.extend(other);
        } else {
            if !settled.is_empty() {
                pieces.push(Piece::Settled(std::mem::take(&mut settled)));
            }
            pieces.push(Piece::Clash(Clash {
                line: start + 1,
                base: old[start..end].iter().map(|l| (*l).to_owned()).collect(),
                here: one,
                there: other,
            }));
        }
        at = end;
    }
    settled.extend(old[at..].iter().map(|l| (*l).to_owned()));
    if !settled.is_empty() || pieces.is_empty() {
        pieces.push(Piece::Settled(settled));
    }
    Merged { pieces }
}

/// Does an edit belong to the stretch `start..end`? Two insertions at the same place do; so does
/// an edit beside a changed line, because neighbouring lines of a wiring belong together.
fn touches(edit: &Edit, start: usize, end: usize, first: bool) -> bool {
    edit.from < end || (edit.from == end && (end > start || (first && edit.from == start)))
}

fn applied(old: &[&str], start: usize, end: usize, edits: &[Edit]) -> Vec<String> {
    let mut out = Vec::new();
    let mut at = start;
    for e in edits {
        out.extend(old[at..e.from].iter().map(|l| (*l).to_owned()));
        out.extend(e.lines.iter().cloned());
        at = e.to;
    }
    out.extend(old[at..end.max(at)].iter().map(|l| (*l).to_owned()));
    out
}

fn edits(old: &[&str], new: &[&str]) -> Vec<Edit> {
    capture_diff_slices(Algorithm::Patience, old, new)
        .into_iter()
        .filter(|op| !matches!(op, DiffOp::Equal { .. }))
        .map(|op| {
            let (o, n) = (op.old_range(), op.new_range());
            Edit {
                from: o.start,
                to: o.end,
                lines: new[n].iter().map(|l| (*l).to_owned()).collect(),
            }
        })
        .collect()
}

/// Lines with their ends, so that joining them gives the text back.
fn lines(text: &str) -> Vec<&str> {
    text.split_inclusive('\n').collect()
}

/// A line of a comparison.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Compared {
    /// In both.
    Same(String),
    /// Only in the old one.
    Gone(String),
    /// Only in the new one.
    New(String),
}

/// The lines of two texts beside each other, without their ends.
#[must_use]
pub fn difference(old: &str, new: &str) -> Vec<Compared> {
    let (old, new) = (lines(old), lines(new));
    let bare = |l: &str| l.trim_end_matches(['\n', '\r']).to_owned();
    let mut out = Vec::new();
    for op in capture_diff_slices(Algorithm::Patience, &old, &new) {
        if let DiffOp::Equal { .. } = op {
            out.extend(old[op.old_range()].iter().map(|l| Compared::Same(bare(l))));
        } else {
            out.extend(old[op.old_range()].iter().map(|l| Compared::Gone(bare(l))));
            out.extend(new[op.new_range()].iter().map(|l| Compared::New(bare(l))));
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const BASE: &str = "V1 12AX7\nV1.1 - R1 100k - B1\nV1.3 - R2 1k5 - ground\n";

    #[test]
    fn changes_apart_from_each_other_are_joined() {
        let here = BASE.replace("100k", "120k");
        let there = format!("{BASE}V1.2 - R3 1M - ground\n");
        let text = merge(BASE, &here, &there).text().unwrap();
        assert!(text.contains("120k") && text.contains("R3 1M"));
        assert_eq!(merge(BASE, &there, &here).text().unwrap(), text);
    }

    #[test]
    fn the_same_line_two_ways_is_a_clash_with_both_texts() {
        let here = BASE.replace("R2 1k5", "R2 1k8");
        let there = BASE.replace("R2 1k5", "R2 1k");
        let merged = merge(BASE, &here, &there);
        assert_eq!(merged.text(), None);
        let clash: Vec<&Clash> = merged.clashes().collect();
        assert_eq!(clash.len(), 1);
        assert_eq!(clash[0].line, 3);
        assert_eq!(clash[0].here, ["V1.3 - R2 1k8 - ground\n"]);
        assert_eq!(clash[0].there, ["V1.3 - R2 1k - ground\n"]);
    }

    #[test]
    fn two_lines_added_at_the_same_place_clash() {
        let here = format!("{BASE}B1 - C1 22u - ground\n");
        let there = format!("{BASE}B1 - C2 16u - ground\n");
        let merged = merge(BASE, &here, &there);
        assert_eq!(merged.clashes().count(), 1);
        assert_eq!(merge(BASE, &here, &here).text().unwrap(), here);
    }

    #[test]
    fn a_comparison_names_what_is_gone_and_new() {
        let new = BASE.replace("100k", "120k");
        let compared = difference(BASE, &new);
        assert_eq!(
            compared,
            [
                Compared::Same("V1 12AX7".into()),
                Compared::Gone("V1.1 - R1 100k - B1".into()),
                Compared::New("V1.1 - R1 120k - B1".into()),
                Compared::Same("V1.3 - R2 1k5 - ground".into()),
            ]
        );
    }

    fn text() -> impl Strategy<Value = String> {
        proptest::collection::vec("[a-d]{0,2}", 0..9)
            .prop_map(|l| l.iter().map(|l| format!("{l}\n")).collect::<String>())
    }

    proptest! {
        /// A side that changed nothing never wins over one that did, and no line of either side
        /// that the base does not have is lost.
        #[test]
        fn nothing_typed_is_lost(base in text(), here in text(), there in text()) {
            prop_assert_eq!(merge(&base, &here, &base).text(), Some(here.clone()));
            prop_assert_eq!(merge(&base, &base, &there).text(), Some(there.clone()));
            prop_assert_eq!(merge(&base, &here, &here).text(), Some(here.clone()));
            let merged = merge(&base, &here, &there);
            let mut all: Vec<String> = Vec::new();
            for piece in &merged.pieces {
                match piece {
                    Piece::Settled(l) => all.extend(l.iter().cloned()),
                    Piece::Clash(c) => {
                        all.extend(c.here.iter().cloned());
                        all.extend(c.there.iter().cloned());
                    }
                }
            }
            for line in here.split_inclusive('\n').chain(there.split_inclusive('\n')) {
                if !base.split_inclusive('\n').any(|b| b == line) {
                    prop_assert!(all.iter().any(|l| l == line), "{line:?} is lost");
                }
            }
        }
    }
}
