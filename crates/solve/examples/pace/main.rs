//! Times what the engine does with two test amplifiers, and prints the figures, the answers and the
//! equations as JSON: `reference/pace.py` does the same with numpy and scipy, and holds both
//! beside each other.
//!
//! ```text
//! cargo run --release -p solve --example pace >pace.json
//! cargo run --release -p solve --example pace -- --answers >pace.json     each done once, no times
//! cargo run --release -p solve --example pace -- builds faults            these rows alone
//! ```
//!
//! One thread. Each time is the least of several batches: neighbours on the machine only ever add.

#![allow(
    clippy::unwrap_used,
    reason = "fixtures shared with the tests are taken as sound; a panic is their failure"
)]
#![allow(
    clippy::disallowed_methods,
    reason = "this program is a timing harness: it measures"
)]

#[path = "../../tests/support/amplifiers.rs"]
#[allow(
    dead_code,
    unreachable_pub,
    reason = "the tests use more of it, and share it"
)]
mod amplifiers;
mod mains;
mod rows;

use std::io::Write;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Instant;

use serde_json::{Value, json};
use solve::export::{export_equations, export_whole};
use solve::{AMPLIFIER_OHMS, FLOOR_SIEMENS, LEAK_SIEMENS, Netlist, operating};

/// Batches of one figure.
const BATCHES: u32 = 15;
/// Length of a batch, seconds.
const BATCH: f64 = 0.02;

/// A call longer than this is timed by the processor, seconds.
const LONG: f64 = 0.08;

/// Are times wanted?
static TIMED: AtomicBool = AtomicBool::new(true);

/// Seconds that this thread has had a processor, to a few milliseconds; none where the system does not tell.
fn processor_seconds() -> Option<f64> {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    let nanoseconds: f64 = told.split_whitespace().next()?.parse().ok()?;
    Some(1e-9 * nanoseconds)
}

/// Seconds that one call takes; 0 where times are not wanted. A long call is timed by the processor, as neighbours
/// get in between.
fn seconds(mut call: impl FnMut()) -> f64 {
    if !TIMED.load(Ordering::Relaxed) {
        return 0.0;
    }
    let once = Instant::now();
    call();
    if once.elapsed().as_secs_f64() > LONG {
        let mut least = f64::INFINITY;
        for _ in 0..5 {
            let (wall, begin) = (Instant::now(), processor_seconds());
            call();
            let took = begin.zip(processor_seconds()).map(|(from, to)| to - from);
            least = least.min(took.unwrap_or_else(|| wall.elapsed().as_secs_f64()));
        }
        return least;
    }
    let calls = (BATCH / once.elapsed().as_secs_f64().max(1e-9))
        .ceil()
        .max(1.0);
    let batches = if calls > 1.0 { BATCHES } else { 3 };
    let mut least = f64::INFINITY;
    for _ in 0..batches {
        let begin = Instant::now();
        for _ in 0..calls as u32 {
            call();
        }
        least = least.min(begin.elapsed().as_secs_f64() / calls);
    }
    least
}

/// As [`seconds`], of a call that works on threads of its own, whose time this thread's processor does not tell.
fn seconds_by_the_clock(mut call: impl FnMut()) -> f64 {
    if !TIMED.load(Ordering::Relaxed) {
        return 0.0;
    }
    let mut least = f64::INFINITY;
    for _ in 0..9 {
        let begin = Instant::now();
        call();
        least = least.min(begin.elapsed().as_secs_f64());
    }
    least
}

/// Is a row asked for? All are where none is named.
fn wanted(key: &str) -> bool {
    let mut named = std::env::args()
        .skip(1)
        .filter(|word| !word.starts_with("--"));
    let asked = std::env::args().any(|word| word == key);
    asked || named.next().is_none()
}

/// One figure: its key, what it is of, how many of it took so long, the work, the answer.
fn row(key: &str, seconds: f64, count: usize, work: &Value, answer: &Value) -> Value {
    json!({"key": key, "seconds": seconds / count as f64, "count": count, "work": work, "answer": answer})
}

fn amplifier(name: &str, netlist: &Netlist) -> Value {
    let point = operating::solve(netlist, None);
    let constants = [
        ("floor_siemens", FLOOR_SIEMENS),
        ("leak_siemens", LEAK_SIEMENS),
        ("amplifier_ohms", AMPLIFIER_OHMS),
    ];
    json!({
        "name": name,
        "equations": export_equations(netlist, &point.volts, &point.lit, &constants),
        "whole": export_whole(netlist, &point.lit),
        "volts": point.volts,
        "rows": rows::of(netlist, &point),
    })
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    if std::env::args().any(|word| word == "--answers") {
        TIMED.store(false, Ordering::Relaxed);
    }
    let mut all = vec![
        amplifier("se5", &amplifiers::single_ended()),
        amplifier("pp18", &amplifiers::push_pull()),
    ];
    if TIMED.load(Ordering::Relaxed) && wanted("mains") {
        all.push(mains::amplifier());
    }
    let all = Value::from(all);
    writeln!(std::io::stdout(), "{all}")?;
    Ok(())
}
