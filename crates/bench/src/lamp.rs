//! The limiter lamp: an incandescent lamp in series with the mains at first power.
//!
//! From the draw that is expected. A lamp lets through at most its own watts over the mains volts, even into
//! a short. The lamp's resistance follows its volts (`solve::device`, filament); the amplifier is taken as a
//! resistance of its idle draw, which is rough: cold it takes less, with a fault more.

use crate::rules::rules;
use crate::sheet::{Expected, Figure, Limit, Line, Origin, Sheet};
use crate::typed::positive_if_given;
use solve::device::FilamentLaw;

/// Watts of lamps that are made. Common practice, no source.
pub(crate) const LAMPS: [f64; 8] = [25.0, 40.0, 60.0, 75.0, 100.0, 150.0, 200.0, 300.0];

/// No more lamps than this side by side.
const MOST_LAMPS: u32 = 4;

/// What was typed.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct LampRequest {
    /// Expected idle draw from the mains, watts.
    pub draw: Option<f64>,
    /// Output power of the amplifier, watts; the trade's table goes by it.
    pub output: Option<f64>,
    /// Volts at the wall.
    pub mains: Option<f64>,
    /// The lamp at hand, watts.
    pub lamp: Option<f64>,
}

/// Lamps to use: so many of so many watts, side by side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lamps {
    /// How many.
    pub count: u32,
    /// Watts of each.
    pub each: f64,
}

impl Lamps {
    /// Watts in all.
    #[must_use]
    pub fn watts(self) -> f64 {
        self.each * f64::from(self.count)
    }

    /// `60 W`, `2 x 200 W side by side`.
    #[must_use]
    pub fn words(self) -> String {
        if self.count == 1 {
            format!("{} W", self.each)
        } else {
            format!("{} x {} W side by side", self.count, self.each)
        }
    }
}

/// Lamp watts over the expected draw: least and most (`power.lamp`).
fn factors() -> Option<(f64, f64)> {
    rules().range("power.lamp", "lamp watts / expected idle draw")
}

/// The smallest lamp that is made and not below the draw; above the largest, the fewest equal lamps. None for
/// no number above zero, or a draw beyond every guitar amplifier.
#[must_use]
pub fn lamps_for(draw: f64) -> Option<Lamps> {
    if !(draw.is_finite() && draw > 0.0) {
        return None;
    }
    let (least, _) = factors()?;
    (1..=MOST_LAMPS).find_map(|count| {
        LAMPS
            .into_iter()
            .map(|each| Lamps { count, each })
            .find(|lamps| lamps.watts() >= draw * least)
    })
}

/// Volts that are left for an amplifier that takes `draw` watts at `mains` volts, behind lamps of `watts`.
#[must_use]
pub fn volts_behind(watts: f64, draw: f64, mains: f64) -> Option<f64> {
    if [watts, draw, mains]
        .iter()
        .any(|v| !(v.is_finite() && *v > 0.0))
    {
        return None;
    }
    let lamp = FilamentLaw::rated(mains, watts / mains);
    let ohms = mains * mains / draw;
    let (mut low, mut high) = (0.0, mains);
    for _ in 0..60 {
        let middle = (low + high) / 2.0;
        if lamp.current(middle).0 < (mains - middle) / ohms {
            low = middle;
        } else {
            high = middle;
        }
    }
    let left = mains - (low + high) / 2.0;
    left.is_finite().then_some(left)
}

/// The sheet.
#[must_use]
pub fn lamp(given: &LampRequest) -> Sheet {
    let mut sheet = Sheet::new("lamp", "Limiter lamp for the first power");
    let draw = positive_if_given(
        &mut sheet,
        given.draw,
        "the expected draw",
        "Type watts, `--watts 60`.",
    );
    let output = positive_if_given(
        &mut sheet,
        given.output,
        "the output power",
        "Type watts, `--output 18`.",
    );
    let mains = positive_if_given(
        &mut sheet,
        given.mains,
        "the mains",
        "Type the volts, `--mains 230`.",
    );
    let at_hand = positive_if_given(
        &mut sheet,
        given.lamp,
        "the lamp at hand",
        "Type its watts, `--lamp 60`.",
    );
    if let Some(volts) = mains {
        sheet
            .conditions
            .push(format!("mains {}", Figure::new(volts, "V")));
    }
    let rule = || Origin::rule("power.lamp");
    let mut lines = Vec::new();
    let mut chosen = None;
    if let Some(draw) = draw {
        sheet
            .conditions
            .push(format!("{} expected at idle", Figure::new(draw, "W")));
        if let Some((least, most)) = factors() {
            lines.push(
                Line::told("Lamp watts that suit", rule()).expecting(Expected::range(
                    draw * least,
                    draw * most,
                    "W",
                )),
            );
            if let Some(watts) = at_hand {
                let limit = Limit::at_most(draw * most, "W");
                let line = Line::read("The lamp at hand", Figure::new(watts, "W"), limit, rule());
                lines.push(if watts < draw * least {
                    line.because("Smaller than the draw: safe, but the amplifier comes up to a part of its volts only.")
                } else {
                    line
                });
            }
        }
        chosen = lamps_for(draw);
        match chosen {
            Some(lamps) => lines.push(
                Line::told("Lamp to use", rule())
                    .at(lamps.words())
                    .expecting(Expected::value(lamps.watts(), "W")),
            ),
            None => sheet.missing(
                "a lamp for this draw",
                "It is more than a guitar amplifier takes: is the figure right?",
            ),
        }
    } else if given.draw.is_none() {
        sheet.missing(
            "the draw that is expected",
            "Type watts at idle from the label or from an amplifier like it, `--watts 60`.",
        );
    }
    if let Some(watts) = output {
        match by_output(watts) {
            Some((low, high)) => lines.push(
                Line::told("By the amplifier's output, lamp watts", rule())
                    .at(Figure::new(watts, "W").to_string())
                    .expecting(Expected::range(low, high, "W")),
            ),
            None => sheet.missing(
                "a lamp by the output power",
                "The trade's table ends at 100 W; type the draw, `--watts`.",
            ),
        }
    }
    let used = at_hand.or_else(|| chosen.map(Lamps::watts));
    match (used, mains) {
        (Some(watts), Some(mains)) => behind(&mut lines, watts, draw, mains),
        (Some(_), None) => sheet.missing(
            "the current that the lamp lets through",
            "Type the mains volts, `--mains 230`.",
        ),
        _ => {}
    }
    sheet.section("", lines);
    watching(&mut sheet);
    sheet.note("A lamp is no isolation: the chassis can still be live. Lamps of the filament kind only; others limit nothing.");
    sheet
}

/// What goes through lamps of so many watts.
fn behind(lines: &mut Vec<Line>, watts: f64, draw: Option<f64>, mains: f64) {
    lines.push(
        Line::told(
            "Largest current, even into a short",
            Origin::computed("lamp watts / mains volts"),
        )
        .expecting(Expected::value(watts / mains, "A"))
        .because("The lamp then shines at full brightness and has all the mains volts."),
    );
    if let Some(volts) = draw.and_then(|draw| volts_behind(watts, draw, mains)) {
        lines.push(
            Line::told(
                "Volts left for the amplifier, about",
                Origin::computed("lamp of 0.54th power in series with the idle draw as a resistance; rough"),
            )
            .expecting(Expected::value(volts, "V ac"))
            .because("HT and heaters are low by as much. A chart of readings taken so needs the condition `limiter` with the lamp's watts."),
        );
    }
}

/// The trade's ranges by output power; between two rows the smaller lamp.
fn by_output(watts: f64) -> Option<(f64, f64)> {
    // 22 to 30 W and 50 to 80 W are in no row: the row below is the safer.
    let name = match watts {
        w if w < 12.0 => "5-10 W single-ended",
        w if w < 30.0 => "12-22 W",
        w if w < 80.0 => "30-50 W",
        w if w <= 100.0 => "80-100 W",
        _ => return None,
    };
    rules().range("power.lamp", name)
}

fn watching(sheet: &mut Sheet) {
    let stop = || Origin::rule("power.abort");
    let mut lines = Vec::new();
    match rules().figure("power.abort", "lamp glow does not fall within") {
        Some(seconds) => lines.push(
            Line::open("Bright glow falls within", stop())
                .limited(Limit::at_most(seconds, "s"))
                .because("A flash, then a dim glow is healthy. A full steady glow is a short or a valve running away: switch off."),
        ),
        None => sheet.missing("how long the glow may last", "Switch off at once when it stays bright."),
    }
    lines.push(Line::open(
        "No smoke, smell, arc, red plate or crackle",
        stop(),
    ));
    sheet.section("Watch", lines);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::STANDARD_CAUTION;
    use crate::sheet::Outcome;
    use proptest::prelude::*;

    /// Largest current about lamp watts over mains volts; lamp watts 1 to 1.5 times the draw
    /// (rule `power.lamp`: a page that is not the source itself, not verified in the original).
    #[test]
    fn the_lamp_suits_the_draw() {
        assert_eq!(
            lamps_for(60.0),
            Some(Lamps {
                count: 1,
                each: 60.0
            })
        );
        assert_eq!(lamps_for(61.0).map(Lamps::watts), Some(75.0));
        assert_eq!(lamps_for(110.0).map(Lamps::watts), Some(150.0));
        assert_eq!(
            lamps_for(350.0),
            Some(Lamps {
                count: 2,
                each: 200.0
            })
        );
        assert_eq!(lamps_for(f64::NAN), None);
        assert_eq!(lamps_for(5000.0), None);
    }

    #[test]
    fn a_lamp_that_is_too_large_fails() {
        let sheet = |lamp| {
            self::lamp(&LampRequest {
                draw: Some(60.0),
                mains: Some(230.0),
                lamp: Some(lamp),
                output: None,
            })
        };
        assert_eq!(sheet(100.0).count(Outcome::Fail), 1);
        assert_eq!(sheet(75.0).count(Outcome::Fail), 0);
    }

    /// The output rows of rule `power.lamp`; between two rows the smaller.
    #[test]
    fn the_table_by_output_takes_the_smaller_row_between_two() {
        assert_eq!(by_output(5.0), Some((40.0, 60.0)));
        assert_eq!(by_output(18.0), Some((60.0, 100.0)));
        assert_eq!(by_output(25.0), Some((60.0, 100.0)));
        assert_eq!(by_output(60.0), Some((100.0, 150.0)));
        assert_eq!(by_output(100.0), Some((200.0, 300.0)));
        assert_eq!(by_output(150.0), None);
    }

    /// Equal lamps in series share the mains; a draw of nothing leaves the amplifier all of it.
    #[test]
    fn volts_behind_the_lamp_lie_between_none_and_all() {
        let half = volts_behind(60.0, 60.0, 230.0).unwrap();
        assert!((100.0..190.0).contains(&half), "{half}");
        assert!(volts_behind(60.0, 0.1, 230.0).unwrap() > 225.0);
        assert!(volts_behind(60.0, 6000.0, 230.0).unwrap() < 10.0);
    }

    proptest! {
        #[test]
        fn any_numbers_give_a_sheet_with_its_caution(
            draw in proptest::option::of(any::<f64>()),
            output in proptest::option::of(any::<f64>()),
            mains in proptest::option::of(any::<f64>()),
            lamp in proptest::option::of(any::<f64>()),
        ) {
            let sheet = self::lamp(&LampRequest { draw, output, mains, lamp });
            prop_assert_eq!(sheet.caution(), STANDARD_CAUTION);
        }

        #[test]
        fn a_lamp_proposed_is_not_below_the_draw_and_seldom_far_above(draw in 25.0..600.0_f64) {
            let watts = lamps_for(draw).unwrap().watts();
            prop_assert!(watts >= draw && watts <= 1.61 * draw);
        }
    }
}
