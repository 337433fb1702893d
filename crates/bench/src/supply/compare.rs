//! What another part in a place changes: the rails before and after.

use super::Rail;
use serde::Serialize;

/// One rail, as wired and with the other part.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Moved {
    /// The rail.
    pub point: String,
    /// Steady volts, as wired and so.
    pub volts: [Option<f64>; 2],
    /// Ripple, rms.
    pub ripple_v: [Option<f64>; 2],
    /// Highest volts.
    pub surge_v: [Option<f64>; 2],
}

/// Rails of the same name in both.
pub(super) fn compare(wired: &[Rail], so: &[Rail]) -> Vec<Moved> {
    so.iter()
        .filter_map(|after| {
            let before = wired.iter().find(|r| r.point == after.point)?;
            Some(Moved {
                point: after.point.clone(),
                volts: [before.volts, after.volts],
                ripple_v: [before.ripple_v, after.ripple_v],
                surge_v: [before.surge_v, after.surge_v],
            })
        })
        .collect()
}
