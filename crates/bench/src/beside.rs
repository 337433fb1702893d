//! Measured beside computed: what a recording says of an amplifier next to what its wiring promises.
//!
//! Every figure comes with its uncertainty, the computed one with a band in which 95 of 100 sound amplifiers of this wiring
//! lie, and the two together with a word, as on the chart: inside, doubtful, outside. Knows no recording: the figures
//! come in as numbers. What a band rests on is said with it; where it is a judgement of ours, it says so.

use crate::chart::{Band, Word};
use crate::driven::{Bench, Driven};
use crate::power::{PowerRequest, power};
use crate::powered::Asked;
use crate::voicing::{VoicingRequest, band_against, ends, inputs, loudspeaker, plugged, voicing};
use serde::Serialize;
use solve::netlist::Law;
use solve::response::SmallSignal;
use wiring::circuit::Circuit;
use wiring::sheet::Library;

#[cfg(test)]
mod tests;

/// Standard deviations to either side of the middle that hold 95 of 100.
const OF_95: f64 = 1.96;
/// What a player, a recorder and the analysis leave uncertain in a response where noise leaves nothing, dB (our choice:
/// the analysis is held to a tenth).
const LEAST_DB: f64 = 0.1;
/// Where clean watts of sound amplifiers lie about the computed, as part of them: output stages of the data sheets are met
/// within 12 % (docs/time.md), and their valves differ (common practice, no source).
const POWER_BAND: f64 = 0.25;
/// The same of distortion well above the noise, as a factor: that of the data sheets is met within a factor of two.
const DISTORTION_FACTOR: f64 = 2.0;
/// A tremolo's pace hangs on three capacitors and their resistors: this part either way (common practice, no source).
const PACE_BAND: f64 = 0.15;
/// Its depth, in per cent of depth either way (common practice, no source).
const DEPTH_BAND: f64 = 15.0;
/// Ripple at the loudspeaker hangs on how well the output stage is balanced: dB either way (common practice, no source).
const HUM_BAND: f64 = 6.0;
/// Hiss of real valves over what heat and shot noise make: dB either way (common practice, no source).
const HISS_BAND: f64 = 6.0;
/// A full-wave rectifier's ripple is nearly a sawtooth: its first harmonic over all of it, `sqrt(6) / pi`.
const FIRST_OF_SAWTOOTH: f64 = 0.779_696_8;

/// One figure, measured and computed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Pair {
    /// What it is.
    pub what: String,
    /// At which frequency, hertz.
    pub hz: Option<f64>,
    /// `dB`, `W`, `%`, `Hz`.
    pub unit: &'static str,
    /// As measured, and what that may be wrong by (95 %).
    pub measured: f64,
    /// That.
    pub uncertainty: f64,
    /// As computed.
    pub computed: f64,
    /// 95 of 100 sound amplifiers lie between these.
    pub low: f64,
    /// And this.
    pub high: f64,
    /// What the two say together.
    pub verdict: Word,
}

impl Pair {
    fn new(
        what: impl Into<String>,
        (hz, unit): (Option<f64>, &'static str),
        (measured, uncertainty): (f64, f64),
        (computed, low, high): (f64, f64, f64),
    ) -> Self {
        let band = Band {
            centre: computed,
            down: ((computed - low) / OF_95).max(0.0),
            up: ((high - computed) / OF_95).max(0.0),
        };
        Self {
            what: what.into(),
            hz,
            unit,
            measured,
            uncertainty,
            computed,
            low,
            high,
            verdict: band.judge(measured, uncertainty / OF_95),
        }
    }
}

/// Figures of one recording beside the computed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Beside {
    /// The jack or generator.
    pub from: String,
    /// Where it is taken.
    pub to: String,
    /// The figures.
    pub pairs: Vec<Pair>,
    /// What they amount to, in a sentence.
    pub words: String,
    /// What was assumed, what the bands rest on.
    pub notes: Vec<String>,
}

impl Beside {
    fn new(from: String, to: String, pairs: Vec<Pair>, notes: Vec<String>) -> Self {
        let count = |word: Word| pairs.iter().filter(|p| p.verdict == word).count();
        let (outside, doubtful) = (count(Word::Outside), count(Word::Doubtful));
        let words = if outside + doubtful == 0 {
            format!(
                "Measured and computed agree: all {} figures are inside.",
                pairs.len()
            )
        } else {
            let far = pairs
                .iter()
                .filter(|p| p.verdict != Word::Inside)
                .max_by(|a, b| off(a).total_cmp(&off(b)));
            format!(
                "Of {} figures {} are outside and {} doubtful{}.",
                pairs.len(),
                outside,
                doubtful,
                far.map_or_else(String::new, |p| format!(
                    "; farthest {}, {} by {:.1} {}",
                    p.what,
                    if p.measured > p.computed {
                        "high"
                    } else {
                        "low"
                    },
                    (p.measured - p.computed).abs(),
                    p.unit
                ))
            )
        };
        Self {
            from,
            to,
            pairs,
            words,
            notes,
        }
    }
}

/// How far apart, in half-widths of band and uncertainty.
fn off(p: &Pair) -> f64 {
    let side = if p.measured < p.computed {
        p.computed - p.low
    } else {
        p.high - p.computed
    };
    (p.measured - p.computed).abs() / side.hypot(p.uncertainty).max(1e-12)
}

/// Of which amplifier, and between which ends.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct BesideRequest {
    /// Conditions, knobs among them.
    pub asked: Asked,
    /// Jack or generator; the input heard loudest unless told.
    pub from: Option<String>,
    /// The loudspeaker unless told.
    pub to: Option<String>,
    /// The recording was made on a resistor in place of the loudspeaker.
    pub resistive_load: bool,
}

/// The jack that is meant: as told, else the input heard loudest at 1 kHz.
fn jack(
    circuit: &Circuit,
    library: &Library,
    request: &BesideRequest,
) -> Result<(String, String), String> {
    let to = match &request.to {
        Some(to) => to.clone(),
        None => loudspeaker(circuit)
            .ok_or("no loudspeaker is traced at both ends; type one, `LS1 speaker 8 ohm`")?,
    };
    if let Some(from) = &request.from {
        return Ok((from.clone(), to));
    }
    let mut loudest: Option<(f64, String)> = None;
    let mut why = "no input jack is traced; name a jack or a generator".to_owned();
    for from in inputs(circuit) {
        let asked = voicing_request(request, &from, &to, vec![1000.0]);
        match voicing(circuit, library, &asked) {
            Ok(found) => {
                let db = found.db.first().copied().unwrap_or(f64::NEG_INFINITY);
                if loudest.as_ref().is_none_or(|l| db > l.0 + 1e-9) {
                    loudest = Some((db, from));
                }
            }
            Err(reason) => why = reason,
        }
    }
    loudest.map(|l| (l.1, to)).ok_or(why)
}

fn voicing_request(
    request: &BesideRequest,
    from: &str,
    to: &str,
    hertz: Vec<f64>,
) -> VoicingRequest {
    VoicingRequest {
        asked: request.asked.clone(),
        from: from.to_owned(),
        to: to.to_owned(),
        hertz,
        source_ohms: 0.0,
        guitar: None,
        resistive_load: request.resistive_load,
    }
}

/// A measured response beside the voicing: hertz, dB, what noise leaves uncertain in dB. Where `absolute` is not so, both
/// are taken against 1 kHz, and what moves all frequencies alike drops out of the band.
///
/// # Errors
/// As [`voicing`], and where nothing was measured.
pub fn response(
    circuit: &Circuit,
    library: &Library,
    request: &BesideRequest,
    measured: &[(f64, f64, f64)],
    absolute: bool,
) -> Result<Beside, String> {
    let (from, to) = jack(circuit, library, request)?;
    let hertz: Vec<f64> = measured.iter().map(|m| m.0).collect();
    let asked = voicing_request(request, &from, &to, hertz);
    let found = voicing(circuit, library, &asked)?;
    let reference = (0..measured.len())
        .min_by(|&a, &b| {
            let far = |i: usize| (measured[i].0 / 1000.0).ln().abs();
            far(a).total_cmp(&far(b))
        })
        .ok_or("nothing was measured")?;
    let against = (!absolute).then_some(reference);
    let band = band_against(circuit, library, &asked, against)?;
    let zero = |list: &[f64]| against.and_then(|i| list.get(i)).copied().unwrap_or(0.0);
    let shift = (against.map_or(0.0, |i| measured[i].1), zero(&found.db));
    let pairs = measured
        .iter()
        .zip(found.db.iter().zip(&band))
        .enumerate()
        .filter(|(i, _)| against != Some(*i))
        .map(|(_, (&(hertz, db, doubt), (&computed, &band)))| {
            let computed = computed - shift.1;
            Pair::new(
                format!("response at {hertz:.0} Hz"),
                (Some(hertz), "dB"),
                (db - shift.0, doubt.hypot(LEAST_DB)),
                (computed, computed - band, computed + band),
            )
        })
        .collect();
    let mut notes = vec![
        if absolute {
            "dB are volts at the load over open-circuit volts at the jack.".to_owned()
        } else {
            format!(
                "dB are against {:.0} Hz on both sides, because the player's volts are not known.",
                measured[reference].0
            )
        },
        "The band is what the tolerances of parts and valves do to the curve (docs/bands.md), first order.".to_owned(),
    ];
    notes.extend(found.notes);
    Ok(Beside::new(from, to, pairs, notes))
}

/// A step as it was measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StepRead {
    /// The tone, hertz.
    pub hertz: f64,
    /// Its r.m.s. volts at the jack, where the player's volts are known.
    pub jack_volts: Option<f64>,
    /// Watts into the load.
    pub watts: f64,
    /// Total harmonic distortion, a ratio.
    pub distortion: f64,
    /// What noise leaves uncertain of it, dB.
    pub uncertainty_db: f64,
}

/// Measured steps of level beside the state that repeats itself under each of them; where the player's volts are not
/// known, only the loudest clean level of each tone. `calibrated_to` is the part by which volts at the load may be
/// wrong.
///
/// # Errors
/// As [`crate::power::power`].
pub fn steps(
    circuit: &Circuit,
    library: &Library,
    request: &BesideRequest,
    measured: &[StepRead],
    (calibrated_to, clean): (f64, f64),
    watch: &mut dyn FnMut(&str) -> bool,
) -> Result<Beside, String> {
    let mut pairs = Vec::new();
    let mut notes = vec![format!(
        "The load counts as a resistor; watts of sound amplifiers lie within {:.0} % of the computed, distortion within a factor \
             of {DISTORTION_FACTOR} (data sheets are met within 12 % and a factor of two; spread of valves: common practice, no source).",
        100.0 * POWER_BAND
    )];
    let (bench_from, bench_to);
    if measured.iter().all(|s| s.jack_volts.is_some()) {
        let bench = Bench::new(circuit, library, &request.asked, request.from.as_deref())?;
        let load = bench
            .loads
            .first()
            .ok_or("no loudspeaker is traced at both ends")?;
        let (a, b) = load.ends;
        (bench_from, bench_to) = (bench.from.clone(), load.name.clone());
        let mut near: Option<(f64, Driven)> = None;
        for step in measured {
            let Some(volts) = step.jack_volts else {
                continue;
            };
            let last = near.as_ref().filter(|n| n.0 == step.hertz).map(|n| &n.1);
            let said = format!("a tone of {:.0} Hz at {volts:.4} V", step.hertz);
            let hertz = step.hertz.round();
            let driven = match bench.drive(volts, hertz, last, &mut || watch(&said)) {
                Ok(driven) => driven,
                Err(why) => {
                    notes.push(format!("{said} was left out: {why}"));
                    continue;
                }
            };
            let watts = bench.watts(&driven);
            let at = format!("{hertz:.0} Hz, {:.2} mV at the jack", 1000.0 * volts);
            pairs.push(Pair::new(
                format!("watts at {at}"),
                (Some(step.hertz), "W"),
                (step.watts, step.watts * 2.0 * calibrated_to),
                (
                    watts,
                    watts * (1.0 - POWER_BAND),
                    watts * (1.0 + POWER_BAND),
                ),
            ));
            let distortion = 100.0 * driven.cycle.distortion(a, b);
            let read = 100.0 * step.distortion;
            pairs.push(Pair::new(
                format!("distortion at {at}"),
                (Some(step.hertz), "%"),
                (
                    read,
                    read * (10_f64.powf(step.uncertainty_db / 20.0) - 1.0).min(1e3),
                ),
                (
                    distortion,
                    distortion / DISTORTION_FACTOR,
                    distortion * DISTORTION_FACTOR,
                ),
            ));
            near = Some((step.hertz, driven));
        }
    } else {
        let mut hertz: Vec<f64> = measured.iter().map(|s| s.hertz.round()).collect();
        hertz.dedup();
        let found = power(
            circuit,
            library,
            &PowerRequest {
                asked: request.asked.clone(),
                from: request.from.clone(),
                hertz: hertz.clone(),
                clean,
            },
            watch,
        );
        bench_from = found.from.clone().ok_or_else(|| {
            found
                .sheet
                .missing
                .first()
                .map_or_else(String::new, |m| m.what.clone())
        })?;
        bench_to = found
            .loads
            .first()
            .map_or_else(String::new, |l| l.0.clone());
        for (tone, level) in &found.cleanest {
            let of_tone: Vec<&StepRead> = measured
                .iter()
                .filter(|s| (s.hertz / tone - 1.0).abs() < 0.02)
                .collect();
            if let (Some(level), Some((watts, between))) = (level, cleanest(&of_tone, clean)) {
                pairs.push(Pair::new(
                    format!("clean watts at {tone:.0} Hz"),
                    (Some(*tone), "W"),
                    (watts, watts * (2.0 * calibrated_to).hypot(between)),
                    (
                        level.watts,
                        level.watts * (1.0 - POWER_BAND),
                        level.watts * (1.0 + POWER_BAND),
                    ),
                ));
            } else {
                notes.push(format!(
                    "At {tone:.0} Hz no two steps lie on both sides of {:.0} % of distortion: nothing to compare.",
                    100.0 * clean
                ));
            }
        }
    }
    if pairs.is_empty() {
        return Err("no step can be compared".to_owned());
    }
    Ok(Beside::new(bench_from, bench_to, pairs, notes))
}

/// The watts at which distortion passes `clean`, along a straight line between two steps in logarithms, and a tenth of
/// the way between them as what that leaves uncertain, a ratio.
fn cleanest(steps: &[&StepRead], clean: f64) -> Option<(f64, f64)> {
    steps.windows(2).rev().find_map(|pair| {
        let [low, high] = pair else { return None };
        if low.distortion > clean || high.distortion <= clean || low.watts <= 0.0 {
            return None;
        }
        let part = (clean / low.distortion).ln() / (high.distortion / low.distortion).ln();
        let apart = (high.watts / low.watts).ln();
        Some((low.watts * (part * apart).exp(), 0.1 * apart.abs()))
    })
}

/// A measured tremolo beside the computed: hertz with its uncertainty, depth in per cent (uncertain by one); computed from
/// the amplifier let run.
#[must_use]
pub fn tremolo(
    from: &str,
    to: &str,
    (hertz, doubt): (f64, f64),
    depth: f64,
    computed: (f64, f64),
) -> Beside {
    let (pace, deep) = computed;
    let pairs = vec![
        Pair::new(
            "tremolo rate",
            (None, "Hz"),
            (hertz, doubt.max(0.002 * hertz)),
            (pace, pace * (1.0 - PACE_BAND), pace * (1.0 + PACE_BAND)),
        ),
        Pair::new(
            "tremolo depth",
            (None, "%"),
            (depth, 1.0),
            (
                deep,
                (deep - DEPTH_BAND).max(0.0),
                (deep + DEPTH_BAND).min(100.0),
            ),
        ),
    ];
    let notes = vec![format!(
        "Computed from a tone played through the amplifier and measured as the recording was. Bands: {:.0} % of the rate, {DEPTH_BAND:.0} \
         of 100 of the depth either way (common practice, no source).",
        100.0 * PACE_BAND
    )];
    Beside::new(from.to_owned(), to.to_owned(), pairs, notes)
}

/// Hum lines (order, volts r.m.s., uncertainty in dB) and hiss (volts r.m.s. 20 Hz to 20 kHz, uncertainty in dB) beside
/// what ripple, heat and shot noise make of the amplifier with its input shorted.
///
/// # Errors
/// As [`voicing`], and where no rectifier is computed.
pub fn hum_and_hiss(
    circuit: &Circuit,
    library: &Library,
    request: &BesideRequest,
    lines: &[(u32, f64, f64)],
    hiss: Option<(f64, f64)>,
) -> Result<Beside, String> {
    let (from, to) = jack(circuit, library, request)?;
    let at = plugged(circuit, library, &request.asked, &from)?;
    let (a, b) = ends(circuit, &at.solved, &to)?;
    let point = &at.solved.point;
    let small = SmallSignal::new(&point.netlist, &point.solution).map_err(|e| e.to_string())?;
    let mut squares = std::collections::BTreeMap::<u32, f64>::new();
    for element in &point.netlist.elements {
        let Law::Rectifiers(group) = &element.law else {
            continue;
        };
        // The end away from ground has the ripple; two plates rectify both halves.
        let node = group
            .plates
            .iter()
            .flat_map(|p| [p.plate, p.cathode])
            .max_by(|x, y| point.dc(*x).abs().total_cmp(&point.dc(*y).abs()));
        let Some(node) = node else { continue };
        let order = if group.plates.len() > 1 { 2 } else { 1 };
        let ripple = point.ripple_rms.get(node).copied().unwrap_or(0.0) * FIRST_OF_SAWTOOTH;
        let here = small
            .at(f64::from(order) * group.hertz)
            .map_err(|e| e.to_string())?;
        let own = here.toward(node, 0).through(0, node).abs();
        let out = here.toward(a, b).through(0, node).abs();
        if own > 0.0 {
            *squares.entry(order).or_insert(0.0) += (ripple * out / own).powi(2);
        }
    }
    let db = |volts: f64| 20.0 * volts.max(1e-15).log10();
    let mut pairs: Vec<Pair> = squares
        .iter()
        .filter_map(|(order, square)| {
            let computed = db(square.sqrt());
            let (_, volts, doubt) = lines.iter().find(|l| l.0 == *order)?;
            Some(Pair::new(
                format!("hum line {order}, ripple"),
                (None, "dB V"),
                (db(*volts), *doubt),
                (computed, computed - HUM_BAND, computed + HUM_BAND),
            ))
        })
        .collect();
    let mut notes = vec![format!(
        "Hum: what the ripple of the first capacitors makes at the loudspeaker, no heater, no field, no earth loop; {HUM_BAND} dB either way \
         for balance and parts (common practice, no source)."
    )];
    if let Some((volts, doubt)) = hiss {
        let asked = voicing_request(request, &from, &to, vec![1000.0]);
        if let Some(computed) = voicing(circuit, library, &asked)?.noise_volts {
            let computed = db(computed);
            pairs.push(Pair::new(
                "noise between the lines, 20 Hz to 20 kHz",
                (None, "dB V"),
                (db(volts), doubt),
                (computed, computed - HISS_BAND, computed + HISS_BAND),
            ));
            notes.push(format!(
                "Noise: heat of resistors and shot noise with the input shorted; {HISS_BAND} dB either way (common practice, no source). \
                 The recorder's own is in the measured."
            ));
        }
    }
    if pairs.is_empty() {
        return Err("no line and no noise can be compared".to_owned());
    }
    Ok(Beside::new(from, to, pairs, notes))
}
