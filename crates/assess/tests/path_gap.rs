//! Two slabs of one bone with a gap between them, met one behind the other.

#[path = "robust_common/mod.rs"]
mod common;

use common::{Body, Drilled, plan, unit};
use pilothole_assess::{JudgeParams, judge_hole};
use pilothole_plan::Plan;
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

/// Two plates of 14 mm with cortices of 2 mm and a gap between them that the
/// envelope takes for their inside.
fn two_plates(gap_mm: f64, gap_hu: f64) -> (Body, Plan) {
    let start = -20.0;
    let hu = move |at: PatientPoint| {
        let along = at.0[2] - start;
        let within = if along > 14.0 + gap_mm { along - 14.0 - gap_mm } else { along };
        let in_gap = along > 14.0 && along < 14.0 + gap_mm;
        let cortex = within.min(14.0 - within) < 2.0;
        if in_gap {
            gap_hu
        } else if cortex {
            1200.0
        } else {
            200.0
        }
    };
    let thick_mm = 28.0 + gap_mm;
    let depth = move |at: PatientPoint| (at.0[2] - start).min(start + thick_mm - at.0[2]);
    let hole = Drilled { seat: [0.0, 0.0, start - 2.0], direction: [0.0, 0.0, 1.0], more: "" };
    (Body::new(30.0, 0.5, depth, hu), plan("10, 20", "margin_mm = 2.0", &[hole]))
}

// The envelope cannot tell two endless plates from one; the profile can.
#[test]
fn two_walls_back_to_back_inside_are_told() {
    // Of 1.5 mm and less, blur leaves a shallow dip.
    for (gap_mm, gap_hu) in [(1.5, 40.0), (2.0, 40.0), (4.0, 40.0), (1.5, 850.0)] {
        let (body, plan) = two_plates(gap_mm, gap_hu);
        let found = judge_hole(&body.scene(), &plan, 0, &JudgeParams::OWN);
        let told = found.findings.iter().find(|finding| finding.code == "path.walls_within");
        let width_mm = told.and_then(|finding| finding.measured).expect("the walls are told");
        assert!((width_mm - gap_mm).abs() <= 1.0, "{width_mm} mm for a gap of {gap_mm}");
    }
}

#[test]
fn a_wide_hollow_and_a_single_plate_are_no_gap() {
    // 8 mm is wider than a joint; 0 mm is one wall of 4 mm; a dip of a sixth is
    // what cortex does by itself.
    for (gap_mm, gap_hu) in [(0.0, 40.0), (8.0, 40.0), (1.5, 1000.0)] {
        let (body, plan) = two_plates(gap_mm, gap_hu);
        let found = judge_hole(&body.scene(), &plan, 0, &JudgeParams::OWN);
        assert!(found.findings.iter().all(|finding| finding.code != "path.walls_within"));
    }
}
