//! Letters that the typefaces hold. One that they don't hold would print as an empty box, which says nothing; it is
//! written by its number instead.

use serde_json::Value;

/// Rewrites every text of a value in place.
pub(crate) fn keep(value: &mut Value, held: &dyn Fn(char) -> bool) {
    match value {
        Value::String(text) => {
            if text.chars().any(|c| !known(c, held)) {
                *text = text
                    .chars()
                    .map(|c| {
                        if known(c, held) {
                            c.to_string()
                        } else {
                            instead(c)
                        }
                    })
                    .collect();
            }
        }
        Value::Array(all) => all.iter_mut().for_each(|v| keep(v, held)),
        Value::Object(all) => all.values_mut().for_each(|v| keep(v, held)),
        Value::Null | Value::Bool(_) | Value::Number(_) => {}
    }
}

fn known(c: char, held: &dyn Fn(char) -> bool) -> bool {
    matches!(c, '\n' | '\t' | ' ') || held(c)
}

fn instead(c: char) -> String {
    match c {
        '\u{a0}' | '\u{202f}' | '\u{2009}' => " ".to_owned(),
        '\u{200d}' | '\u{fe0f}' | '\u{ad}' | '\r' => String::new(),
        c if c.is_control() => " ".to_owned(),
        c => format!("(U+{:04X})", c as u32),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn a_letter_that_no_typeface_holds_is_written_by_its_number() {
        let mut value = json!({"a": ["4 k\u{3a9} \u{2713}", 1], "b": "\u{4e2d}x\u{7}"});
        keep(&mut value, &|c| c.is_ascii_graphic() || c == '\u{3a9}');
        assert_eq!(
            value,
            json!({"a": ["4 k\u{3a9} (U+2713)", 1], "b": "(U+4E2D)x "})
        );
    }
}
