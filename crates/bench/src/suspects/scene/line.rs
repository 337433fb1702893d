//! What rectifiers give, against the volts across them: the supply of a sound amplifier as its
//! curve, found once, so that a fault behind the rectifiers costs no mains cycle.
//!
//! Plates that feed one filter see their volts move together; what each of them, and each plate
//! of another filter on the same transformer, then gives is kept at some volts and joined by
//! cubics that meet the slopes too. Two filters that move at once add up.

use solve::netlist::Rectifiers;
use solve::supply::CycleMemory;

/// Where the curve is found, as parts of the sound volts: toward a short circuit,
const HEAVIER: [f64; 12] = [
    0.02, 0.05, 0.09, 0.14, 0.21, 0.3, 0.41, 0.54, 0.68, 0.82, 0.95, 1.05,
];
/// and of what is left up to the peak, toward no load.
const LIGHTER: [f64; 7] = [0.08, 0.18, 0.32, 0.5, 0.7, 0.9, 1.1];
/// Plates of one filter may move apart by so many volts,
const APART_VOLTS: f64 = 0.3;
/// or by this part of how far they moved together.
const APART_PART: f64 = 0.02;

/// The curves are held against cycles in which all volts are these parts of the sound ones,
const TOGETHER: [f64; 2] = [0.75, 1.05];
/// and are used if every current is right to this part,
const ADDS_UP: f64 = 0.03;
/// or what it is off by moves its volts by no more than this part: a small bias rectifier beside a
/// large one that is all but shorted is off by some percent of its few milliamperes.
const BY_VOLTS: f64 = 0.015;

/// The curves of one group of rectifiers.
#[derive(Debug)]
pub(super) struct Line {
    /// Volts across each plate in a sound amplifier.
    at: Vec<f64>,
    /// What each gives there, amperes.
    amps: Vec<f64>,
    filters: Vec<Filter>,
}

/// Plates whose volts move together.
#[derive(Debug)]
struct Filter {
    plates: Vec<usize>,
    /// In rising order of the volts by which they moved.
    points: Vec<Point>,
}

#[derive(Debug)]
struct Point {
    moved: f64,
    /// Of every plate of the group.
    amps: Vec<f64>,
    /// With the volts of this filter's plates together, siemens.
    slopes: Vec<f64>,
}

impl Line {
    /// From the cycle of a sound amplifier; none where the filters do not add up, or where a cycle
    /// is not found.
    pub(super) fn of(law: &Rectifiers, memory: &CycleMemory, at: &[f64]) -> Option<Self> {
        let filters = filters(law);
        let find = |memory: &mut CycleMemory, across: &[f64], plates: &[usize]| {
            let count = across.len();
            let (mut amps, mut slopes) = (vec![0.0; count], vec![0.0; count * count]);
            let good = law.loose_currents_from(memory, across, &mut amps, &mut slopes);
            let rows = slopes.chunks(count.max(1));
            let sums = rows.map(|row| plates.iter().filter_map(|p| row.get(*p)).sum());
            good.then(|| (amps, sums.collect::<Vec<f64>>()))
        };
        let (amps, _) = find(&mut memory.clone(), at, &[])?;
        let mut made = Vec::new();
        for plates in filters {
            let volts = mean(plates.iter().filter_map(|p| at.get(*p)));
            let peak = plates.iter().filter_map(|p| law.plates.get(*p));
            let peak = peak.fold(0.0, |most, p| f64::max(most, p.emf_peak.abs()));
            // volts across a plate that gives current are below zero by what is behind it
            let (heavier, lighter) = ((-volts).max(1.0), (peak + volts).max(1.0));
            let mut points = Vec::new();
            for (parts, step) in [(&HEAVIER[..], heavier), (&LIGHTER[..], -lighter)] {
                let mut memory = memory.clone();
                let here = std::iter::once(0.0).filter(|_| step > 0.0);
                for part in here.chain(parts.iter().copied()) {
                    let moved = part * step;
                    let mut across = at.to_vec();
                    for plate in &plates {
                        if let Some(v) = across.get_mut(*plate) {
                            *v += moved;
                        }
                    }
                    let (amps, slopes) = find(&mut memory, &across, &plates)?;
                    points.push(Point {
                        moved,
                        amps,
                        slopes,
                    });
                }
            }
            points.sort_by(|a, b| a.moved.total_cmp(&b.moved));
            made.push(Filter { plates, points });
        }
        let made = Self {
            at: at.to_vec(),
            amps,
            filters: made,
        };
        made.adds_up(law, memory).then_some(made)
    }

    /// Does what was found filter by filter hold where all of them move at once?
    fn adds_up(&self, law: &Rectifiers, memory: &CycleMemory) -> bool {
        let mut memory = memory.clone();
        let most = self
            .amps
            .iter()
            .fold(0.0, |most, i| f64::max(most, i.abs()));
        TOGETHER.iter().all(|part| {
            let across: Vec<f64> = self.at.iter().map(|v| v * part).collect();
            let found = law.amps_from(&mut memory, &across);
            self.read(&across).is_none_or(|(amps, slopes)| {
                let good = |i: usize| {
                    let at = |v: &[f64]| v.get(i).copied().unwrap_or(0.0);
                    let off = (at(&amps) - at(&found)).abs();
                    off <= ADDS_UP * (at(&found).abs() + most)
                        || off <= BY_VOLTS * at(&across).abs() * at(&slopes)
                };
                (0..amps.len()).all(good)
            })
        })
    }

    /// Amperes of each plate and its slope with its filter's volts; none outside the curve, and
    /// where the plates of a filter moved apart.
    pub(super) fn read(&self, across: &[f64]) -> Option<(Vec<f64>, Vec<f64>)> {
        let mut amps = self.amps.clone();
        let mut slopes = vec![0.0; amps.len()];
        for filter in &self.filters {
            let moves = filter.plates.iter();
            let moves: Vec<f64> = moves
                .filter_map(|p| Some(across.get(*p)? - self.at.get(*p)?))
                .collect();
            let moved = mean(moves.iter());
            let most = APART_VOLTS + APART_PART * moved.abs();
            if !moves.iter().all(|m| (m - moved).abs() <= most) {
                return None;
            }
            let above = filter.points.iter().position(|p| p.moved >= moved)?;
            let (Some(from), Some(to)) = (
                filter.points.get(above.max(1) - 1),
                filter.points.get(above.max(1)),
            ) else {
                return None;
            };
            if moved < from.moved {
                return None;
            }
            for (index, sum) in amps.iter_mut().enumerate() {
                let (value, slope) = cubic(from, to, index, moved)?;
                *sum += value - self.amps.get(index)?;
                if filter.plates.contains(&index)
                    && let Some(slot) = slopes.get_mut(index)
                {
                    *slot = slope;
                }
            }
        }
        Some((amps, slopes))
    }
}

/// Plates that share the node they charge; all of a bridge, in which more than one node is fed by
/// one plate and feeds another.
fn filters(law: &Rectifiers) -> Vec<Vec<usize>> {
    let plates = &law.plates;
    let mut both: Vec<usize> = plates.iter().map(|p| p.plate).collect();
    both.sort_unstable();
    both.dedup();
    both.retain(|n| *n != 0 && plates.iter().any(|p| p.cathode == *n));
    let bridge = both.len() > 1;
    let same = |a: usize, b: usize| a == b && a != 0;
    let mut label: Vec<usize> = (0..plates.len()).collect();
    for (i, one) in plates.iter().enumerate() {
        for (j, other) in plates.iter().enumerate().take(i) {
            let together = same(one.cathode, other.cathode)
                || same(one.plate, other.plate)
                || bridge && (same(one.plate, other.cathode) || same(one.cathode, other.plate));
            let (Some(from), Some(to)) = (label.get(i).copied(), label.get(j).copied()) else {
                continue;
            };
            if together {
                let joined = from.min(to);
                for l in label.iter_mut().filter(|l| **l == from || **l == to) {
                    *l = joined;
                }
            }
        }
    }
    let mut firsts = label.clone();
    firsts.sort_unstable();
    firsts.dedup();
    let of = |first: &usize| {
        let labels = label.iter().enumerate();
        labels
            .filter(|(_, l)| *l == first)
            .map(|(i, _)| i)
            .collect()
    };
    firsts.iter().map(of).collect()
}

/// Value and slope of the cubic that meets both ends and their slopes.
fn cubic(from: &Point, to: &Point, index: usize, moved: f64) -> Option<(f64, f64)> {
    let wide = to.moved - from.moved;
    let t = (moved - from.moved) / wide;
    let (y0, y1) = (from.amps.get(index)?, to.amps.get(index)?);
    let (d0, d1) = (wide * from.slopes.get(index)?, wide * to.slopes.get(index)?);
    let (bend, twist) = (3.0 * (y1 - y0) - 2.0 * d0 - d1, d0 + d1 - 2.0 * (y1 - y0));
    let value = y0 + t * (d0 + t * (bend + t * twist));
    let slope = (d0 + t * (2.0 * bend + 3.0 * t * twist)) / wide;
    Some((value, slope))
}

fn mean<'a>(values: impl Iterator<Item = &'a f64>) -> f64 {
    let (count, sum) = values.fold((0.0, 0.0), |(n, sum), v| (n + 1.0, sum + v));
    if count > 0.0 { sum / count } else { 0.0 }
}
