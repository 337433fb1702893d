//! What is written reads back.

use super::super::Library;
use super::lines::*;
use super::*;

/// Every built-in sheet is written and read back to the last bit.
#[test]
fn every_sheet_reads_back_as_it_was() {
    let built_in = Library::built_in();
    for sheet in built_in.types() {
        let block = valve_block(sheet, "# a comment\n", "");
        let (again, problems) = Library::with_user_file(&block);
        assert_eq!(problems, Vec::new(), "{block}");
        // What leaned on another type stands on its own feet now.
        let wanted = Sheet {
            like: None,
            ..sheet.clone()
        };
        assert_eq!(again.find(&sheet.name), Some(&wanted), "{block}");
        let long = |line: &&str| line.chars().count() > WIDTH;
        let long: Vec<&str> = block.lines().filter(long).collect();
        assert_eq!(long, Vec::<&str>::new());
    }
}

/// Long texts of every kind are broken, and come back as they were.
#[test]
fn long_words_are_broken_and_come_back() {
    let back = |s: &str| {
        let line = words("text", s);
        let table: toml::Table = toml::from_str(&line).unwrap();
        assert_eq!(table["text"].as_str(), Some(s), "{line}");
        for line in line.lines() {
            assert!(line.chars().count() <= WIDTH - 4, "{line}");
        }
    };
    back(&"a sentence of many words ".repeat(12));
    back(&"x".repeat(300));
    back(&"\"\\ ".repeat(90));
    back(&format!(
        "  {}  \u{1}\n\tend  ",
        "two  spaces   ".repeat(20)
    ));
    proptest::proptest!(|(s in "\\PC{0,200}|[ a\"\\\\\n]{60,200}")| back(&s));
}

#[test]
fn figures_lose_what_a_unit_added() {
    assert_eq!(figure(1.2e-3 * 1e3), "1.2");
    assert_eq!(figure(0.5e-3 * 1e3), "0.5");
    assert_eq!(figure(-12.0), "-12");
    assert_eq!(figure(3.1e-5), "3.1e-5");
    assert_eq!(figure(1e-5), "1.0e-5");
    assert_eq!(figure(0.0), "0");
}
