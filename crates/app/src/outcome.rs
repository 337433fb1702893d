//! How a command ends: what it prints, and its exit status.
//!
//! Status 0: done. 1: the input has errors (what could be done was done and printed).
//! 2: wrong use. 3: something outside failed, such as a disk.

use crate::table;
use std::fmt;
use std::io::{self, Write as _};
use std::process::ExitCode;

/// What a finished command prints, and whether its input had errors.
#[derive(Debug, Default)]
pub(crate) struct Outcome {
    /// For standard output.
    pub(crate) text: String,
    /// For standard error, printed first: problems of the input beside a computed result.
    pub(crate) aside: String,
    /// The input has errors: status 1.
    pub(crate) errors: bool,
    /// The text is the user's own file and is printed byte for byte.
    pub(crate) verbatim: bool,
}

impl Outcome {
    /// A text and nothing wrong.
    pub(crate) fn done(text: String) -> Self {
        Self {
            text,
            ..Self::default()
        }
    }
}

/// Whose fault it is that a command could not do its work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Cause {
    /// The input: status 1.
    Input,
    /// The arguments: status 2.
    Use,
    /// A disk, a pipe: status 3.
    Outside,
}

/// Why nothing was done, and what to do about it.
#[derive(Debug)]
pub(crate) struct Failure {
    /// Decides the exit status.
    pub(crate) cause: Cause,
    /// One sentence.
    pub(crate) what: String,
    /// What to do.
    pub(crate) remedy: String,
}

impl Failure {
    /// The arguments ask for something that cannot be.
    pub(crate) fn misuse(what: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self {
            cause: Cause::Use,
            what: what.into(),
            remedy: remedy.into(),
        }
    }

    /// The input cannot be worked on.
    pub(crate) fn input(what: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self {
            cause: Cause::Input,
            what: what.into(),
            remedy: remedy.into(),
        }
    }

    /// Something outside the program failed.
    pub(crate) fn outside(what: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self {
            cause: Cause::Outside,
            what: what.into(),
            remedy: remedy.into(),
        }
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&table::paragraph(&self.what, ""))?;
        f.write_str(&table::paragraph(&self.remedy, ""))
    }
}

/// Prints what there is to print and gives the exit status.
///
/// A reader that has gone away (`| head`) is no failure: the rest is not wanted.
pub(crate) fn end(result: Result<Outcome, Failure>) -> ExitCode {
    let (text, aside, status) = match result {
        Ok(outcome) => {
            let text = if outcome.verbatim {
                outcome.text
            } else {
                printable(&outcome.text)
            };
            (text, printable(&outcome.aside), u8::from(outcome.errors))
        }
        Err(failure) => {
            let status = match failure.cause {
                Cause::Input => 1,
                Cause::Use => 2,
                Cause::Outside => 3,
            };
            (String::new(), printable(&failure.to_string()), status)
        }
    };
    // Nothing can be reported when standard error itself fails.
    let _ = io::stderr().lock().write_all(aside.as_bytes());
    let mut out = io::stdout().lock();
    let written = out.write_all(text.as_bytes()).and_then(|()| out.flush());
    match written {
        Ok(()) => ExitCode::from(status),
        Err(e) if e.kind() == io::ErrorKind::BrokenPipe => ExitCode::from(status),
        Err(e) => {
            let _ = writeln!(
                io::stderr().lock(),
                "The result could not be written: {e}.\nMake room on the disk, or send it elsewhere."
            );
            ExitCode::from(3)
        }
    }
}

/// A command line that was not understood, or a question for help: the message in lines of at most
/// 80 columns, and status 2, or 0 for help.
pub(crate) fn refuse(error: &clap::Error) -> ExitCode {
    let mut text = String::new();
    for line in error.render().to_string().lines() {
        text.push_str(&within_columns(line));
        text.push('\n');
    }
    let status = u8::try_from(error.exit_code()).unwrap_or(2);
    let outcome = if error.use_stderr() {
        Outcome {
            aside: text,
            ..Outcome::default()
        }
    } else {
        Outcome::done(text)
    };
    let written = end(Ok(outcome));
    if status == 0 {
        written
    } else {
        ExitCode::from(status)
    }
}

/// A line of help in lines of at most 80 columns: what an option does stays in its column, below itself.
fn within_columns(line: &str) -> String {
    let bare = line.trim_start();
    let indent = line.len() - bare.len();
    // an option, two spaces or more, what it does
    let column = bare
        .find("  ")
        .map(|gap| gap + bare[gap..].len() - bare[gap..].trim_start().len())
        .map(|at| (indent + at).min(line.len()))
        .filter(|_| indent > 0);
    let text = match column {
        Some(column) if column <= 40 => {
            table::hanging(&line[column..], &line[..column], &" ".repeat(column))
        }
        _ => {
            let indent = " ".repeat(indent.min(40));
            table::hanging(bare, &indent, &indent)
        }
    };
    text.trim_end().to_owned()
}

/// Text that moves no cursor and sets no colour, whatever stood in the input.
fn printable(text: &str) -> String {
    text.chars()
        .map(|c| {
            if c.is_control() && c != '\n' {
                '\u{fffd}'
            } else {
                c
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn escape_sequences_of_the_input_never_reach_the_terminal() {
        assert_eq!(printable("a\u{1b}[2Jb\tc\n"), "a\u{fffd}[2Jb\u{fffd}c\n");
    }

    #[test]
    fn what_an_option_does_stays_in_its_column() {
        let line = "      --set <KNOB=5>         Where a knob or switch stands: `VOLUME=5`, `S1=open`, `J1=plugged`";
        let all = within_columns(line);
        let column = line.find("Where").unwrap();
        let lines: Vec<&str> = all.lines().collect();
        assert!(
            lines.len() == 2 && lines.iter().all(|l| l.len() <= 80),
            "{all}"
        );
        assert!(lines[1].starts_with(&" ".repeat(column)), "{all}");
        assert_eq!(&lines[1][column..=column], "`");
        for short in ["", "Options:", "  -h, --help  Print help", "  what it is"] {
            assert_eq!(within_columns(short), short);
        }
        let long = "a word ".repeat(30);
        assert!(within_columns(&long).lines().all(|l| l.len() <= 80));
    }
}
