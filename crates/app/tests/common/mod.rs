//! Runs the built program as a technician would, and looks at what it prints.

#![allow(dead_code, reason = "each test file uses its own part of the harness")]
#![allow(unreachable_pub, reason = "a module of test files")]

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// What a run left behind.
#[derive(Debug)]
pub struct Ran {
    /// Exit status.
    pub status: i32,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

impl Ran {
    /// Standard output as JSON.
    #[track_caller]
    pub fn json(&self) -> serde_json::Value {
        match serde_json::from_str(&self.out) {
            Ok(value) => value,
            Err(e) => panic!("not JSON ({e}):\n{}\n{}", self.out, self.err),
        }
    }

    /// No line of either stream is wider than 80 characters.
    #[track_caller]
    pub fn fits(&self) -> &Self {
        for line in self.out.lines().chain(self.err.lines()) {
            let width = line.chars().count();
            assert!(width <= 80, "{width} columns: {line}");
        }
        self
    }

    /// The status, with all that was printed when it is another one.
    #[track_caller]
    pub fn ends(&self, status: i32) -> &Self {
        assert_eq!(
            self.status, status,
            "status; printed:\n{}\n{}",
            self.out, self.err
        );
        self
    }

    /// The program did not panic.
    #[track_caller]
    pub fn calm(&self) -> &Self {
        assert!((0..=3).contains(&self.status), "status {}", self.status);
        assert!(!self.err.contains("panicked"), "{}", self.err);
        self
    }
}

/// Runs with arguments and an empty standard input.
pub fn run<S: AsRef<std::ffi::OsStr>>(arguments: &[S]) -> Ran {
    run_with(arguments, b"")
}

/// Runs with bytes on standard input.
pub fn run_with<S: AsRef<std::ffi::OsStr>>(arguments: &[S], input: &[u8]) -> Ran {
    run_in(&root(), arguments, input)
}

/// Runs in a folder.
pub fn run_in<S: AsRef<std::ffi::OsStr>>(folder: &Path, arguments: &[S], input: &[u8]) -> Ran {
    let mut child = Command::new(env!("CARGO_BIN_EXE_tubewright"))
        .args(arguments)
        .current_dir(folder)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    let mut stdin = child.stdin.take().expect("piped");
    let input = input.to_vec();
    // From a thread of its own: a full pipe on both sides would stand still.
    let writer = std::thread::spawn(move || {
        // The program may end without reading; that is its right.
        let _ = stdin.write_all(&input);
    });
    let output = child.wait_with_output().expect("the program ends");
    writer.join().expect("the writer ends");
    Ran {
        status: output.status.code().unwrap_or(-1),
        out: String::from_utf8(output.stdout).expect("UTF-8"),
        err: String::from_utf8(output.stderr).expect("UTF-8"),
    }
}

/// The project's folder.
pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

/// A temporary folder with these files in it.
pub fn folder(files: &[(&str, &str)]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a temporary folder");
    for (name, text) in files {
        std::fs::write(folder.path().join(name), text).expect("a file");
    }
    folder
}

/// JSON with every number at four significant digits, for snapshots that machines agree on.
pub fn four_digits(value: serde_json::Value) -> serde_json::Value {
    use serde_json::Value;
    match value {
        Value::Number(n) => match n.as_f64() {
            Some(x) if !n.is_i64() && !n.is_u64() => {
                let short: f64 = format!("{x:.3e}").parse().expect("a number");
                // Below a microvolt there is only rounding.
                Value::from(if short.abs() < 1e-6 { 0.0 } else { short })
            }
            _ => Value::Number(n),
        },
        Value::Array(items) => items.into_iter().map(four_digits).collect(),
        Value::Object(map) => map.into_iter().map(|(k, v)| (k, four_digits(v))).collect(),
        other => other,
    }
}
