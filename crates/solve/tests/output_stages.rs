//! Output stages that data sheets print, typed as wirings and driven until they repeat.
//!
//! Sources of the rows stand beside them in `crates/wiring/data/valves.toml`; most are from
//! memory of the sheets, not seen. Accepted errors, and the rows on which the laws of the valves
//! themselves fail, stand in `data/output_stages.toml`.

#![allow(clippy::unwrap_used, reason = "the circuits are the test's own")]

use std::collections::BTreeMap;
use std::fmt::Write as _;

use solve::time::{Cycle, Running};
use solve::{AssembleOptions, Law, Netlist, operating, solve_circuit};
use wiring::sheet::{Library, Sheet, StageRow};
use wiring::{Conditions, read_one};

/// Frequency of the drive.
const HERTZ: f64 = 400.0;

/// What a row prints: plate amperes without and with signal, screen amperes at full signal, watts, distortion.
#[derive(Debug, Clone, Copy)]
struct Figures {
    plate: f64,
    plate_full: f64,
    screen_full: f64,
    watts: f64,
    distortion: f64,
}

/// One valve, or two.
fn valves_of(row: &StageRow) -> f64 {
    if row.usage == "push-pull" { 2.0 } else { 1.0 }
}

/// The stage as a wiring; none where the row does not say enough.
fn wiring_of(sheet: &Sheet, row: &StageRow) -> Option<String> {
    let pair = row.usage == "push-pull";
    // Where a sheet gives plate and screen volts beside a cathode resistor, they are volts to the
    // cathode, as the bias is: the supplies stand above them by what it takes.
    let lifted = row
        .cathode_ohms
        .or(row.cathode_ohms_each.map(|o| o * valves_of(row)));
    let lifted = lifted.filter(|_| row.supply.is_none()).zip(row.plate_amps);
    let lift = lifted.map_or(0.0, |(ohms, amps)| {
        let share = if row.cathode_ohms.is_some() {
            1.0
        } else {
            1.0 / valves_of(row).powi(2)
        };
        ohms * share * (amps + row.screen_amps.unwrap_or(0.0))
    });
    let plate = row.supply.or(row.plate.map(|v| v + lift))?;
    let peak = row
        .drive_peak
        .or(row.drive_peak_pair.map(|p| 0.5 * p))
        .or(row.drive_rms.map(|rms| rms * std::f64::consts::SQRT_2))?;
    let rms = peak / std::f64::consts::SQRT_2;
    let load = row.load_ohms?;
    let name = &sheet.name;
    let mut text = String::new();
    let mut line = |words: String| writeln!(text, "{words}").unwrap();
    let valves: &[&str] = if pair { &["1", "2"] } else { &["1"] };
    let single = if pair { "" } else { " single" };
    line(format!("T1 output {load}:8 ohm{single} 1 ohm 100H"));
    line(format!("PS1 supply {plate} V 0.01 ohm"));
    line("B1 - +PS1 - ground".into());
    // a screen resistor is common to the pair; without one the screens have a stiff supply
    let screen = row.screen.filter(|_| row.screen_ohms.is_none());
    let screen = screen
        .map(|v| v + lift)
        .or(row.screen_supply)
        .unwrap_or(plate);
    line(format!("PS2 supply {screen} V 0.01 ohm"));
    match row.screen_ohms {
        Some(ohms) => line(format!("B2 - R2 {ohms} - B3 - +PS2 - ground")),
        None => line("B2 - +PS2 - ground".into()),
    }
    let bias = row
        .grid
        .filter(|_| row.cathode_ohms.is_none() && row.cathode_ohms_each.is_none());
    match bias {
        Some(volts) => {
            line(format!("PS3 supply {} V 0.01 ohm", -volts));
            line("bias - PS3+ - ground".into());
        }
        None => line("bias - ground".into()),
    }
    for v in valves {
        line(format!("V{v} {name}"));
        line(format!("G{v} generator {rms} V {HERTZ} Hz 1 ohm"));
        let plus = if *v == "1" { "+G1" } else { "G2+" };
        line(format!("V{v}.grid - {plus} - bias"));
        line(format!("V{v}.screen - B2"));
        let end = if *v == "1" { "p1" } else { "p2" };
        line(format!("V{v}.plate - T1.{end}"));
        match (row.cathode_ohms, row.cathode_ohms_each) {
            (None, Some(ohms)) => {
                line(format!(
                    "V{v}.cathode - [R1{v} {ohms} | +C1{v} 2000u] - ground"
                ));
            }
            (Some(_), _) => line(format!("V{v}.cathode - k")),
            (None, None) => line(format!("V{v}.cathode - ground")),
        }
    }
    if let Some(ohms) = row.cathode_ohms {
        line(format!("k - [R1 {ohms} | +C1 2000u] - ground"));
    }
    line(format!("T1.{} - B1", if pair { "p0" } else { "p2" }));
    line("T1.s1 - R9 8 - ground".into());
    line("T1.s0 - ground".into());
    Some(text)
}

/// The netlist of a wiring with its transformer made ideal: no leakage, iron or winding capacitance.
fn netlist_of(text: &str) -> Netlist {
    let read = read_one(text);
    assert!(!read.has_errors(), "{text}\n{:?}", read.problems);
    let (conditions, options) = (Conditions::default(), AssembleOptions::default());
    let solved = solve_circuit(&read.circuit, Library::built_in(), &conditions, &options);
    assert!(
        solved.assembly.unsolved.is_empty(),
        "{:?}",
        solved.assembly.unsolved
    );
    let mut netlist = solved.point.netlist;
    for element in &mut netlist.elements {
        match &mut element.law {
            Law::Transformer(transformer) => {
                transformer.ohms_per_turn2 = f64::INFINITY;
                for winding in &mut transformer.windings {
                    winding.leakage = 0.0;
                }
                // copper of the secondary
                if let Some(last) = transformer.windings.last_mut() {
                    last.ohms = 1e-3;
                }
            }
            Law::Capacitor { farads, .. } if element.name == "T1 winding" => *farads = 1e-13,
            _ => {}
        }
    }
    netlist
}

fn valves(netlist: &Netlist) -> Vec<usize> {
    let all = 0..netlist.elements.len();
    all.filter(|&at| matches!(netlist.elements[at].law, Law::Pentode { .. }))
        .collect()
}

fn run(netlist: &Netlist) -> (Figures, Cycle) {
    let mut quiet = netlist.clone();
    for element in &mut quiet.elements {
        if let Law::Alternating { volts, .. } = &mut element.law {
            *volts = 0.0;
        }
    }
    let point = operating::solve(&quiet, None);
    assert!(point.converged());
    let rest: f64 = valves(netlist)
        .iter()
        .map(|&v| solve::flows::terminal_currents(&quiet, &point, v)[0])
        .sum();
    let cycle = Running::at(netlist, &point)
        .unwrap()
        .cycle(1.0 / HERTZ)
        .unwrap();
    let mean = |terminal: usize| -> f64 {
        let all = valves(netlist).into_iter();
        all.map(|v| cycle.currents(v)[terminal].mean).sum()
    };
    let load = netlist
        .elements
        .iter()
        .position(|e| e.name == "R9")
        .unwrap();
    let Law::Resistor { a, b, ohms } = netlist.elements[load].law else {
        panic!("R9 is a resistance");
    };
    let peak = cycle.harmonic(a, b, 1).abs();
    let figures = Figures {
        plate: rest,
        plate_full: mean(0),
        screen_full: mean(1),
        watts: 0.5 * peak * peak / ohms,
        distortion: cycle.distortion(a, b),
    };
    (figures, cycle)
}

/// Found less printed, as a part of the printed, for each figure that the row prints.
fn errors(row: &StageRow, seen: &Figures) -> Vec<(&'static str, f64)> {
    [
        ("plate", row.plate_amps, seen.plate),
        ("plate_full", row.plate_amps_full, seen.plate_full),
        ("screen_full", row.screen_amps_full, seen.screen_full),
        ("watts", row.watts, seen.watts),
    ]
    .into_iter()
    .filter_map(|(word, printed, found)| Some((word, found / printed? - 1.0)))
    .collect()
}

/// Rows of the acceptance that a stage misses: word, error as a fraction (distortion: a factor).
fn misses(row: &StageRow, seen: &Figures, accept: &toml::Value) -> Vec<(&'static str, f64)> {
    let accepted = |word: &str| accept[word].as_float().unwrap();
    let mut all = errors(row, seen);
    all.retain(|(word, error)| error.abs() > accepted(word));
    if let Some(printed) = row.distortion {
        let factor = seen.distortion / printed;
        if factor.max(1.0 / factor) > accepted("distortion") {
            all.push(("distortion", factor));
        }
    }
    all
}

/// Every stage is within the acceptance, or misses it as the file says that the law does.
#[test]
fn output_stages_meet_their_sheets() {
    let text = include_str!("data/output_stages.toml");
    let file: toml::Table = toml::from_str(text).unwrap();
    let accept = &file["accept"];
    let mut known: Vec<(String, f64)> = Vec::new();
    for entry in file
        .get("law_fails")
        .and_then(|v| v.as_array())
        .into_iter()
        .flatten()
    {
        let word = |key: &str| entry[key].as_str().unwrap().to_owned();
        let key = format!("{} {} {}", word("valve"), entry["row"], word("figure"));
        assert!(word("why").len() > 10);
        known.push((key, entry["error"].as_float().unwrap()));
    }
    let (mut stages, mut wrong, mut used) = (0, String::new(), Vec::new());
    let mut squares: BTreeMap<(String, &str), f64> = BTreeMap::new();
    for sheet in Library::built_in().types() {
        for (at, row) in sheet.stage_rows.iter().enumerate() {
            if row.usage == "voltage amplifier" {
                continue;
            }
            let Some(text) = wiring_of(sheet, row) else {
                continue;
            };
            stages += 1;
            let netlist = netlist_of(&text);
            let (seen, cycle) = run(&netlist);
            assert!(
                cycle.stable(),
                "{} {at}: {:?}",
                sheet.name,
                &cycle.multipliers()[..2]
            );
            if std::env::var_os("TUBEWRIGHT_ROWS").is_some() {
                println!("{} {at}: {seen:?}", sheet.name);
            }
            for (figure, error) in errors(row, &seen) {
                *squares.entry((sheet.name.clone(), figure)).or_default() += error * error;
            }
            let missed = misses(row, &seen, accept);
            for (figure, error) in &missed {
                let key = format!("{} {at} {figure}", sheet.name);
                match known.iter().find(|(k, _)| *k == key) {
                    // the law's own error, reproduced
                    Some((_, told)) if (error - told).abs() <= 0.02 * (1.0 + told.abs()) => {}
                    told => writeln!(wrong, "{key}: {error:.3}, told {told:?}").unwrap(),
                }
                used.push(key);
            }
        }
    }
    // Over its rows a law misses by no more than its fit left, so the run adds nothing to that.
    for fit in file["fit"].as_array().unwrap() {
        let valve = fit["valve"].as_str().unwrap();
        let rows = fit["rows"].as_integer().unwrap() as f64;
        for figure in ["plate_full", "screen_full", "watts"] {
            let of_type = squares
                .iter()
                .filter(|((name, f), _)| name.starts_with(valve) && *f == figure);
            let found: f64 = of_type.map(|(_, sum)| 1e4 * sum).sum();
            let left = rows * fit[figure].as_float().unwrap().powi(2);
            // Printed root mean squares have two digits.
            if found == 0.0 || found > 1.1 * left {
                writeln!(wrong, "{valve} {figure}: {found:.1} of {left:.1} %^2").unwrap();
            }
        }
    }
    let idle: Vec<_> = known
        .iter()
        .filter(|(key, _)| !used.contains(key))
        .collect();
    assert!(
        wrong.is_empty() && idle.is_empty(),
        "{wrong}\nnot seen: {idle:?}"
    );
    assert!(stages >= 35, "{stages}");
}
