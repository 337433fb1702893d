//! What a fault would do to the parts around it: a fuse that blows, a plate that glows, a resistor
//! that burns. Such a suspect shows its volts only for moments, so the reader is told.

use super::edit::edits;
use super::evidence::Evidence;
use super::hypothesis::Hypothesis;
use super::scene::{Carried, Desk, Load, Scene, Sort};
use crate::digits;
use wiring::circuit::{Circuit, Electrode, Kind, Part};
use wiring::sheet::{Library, LimitQuantity};

/// Rectifiers that give so many times a sound amplifier's current do not for long (ours).
const MOST_CURRENT: f64 = 2.5;
/// And so many amperes more (ours).
const MORE_AMPS: f64 = 0.06;
/// A fuse is taken to blow from this part of its rating on: common practice, no source.
const BLOWS: f64 = 1.5;
/// A plate or screen glows from this part of its limit on (ours).
const GLOWS: f64 = 1.3;
/// A resistor burns from this part of its rating on (ours).
const BURNS: f64 = 2.0;
/// Where its rating is not known: watts, and times a sound one's (ours).
const UNRATED_WATTS: f64 = 2.0;
/// Times a sound one's.
const UNRATED_TIMES: f64 = 4.0;

/// What suspects would do, against a sound amplifier.
pub(super) struct Strain<'a> {
    circuit: &'a Circuit,
    library: &'a Library,
    scene: &'a Scene,
    desk: Desk,
    sound: Load,
}

impl<'a> Strain<'a> {
    /// Under the first conditions with power; none without any.
    pub(super) fn of(
        circuit: &'a Circuit,
        library: &'a Library,
        evidence: &'a Evidence,
    ) -> Option<Self> {
        let scene = evidence.scenes.iter().find(|s| s.sort == Sort::Live)?;
        let mut desk = scene.desk()?;
        let sound = scene.load(&mut desk, &[])?;
        Some(Self {
            desk,
            circuit,
            library,
            scene,
            sound,
        })
    }

    /// What a hypothesis of this size would do, in words; nothing where it strains no part.
    pub(super) fn words(&mut self, h: &Hypothesis, size: f64) -> Vec<String> {
        let edits = edits(self.circuit, &self.scene.assembly, h, size);
        let Some(load) = self.scene.load(&mut self.desk, &edits) else {
            return Vec::new();
        };
        let mut all = Vec::new();
        let (now, sound) = (self.drawn(&load), self.drawn(&self.sound));
        if now > MOST_CURRENT * sound && now > sound + MORE_AMPS {
            all.push(format!(
                "it would draw {} mA of HT, {} mA when sound: a fuse blows, or the rectifier and the mains transformer burn; bring it up on a lamp limiter only",
                digits::volts(1e3 * now),
                digits::volts(1e3 * sound),
            ));
        }
        for part in &self.circuit.parts {
            match &part.kind {
                Kind::Fuse {
                    amps: Some(rated), ..
                } => {
                    let amps = self.of_part(part, &load, |c| c.amps.abs());
                    if amps > BLOWS * rated {
                        all.push(format!(
                            "{} would blow: {} A in {rated} A",
                            part.name,
                            digits::volts(amps)
                        ));
                    }
                }
                Kind::Resistor { .. } => all.extend(self.resistor(part, &load)),
                Kind::Valve(_) => all.extend(self.valve(part, &load)),
                _ => {}
            }
        }
        all
    }

    /// HT current, amperes: of rectifiers and of what stands for a supply.
    fn drawn(&self, load: &Load) -> f64 {
        let supplies = self.circuit.parts.iter();
        let supplies = supplies.filter(|p| matches!(p.kind, Kind::Supply { .. }));
        let stand: f64 = supplies
            .map(|p| self.of_part(p, load, |c| c.amps.abs()))
            .sum();
        load.rectified + stand
    }

    /// The most that an element of a part carries.
    fn of_part(&self, part: &Part, load: &Load, what: impl Fn(&Carried) -> f64) -> f64 {
        let elements = self.scene.assembly.elements_of.get(&part.name);
        let carried = elements.into_iter().flatten();
        let carried = carried.filter_map(|e| load.elements.get(*e));
        carried.map(what).fold(0.0, f64::max)
    }

    fn resistor(&self, part: &Part, load: &Load) -> Option<String> {
        let watts = self.of_part(part, load, |c| c.watts);
        let sound = self.of_part(part, &self.sound, |c| c.watts);
        let burns = match part.known.watts {
            Some(rated) => watts > BURNS * rated && watts > BURNS * sound,
            None => watts > UNRATED_WATTS && watts > UNRATED_TIMES * sound,
        };
        let rated = part
            .known
            .watts
            .map_or_else(String::new, |w| format!(" in {w} W"));
        burns.then(|| {
            format!(
                "{} would burn: {} W{rated}",
                part.name,
                digits::volts(watts)
            )
        })
    }

    fn valve(&self, part: &Part, load: &Load) -> Vec<String> {
        let Kind::Valve(valve) = &part.kind else {
            return Vec::new();
        };
        let Some(sheet) = self.library.find(valve.type_in_socket()) else {
            return Vec::new();
        };
        let mut all = Vec::new();
        for section in valve
            .electrodes
            .iter()
            .filter(|e| e.electrode == Electrode::Plate)
        {
            let letter = section.section;
            let name = letter.map_or_else(|| part.name.clone(), |l| format!("{}{l}", part.name));
            let elements = self.scene.assembly.netlist.elements.iter();
            let Some(index) = elements.clone().position(|e| e.name == name) else {
                continue;
            };
            let Some(carried) = load.elements.get(index) else {
                continue;
            };
            for (watts, limit, of) in [
                (carried.watts, LimitQuantity::PlateWatts, "plate"),
                (carried.screen_watts, LimitQuantity::ScreenWatts, "screen"),
            ] {
                let Some(limit) = sheet.guarding_limit(letter, limit) else {
                    continue;
                };
                if watts > GLOWS * limit {
                    all.push(format!(
                        "the {of} of {name} would glow: {} W, limit {limit} W",
                        digits::volts(watts)
                    ));
                }
            }
        }
        all
    }
}
