//! What hangs on a part without a value, and what does not.

use wiring::circuit::Kind;

use super::bench::{Bench, linear_volts};
use crate::assemble::reach::hanging;

/// R3 without ohms hangs below a 10k from a stiff rail, beside a divider of its own: the rail
/// and the divider are solved, the far side of the 10k is not.
#[test]
fn only_what_the_unknown_part_can_move_hangs_on_it() {
    let mut bench = Bench::new();
    bench.supply(300.0, "B", "ground");
    bench.resistor("R1", 10e3, "B", "mid");
    let kind = Kind::Resistor { ohms: None };
    bench.part("R3", kind, &[("1", "mid"), ("2", "ground")]);
    bench.resistor("R4", 10e3, "B", "other");
    bench.resistor("R5", 10e3, "other", "ground");
    let assembly = bench.assemble();
    let volts = linear_volts(&assembly.netlist);
    let all = hanging(&assembly, &volts, |n| Some(linear_volts(n)));
    let names: Vec<&str> = all
        .keys()
        .map(|n| assembly.netlist.nodes[*n].as_str())
        .collect();
    assert_eq!(names, ["mid"]);
    assert!(all.values().all(|parts| parts == &["R3"]));
    // Where the trial finds no solution, what the part touches hangs on it.
    let all = hanging(&assembly, &volts, |_| None);
    assert_eq!(all.len(), 1);
}
