//! Two slabs of one bone with a gap between them, met one behind the other.

#[path = "robust_common/mod.rs"]
mod common;

use common::{Body, Drilled, plan, unit};
use pilothole_assess::{JudgeParams, judge_hole};
use pilothole_volume::PatientPoint;

/// The near slab's far face, and the faces of the one behind it, mm along the
/// axis from the near slab's near face.
const FACES_MM: [f64; 3] = [14.0, 19.0, 40.0];
/// From the seat to the near face, mm.
const BEFORE_MM: f64 = 2.0;
const VOXEL_MM: f64 = 0.8;

// The contract: bone met again behind the first exit is reported, never counted.
// All values are sums of the slabs' own thicknesses.
#[test]
fn bone_met_again_behind_a_gap_is_reported_and_not_counted() {
    let direction = unit([0.25, -0.15, 0.9]);
    let start = PatientPoint([-4.0, 3.0, -19.0]);
    let [first, second, last] = FACES_MM;
    let depth = |at: PatientPoint| {
        let along = (at - start).dot(direction.offset());
        let slab = |from: f64, to: f64| (along - from).min(to - along);
        slab(0.0, first).max(slab(second, last))
    };
    let body = Body::new(40.0, VOXEL_MM, depth, |_| 400.0);
    let seat = (start + direction * -BEFORE_MM).0;
    let hole = Drilled { seat, direction: direction.components(), more: "length_mm = 35.0" };
    let plan = plan("10, 20, 35", "margin_mm = 2.0", &[hole]);
    let found = judge_hole(&body.scene(), &plan, 0, &JudgeParams::OWN);

    let half_voxel = 0.5 * VOXEL_MM;
    let far_mm = found.far.expect("bone is left").at_mm;
    assert!((far_mm - BEFORE_MM - first).abs() <= half_voxel, "far end at {far_mm} mm");
    let depth_mm = found.bone_depth_mm().expect("both ends");
    assert!((depth_mm - first).abs() <= half_voxel, "depth {depth_mm} mm");
    assert_eq!(found.length_mm, Some(10.0), "the longest that stops before the gap");
    let purchase_mm = found.purchase_mm;
    assert!((purchase_mm - 8.0).abs() <= half_voxel, "purchase {purchase_mm} mm");
    let planned_mm = found.planned_purchase_mm.expect("a length is planned");
    assert!((planned_mm - first).abs() <= half_voxel, "purchase as planned {planned_mm} mm");
    let last_mm = found.segments.last().expect("bone was met").to_mm;
    assert!((last_mm - far_mm).abs() < 1e-9, "the segments end at the far end: {last_mm}");

    let again_mm = found.beyond.bone_mm.expect("bone is met again") + 10.0;
    assert!((again_mm - BEFORE_MM - second).abs() <= half_voxel, "again at {again_mm} mm");
    let told = found.findings.iter().find(|finding| finding.code == "path.bone_again");
    let gap_mm = told.and_then(|finding| finding.measured).expect("the gap is told");
    assert!((gap_mm - (second - first)).abs() <= half_voxel, "gap {gap_mm} mm");
}
