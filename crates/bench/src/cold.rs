//! The cold check: ohms before power, with go or no-go.
//!
//! From the wiring: what an ohmmeter should show at every high-tension node, winding, socket and
//! heater, with the plug out and everything discharged, in circuit, with all that lies beside.
//! The expected ohms and their bands are the chart's own (the same resistances, the same
//! tolerances). Beside each stands which way round the leads go, how long a capacitor takes to
//! charge, and which part's value the reading can tell.
//!
//! A few volts of an ohmmeter prove no insulation and no electrolytic at working volts: go means
//! go on to the lamp and the power-up plan, not to full mains.

mod instrument;
mod judge;
mod places;
mod sheet;

#[cfg(test)]
mod tests;

use crate::chart::entry::Read;
use crate::chart::ohms::{COLD_OHMS, Cold, NO_PATH};
use crate::chart::verdict::{Band, Word};
use crate::chart::{ChartRequest, conditions};
use crate::tolerance::Tolerances;
use instrument::Instrument;
use places::{Place, places};
use serde::Serialize;
use solve::netlist::{Law, NodeIndex};
use solve::{AssembleOptions, Assembly, assemble, solve_circuit};
use wiring::Conditions;
use wiring::assume::Assumed;
use wiring::circuit::{Circuit, Kind, NodeId};
use wiring::readings::{Block, Probe, Unit, ValvesIn};
use wiring::roles::{Anatomy, anatomy};
use wiring::sheet::Library;

pub use instrument::TEST_VOLTS;
pub use judge::Told;

/// What is asked of a cold check.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ColdRequest {
    /// Name of the readings block; none: the last one with the power off.
    pub block: Option<String>,
    /// Knobs and switches in place of what wiring and block say.
    pub sets: Vec<wiring::circuit::Setting>,
    /// Open-circuit volts of the ohmmeter; none: [`TEST_VOLTS`].
    pub test_volts: Option<f64>,
}

/// Expected ohms and readings.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ColdCheck {
    /// The readings block it was held against.
    pub block: Option<String>,
    /// One a place of the probe.
    pub points: Vec<ColdPoint>,
    /// Whether the amplifier may go to the lamp.
    pub verdict: Go,
    /// What could not be computed, and why.
    pub unsolved: Vec<crate::chart::Unsolved>,
    /// What was assumed.
    pub notes: Vec<String>,
    /// Readings whose point is not in the wiring.
    #[serde(skip)]
    loose: Vec<(String, Read)>,
    #[serde(skip)]
    subject: Option<String>,
    #[serde(skip)]
    still: Assumed,
}

/// Go or no-go.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Go {
    /// Every line that decides was read, and is inside.
    Go,
    /// A line that decides is out: find the fault first.
    NoGo,
    /// Lines that decide are still to be read.
    Open,
}

/// One place of the probe.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ColdPoint {
    /// Group (`High tension`).
    pub group: &'static str,
    /// What it is in trade words.
    pub what: String,
    /// Red lead, then black (`B1 to ground`).
    pub point: String,
    /// Expected ohms with every part as marked or measured; none: see `over` and `why`.
    pub ohms: Option<f64>,
    /// 2.5 % of sound amplifiers read less.
    pub low: Option<f64>,
    /// 2.5 % of sound amplifiers read more.
    pub high: Option<f64>,
    /// No path: the meter should show over range.
    pub over: bool,
    /// With the leads exchanged a junction may conduct: it may read down to this.
    pub exchanged: Option<f64>,
    /// With all valves out, where that is another figure (cold heaters).
    pub valves_out: Option<f64>,
    /// Capacitors charge: seconds to 95 % of the figure.
    pub rises_s: Option<f64>,
    /// The part whose value the reading tells, and what follows for it.
    pub tells: Option<Told>,
    /// The figure below which there is no power, ohms.
    pub least: Option<f64>,
    /// Does it decide on go or no-go?
    pub decides: bool,
    /// Ohms read, when the display showed a number.
    pub reading: Option<f64>,
    /// What the display showed when it was no number.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shown: Option<String>,
    /// The verdict as in the chart.
    pub verdict: Option<Word>,
    /// Why nothing is expected, or what to do.
    pub why: Option<String>,
    #[serde(skip)]
    band: Option<Band>,
    #[serde(skip)]
    read: Option<Read>,
}

/// What an ohmmeter should show, next to what it showed.
///
/// Total: any circuit gives a check, half a tracing lists what is not computed with its reason.
#[must_use]
pub fn cold(circuit: &Circuit, library: &Library, request: &ColdRequest) -> ColdCheck {
    let block = block(circuit, request.block.as_deref());
    let mut check = ColdCheck {
        block: block.map(|b| b.name.clone()),
        points: Vec::new(),
        verdict: Go::Open,
        unsolved: Vec::new(),
        notes: Vec::new(),
        loose: loose(block),
        subject: circuit.heading.amp.clone(),
        still: Assumed::of(circuit),
    };
    let anatomy = anatomy(circuit);
    let work = match Work::new(circuit, library, request, block, &anatomy) {
        Ok(work) => work,
        Err(why) => {
            check.notes.push(why);
            return check;
        }
    };
    check.notes.extend(work.notes());
    check.unsolved.extend(work.unsolved.clone());
    let mut all = places(circuit, library, &anatomy);
    all.extend(also_read(circuit, block, &all));
    for place in &all {
        check.points.push(work.point(place));
    }
    for point in &check.points {
        if let (None, false, Some(why)) = (point.ohms, point.over, &point.why) {
            check.unsolved.push(crate::chart::Unsolved {
                point: point.point.clone(),
                why: why.clone(),
            });
        }
    }
    check.verdict = judge::verdict(&check.points);
    check
}

/// Supplies that are typed in place of what is not traced yet.
fn stand_ins(circuit: &Circuit) -> impl Iterator<Item = &wiring::circuit::Part> {
    let parts = circuit.parts.iter();
    parts.filter(|part| matches!(part.kind, Kind::Supply { .. }))
}

/// With nothing left of them.
fn without_stand_ins(circuit: &Circuit, mut assembly: Assembly) -> Assembly {
    for part in stand_ins(circuit) {
        for element in assembly.elements_of.get(&part.name).into_iter().flatten() {
            if let Some(element) = assembly.netlist.elements.get_mut(*element)
                && let Law::Source { plus, minus, .. } = element.law
            {
                element.law = Law::Resistor {
                    a: plus,
                    b: minus,
                    ohms: COLD_OHMS,
                };
            }
        }
    }
    assembly
}

/// The named block, else the last with the power off.
fn block<'a>(circuit: &'a Circuit, name: Option<&str>) -> Option<&'a Block> {
    let mut blocks = circuit.readings.iter().rev();
    match name {
        Some(name) => blocks.find(|b| b.name.trim() == name.trim()),
        None => blocks.find(|b| b.conditions.power_off),
    }
}

/// Ohms read at points that no wiring knows.
fn loose(block: Option<&Block>) -> Vec<(String, Read)> {
    let readings = block.map_or(&[][..], |b| &b.readings);
    let nowhere = readings
        .iter()
        .filter(|r| r.probe == Probe::Nowhere && r.unit == Unit::Ohms);
    nowhere
        .map(|r| {
            (
                r.point.clone(),
                Read::of(r, block.and_then(|b| b.conditions.meter)),
            )
        })
        .collect()
}

/// Readings that no place of the list covers, as places of their own.
fn also_read(circuit: &Circuit, block: Option<&Block>, listed: &[Place]) -> Vec<Place> {
    let mut more: Vec<Place> = Vec::new();
    for reading in block.map_or(&[][..], |b| &b.readings) {
        if reading.unit != Unit::Ohms {
            continue;
        }
        let Some((a, b)) = ends(circuit, reading.probe) else {
            continue;
        };
        if !listed.iter().chain(&more).any(|p| p.is_between(a, b)) {
            more.push(Place::plain("Also read", reading.point.clone(), (a, b)));
        }
    }
    more
}

/// The nodes under the leads of a reading, first lead first.
fn ends(circuit: &Circuit, probe: Probe) -> Option<(NodeId, NodeId)> {
    match probe {
        Probe::At(node) => Some((node, wiring::GROUND)),
        Probe::Between(a, b) => Some((a, b)),
        Probe::Across(part) => {
            let part = circuit.parts.get(part.0)?;
            Some((part.terminals.first()?.node?, part.terminals.get(1)?.node?))
        }
        Probe::Nowhere => None,
    }
}

/// All that the points are computed from.
struct Work<'a> {
    circuit: &'a Circuit,
    anatomy: &'a Anatomy,
    block: Option<&'a Block>,
    assumed: Vec<String>,
    unsolved: Vec<crate::chart::Unsolved>,
    cold: Cold,
    /// The same with every valve out of its socket.
    bare: Option<Cold>,
    instrument: Instrument,
    /// Steady volts under power by wiring node, for the way round of the leads.
    live: Vec<Option<f64>>,
}

impl<'a> Work<'a> {
    fn new(
        circuit: &'a Circuit,
        library: &Library,
        request: &ColdRequest,
        block: Option<&'a Block>,
        anatomy: &'a Anatomy,
    ) -> Result<Self, String> {
        let tolerances = &Tolerances::standard().map_err(|damaged| damaged.to_string())?;
        let asked = ChartRequest {
            sets: request.sets.clone(),
            ..ChartRequest::default()
        };
        let (mut under, _) = conditions::conditions(circuit, &asked, block);
        under.power_off = true;
        let options = AssembleOptions::default();
        let alone = |under: &Conditions| {
            without_stand_ins(circuit, assemble(circuit, library, under, &options))
        };
        let assembly = alone(&under);
        let mut out = under.clone();
        out.valves = ValvesIn::Only(Vec::new());
        let bare = Cold::new(circuit, alone(&out), tolerances);
        let instrument = Instrument::new(&assembly, request.test_volts);
        let mut assumed: Vec<String> = assembly
            .notes
            .iter()
            .filter(|n| matters_cold(n.code))
            .map(|n| n.text.clone())
            .collect();
        assumed.extend(stand_ins(circuit).map(|part| {
            format!(
                "{} stands for a supply that is not traced: it is left out here, and its rail is read by the general line",
                part.name
            )
        }));
        let unsolved = assembly
            .unsolved
            .iter()
            .map(|u| crate::chart::Unsolved {
                point: u.point.clone(),
                why: u.why.clone(),
            })
            .collect();
        let mut warm = under;
        warm.power_off = false;
        let solved = solve_circuit(circuit, library, &warm, &options);
        let live = (0..circuit.nodes.len())
            .map(|n| {
                let node = solved.assembly.node_of.get(n).copied().flatten()?;
                solved.point.solved().then(|| solved.point.dc(node))
            })
            .collect();
        Ok(Self {
            circuit,
            anatomy,
            block,
            assumed,
            unsolved,
            cold: Cold::new(circuit, assembly, tolerances).map_err(|t| t.to_string())?,
            bare: bare.ok(),
            instrument,
            live,
        })
    }

    fn notes(&self) -> Vec<String> {
        let mut notes = self.assumed.clone();
        notes.push(format!(
            "ohms in circuit, plug out, everything discharged, valves cold, knobs as set. The red lead is plus on a digital meter's ohm ranges, and usually minus on a pointer meter's (common practice, no source): try it on a diode. Taken with {} V at open leads.",
            self.instrument.volts
        ));
        notes
    }

    /// Red on the side that is the more positive under power: electrolytics are charged the right
    /// way round and rectifiers stay shut.
    fn leads(&self, place: &Place) -> (NodeId, NodeId) {
        let (a, b) = place.ends;
        let at = |n: NodeId| self.live.get(n.0).copied().flatten().unwrap_or(0.0);
        if at(a) < at(b) - 1.0 { (b, a) } else { (a, b) }
    }

    fn point(&self, place: &Place) -> ColdPoint {
        let (red, black) = self.leads(place);
        let mut point = ColdPoint {
            group: place.group,
            what: place.what.clone(),
            point: place.written((red, black), self.circuit),
            ohms: None,
            low: None,
            high: None,
            over: false,
            exchanged: None,
            valves_out: None,
            rises_s: None,
            tells: None,
            least: place.least,
            decides: place.decides,
            reading: None,
            shown: None,
            verdict: None,
            why: None,
            band: None,
            read: self.read(place),
        };
        let at = |n: NodeId| self.cold.node(n);
        match (at(red), at(black)) {
            (Some(a), Some(b)) => self.expect(place, (a, b), (red, black), &mut point),
            _ => point.why = Some("nothing that carries current is joined to it yet".to_owned()),
        }
        judge::read(&mut point);
        point
    }

    fn expect(
        &self,
        place: &Place,
        (a, b): (NodeIndex, NodeIndex),
        wired: (NodeId, NodeId),
        point: &mut ColdPoint,
    ) {
        let expected = match self.cold.expect(a, b) {
            Ok(expected) => expected,
            Err(why) => {
                point.over = place.apart && why.starts_with(NO_PATH);
                if !point.over {
                    point.why = Some(why);
                }
                return;
            }
        };
        point.ohms = Some(expected.nominal);
        point.low = Some(expected.band.low().max(0.0));
        point.high = Some(expected.band.high());
        point.band = Some(expected.band);
        let beside = self.cold.beside(a, b);
        let charging = beside.rise_seconds();
        point.rises_s = (charging > LEAST_RISE).then_some(charging);
        point.exchanged = self.instrument.exchanged((a, b), expected.nominal);
        point.valves_out = self.bare.as_ref().and_then(|bare| {
            let ohms = bare
                .expect(bare.node(wired.0)?, bare.node(wired.1)?)
                .ok()?
                .nominal;
            ((ohms / expected.nominal).ln().abs() > 0.05).then_some(ohms)
        });
        point.tells = judge::told(self.circuit, self.anatomy, &beside, point.read);
    }

    /// The last reading of this place, whichever way round the leads were named.
    fn read(&self, place: &Place) -> Option<Read> {
        let block = self.block?;
        let of = |r: &wiring::readings::Reading| {
            let (a, b) = ends(self.circuit, r.probe)?;
            (r.unit == Unit::Ohms && place.is_between(a, b))
                .then(|| Read::of(r, block.conditions.meter))
        };
        block.readings.iter().rev().find_map(of)
    }
}

/// A charge that takes less than this is not worth a word, seconds.
const LEAST_RISE: f64 = 1.5;

/// Notes of the assembly that bear on resistances.
fn matters_cold(code: &str) -> bool {
    !matches!(
        code,
        "heater-not-traced" | "mains-not-traced" | "mains-half-traced" | "limiter-lamp"
    )
}
