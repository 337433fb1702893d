//! Suspects of many cases in one run: a line of standard input names a wiring and a readings file,
//! a line of standard output is the answer as JSON. For scoring against generated cases.
#![allow(clippy::print_stdout, reason = "an example that prints")]

use bench::suspects::{SuspectsRequest, suspects};
use std::io::{BufRead as _, stdin};
use wiring::Text;
use wiring::sheet::Library;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    for line in stdin().lock().lines() {
        let line = line?;
        let names: Vec<&str> = line.split_whitespace().collect();
        let mut texts = Vec::new();
        for name in &names {
            texts.push((*name, std::fs::read_to_string(name)?));
        }
        let named: Vec<Text<'_>> = texts
            .iter()
            .map(|(name, text)| Text { name, text })
            .collect();
        let circuit = wiring::read(&named, Library::built_in()).circuit;
        let found = suspects(&circuit, Library::built_in(), &SuspectsRequest::default());
        println!("{}", serde_json::to_string(&found)?);
    }
    Ok(())
}
