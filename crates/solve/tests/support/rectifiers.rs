//! Capacitor-input rectifiers of data/capacitor_input.toml, with their exact solutions (`reference/capacitor_input.py`).

use std::f64::consts::{SQRT_2, TAU};

use solve::device::DiodeLaw;
use solve::{Law, Netlist};

use super::elements::{capacitor, element, resistor, sine};
use super::netlist;

/// Mains frequency.
pub const HERTZ: f64 = 50.0;
/// Peak volts of each plate.
pub const PEAK: f64 = 100.0;

/// One of them. Node 1 is the first plate, node 2 the capacitor and the load.
pub struct Row {
    pub circuit: Netlist,
    /// Seconds in which the load empties the capacitor.
    pub seconds: f64,
    printed: toml::Value,
    exact: toml::Value,
}

impl Row {
    /// Holds a figure within `most` of the exact one, as a part of it, and the printed one within `printed`.
    pub fn holds(&self, key: &str, seen: f64, most: f64, printed: f64) {
        let exact = number(&self.exact, key);
        let row = &self.printed;
        assert!(
            (seen / exact - 1.0).abs() < most,
            "{row} {key}: {seen}, exactly {exact}"
        );
        assert!(
            (number(row, key) / exact - 1.0).abs() < printed,
            "{row} {key}: exactly {exact}"
        );
    }
}

fn number(row: &toml::Value, key: &str) -> f64 {
    let value = &row[key];
    let whole = || value.as_integer().map(|i| i as f64);
    value.as_float().or_else(whole).unwrap()
}

/// All of them.
pub fn capacitor_input() -> Vec<Row> {
    let rows = |text: &str| {
        let file: toml::Table = toml::from_str(text).unwrap();
        file["row"].as_array().unwrap().clone()
    };
    let printed = rows(include_str!("../../data/capacitor_input.toml"));
    let exact = rows(include_str!("../data/capacitor_input_exact.toml"));
    assert!(printed.len() == 36 && exact.len() == 36);
    printed
        .into_iter()
        .zip(exact)
        .map(|(printed, exact)| {
            let load = 1000.0;
            let farads = number(&printed, "omega_C_RL") / (TAU * HERTZ * load);
            let series = number(&printed, "Rs_over_RL") * load;
            let plate = |a| {
                let law = DiodeLaw::IDEAL;
                element(Law::Diode { a, k: 2, law })
            };
            let mut elements = vec![
                sine(1, PEAK / SQRT_2, HERTZ, series),
                plate(1),
                capacitor(2, 0, farads),
                resistor(2, 0, load),
            ];
            if printed["full_wave"].as_bool().unwrap() {
                // the other half of the winding, against phase
                elements.push(sine(3, -PEAK / SQRT_2, HERTZ, series));
                elements.push(plate(3));
            }
            Row {
                circuit: netlist(4, elements),
                seconds: load * farads,
                printed,
                exact,
            }
        })
        .collect()
}
