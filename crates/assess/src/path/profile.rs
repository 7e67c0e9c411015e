//! Hounsfield units along an axis.

use pilothole_volume::VoxelPoint;

use super::axis::{Axis, Trace};
use crate::hole::Profile;
use crate::params::PathParams;
use crate::scene::Scene;

/// Where along an axis a profile is read.
#[derive(Clone, Copy, Debug)]
pub(super) struct Reading<'a> {
    trace: Trace<'a>,
    /// Samples before the seat.
    before: f64,
    step_mm: f64,
    /// Samples in all.
    pub(super) count: usize,
}

impl<'a> Reading<'a> {
    pub(super) fn new(scene: &Scene<'a>, axis: Axis, params: &PathParams) -> Self {
        let step_mm = params.step_mm(scene.volume.grid());
        let before = (params.before_seat_mm / step_mm).ceil();
        let count = (before + (params.reach_mm / step_mm).ceil()) as usize + 1;
        Self { trace: Trace::new(scene.volume.grid(), axis), before, step_mm, count }
    }

    /// The lattice position of a sample.
    #[inline]
    pub(super) fn at(&self, index: usize) -> VoxelPoint {
        self.trace.at((index as f64 - self.before) * self.step_mm)
    }

    /// The first samples.
    fn first(&self, scene: &Scene<'_>, count: usize) -> Profile {
        let mut hu = scene.volume.samples_or_nan(count, |i| self.at(i));
        while hu.last().is_some_and(|v| v.is_nan()) {
            hu.pop();
        }
        Profile { from_mm: -self.before * self.step_mm, step_mm: self.step_mm, hu }
    }
}

/// Read the scan along an axis, from `before_seat_mm` before the seat to the
/// end of the scan, at most `reach_mm`.
///
/// Trilinear, at the step of [`PathParams::step_mm`]; not-a-number where
/// nothing was measured.
pub fn sample_profile(scene: &Scene<'_>, axis: Axis, params: &PathParams) -> Profile {
    let reading = Reading::new(scene, axis, params);
    reading.first(scene, reading.count)
}

/// As [`sample_profile`], as far as a position at least.
pub(super) fn sample_profile_to(
    scene: &Scene<'_>,
    axis: Axis,
    end_mm: f64,
    params: &PathParams,
) -> Profile {
    let reading = Reading::new(scene, axis, params);
    let samples = (reading.before + (end_mm / reading.step_mm).ceil()).max(0.0) as usize + 1;
    reading.first(scene, samples.min(reading.count))
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
