//! Where the trouble is: a few sentences that point at the readings furthest out.
//!
//! Each sentence names readings and what their *pattern* suggests: pairs of plate and cathode
//! in a stage, all supply points by one ratio, one group of supply points, a drop across a
//! part. The patterns are bench practice (common practice, no source). They suggest and never
//! convict: a ranking with odds is another computation.

use super::entry::{Entry, volts_read};
use super::verdict::{K95, Word};
use wiring::circuit::{Circuit, Electrode, Kind, NodeId};
use wiring::readings::{Probe, Unit};

/// At most this many sentences.
const MOST: usize = 6;

/// Sentences in the order of how far out the readings are that they speak of.
#[must_use]
pub fn trouble(circuit: &Circuit, entries: &[Entry]) -> Vec<String> {
    let mut told = Told::default();
    supply_ratio(circuit, entries, &mut told);
    drops(circuit, entries, &mut told);
    for stage in stages(circuit) {
        stage_pattern(entries, &stage, &mut told);
    }
    singles(circuit, entries, &mut told);
    told.sentences.sort_by(|a, b| b.0.total_cmp(&a.0));
    told.sentences
        .into_iter()
        .take(MOST)
        .map(|(_, s)| s)
        .collect()
}

/// Sentences so far, and the points they have dealt with.
#[derive(Debug, Default)]
struct Told {
    sentences: Vec<(f64, String)>,
    points: Vec<String>,
}

impl Told {
    fn say(&mut self, sigmas: f64, points: &[&str], sentence: String) {
        self.points.extend(points.iter().map(|p| (*p).to_owned()));
        // no spread at all gives endless sigmas; they sort first all the same
        self.sentences.push((sigmas.abs().min(1e9), sentence));
    }

    fn knows(&self, point: &str) -> bool {
        self.points.iter().any(|p| p == point)
    }
}

fn is_out(entry: &Entry) -> bool {
    matches!(entry.verdict(), Some(Word::Outside | Word::Doubtful))
}

fn is_outside(entry: &Entry) -> bool {
    entry.verdict() == Some(Word::Outside)
}

fn far(entry: &Entry) -> f64 {
    entry.sigmas().unwrap_or(0.0)
}

/// The points of the supply: joined to a rectifier's output or to each other by resistors and
/// chokes, and feeding; told by their volts (50 V and more) and by having no plate of a triode
/// behind a load.
fn supply_points<'a>(circuit: &Circuit, entries: &'a [Entry]) -> Vec<&'a Entry> {
    entries
        .iter()
        .filter(|e| {
            let Some(node) = e.volts_at() else {
                return false;
            };
            e.number().is_some()
                && e.band.is_some_and(|b| b.centre > 50.0)
                && has_filter_capacitor(circuit, node)
        })
        .collect()
}

/// A capacitor of 1 uF or more from the node to ground.
fn has_filter_capacitor(circuit: &Circuit, node: NodeId) -> bool {
    circuit.nodes.get(node.0).is_some_and(|n| {
        n.terminals.iter().any(|(id, _)| {
            circuit.parts.get(id.0).is_some_and(|part| {
                matches!(part.kind, Kind::Capacitor { farads: Some(f), .. } if f >= 1e-6)
                    && part
                        .terminals
                        .iter()
                        .any(|t| t.node == Some(wiring::GROUND))
            })
        })
    })
}

/// All supply points by one ratio: mains or rectifier, not one stage.
fn supply_ratio(circuit: &Circuit, entries: &[Entry], told: &mut Told) {
    let supply = supply_points(circuit, entries);
    let ratios: Vec<f64> = supply
        .iter()
        .filter_map(|e| Some(e.number()? / e.band?.centre))
        .collect();
    if ratios.len() < 2 {
        return;
    }
    let mean = ratios.iter().sum::<f64>() / ratios.len() as f64;
    let together = ratios.iter().all(|r| (r - mean).abs() < 0.03);
    let worst = supply
        .iter()
        .map(|e| far(e))
        .fold(0.0, |a: f64, b| if b.abs() > a.abs() { b } else { a });
    if !together || worst.abs() <= K95 {
        return;
    }
    let points: Vec<&str> = supply.iter().map(|e| e.point.as_str()).collect();
    let sentence = format!(
        "{} all stand at about {:.0} % of what is expected: one ratio for the whole supply, which points before the first of them (mains, rectifier, reservoir, or a load on all of them) rather than at one stage.",
        points.join(", "),
        mean * 100.0
    );
    told.say(worst, &points, sentence);
}

/// Volts across a resistor or choke that are out: more or less current, or another value.
fn drops(circuit: &Circuit, entries: &[Entry], told: &mut Told) {
    for entry in entries {
        if entry.unit != Unit::VoltsDc || !is_out(entry) || told.knows(&entry.point) {
            continue;
        }
        let nodes = match entry.probe {
            Probe::Between(a, b) => Some((a, b)),
            Probe::Across(id) => circuit.parts.get(id.0).and_then(super::points::two_ends),
            _ => None,
        };
        let (Some((a, b)), Some(read), Some(band)) = (nodes, entry.number(), entry.band) else {
            continue;
        };
        let Some(part) = circuit.parts.iter().find(|p| {
            matches!(
                p.kind,
                Kind::Resistor { .. } | Kind::Choke { .. } | Kind::OutputTransformer(_)
            ) && super::points::joins(p, a, b)
        }) else {
            continue;
        };
        let more = read.abs() > band.centre.abs();
        let downstream = if band.centre >= 0.0 { b } else { a };
        let fed = name(entries, circuit, downstream);
        let sentence = if more && matches!(part.kind, Kind::OutputTransformer(_)) {
            format!(
                "{} drops {} V where {} V is expected: more current than usual through {}'s winding, or a winding of more ohms.",
                entry.point,
                figure(read),
                figure(band.centre),
                part.name
            )
        } else if more {
            let electrolytic = filter_capacitor(circuit, downstream);
            let leak = electrolytic.map_or_else(String::new, |c| format!(" ({c} is there)"));
            format!(
                "{} drops {} V where {} V is expected: more current goes through {} than the stages behind it should take. That suggests a leak at or after {fed}{leak}, or a stage behind it that draws too much, or that {} has risen. Its ohms, and the drops further on, tell these apart.",
                entry.point,
                figure(read),
                figure(band.centre),
                part.name,
                part.name
            )
        } else {
            format!(
                "{} drops {} V where {} V is expected: less current than usual goes through {}, or it has fallen in value. Look at what {fed} feeds.",
                entry.point,
                figure(read),
                figure(band.centre),
                part.name
            )
        };
        told.say(far(entry), &[&entry.point], sentence);
    }
}

fn filter_capacitor(circuit: &Circuit, node: NodeId) -> Option<&str> {
    circuit
        .nodes
        .get(node.0)?
        .terminals
        .iter()
        .find_map(|(id, _)| {
            let part = circuit.parts.get(id.0)?;
            matches!(part.kind, Kind::Capacitor { farads: Some(f), .. } if f >= 1e-6)
                .then_some(part.name.as_str())
        })
}

fn name(entries: &[Entry], circuit: &Circuit, node: NodeId) -> String {
    circuit
        .nodes
        .get(node.0)
        .and_then(|n| n.names.first().cloned())
        .unwrap_or_else(|| super::entry::name_of(entries, node))
}

/// The electrodes of one section that a meter reaches.
struct Stage {
    name: String,
    plate: Option<NodeId>,
    cathode: Option<NodeId>,
    /// A resistor-loaded triode; other valves get plainer words.
    triode: bool,
}

fn stages(circuit: &Circuit) -> Vec<Stage> {
    let mut all = Vec::new();
    for part in &circuit.parts {
        let Kind::Valve(valve) = &part.kind else {
            continue;
        };
        let mut letters = Vec::new();
        for pin in &valve.electrodes {
            if pin.electrode == Electrode::Grid && !letters.contains(&pin.section) {
                letters.push(pin.section);
            }
        }
        for letter in letters {
            let node = |electrode| {
                valve
                    .electrodes
                    .iter()
                    .filter(|p| {
                        p.electrode == electrode && (p.section == letter || p.section.is_none())
                    })
                    .find_map(|p| part.terminals.get(p.terminal)?.node)
            };
            all.push(Stage {
                name: letter.map_or_else(|| part.name.clone(), |l| format!("{}{l}", part.name)),
                plate: node(Electrode::Plate),
                cathode: node(Electrode::Cathode).filter(|c| *c != wiring::GROUND),
                triode: node(Electrode::Screen).is_none(),
            });
        }
    }
    all
}

/// What plate and cathode say together.
fn stage_pattern(entries: &[Entry], stage: &Stage, told: &mut Told) {
    let at = |node: Option<NodeId>| {
        let node = node?;
        entries
            .iter()
            .filter(|e| e.volts_at() == Some(node) && e.verdict().is_some())
            .max_by(|a, b| far(a).abs().total_cmp(&far(b).abs()))
    };
    let (plate, cathode) = (at(stage.plate), at(stage.cathode));
    let worst = [plate, cathode]
        .into_iter()
        .flatten()
        .map(far)
        .fold(0.0, |a: f64, b| if b.abs() > a.abs() { b } else { a });
    // one doubtful reading in twenty is what a 95 % band promises; a pattern needs more
    let outside = [plate, cathode].into_iter().flatten().any(is_outside);
    if !outside {
        return;
    }
    let points: Vec<&str> = [plate, cathode]
        .into_iter()
        .flatten()
        .map(|e| e.point.as_str())
        .collect();
    // a plate that hangs on a supply point already spoken of adds nothing
    if points.iter().all(|p| told.knows(p)) {
        return;
    }
    let sentence = match (plate, cathode) {
        (Some(p), Some(k)) if stage.triode => {
            format!("{}: {}, {}. {}", stage.name, words(p), words(k), pair(p, k))
        }
        (Some(p), Some(k)) => format!(
            "{}: {}, {}. {}",
            stage.name,
            words(p),
            words(k),
            power_valve(k)
        ),
        (None, Some(k)) => format!("{}: {}. {}", stage.name, words(k), power_valve(k)),
        (Some(p), None) => format!(
            "{}: {}. Read its cathode too: the two together tell plate load, cathode resistor, grid and valve apart.",
            stage.name,
            words(p)
        ),
        (None, None) => return,
    };
    told.say(worst, &points, sentence);
}

/// `V1.1 is 28 V low (172 for 200)`.
fn words(entry: &Entry) -> String {
    let (Some(read), Some(band)) = (entry.number(), entry.band) else {
        return format!("{} has no number", entry.point);
    };
    match entry.verdict() {
        Some(Word::Inside) | None => format!("{} is as expected ({})", entry.point, figure(read)),
        _ => format!(
            "{} is {} ({} for about {})",
            entry.point,
            if read < band.centre { "low" } else { "high" },
            figure(read),
            figure(band.centre)
        ),
    }
}

/// Direction of a reading against its band: -1, 0, 1, by one standard deviation, so that the
/// quieter half of a pair still shows which way it leans.
fn leans(entry: &Entry) -> i8 {
    let s = far(entry);
    if s < -1.0 {
        -1
    } else if s > 1.0 {
        1
    } else {
        0
    }
}

/// Plate and cathode of a resistor-loaded triode (common practice, no source; the directions
/// are checked against the solved circuit in the tests).
fn pair(plate: &Entry, cathode: &Entry) -> String {
    let k = cathode.number().unwrap_or(0.0);
    let k_expected = cathode.band.map_or(0.0, |b| b.centre);
    let near_zero = k_expected.abs() > 0.2 && k.abs() < 0.12 * k_expected.abs();
    let p = plate.number().unwrap_or(0.0);
    let p_expected = plate.band.map_or(0.0, |b| b.centre);
    let plate_dead = p.abs() < 0.05 * p_expected.abs();
    let text = match (leans(plate), leans(cathode)) {
        _ if plate_dead && near_zero => {
            "Both near nothing suggests an open plate load, or no supply there"
        }
        (1, _) if near_zero => {
            "A plate at its supply with nothing at the cathode suggests no current at all: valve, heater, or a lead of the cathode"
        }
        (-1, _) if near_zero => {
            "Plate down with the cathode near ground suggests a shorted bypass capacitor"
        }
        (-1, -1) => {
            "Plate and cathode both down suggests a risen plate load or a low supply, or a bypass capacitor that leaks"
        }
        (-1, 1) => {
            "Plate down with the cathode up suggests a grid that is pulled up, as by a leaking coupling capacitor"
        }
        (1, 1) => "Plate and cathode both up suggests a cathode resistor that has risen or is open",
        (1, -1) => "Plate up with the cathode down suggests a weak valve or its heater",
        (-1 | 1, _) => "Plate volts off alone suggests the plate load or its supply first",
        (_, 1) => "Cathode up alone suggests its resistor, or a grid that is pulled up a little",
        (_, -1) => "Cathode down alone suggests its resistor, or its bypass capacitor leaking",
        _ => "Neither leans far enough to tell why",
    };
    format!("{text}.")
}

/// A pentode or beam valve with a winding for a load: its plate stands at the supply, so the
/// cathode alone tells the current.
fn power_valve(cathode: &Entry) -> String {
    match leans(cathode) {
        1 => "More current than expected, or a risen cathode resistor: a grid pulled up (a leaking coupling capacitor, gas), or high supply. Its grid volts and the cathode resistor's ohms tell these apart.".to_owned(),
        -1 => "Less current than expected: a worn valve, a low screen or supply, or a fallen or leaking path beside its cathode resistor.".to_owned(),
        _ => "Its cathode is as expected, so look at its plate and screen feed.".to_owned(),
    }
}

/// What is outside and in no sentence yet.
fn singles(circuit: &Circuit, entries: &[Entry], told: &mut Told) {
    for entry in entries {
        if !is_outside(entry) || told.knows(&entry.point) {
            continue;
        }
        let (Some(read), Some(band)) = (entry.number(), entry.band) else {
            continue;
        };
        let unit = match entry.unit {
            Unit::VoltsDc | Unit::VoltsAc => "V",
            Unit::Ohms => "ohm",
            Unit::AmpsDc => "A",
        };
        let mut sentence = format!(
            "{} reads {} {unit}; sound amplifiers like this one read {} to {} {unit}.",
            entry.point,
            figure(read),
            figure(band.low()),
            figure(band.high())
        );
        if read > band.high()
            && let Some(node) = entry.volts_at()
            && let Some(valve) = valve_with_grid(circuit, node)
        {
            sentence.push(' ');
            sentence.push_str(&pulled_up(circuit, entries, node, &valve));
        }
        told.say(far(entry), &[&entry.point], sentence);
    }
}

/// The valve whose control grid is on this node.
fn valve_with_grid(circuit: &Circuit, node: NodeId) -> Option<String> {
    circuit.parts.iter().find_map(|p| match &p.kind {
        Kind::Valve(valve)
            if valve.electrodes.iter().any(|u| {
                u.electrode == Electrode::Grid
                    && p.terminals.get(u.terminal).and_then(|t| t.node) == Some(node)
            }) =>
        {
            Some(p.name.clone())
        }
        _ => None,
    })
}

/// What pulls a grid up: the capacitors that hold a higher point off it, the board, or the valve.
fn pulled_up(circuit: &Circuit, entries: &[Entry], grid: NodeId, valve: &str) -> String {
    // The grid, and what lies behind its stopper.
    let mut front = vec![grid];
    for p in &circuit.parts {
        if matches!(p.kind, Kind::Resistor { ohms: Some(ohms) } if ohms < 1e6)
            && let Some((a, b)) = super::points::two_ends(p)
        {
            for (near, far) in [(a, b), (b, a)] {
                if near == grid && far != wiring::GROUND && !front.contains(&far) {
                    front.push(far);
                }
            }
        }
    }
    let held = |n: NodeId| super::entry::volts_expected(entries, n).is_some_and(|v| v > 20.0);
    let capacitors: Vec<&str> = circuit
        .parts
        .iter()
        .filter(|p| matches!(p.kind, Kind::Capacitor { .. }))
        .filter(|p| {
            super::points::two_ends(p).is_some_and(|(a, b)| {
                front.contains(&a) && held(b) || front.contains(&b) && held(a)
            })
        })
        .map(|p| p.name.as_str())
        .collect();
    let first = match capacitors.as_slice() {
        [] => "the board or a wire".to_owned(),
        some => format!("{} leaking, then the board", some.join(" or ")),
    };
    format!(
        "Something pulls this grid up: {first}, or gas in {valve}. With {valve} out, the same volts mean the circuit; none mean the valve."
    )
}

/// Three figures, as a meter shows them, and no minus before a zero.
fn figure(value: f64) -> String {
    let size = value.abs();
    let digits = if !size.is_finite() || size >= 100.0 {
        0
    } else if size >= 10.0 {
        1
    } else if size >= 1.0 {
        2
    } else {
        3
    };
    let text = format!("{value:.digits$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.chars().all(|c| matches!(c, '0' | '.')) => rest.to_owned(),
        _ => text,
    }
}

/// Unread points that would settle most: the supply points, when none was read.
#[must_use]
pub fn supply_unread(circuit: &Circuit, entries: &[Entry]) -> bool {
    entries.iter().any(|e| e.read.is_some())
        && !entries.iter().any(|e| {
            e.volts_at().is_some_and(|n| {
                has_filter_capacitor(circuit, n) && volts_read(entries, n).is_some()
            })
        })
}
