//! Where the thread's HU are read: between the core's radius and the thread's.

#[path = "robust_common/mod.rs"]
mod common;

use common::{Body, Drilled, plan};
use pilothole_assess::{JudgeParams, judge_hole};
use pilothole_volume::PatientPoint;

/// HU on the axis, and their rise with the square of the distance from it, mm⁻².
const AT_AXIS: f64 = 400.0;
const RISE: f64 = 20.0;

// Closed form: the mean of a + b r² over a ring from r to R is a + b (r² + R²) / 2,
// over a disc a + b R² / 2. Reading between voxels adds at most b h² / 4 for each
// of the two axes across: 2.5 HU for voxels of 0.5 mm.
#[test]
fn the_thread_is_read_between_the_radii_of_core_and_thread() {
    let depth = |at: PatientPoint| (at.0[2] + 18.0).min(18.0 - at.0[2]);
    let rises = |at: PatientPoint| AT_AXIS + RISE * (at.0[0].powi(2) + at.0[1].powi(2));
    let body = Body::new(20.0, 0.5, depth, rises);
    let hole = Drilled { seat: [0.0, 0.0, -16.0], direction: [0.0, 0.0, 1.0], more: "" };
    let plan = plan("25", "margin_mm = 2.0", &[hole]);
    let found = judge_hole(&body.scene(), &plan, 0, &JudgeParams::OWN);
    assert_eq!(found.length_mm, Some(25.0));
    let hu = found.hu.expect("measured");
    // Diameters of the plan's thread: 6.5 and 3.0 mm.
    let (core, major) = (1.5_f64, 3.25_f64);
    let thread = AT_AXIS + RISE * (core.powi(2) + major.powi(2)) / 2.0;
    assert!((hu.thread.mean - thread).abs() <= 2.5, "{} HU, not {thread}", hu.thread.mean);
    let inner = AT_AXIS + RISE * core.powi(2) / 2.0;
    assert!((hu.core.mean - inner).abs() <= 2.5, "{} HU, not {inner}", hu.core.mean);
}
