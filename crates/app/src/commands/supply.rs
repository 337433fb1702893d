//! `supply`: rails, who draws, ripple, surge, discharge, rectifier, fuse.

use crate::arguments::Supply as Given;
use crate::outcome::{Failure, Outcome};
use crate::wired_sheet;
use crate::words::sentence;
use bench::supply::numbers::{self, Numbers, Rectifying};
use bench::supply::{supply, what_if};

/// Runs `supply`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    let mut amp = wired_sheet::load_as_wired(&given.wired)?;
    let changed = wired_sheet::exchanged(&given.wired, &amp)?;
    let supply = if given.wired.files.is_empty() {
        let typed = typed(given)?;
        numbers::supply(&typed, &amp.library).map_err(|e| {
            Failure::misuse(
                sentence(&e.to_string()),
                "Type it again with that figure put right.",
            )
        })?
    } else {
        if given.winding.is_some() || given.load.is_some() || given.reservoir.is_some() {
            return Err(Failure::misuse(
                "Both a wiring and typed numbers were given.",
                "Leave out `--winding`, `--reservoir` and `--load`, or the file.",
            ));
        }
        let asked = wired_sheet::asked(&given.wired, &amp)?;
        let marking = given.marking.as_ref();
        if given.wired.instead.is_empty() {
            supply(&amp.circuit, &amp.library, &asked, marking)
        } else {
            what_if(&amp.circuit, &changed, &amp.library, &asked, marking)
        }
    };
    amp.circuit = changed;
    let value = serde_json::to_value(&supply).unwrap_or_default();
    wired_sheet::outcome(&amp, &supply.sheet, value, &given.form)
}

/// The numbers, or what is left out.
fn typed(given: &Given) -> Result<Numbers, Failure> {
    let need = |value: Option<bench::typed::Typed>, option: &str, example: &str| {
        value.map(|v| v.value).ok_or_else(|| {
            Failure::misuse(
                format!("Without a wiring `{option}` is needed."),
                format!("Type it, as in `{option} {example}`, or name a wiring."),
            )
        })
    };
    let rectifier = given.rectifier.as_deref().ok_or_else(|| {
        Failure::misuse(
            "Without a wiring `--rectifier` is needed.",
            "Type a valve's type, `silicon` or `bridge`: `--rectifier 5Y3GT`.",
        )
    })?;
    let mains = given.wired.mains;
    Ok(Numbers {
        winding_volts: need(given.winding, "--winding", "265")?,
        winding_amps: given.winding_current.map(|v| v.value),
        winding_ohms: given.winding_ohms.map(|v| v.value),
        primary_volts: given
            .primary
            .map(|v| v.value)
            .or(mains.map(bench::wall::nominal))
            .unwrap_or(230.0),
        primary_ohms: given.primary_ohms.map(|v| v.value),
        rectifier: match rectifier {
            "silicon" => Rectifying::Silicon,
            "bridge" => Rectifying::Bridge,
            valve => Rectifying::Valve(valve.to_owned()),
        },
        reservoir_farads: need(given.reservoir, "--reservoir", "16u")?,
        reservoir_volts: given.rated.map(|v| v.value),
        load_amps: need(given.load, "--load", "60mA")?,
        bleeder_ohms: given.bleeder.map(|v| v.value),
        mains_volts: mains,
    })
}
