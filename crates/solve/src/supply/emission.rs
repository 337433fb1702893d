//! What a cathode gives when its heater is short of volts.

/// Part of the full current at given electrode volts, from heater volts over rated volts.
///
/// Full from 90 % up, nothing below 50 %, a smooth rise between. Common practice, no source:
/// makers promise figures within 10 % of the rated volts and none outside; a valve on half its
/// heater volts hardly conducts. Above the rating it stays full.
///
/// ```
/// # use solve::supply::emission;
/// assert_eq!(emission(1.0), 1.0);
/// assert_eq!(emission(0.4), 0.0);
/// assert!((emission(0.7) - 0.5).abs() < 1e-12);
/// ```
pub fn emission(part: f64) -> f64 {
    let t = ((part - 0.5) / 0.4).clamp(0.0, 1.0);
    // A part that is not a number gives nothing.
    if t.is_nan() {
        0.0
    } else {
        t * t * (3.0 - 2.0 * t)
    }
}
