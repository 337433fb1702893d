//! What is drawn of each part: a valve is one piece for each section and one for its heater,
//! every other part one piece; the mains inlet is a piece of its own.
//!
//! Every terminal that a wire has reached is a pin of at least one piece. A part that was
//! removed, or a transformer's coil that no wire reaches, is not drawn.

use crate::geometry::UNIT;
use crate::symbol::{Coil, Form, JackPin, ValveForm};
use wiring::circuit::{
    Circuit, DiodeSort, Electrode, History, Kind, LampSort, NodeId, Part, PartId, Valve,
};

/// Index of a piece.
pub type PieceId = usize;

/// Which of a part's pieces it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Which {
    /// The whole part.
    Whole,
    /// A section of a valve.
    Section(Option<char>),
    /// The heater.
    Heater,
    /// A socket pin that holds wires only: its terminal.
    Tie(usize),
    /// The mains inlet.
    Inlet,
}

/// What a pin stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PinOf {
    /// A terminal of the piece's part.
    Terminal(usize),
    /// A named end of the mains: 0 live, 1 neutral, 2 earth.
    Mains(usize),
}

/// One thing that is drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Piece {
    /// Its part; none for the inlet.
    pub part: Option<PartId>,
    /// Which piece of the part.
    pub which: Which,
    /// What it looks like.
    pub form: Form,
    /// What each pin of the form is, in the form's order.
    pub pins: Vec<PinOf>,
    /// The node of each pin.
    pub nodes: Vec<Option<NodeId>>,
    /// First line of its label.
    pub name: String,
    /// Further lines of its label.
    pub value: Vec<String>,
}

impl Piece {
    /// The pin that stands for a terminal.
    #[must_use]
    pub fn pin_of(&self, terminal: usize) -> Option<usize> {
        self.pins
            .iter()
            .position(|p| *p == PinOf::Terminal(terminal))
    }
    /// Two terminals that can stand in a line.
    #[must_use]
    pub fn is_line(&self) -> bool {
        matches!(
            self.form,
            Form::Resistor
                | Form::Capacitor(_)
                | Form::Choke
                | Form::Diode
                | Form::Zener
                | Form::Lamp
                | Form::Neon
                | Form::Cell
                | Form::Fuse
                | Form::Switch(_)
                | Form::Speaker
                | Form::Supply
                | Form::Generator
        )
    }
    /// The same, drawn as a plain box, for where nothing else fits.
    #[must_use]
    pub fn boxed(&self, circuit: &Circuit) -> Self {
        let names: Vec<String> = self
            .pins
            .iter()
            .map(|p| match p {
                PinOf::Terminal(t) => self
                    .part
                    .and_then(|part| circuit.parts.get(part.0))
                    .and_then(|part| part.terminals.get(*t))
                    .map_or_else(String::new, |t| t.name.clone()),
                PinOf::Mains(i) => ["L", "N", "E"][(*i).min(2)].to_owned(),
            })
            .collect();
        let half = names.len().div_ceil(2);
        let (left, right) = names.split_at(half);
        let mut to = self.clone();
        to.form = Form::Box(left.to_vec(), right.to_vec(), box_width(left, right, ""));
        to
    }
}

/// Everything that is drawn, in the order of the text.
#[must_use]
pub fn pieces(circuit: &Circuit) -> Vec<Piece> {
    let mut out = Vec::new();
    inlet(circuit, &mut out);
    for (i, part) in circuit.parts.iter().enumerate() {
        if part.known.history == Some(History::Removed) {
            continue;
        }
        match &part.kind {
            Kind::Valve(valve) => valve_pieces(PartId(i), part, valve, &mut out),
            _ => out.push(whole(PartId(i), part)),
        }
    }
    for piece in &mut out {
        piece.nodes = piece
            .pins
            .iter()
            .map(|p| match p {
                PinOf::Terminal(t) => piece
                    .part
                    .and_then(|part| circuit.parts.get(part.0))
                    .and_then(|part| part.terminals.get(*t))
                    .and_then(|t| t.node),
                PinOf::Mains(m) => circuit.node(MAINS[(*m).min(2)]),
            })
            .collect();
    }
    out
}

/// Names of the mains ends.
pub const MAINS: [&str; 3] = ["live", "neutral", "earth"];

fn inlet(circuit: &Circuit, out: &mut Vec<Piece>) {
    let has = MAINS.map(|name| {
        circuit
            .nodes
            .iter()
            .any(|n| n.names.iter().any(|x| x == name))
    });
    // A lone earth is drawn where it is bonded.
    if !has[0] && !has[1] {
        return;
    }
    let pins = (0..3).filter(|i| has[*i]).map(PinOf::Mains).collect();
    out.push(Piece {
        part: None,
        which: Which::Inlet,
        form: Form::Inlet(has),
        pins,
        nodes: Vec::new(),
        name: "mains".to_owned(),
        value: Vec::new(),
    });
}

fn whole(id: PartId, part: &Part) -> Piece {
    let line = |form: Form| (form, vec![0, 1]);
    let (form, pins): (Form, Vec<usize>) = match &part.kind {
        Kind::Resistor { .. } => line(Form::Resistor),
        Kind::Capacitor { plus_first, .. } => {
            line(Form::Capacitor(plus_first.map(|first| usize::from(!first))))
        }
        Kind::Choke { .. } => line(Form::Choke),
        Kind::Diode { sort } => line(match sort {
            DiodeSort::Zener(_) => Form::Zener,
            _ => Form::Diode,
        }),
        Kind::Bridge => (Form::Bridge, vec![0, 1, 2, 3]),
        Kind::Lamp { sort } => line(match sort {
            LampSort::Neon => Form::Neon,
            LampSort::Filament(..) => Form::Lamp,
        }),
        Kind::Cell { .. } => line(Form::Cell),
        Kind::Fuse { .. } => line(Form::Fuse),
        Kind::Switch { throws, start } if *throws <= 1 => line(Form::Switch(*start >= 1)),
        Kind::Switch { throws, start } => (
            Form::Selector(*throws, *start),
            (0..part.terminals.len()).collect(),
        ),
        Kind::Jack { phono: true, .. } => (Form::Phono, vec![0, 1]),
        Kind::Jack { .. } => jack(part),
        Kind::Pot { .. } => (Form::Pot, vec![0, 1, 2]),
        Kind::Speaker { .. } => line(Form::Speaker),
        Kind::Supply { .. } => line(Form::Supply),
        Kind::Generator { .. } => line(Form::Generator),
        Kind::Gain { .. } => (Form::Gain, vec![0, 1]),
        Kind::Tank { .. } => (Form::Tank, vec![0, 1, 2, 3, 4]),
        Kind::PowerTransformer(_) | Kind::OutputTransformer(_) | Kind::CouplingTransformer(_) => {
            wound(part)
        }
        Kind::Box { label } => boxed(part, label),
        Kind::Valve(_) | Kind::Unknown => boxed(part, ""),
    };
    // A form and its terminals must agree, whatever was read.
    let fits = pins.iter().all(|p| *p < part.terminals.len())
        && part
            .terminals
            .iter()
            .enumerate()
            .all(|(t, x)| x.node.is_none() || pins.contains(&t));
    let (form, pins) = if fits { (form, pins) } else { boxed(part, "") };
    Piece {
        part: Some(id),
        which: Which::Whole,
        form,
        pins: pins.into_iter().map(PinOf::Terminal).collect(),
        nodes: Vec::new(),
        name: part.name.clone(),
        value: crate::words::value(part),
    }
}

fn jack(part: &Part) -> (Form, Vec<usize>) {
    let sort = |name: &str| match name {
        "tip" => Some((0, JackPin::Tip)),
        "break" => Some((1, JackPin::Break)),
        "ring" => Some((2, JackPin::Ring)),
        "ringbreak" => Some((3, JackPin::RingBreak)),
        "sleeve" => Some((4, JackPin::Sleeve)),
        _ => None,
    };
    let mut found: Vec<(u8, JackPin, usize)> = part
        .terminals
        .iter()
        .enumerate()
        .filter(|(_, t)| t.node.is_some() || !t.name.ends_with("break"))
        .filter_map(|(i, t)| sort(&t.name).map(|(rank, pin)| (rank, pin, i)))
        .collect();
    found.sort_by_key(|f| f.0);
    (
        Form::Jack(found.iter().map(|f| f.1).collect()),
        found.iter().map(|f| f.2).collect(),
    )
}

fn boxed(part: &Part, label: &str) -> (Form, Vec<usize>) {
    let half = part.terminals.len().div_ceil(2);
    let name = |t: &wiring::circuit::Terminal| t.name.clone();
    let left: Vec<String> = part.terminals.iter().take(half).map(name).collect();
    let right: Vec<String> = part.terminals.iter().skip(half).map(name).collect();
    let width = box_width(&left, &right, label);
    (
        Form::Box(left, right, width),
        (0..part.terminals.len()).collect(),
    )
}

/// Width in units, even, so that the middle lies on the grid.
fn box_width(left: &[String], right: &[String], label: &str) -> i32 {
    let widest = |names: &[String]| {
        names
            .iter()
            .map(|n| typeface::width(n, false))
            .max()
            .unwrap_or(0)
    };
    let px = (widest(left) + widest(right) + 28).max(typeface::width(label, false) + 12);
    let units = (px + UNIT - 1) / UNIT;
    (units + units % 2).clamp(6, 60)
}

/// Coils with gaps between them; terminals three units apart. Mains transformers may be
/// stretched later so that each winding stands level with what it feeds.
fn wound(part: &Part) -> (Form, Vec<usize>) {
    let wired = |t: usize| part.terminals.get(t).is_some_and(|x| x.node.is_some());
    let mut left: Vec<Vec<usize>> = Vec::new();
    let mut right: Vec<Vec<usize>> = Vec::new();
    match &part.kind {
        Kind::PowerTransformer(pt) => {
            let windings: Vec<Vec<usize>> = pt
                .windings
                .iter()
                .map(|w| {
                    let mut taps: Vec<(usize, f64)> = w.taps.clone();
                    taps.sort_by(|a, b| b.1.total_cmp(&a.1));
                    taps.into_iter().map(|t| t.0).collect()
                })
                .collect();
            let in_windings: Vec<usize> = windings.iter().flatten().copied().collect();
            let mut primary: Vec<usize> = (0..part.terminals.len())
                .filter(|t| !in_windings.contains(t))
                .collect();
            let volts = |t: &usize| pt.primary.iter().find(|p| p.0 == *t).map_or(0.0, |p| p.1);
            primary.sort_by(|a, b| volts(b).total_cmp(&volts(a)).then(a.cmp(b)));
            left.push(primary);
            let tall = |w: &Vec<usize>| {
                let i = windings.iter().position(|x| x == w).unwrap_or(0);
                pt.windings.get(i).map_or(0.0, |w| {
                    w.taps.iter().map(|t| t.1.abs()).fold(0.0, f64::max)
                })
            };
            // What the rectifier needs first, then bias, then heaters.
            let mut order: Vec<&Vec<usize>> = windings.iter().collect();
            order.sort_by_key(|w| {
                let v = tall(w);
                let name = w
                    .first()
                    .and_then(|t| part.terminals.get(*t))
                    .map_or("", |t| t.name.as_str());
                if name.starts_with("rect") {
                    0
                } else if v > 100.0 {
                    1
                } else if v >= 20.0 {
                    2
                } else {
                    3
                }
            });
            right.extend(
                order
                    .into_iter()
                    .filter(|w| w.iter().any(|t| wired(*t)))
                    .cloned(),
            );
        }
        _ => {
            let (p, s): (Vec<usize>, Vec<usize>) = (0..part.terminals.len()).partition(|t| {
                part.terminals
                    .get(*t)
                    .is_some_and(|x| x.name.starts_with(['p', 'u']))
            });
            let s = if let Kind::OutputTransformer(ot) = &part.kind {
                let mut s: Vec<usize> = s.into_iter().filter(|t| *t != ot.common).collect();
                s.reverse();
                s.push(ot.common);
                s
            } else {
                s
            };
            left.push(p);
            right.push(s);
        }
    }
    let power = matches!(part.kind, Kind::PowerTransformer(_));
    let step = |coil: &[usize], side: usize| -> i32 {
        let name = coil
            .first()
            .and_then(|t| part.terminals.get(*t))
            .map_or("", |t| t.name.as_str());
        match (power, side, coil.len()) {
            // Rows of the supply stand level with their winding.
            (true, 0, 0..=2) => 6,
            (true, 0, _) => 3,
            (true, _, 2) if name.starts_with("hv") || name.starts_with("bias") => 4,
            (true, _, 0..=2) => 8,
            (true, _, _) => 4,
            (false, 0, 3) => 6,
            (false, _, 0..=2) => 6,
            (false, _, _) => 3,
        }
    };
    let rank = |coil: &[usize]| -> i32 {
        coil.first()
            .and_then(|t| part.terminals.get(*t))
            .map_or(3, |t| match t.name.as_str() {
                n if n.starts_with("rect") => 0,
                n if n.starts_with("hv") => 1,
                _ => 3,
            })
    };
    let mut pins = Vec::new();
    let mut stack = |coils: &[Vec<usize>], side: usize| -> Vec<Coil> {
        let mut y = 0;
        let mut out: Vec<Coil> = Vec::new();
        for (i, coil) in coils.iter().enumerate() {
            if i > 0 {
                y += match (power && side == 1, rank(&coils[i - 1])) {
                    (true, 0) => 5,
                    (true, _) => 22,
                    _ => 5,
                };
            }
            let each = step(coil, side);
            let ys: Vec<i32> = (0..coil.len())
                .map(|k| y + each * i32::try_from(k).unwrap_or(0))
                .collect();
            y = ys.last().copied().unwrap_or(y);
            pins.extend(coil.iter().copied());
            out.push(Coil(ys));
        }
        // Mains transformers hang from the top, all others are centred about zero.
        let middle = if power { 0 } else { y / 2 };
        for coil in &mut out {
            for v in &mut coil.0 {
                *v -= middle;
            }
        }
        out
    };
    let l = stack(&left, 0);
    let r = stack(&right, 1);
    (Form::Wound(l, r), pins)
}

fn valve_pieces(id: PartId, part: &Part, valve: &Valve, out: &mut Vec<Piece>) {
    let uses = |section: Option<char>, electrode: Electrode| -> Vec<usize> {
        let mut pins: Vec<usize> = valve
            .electrodes
            .iter()
            .filter(|u| u.electrode == electrode && (u.section == section || u.section.is_none()))
            .map(|u| u.terminal)
            .collect();
        pins.dedup();
        pins
    };
    let wired = |t: usize| part.terminals.get(t).is_some_and(|x| x.node.is_some());
    let has_use = |t: usize, electrode: Electrode| {
        valve
            .electrodes
            .iter()
            .any(|u| u.terminal == t && u.electrode == electrode)
    };
    let mut letters: Vec<Option<char>> = valve
        .electrodes
        .iter()
        .filter(|u| u.electrode == Electrode::Plate || u.electrode == Electrode::Grid)
        .map(|u| u.section)
        .collect();
    letters.sort_unstable();
    letters.dedup();
    if letters.len() > 1 {
        letters.retain(Option::is_some);
    }
    let covered = std::cell::RefCell::new(Vec::<usize>::new());
    let first = out.len();
    let heater_ends: Vec<usize> = [Electrode::Heater1, Electrode::Heater2]
        .into_iter()
        .flat_map(|e| uses(None, e))
        .collect();
    let direct = heater_ends
        .iter()
        .any(|t| has_use(*t, Electrode::Cathode) || has_use(*t, Electrode::Plate))
        || !heater_ends.is_empty()
            && !valve
                .electrodes
                .iter()
                .any(|u| u.electrode == Electrode::Cathode);
    let mut push = |which: Which, form: Form, pins: Vec<usize>| {
        covered.borrow_mut().extend(pins.iter().copied());
        let name = match which {
            Which::Section(Some(c)) => format!("{}{c}", part.name),
            Which::Tie(t) => format!(
                "{}.{}",
                part.name,
                part.terminals.get(t).map_or("", |t| t.name.as_str())
            ),
            _ => part.name.clone(),
        };
        let value = match which {
            Which::Section(_) | Which::Whole => crate::words::value(part),
            _ => Vec::new(),
        };
        out.push(Piece {
            part: Some(id),
            which,
            form,
            pins: pins.into_iter().map(PinOf::Terminal).collect(),
            nodes: Vec::new(),
            name,
            value,
        });
    };
    let with_grid: Vec<Option<char>> = letters
        .iter()
        .copied()
        .filter(|l| !uses(*l, Electrode::Grid).is_empty())
        .collect();
    for letter in &with_grid {
        let (plates, grids, screens) = (
            keep(uses(*letter, Electrode::Plate), &wired),
            keep(uses(*letter, Electrode::Grid), &wired),
            keep(uses(*letter, Electrode::Screen), &wired),
        );
        let mut cathodes = keep(uses(*letter, Electrode::Cathode), &wired);
        if direct {
            cathodes = heater_ends.clone();
        }
        let third = uses(*letter, Electrode::Suppressor);
        let suppressors: Vec<usize> = third
            .iter()
            .copied()
            .filter(|t| wired(*t) && !cathodes.contains(t) && !grids.contains(t))
            .take(2)
            .collect();
        let form = ValveForm {
            plates: plates.len(),
            grids: grids.len(),
            cathodes: cathodes.len(),
            screens: screens.len(),
            suppressors: suppressors.len(),
            third_grid: !third.is_empty(),
            filament: direct,
        };
        let mut pins = plates;
        for more in [grids, cathodes, screens, suppressors] {
            pins.extend(more);
        }
        push(Which::Section(*letter), Form::Valve(form), pins);
    }
    // Rectifier plates that share a cathode are one piece.
    let rectifying: Vec<Option<char>> = letters
        .iter()
        .copied()
        .filter(|l| !with_grid.contains(l))
        .collect();
    let mut groups: Vec<(Vec<usize>, Vec<usize>, Option<char>)> = Vec::new();
    for letter in rectifying {
        let plates = uses(letter, Electrode::Plate);
        let cathodes = if direct {
            heater_ends.clone()
        } else {
            uses(letter, Electrode::Cathode)
        };
        if let Some(group) = groups.iter_mut().find(|g| g.1 == cathodes) {
            group.0.extend(plates);
            group.2 = None;
        } else {
            groups.push((plates, cathodes, letter));
        }
    }
    for (mut plates, cathodes, letter) in groups {
        plates.dedup();
        plates.truncate(4);
        let direct = direct && cathodes.len() == 2;
        let mut pins = plates.clone();
        pins.extend(cathodes.iter().take(if direct { 2 } else { 1 }));
        if !direct && cathodes.is_empty() {
            continue;
        }
        push(
            Which::Section(letter),
            Form::Rectifier(plates.len(), direct),
            pins,
        );
    }
    // The heater, when a wire has reached it.
    if !direct && heater_ends.len() >= 2 && {
        let tap = uses(None, Electrode::HeaterTap);
        heater_ends.iter().chain(&tap).any(|t| wired(*t))
    } {
        let tap = uses(None, Electrode::HeaterTap).first().copied();
        let mut pins: Vec<usize> = heater_ends.iter().take(2).copied().collect();
        pins.extend(tap);
        push(Which::Heater, Form::Heater(tap.is_some()), pins);
    }
    // Whatever else holds a wire: shields, tie points, pins of a type that nobody knows.
    let rest: Vec<usize> = (0..part.terminals.len())
        .filter(|t| wired(*t) && !covered.borrow().contains(t))
        .collect();
    if valve.electrodes.is_empty() || covered.borrow().is_empty() && first == 0 && rest.len() > 2 {
        let (form, pins) = boxed(part, "");
        if !rest.is_empty() || !part.terminals.is_empty() {
            push(Which::Whole, form, pins);
            return;
        }
    }
    for t in rest {
        push(Which::Tie(t), Form::TiePoint, vec![t]);
    }
    if out.len() == first && !part.terminals.is_empty() {
        let (form, pins) = boxed(part, "");
        out.push(Piece {
            part: Some(id),
            which: Which::Whole,
            form,
            pins: pins.into_iter().map(PinOf::Terminal).collect(),
            nodes: Vec::new(),
            name: part.name.clone(),
            value: crate::words::value(part),
        });
    }
}

/// Of doubled pins those that are wired; one of them at least.
fn keep(pins: Vec<usize>, wired: &impl Fn(usize) -> bool) -> Vec<usize> {
    let mut found: Vec<usize> = pins.iter().copied().filter(|t| wired(*t)).take(5).collect();
    if found.is_empty() {
        found.extend(pins.first());
    }
    found
}
