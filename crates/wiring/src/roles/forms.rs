//! Which of its usual forms each block has, read off the parts and roles already found.
//!
//! A form is only said where the parts that make it are traced; what is missing says nothing.

use super::rails::{near_winding, on_winding};
use super::supply::filled;
use super::view::{Section, Sort};
use super::{Block, BlockKind, Finder, Form, Role};
use crate::circuit::{GROUND, Kind, NodeId, PartId};
use std::collections::BTreeSet;

/// Below this a cathode resistor is there to measure current, not to set the bias.
const METERING_OHMS: f64 = 20.0;
/// A leak at least this large on a grounded cathode biases by grid current.
const GRID_LEAK_BIAS_OHMS: f64 = 1.8e6;

/// Fills in the forms of every block.
pub(super) fn find(found: &mut Finder<'_>) {
    let forms: Vec<Vec<Form>> = found.blocks.iter().map(|b| of(found, b)).collect();
    for (block, forms) in found.blocks.iter_mut().zip(forms) {
        block.forms = forms;
    }
}

fn of(found: &Finder<'_>, b: &Block) -> Vec<Form> {
    match b.kind {
        BlockKind::Input => input(found, b).into_iter().collect(),
        BlockKind::CommonCathode | BlockKind::Pentode | BlockKind::ReverbRecovery => {
            stage(found, b)
        }
        BlockKind::ReverbDriver => vec![if b.has(Role::DriverTransformer) {
            Form::ByTransformer
        } else {
            Form::ByCapacitor
        }],
        BlockKind::Follower | BlockKind::Cathodyne | BlockKind::PhaseShifter => {
            grid(found, b).into_iter().collect()
        }
        BlockKind::Volume => one(b.has(Role::BrightCapacitor), Form::Bright),
        BlockKind::Interstage => one(b.has(Role::PeakingCapacitor), Form::Peaking),
        BlockKind::ToneNetwork => vec![tone(found, b)],
        BlockKind::SingleTone => vec![single_tone(found, b)],
        BlockKind::Mixer => vec![if b.has(Role::MixingResistor) {
            Form::MixingResistors
        } else {
            Form::WipersJoined
        }],
        BlockKind::Paraphase => vec![paraphase(found, b)],
        BlockKind::SingleEnded | BlockKind::PushPull => output(found, b),
        BlockKind::Feedback => one(
            b.has(Role::PresenceControl) || b.has(Role::PresenceCapacitor),
            Form::Presence,
        ),
        BlockKind::TremoloOscillator => oscillator(found, b).into_iter().collect(),
        BlockKind::TremoloModulator => modulator(found, b),
        BlockKind::HtSupply => high_tension(found, b),
        BlockKind::BiasSupply => bias(found, b),
        BlockKind::HeaterSupply => heaters(found, b),
        BlockKind::LongTailedPair
        | BlockKind::TransformerInverter
        | BlockKind::ToneCut
        | BlockKind::ReverbTank
        | BlockKind::Mains => Vec::new(),
    }
}

fn one(is: bool, form: Form) -> Vec<Form> {
    if is { vec![form] } else { Vec::new() }
}

fn with_role(b: &Block, role: Role) -> impl Iterator<Item = PartId> {
    b.parts
        .iter()
        .filter(move |(_, r)| *r == role)
        .map(|(p, _)| *p)
}

fn touches(found: &Finder<'_>, part: PartId, node: NodeId) -> bool {
    found.view.of_part(part).any(|e| e.a == node || e.b == node)
}

fn input(found: &Finder<'_>, b: &Block) -> Option<Form> {
    let jacks: BTreeSet<PartId> = with_role(b, Role::Jack).collect();
    let tips: Vec<NodeId> = jacks
        .iter()
        .filter_map(|j| found.view.terminal(*j, "tip"))
        .collect();
    let switched = jacks.iter().any(|j| {
        found.view.terminal(*j, "break").is_some_and(|n| {
            n != GROUND && tips.contains(&n) && found.view.terminal(*j, "tip") != Some(n)
        })
    });
    let distinct: BTreeSet<NodeId> = tips.iter().copied().collect();
    match jacks.len() {
        1 => Some(Form::OneJack),
        _ if switched => Some(Form::SwitchedJacks),
        n if n > 1 && distinct.len() == 1 && tips.len() > 1 => Some(Form::JoinedJacks),
        _ => None,
    }
}

fn stage(found: &Finder<'_>, b: &Block) -> Vec<Form> {
    let mut forms = Vec::new();
    let Some(s) = b.sections.first() else {
        return forms;
    };
    if s.cathode == Some(GROUND) {
        let large = with_role(b, Role::GridLeak).any(|p| {
            found
                .view
                .of_part(p)
                .any(|e| e.at_least(GRID_LEAK_BIAS_OHMS) && (e.a == GROUND || e.b == GROUND))
        });
        if large {
            forms.push(Form::GridLeakBias);
        }
    } else if b.has(Role::CathodeBypass) {
        forms.push(Form::Bypassed);
    } else if b.has(Role::CathodeResistor) {
        forms.push(Form::Unbypassed);
    }
    let own: Vec<PartId> = b.sections.iter().map(|s| s.part).collect();
    let shared = s.cathode.is_some_and(|k| {
        k != GROUND
            && !found.still.contains(&k)
            && found.view.sections.iter().any(|t| {
                t.cathode == Some(k)
                    && (!own.contains(&t.part) || !b.sections.contains(t))
                    && t.plate != s.plate
            })
    });
    if shared && b.has(Role::CathodeResistor) {
        forms.push(Form::SharedCathode);
    }
    forms
}

/// Straight from a plate, or biased by a leak or divider of its own.
fn grid(found: &Finder<'_>, b: &Block) -> Option<Form> {
    let s = b.sections.first()?;
    let front = |n: NodeId| {
        found
            .view
            .sections
            .iter()
            .any(|t| t != s && t.plate == Some(n))
    };
    let direct = s.grid.is_some_and(front) || b.inputs.iter().any(|n| front(*n));
    if direct {
        Some(Form::DirectCoupled)
    } else if b.has(Role::GridLeak) {
        Some(Form::OwnBias)
    } else {
        None
    }
}

fn tone(found: &Finder<'_>, b: &Block) -> Form {
    if b.has(Role::SlopeResistor) {
        return if b.has(Role::MiddleControl) {
            Form::TrebleMiddleBass
        } else {
            Form::TrebleBass
        };
    }
    let grounded = [Role::ToneResistor, Role::TrebleCapacitor]
        .into_iter()
        .any(|r| with_role(b, r).any(|p| touches(found, p, GROUND)));
    if grounded {
        Form::PassiveBranches
    } else {
        Form::FeedbackBranches
    }
}

fn single_tone(found: &Finder<'_>, b: &Block) -> Form {
    let control: BTreeSet<NodeId> = with_role(b, Role::ToneControl)
        .flat_map(|p| found.view.of_part(p))
        .flat_map(|e| [e.a, e.b])
        .collect();
    let bridge = found.blocks.iter().any(|v| {
        v.kind == BlockKind::Volume
            && v.outputs.iter().any(|n| control.contains(n))
            && with_role(b, Role::ToneCapacitor)
                .any(|c| v.inputs.iter().any(|n| touches(found, c, *n)))
    });
    if bridge {
        Form::VolumeBridge
    } else {
        Form::ToGround
    }
}

fn paraphase(found: &Finder<'_>, b: &Block) -> Form {
    let ends = |out: &NodeId| -> BTreeSet<NodeId> {
        with_role(b, Role::GridLeak)
            .flat_map(|p| found.view.of_part(p))
            .filter(|e| e.a == *out || e.b == *out)
            .map(|e| e.other(*out))
            .filter(|n| !found.still.contains(n))
            .collect()
    };
    let meet = match b.outputs.as_slice() {
        [one, other] => !ends(one).is_disjoint(&ends(other)),
        _ => false,
    };
    if meet {
        Form::SelfBalancing
    } else {
        Form::Divided
    }
}

fn output(found: &Finder<'_>, b: &Block) -> Vec<Form> {
    let mut forms = Vec::new();
    let small = |p: PartId| found.view.of_part(p).all(|e| e.below(METERING_OHMS));
    let on_ground = !b.sections.is_empty()
        && b.sections.iter().all(|s: &Section| {
            s.cathode.is_some_and(|k| {
                k == GROUND
                    || found
                        .view
                        .at(k)
                        .any(|e| e.sort == Sort::Resistor && e.other(k) == GROUND && small(e.part))
            })
        });
    if with_role(b, Role::CathodeResistor).any(|p| !small(p)) {
        forms.push(Form::CathodeBias);
    } else if on_ground {
        forms.push(Form::FixedBias);
    }
    let taps: BTreeSet<NodeId> = with_role(b, Role::OutputTransformer)
        .flat_map(|t| ["u1", "u2"].map(|n| found.view.terminal(t, n)))
        .flatten()
        .collect();
    let on_tap = b.sections.iter().any(|s| {
        s.screen.is_some_and(|n| {
            taps.contains(&n)
                || found
                    .view
                    .at(n)
                    .any(|e| e.sort == Sort::Resistor && taps.contains(&e.other(n)))
        })
    });
    if on_tap {
        forms.push(Form::ScreenTaps);
    }
    if b.has(Role::PlateDamping) {
        forms.push(Form::PlateDamping);
    }
    forms
}

fn oscillator(found: &Finder<'_>, b: &Block) -> Option<Form> {
    let capacitors: Vec<PartId> = with_role(b, Role::OscillatorCapacitor).collect();
    if capacitors.is_empty() {
        return None;
    }
    let shunt = capacitors.iter().any(|p| {
        found
            .view
            .of_part(*p)
            .any(|e| found.still.contains(&e.a) || found.still.contains(&e.b))
    });
    Some(if shunt {
        Form::SeriesResistances
    } else {
        Form::SeriesCapacitors
    })
}

fn modulator(found: &Finder<'_>, b: &Block) -> Vec<Form> {
    let mut forms = Vec::new();
    let in_shifter = |p: PartId| {
        found
            .blocks
            .iter()
            .any(|x| x.kind == BlockKind::PhaseShifter && x.parts.iter().any(|(q, _)| *q == p))
    };
    let varied: Vec<PartId> = with_role(b, Role::ModulatorCell)
        .chain(with_role(b, Role::VariedResistance))
        .collect();
    let cell = b.has(Role::ModulatorCell);
    if cell {
        forms.push(Form::LampAndCell);
    }
    let shifter_nodes: BTreeSet<NodeId> = found
        .blocks
        .iter()
        .filter(|x| x.kind == BlockKind::PhaseShifter)
        .flat_map(|x| {
            with_role(x, Role::VariedResistance)
                .chain(with_role(x, Role::ModulatorCell))
                .flat_map(|p| found.view.of_part(p))
                .flat_map(|e| [e.a, e.b])
                .collect::<Vec<_>>()
        })
        .collect();
    if varied.iter().any(|p| in_shifter(*p)) || b.outputs.iter().any(|n| shifter_nodes.contains(n))
    {
        forms.push(Form::OnPhaseShifter);
    }
    if b.has(Role::BandCapacitor) {
        forms.push(Form::TwoBands);
    }
    let sways = |kinds: &[BlockKind]| {
        found.blocks.iter().any(|x| {
            kinds.contains(&x.kind)
                && (x.sections.iter().any(|s| {
                    b.outputs
                        .iter()
                        .any(|n| s.grid == Some(*n) || s.cathode == Some(*n))
                }) || x.inputs.iter().any(|n| b.outputs.contains(n))
                    || with_role(x, Role::GridLeak)
                        .any(|p| b.outputs.iter().any(|n| touches(found, p, *n))))
        })
    };
    let couples = b.has(Role::TremoloCoupling) || b.has(Role::DepthControl);
    if couples && !cell {
        if sways(&[BlockKind::PushPull, BlockKind::SingleEnded])
            || b.outputs.iter().any(|n| found.bias_rails.contains(n))
        {
            forms.push(Form::OnOutputBias);
        }
        if sways(&[
            BlockKind::CommonCathode,
            BlockKind::Pentode,
            BlockKind::LongTailedPair,
            BlockKind::ReverbRecovery,
        ]) && !b.has(Role::BandCapacitor)
        {
            forms.push(Form::OnPreampStage);
        }
    }
    forms
}

fn high_tension(found: &Finder<'_>, b: &Block) -> Vec<Form> {
    let view = &found.view;
    let mut forms = Vec::new();
    let plates: BTreeSet<NodeId> = view
        .rectifier_plates
        .iter()
        .filter(|(v, _, _)| b.parts.contains(&(*v, Role::Rectifier)))
        .filter_map(|(_, p, _)| *p)
        .collect();
    match plates.len() {
        0 => {}
        1 => forms.push(Form::HalfWave),
        _ => forms.push(Form::FullWaveValve),
    }
    let mut up: BTreeSet<NodeId> = BTreeSet::new();
    let mut down: BTreeSet<NodeId> = BTreeSet::new();
    let mut bridge = false;
    for p in with_role(b, Role::Rectifier) {
        if matches!(view.kind(p), Kind::Bridge) {
            bridge = true;
        }
        for e in view.of_part(p).filter(|e| e.sort == Sort::Diode) {
            if e.a == GROUND {
                down.insert(e.b);
            } else if near_winding(found, e.a) || down_diode(found, e.a) {
                up.insert(e.a);
            }
        }
    }
    if bridge || up.len() >= 2 && !down.is_empty() {
        forms.push(Form::Bridge);
    } else if !up.is_disjoint(&down) {
        forms.push(Form::Doubler);
    } else if up.len() >= 2 {
        forms.push(Form::FullWaveDiodes);
    } else if up.len() == 1 {
        forms.push(Form::HalfWave);
    }
    for s in with_role(b, Role::StandbySwitch) {
        if let Some(form) = standby(found, s)
            && !forms.contains(&form)
        {
            forms.push(form);
        }
    }
    if b.has(Role::StandbyBypass) {
        forms.push(Form::StandbyBridged);
    }
    if b.has(Role::HtFuse) {
        forms.push(Form::HtFuse);
    }
    forms
}

/// The lower diode of a doubler fed by a capacitor meets here.
fn down_diode(found: &Finder<'_>, node: NodeId) -> bool {
    found
        .view
        .at(node)
        .any(|e| e.sort == Sort::Diode && e.b == node && e.a == GROUND)
}

fn standby(found: &Finder<'_>, switch: PartId) -> Option<Form> {
    let view = &found.view;
    let ends: Vec<NodeId> = view.of_part(switch).flat_map(|e| [e.a, e.b]).collect();
    if ends.is_empty() {
        return None;
    }
    let rail = |n: &NodeId| found.rails.contains(n);
    if ends
        .iter()
        .any(|n| *n == GROUND || on_winding(found, *n) || !rail(n))
    {
        return Some(Form::StandbyBeforeReservoir);
    }
    // What stays on when the switch opens.
    let mut on: BTreeSet<NodeId> = super::rails::rectifier_outputs(found).into_iter().collect();
    if on.is_empty() {
        return None;
    }
    let mut ahead: Vec<NodeId> = on.iter().copied().collect();
    while let Some(n) = ahead.pop() {
        for e in view.at(n) {
            let far = e.other(n);
            let past = view
                .between(n, far)
                .any(|f| f.part == switch || f.sort == Sort::Switch);
            if !past
                && rail(&far)
                && matches!(
                    e.sort,
                    Sort::Resistor | Sort::Choke | Sort::Fuse | Sort::Switch
                )
                && on.insert(far)
            {
                ahead.push(far);
            }
        }
    }
    let reservoir = filled(found)
        .into_iter()
        .find(|r| view.at(*r).any(|e| found.is(e.part, Role::Reservoir)))?;
    if !on.contains(&reservoir) {
        return Some(Form::StandbyBeforeReservoir);
    }
    let plates_on = on.iter().any(|n| {
        view.terminals_at(*n)
            .iter()
            .any(|(p, _)| matches!(view.kind(*p), Kind::OutputTransformer(_)))
    });
    Some(if plates_on {
        Form::StandbyPreampOnly
    } else {
        Form::StandbyAfterReservoir
    })
}

fn bias(found: &Finder<'_>, b: &Block) -> Vec<Form> {
    let view = &found.view;
    let mut forms = one(b.has(Role::BackBias), Form::BackBias);
    // The winding ends that the bias rectifiers take from, directly or through their feed.
    let mut from: BTreeSet<NodeId> = BTreeSet::new();
    for e in with_role(b, Role::Rectifier).flat_map(|p| view.of_part(p)) {
        for n in [e.a, e.b] {
            from.insert(n);
        }
    }
    for feed in with_role(b, Role::BiasFeed).chain(with_role(b, Role::BiasFeedCapacitor)) {
        from.extend(view.of_part(feed).flat_map(|e| [e.a, e.b]));
    }
    for node in from.into_iter().filter(|n| *n != GROUND) {
        for (p, t) in view.terminals_at(node) {
            let Kind::PowerTransformer(pt) = view.kind(*p) else {
                continue;
            };
            for w in pt
                .windings
                .iter()
                .filter(|w| w.taps.iter().any(|(i, _)| i == t))
            {
                let most = w.taps.iter().map(|(_, v)| v.abs()).fold(0.0, f64::max);
                let here = w
                    .taps
                    .iter()
                    .find(|(i, _)| i == t)
                    .map_or(0.0, |(_, v)| v.abs());
                let form = if most < 20.0 {
                    Form::BiasDoubler
                } else if most > 100.0 && here >= 0.9 * most {
                    Form::BiasFromHtEnd
                } else {
                    Form::BiasWinding
                };
                if !forms.contains(&form) {
                    forms.push(form);
                }
            }
        }
    }
    forms
}

fn heaters(found: &Finder<'_>, b: &Block) -> Vec<Form> {
    let view = &found.view;
    let mut forms = Vec::new();
    let raised_to = |n: NodeId| {
        view.sections.iter().any(|s| s.cathode == Some(n))
            || view
                .at(n)
                .any(|e| b.parts.contains(&(e.part, Role::HeaterElevation)))
    };
    let mut raised = b.has(Role::HeaterElevation);
    for t in view.parts(|k| matches!(k, Kind::PowerTransformer(_))) {
        let Kind::PowerTransformer(pt) = view.kind(t) else {
            continue;
        };
        for w in pt
            .windings
            .iter()
            .filter(|w| w.taps.iter().all(|(_, v)| v.abs() < 20.0))
        {
            for (i, v) in &w.taps {
                let Some(node) = view.circuit.parts[t.0]
                    .terminals
                    .get(*i)
                    .and_then(|x| x.node)
                else {
                    continue;
                };
                let middle = w.taps.len() == 3 && *v == 0.0;
                let form = if middle && (node == GROUND || raised_to(node)) {
                    raised |= node != GROUND;
                    Form::HeaterCentreTap
                } else if !middle && node == GROUND {
                    Form::HeaterOneSide
                } else {
                    continue;
                };
                if !forms.contains(&form) {
                    forms.push(form);
                }
            }
        }
    }
    if with_role(b, Role::HeaterReference).count() >= 2 {
        forms.push(Form::HeaterResistors);
    }
    for p in with_role(b, Role::HumBalance) {
        if !forms.contains(&Form::HeaterHumControl) {
            forms.push(Form::HeaterHumControl);
        }
        raised |= view
            .of_part(p)
            .flat_map(|e| [e.a, e.b])
            .any(|n| view.sections.iter().any(|s| s.cathode == Some(n)));
    }
    raised |= with_role(b, Role::HeaterReference)
        .flat_map(|p| view.of_part(p))
        .flat_map(|e| [e.a, e.b])
        .any(|n| view.sections.iter().any(|s| s.cathode == Some(n)));
    if raised {
        forms.push(Form::HeaterRaised);
    }
    if b.has(Role::Rectifier) {
        forms.push(Form::HeaterDirectCurrent);
    }
    forms
}
