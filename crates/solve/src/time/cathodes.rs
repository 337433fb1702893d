//! Cathodes that warm and cool: what a circuit does before its valves work, and after.

use wiring::sheet::ValveKind;

use super::{Running, TimeError};
use crate::device::{DiodeLaw, RectifierLaw};
use crate::supply::emission;

/// Seconds in which a cathode of this kind gets 63 % of the way to its heat, heater on its rated
/// volts.
///
/// 11 s for what a heater heats: emission begins after 3 s and is full after 18 s, as
/// such valves do. 1 s for a filament that is its own cathode. Common practice, no source; specimens
/// differ by half and more. A glow lamp has no cathode to warm: 0.
#[must_use]
pub fn warming_seconds(kind: ValveKind) -> f64 {
    match kind {
        ValveKind::DirectlyHeatedRectifier => 1.0,
        ValveKind::GasRegulator => 0.0,
        _ => 11.0,
    }
}

/// A cathode between cold and hot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Warming {
    since: f64,
    time_constant: f64,
    rising: bool,
}

impl Warming {
    /// Part of its full emission.
    pub(super) fn part(self, seconds: f64) -> f64 {
        let left = (-(seconds - self.since).max(0.0) / self.time_constant).exp();
        // heat goes with the square of the heater's volts
        let heat = if self.rising { 1.0 - left } else { left };
        emission(heat.max(0.0).sqrt())
    }

    /// Within so many seconds little changes.
    pub(super) fn pace(self, seconds: f64) -> f64 {
        let gone = (seconds - self.since) / self.time_constant;
        if gone > 8.0 {
            f64::INFINITY
        } else {
            0.02 * self.time_constant
        }
    }
}

/// A diode's law with less emission; only a rectifier valve has any.
pub(super) fn at_emission(law: DiodeLaw, part: f64) -> DiodeLaw {
    match law.forward {
        RectifierLaw::Valve(perveance) => DiodeLaw {
            forward: RectifierLaw::Valve(perveance * part),
            ..law
        },
        _ => law,
    }
}

impl Running {
    /// The heaters go on now: each valve section or rectifier plate named (element, seconds for
    /// 63 % of its heat, see [`warming_seconds`]) is cold, and warms from here on. All others
    /// stay as they are. The heater counts as on its rated volts.
    ///
    /// # Errors
    /// [`TimeError::NoCathode`] for an element that is no valve.
    pub fn warm_up(&mut self, cathodes: &[(usize, f64)]) -> Result<(), TimeError> {
        self.heat(cathodes, true)
    }

    /// The heaters go off now: each named is hot, and cools from here on.
    ///
    /// # Errors
    /// [`TimeError::NoCathode`] for an element that is no valve.
    pub fn cool_down(&mut self, cathodes: &[(usize, f64)]) -> Result<(), TimeError> {
        self.heat(cathodes, false)
    }

    fn heat(&mut self, cathodes: &[(usize, f64)], rising: bool) -> Result<(), TimeError> {
        for &(element, seconds) in cathodes {
            let warming = Warming {
                since: self.seconds,
                time_constant: seconds.clamp(1e-3, 1e6),
                rising,
            };
            let slot = self
                .moving
                .cathode_mut(element)
                .ok_or(TimeError::NoCathode { element })?;
            *slot = Some(warming);
        }
        self.jumped();
        Ok(())
    }
}
