//! The circuit changed, solved, and put back as it was.

use super::rectifiers::{Group, settle, weaken};
use super::{Desk, Expected, FIRST_ROUNDS, MOST_ROUNDS, Scene, Sort};
use crate::suspects::edit::Edit;
use solve::linear::Complex;
use solve::netlist::{Law, Rectifiers, Slot};

impl Scene {
    /// What the leads should show with these changes made, from the volts of a near solution;
    /// and the volts. None where there is no operating point. `slopes` asks for the slopes too.
    pub(in crate::suspects) fn expect_from(
        &self,
        desk: &mut Desk,
        edits: &[Edit],
        slopes: bool,
        start: &[f64],
    ) -> Option<(Expected, Vec<f64>)> {
        let found = self.changed(desk, edits, slopes, start);
        self.put_back(desk, edits);
        found
    }

    /// The desk's circuit as it was.
    pub(super) fn put_back(&self, desk: &mut Desk, edits: &[Edit]) {
        let net = &mut desk.net;
        net.elements.truncate(self.base.elements.len());
        net.nodes.truncate(self.base.nodes.len());
        let tangents = self.groups.iter().flat_map(|g| g.tangents.iter().copied());
        let touched = edits.iter().flat_map(Edit::elements).chain(tangents);
        let drifted = edits.contains(&Edit::Drift);
        let strays = self.strays.iter().copied().filter(|_| drifted);
        for index in touched.chain(strays).chain(self.meters.iter().copied()) {
            if let (Some(to), Some(from)) =
                (net.elements.get_mut(index), self.base.elements.get(index))
            {
                to.law.clone_from(&from.law);
            }
        }
        for (group, sound) in desk.groups.iter_mut().zip(&self.groups) {
            group.put_back(sound);
        }
    }

    pub(super) fn changed(
        &self,
        desk: &mut Desk,
        edits: &[Edit],
        slopes: bool,
        start: &[f64],
    ) -> Option<(Expected, Vec<f64>)> {
        let mut drawn = false;
        let mut anew = false;
        let mut moved = false;
        let mut open = None;
        desk.edited.clear();
        desk.edited.extend(edits.iter().flat_map(Edit::valued));
        for edit in edits {
            if self.sort == Sort::Cold && !edit.holds_cold() {
                continue;
            }
            moved |= edit.moves_leads();
            if !edit.apply(&mut desk.net) {
                let laws: Vec<&Rectifiers> = desk.groups.iter().map(|g| &g.law).collect();
                anew |= edit.is_of_the_mains(&laws);
                if let Edit::Scale {
                    element,
                    slot: Slot::Perveance,
                    by,
                } = edit
                {
                    drawn |= weaken(&mut desk.groups, *element, *by);
                }
            } else if self.groups_hold(edit) || self.is_before_rectifiers(edit) {
                anew = true;
            }
        }
        if self.sort == Sort::Cold {
            return Some((self.cold(desk, moved, slopes)?, self.volts.clone()));
        }
        if anew {
            open = Some(self.reduce_again(&mut desk.groups, edits)?);
            drawn = true;
        }
        if self.only_wound() {
            let shown = self.mains_shown(&[], open.as_deref(), &desk.edited, slopes)?;
            return Some((shown, self.volts.clone()));
        }
        let mut volts = start.to_vec();
        volts.resize(desk.net.nodes.len(), 0.0);
        for (index, node) in desk.net.nodes.iter().enumerate().skip(start.len()) {
            // a new node starts where the lead was that it cuts
            if let Some(at) = node
                .strip_prefix("cut ")
                .and_then(|n| n.parse::<usize>().ok())
            {
                let here = volts.get(at).copied().unwrap_or(0.0);
                if let Some(v) = volts.get_mut(index) {
                    *v = here;
                }
            }
        }
        for group in &mut desk.groups {
            if drawn || group.has_moved(&volts) {
                group.draw(&mut desk.net, &volts);
            }
        }
        let rounds = if slopes { MOST_ROUNDS } else { FIRST_ROUNDS };
        let solution = settle(desk, moved, &volts, rounds)?;
        let expected = match self.sort {
            Sort::Signal => self.signal(&desk.net, &solution, slopes)?,
            Sort::Mains => {
                let left = self.ripple(desk, &solution, edits)?;
                self.mains_shown(&left, open.as_deref(), &desk.edited, slopes)?
            }
            Sort::Pace => self.swings(&desk.net, &solution, edits)?,
            _ => self.live(desk, moved, &solution, slopes)?,
        };
        let mut after = solution.volts;
        after.truncate(self.volts.len());
        Some((expected, after))
    }

    /// Is what is edited between the mains and the rectifiers, so that their emf hangs on it?
    fn is_before_rectifiers(&self, edit: &Edit) -> bool {
        let (Edit::Scale { element, .. } | Edit::Ohms { element, .. } | Edit::More { element, .. }) =
            edit
        else {
            return false;
        };
        self.alternating.get(*element).copied().unwrap_or(false)
    }

    /// Does the ripple of a rectifier hang on what is edited?
    fn groups_hold(&self, edit: &Edit) -> bool {
        let Edit::Scale {
            element,
            slot: Slot::Farads | Slot::Henries,
            ..
        } = edit
        else {
            return false;
        };
        let mut stores = self.groups.iter().flat_map(|g| &g.law.stores);
        stores.any(|s| s.element == *element)
    }

    /// The rectifier groups of the changed circuit; and what the mains put on its nodes with no
    /// rectifier conducting, peak.
    fn reduce_again(&self, groups: &mut [Group], edits: &[Edit]) -> Option<Vec<Complex>> {
        let state = self.state.as_ref()?;
        let mut whole = self.assembly.netlist.scaled(&self.spreads.medians);
        for edit in edits {
            edit.apply(&mut whole);
        }
        let reduced = state.reduced(&whole);
        let mut after = reduced
            .netlist
            .elements
            .into_iter()
            .filter_map(|e| match e.law {
                Law::Rectifiers(group) => Some(group),
                _ => None,
            });
        for group in groups.iter_mut() {
            match after.next() {
                Some(law) if law.plates.len() == group.law.plates.len() => group.becomes(law),
                // nothing drives it any more
                _ => {
                    let mut law = group.law.clone();
                    for plate in &mut law.plates {
                        plate.emf_peak = 0.0;
                    }
                    group.becomes(law);
                }
            }
        }
        Some(reduced.open)
    }
}
