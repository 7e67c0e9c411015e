//! Hounsfield units along an axis.

use super::axis::{Axis, Trace};
use crate::hole::Profile;
use crate::params::PathParams;
use crate::scene::Scene;

/// Read the scan along an axis, from `before_seat_mm` before the seat to the
/// end of the scan, at most `reach_mm`.
///
/// Trilinear, at the step of [`PathParams::step_mm`]; not-a-number where
/// nothing was measured.
pub fn sample_profile(scene: &Scene<'_>, axis: Axis, params: &PathParams) -> Profile {
    let step_mm = params.step_mm(scene.volume.grid());
    let before = (params.before_seat_mm / step_mm).ceil();
    let count = (before + (params.reach_mm / step_mm).ceil()) as usize + 1;
    let trace = Trace::new(scene.volume.grid(), axis);
    let mut hu = scene.volume.samples_or_nan(count, |i| trace.at((i as f64 - before) * step_mm));
    while hu.last().is_some_and(|v| v.is_nan()) {
        hu.pop();
    }
    Profile { from_mm: -before * step_mm, step_mm, hu }
}

impl Profile {
    /// Position of a sample, mm from the seat.
    pub fn position_mm(&self, index: usize) -> f64 {
        self.from_mm + index as f64 * self.step_mm
    }

    /// Linear between samples; not-a-number beyond them.
    pub fn at_or_nan(&self, position_mm: f64) -> f64 {
        let at = (position_mm - self.from_mm) / self.step_mm;
        if !(0.0..=(self.hu.len() as f64 - 1.0)).contains(&at) {
            return f64::NAN;
        }
        let low = (at as usize).min(self.hu.len().saturating_sub(2));
        let part = at - low as f64;
        match self.hu.get(low + 1) {
            Some(next) if part > 0.0 => self.hu[low] + part * (next - self.hu[low]),
            _ => self.hu[low],
        }
    }
}
