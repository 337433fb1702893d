//! What lies beside: how much of an ohmmeter's reading is each part's, and what the reading then
//! tells of one part.

use super::{Cold, unit};
use solve::netlist::{Law, NodeIndex};

/// A reading seen part by part.
pub(crate) struct Beside<'c> {
    cold: &'c Cold,
    /// Volts of every node for one ampere through the leads.
    moved: Vec<f64>,
    ohms: f64,
}

/// What a reading tells of one part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Inferred {
    /// The part's ohms.
    pub(crate) ohms: f64,
    /// Standard deviation of its logarithm, from the reading and from what lies beside.
    pub(crate) sigma: f64,
}

impl Cold {
    /// The reading between two nodes, for [`Beside`]'s questions.
    pub(crate) fn beside(&self, a: NodeIndex, b: NodeIndex) -> Beside<'_> {
        let moved = self.linear.response(&unit(a, b, self.nominal.nodes.len()));
        let at = |n: NodeIndex| moved.get(n).copied().unwrap_or(0.0);
        let ohms = at(a) - at(b);
        Beside {
            cold: self,
            moved,
            ohms,
        }
    }
}

impl Beside<'_> {
    fn across(&self, a: NodeIndex, b: NodeIndex) -> f64 {
        let at = |n: NodeIndex| self.moved.get(n).copied().unwrap_or(0.0);
        at(a) - at(b)
    }

    /// Share of one element: `d ln R / d ln R_element`, the part of a test current's power that
    /// is left in it. All shares sum to 1.
    fn share(&self, element: usize) -> f64 {
        let of = |a: NodeIndex, b: NodeIndex, own: f64| self.across(a, b).powi(2) / own / self.ohms;
        match self.cold.nominal.elements.get(element).map(|e| &e.law) {
            Some(Law::Resistor { a, b, ohms } | Law::Inductor { a, b, ohms, .. }) => {
                of(*a, *b, *ohms)
            }
            Some(Law::Transformer(t)) => t.windings.iter().map(|w| of(w.a, w.b, w.ohms)).sum(),
            _ => 0.0,
        }
    }

    /// Elements by share, the largest first: name and share.
    pub(crate) fn shares(&self) -> Vec<(String, f64)> {
        let mut shares: Vec<(String, f64)> = Vec::new();
        for (index, element) in self.cold.nominal.elements.iter().enumerate() {
            let share = self.share(index);
            if !(share > 1e-6 && share.is_finite()) {
                continue;
            }
            match shares.iter_mut().find(|(n, _)| *n == element.name) {
                Some((_, sum)) => *sum += share,
                None => shares.push((element.name.clone(), share)),
            }
        }
        shares.sort_by(|x, y| y.1.total_cmp(&x.1));
        shares
    }

    /// The ohms of an element for which the meter would show `read`, everything beside as marked
    /// or measured; `own` is the reading's relative uncertainty (one sigma). None where nothing
    /// the part could be gives that reading, or the part has no share.
    ///
    /// With `k` the volts on the part per ampere through the leads and `Rp` the resistance at its
    /// own ends, a conductance `g` more there makes `R = R0 - k^2 g / (1 + g Rp)`.
    pub(crate) fn infer(&self, name: &str, read: f64, own: f64) -> Option<Inferred> {
        let elements = &self.cold.nominal.elements;
        let index = elements.iter().position(|e| e.name == name)?;
        let (Law::Resistor { a, b, ohms } | Law::Inductor { a, b, ohms, .. }) =
            &elements.get(index)?.law
        else {
            return None;
        };
        let k = self.across(*a, *b);
        let own_port = self.cold.linear.source_ohms_between(*a, *b);
        let less = self.ohms - read;
        let more = less / (k * k - less * own_port);
        let value = 1.0 / (1.0 / ohms + more);
        if !(value.is_finite() && value > 0.0) {
            return None;
        }
        let share = self.share(index);
        let rest = self.rest(name);
        Some(Inferred {
            ohms: value,
            sigma: own.hypot(rest) / share,
        })
    }

    /// Standard deviation of the reading's logarithm from all parts but this.
    fn rest(&self, name: &str) -> f64 {
        let netlist = &self.cold.nominal;
        let of_parameter = |p: usize| -> f64 {
            let Some(parameter) = netlist.parameters.get(p) else {
                return 0.0;
            };
            let mut elements: Vec<usize> = parameter.slots.iter().map(|s| s.0).collect();
            elements.dedup();
            elements
                .into_iter()
                .filter(|e| netlist.elements.get(*e).is_some_and(|x| x.name != name))
                .map(|e| self.share(e))
                .sum()
        };
        let causes = self.cold.causes.causes.iter();
        let each = causes.map(|cause| {
            let moves = cause.moves.iter();
            moves
                .map(|(p, weight)| weight * of_parameter(*p))
                .sum::<f64>()
        });
        each.map(|x| x * x).sum::<f64>().sqrt()
    }

    /// Seconds until the ohms shown have come to 95 % of what they will be, while a steady test
    /// current charges what lies beside: three times the first moment of the rise,
    /// `sum(C v^2) / R` with `v` the volts on each capacitor per ampere.
    pub(crate) fn rise_seconds(&self) -> f64 {
        let elements = self.cold.nominal.elements.iter();
        let stored: f64 = elements
            .filter_map(|e| match e.law {
                Law::Capacitor { a, b, farads, .. } => Some(farads * self.across(a, b).powi(2)),
                _ => None,
            })
            .sum();
        let seconds = 3.0 * stored / self.ohms;
        if seconds.is_finite() { seconds } else { 0.0 }
    }
}
