//! The chart from beginning to end: conditions, circuit, lines, expectations, verdicts.

use super::entry::Entry;
use super::listing::listing;
use super::model::Model;
use super::state::Trouble;
use super::trouble::{supply_unread, trouble};
use super::{
    Chart, ChartRequest, Line, MeterUsed, Status, Unsolved, conditions, currents, fitted, fuse,
    ohms,
};
use crate::kirchhoff::cross_checks;
use crate::slips::hints;
use crate::tolerance::{MainsKnown, Tolerances};
use solve::netlist::Law;
use solve::{AssembleOptions, Assembly, assemble};
use wiring::circuit::{Circuit, NodeId, Part};
use wiring::readings::{Block, Probe, Shown, Unit};
use wiring::sheet::Library;

/// What every point should read under the request's conditions, next to what was read.
///
/// Total: any circuit gives a chart. What cannot be computed is in `unsolved` with its
/// reason, and `status` says how much there is. Uses the program's own table of tolerances;
/// [`chart_with`] takes another.
#[must_use]
pub fn chart(circuit: &Circuit, library: &Library, request: &ChartRequest) -> Chart {
    work_out(circuit, library, request).chart
}

/// A chart, and what it was judged by, so that a further reading is judged at once
/// ([`super::judge::judge`]).
#[derive(Debug, Clone, PartialEq)]
pub struct Worked {
    /// The chart.
    pub chart: Chart,
    /// One entry a line, in the same order.
    pub entries: Vec<Entry>,
}

/// [`chart`], with its entries.
#[must_use]
pub fn work_out(circuit: &Circuit, library: &Library, request: &ChartRequest) -> Worked {
    match Tolerances::standard() {
        Ok(table) => worked_with(circuit, library, request, &table),
        Err(damaged) => Worked {
            chart: failed(None, damaged.to_string()),
            entries: Vec::new(),
        },
    }
}

/// [`chart`] with a bench's own table of tolerances.
#[must_use]
pub fn chart_with(
    circuit: &Circuit,
    library: &Library,
    request: &ChartRequest,
    tolerances: &Tolerances,
) -> Chart {
    worked_with(circuit, library, request, tolerances).chart
}

fn worked_with(
    circuit: &Circuit,
    library: &Library,
    request: &ChartRequest,
    tolerances: &Tolerances,
) -> Worked {
    let block = match conditions::block(circuit, request) {
        Ok(block) => block,
        Err(name) => {
            return Worked {
                chart: failed(None, format!("no readings block is called `{name}`")),
                entries: Vec::new(),
            };
        }
    };
    let (under, known) = conditions::conditions(circuit, request, block);
    let assembly = assemble(circuit, library, &under, &AssembleOptions::default());
    let mut work = Work {
        circuit,
        tolerances,
        block,
        meter: conditions::meter(block),
        chart: failed(block.map(|b| b.name.clone()), String::new()),
    };
    work.chart.notes = notes(&assembly, known, work.meter, block);
    work.chart.mains_volts = mains_volts(&assembly);
    work.chart.meter = work.meter;
    work.chart.unsolved = assembly
        .unsolved
        .iter()
        .map(|u| Unsolved {
            point: u.point.clone(),
            why: u.why.clone(),
        })
        .collect();
    if under.power_off {
        return work.cold(assembly);
    }
    match Model::new(circuit, assembly, tolerances, known, request.samples) {
        Ok(model) => work.live(&model, library),
        Err(reason) => work.none(&reason),
    }
}

/// Why a point of the mains side has no volts.
const MAINS_SIDE: &str =
    "on the mains side: no volts against ground are expected here, and none should be sought";

/// The chart of nothing, with one note.
fn failed(block: Option<String>, note: String) -> Chart {
    Chart {
        block,
        points: Vec::new(),
        currents: Vec::new(),
        unsolved: Vec::new(),
        status: Status::Failed,
        notes: if note.is_empty() {
            Vec::new()
        } else {
            vec![note]
        },
        mains_volts: None,
        meter: None,
        findings: Vec::new(),
        slips: Vec::new(),
        trouble: Vec::new(),
    }
}

/// Notes of the assembly and of the conditions.
fn notes(
    assembly: &Assembly,
    known: MainsKnown,
    meter: Option<MeterUsed>,
    block: Option<&Block>,
) -> Vec<String> {
    let mut notes: Vec<String> = assembly.notes.iter().map(|n| n.text.clone()).collect();
    if known == MainsKnown::Assumed && mains_volts(assembly).is_some() {
        notes.push(
            "mains: nobody stated it, so the primary's volts are taken and the bands are wider by its 5 %"
                .to_owned(),
        );
    }
    if meter.is_some_and(|m| m.assumed) {
        notes.push(
            "meter: none stated with these readings, so 10M and 0.5 % + 2 digits are taken"
                .to_owned(),
        );
    }
    if block.is_some_and(|b| b.conditions.signal.is_some()) {
        notes.push("signal: these are the points at rest; a signal shifts them".to_owned());
    }
    if block.is_some_and(|b| b.conditions.minutes.is_some_and(|m| m < 10.0)) {
        notes.push(
            "minutes: currents move by 1-2 % in the first ten minutes (common practice, no source)"
                .to_owned(),
        );
    }
    notes
}

/// Volts of the mains as assembled.
fn mains_volts(assembly: &Assembly) -> Option<f64> {
    assembly.netlist.elements.iter().find_map(|e| match e.law {
        Law::Alternating {
            volts, mains: true, ..
        } => Some(volts),
        _ => None,
    })
}

/// A chart in the making.
struct Work<'a> {
    circuit: &'a Circuit,
    tolerances: &'a Tolerances,
    block: Option<&'a Block>,
    meter: Option<MeterUsed>,
    chart: Chart,
}

impl Work<'_> {
    /// Under power: volts.
    fn live(mut self, model: &Model, library: &Library) -> Worked {
        self.chart.notes.extend(model.nominal().notes());
        let fitted = fitted::notes(self.circuit, library, model);
        self.chart.notes.extend(fitted);
        if let Some(blown) = fuse::blown(self.circuit, model) {
            return self.none(&blown);
        }
        self.chart.notes.extend(fuse::overrun(self.circuit, model));
        if model.lost_builds() > 0 {
            self.chart.notes.push(format!(
                "{} of the sampled builds had no operating point and are left out",
                model.lost_builds()
            ));
        }
        let mut entries = listing(self.circuit, self.block, |n| model.volts(n));
        for entry in &mut entries {
            self.expect(model, entry);
        }
        self.chart.currents = currents::currents(self.circuit, model);
        self.finish(entries)
    }

    /// Plug out: ohms.
    fn cold(mut self, assembly: Assembly) -> Worked {
        let mut entries = listing(self.circuit, self.block, |_| None);
        match ohms::Cold::new(self.circuit, assembly, self.tolerances) {
            Ok(cold) => {
                for entry in &mut entries {
                    self.expect_cold(&cold, entry);
                }
            }
            Err(reason) => {
                for entry in &mut entries {
                    entry.why = Some(reason.to_string());
                }
            }
        }
        self.chart.notes.push(
            "power off: ohms in circuit, valves cold, capacitors discharged; leads exchanged may read otherwise where a diode or an electrolytic is in the path"
                .to_owned(),
        );
        self.finish(entries)
    }

    /// No volts at all, for one reason.
    fn none(mut self, reason: &Trouble) -> Worked {
        let mut entries = listing(self.circuit, self.block, |_| None);
        for entry in &mut entries {
            entry.why = Some(reason.to_string());
        }
        self.chart.notes.push(reason.to_string());
        self.finish(entries)
    }

    /// Puts the expected value, or the reason for none, into an entry.
    fn expect(&self, model: &Model, entry: &mut Entry) {
        let leads = match self.leads(model, entry.probe) {
            Ok(leads) => leads,
            Err(why) => {
                entry.why = Some(why);
                return;
            }
        };
        let meter = self.meter.map(|m| m.ohms);
        let expected = match entry.unit {
            Unit::VoltsDc => model.expect(leads.0, leads.1, meter),
            Unit::VoltsAc => model.expect_alternating(leads.0, leads.1),
            Unit::Ohms => Err("ohms are expected only under `power off`".to_owned()),
            Unit::Hertz => Err(
                "a chart holds volts at rest; `tremolo` works out its pace, and `suspects` weighs it"
                    .to_owned(),
            ),
            Unit::AmpsDc => Err(
                "a current is expected where its volts across a resistor are read instead"
                    .to_owned(),
            ),
        };
        match expected {
            Ok(expected) => {
                entry.nominal = Some(expected.nominal);
                entry.band = Some(expected.band);
                entry.source_ohms = Some(expected.source_ohms);
            }
            Err(why) => entry.why = Some(why),
        }
    }

    fn expect_cold(&self, cold: &ohms::Cold, entry: &mut Entry) {
        if entry.unit != Unit::Ohms {
            entry.why = Some(
                match entry.unit {
                    Unit::VoltsDc => "the plug is out: these are volts left on a capacitor; below 10 V before you touch anything",
                    _ => "nothing is powered: only ohms are expected",
                }
                .to_owned(),
            );
            return;
        }
        let expected = self
            .leads_by(entry.probe, |n| cold.node(n))
            .and_then(|(a, b)| cold.expect(a, b));
        match expected {
            Ok(expected) => {
                entry.nominal = Some(expected.nominal);
                entry.band = Some(expected.band);
            }
            Err(why) => entry.why = Some(why),
        }
    }

    fn leads(&self, model: &Model, probe: Probe) -> Result<(usize, usize), String> {
        self.leads_by(probe, |n| model.node(n))
    }

    /// The netlist's nodes under the two leads.
    fn leads_by(
        &self,
        probe: Probe,
        node: impl Fn(NodeId) -> Option<usize>,
    ) -> Result<(usize, usize), String> {
        let find = |id: NodeId| {
            node(id).ok_or_else(|| "nothing that carries current is joined to it yet".to_owned())
        };
        match probe {
            Probe::At(id) if self.is_mains_side(id) => Err(MAINS_SIDE.to_owned()),
            Probe::At(id) => Ok((find(id)?, 0)),
            Probe::Between(a, b) => Ok((find(a)?, find(b)?)),
            Probe::Across(id) => {
                let part = self.circuit.parts.get(id.0);
                let (a, b) = part
                    .and_then(across)
                    .ok_or_else(|| "it is not wired at both ends".to_owned())?;
                Ok((find(a)?, find(b)?))
            }
            Probe::Nowhere => Err("this point is not in the wiring".to_owned()),
        }
    }

    /// Live and neutral, and what hangs on them by name.
    fn is_mains_side(&self, node: NodeId) -> bool {
        self.circuit
            .nodes
            .get(node.0)
            .is_some_and(|n| n.names.iter().any(|x| x == "live" || x == "neutral"))
    }

    /// Lines, findings, status.
    fn finish(mut self, entries: Vec<Entry>) -> Worked {
        self.chart.findings = cross_checks(self.circuit, &entries, self.tolerances);
        self.chart.slips = hints(self.circuit, &entries);
        self.chart.trouble = trouble(self.circuit, &entries);
        if supply_unread(self.circuit, &entries) {
            self.chart.notes.push(
                "no supply point was read against ground: read the first one, so that stages are not blamed for their supply"
                    .to_owned(),
            );
        }
        for entry in &entries {
            if let Some(why) = &entry.why {
                self.chart.unsolved.push(Unsolved {
                    point: entry.point.clone(),
                    why: why.clone(),
                });
            }
        }
        let solved = entries.iter().filter(|e| e.nominal.is_some()).count();
        // What should not be sought is not missing.
        let whole = self.chart.unsolved.iter().all(|u| u.why == MAINS_SIDE);
        self.chart.status = match (solved, whole) {
            (0, _) => Status::Failed,
            (_, true) => Status::Solved,
            (_, false) => Status::Partly,
        };
        self.chart.points = entries.iter().map(line).collect();
        Worked {
            chart: self.chart,
            entries,
        }
    }
}

/// The ends of a part as `across` means them: its first terminal less its second.
fn across(part: &Part) -> Option<(NodeId, NodeId)> {
    Some((part.terminals.first()?.node?, part.terminals.get(1)?.node?))
}

fn line(entry: &Entry) -> Line {
    Line {
        point: entry.point.clone(),
        also: entry.also.clone(),
        unit: match entry.unit {
            Unit::VoltsDc => "V",
            Unit::VoltsAc => "V ac",
            Unit::Ohms => "ohm",
            Unit::AmpsDc => "A",
            Unit::Hertz => "Hz",
        },
        volts: entry.nominal,
        low: entry.band.map(|b| b.low()),
        high: entry.band.map(|b| b.high()),
        reading: entry.number(),
        verdict: entry.verdict(),
        shown: entry.read.and_then(|r| match r.shown {
            Shown::Number(_) => None,
            Shown::Over => Some("OL".to_owned()),
            Shown::Below(v) => Some(format!("< {v}")),
            Shown::Above(v) => Some(format!("> {v}")),
        }),
        uncertainty: entry.read.map(|r| r.sigma).filter(|s| s.is_finite()),
        sigmas: entry.sigmas().filter(|s| s.is_finite()),
    }
}
