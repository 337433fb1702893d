//! The lamp in series with the mains.

use crate::lamp::LAMPS as SIZES;
use crate::rules::rules;
use serde::Serialize;

const RULE: &str = "power.lamp";

/// A lamp for this amplifier.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Lamp {
    /// Its watts: the one at hand, else the one proposed.
    pub watts: f64,
    /// The one at hand was typed.
    pub typed: bool,
    /// No more than this: the lower of the share of the draw and of the table by size of amplifier.
    pub most_watts: f64,
    /// Its share of the draw allows so much.
    pub by_draw_watts: f64,
    /// The table by size of amplifier allows so much.
    pub by_table_watts: f64,
    /// Most amperes that it lets through, whatever the amplifier does.
    pub most_amps: f64,
}

/// Largest lamp over the expected draw.
fn share() -> f64 {
    let hi = rules().range(RULE, "lamp watts / expected idle draw");
    hi.map_or(1.5, |r| r.1.min(1.5))
}

/// Largest lamp of the table for an amplifier that draws so much: the rows of the draw give the
/// size of the amplifier, the rows of the lamp its lamp.
fn by_table(draw: f64) -> f64 {
    const ROWS: [(&str, &str); 4] = [
        ("expected mains draw 5 W amp", "5-10 W single-ended"),
        ("expected mains draw 2x6V6", "12-22 W"),
        ("expected mains draw 2x6L6", "30-50 W"),
        ("expected mains draw 4x6L6", "80-100 W"),
    ];
    let mut largest = 0.0;
    for (draws, lamps) in ROWS {
        let (Some((_, most_draw)), Some((_, most_lamp))) =
            (rules().range(RULE, draws), rules().range(RULE, lamps))
        else {
            continue;
        };
        largest = most_lamp;
        if draw <= most_draw {
            break;
        }
    }
    largest
}

/// The lamp for a draw in volt-amperes: the smallest size that is not below the draw, unless a limit
/// asks for a smaller one. None without a draw and without a lamp that was typed.
pub(super) fn choose(draw: Option<f64>, mains: Option<f64>, typed: Option<f64>) -> Option<Lamp> {
    let mains = mains.filter(|v| *v > 0.0)?;
    let draw = draw.filter(|d| d.is_finite() && *d > 0.0);
    let (by_draw, by_table) = match draw {
        Some(draw) => (share() * draw, by_table(draw)),
        None => (f64::INFINITY, by_table(0.0)),
    };
    let most = by_draw.min(by_table);
    let proposed = draw.map(|draw| {
        let enough = SIZES.into_iter().find(|s| *s >= draw);
        let fits = SIZES.into_iter().rev().find(|s| *s <= most);
        match (enough, fits) {
            (Some(enough), _) if enough <= most => enough,
            (_, Some(fits)) => fits,
            // less than the smallest lamp there is
            _ => SIZES[0],
        }
    });
    let typed = typed.filter(|w| w.is_finite() && *w > 0.0);
    let watts = typed.or(proposed)?;
    Some(Lamp {
        watts,
        typed: typed.is_some(),
        most_watts: most,
        by_draw_watts: if by_draw.is_finite() { by_draw } else { most },
        by_table_watts: by_table,
        most_amps: watts / mains,
    })
}
