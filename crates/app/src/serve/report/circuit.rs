//! The circuit as it leaves: which drawings it is near to, what each channel does, its schematic. For the full record.

use super::{Gathered, count};
use crate::picture::among_others;
use crate::serve::kept_kin;
use crate::serve::work_out::{self, Found};
use crate::voicing_plot::plot;
use bench::Asked;
use bench::kin::Status;
use bench::voicing::{Voicing, VoicingRequest, inputs, loudspeaker, voicing as response};
use draw::plot::Shades;
use report::{Block, Cell, Column, Content, Document, Picture, Table};
use shop::{Reader, ReadingState, ShopError};

/// How near the amp as found is to the drawings of the shop that say they are of it.
pub(super) fn kin(g: &Gathered<'_>, r: &Reader<'_>, d: &mut Document) -> Result<(), ShopError> {
    d.heading("Which circuit it is");
    if g.found.traced.circuit.parts.is_empty() {
        d.say("Not traced.");
        return Ok(());
    }
    let shelved = kept_kin::shelved(r, g.id)?;
    let held = kept_kin::held(g.site, r, &g.found, &shelved, &[])?;
    if held.is_empty() || g.found.traced.circuit.parts.len() > crate::commands::kin::MOST_PARTS {
        d.say("Held against no drawing: the shop has none that says it is of this amplifier.");
        return Ok(());
    }
    let kin = kept_kin::compare(g.site, &g.found, &held);
    d.blocks.push(Block::Table(Table {
        name: "Drawings it was held against".to_owned(),
        columns: vec![
            Column::words("Drawing", 34),
            Column::figures("Near, of 1", 12),
            Column::figures("Same", 10),
            Column::figures("Other value", 12),
            Column::figures("Rewired", 10),
            Column::figures("Missing", 11),
            Column::figures("Added", 11),
        ],
        rows: kin
            .drawings
            .iter()
            .map(|k| {
                vec![
                    Cell::strong(&k.name),
                    Cell::plain(format!("{:.2}", k.score)),
                    Cell::plain(k.same.to_string()),
                    Cell::plain(k.value_changed.to_string()),
                    Cell::plain(k.rewired.to_string()),
                    Cell::plain(k.missing.to_string()),
                    Cell::plain(k.added.to_string()),
                ]
            })
            .collect(),
    }));
    let nearest = kin
        .drawings
        .iter()
        .filter(|k| k.kin)
        .max_by(|a, b| a.score.total_cmp(&b.score));
    let Some(nearest) = nearest else {
        d.say("None of them is kin: the amp is of another sort, or too little is traced.");
        return Ok(());
    };
    let differ: Vec<_> = nearest
        .pairs
        .iter()
        .filter(|p| !matches!(p.status, Status::Same | Status::Inside))
        .collect();
    if differ.is_empty() {
        d.say(format!(
            "As found it is as {} has it, as far as both go.",
            nearest.name
        ));
        return Ok(());
    }
    d.blocks.push(Block::Subheading {
        text: format!("As found, other than {}", nearest.name),
    });
    d.blocks.push(Block::Table(Table {
        name: format!("Differences from {}", nearest.name),
        columns: vec![
            Column::words("In the amp", 18),
            Column::words("On the drawing", 18),
            Column::words("What differs", 64),
        ],
        rows: differ
            .iter()
            .map(|p| {
                vec![
                    Cell::strong(p.found.clone().unwrap_or_else(|| "\u{2013}".to_owned())),
                    Cell::plain(p.drawing.clone().unwrap_or_else(|| "\u{2013}".to_owned())),
                    Cell::plain(&p.what),
                ]
            })
            .collect(),
    }));
    Ok(())
}

/// Jacks whose response is shown.
const MOST_JACKS: usize = 4;
/// Frequencies of a curve.
const POINTS: i32 = 121;

fn curve(g: &Gathered<'_>, found: &Found, from: &str) -> Option<Voicing> {
    let circuit = &found.traced.circuit;
    if circuit.parts.len() > crate::amp::MOST_COMPUTED {
        return None;
    }
    let step = (20e3_f64 / 20.0).ln() / f64::from(POINTS - 1);
    let request = VoicingRequest {
        asked: Asked::default(),
        from: from.to_owned(),
        to: loudspeaker(circuit)?,
        hertz: (0..POINTS)
            .map(|i| 20.0 * (f64::from(i) * step).exp())
            .collect(),
        source_ohms: 0.0,
        guitar: None,
        resistive_load: false,
    };
    response(circuit, &g.site.library, &request).ok()
}

/// Curves nearer than this, decibels, are drawn as one.
const SAME_DB: f64 = 0.5;

/// The widest that two curves are apart, decibels.
fn apart(a: &Voicing, b: &Voicing) -> f64 {
    let pairs = a.db.iter().zip(&b.db);
    pairs.map(|(a, b)| (a - b).abs()).fold(0.0, f64::max)
}

/// Each channel's response as left, beside the one as found.
pub(super) fn voicing(g: &Gathered<'_>, d: &mut Document) {
    let jacks = inputs(&g.left.traced.circuit);
    let changed = g.left.traced.text != g.found.traced.text;
    let mut shown = 0;
    for jack in jacks.iter().take(MOST_JACKS) {
        let Some(left) = curve(g, &g.left, jack) else {
            continue;
        };
        let found = changed.then(|| curve(g, &g.found, jack)).flatten();
        let mut curves = vec![("as left".to_owned(), &left)];
        // two curves that lie on each other are one
        if let Some(found) = found.as_ref().filter(|f| apart(&left, f) > SAME_DB) {
            curves.push(("as found".to_owned(), found));
        }
        if shown == 0 {
            d.heading_beside(
                "Voicing",
                "computed, small signals, knobs as written in the wiring",
            );
        }
        let svg = plot(&curves, &format!("voicing-{shown}"), 900, 300).svg(Shades::PRINT);
        let differs = found.as_ref().map_or_else(String::new, |f| {
            format!(" As left against as found: {}.", left.against(f))
        });
        d.blocks.push(Block::Picture(Picture {
            alt: format!("Response from {jack} to the loudspeaker, as left and as found."),
            caption: format!("{jack} to {}.{differs}", left.to),
            width: 900,
            height: 300,
            content: Content::Svg(svg),
        }));
        shown += 1;
    }
}

/// Letters of a drawing are at least so large on paper, millimetres, as far as three pages a drawing allow it.
const LETTERS: f64 = 1.9;
/// Height of a drawing's letters, its own units.
const SIZE: f64 = 16.0;
/// What stands on both of two pages.
const OVERLAP: f64 = 90.0;
/// Pages of a drawing.
const MOST_PAGES: f64 = 3.0;

/// The schematic as left, over as many pages as its letters need.
pub(super) fn schematic(g: &Gathered<'_>, d: &mut Document) {
    let (found, state) = if g.left.traced.circuit.parts.is_empty() {
        (&g.found, ReadingState::AsFound)
    } else {
        (&g.left, ReadingState::AsLeft)
    };
    let Some(drawn) = found.traced.drawn() else {
        return;
    };
    if found.traced.circuit.parts.is_empty() {
        return;
    }
    let svg = drawn
        .picture
        .replace(" id=\"schematic\"", "")
        .replace(work_out::PAGE.paper, "#ffffff")
        .replace(work_out::PAGE.soft, "#333333")
        .replace(work_out::PAGE.ink, "#000000");
    let Some([x, y, width, height]) = view_box(&svg) else {
        return;
    };
    let room = g.wanted.paper.millimetres().0 - 34.0;
    let scale = LETTERS / SIZE;
    let pages = (width * scale / room).ceil().clamp(1.0, MOST_PAGES);
    let each = width / pages;
    let of = count(found.traced.circuit.parts.len(), "part", "parts");
    for page in 0..pages as u32 {
        let from = (x + each * f64::from(page) - OVERLAP / 2.0).max(x);
        let to = (x + each * f64::from(page + 1) + OVERLAP / 2.0).min(x + width);
        let (w, h) = (to - from, height);
        d.blocks.push(Block::NewPage);
        let beside = if pages > 1.0 {
            format!("{of}, page {} of {pages}, from left to right", page + 1)
        } else {
            of.clone()
        };
        d.heading_beside(&format!("Schematic, {}", state.word()), &beside);
        let part = framed(&svg, [from, y, w, h]);
        d.blocks.push(Block::Picture(Picture {
            alt: format!("Schematic of the amplifier {}, {beside}.", state.word()),
            caption: String::new(),
            width: w.round() as u32,
            height: h.round() as u32,
            content: Content::Svg(among_others(&part, &format!("schematic-{page}"))),
        }));
    }
}

/// The four numbers of a picture's view.
fn view_box(svg: &str) -> Option<[f64; 4]> {
    let (_, rest) = svg.split_once("viewBox=\"")?;
    let (numbers, _) = rest.split_once('"')?;
    let all: Vec<f64> = numbers
        .split_whitespace()
        .filter_map(|n| n.parse().ok())
        .collect();
    all.try_into().ok()
}

/// The same picture, showing another part of it.
fn framed(svg: &str, view: [f64; 4]) -> String {
    let Some((head, rest)) = svg.split_once("viewBox=\"") else {
        return svg.to_owned();
    };
    // the numbers of the view, then width and height, end at the role
    let Some((_, tail)) = rest.split_once(" role=") else {
        return svg.to_owned();
    };
    let [x, y, w, h] = view;
    format!(
        "{head}viewBox=\"{x:.0} {y:.0} {w:.0} {h:.0}\" width=\"{w:.0}\" height=\"{h:.0}\" role={tail}"
    )
}
