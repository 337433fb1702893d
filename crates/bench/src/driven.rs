//! The amplifier with a steady tone at its jack, let run until it repeats itself.
//!
//! The loudspeakers are resistors of their marked ohms, as IEC 60268-3 (from memory, not seen) has the rated load. The
//! rectifiers stand as cycle means, taken anew at the volts that the drive leaves on the reservoir, until those stay: so
//! the supply sags as it does, without its ripple. Knows the circuit; judges nothing.

use crate::powered::{Asked, Powered, block, conditions};
use crate::voicing::{Plugged, inputs, plugged, with_resistors};
use solve::netlist::{Law, NodeIndex};
use solve::response::SmallSignal;
use solve::time::{Cycle, Running, TimeError};
use solve::{Netlist, Solved};
use wiring::circuit::{Circuit, Kind};
use wiring::sheet::Library;

/// The supply counts as settled under drive when its rectifiers' volts move less than this share: the straight lines
/// through their means are then right to the square of it.
const SETTLED: f64 = 5e-3;
/// Times that the rectifiers are taken anew; each leaves about a tenth of the miss.
const MOST_ROUNDS: usize = 6;

/// Volts at the loudspeaker for a volt at the jack, below which nobody plays.
const SILENT: f64 = 0.02;

/// Asked now and then; false stops the work.
pub(crate) type Watch<'a> = &'a mut dyn FnMut() -> bool;

/// The amplifier at rest, ready to be driven.
pub(crate) struct Bench {
    pub(crate) solved: Solved,
    /// The jack or generator that drives.
    pub(crate) from: String,
    /// What is driven: the generators as elements, the mains at rest.
    pub(crate) netlist: Netlist,
    /// The generator's element; none where nothing is driven.
    source: Option<usize>,
    /// Loads: name, ends, ohms, element.
    pub(crate) loads: Vec<Load>,
}

/// One loudspeaker, as a resistor.
pub(crate) struct Load {
    pub(crate) name: String,
    pub(crate) ends: (NodeIndex, NodeIndex),
    pub(crate) ohms: f64,
    element: usize,
}

/// A tone, and the state that repeats under it.
#[derive(Clone)]
pub(crate) struct Driven {
    pub(crate) cycle: Cycle,
    /// Steady volts of each node under drive.
    pub(crate) means: Vec<f64>,
}

impl Bench {
    /// Solves the amplifier at rest, with the jack plugged; unless told, the input that is heard loudest.
    pub(crate) fn new(
        circuit: &Circuit,
        library: &Library,
        asked: &Asked,
        from: Option<&str>,
    ) -> Result<Self, String> {
        if let Some(name) = from {
            return Self::from_jack(circuit, library, asked, name);
        }
        let mut loudest: Option<(f64, Self)> = None;
        let mut why = "no input jack is traced; name a jack or a generator".to_owned();
        for name in inputs(circuit) {
            match Self::from_jack(circuit, library, asked, &name) {
                Ok(bench) => {
                    let gain = bench.gain(1000.0);
                    if loudest.as_ref().is_none_or(|l| gain > l.0 * (1.0 + 1e-9)) {
                        loudest = Some((gain, bench));
                    }
                }
                Err(reason) => why = reason,
            }
        }
        loudest.map(|l| l.1).ok_or(why)
    }

    fn from_jack(
        circuit: &Circuit,
        library: &Library,
        asked: &Asked,
        from: &str,
    ) -> Result<Self, String> {
        let speakers: Vec<&str> = circuit
            .parts
            .iter()
            .filter(|p| matches!(p.kind, Kind::Speaker { .. }))
            .map(|p| p.name.as_str())
            .collect();
        let circuit = &with_resistors(circuit);
        let Plugged {
            from,
            solved,
            source,
            ..
        } = plugged(circuit, library, asked, from)?;
        let netlist = still(&solved, Some(source));
        let loads = loads(&speakers, &solved);
        if loads.is_empty() {
            return Err(
                "no loudspeaker is traced at both ends; type one, `LS1 speaker 8 ohm`".to_owned(),
            );
        }
        let bench = Self {
            solved,
            from,
            netlist,
            source: Some(source),
            loads,
        };
        bench.reachable()?;
        Ok(bench)
    }

    /// The amplifier as far as it is traced, without a jack that drives and without loudspeakers: for what moves by itself.
    pub(crate) fn undriven(
        circuit: &Circuit,
        library: &Library,
        asked: &Asked,
    ) -> Result<Self, String> {
        let circuit = &with_resistors(circuit);
        let under = conditions(asked, block(circuit, asked));
        let solved = Powered::new(circuit, library, &under)?.solved;
        Ok(Self {
            from: String::new(),
            netlist: still(&solved, None),
            solved,
            source: None,
            loads: Vec::new(),
        })
    }

    /// Refuses where a valve without a known operating point may be in the way.
    fn reachable(&self) -> Result<(), String> {
        let hanging = |n: NodeIndex| self.solved.hanging.contains_key(&n);
        let here = SmallSignal::new(&self.netlist, &self.solved.point.solution)
            .map_err(|e| e.to_string())?;
        let at = here.at(1000.0).map_err(|e| e.to_string())?;
        let moved = self.source.map(|source| at.per_volt(source));
        let moved = moved.unwrap_or_default();
        let first = self.loads.first().map_or((0, 0), |l| l.ends);
        let volts = |n: NodeIndex| moved.get(n).copied().unwrap_or_default();
        let gain = (volts(first.0) - volts(first.1)).abs();
        let unknown = self.netlist.elements.iter().find(|e| {
            matches!(e.law, Law::Triode { .. } | Law::Pentode { .. })
                && e.law.terminals().iter().any(|n| hanging(*n))
        });
        match unknown {
            Some(valve) => Err(format!(
                "the volts of {} hang on what is not traced yet; `tubewright check` lists it",
                valve.name
            )),
            None if gain < SILENT => Err(format!(
                "next to nothing from {} arrives at the loudspeaker with the knobs and switches as they stand: turn the volume up, `--set VOLUME=8`",
                self.from
            )),
            None => Ok(()),
        }
    }

    /// Volts at the first load for a volt at the jack, small signals.
    pub(crate) fn gain(&self, hertz: f64) -> f64 {
        SmallSignal::new(&self.netlist, &self.solved.point.solution)
            .ok()
            .and_then(|here| self.gain_in(&here, hertz))
            .unwrap_or(0.0)
    }

    /// The same of the circuit standing elsewhere.
    pub(crate) fn gain_in(&self, here: &SmallSignal, hertz: f64) -> Option<f64> {
        let first = self.loads.first().map_or((0, 0), |l| l.ends);
        let moved = here.at(hertz).ok()?.per_volt(self.source?);
        let volts = |n: NodeIndex| moved.get(n).copied().unwrap_or_default();
        Some((volts(first.0) - volts(first.1)).abs())
    }

    /// The state that repeats with `rms` volts of `hertz` at the jack; `near` is what a near drive left.
    pub(crate) fn drive(
        &self,
        rms: f64,
        hertz: f64,
        near: Option<&Driven>,
        watch: Watch<'_>,
    ) -> Result<Driven, TimeError> {
        let mut netlist = self.netlist.clone();
        if let Some(source) = self.source
            && let Some(element) = netlist.elements.get_mut(source)
            && let Law::Alternating {
                volts, hertz: at, ..
            } = &mut element.law
        {
            (*volts, *at) = (rms, hertz);
        }
        let mut at = self.solved.point.solution.clone();
        if let Some(near) = near {
            at.volts.clone_from(&near.means);
        }
        let rectifiers: Vec<NodeIndex> = netlist
            .elements
            .iter()
            .filter(|e| matches!(e.law, Law::Rectifiers(_)))
            .flat_map(|e| e.law.terminals())
            .collect();
        let mut round = 0;
        loop {
            let cycle = Running::at(&netlist, &at)?.cycle_while(1.0 / hertz, &mut |_| watch())?;
            let means: Vec<f64> = (0..at.volts.len())
                .map(|n| cycle.mean_volts(n, 0))
                .collect();
            round += 1;
            let settled = rectifiers.iter().all(|&n| {
                let (was, is) = (at.volts[n], means[n]);
                (is - was).abs() <= SETTLED * is.abs().max(1.0)
            });
            if settled || round >= MOST_ROUNDS {
                return Ok(Driven { cycle, means });
            }
            at.volts = means;
        }
    }

    /// Mean watts in all loads together.
    pub(crate) fn watts(&self, driven: &Driven) -> f64 {
        let all = self.loads.iter();
        all.map(|l| driven.cycle.power(l.element).dissipated).sum()
    }

    /// Steady volts of a node of the wiring, at rest and driven.
    pub(crate) fn rest_and_driven(
        &self,
        node: wiring::NodeId,
        driven: &Driven,
    ) -> Option<(f64, f64)> {
        let n = self
            .solved
            .assembly
            .node_of
            .get(node.0)
            .copied()
            .flatten()?;
        if self.solved.hanging.contains_key(&n) {
            return None;
        }
        Some((self.solved.point.dc(n), driven.means.get(n).copied()?))
    }
}

/// What is driven: all generators but one stand still. What the mains does stands in the rectifiers' means and in the heat
/// of the cathodes.
fn still(solved: &Solved, but: Option<usize>) -> Netlist {
    let mut netlist = solved.point.netlist.clone();
    for (at, element) in netlist.elements.iter_mut().enumerate() {
        if let Law::Alternating { volts, .. } = &mut element.law
            && Some(at) != but
        {
            *volts = 0.0;
        }
    }
    netlist
}

/// The resistors that loudspeakers became.
fn loads(speakers: &[&str], solved: &Solved) -> Vec<Load> {
    let mut found = Vec::new();
    for name in speakers {
        let elements = solved.assembly.elements_of.get(*name);
        for &element in elements.into_iter().flatten() {
            let Some(e) = solved.point.netlist.elements.get(element) else {
                continue;
            };
            if let Law::Resistor { a, b, ohms } = e.law {
                found.push(Load {
                    name: (*name).to_owned(),
                    ends: (a, b),
                    ohms,
                    element,
                });
            }
        }
    }
    found
}
