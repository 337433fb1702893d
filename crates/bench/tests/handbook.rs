//! Handbook values through the path of a user's file: a wiring typed, read, solved, compared.
//!
//! Values, sources and accepted errors are in `data/handbook.toml`; run with `--nocapture` for
//! the table of what was computed beside what is printed.

#![allow(
    clippy::unwrap_used,
    reason = "the data file and the wirings are the test's own"
)]
#![allow(
    clippy::print_stdout,
    reason = "the table of computed beside printed is what one comes for"
)]

mod support;

use serde::Deserialize;
use solve::Solved;
use solve::response::SmallSignal;
use std::collections::BTreeMap;
use support::solved;
use wiring::Circuit;

#[derive(Deserialize)]
struct Handbook {
    source: BTreeMap<String, Source>,
    chart: Vec<Chart>,
    e_series: EachSeries,
    colour_code: Rows<BandRow>,
    tapers: Rows<TaperRow>,
}

#[derive(Deserialize)]
#[allow(non_snake_case, reason = "named as the standard names them")]
struct EachSeries {
    E6: Vec<u16>,
    E12: Vec<u16>,
    E24: Vec<u16>,
    E96: Vec<u16>,
}

#[derive(Deserialize)]
struct Rows<R> {
    row: Vec<R>,
}

#[derive(Deserialize)]
struct BandRow {
    bands: String,
    ohms: f64,
    percent: f64,
}

#[derive(Deserialize)]
struct TaperRow {
    taper: String,
    percent: f64,
}

#[derive(Deserialize)]
struct Source {
    text: String,
    status: String,
}

#[derive(Deserialize)]
struct Chart {
    valve: String,
    #[serde(default)]
    name: String,
    source: String,
    accept: Accept,
    why: String,
    row: Vec<Row>,
}

#[derive(Deserialize)]
struct Accept {
    rms_percent: Option<f64>,
    worst_percent: f64,
    current_percent: Option<f64>,
}

#[derive(Deserialize)]
struct Row {
    supply: f64,
    plate: f64,
    next_grid: f64,
    cathode: f64,
    screen: Option<f64>,
    plate_ma: Option<f64>,
    cathode_ma: Option<f64>,
    plate_to_cathode: Option<f64>,
    cathode_volts: Option<f64>,
    gain: f64,
}

fn handbook() -> Handbook {
    toml::from_str(include_str!("../data/handbook.toml")).unwrap()
}

/// Volts at `point` per volt of G1, with the sign of its real part.
fn gain(circuit: &Circuit, solved: &Solved, point: &str, hertz: f64) -> f64 {
    let netlist = &solved.point.netlist;
    let small = SmallSignal::new(netlist, &solved.point.solution).unwrap();
    let source = solved.assembly.elements_of["G1"][0];
    let at = small.at(hertz).unwrap().per_volt(source);
    let phasor = at[solved.node(circuit, point).unwrap()];
    phasor.abs().copysign(phasor.re)
}

/// Pins by type: plate, grid, cathode, and for pentodes screen and what goes to the cathode.
fn pins(valve: &str) -> (u8, u8, u8, u8, &'static str) {
    match valve {
        "6SN7GT" => (2, 1, 3, 0, ""),
        "6SJ7" => (8, 4, 5, 6, "V1.3 - V1.5\nV1.1 - ground\n"),
        "EF86" => (6, 9, 3, 1, "V1.8 - V1.3\nV1.2 - ground\nV1.7 - ground\n"),
        _ => (1, 2, 3, 0, ""),
    }
}

/// The chart's circuit as somebody would type it.
fn wiring_of(valve: &str, row: &Row) -> String {
    let (plate, grid, cathode, screen, rest) = pins(valve);
    let fed = row.screen.map_or_else(String::new, |ohms| {
        format!("V1.{screen} - R4 {ohms} - B1\nV1.{screen} - C3 10u film - ground\n")
    });
    format!(
        "PS1 supply {} V\nG1 generator 50 mV 1 kHz\nV1 {valve}\n\
         B1 - +PS1 - ground\n\
         V1.{grid} - +G1 - ground\n\
         V1.{plate} - R1 {} - B1\n\
         V1.{cathode} - [R2 {} | C1 1000u film] - ground\n\
         V1.{plate} - C2 1u film - out - R3 {} - ground\n{fed}{rest}",
        row.supply, row.plate, row.cathode, row.next_grid
    )
}

/// What one chart came to.
struct Outcome {
    rms: f64,
    mean: f64,
    worst: f64,
    failures: Vec<String>,
}

/// Works a chart out row by row, prints it, and returns its errors in percent.
fn work_out(chart: &Chart, sources: &BTreeMap<String, Source>) -> Outcome {
    let source = &sources[&chart.source];
    println!(
        "\n{} {}: {} ({})\n  accepted: {}",
        chart.valve, chart.name, source.text, source.status, chart.why
    );
    let mut errors = Vec::new();
    let mut failures = Vec::new();
    let mut compare = |row: &str, what: &str, computed: f64, printed: f64, accepted: f64| {
        let error = 100.0 * (computed / printed - 1.0);
        println!("  {row:34} {what:10} {computed:9.3} {printed:9.3} {error:+7.2} %");
        if error.abs() > accepted {
            failures.push(format!(
                "{row}: {what} {computed:.4}, printed {printed}, {error:+.2} %"
            ));
        }
        error
    };
    for row in &chart.row {
        let (circuit, solved) = solved(&wiring_of(&chart.valve, row));
        let (plate, _, cathode, ..) = pins(&chart.valve);
        let volts = |pin: u8| solved.volts(&circuit, &format!("V1.{pin}")).unwrap();
        let (up, uk) = (volts(plate), volts(cathode));
        let name = format!(
            "{} V {:.0}k {:.0}k {}",
            row.supply,
            row.plate / 1e3,
            row.next_grid / 1e3,
            row.cathode
        );
        let found = -gain(&circuit, &solved, "out", 1e3);
        let worst = chart.accept.worst_percent;
        errors.push(compare(&name, "gain", found, row.gain, worst));
        let accepted = chart.accept.current_percent.unwrap_or(f64::NAN);
        let steady = [
            (
                "plate mA",
                1e3 * (row.supply - up) / row.plate,
                row.plate_ma,
            ),
            ("cathode mA", 1e3 * uk / row.cathode, row.cathode_ma),
            ("plate V", up - uk, row.plate_to_cathode),
            ("cathode V", uk, row.cathode_volts),
        ];
        for (what, computed, printed) in steady {
            if let Some(printed) = printed {
                assert!(accepted.is_finite(), "{name}: no accepted error for {what}");
                compare(&name, what, computed, printed, accepted);
            }
        }
    }
    let count = errors.len() as f64;
    let outcome = Outcome {
        rms: (errors.iter().map(|e| e * e).sum::<f64>() / count).sqrt(),
        mean: errors.iter().sum::<f64>() / count,
        worst: errors
            .iter()
            .fold(0.0, |w, e| if e.abs() > f64::abs(w) { *e } else { w }),
        failures,
    };
    println!(
        "  {} rows: rms {:.2} %, mean {:+.2} %, worst {:+.2} %",
        errors.len(),
        outcome.rms,
        outcome.mean,
        outcome.worst
    );
    outcome
}

/// Holds the chart of one valve and name against its accepted errors.
fn hold(valve: &str, name: &str, rows: usize) {
    let book = handbook();
    let chart = book
        .chart
        .iter()
        .find(|c| c.valve == valve && c.name == name)
        .unwrap();
    assert_eq!(chart.row.len(), rows);
    let outcome = work_out(chart, &book.source);
    assert!(outcome.failures.is_empty(), "{:#?}", outcome.failures);
    if let Some(most) = chart.accept.rms_percent {
        assert!(outcome.rms <= most, "rms {:.2} %", outcome.rms);
    }
}

#[test]
fn chart_of_the_12ax7() {
    hold("12AX7", "", 18);
}

#[test]
fn chart_of_the_12au7() {
    hold("12AU7", "", 18);
}

#[test]
fn chart_of_the_6sn7gt_which_is_doubtful() {
    hold("6SN7GT", "", 18);
}

#[test]
fn chart_of_the_6sj7() {
    hold("6SJ7", "", 6);
}

#[test]
fn table_of_the_ecc83() {
    hold("ECC83", "", 7);
}

#[test]
fn row_of_the_ef86() {
    hold("EF86", "", 1);
}

#[test]
fn operating_points_of_the_12ax7_as_computed_elsewhere() {
    hold("12AX7", "regression", 6);
}

/// A triode of constant mu and rp between three points, from ideal amplifiers and resistors:
/// `i = (va + mu vg - (mu + 1) vk) / rp` leaves the plate and reaches the cathode.
///
/// Three amplifiers feed each of the two points through rp, which takes `3 v / rp` back from it;
/// the gain of the point's own amplifier makes up for that. A point at signal ground is `ground`
/// and needs none.
fn linear_triode(
    number: usize,
    plate: &str,
    grid: &str,
    cathode: &str,
    mu: f64,
    rp: f64,
) -> String {
    let mut text = String::new();
    let mut next = 10 * number;
    for (to, sign, others) in [
        (
            plate,
            -1.0,
            [(grid, mu), (plate, 1.0), (cathode, -(mu + 1.0))],
        ),
        (
            cathode,
            1.0,
            [(grid, mu), (plate, 1.0), (cathode, -(mu + 1.0))],
        ),
    ] {
        if to == "ground" {
            continue;
        }
        let fed: Vec<_> = others
            .iter()
            .filter(|(from, _)| *from != "ground")
            .collect();
        for (from, gain) in &fed {
            let own = if *from == to { fed.len() as f64 } else { 0.0 };
            text += &format!(
                "A{next} gain {}\n{from} - A{next}.in\nA{next}.out - R{next} {rp} - {to}\n",
                sign * gain + own
            );
            next += 1;
        }
    }
    text
}

/// Compares within `percent`; printed values have four to five digits.
fn near(name: &str, computed: f64, printed: f64, percent: f64) {
    let error = 100.0 * (computed / printed - 1.0);
    println!("  {name:50} {computed:12.5} {printed:12.5} {error:+8.4} %");
    assert!(
        error.abs() <= percent,
        "{name}: {computed}, printed {printed}"
    );
}

fn ohms_at(circuit: &Circuit, solved: &Solved, point: &str, hertz: f64) -> f64 {
    let small = SmallSignal::new(&solved.point.netlist, &solved.point.solution).unwrap();
    let node = solved.node(circuit, point).unwrap();
    small.at(hertz).unwrap().impedance(node, 0).abs()
}

const DRIVE: &str = "G1 generator 1 V 1 kHz\ng - +G1 - ground\n";

/// Percent: half the last printed digit is 0.018 % at worst (28.48).
const PRINTED: f64 = 0.02;

/// `A = mu RL / (rp + RL)`, `Rout = rp RL / (rp + RL)`; exact circuit theory (F.E. Terman, Radio
/// Engineers' Handbook, 1943, from memory, not seen).
#[test]
fn common_cathode_stage_by_formula() {
    let text = format!(
        "{DRIVE}{}p - R1 100k - ground\n",
        linear_triode(1, "p", "g", "ground", 100.0, 62_500.0)
    );
    let (circuit, solved) = solved(&text);
    near(
        "common cathode, gain",
        -gain(&circuit, &solved, "p", 1e3),
        61.54,
        PRINTED,
    );
    near(
        "common cathode, output ohms",
        ohms_at(&circuit, &solved, "p", 1e3),
        38_462.0,
        PRINTED,
    );
}

/// `A = mu Rk / (rp + (mu + 1) Rk)`; source as above.
#[test]
fn cathode_follower_by_formula() {
    let text = format!(
        "{DRIVE}{}k - R1 100k - ground\n",
        linear_triode(1, "ground", "g", "k", 100.0, 62_500.0)
    );
    let (circuit, solved) = solved(&text);
    near(
        "cathode follower, gain",
        gain(&circuit, &solved, "k", 1e3),
        0.98401,
        PRINTED,
    );
    near(
        "cathode follower, output ohms",
        ohms_at(&circuit, &solved, "k", 1e3),
        615.01,
        PRINTED,
    );
}

/// `A = mu R / (rp + (mu + 2) R)` to each output; source as above.
#[test]
fn cathodyne_by_formula() {
    let text = format!(
        "{DRIVE}{}p - R1 56k - ground\nk - R2 56k - ground\n",
        linear_triode(1, "p", "g", "k", 100.0, 62_500.0)
    );
    let (circuit, solved) = solved(&text);
    near(
        "cathodyne, plate",
        -gain(&circuit, &solved, "p", 1e3),
        0.96978,
        PRINTED,
    );
    near(
        "cathodyne, cathode",
        gain(&circuit, &solved, "k", 1e3),
        0.96978,
        PRINTED,
    );
    // Equal loads on both outputs change together, so half of what is seen between the two.
    let small = SmallSignal::new(&solved.point.netlist, &solved.point.solution).unwrap();
    let node = |point: &str| solved.node(&circuit, point).unwrap();
    let both = small.at(1e3).unwrap().impedance(node("p"), node("k")).abs();
    near(
        "cathodyne, output ohms with equal loads",
        both / 2.0,
        606.1,
        PRINTED,
    );
}

/// `|A2 / A1| = (mu + 1) Rt / ((mu + 1) Rt + rp + R)`, second grid at signal ground; source as above.
#[test]
fn long_tailed_pair_by_formula() {
    let pair = |first: &str| {
        format!(
            "{DRIVE}{}{}p - R1 {first} - ground\nq - R2 100k - ground\nk - R3 10k - ground\n",
            linear_triode(1, "p", "g", "k", 100.0, 62_500.0),
            linear_triode(2, "q", "ground", "k", 100.0, 62_500.0)
        )
    };
    let (circuit, equal) = solved(&pair("100k"));
    let first = -gain(&circuit, &equal, "p", 1e3);
    let second = gain(&circuit, &equal, "q", 1e3);
    near("long-tailed pair, first output", first, 33.06, PRINTED);
    near("long-tailed pair, second output", second, 28.48, PRINTED);
    near("long-tailed pair, ratio", second / first, 0.86141, PRINTED);
    near("long-tailed pair, sum", first + second, 61.538, PRINTED);
    let (circuit, level) = solved(&pair("86141"));
    let (first, second) = (
        -gain(&circuit, &level, "p", 1e3),
        gain(&circuit, &level, "q", 1e3),
    );
    near(
        "long-tailed pair, 86 k for equal outputs",
        second / first,
        1.0,
        PRINTED,
    );
}

/// Frequency where the gain is `part` of what it is at `reference`, by halving the decades
/// between `low` and `high`, over which it must rise.
fn where_it_is(
    circuit: &Circuit,
    solved: &Solved,
    point: &str,
    wanted: f64,
    low: f64,
    high: f64,
) -> f64 {
    let (mut low, mut high) = (low.ln(), high.ln());
    for _ in 0..60 {
        let middle: f64 = 0.5 * (low + high);
        if gain(circuit, solved, point, middle.exp()).abs() < wanted {
            low = middle;
        } else {
            high = middle;
        }
    }
    (0.5 * (low + high)).exp()
}

/// Zero `1 / (2 pi Rk Ck)`, pole higher by `1 + Rk (mu + 1) / (rp + RL)`; source as above.
///
/// At the zero the gain is `sqrt(2 / (1 + 1/r^2))` of its least, at the pole
/// `sqrt((1 + 1/r^2) / 2)` of its most, r the ratio; both are read off the response.
#[test]
fn cathode_bypass_by_formula() {
    let rows = [
        (1500.0, 25.0, 4.244, 8.141, 1.9182, Some((60.61, 31.60))),
        (2700.0, 0.68, 86.69, 229.96, 2.6527, None),
    ];
    for (rk, microfarads, zero, pole, ratio, gains) in rows {
        let text = format!(
            "{DRIVE}{}p - R1 100k - ground\nk - [R2 {rk} | C1 {microfarads}u film] - ground\n",
            linear_triode(1, "p", "g", "k", 100.0, 65e3)
        );
        let (circuit, solved) = solved(&text);
        let least = gain(&circuit, &solved, "p", 1e-4 * zero).abs();
        let most = gain(&circuit, &solved, "p", 1e4 * pole).abs();
        if let Some((bypassed, unbypassed)) = gains {
            near("cathode bypass, gain far above", most, bypassed, PRINTED);
            near("cathode bypass, gain far below", least, unbypassed, PRINTED);
        }
        near("cathode bypass, ratio", most / least, ratio, PRINTED);
        let r2 = (most / least).powi(2);
        let at_zero = least * (2.0 / (1.0 + 1.0 / r2)).sqrt();
        let at_pole = most * ((1.0 + 1.0 / r2) / 2.0).sqrt();
        let hertz = |wanted| where_it_is(&circuit, &solved, "p", wanted, 1e-2 * zero, 1e2 * pole);
        near(
            "cathode bypass, zero in hertz",
            hertz(at_zero),
            zero,
            PRINTED,
        );
        near(
            "cathode bypass, pole in hertz",
            hertz(at_pole),
            pole,
            PRINTED,
        );
    }
}

/// `1 / (2 pi C (Rout + Rg))`, 3 dB below the gain far above; source as above.
#[test]
fn coupling_corner_by_formula() {
    let text =
        "G1 generator 1 V 1 kHz 38462 ohm\np - +G1 - ground\np - C1 22n - out - R1 1M - ground\n";
    let (circuit, solved) = solved(text);
    let half = gain(&circuit, &solved, "out", 1e6) / 2f64.sqrt();
    let corner = where_it_is(&circuit, &solved, "out", half, 1e-2, 1e3);
    near("coupling corner, hertz", corner, 6.966, PRINTED);
}

/// The lists of IEC 60063 (from memory, not seen), whole.
#[test]
fn preferred_numbers_are_those_of_the_standard() {
    use wiring::units::series::Series;
    let listed = handbook().e_series;
    assert_eq!(Series::E6.numbers(), listed.E6);
    assert_eq!(Series::E12.numbers(), listed.E12);
    assert_eq!(Series::E24.numbers(), listed.E24);
    assert_eq!(Series::E96.numbers(), listed.E96);
}

/// Worked examples of IEC 60062 (from memory, not seen), read and written.
#[test]
fn colour_bands_mark_what_the_standard_says() {
    use wiring::units::colour::{bands, colours, marked};
    for row in handbook().colour_code.row {
        let as_typed = colours(&row.bands).unwrap();
        let resistor = marked(&as_typed).unwrap();
        assert!(
            (resistor.ohms / row.ohms - 1.0).abs() < 1e-12,
            "{}: {resistor:?}",
            row.bands
        );
        assert_eq!(resistor.percent, row.percent, "{}", row.bands);
        assert_eq!(
            bands(row.ohms, row.percent),
            Some(as_typed),
            "{}",
            row.bands
        );
    }
}

/// A pot at half rotation as a divider typed in a wiring; common practice, no source.
#[test]
fn tapers_at_half_rotation() {
    for row in handbook().tapers.row {
        let text = format!(
            "PS1 supply 100 V\nVOLUME pot 1M {}\nset VOLUME 5\n\
             VOLUME.3 - +PS1 - ground\nVOLUME.1 - ground\nVOLUME.2 - out\n\
             out - R1 1000M - ground\n",
            row.taper
        );
        let (circuit, solved) = solved(&text);
        let volts = solved.volts(&circuit, "out").unwrap();
        // 1000 megohm on a track of 1 megohm takes 0.025 % at most.
        near(&format!("pot {}", row.taper), volts, row.percent, 0.1);
    }
}

/// `Zp = (Np / Ns)^2 Zs` by a transformer typed with its impedances; exact circuit theory.
#[test]
fn transformer_reflects_its_load() {
    for (ratio, load, primary) in [
        (20.31, 16.0, 6600.0),
        (28.72, 8.0, 6598.7),
        (35.36, 4.0, 5001.3),
    ] {
        let rated = ratio * ratio * load;
        // Typed for another load than it carries, so that the turns are what is tried.
        let text = format!(
            "G1 generator 1 V 1 kHz 1000 ohm\nT1 output {}:{} ohm single ideal\n\
             T1.p1 - +G1 - ground\nT1.p2 - ground\nT1.s0 - ground\nT1.s1 - R1 {load} - ground\n",
            2.0 * rated,
            2.0 * load
        );
        let (circuit, solved) = solved(&text);
        let seen = ohms_at(&circuit, &solved, "T1.p1", 1e3);
        let alone = 1.0 / (1.0 / seen - 1e-3);
        near(&format!("1:{ratio} on {load} ohm"), alone, primary, PRINTED);
    }
}
