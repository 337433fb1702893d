//! The standard caution, word for word, and its foot for sheets.

use crate::table;

/// Shown once wherever a result leads hands into a live chassis.
pub(crate) const CAUTION: &str = "This amplifier holds voltages that kill, also when unplugged. \
Unplug it, discharge every electrolytic capacitor through a resistor and measure below 10 V \
before touching. Work on it live only if you are trained for that, one hand, with someone near. \
The figures here are computed from what was traced and typed; they can be wrong. \
Local electrical codes and licensed practice decide.";

/// The caution as lines of at most 80 columns, with a line before it.
pub(crate) fn foot() -> String {
    format!("\nCAUTION\n{}", table::paragraph(CAUTION, "  "))
}
