//! `tubewright format`: tidy text, and a file that is never half written.

mod common;

use common::{folder, run, run_in, run_with};

const UNTIDY: &str = "R6   470 1W\r\nB1  -  [ R9 1k5|C4 22n ] - B2   # two\r\n\r\n\r\nB2 - ground";
const TIDY: &str = "R6      470 1W\nB1 - [R9 1k5 | C4 22n] - B2  # two\n\nB2 - ground\n";

#[test]
fn prints_the_tidy_form_from_standard_input() {
    let ran = run_with(&["format", "-"], UNTIDY.as_bytes());
    ran.ends(0);
    assert_eq!(ran.out, TIDY);
}

#[test]
fn write_replaces_the_file_and_leaves_nothing_beside_it() {
    let here = folder(&[("a.wiring", UNTIDY)]);
    run_in(here.path(), &["format", "--check", "a.wiring"], b"").ends(1);
    run_in(here.path(), &["format", "--write", "a.wiring"], b"").ends(0);
    let text = std::fs::read_to_string(here.path().join("a.wiring")).expect("there");
    assert_eq!(text, TIDY);
    assert_eq!(std::fs::read_dir(here.path()).expect("there").count(), 1);
    run_in(here.path(), &["format", "--check", "a.wiring"], b"").ends(0);
    run_in(here.path(), &["format", "--write", "a.wiring"], b"").ends(0);
}

#[cfg(unix)]
#[test]
fn write_keeps_permissions_and_follows_a_link() {
    use std::os::unix::fs::PermissionsExt as _;
    let here = folder(&[("a.wiring", UNTIDY)]);
    let file = here.path().join("a.wiring");
    std::fs::set_permissions(&file, std::fs::Permissions::from_mode(0o640)).expect("set");
    std::os::unix::fs::symlink("a.wiring", here.path().join("link.wiring")).expect("linked");
    run_in(here.path(), &["format", "--write", "link.wiring"], b"").ends(0);
    let meta = std::fs::symlink_metadata(here.path().join("link.wiring")).expect("there");
    assert!(meta.file_type().is_symlink());
    assert_eq!(std::fs::read_to_string(&file).expect("there"), TIDY);
    let mode = std::fs::metadata(&file)
        .expect("there")
        .permissions()
        .mode();
    assert_eq!(mode & 0o777, 0o640);
}

#[test]
fn a_file_that_is_no_utf_8_is_left_alone() {
    let here = folder(&[]);
    let file = here.path().join("a.wiring");
    std::fs::write(&file, b"C1 22 \xb5F").expect("written");
    let ran = run_in(here.path(), &["format", "--write", "a.wiring"], b"");
    ran.ends(1);
    assert!(ran.err.contains("UTF-8"), "{}", ran.err);
    assert_eq!(std::fs::read(&file).expect("there"), b"C1 22 \xb5F");
}

#[test]
fn standard_input_cannot_be_written_to() {
    let ran = run(&["format", "--write", "-"]);
    ran.ends(2);
    assert!(ran.err.contains("file"), "{}", ran.err);
}

/// A reader that goes away early is no reason to complain.
#[cfg(unix)]
#[test]
fn a_broken_pipe_is_quiet() {
    use std::process::{Command, Stdio};
    let mut text = String::new();
    for i in 1..20_000 {
        text.push_str(&format!("B{i} - R{i} 1k - ground\n"));
    }
    let here = folder(&[("long.wiring", &text)]);
    let mut child = Command::new(env!("CARGO_BIN_EXE_tubewright"))
        .arg("format")
        .arg(here.path().join("long.wiring"))
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("starts");
    drop(child.stdout.take());
    let output = child.wait_with_output().expect("ends");
    assert_eq!(String::from_utf8_lossy(&output.stderr), "");
    assert_eq!(output.status.code(), Some(0));
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_told_and_ends_with_three() {
    use std::process::{Command, Stdio};
    let full = std::fs::OpenOptions::new()
        .write(true)
        .open("/dev/full")
        .expect("/dev/full");
    let output = Command::new(env!("CARGO_BIN_EXE_tubewright"))
        .arg("valves")
        .stdout(Stdio::from(full))
        .stderr(Stdio::piped())
        .output()
        .expect("ends");
    assert_eq!(output.status.code(), Some(3));
    assert!(!output.stderr.is_empty());
}
