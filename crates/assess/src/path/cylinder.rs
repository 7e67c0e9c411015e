//! Hounsfield units around a purchase.

use pilothole_volume::{Annulus, Quadrature, sample_annulus};

use super::axis::Axis;
use super::statistics::statistics;
use crate::hole::HuSet;
use crate::params::PathParams;
use crate::scene::Scene;

/// Measure core, thread and axis from `from_mm` to `to_mm`.
///
/// - `core_mm`, `major_mm`: radii of core and thread.
///
/// Samples where nothing was measured are left out; the second value is their
/// share, 0 to 1. `None` when no sample is left.
pub fn measure_hu(
    scene: &Scene<'_>,
    axis: Axis,
    [from_mm, to_mm]: [f64; 2],
    [core_mm, major_mm]: [f64; 2],
    params: &PathParams,
) -> Option<(HuSet, f64)> {
    let steps = steps(scene, params);
    let mut missing = 0;
    let mut total = 0;
    let mut tube = |inner_mm: f64, outer_mm: f64| {
        let tube =
            Annulus { origin: axis.seat, axis: axis.direction, from_mm, to_mm, inner_mm, outer_mm };
        let all = sample_annulus(scene.volume, &tube, steps);
        let kept: Vec<f64> = all.iter().map(|s| s.hu).filter(|hu| !hu.is_nan()).collect();
        total += all.len();
        missing += all.len() - kept.len();
        statistics(kept)
    };
    let core = tube(0.0, core_mm)?;
    let thread = tube(core_mm, major_mm)?;
    let step_mm = params.step_mm(scene.volume.grid());
    let count = ((to_mm - from_mm) / step_mm).ceil().max(1.0) as usize;
    let line = (0..count)
        .map(|i| {
            let t = from_mm + (i as f64 + 0.5) * (to_mm - from_mm) / count as f64;
            scene.volume.sample_or_nan(axis.at(t))
        })
        .filter(|hu| !hu.is_nan())
        .collect();
    Some((HuSet { core, thread, axis: statistics(line)? }, missing as f64 / total as f64))
}

fn steps(scene: &Scene<'_>, params: &PathParams) -> Quadrature {
    let across_mm = params.across_mm(scene.volume.grid());
    Quadrature { step_mm: across_mm, across_mm }
}

/// The thread's mean alone, HU, to the last digit that of [`measure_hu`]; for
/// many directions. `None` where nothing was measured.
pub fn thread_mean_hu(
    scene: &Scene<'_>,
    axis: Axis,
    [from_mm, to_mm]: [f64; 2],
    [core_mm, major_mm]: [f64; 2],
    params: &PathParams,
) -> Option<f64> {
    let tube = Annulus {
        origin: axis.seat,
        axis: axis.direction,
        from_mm,
        to_mm,
        inner_mm: core_mm,
        outer_mm: major_mm,
    };
    let all = sample_annulus(scene.volume, &tube, steps(scene, params));
    let (sum, count) = all
        .iter()
        .filter(|sample| !sample.hu.is_nan())
        .fold((0.0, 0_usize), |(sum, count), sample| (sum + sample.hu, count + 1));
    (count > 0).then(|| sum / count as f64)
}
