//! A quick reading of a thread's Hounsfield units.

use std::f64::consts::TAU;

use crate::path::Axis;
use crate::scene::Scene;

/// Points in each plane; in every second plane they stand between those of the
/// one before.
const SPOKES: usize = 6;

/// Mean on the circle that halves the area between core and outer diameter, in
/// planes at most `step_mm` apart; `None` where nothing was measured.
///
/// - `thread_mm`: from, to, mm from the seat.
/// - `diameters_mm`: core, outer.
pub(crate) fn quick_thread_hu(
    scene: &Scene<'_>,
    axis: Axis,
    [from_mm, to_mm]: [f64; 2],
    diameters_mm: [f64; 2],
    step_mm: f64,
) -> Option<f64> {
    let length_mm = to_mm - from_mm;
    if length_mm.is_nan() || length_mm <= 0.0 {
        return None;
    }
    let [core, major] = diameters_mm.map(|d| 0.5 * d);
    let radius_mm = (0.5 * (core.powi(2) + major.powi(2))).sqrt();
    let (u, v) = axis.direction.across();
    let out: [_; 2 * SPOKES] = std::array::from_fn(|spoke| {
        let angle = TAU * spoke as f64 / (2 * SPOKES) as f64;
        u * (radius_mm * angle.cos()) + v * (radius_mm * angle.sin())
    });
    let planes = (length_mm / step_mm).ceil() as usize;
    let (mut sum, mut count) = (0.0, 0);
    for plane in 0..planes {
        let centre = axis.at(from_mm + (plane as f64 + 0.5) * length_mm / planes as f64);
        for side in out.iter().skip(plane % 2).step_by(2) {
            let hu = scene.volume.sample_or_nan(centre + *side);
            if !hu.is_nan() {
                sum += hu;
                count += 1;
            }
        }
    }
    (count > 0).then(|| sum / f64::from(count))
}
