//! Draws wirings into a folder and prints what is wrong with them, for looking at.
#![allow(
    clippy::print_stdout,
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a tool for looking, not part of the program"
)]
use std::time::Instant;
fn main() {
    let mut args = std::env::args().skip(1);
    let folder = args.next().unwrap();
    for file in args {
        let text = std::fs::read_to_string(&file).unwrap();
        let read = wiring::read_one(&text);
        let anatomy = draw::look(&read.circuit);
        let t = Instant::now();
        let d = draw::draw_unchecked(&read.circuit, &anatomy, draw::Options::default());
        let ms = t.elapsed().as_secs_f64() * 1e3;
        let stem = std::path::Path::new(&file)
            .file_stem()
            .unwrap()
            .to_string_lossy()
            .into_owned();
        std::fs::write(
            format!("{folder}/{stem}.svg"),
            draw::svg::svg(&d, draw::svg::DAY),
        )
        .unwrap();
        let score = draw::score(&d);
        println!(
            "{stem}: {} parts, {} crossings, {} bends, {} long, {} x {}, {ms:.1} ms, {} faults",
            read.circuit.parts.len(),
            score.crossings,
            score.bends,
            score.length,
            d.frame.width(),
            d.frame.height(),
            d.faults.len()
        );
        for f in &d.faults {
            println!("   {f}");
        }
    }
}
