//! Refinement where the best direction is one that no drill gets to.

mod robust_common;

use std::sync::atomic::AtomicBool;

use pilothole_assess::path::Axis;
use pilothole_assess::refine::{
    Corridors, DrillWays, OpenCorridors, RefineParams, RefineReason, Refined, objectives_at, refine,
};
use pilothole_assess::robust::RobustParams;
use pilothole_assess::set::{SetParams, judge_set};
use pilothole_assess::{JudgeParams, judge_holes};
use pilothole_plan::Plan;
use pilothole_volume::PatientPoint;
use robust_common::{Body, Drilled, plan, strength, unit};

fn params(placements: usize) -> RefineParams {
    RefineParams { placements, ..RefineParams::with(RobustParams::OWN, strength()) }
}

/// No placement errors: what counts is the planned placement.
fn exact() -> RefineParams {
    let mut params = params(1);
    params.robust.entry_sd_mm = 0.0;
    params.robust.angle_sd_rad = 0.0;
    params
}

fn run(body: &Body, plan: &Plan, params: &RefineParams) -> Refined {
    let scene = body.scene();
    let holes = judge_holes(&scene, plan, &JudgeParams::OWN);
    let ways = DrillWays::new(&scene, plan, &holes, &SetParams::OWN);
    refine(&scene, plan, params, &ways, &AtomicBool::new(false))
}

#[test]
fn past_the_edge_of_the_wound_the_best_free_direction_is_taken() {
    // In a slab the purchase grows with the tilt, so that the best lies at the
    // edge of the swivel, 30 degrees off the normal; the wound lets drills
    // through to 24 degrees.
    let normal = unit([0.2, 0.3, 0.9]);
    let depth = move |at: PatientPoint| {
        let along = (at - PatientPoint([0.0, 0.0, -12.0])).dot(normal.offset());
        along.min(26.0 - along)
    };
    let body = Body::new(45.0, 0.8, depth, |_| 300.0);
    let tilted = |deg: f64| normal.tilted(deg.to_radians(), 1.0);
    let seat = (PatientPoint([0.0, 0.0, -12.0]) + normal * -1.0).0;
    let hole = Drilled { seat, direction: tilted(20.0).components(), more: "swivel_deg = 10.0\n" };
    let lengths: Vec<String> = (30..140).map(|i| format!("{:?}", f64::from(i) * 0.5)).collect();
    let wound = (-tilted(14.0)).components();
    let policy = format!(
        "margin_mm = 1.0\n[approach]\naxis = {wound:?}\nhalf_angle_deg = 10.0\n\
         drill_length_mm = 60.0\ndrill_radius_mm = 2.0"
    );
    let plan = plan(&lengths.join(", "), &policy, &[hole]);
    let free = refine(&body.scene(), &plan, &exact(), &OpenCorridors, &AtomicBool::new(false));
    let open = free.holes[0].after.expect("holds").direction;
    assert!(open.angle_rad(tilted(30.0)).to_degrees() < 0.5, "unhindered it goes to the edge");
    assert_eq!(free.holes[0].blocked, 0);

    let found = run(&body, &plan, &exact());
    let hole = &found.holes[0];
    let after = hole.after.expect("holds");
    let off = after.direction.angle_rad(tilted(24.0)).to_degrees();
    // Half a millimetre of length is half a degree here.
    assert!(off < 1.0, "{off}");
    assert!(after.direction.angle_rad(tilted(14.0)).to_degrees() <= 10.0 + 1e-6);
    let most = 26.0 / 24.0_f64.to_radians().cos() - 1.0;
    let purchase = after.objectives.purchase_mm;
    assert!(purchase > 0.99 * most - 0.5 && purchase < 1.01 * most, "{purchase} of {most}");
    assert_eq!(hole.reason, RefineReason::Better);
    assert!(hole.blocked > 20 && hole.blocked < hole.tried, "{} {}", hole.blocked, hole.tried);
}

#[test]
fn behind_a_ridge_of_bone_the_best_free_direction_is_taken() {
    // A block whose bone is deeper towards one side, and a ridge that stands
    // where the drill would come from for that side.
    let depth = |at: PatientPoint| {
        let [x, y, z] = at.0;
        let block = (z + 10.0).min(26.0 + 0.7 * x - z);
        let ridge = 4.0 - (x + 12.0).hypot(z + 30.0);
        block.max(ridge.min(12.0 - y.abs()))
    };
    let body = Body::new(44.0, 0.8, depth, |_| 300.0);
    let direction = unit([-0.15, 0.0, 1.0]).components();
    let hole = Drilled { seat: [0.0, 0.0, -11.0], direction, more: "swivel_deg = 24.0\n" };
    let lengths: Vec<String> = (30..140).map(|i| format!("{:?}", f64::from(i) * 0.5)).collect();
    let policy = "margin_mm = 1.0\n[approach]\naxis = [0.0, 0.0, -1.0]\nhalf_angle_deg = 60.0\n\
                  drill_length_mm = 40.0\ndrill_radius_mm = 5.0";
    let plan = plan(&lengths.join(", "), policy, &[hole]);
    let params = exact();
    let found = run(&body, &plan, &params);
    let after = found.holes[0].after.expect("holds");

    let scene = body.scene();
    let holes = judge_holes(&scene, &plan, &JudgeParams::OWN);
    let ways = DrillWays::new(&scene, &plan, &holes, &SetParams::OWN);
    let planned = &plan.holes[0];
    let (mut best, mut best_free) = (0.0_f64, 0.0_f64);
    for [i, j] in (-24..=24).flat_map(|i| (-24..=24).map(move |j| [f64::from(i), f64::from(j)])) {
        if i.hypot(j) > 24.0 {
            continue;
        }
        let direction = planned.direction.tilted(i.hypot(j).to_radians(), j.atan2(i));
        let axis = Axis { seat: planned.seat, direction };
        let worth = objectives_at(&scene, &plan, 0, axis, &params).map_or(0.0, |o| o.worth_n());
        best = best.max(worth);
        if ways.reaches(0, planned.seat, direction) {
            best_free = best_free.max(worth);
        }
    }
    assert!(best_free < 0.97 * best, "the ridge keeps the best away: {best_free} of {best}");
    let left = after.objectives.worth_n();
    assert!(left > 0.985 * best_free, "{left} of {best_free}");
    assert!(found.holes[0].blocked > 0);

    // What the set then says of the new plan.
    let holes = judge_holes(&scene, &found.plan, &JudgeParams::OWN);
    let set = judge_set(&scene, &found.plan, &holes, &SetParams::OWN);
    assert!(set.access[0].is_clear(), "{:?}", set.access[0].blocks);
}

#[test]
fn strength_is_not_given_up_for_room_that_clears_nothing() {
    // Heads 2 mm apart where 5 are wanted, and only swivels: leaning away from
    // each other gains tenths of a millimetre and loses the deep bone in the
    // middle.
    let depth = |at: PatientPoint| {
        let [x, _, z] = at.0;
        (z + 20.0).min(34.0 - 1.5 * x.abs() - z)
    };
    let body = Body::new(44.0, 1.0, depth, |_| 300.0);
    let hole = |x: f64| Drilled {
        seat: [x, 0.0, -21.0],
        direction: [0.0, 0.0, 1.0],
        more: "swivel_deg = 10.0\n",
    };
    let lengths: Vec<String> = (20..50).map(|i| format!("{i}.0")).collect();
    let policy = "margin_mm = 1.0\nscrew_gap_mm = 5.0";
    let plan = plan(&lengths.join(", "), policy, &[hole(-5.0), hole(5.0)]);
    let found = run(&body, &plan, &exact());
    assert_eq!(found.clashes, [1, 1]);
    for hole in &found.holes {
        let [before, after] = [hole.before, hole.after].map(|c| c.expect("holds").objectives);
        assert!(after.worth_n() >= before.worth_n(), "{} of {}", after.low_n, before.low_n);
    }
}

#[test]
fn heads_that_come_too_near_are_parted() {
    // Heads of 8 mm, 10 mm apart: 2 mm are left between them, 3 are wanted;
    // between the shafts there are 3.5.
    let depth = |at: PatientPoint| (at.0[2] + 20.0).min(30.0 - at.0[2]);
    let body = Body::new(40.0, 1.0, depth, |_| 300.0);
    let hole = |x: f64| Drilled {
        seat: [x, 0.0, -21.0],
        direction: [0.0, 0.0, 1.0],
        more: "seat_shift_mm = 2.0\n",
    };
    let plan = plan("30, 35", "margin_mm = 2.0\nscrew_gap_mm = 3.0", &[hole(-5.0), hole(5.0)]);
    let found = run(&body, &plan, &params(16));
    assert_eq!(found.clashes, [1, 0]);
    let scene = body.scene();
    let holes = judge_holes(&scene, &found.plan, &JudgeParams::OWN);
    let set = judge_set(&scene, &found.plan, &holes, &SetParams::OWN);
    assert!(set.clash.is_empty(), "{:?}", set.clash);
    for hole in &found.holes {
        assert!(hole.moved_mm <= 2.0);
    }
}
