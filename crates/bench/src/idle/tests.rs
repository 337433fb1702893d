//! Bias against hand formulas, the worked uncertainty case, and the guards.

use super::*;
use crate::sheet::{Line, Outcome};
use crate::testing::example;

fn worked(circuit: &Circuit) -> Idle {
    idle(circuit, Library::built_in(), &Asked::default())
}

/// One EL34 with 1 ohm in its cathode on bench supplies: readings decide, nothing else.
fn bench(readings: &str) -> Circuit {
    wiring::read_one(&format!(
        "V5 EL34\nT2 output 3k4:8 ohm 50 W 60 ohm\nV5.3 - T2.p1\nT2.p0 - B1\nPS1 supply 455 V 1 ohm\nB1 - +PS1 - ground\n\
         V5.8 - R1 1 1% - ground\nV5.1 - V5.8\nV5.4 - R2 1k 5W - B1\nV5.5 - R3 100k - minus\nPS2 supply 38 V 1 ohm\n\
         minus - PS2+ - ground\nreadings set\nmeter 10M 0.5%\n{readings}"
    ))
    .circuit
}

/// Plate dissipation is plate-to-cathode volts times plate current: 447 V and 39.6 mV over 1 ohm with
/// 4.4 V across the measured screen resistor of 1k give 35.2 mA and 15.7 W, 63 % of 25 W (the worked
/// case of two EL34, common practice).
#[test]
fn a_worked_case_by_readings() {
    let circuit = bench("V5.3 447\nV5.8 39.6 mV\nB1 to V5.4 4.40\nV5.4 443\nB1 447\n");
    let i = worked(&circuit);
    let m = i.stages[0].valves[0].measured.as_ref().expect("readings");
    assert!((m.plate_ma - 35.2).abs() < 0.05, "{m:?}");
    assert!((m.plate_w - 15.73).abs() < 0.03, "{m:?}");
    assert!((m.plate_w / 25.0 - 0.63).abs() < 0.005);
    let screen = m.screen_w.expect("the drop was read");
    assert!((screen - 4.4e-3 * 443.0).abs() < 0.01, "{screen}");
}

/// The worked uncertainty: 1 % resistor, 0.5 % + 2 digits on 40.0 mV, the screen share guessed, 0.7 %
/// of plate volts: rectangles over the root of three, twice the root of the sum of squares, 2.6 % with
/// a share of 5 +-1.5 %. Here the share of the EL34 is 13 +-2 %, so the same sum gives
/// `2 sqrt((1 + 1 + 2.3^2 + 0.5^2) / 3)` with 1 % of the resistor and of the meter and 2 / 87.
#[test]
fn a_guessed_screen_share_dominates_the_uncertainty() {
    let circuit = bench("V5.3 450\nV5.8 40.0 mV\nB1 450\n");
    let i = worked(&circuit);
    let m = i.stages[0].valves[0].measured.as_ref().expect("readings");
    let (resistor, meter): (f64, f64) = (1.0 / 0.87, (0.5 + 0.5) / 0.87);
    let share: f64 = 2.0 / 87.0 * 100.0;
    let plate: f64 = 0.5 + 2.0 / 450.0 * 100.0;
    let wanted =
        2.0 * ((resistor.powi(2) + meter.powi(2) + share.powi(2) + plate.powi(2)) / 3.0).sqrt();
    let found = 100.0 * m.plate_w_plus_minus / m.plate_w;
    assert!((found - wanted).abs() < 0.25, "{found} for {wanted}");
    assert!(m.by.contains("usual screen share"));
}

/// `P = (Va - Vk) Ia` from the solved volts and the Ohm's-law current of the cathode resistor, by hand.
#[test]
fn the_solved_dissipation_follows_from_the_volts() {
    let circuit = example("pip");
    let i = worked(&circuit);
    let stage = &i.stages[0];
    assert!(!stage.push_pull && stage.bias == Some(BiasKind::Cathode) && stage.class == Some("A"));
    let v = &stage.valves[0];
    let p = Powered::new(&circuit, Library::built_in(), &Conditions::default()).expect("solved");
    let at = |point: &str| {
        p.volts(circuit.node(point).expect("a point"))
            .expect("volts")
    };
    let cathode = at("V2.8");
    let total = cathode / 466.0;
    let screen = (at("B2") - at("V2.4")) / 470.0;
    let watts = (at("V2.3") - cathode) * (total - screen);
    let found = v.plate_w.expect("solved");
    assert!((found / watts - 1.0).abs() < 5e-3, "{found} for {watts}");
    assert!(v.plate_w_highest > v.plate_w && v.plate_w > v.plate_w_lowest);
}

/// No target, no proposal and no set trimmer above the lowest plate limit of the type.
#[test]
fn nothing_aims_above_the_lowest_plate_limit() {
    for name in ["pip", "curlew", "turnstone"] {
        let i = worked(&example(name));
        assert!(!i.stages.is_empty(), "{name}");
        for stage in &i.stages {
            let window = stage.window.expect("a window");
            assert!(
                window.high <= 100.0 && window.aim <= window.high,
                "{window:?}"
            );
            if stage.bias == Some(BiasKind::Fixed) {
                assert!(window.high <= 70.0 && window.aim <= 70.0);
            }
            for v in &stage.valves {
                let sheet = Library::built_in().find(&v.valve_type).expect("a sheet");
                let lowest = sheet
                    .limits
                    .iter()
                    .filter_map(|s| s.get(LimitQuantity::PlateWatts))
                    .reduce(f64::min)
                    .expect("a limit");
                assert!(v.plate_limit_w.is_some_and(|l| l <= lowest), "{name} {v:?}");
                assert!(stage.target_watts.is_some_and(|t| t <= lowest), "{name}");
                if let Some(fit) = &stage.fit {
                    assert!(
                        fit.plate_w <= lowest && fit.plate_w_highest <= lowest,
                        "{name} {fit:?}"
                    );
                    assert!(fit.rated_w >= fit.dissipates_w / 0.6, "{fit:?}");
                }
            }
        }
    }
}

/// The lower of two types counts: what is in the socket, and what the socket is made for.
#[test]
fn the_socket_s_own_type_bounds_a_stronger_one_in_it() {
    let limit = |text: &str| {
        let text = format!("V2 {text}\nT2 output 5k:8 ohm single\nV2.3 - T2.p1\nT2.p2 - B1\n");
        worked(&wiring::read_one(&text).circuit).stages[0].valves[0].plate_limit_w
    };
    let plain = limit("6V6GT").expect("a limit");
    let strong = limit("6L6GC").expect("a limit");
    assert!(plain < strong);
    assert_eq!(limit("6V6GT = 6L6GC"), Some(plain));
    assert_eq!(limit("6L6GC = 6V6GT"), Some(plain));
}

/// A larger cathode resistor is colder; what is proposed keeps the window when it is put in.
#[test]
fn a_hot_stage_gets_a_larger_resistor_that_holds() {
    let mut circuit = example("pip");
    let r12 = circuit.part("R12").expect("the cathode resistor");
    circuit.parts[r12.0].known.reading = None;
    circuit.parts[r12.0].kind = Kind::Resistor { ohms: Some(180.0) };
    let i = worked(&circuit);
    let stage = &i.stages[0];
    let limit = stage.valves[0].plate_limit_w.expect("a limit");
    assert!(
        stage.valves[0].plate_w.expect("watts") > limit,
        "{:?}",
        stage.valves[0]
    );
    let line = |what: &str| -> Outcome {
        let found = i.sheet.lines().find(|l| l.what().contains(what));
        found.map(Line::outcome).unwrap_or_else(|| panic!("{what}"))
    };
    assert_eq!(line("plate dissipation, computed"), Outcome::Fail);
    let fit = stage.fit.as_ref().expect("a proposal");
    assert!(!fit.keeps && fit.ohms > 180.0, "{fit:?}");
    circuit.parts[r12.0].kind = Kind::Resistor {
        ohms: Some(fit.ohms),
    };
    let after = worked(&circuit);
    let v = &after.stages[0].valves[0];
    assert!(
        v.plate_w.expect("watts") <= limit && v.plate_w_highest.expect("watts") <= limit,
        "{v:?}"
    );
    assert!(
        after.stages[0]
            .fit
            .as_ref()
            .is_some_and(|f| f.keeps || f.ohms <= fit.ohms * 1.3)
    );
}

/// The Turnstone's trimmer is a rheostat at the foot of its divider: open, the volts grow and the
/// valves run cold. A wiper that feeds the grids alone fails hot.
#[test]
fn an_open_wiper_is_told_cold_or_hot() {
    let circuit = example("turnstone");
    let i = worked(&circuit);
    let control = i.stages[0].control.as_ref().expect("a trimmer");
    assert_eq!(control.fails_cold, Some(true), "{control:?}");
    assert!(control.wiper_open_w.is_some());
    let now = control.now.expect("solved");
    assert!(now.hottest_w > now.coldest_w);
    let highest = control.highest.expect("solved");
    assert!(highest.hottest_w > now.hottest_w);
    let hot = "V5 EL34\nT2 output 3k4:8 ohm 50 W 60 ohm\nV5.3 - T2.p1\nT2.p0 - B1\nPS1 supply 455 V 1 ohm\nB1 - +PS1 - ground\n\
        V5.8 - R1 1 1% - ground\nV5.1 - V5.8\nV5.4 - R2 1k 5W - B1\nV5.5 - R3 100k - bias\nbias - C9+ 47u 100V - ground\n\
        PS2 supply 60 V 1 ohm\nminus - PS2+ - ground\nBIAS pot 50k linear\nminus - BIAS.3\nBIAS.1 - ground\nBIAS.2 - bias\n\
        minus - C8+ 47u 100V - ground\n";
    let i = worked(&wiring::read_one(hot).circuit);
    let control = i.stages[0].control.as_ref().expect("a trimmer");
    assert_eq!(control.fails_cold, Some(false), "{control:?}");
    let failed = i
        .sheet
        .lines()
        .any(|l| l.what().contains("wiper open") && l.outcome() == Outcome::Fail);
    assert!(failed);
}

/// Two readings of 1 ohm, 40 and 30 mV: 29 % apart by hand, to be matched again.
#[test]
fn a_pair_out_of_balance_fails() {
    let text = "V5 EL34\nV6 EL34\nT2 output 3k4:8 ohm 50 W 60 ohm\nV5.3 - T2.p1\nV6.3 - T2.p2\nT2.p0 - B1\nPS1 supply 455 V 1 ohm\n\
        B1 - +PS1 - ground\nV5.8 - R1 1 1% - ground\nV6.8 - R4 1 1% - ground\nV5.1 - V5.8\nV6.1 - V6.8\n\
        V5.4 - R2 1k 5W - B1\nV6.4 - R5 1k 5W - B1\nV5.5 - R3 100k - minus\nV6.5 - R6 100k - minus\n\
        PS2 supply 38 V 1 ohm\nminus - PS2+ - ground\n\
        readings set\nV5.3 447\nV6.3 447\nV5.8 40.0 mV\nV6.8 30.0 mV\n";
    let i = worked(&wiring::read_one(text).circuit);
    let stage = &i.stages[0];
    assert_eq!((stage.valves[0].side, stage.valves[1].side), (1, 2));
    let apart = stage.balance_percent.expect("both sides");
    assert!((apart - 100.0 * 10.0 / 35.0).abs() < 0.1, "{apart}");
    let line = i
        .sheet
        .lines()
        .find(|l| l.what().contains("two sides"))
        .expect("a line");
    assert_eq!(line.outcome(), Outcome::Fail);
}

/// Push-pull idling below twice the supply over the load is no class A (textbook).
#[test]
fn classes_by_idle_current() {
    assert_eq!(worked(&example("curlew")).stages[0].class, Some("AB"));
    assert_eq!(worked(&example("turnstone")).stages[0].class, Some("AB"));
}

#[test]
fn half_a_tracing_names_what_is_missing() {
    for text in [
        "",
        "V2 6V6GT\n",
        "V2 6V6GT\nT2 output 5k:8 ohm single\nV2.3 - T2.p1\n",
    ] {
        let i = worked(&wiring::read_one(text).circuit);
        assert!(!i.sheet.missing.is_empty(), "{text}");
        assert_eq!(i.sheet.count(Outcome::Pass), 0);
        assert!(i.sheet.caution().contains("holds voltages that kill"));
    }
}
