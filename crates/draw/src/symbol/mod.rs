//! Symbols: what each sort of part looks like, where its terminals are, and what room it takes.
//!
//! General forms after IEC 60617 (resistor as a rectangle) and IEEE 315 (resistor as a zig-zag,
//! by one switch); from memory of both, the standards themselves not seen. Terminals lie on the
//! grid; a body never reaches a terminal other than by its own lead.

mod control;
mod ink;
mod passive;
mod valve;
mod wound;

use crate::geometry::{Area, Dir, Point, Turn, UNIT};
pub use ink::{Fill, Ink, Mark, Pen, Step};

/// What is drawn for a piece of a part.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum Form {
    /// Fixed resistor.
    Resistor,
    /// Capacitor; `Some(0)` when pin 0 is plus, `Some(1)` when pin 1 is.
    Capacitor(Option<usize>),
    /// Iron-cored choke.
    Choke,
    /// Diode, pin 0 is the end that the current enters.
    Diode,
    /// Zener diode.
    Zener,
    /// Filament lamp.
    Lamp,
    /// Glow lamp.
    Neon,
    /// Photo-resistor.
    Cell,
    /// Fuse.
    Fuse,
    /// On-off switch; closed or not.
    Switch(bool),
    /// One pole of so many throws, standing at one of them (0: none).
    Selector(usize, usize),
    /// Track with a wiper; pins are 1 (anticlockwise), 2 (wiper), 3 (clockwise).
    Pot,
    /// Jack; its terminals below the tip, in order, as their names.
    Jack(Vec<JackPin>),
    /// Phono socket.
    Phono,
    /// Loudspeaker.
    Speaker,
    /// Supply of the bench.
    Supply,
    /// Generator.
    Generator,
    /// Ideal amplifier.
    Gain,
    /// Rectifier bridge.
    Bridge,
    /// Spring tank.
    Tank,
    /// A section of a valve with a grid.
    Valve(ValveForm),
    /// Rectifier: number of plates, and whether its filament is its cathode.
    Rectifier(usize, bool),
    /// A heater; with a third pin where it has a tap.
    Heater(bool),
    /// Transformer: coils on the left and on the right.
    Wound(Vec<Coil>, Vec<Coil>),
    /// A socket pin that only holds wires.
    TiePoint,
    /// Anything else: a box with so many terminals left and right, and its width in units.
    Box(Vec<String>, Vec<String>, i32),
    /// The mains inlet: which of live, neutral, earth it has.
    Inlet([bool; 3]),
}

/// What a jack's terminal is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum JackPin {
    /// Tip.
    Tip,
    /// Contact that the tip opens.
    Break,
    /// Ring.
    Ring,
    /// Contact that the ring opens.
    RingBreak,
    /// Sleeve.
    Sleeve,
}

/// What a valve section shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct ValveForm {
    /// Number of plate, grid, cathode and screen pins (0: the electrode is not there).
    pub plates: usize,
    /// Control-grid pins.
    pub grids: usize,
    /// Cathode pins.
    pub cathodes: usize,
    /// Screen pins.
    pub screens: usize,
    /// A suppressor with a pin of its own.
    pub suppressors: usize,
    /// A suppressor is there, with or without a pin.
    pub third_grid: bool,
    /// The filament is the cathode.
    pub filament: bool,
}

/// One coil of a transformer: heights of its terminals, top to bottom.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Coil(pub Vec<i32>);

/// A terminal of a symbol.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pin {
    /// Where.
    pub at: Point,
    /// Which way a wire leaves it.
    pub out: Dir,
}

/// A symbol in its own coordinates.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Symbol {
    /// Terminals in the order of the piece's pins.
    pub pins: Vec<Pin>,
    /// Bodies and leads, in pixels: nothing else may touch them.
    pub bodies: Vec<Area>,
    /// What is drawn, in pixels.
    pub ink: Vec<Ink>,
    /// Short texts that belong to the symbol.
    pub marks: Vec<Mark>,
}

impl Symbol {
    pub(crate) fn pin(&mut self, x: i32, y: i32, out: Dir) {
        self.pins.push(Pin {
            at: Point::new(x, y),
            out,
        });
    }
    /// A body in units.
    pub(crate) fn body(&mut self, x0: f32, y0: f32, x1: f32, y1: f32) {
        let px = |v: f32| (v * UNIT as f32).round() as i32;
        self.bodies.push(Area::new(px(x0), px(y0), px(x1), px(y1)));
    }
    /// Leads from the last pins' places toward the body, as bodies of their own.
    pub(crate) fn lead(&mut self, from: Point, to: Point) {
        let mut a = Area::between(from, to, 1);
        // The terminal itself stays free for the wire.
        let (dx, dy) = ((to.x - from.x).signum(), (to.y - from.y).signum());
        if dx > 0 {
            a.x0 += 4;
        } else if dx < 0 {
            a.x1 -= 4;
        }
        if dy > 0 {
            a.y0 += 4;
        } else if dy < 0 {
            a.y1 -= 4;
        }
        self.bodies.push(a);
        self.ink.push(Ink::line(&[
            (from.x as f32, from.y as f32),
            (to.x as f32, to.y as f32),
        ]));
    }
    /// The same, turned.
    #[must_use]
    pub fn turned(&self, turn: Turn) -> Self {
        if turn == Turn::NONE {
            return self.clone();
        }
        Self {
            pins: self
                .pins
                .iter()
                .map(|p| Pin {
                    at: turn.point(p.at),
                    out: turn.dir(p.out),
                })
                .collect(),
            bodies: self.bodies.iter().map(|b| turn.area(*b)).collect(),
            ink: self.ink.iter().map(|i| i.turned(turn)).collect(),
            marks: self.marks.iter().map(|m| m.turned(turn)).collect(),
        }
    }
    /// Everything it covers: bodies and terminals.
    #[must_use]
    pub fn extent(&self) -> Area {
        let mut all: Option<Area> = None;
        for b in self
            .bodies
            .iter()
            .copied()
            .chain(self.pins.iter().map(|p| Area::round(p.at, 0)))
        {
            all = Some(all.map_or(b, |a| a.with(b)));
        }
        all.unwrap_or(Area::new(0, 0, 0, 0))
    }
}

/// The symbol of a form; `zigzag` chooses the resistor of IEEE 315.
#[must_use]
pub fn symbol(form: &Form, zigzag: bool) -> Symbol {
    match form {
        Form::Resistor => passive::resistor(zigzag),
        Form::Capacitor(plus) => passive::capacitor(*plus),
        Form::Choke => wound::choke(),
        Form::Diode => passive::diode(false),
        Form::Zener => passive::diode(true),
        Form::Lamp => passive::lamp(),
        Form::Neon => passive::neon(),
        Form::Cell => passive::cell(zigzag),
        Form::Fuse => passive::fuse(),
        Form::Switch(closed) => control::switch(*closed),
        Form::Selector(throws, at) => control::selector(*throws, *at),
        Form::Pot => control::pot(zigzag),
        Form::Jack(pins) => control::jack(pins),
        Form::Phono => control::phono(),
        Form::Speaker => passive::speaker(),
        Form::Supply => passive::source(true),
        Form::Generator => passive::source(false),
        Form::Gain => control::gain(),
        Form::Bridge => passive::bridge(),
        Form::Tank => wound::tank(),
        Form::Valve(v) => valve::grid_valve(v),
        Form::Rectifier(plates, filament) => valve::rectifier(*plates, *filament),
        Form::Heater(tap) => valve::heater(*tap),
        Form::Wound(left, right) => wound::transformer(left, right),
        Form::TiePoint => control::tie_point(),
        Form::Box(left, right, width) => control::labelled_box(left, right, *width),
        Form::Inlet(has) => control::inlet(*has),
    }
}

/// Two leads of a part that stands upright, six units from end to end.
fn upright(s: &mut Symbol, body_from: f32, body_to: f32) {
    s.pin(0, -3, Dir::Up);
    s.pin(0, 3, Dir::Down);
    let px = |v: f32| (v * UNIT as f32).round() as i32;
    s.bodies
        .push(Area::new(-1, -3 * UNIT + 4, 1, px(body_from)));
    s.bodies.push(Area::new(-1, px(body_to), 1, 3 * UNIT - 4));
    s.ink.push(Ink::line(&[(0.0, -3.0), (0.0, body_from)]));
    s.ink.push(Ink::line(&[(0.0, body_to), (0.0, 3.0)]));
}

#[cfg(test)]
mod tests {
    use super::*;

    fn forms() -> Vec<Form> {
        let jack = |p: &[JackPin]| Form::Jack(p.to_vec());
        let coil = |y: &[i32]| Coil(y.to_vec());
        vec![
            Form::Resistor,
            Form::Capacitor(None),
            Form::Capacitor(Some(1)),
            Form::Choke,
            Form::Diode,
            Form::Zener,
            Form::Lamp,
            Form::Neon,
            Form::Cell,
            Form::Fuse,
            Form::Switch(true),
            Form::Switch(false),
            Form::Selector(3, 2),
            Form::Pot,
            jack(&[JackPin::Tip, JackPin::Break, JackPin::Sleeve]),
            jack(&[
                JackPin::Tip,
                JackPin::Break,
                JackPin::Ring,
                JackPin::RingBreak,
                JackPin::Sleeve,
            ]),
            Form::Phono,
            Form::Speaker,
            Form::Supply,
            Form::Generator,
            Form::Gain,
            Form::Bridge,
            Form::Tank,
            Form::Valve(ValveForm {
                plates: 1,
                grids: 1,
                cathodes: 1,
                ..ValveForm::default()
            }),
            Form::Valve(ValveForm {
                plates: 2,
                grids: 2,
                cathodes: 2,
                screens: 2,
                suppressors: 1,
                third_grid: true,
                filament: true,
            }),
            Form::Rectifier(2, true),
            Form::Rectifier(1, false),
            Form::Heater(true),
            Form::Heater(false),
            Form::Wound(vec![coil(&[-6, 0, 6])], vec![coil(&[-3, 3])]),
            Form::TiePoint,
            Form::Box(vec!["a".into(), "b".into()], vec!["c".into()], 6),
            Form::Inlet([true, true, true]),
        ]
    }

    #[test]
    fn terminals_are_apart_and_outside_every_body() {
        for form in forms() {
            for zigzag in [false, true] {
                let s = symbol(&form, zigzag);
                for (i, p) in s.pins.iter().enumerate() {
                    assert!(
                        s.pins[i + 1..].iter().all(|q| q.at != p.at),
                        "{form:?}: two terminals at {:?}",
                        p.at
                    );
                    let spot = Area::round(p.at, 1);
                    assert!(
                        s.bodies.iter().all(|b| !b.hits(&spot)),
                        "{form:?}: a body over {:?}",
                        p.at
                    );
                    // A wire can leave outward.
                    let way = Area::between(p.at, p.at.toward(p.out, 2), 1);
                    assert!(
                        s.bodies.iter().all(|b| !b.hits(&way)),
                        "{form:?}: {:?} is walled in",
                        p.at
                    );
                }
                if form != Form::TiePoint {
                    assert!(!s.bodies.is_empty(), "{form:?}");
                    assert!(!s.ink.is_empty(), "{form:?}");
                }
            }
        }
    }

    #[test]
    fn ink_stays_near_its_body() {
        for form in forms() {
            let s = symbol(&form, false);
            let room = s.extent().wider(14);
            for ink in &s.ink {
                let a = ink.extent();
                assert!(room.holds(&a), "{form:?}: {a:?} outside {room:?}");
            }
        }
    }
}
