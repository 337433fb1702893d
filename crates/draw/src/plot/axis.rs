//! Axes, and the round numbers along them.

/// How values lie along an axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scale {
    /// Equal steps.
    Linear,
    /// Equal ratios; only for values above zero.
    Log,
}

/// An axis: what it shows and from where to where.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    /// What, with its unit: `plate current, mA`.
    pub title: String,
    /// How values lie along it.
    pub scale: Scale,
    /// Least value.
    pub low: f64,
    /// Greatest value.
    pub high: f64,
}

/// A mark along an axis.
#[derive(Debug, Clone, PartialEq)]
pub struct Tick {
    /// Where, in the axis' unit.
    pub value: f64,
    /// What is written; empty for a line of the minor grid.
    pub text: String,
}

/// The furthest that an axis goes.
const FURTHEST: f64 = 1e30;
/// Not more lines than this along one axis.
const MOST: usize = 400;

impl Axis {
    /// From `low` to `high` in equal steps.
    #[must_use]
    pub fn linear(title: impl Into<String>, low: f64, high: f64) -> Self {
        Self {
            title: title.into(),
            scale: Scale::Linear,
            low,
            high,
        }
    }

    /// From `low` to `high` in equal ratios.
    #[must_use]
    pub fn log(title: impl Into<String>, low: f64, high: f64) -> Self {
        Self {
            title: title.into(),
            scale: Scale::Log,
            low,
            high,
        }
    }

    /// Least and greatest value as they are used: finite, in order, apart, above zero on a logarithmic axis.
    #[must_use]
    pub fn range(&self) -> (f64, f64) {
        let sound = |v: f64, other: f64| if v.is_finite() { v } else { other };
        let (a, b) = (sound(self.low, 0.0), sound(self.high, 1.0));
        let (low, high) = (a.min(b), a.max(b));
        match self.scale {
            Scale::Linear => {
                let (low, high) = (
                    low.clamp(-FURTHEST, FURTHEST),
                    high.clamp(-FURTHEST, FURTHEST),
                );
                let size = low.abs().max(high.abs());
                if high - low > 1e-6 * size && high - low > 1e-30 {
                    (low, high)
                } else if size > 1e-24 {
                    (low - 0.5 * size, high + 0.5 * size)
                } else {
                    (0.0, 1.0)
                }
            }
            Scale::Log => {
                let high = if high > 0.0 { high } else { 10.0 };
                let high = high.clamp(1.0 / FURTHEST, FURTHEST);
                let low = if low > 0.0 { low } else { high / 1000.0 };
                let low = low.clamp(1.0 / FURTHEST, FURTHEST);
                if high / low >= 1.5 {
                    (low, high)
                } else {
                    (low / 2.0, high * 2.0)
                }
            }
        }
    }

    /// Where a value lies, 0 at the low end and 1 at the high one; none where the axis has no place for it.
    #[must_use]
    pub fn share(&self, value: f64) -> Option<f64> {
        let (low, high) = self.range();
        if !value.is_finite() {
            return None;
        }
        let share = match self.scale {
            Scale::Linear => (value - low) / (high - low),
            Scale::Log if value > 0.0 => (value / low).ln() / (high / low).ln(),
            Scale::Log => return None,
        };
        share.is_finite().then_some(share)
    }

    /// Marks at round numbers: 1, 2 and 5 times a power of ten. `fits` says how many numbers there is room for.
    #[must_use]
    pub fn ticks(&self, fits: usize) -> Vec<Tick> {
        let (low, high) = self.range();
        match self.scale {
            Scale::Linear => linear(low, high, fits.max(2)),
            Scale::Log => log(low, high, fits.max(2)),
        }
    }
}

/// The least round range around values, for an axis in equal steps.
#[must_use]
pub fn covering(values: impl IntoIterator<Item = f64>) -> (f64, f64) {
    let mut range: Option<(f64, f64)> = None;
    for v in values.into_iter().filter(|v| v.is_finite()) {
        let v = v.clamp(-FURTHEST, FURTHEST);
        range = Some(range.map_or((v, v), |(a, b)| (a.min(v), b.max(v))));
    }
    let (low, high) = range.unwrap_or((0.0, 1.0));
    let (low, high) = Axis::linear("", low, high).range();
    let step = step((high - low) / 5.0);
    ((low / step).floor() * step, (high / step).ceil() * step)
}

/// The least of 1, 2, 5 times a power of ten that is not below `least`.
#[must_use]
pub(crate) fn step(least: f64) -> f64 {
    if !(least.is_finite() && least > 0.0) {
        return 1.0;
    }
    let power = 10f64.powi(least.log10().floor() as i32);
    [1.0, 2.0, 5.0]
        .into_iter()
        .map(|m| m * power)
        .find(|s| *s >= least * (1.0 - 1e-9))
        .unwrap_or(10.0 * power)
}

fn linear(low: f64, high: f64, fits: usize) -> Vec<Tick> {
    let step = step((high - low) / fits as f64);
    let first = (low / step - 1e-6).ceil();
    let last = (high / step + 1e-6).floor();
    let decimals = (-step.log10().floor()).max(0.0) as usize;
    let mut out = Vec::new();
    let mut n = first;
    while n <= last && out.len() < MOST {
        let value = n * step;
        let value = if n == 0.0 { 0.0 } else { value };
        out.push(Tick {
            value,
            text: written(value, decimals, high.abs().max(low.abs())),
        });
        n += 1.0;
    }
    out
}

fn log(low: f64, high: f64, fits: usize) -> Vec<Tick> {
    let (from, to) = (
        (low.log10() - 1e-9).floor() as i32,
        (high.log10() + 1e-9).ceil() as i32,
    );
    let inside = |v: f64| v >= low * (1.0 - 1e-9) && v <= high * (1.0 + 1e-9);
    let decades = (high / low).log10();
    let numbered: &[u32] = if decades * 3.0 <= fits as f64 {
        &[1, 2, 5]
    } else {
        &[1]
    };
    // Of very many decades only every second, third... has a number.
    let every = ((decades / fits as f64).ceil() as i32).max(1);
    let mut out = Vec::new();
    for decade in from..=to {
        for digit in 1..=9u32 {
            let value = f64::from(digit) * 10f64.powi(decade);
            if !inside(value) || (every > 1 && (digit != 1 || decade.rem_euclid(every) != 0)) {
                continue;
            }
            let text = if numbered.contains(&digit) {
                written(value, usize::try_from(-decade).unwrap_or(0), value)
            } else {
                String::new()
            };
            out.push(Tick { value, text });
        }
    }
    if out.iter().filter(|t| !t.text.is_empty()).count() < 2 {
        for tick in &mut out {
            tick.text = written(
                tick.value,
                (-tick.value.log10().floor()).max(0.0) as usize,
                tick.value,
            );
        }
    }
    out
}

/// A number along an axis: thousands as `k`, very large and very small ones by their power of ten.
fn written(value: f64, decimals: usize, largest: f64) -> String {
    let text = if value == 0.0 {
        "0".to_owned()
    } else if largest >= 1e7 || decimals > 5 {
        let text = format!("{value:.3e}");
        match text.split_once('e') {
            Some((figures, power)) => {
                let figures = figures.trim_end_matches('0').trim_end_matches('.');
                format!("{figures}e{power}")
            }
            None => text,
        }
    } else if largest >= 1000.0 && value.abs() >= 1000.0 {
        let text = format!("{:.3}", value / 1000.0);
        format!("{}k", text.trim_end_matches('0').trim_end_matches('.'))
    } else {
        format!("{value:.decimals$}")
    };
    match text.strip_prefix('-') {
        Some(rest) => format!("\u{2212}{rest}"),
        None => text,
    }
}
