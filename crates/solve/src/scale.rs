//! A netlist with its spreading quantities at other values: each parameter's factor applied.
//!
//! Factors are positive and finite; anything else leaves its slots as they are. A slot that
//! its element does not have is left out. The structure never changes.

use crate::device::RectifierLaw;
use crate::netlist::{Element, Law, Netlist, Parameter, Slot};

impl Netlist {
    /// This netlist with `factors[i]` on every slot of `parameters[i]`; missing factors are 1.
    #[must_use]
    pub fn scaled(&self, factors: &[f64]) -> Self {
        let mut scaled = self.clone();
        scaled.rescale(self, factors);
        scaled
    }

    /// Writes the numbers of `nominal` times `factors` into this netlist, a clone of it.
    ///
    /// Saves the allocations of [`Netlist::scaled`] where many factors are tried in a row.
    pub fn rescale(&mut self, nominal: &Self, factors: &[f64]) {
        for parameter in &nominal.parameters {
            self.restore(nominal, parameter);
        }
        // one slot may belong to two parameters, so all are restored before any is scaled
        for (parameter, factor) in nominal.parameters.iter().zip(factors) {
            self.scale_parameter(parameter, *factor);
        }
    }

    fn restore(&mut self, nominal: &Self, parameter: &Parameter) {
        for (index, _) in &parameter.slots {
            if let (Some(to), Some(from)) =
                (self.elements.get_mut(*index), nominal.elements.get(*index))
            {
                to.law.clone_from(&from.law);
            }
        }
    }

    /// Multiplies every slot of one parameter.
    pub fn scale_parameter(&mut self, parameter: &Parameter, factor: f64) {
        if !(factor.is_finite() && factor > 0.0) || factor == 1.0 {
            return;
        }
        for (index, slot) in &parameter.slots {
            if let Some(element) = self.elements.get_mut(*index) {
                element.scale(*slot, factor);
            }
        }
    }
}

impl Element {
    /// Multiplies one number of this element; nothing happens when it has no such number.
    pub fn scale(&mut self, slot: Slot, factor: f64) {
        match slot {
            // a junction's current at given volts is its saturation current
            Slot::Perveance => {
                let law = match &mut self.law {
                    Law::Diode { law, .. } => &mut law.forward,
                    _ => return,
                };
                match law {
                    RectifierLaw::Valve(perveance) => *perveance *= factor,
                    RectifierLaw::Junction { saturation, .. } => *saturation *= factor,
                    RectifierLaw::Ideal { ohms } => *ohms /= factor,
                }
            }
            _ => {
                if let Some(number) = self.slot_mut(slot) {
                    *number *= factor;
                }
            }
        }
    }

    fn slot_mut(&mut self, slot: Slot) -> Option<&mut f64> {
        match (slot, &mut self.law) {
            (
                Slot::Ohms,
                Law::Resistor { ohms, .. }
                | Law::Inductor { ohms, .. }
                | Law::Source { ohms, .. }
                | Law::Alternating { ohms, .. },
            ) => Some(ohms),
            (Slot::WindingOhms(i), Law::Transformer(t)) => {
                t.windings.get_mut(i).map(|w| &mut w.ohms)
            }
            (Slot::WindingTurns(i), Law::Transformer(t)) => {
                t.windings.get_mut(i).map(|w| &mut w.turns)
            }
            (Slot::Farads, Law::Capacitor { farads, .. }) => Some(farads),
            (Slot::Henries, Law::Inductor { henries, .. }) => Some(henries),
            (Slot::Henries, Law::Transformer(t)) => Some(&mut t.henries_per_turn2),
            (Slot::Volts, Law::Source { volts, .. } | Law::Alternating { volts, .. }) => {
                Some(volts)
            }
            (Slot::Scale, Law::Triode { law, .. }) => Some(&mut law.k),
            (Slot::Scale, Law::Pentode { law, .. }) => Some(&mut law.k),
            (Slot::Mu, Law::Triode { law, .. }) => Some(&mut law.mu),
            (Slot::Mu, Law::Pentode { law, .. }) => Some(&mut law.mu),
            (Slot::ScreenShare, Law::Pentode { law, .. }) => Some(&mut law.s),
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::netlist::Quantity;

    fn divider() -> Netlist {
        let resistor = |name: &str, a, b, ohms| Element {
            name: name.to_owned(),
            law: Law::Resistor { a, b, ohms },
        };
        let parameter = |part: &str, index| Parameter {
            part: part.to_owned(),
            quantity: Quantity::Ohms,
            slots: vec![(index, Slot::Ohms)],
        };
        Netlist {
            nodes: vec!["ground".into(), "a".into()],
            elements: vec![resistor("R1", 0, 1, 1e3), resistor("R2", 0, 1, 2e3)],
            parameters: vec![parameter("R1", 0), parameter("R2", 1), parameter("R1", 0)],
            ..Netlist::default()
        }
    }

    fn ohms(netlist: &Netlist) -> Vec<f64> {
        netlist
            .elements
            .iter()
            .filter_map(|e| match e.law {
                Law::Resistor { ohms, .. } => Some(ohms),
                _ => None,
            })
            .collect()
    }

    #[test]
    fn factors_reach_their_slots_and_nothing_else() {
        let nominal = divider();
        assert_eq!(ohms(&nominal.scaled(&[1.5])), [1.5e3, 2e3]);
        // two parameters on one slot multiply
        assert_eq!(ohms(&nominal.scaled(&[1.5, 2.0, 2.0])), [3e3, 4e3]);
        assert_eq!(nominal.scaled(&[]), nominal);
    }

    #[test]
    fn nonsense_factors_change_nothing() {
        let nominal = divider();
        assert_eq!(nominal.scaled(&[f64::NAN, -1.0, 0.0]), nominal);
        assert_eq!(nominal.scaled(&[f64::INFINITY]), nominal);
    }

    #[test]
    fn rescaling_in_place_starts_from_the_nominal_each_time() {
        let nominal = divider();
        let mut work = nominal.scaled(&[3.0, 3.0, 3.0]);
        work.rescale(&nominal, &[1.1, 1.0, 1.0]);
        assert_eq!(work, nominal.scaled(&[1.1]));
    }
}
