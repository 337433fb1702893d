//! A textbook stage with one thing wrong at a time, and what the suspects make of it.
//!
//! The volts come from the three-halves power law alone (mu 100, through 1.2 mA at 250 V and -2 V),
//! a law that the program does not use: 300 V, 100k plate load, 1k5 cathode resistor. Directions
//! and rough size only, so what is held is which cause leads, not how surely.

use bench::faults::Class;
use bench::suspects::{Suspects, SuspectsRequest, suspects};
use wiring::Text;
use wiring::sheet::Library;

const STAGE: &str = "V1 12AX7\nPS1 supply 300 V 10 ohm\nB1 - +PS1 - ground\n\
    B1 - R1 100k 10% film - V1.1\nV1.3 - R2 1k5 10% film - ground\n\
    V1.3 - +C1 25u 25V electrolytic - ground\nV1.2 - R3 1M 10% film - ground\n\
    V1.1 - C2 22n film - out\nout - R4 1M 10% film - ground\n";

fn read(supply: f64, plate: f64, cathode: f64) -> Suspects {
    let readings = format!(
        "readings as found\nmeter 10M 0.5%\nB1 {supply}\nV1.1 {plate}\nV1.3 {cathode:.2}\n"
    );
    let texts = [
        Text {
            name: "stage.wiring",
            text: STAGE,
        },
        Text {
            name: "stage.readings",
            text: &readings,
        },
    ];
    let circuit = wiring::read(&texts, Library::built_in()).circuit;
    suspects(&circuit, Library::built_in(), &SuspectsRequest::default())
}

/// Is this suspect first, or among those that the readings do not tell from the first?
fn leads(found: &Suspects, part: &str, class: Class) -> bool {
    let first = found.groups.iter().find(|g| g.contains(&0));
    let tied = first.map_or(&[0][..], Vec::as_slice);
    let likeliest = found.suspects.first().map_or(0.0, |s| s.probability);
    likeliest > found.healthy
        && tied
            .iter()
            .filter_map(|i| found.suspects.get(*i))
            .any(|s| s.part == part && s.class == class)
}

#[test]
fn what_is_wrong_with_the_stage_leads() {
    let cases = [
        (300.0, 171.0, 1.29, "R1", Class::High),
        (300.0, 220.0, 1.71, "R1", Class::Low),
        (300.0, 220.0, 1.80, "R2", Class::High),
        (300.0, 300.0, 3.0, "R2", Class::Open),
        (300.0, 149.0, 0.90, "C1", Class::Leaky),
        (300.0, 163.0, 2.06, "V1a", Class::Gassy),
        (240.0, 160.0, 1.20, "PS1", Class::Low),
    ];
    for (supply, plate, cathode, part, class) in cases {
        let found = read(supply, plate, cathode);
        assert!(leads(&found, part, class), "{part} {class:?}: {found:#?}");
    }
}

#[test]
fn what_lies_inside_the_band_is_called_sound() {
    // as it should be, 0.3 V on the grid, half the emission: self-bias hides them
    for (plate, cathode) in [(198.0, 1.52), (188.0, 1.68), (207.0, 1.39)] {
        let found = read(300.0, plate, cathode);
        let first = found.suspects.first().map_or(0.0, |s| s.probability);
        assert!(found.healthy > first, "{plate} {cathode}: {found:#?}");
    }
}

/// With no bias the program's law has 120 V at the plate and this one 76 V; the cathode's 0.00 V, as a meter shows it,
/// decides. A plain `0` among whole volts would leave half a volt open, and a risen plate load before it.
#[test]
fn a_shorted_bypass_leads_by_its_cathode() {
    let found = read(300.0, 76.0, 0.0);
    assert!(leads(&found, "C1", Class::Short), "{found:#?}");
}
