//! What the electrodes of one valve say together.

use super::super::entry::{Entry, volts_expected};
use super::super::points::two_ends;
use super::{Told, far, is_outside, leans, words, worst};
use wiring::circuit::{Circuit, Electrode, Kind, NodeId};

/// The electrodes of one section that a meter reaches.
struct Stage {
    name: String,
    valve: String,
    plate: Option<NodeId>,
    cathode: Option<NodeId>,
    screen: Option<NodeId>,
    grid: Option<NodeId>,
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
                    .filter(|n| *n != wiring::GROUND)
            };
            all.push(Stage {
                name: letter.map_or_else(|| part.name.clone(), |l| format!("{}{l}", part.name)),
                valve: part.name.clone(),
                plate: node(Electrode::Plate),
                cathode: node(Electrode::Cathode),
                screen: node(Electrode::Screen),
                grid: node(Electrode::Grid),
            });
        }
    }
    all
}

/// What each stage's readings say together, where one of them is outside.
pub(super) fn patterns(circuit: &Circuit, entries: &[Entry], told: &mut Told) {
    for stage in stages(circuit) {
        pattern(circuit, entries, &stage, told);
    }
}

fn pattern(circuit: &Circuit, entries: &[Entry], stage: &Stage, told: &mut Told) {
    let at = |node: Option<NodeId>| {
        let node = node?;
        entries
            .iter()
            .filter(|e| e.volts_at() == Some(node) && e.verdict().is_some())
            .max_by(|a, b| far(a).abs().total_cmp(&far(b).abs()))
    };
    let (plate, cathode) = (at(stage.plate), at(stage.cathode));
    let (screen, grid) = (at(stage.screen), at(stage.grid));
    let read = [plate, screen, grid, cathode];
    let read: Vec<&Entry> = read.into_iter().flatten().collect();
    // one doubtful reading in twenty is what a 95 % band promises; a pattern needs more
    let mut outside = read.iter().filter(|e| is_outside(e));
    if outside.all(|e| told.knows(&e.point) || told.follows(e, 0.15)) {
        return;
    }
    // a screen that stands as expected adds nothing, nor does a plate that hangs on its winding
    let shown: Vec<&Entry> = if stage.screen.is_some() {
        read.iter().copied().filter(|e| leans(e) != 0).collect()
    } else {
        [plate, cathode].into_iter().flatten().collect()
    };
    let points: Vec<&str> = read.iter().map(|e| e.point.as_str()).collect();
    let listed: Vec<String> = shown.iter().map(|e| words(e)).collect();
    let suggests = if let Some(more) = grid.and_then(|g| grid_pulled_up(circuit, entries, g)) {
        more
    } else if stage.screen.is_some() {
        power_valve(circuit, stage, screen, cathode)
    } else {
        match (plate, cathode) {
            (Some(p), Some(k)) => pair(p, k),
            (Some(_), None) => "Read its cathode too: the two together tell plate load, cathode resistor, grid and valve apart.".to_owned(),
            (None, Some(_)) => "Read its plate too: the two together tell plate load, cathode resistor, grid and valve apart.".to_owned(),
            (None, None) => return,
        }
    };
    let sentence = format!("{}: {}. {suggests}", stage.name, listed.join(", "));
    told.say(worst(read.iter().copied()), &points, sentence);
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
/// screen and the cathode tell.
fn power_valve(
    circuit: &Circuit,
    stage: &Stage,
    screen: Option<&Entry>,
    cathode: Option<&Entry>,
) -> String {
    let current = cathode.map_or(0, leans);
    if let Some(screen) = screen.filter(|s| is_outside(s) && far(s) < 0.0) {
        let feed = stage.screen.and_then(|n| feed(circuit, n));
        let feed = feed.map_or("its feed".to_owned(), |r| format!("{r}, its feed,"));
        return if current > 0 {
            format!(
                "A low screen with a high cathode current suggests that the valve draws too much through it; pull {} and read {} again.",
                stage.valve, screen.point
            )
        } else {
            format!(
                "A low screen that passes no more current than usual suggests that {feed} has risen or is open."
            )
        };
    }
    match current {
        1 => "More current than expected, or a risen cathode resistor: a grid pulled up (a leaking coupling capacitor, gas), or high supply. Its grid volts and the cathode resistor's ohms tell these apart.".to_owned(),
        -1 => "Less current than expected: a worn valve, a low screen or supply, or a fallen or leaking path beside its cathode resistor.".to_owned(),
        _ => "Its cathode is as expected, so look at its plate and screen feed.".to_owned(),
    }
}

/// The resistor that feeds a node, when there is one only.
fn feed(circuit: &Circuit, node: NodeId) -> Option<&str> {
    let mut resistors = circuit.parts.iter().filter(|p| {
        matches!(p.kind, Kind::Resistor { .. })
            && two_ends(p).is_some_and(|(a, b)| (a == node) != (b == node))
    });
    let first = resistors.next()?;
    resistors.next().is_none().then_some(first.name.as_str())
}

/// What pulls a grid up that reads outside and high; none for any other point.
pub(super) fn grid_pulled_up(circuit: &Circuit, entries: &[Entry], grid: &Entry) -> Option<String> {
    let node = grid.volts_at()?;
    if !is_outside(grid) || far(grid) < 0.0 {
        return None;
    }
    let stage = stages(circuit).into_iter().find(|s| s.grid == Some(node))?;
    Some(pulled_up(circuit, entries, node, &stage.valve))
}

/// What pulls a grid up: the capacitors that hold a higher point off it, the board, or the valve.
fn pulled_up(circuit: &Circuit, entries: &[Entry], grid: NodeId, valve: &str) -> String {
    // The grid, and what lies behind its stopper.
    let mut front = vec![grid];
    for p in &circuit.parts {
        if matches!(p.kind, Kind::Resistor { ohms: Some(ohms) } if ohms < 1e6)
            && let Some((a, b)) = two_ends(p)
        {
            for (near, far) in [(a, b), (b, a)] {
                if near == grid && far != wiring::GROUND && !front.contains(&far) {
                    front.push(far);
                }
            }
        }
    }
    let held = |n: NodeId| volts_expected(entries, n).is_some_and(|v| v > 20.0);
    let capacitors: Vec<&str> = circuit
        .parts
        .iter()
        .filter(|p| matches!(p.kind, Kind::Capacitor { .. }))
        .filter(|p| {
            two_ends(p).is_some_and(|(a, b)| {
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
