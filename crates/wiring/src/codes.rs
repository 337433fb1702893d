//! Every diagnostic code with its meaning, in one place, so that the manual can be checked against it.
//!
//! Codes are stable: a code may be added, its sentence may be reworded, but it never
//! changes its meaning and never goes away while a text could still earn it.

use crate::diagnostic::Severity::{self, Error, Note, Warning};

/// One code.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Code {
    /// Kebab-case name.
    pub name: &'static str,
    /// How much it matters; the same code always has the same severity.
    pub severity: Severity,
    /// What it means, for the manual.
    pub meaning: &'static str,
}

macro_rules! codes {
    ($($name:ident $severity:ident $code:literal $meaning:literal;)+) => {
        $(
            #[doc = $meaning]
            pub const $name: Code = Code { name: $code, severity: $severity, meaning: $meaning };
        )+
        /// All codes, in the order of the manual: lines, names, values, parts, walks, readings.
        pub const ALL: &[Code] = &[$($name),+];
    };
}

codes! {
    // lines
    OPEN_QUOTE Error "open-quote" "A quote is not closed on its line.";
    UNCLOSED_BRACKET Error "unclosed-bracket" "A `[` without its `]`.";
    STRAY_BRACKET Error "stray-bracket" "A `]` or `|` without a `[` before it.";
    BRACKETS_TOO_DEEP Error "brackets-too-deep" "More brackets inside one another than any amplifier has; the line is left out.";
    EMPTY_STOP Error "empty-stop" "A walk that begins or ends in a dash, or has nothing between two dashes, bars or brackets.";
    DASH_MISSING Error "dash-missing" "Something stands beside a bracket without ` - ` between.";
    STRAY_MARK Error "stray-mark" "A mark (`?`, `=`, `,`) where it means nothing.";
    HEADING_UNCLEAR Error "heading-unclear" "A heading line that does not read (`mains`, `cord`, `set`).";
    HEADING_TWICE Warning "heading-twice" "A heading that was already given, with another text; the first counts.";
    HEADING_IN_READINGS Error "heading-in-readings" "A heading line inside a readings block.";
    COMMENT_WITHOUT_SPACE Error "comment-without-space" "A line that starts with `#` directly before a word.";
    ONLY_IN_READINGS Error "only-in-readings" "A condition word outside a readings block.";
    LONELY_STOP Error "lonely-stop" "A line with a single point on it.";
    // names
    RESERVED_WORD Error "reserved-word" "A heading or condition word used as the name of a point or part.";
    BAD_NAME Error "bad-name" "A name with a character that names don't have, or without a letter.";
    UPPER_CASE Error "upper-case" "A class letter in lower case, or a word of the notation in capitals.";
    CASE_CLASH Error "case-clash" "Two names that differ only by capitals.";
    UNKNOWN_KIND Error "unknown-kind" "A name that looks like a part, or has a terminal, but nothing says what it is.";
    UNKNOWN_TERMINAL Error "unknown-terminal" "A terminal that the part does not have.";
    WHICH_SECTION Error "which-section" "An electrode, pole or gang of a part with several, without its letter.";
    UNKNOWN_SECTION Error "unknown-section" "A section letter that the part does not have.";
    INTERNAL_PIN Warning "internal-pin" "A wire on a socket pin that is joined to something inside the valve.";
    // values
    NOT_A_VALUE Error "not-a-value" "A number with a unit or letter that is not known.";
    DECIMAL_COMMA Error "decimal-comma" "A comma in a number, which can be read in two ways.";
    MILLI_OR_MEGA Error "milli-or-mega" "`m` or `M` where milli and mega could both be meant.";
    MILLI_OR_MICRO Error "milli-or-micro" "`m` or `mF` on a capacitor: milli, or micro on old parts.";
    BARE_CAPACITOR Error "bare-capacitor-value" "A capacitor marked with a bare number of 1 or more: picofarads or microfarads.";
    NO_UNIT Error "no-unit" "A number that needs its unit here.";
    WRONG_UNIT Error "wrong-unit" "A value in the unit of something else.";
    EXPONENT Error "exponent" "A power of ten written with `e`.";
    OUT_OF_RANGE Error "out-of-range" "A number far outside what such a quantity can be.";
    NEGATIVE_VALUE Error "negative-value" "A magnitude below zero.";
    VALUE_WITHOUT_PART Error "value-without-part" "A value where a point or part should stand.";
    // parts
    UNEXPECTED_WORD Error "unexpected-word" "A word that fits nowhere in a description.";
    WORD_MISSING Error "word-missing" "A word that needs something after it.";
    KIND_AND_NAME Warning "kind-and-name" "A part whose class letter says another kind than its description; the description counts.";
    DESCRIBED_DIFFERENTLY Error "described-differently" "A part described twice with different values.";
    NOT_DESCRIBED Warning "not-described" "A part that is wired but whose terminals depend on a description that is not there.";
    VALVE_WITHOUT_TYPE Warning "valve-without-type" "A valve without a type number.";
    UNKNOWN_VALVE_TYPE Warning "unknown-valve-type" "A valve type without a data sheet here.";
    DOES_NOT_FIT Warning "does-not-fit" "The valve that is said to be fitted has another base.";
    WINDING_NAME Error "winding-name" "A winding without a usable name: missing, given twice, or ending in a digit.";
    RATIO_UNCLEAR Error "ratio-unclear" "A transformer's impedances or ratio that do not read, or are missing.";
    TAPER_NOT_SAID Note "taper-not-said" "A pot without a track; it is read as linear.";
    LAMP_UNKNOWN Error "lamp-unknown" "A cell lit by a lamp that is not there.";
    SWITCH_UNKNOWN Warning "switch-unknown" "A pot with a switch that is described nowhere.";
    // walks
    READING_IN_WIRING Error "reading-in-wiring" "A point followed by a number outside a readings block.";
    MORE_TERMINALS Error "more-terminals" "A part with more than two terminals in passing.";
    WHICH_WAY Error "which-way" "A part with a direction passed without saying which way round.";
    WAY_NOT_NEEDED Error "way-not-needed" "A direction mark on a part that has none of that sort.";
    POLARITY_NOT_SAID Note "polarity-not-said" "An electrolytic capacitor without its `+`.";
    SENSE_NOT_SAID Warning "sense-not-said" "A generator passed without its `+`; taken as toward the stop before.";
    MET_ELSEWHERE Error "met-elsewhere" "A part met again between other points.";
    TURNED_ROUND Error "turned-round" "A part met again the other way round.";
    BOTH_ENDS Warning "both-ends" "A part with both ends on the same node.";
    APART_YET_JOINED Error "apart-yet-joined" "Ground and chassis are said to be apart, but a wire joins them.";
    APART_UNCLEAR Error "apart-unclear" "`apart` anywhere but in `ground - apart - chassis`.";
    UNUSED_UNCLEAR Error "unused-unclear" "`unused` anywhere but behind the one lead that it ends.";
    MAINS_JOINED Error "mains-joined" "Two of live, neutral, earth and ground joined that must never be, with no part between.";
    NAMED_ONCE Note "named-once" "A bare point that occurs only once: a slip, or a loose end.";
    LOOSE_END Note "loose-end" "A part with an end that no walk has reached.";
    NOT_WIRED Note "not-wired" "A part that no walk has reached at all.";
    SET_UNKNOWN Error "set-unknown" "`set` for a name that is no control.";
    SET_UNCLEAR Error "set-unclear" "A position that the control does not have.";
    KNOB_NOT_SET Note "knob-not-set" "A knob without a `set`; it stands at 5.";
    // readings
    READING_UNCLEAR Error "reading-unclear" "A line in a readings block that is neither a condition nor a point with a value.";
    CONDITION_UNCLEAR Error "condition-unclear" "A condition that does not read.";
    CONDITION_TWICE Warning "condition-twice" "A condition given twice in one block; the last counts.";
    ANSWER_UNCLEAR Error "answer-unclear" "An answer without its question, or one that is neither `yes`, `no` nor a figure.";
    WALK_IN_READINGS Error "walk-in-readings" "A walk inside a readings block.";
    NOT_IN_WIRING Warning "not-in-wiring" "A reading at a point that the wiring does not know.";
    NOT_TRACED Note "not-traced" "A reading at a terminal that no walk has reached.";
    UNIT_AND_POWER Warning "unit-and-power" "Ohms read with the power on, or AC volts or a current with the power off.";
    BEFORE_POINT Error "before-point" "A reading without its point.";
}

/// The code of this name, if there is one.
#[must_use]
pub fn find(name: &str) -> Option<&'static Code> {
    ALL.iter().find(|code| code.name == name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_are_kebab_case_and_unique() {
        for (at, code) in ALL.iter().enumerate() {
            assert!(
                code.name
                    .chars()
                    .all(|c| c.is_ascii_lowercase() || c == '-')
            );
            assert!(code.meaning.ends_with('.'));
            assert!(ALL[..at].iter().all(|other| other.name != code.name));
        }
    }
}
