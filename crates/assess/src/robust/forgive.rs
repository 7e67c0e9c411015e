//! How far wrong the guide may sit before it matters.

use std::f64::consts::TAU;

use super::ForgiveParams;
use super::placement::displaced;
use super::trial::Trial;

/// What a hole forgives.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Forgiven {
    pub(crate) shift_mm: f64,
    pub(crate) tilt_rad: f64,
    pub(crate) tilt_ring_rad: Vec<f64>,
}

/// The largest sideways shift and the largest tilt, one at a time, each in the
/// worst direction, for which the tip and the side wall are kept.
///
/// Both are 0 where the planned placement keeps neither.
pub(crate) fn forgiven(trial: &Trial<'_>, params: &ForgiveParams) -> Forgiven {
    let azimuths = params.azimuths.max(1);
    let side = |index: usize| (TAU * index as f64 / azimuths as f64).sin_cos();
    if !trial.holds(trial.axis) {
        let tilt_ring_rad = vec![0.0; azimuths];
        return Forgiven { shift_mm: 0.0, tilt_rad: 0.0, tilt_ring_rad };
    }
    let shift_mm = (0..azimuths).fold(params.most_shift_mm, |least, index| {
        let (sin, cos) = side(index);
        let holds = |mm: f64| trial.holds(displaced(trial.axis, [mm * cos, mm * sin], [0.0; 2]));
        largest(holds, least, [params.shift_step_mm, params.shift_to_mm])
    });
    let tilt_ring_rad: Vec<f64> = (0..azimuths)
        .map(|index| {
            let (sin, cos) = side(index);
            let holds =
                |rad: f64| trial.holds(displaced(trial.axis, [0.0; 2], [rad * cos, rad * sin]));
            largest(holds, params.most_tilt_rad, [params.tilt_step_rad, params.tilt_to_rad])
        })
        .collect();
    let tilt_rad = tilt_ring_rad.iter().copied().fold(params.most_tilt_rad, f64::min);
    Forgiven { shift_mm, tilt_rad, tilt_ring_rad }
}

/// The largest amount up to which a condition holds: stepped to the first
/// failure, then halved.
fn largest(holds: impl Fn(f64) -> bool, most: f64, [step, to]: [f64; 2]) -> f64 {
    let mut good = 0.0;
    while good < most {
        let next = (good + step).min(most);
        if holds(next) {
            good = next;
            continue;
        }
        let mut bad = next;
        while bad - good > to {
            let middle = f64::midpoint(good, bad);
            if holds(middle) {
                good = middle;
            } else {
                bad = middle;
            }
        }
        return f64::midpoint(good, bad);
    }
    most
}
