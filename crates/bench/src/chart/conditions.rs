//! Under which conditions a chart is computed: the block's, and what the request says over it.

use super::{ChartRequest, MeterUsed};
use crate::tolerance::MainsKnown;
use wiring::circuit::Circuit;
use wiring::readings::{Block, Conditions, Meter, ValvesIn};

/// Input resistance of a usual digital meter on DC volts, taken where a block names none
/// (common practice, no source).
pub(super) const USUAL_METER_OHMS: f64 = 10e6;

/// Error of reading taken where a block names no meter (common practice, no source).
pub(super) const USUAL_METER_ERROR: f64 = 0.005;

/// The block a request asks for: the named one, else the last.
///
/// # Errors
/// The name, when no block bears it.
pub(super) fn block<'a>(
    circuit: &'a Circuit,
    request: &ChartRequest,
) -> Result<Option<&'a Block>, String> {
    if request.without_readings {
        return Ok(None);
    }
    match &request.block {
        None => Ok(circuit.readings.last()),
        Some(name) => circuit
            .readings
            .iter()
            .rev()
            .find(|b| b.name.trim() == name.trim())
            .map(Some)
            .ok_or_else(|| name.clone()),
    }
}

/// The conditions to assemble under, and how well the mains is known.
#[must_use]
pub(crate) fn conditions(
    circuit: &Circuit,
    request: &ChartRequest,
    block: Option<&Block>,
) -> (Conditions, MainsKnown) {
    let mut conditions = block.map(|b| b.conditions.clone()).unwrap_or_default();
    // the chart is the direct-current point; a signal in the block moves no expectation here
    conditions.signal = None;
    let known = if request.mains_volts.is_some() || conditions.mains_volts.is_some() {
        MainsKnown::Read
    } else if circuit.heading.mains.is_some() {
        MainsKnown::Heading
    } else {
        MainsKnown::Assumed
    };
    if let Some(volts) = request.mains_volts {
        conditions.mains_volts = Some(volts);
    }
    conditions.sets.extend(request.sets.iter().cloned());
    conditions.valves = pulled(conditions.valves, &request.without_valves);
    (conditions, known)
}

/// The valves that are in, less some more.
fn pulled(valves: ValvesIn, out: &[String]) -> ValvesIn {
    if out.is_empty() {
        return valves;
    }
    match valves {
        ValvesIn::All => ValvesIn::Without(out.to_vec()),
        ValvesIn::Without(mut names) => {
            names.extend(out.iter().cloned());
            ValvesIn::Without(names)
        }
        ValvesIn::Only(names) => {
            ValvesIn::Only(names.into_iter().filter(|n| !out.contains(n)).collect())
        }
    }
}

/// The meter that loads the circuit; none without a block.
#[must_use]
pub(crate) fn meter(block: Option<&Block>) -> Option<MeterUsed> {
    let block = block?;
    Some(match block.conditions.meter {
        Some(Meter { ohms, error }) => MeterUsed {
            ohms,
            error,
            assumed: false,
        },
        None => MeterUsed {
            ohms: USUAL_METER_OHMS,
            error: USUAL_METER_ERROR,
            assumed: true,
        },
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use wiring::circuit::Mains;

    fn amp() -> Circuit {
        let named = |name: &str, volts| Block {
            name: name.to_owned(),
            conditions: Conditions {
                mains_volts: volts,
                ..Conditions::default()
            },
            ..Block::default()
        };
        Circuit {
            readings: vec![named("as found", Some(231.0)), named("power off", None)],
            ..Circuit::default()
        }
    }

    #[test]
    fn the_last_block_unless_named() {
        let amp = amp();
        let name = |r: &ChartRequest| block(&amp, r).map(|b| b.map(|b| b.name.clone()));
        assert_eq!(
            name(&ChartRequest::default()),
            Ok(Some("power off".to_owned()))
        );
        let ask = |n: &str| ChartRequest {
            block: Some(n.to_owned()),
            ..ChartRequest::default()
        };
        assert_eq!(name(&ask("as found")), Ok(Some("as found".to_owned())));
        assert_eq!(name(&ask("as left")), Err("as left".to_owned()));
        let none = ChartRequest {
            without_readings: true,
            ..ChartRequest::default()
        };
        assert_eq!(name(&none), Ok(None));
    }

    #[test]
    fn mains_by_who_said_it() {
        let mut amp = amp();
        let first = amp.readings[0].clone();
        let known = |amp: &Circuit, request: &ChartRequest, b: Option<&Block>| {
            let (c, k) = conditions(amp, request, b);
            (c.mains_volts, k)
        };
        let plain = ChartRequest::default();
        assert_eq!(known(&amp, &plain, None), (None, MainsKnown::Assumed));
        assert_eq!(
            known(&amp, &plain, Some(&first)),
            (Some(231.0), MainsKnown::Read)
        );
        amp.heading.mains = Some(Mains {
            volts: 233.0,
            hertz: None,
        });
        assert_eq!(known(&amp, &plain, None), (None, MainsKnown::Heading));
        let asked = ChartRequest {
            mains_volts: Some(225.0),
            ..plain
        };
        assert_eq!(
            known(&amp, &asked, Some(&first)),
            (Some(225.0), MainsKnown::Read)
        );
    }

    #[test]
    fn more_valves_out_than_the_block_says() {
        let out = ["V2".to_owned()];
        assert!(!pulled(ValvesIn::All, &out).is_in("V2"));
        let both = pulled(ValvesIn::Without(vec!["V1".into()]), &out);
        assert!(!both.is_in("V1") && !both.is_in("V2") && both.is_in("V3"));
        let only = pulled(ValvesIn::Only(vec!["V2".into(), "V3".into()]), &out);
        assert!(!only.is_in("V2") && only.is_in("V3"));
    }
}
