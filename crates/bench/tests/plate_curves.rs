//! Plate curves of typed numbers: the load line lies where the equations of the stage put it.
#![allow(clippy::unwrap_used, reason = "a test")]

use bench::bias::{BiasRequest, Stage};
use bench::plate_curves::{PlateCurves, of_numbers};
use bench::typed::Typed;
use solve::device::{PentodeLaw, pentode_law};
use wiring::sheet::Library;

/// An EL84 at 250 V with 250 V at its screen, so many amperes through 1 ohm at its cathode.
fn el84(amps: f64, stage: Option<Stage>, load: Option<f64>, on_half: u32) -> PlateCurves {
    let request = BiasRequest {
        valve: Library::built_in().find("EL84"),
        plate: Some(Typed::exact(250.0 + amps)),
        screen: Some(Typed::exact(250.0 + amps)),
        cathode: Some(Typed::exact(amps)),
        ohms: Some(Typed::exact(1.0)),
        on_half,
        stage,
        ..BiasRequest::default()
    };
    of_numbers(&request, load).unwrap()
}

fn plate(law: PentodeLaw, volts: f64, grid: f64) -> f64 {
    law.currents(volts, 250.0, grid).plate.amps
}

/// Grid volts at which the law passes a current.
fn grid_for(law: PentodeLaw, volts: f64, amps: f64) -> f64 {
    let (mut low, mut high) = (-100.0, 0.0);
    for _ in 0..80 {
        let middle = f64::midpoint(low, high);
        if plate(law, volts, middle) > amps {
            high = middle;
        } else {
            low = middle;
        }
    }
    low
}

#[test]
fn a_single_valve_moves_along_a_straight_line_of_its_primary() {
    let of = el84(53.5e-3, Some(Stage::SingleEnded), Some(5200.0), 1);
    let idle = of.points[0].at;
    let load = of.load.unwrap();
    let [(a, i), (b, j)] = load.path[..] else {
        panic!("a straight line")
    };
    assert!(((b - a) / (i - j) - 5200.0).abs() < 1e-6);
    assert!((b - (idle.0 + idle.1 * 5200.0)).abs() < 1e-9 && j == 0.0);
    // It starts where the grid reaches the cathode.
    let law = pentode_law("EL84", None).unwrap();
    assert!((plate(law, a, 0.0) - i).abs() < 1e-9);
    // The sheet's limit is 12 W (design-centre; data/valves.toml names the source).
    assert_eq!(of.limit_watts, Some(12.0));
}

#[test]
fn a_pair_goes_through_its_idle_point_and_ends_on_a_quarter() {
    let of = el84(40e-3, Some(Stage::FixedBias), Some(8000.0), 1);
    let idle = of.points[0].at;
    let load = of.load.unwrap();
    assert_eq!(load.alone_ohms, 2000.0);
    let middle = load.path[load.path.len() / 2];
    assert!((middle.0 - idle.0).abs() < 1e-6 && (middle.1 - idle.1).abs() < 1e-6);
    let law = pentode_law("EL84", None).unwrap();
    let grid = grid_for(law, idle.0, idle.1);
    let (v, i) = load.path[0];
    let other = plate(law, 2.0 * idle.0 - v, 2.0 * grid);
    assert!(((idle.0 - v) / (i - other) - 2000.0).abs() < 1e-3);
    assert!(other < 0.1 * i, "{other} of {i}");
    assert!(load.path.windows(2).all(|p| p[1].0 > p[0].0));
}

#[test]
fn two_a_side_see_twice_as_much_each() {
    let of = el84(40e-3, Some(Stage::FixedBias), Some(4000.0), 2);
    assert_eq!(of.load.unwrap().alone_ohms, 2000.0);
}

#[test]
fn without_a_load_the_curves_and_the_point_remain() {
    let of = el84(40e-3, Some(Stage::FixedBias), None, 1);
    assert!(of.load.is_none() && of.curves.len() > 3 && of.points.len() == 1);
    assert!(of.missing[0].remedy.contains("--load 8k"));
    // Every curve is the law itself: nothing rises above that of the grid at the cathode.
    for pair in of.curves.windows(2) {
        for (a, b) in pair[0].1.iter().zip(&pair[1].1) {
            assert!(a.1 >= b.1 - 1e-12);
        }
    }
}
