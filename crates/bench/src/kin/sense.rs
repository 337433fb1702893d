//! The way round of an output transformer's primary, where feedback from its secondary makes it matter.
//!
//! Either end of a primary may be called first as long as nothing comes back from the secondary. Where
//! a feedback path is in both, and the inverter and the output valves are wired as drawn, exchanged
//! ends turn the feedback over: the amp howls. Said only where the way between is the same on both
//! sides; elsewhere the two ends are told apart by nothing.

use super::graph::{Graph, NONE, Sort};
use super::lines::{Laid, Row};
use super::{Moved, Status, Step, StepKind};
use wiring::circuit::Kind;
use wiring::roles::{Anatomy, BlockKind};

/// Blocks between the point where feedback arrives and the primary.
const BETWEEN: [BlockKind; 6] = [
    BlockKind::Cathodyne,
    BlockKind::LongTailedPair,
    BlockKind::Paraphase,
    BlockKind::TransformerInverter,
    BlockKind::PushPull,
    BlockKind::SingleEnded,
];

/// Turns the row of a reversed primary into one that is rewired.
pub(super) fn tell(laid: &Laid<'_>, both: &[Anatomy; 2], rows: &mut [Row]) {
    let fed_back = |a: &Anatomy| a.blocks.iter().any(|b| b.kind == BlockKind::Feedback);
    if !both.iter().all(fed_back) || !way_is_as_drawn(laid, &both[0]) {
        return;
    }
    for (i, thing) in laid.a.things.iter().enumerate() {
        let j = laid.m.there[i];
        if thing.sort != Sort::Output || j == NONE {
            continue;
        }
        let nets = |g: &Graph, t: usize, circuit: &wiring::Circuit| {
            let thing = &g.things[t];
            ["p1", "p2"].map(|name| {
                let part = &circuit.parts[thing.part.0];
                let end = thing
                    .ends
                    .iter()
                    .find(|e| part.terminals[e.terminal].name == name);
                end.map_or(NONE, |e| e.net)
            })
        };
        let [here1, here2] = nets(&laid.a, i, laid.amp);
        let [there1, there2] = nets(&laid.b, j, laid.drawing);
        let lies = |x: usize, y: usize| x != NONE && laid.m.net_there.get(x) == Some(&y);
        if here1 == here2 || !lies(here1, there2) || !lies(here2, there1) {
            continue;
        }
        let Some(row) = rows.iter_mut().find(|r| r.here.contains(&thing.part)) else {
            continue;
        };
        let name = laid.amp.parts[thing.part.0].name.clone();
        let said = format!(
            "{name}.p1 and {name}.p2 are the other way round, which turns the feedback over"
        );
        let line = &mut row.line;
        line.what = match line.status {
            Status::Same => said,
            _ => format!("{}; {said}", line.what),
        };
        line.status = Status::Rewired;
        for (end, here, there) in [("p1", here1, here2), ("p2", here2, here1)] {
            line.moved.push(Moved {
                end: format!("{name}.{end}"),
                here: super::words::net_name(laid.amp, here, Some(thing.part)),
                there: super::words::net_name(laid.amp, there, Some(thing.part)),
            });
        }
        line.steps.push(Step {
            kind: StepKind::MoveEnd,
            part: name.clone(),
            words: format!("Exchange the wires on {name}.p1 and {name}.p2."),
            edits: 2,
        });
    }
}

/// Are grids, plates and cathodes between the feedback and the primary on the same nets as drawn?
fn way_is_as_drawn(laid: &Laid<'_>, here: &Anatomy) -> bool {
    let blocks = here.blocks.iter().filter(|b| BETWEEN.contains(&b.kind));
    blocks.flat_map(|b| &b.sections).all(|s| {
        let own = |i: &usize| {
            let t = &laid.a.things[*i];
            t.part == s.part && t.section == s.section && t.sort == Sort::Section
        };
        let found = (0..laid.a.things.len()).find(own);
        found.is_none_or(|i| {
            let j = laid.m.there[i];
            j != NONE
                && matches!(laid.amp.parts[s.part.0].kind, Kind::Valve(_))
                && laid.a.things[i].ends.iter().all(|x| {
                    let other = laid.b.things[j].ends.iter().find(|y| y.class == x.class);
                    other.is_none_or(|y| {
                        x.net == NONE
                            || y.net == NONE
                            || laid.m.net_there.get(x.net) == Some(&y.net)
                    })
                })
        })
    })
}
