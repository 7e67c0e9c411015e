//! Refinement on bodies whose best direction is known, and what it must never
//! do.

mod robust_common;

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

use pilothole_assess::path::Axis;
use pilothole_assess::refine::{
    Corridors, OpenCorridors, RefineParams, RefineReason, Refined, objectives_at, refine,
};
use pilothole_assess::robust::RobustParams;
use pilothole_plan::Plan;
use pilothole_volume::{Direction, Offset, PatientPoint};
use rayon::prelude::*;
use robust_common::{Body, Drilled, plan, strength, unit};

/// No placement errors: what counts is the planned placement.
fn exact() -> RefineParams {
    let robust = RobustParams { entry_sd_mm: 0.0, angle_sd_rad: 0.0, ..RobustParams::OWN };
    RefineParams { placements: 1, ..RefineParams::with(robust, strength()) }
}

fn erring(placements: usize) -> RefineParams {
    RefineParams { placements, ..RefineParams::with(RobustParams::OWN, strength()) }
}

fn run(body: &Body, plan: &Plan, params: &RefineParams) -> Refined {
    refine(&body.scene(), plan, params, &OpenCorridors, &AtomicBool::new(false))
}

/// Lengths half a millimetre apart, so that the length hardly steps.
fn fine_lengths() -> String {
    (30..140).map(|i| format!("{:?}", f64::from(i) * 0.5)).collect::<Vec<_>>().join(", ")
}

fn off_deg(found: Direction, best: Direction) -> f64 {
    found.angle_rad(best).to_degrees()
}

#[test]
fn in_a_tilted_slab_the_best_is_the_edge_of_the_swivel() {
    let normal = unit([0.2, 0.3, 0.9]);
    let depth = move |at: PatientPoint| {
        let along = (at - PatientPoint([0.0, 0.0, -12.0])).dot(normal.offset());
        along.min(26.0 - along)
    };
    let body = Body::new(45.0, 0.8, depth, |_| 300.0);
    let planned = normal.tilted(20.0_f64.to_radians(), 1.0);
    let seat = (PatientPoint([0.0, 0.0, -12.0]) + normal * -1.0).0;
    let hole = Drilled { seat, direction: planned.components(), more: "swivel_deg = 10.0\n" };
    let plan = plan(&fine_lengths(), "margin_mm = 1.0", &[hole]);
    let found = run(&body, &plan, &exact());
    let after = found.holes[0].after.expect("holds");
    let best = normal.tilted(30.0_f64.to_radians(), 1.0);
    assert!(off_deg(after.direction, best) < 0.5, "{}", off_deg(after.direction, best));
    assert!(found.holes[0].turned_rad <= 10.0_f64.to_radians());
    // The thread runs from the near face to a margin before the far one, less
    // what the lengths step.
    let most = 26.0 / 30.0_f64.to_radians().cos() - 1.0;
    let purchase = after.objectives.purchase_mm;
    assert!(purchase > 0.99 * most - 0.5 && purchase < 1.01 * most, "{purchase} of {most}");
    assert_eq!(found.holes[0].reason, RefineReason::Better);
    assert!(off_deg(found.plan.holes[0].direction, after.direction) < 1e-9);
    assert_eq!(found.plan.holes[0].length_mm, Some(after.objectives.length_mm));
}

#[test]
fn in_an_ellipsoid_with_a_dense_core_the_best_is_its_long_axis() {
    let long = unit([-0.3, 0.2, 0.93]);
    let share = move |at: PatientPoint| {
        let from = at - PatientPoint([0.0; 3]);
        let along = from.dot(long.offset());
        let across = (from - long * along).length_mm();
        (along / 30.0).hypot(across / 13.0)
    };
    let body = Body::new(
        36.0,
        0.7,
        move |at| 13.0 * (1.0 - share(at)),
        move |at| {
            if share(at) < 0.5 { 700.0 } else { 250.0 }
        },
    );
    let seat = (PatientPoint([0.0; 3]) + long * -31.0).0;
    for azimuth in [0.3, 2.4, 4.6] {
        let planned = long.tilted(6.0_f64.to_radians(), azimuth);
        let hole = Drilled { seat, direction: planned.components(), more: "swivel_deg = 10.0\n" };
        let plan = plan(&fine_lengths(), "margin_mm = 1.0", &[hole]);
        let found = run(&body, &plan, &exact());
        let after = found.holes[0].after.expect("holds");
        assert!(off_deg(after.direction, long) < 0.5, "{}", off_deg(after.direction, long));
        let purchase = after.objectives.purchase_mm;
        assert!((purchase - 59.0).abs() < 0.01 * 59.0 + 0.5, "{purchase}");
    }
}

#[test]
fn in_a_tube_the_best_under_errors_is_its_axis() {
    let axis = unit([0.15, -0.1, 0.98]);
    let entry = PatientPoint([0.0, 0.0, -25.0]);
    let depth = move |at: PatientPoint| {
        let along = (at - entry).dot(axis.offset());
        let across = (at - entry - axis * along).length_mm();
        (6.5 - across).min(along).min(52.0 - along)
    };
    let body = Body::new(36.0, 0.7, depth, |_| 300.0);
    let seat = (entry + axis * -0.5).0;
    for azimuth in [1.0, 3.9] {
        let planned = axis.tilted(6.0_f64.to_radians(), azimuth);
        let hole = Drilled { seat, direction: planned.components(), more: "swivel_deg = 8.0\n" };
        let plan = plan("45", "margin_mm = 1.0", &[hole]);
        let mut params = erring(256);
        params.robust.entry_sd_mm = 0.8;
        params.robust.angle_sd_rad = 1.8_f64.to_radians();
        let found = run(&body, &plan, &params);
        let hole = &found.holes[0];
        let after = hole.after.expect("holds");
        assert!(off_deg(after.direction, axis) < 0.5, "{}", off_deg(after.direction, axis));
        assert!(hole.before.expect("held").objectives.keeps < after.objectives.keeps);
    }
}

/// A lopsided lump of uneven bone.
fn lump(case: u32) -> Body {
    let k = f64::from(case);
    let centre = PatientPoint([2.0 * (k * 1.3).sin(), 1.5 * (k * 2.1).cos(), 3.0]);
    let depth = move |at: PatientPoint| {
        let from = at - centre;
        let turn = from.0[1].atan2(from.0[0]);
        let radius = 22.0 + 3.0 * (2.0 * turn + k).sin() + 2.0 * (0.2 * from.0[2] + k).cos();
        radius - Offset([from.0[0], from.0[1], 0.8 * from.0[2]]).length_mm()
    };
    let hu = move |at: PatientPoint| {
        let [x, y, z] = at.0;
        300.0 + 120.0 * (0.25 * x + k).sin() * (0.2 * y).cos() + 60.0 * (0.15 * z + k).sin()
    };
    Body::new(34.0, 1.0, depth, hu)
}

fn lump_plan(case: u32, lengths: &str, more: &'static str) -> Plan {
    let k = f64::from(case);
    let direction = unit([0.3 * k.sin(), 0.3 * (1.7 * k).cos(), 1.0]).components();
    let hole = Drilled { seat: [0.0, 0.0, -14.0], direction, more };
    plan(lengths, "margin_mm = 1.5", &[hole])
}

/// The most that any direction of the swivel is worth, looked at every 0.25°, N.
fn exhaustive_n(body: &Body, plan: &Plan, params: &RefineParams) -> f64 {
    let (scene, planned) = (body.scene(), &plan.holes[0]);
    let step = 0.25_f64.to_radians();
    let most = (planned.swivel_rad / step).ceil() as i32;
    (-most..=most)
        .into_par_iter()
        .flat_map_iter(|i| (-most..=most).map(move |j| [i, j].map(|k| f64::from(k) * step)))
        .filter(|[a, b]| a.hypot(*b) <= planned.swivel_rad)
        .map(|[a, b]| {
            let direction = planned.direction.tilted(a.hypot(b), b.atan2(a));
            let axis = Axis { seat: planned.seat, direction };
            objectives_at(&scene, plan, 0, axis, params).map_or(0.0, |o| o.worth_n())
        })
        .reduce(|| 0.0, f64::max)
}

#[test]
fn exhaustive_search_of_a_whole_swivel_finds_nothing_better_on_ten_lumps() {
    let lengths = (20..70).map(|i| format!("{i}.0")).collect::<Vec<_>>().join(", ");
    for case in 0..10 {
        let (body, plan) = (lump(case), lump_plan(case, &lengths, "swivel_deg = 12.0\n"));
        let best = exhaustive_n(&body, &plan, &exact());
        let hole = &run(&body, &plan, &exact()).holes[0];
        let found = hole.after.expect("holds").objectives.worth_n();
        assert!(found > 0.99 * best, "case {case}: {found} of {best}, {:?}", hole.reason);
        assert!(hole.turned_rad <= plan.holes[0].swivel_rad);
    }
}

#[test]
fn exhaustive_search_under_errors_finds_nothing_better_on_ten_lumps() {
    let lengths = (20..70).map(|i| format!("{i}.0")).collect::<Vec<_>>().join(", ");
    let params = erring(8);
    for case in 0..10 {
        let (body, plan) = (lump(case), lump_plan(case, &lengths, "swivel_deg = 2.5\n"));
        let best = exhaustive_n(&body, &plan, &params);
        let hole = &run(&body, &plan, &params).holes[0];
        let left = hole.after.expect("holds").objectives.worth_n();
        // A hole that stays gave up at most the noise.
        let given_up = if hole.reason == RefineReason::WithinNoise { hole.noise_n } else { 0.0 };
        assert!(left + given_up > 0.985 * best, "case {case}: {left} of {best}, {:?}", hole.reason);
        assert!(hole.turned_rad <= plan.holes[0].swivel_rad);
    }
}

#[test]
fn a_hole_that_is_best_within_the_noise_stays_and_says_so() {
    // In a ball every direction near the diameter is as good.
    let depth = |at: PatientPoint| 24.0 - (at - PatientPoint([0.0; 3])).length_mm();
    let body = Body::new(30.0, 0.8, depth, |_| 300.0);
    let hole = Drilled {
        seat: [0.0, 0.0, -25.0],
        direction: [0.02, 0.0, 1.0],
        more: "swivel_deg = 5.0\n",
    };
    let plan = plan("30, 40", "margin_mm = 1.0", &[hole]);
    let found = run(&body, &plan, &erring(48));
    let hole = &found.holes[0];
    assert!(
        matches!(hole.reason, RefineReason::WithinNoise | RefineReason::AlreadyBest),
        "{:?}",
        hole.reason
    );
    assert!(hole.turned_rad <= 0.0 && hole.moved_mm <= 0.0);
    assert_eq!(found.plan, plan);
    if hole.reason == RefineReason::WithinNoise {
        assert_eq!(found.findings[0].code, "refine.within_noise");
        assert!(hole.gain_n <= hole.noise_n);
    }
}

/// A thick block, and holes in it that point at each other.
fn block_with(holes: &[Drilled]) -> (Body, Plan) {
    let depth = |at: PatientPoint| (at.0[2] + 20.0).min(30.0 - at.0[2]);
    let body = Body::new(40.0, 1.0, depth, |_| 300.0);
    (body, plan("30, 35, 40", "margin_mm = 2.0\nscrew_gap_mm = 1.0", holes))
}

#[test]
fn two_screws_that_cross_are_parted() {
    let hole = |x: f64| Drilled {
        seat: [x, 0.0, -21.0],
        direction: [-x / 20.0, 0.0, 1.0],
        more: "swivel_deg = 15.0\n",
    };
    let (body, plan) = block_with(&[hole(-6.0), hole(6.0)]);
    let found = run(&body, &plan, &erring(16));
    assert_eq!(found.clashes, [1, 0]);
    let gap = found.holes[0].after.and_then(|a| a.gap_mm).expect("two screws");
    assert!(gap >= 1.0 - 1e-6, "{gap}");
    for (refined, hole) in found.holes.iter().zip(&plan.holes) {
        assert!(refined.turned_rad <= hole.swivel_rad);
        assert!(!refined.front.is_empty());
    }
}

#[test]
fn fixed_holes_stay_and_are_gone_around() {
    let still = Drilled { seat: [-6.0, 0.0, -21.0], direction: [0.3, 0.0, 1.0], more: "" };
    let free = Drilled {
        seat: [6.0, 0.0, -21.0],
        direction: [-0.3, 0.0, 1.0],
        more: "swivel_deg = 24.0\n",
    };
    let (body, plan) = block_with(&[still, free]);
    let found = run(&body, &plan, &erring(16));
    assert_eq!(found.holes[0].reason, RefineReason::Fixed);
    assert_eq!(found.plan.holes[0], plan.holes[0]);
    assert_eq!(found.clashes, [1, 0]);
}

struct OnlyLeft(AtomicUsize);

impl Corridors for OnlyLeft {
    fn reaches(&self, _hole: usize, _seat: PatientPoint, direction: Direction) -> bool {
        self.0.fetch_add(1, Ordering::Relaxed);
        direction.components()[0] > 0.05
    }
}

#[test]
fn directions_that_no_drill_reaches_are_not_proposed() {
    let hole = |swivel: &'static str| Drilled {
        seat: [0.0, 0.0, -21.0],
        direction: [-0.1, 0.0, 1.0],
        more: swivel,
    };
    let corridors = OnlyLeft(AtomicUsize::new(0));
    let (body, plan) = block_with(&[hole("swivel_deg = 15.0\n")]);
    let stop = AtomicBool::new(false);
    let found = refine(&body.scene(), &plan, &erring(16), &corridors, &stop);
    assert_eq!(found.holes[0].reason, RefineReason::OpensCorridor);
    assert!(found.plan.holes[0].direction.components()[0] > 0.05);
    assert!(found.holes[0].front.iter().all(|c| c.direction.components()[0] > 0.05));
    let (body, plan) = block_with(&[hole("swivel_deg = 3.0\n")]);
    let found = refine(&body.scene(), &plan, &erring(16), &corridors, &stop);
    assert_eq!(found.holes[0].reason, RefineReason::Blocked);
    assert_eq!(found.plan, plan);
    assert_eq!(found.findings[0].code, "refine.blocked");
}

/// Open within 0.4° of one direction, less than the first look's spacing.
struct Slit(Direction);

impl Corridors for Slit {
    fn reaches(&self, _hole: usize, _seat: PatientPoint, direction: Direction) -> bool {
        direction.angle_rad(self.0) < 0.4_f64.to_radians()
    }

    fn nearest_free(&self, _seat: PatientPoint, _direction: Direction) -> Option<Direction> {
        Some(self.0)
    }
}

#[test]
fn a_corridor_narrower_than_the_first_look_is_found() {
    let planned = [-0.1, 0.0, 1.0];
    let slit = Direction::along(Offset(planned))
        .map(|into| Slit(into.tilted(7.3_f64.to_radians(), 0.9)))
        .expect("a direction");
    let hole = |swivel: &'static str| {
        block_with(&[Drilled { seat: [0.0, 0.0, -21.0], direction: planned, more: swivel }])
    };
    let stop = AtomicBool::new(false);
    let (body, plan) = hole("swivel_deg = 12.0\n");
    let found = refine(&body.scene(), &plan, &erring(16), &slit, &stop);
    assert_eq!(found.holes[0].reason, RefineReason::OpensCorridor);
    assert!(slit.reaches(0, plan.holes[0].seat, found.plan.holes[0].direction));
    // Past the swivel it is of no use.
    let (body, plan) = hole("swivel_deg = 6.0\n");
    let found = refine(&body.scene(), &plan, &erring(16), &slit, &stop);
    assert_eq!(found.holes[0].reason, RefineReason::Blocked);
}

#[test]
fn a_seat_moves_on_its_surface_and_no_further_than_allowed() {
    // Deep bone lies beside the planned seat; the direction is fixed.
    let depth = |at: PatientPoint| {
        let thick = if at.0[0] > 4.0 { 45.0 } else { 24.0 };
        (at.0[2] - 20.0).min(20.0 + thick - at.0[2])
    };
    let body = Body::new(70.0, 1.4, depth, |_| 300.0);
    let seat = [1.0, 0.0, 24.98];
    let more = "seat_shift_mm = 8.0\n";
    let hole = Drilled { seat, direction: [0.0, 0.0, 1.0], more };
    let plan = plan("15, 20, 25, 30, 35", "margin_mm = 2.0", &[hole]);
    let found = run(&body, &plan, &erring(24));
    let hole = &found.holes[0];
    assert_eq!(hole.reason, RefineReason::Better);
    assert!(hole.moved_mm > 4.0 && hole.moved_mm <= 8.0, "{}", hole.moved_mm);
    let seat = found.plan.holes[0].seat;
    let radius = plan.holes[0].seat.distance_mm(PatientPoint([0.0; 3]));
    assert!((seat.distance_mm(PatientPoint([0.0; 3])) - radius).abs() < 1e-9);
    assert!(hole.turned_rad <= 0.0);
}

#[test]
fn stopped_early_the_plan_is_whole() {
    let (body, plan) = (lump(3), lump_plan(3, "20, 25, 30, 35", "swivel_deg = 2.5\n"));
    let stop = AtomicBool::new(true);
    let found = refine(&body.scene(), &plan, &erring(16), &OpenCorridors, &stop);
    assert!(!found.complete);
    assert_eq!(found.plan, plan);
    assert_eq!(found.holes[0].reason, RefineReason::Interrupted);
    assert!(found.holes[0].before.is_some());
    assert!(found.findings.iter().any(|f| f.code == "refine.interrupted"));
}

#[test]
fn air_holds_nothing_and_says_so() {
    let body = Body::new(30.0, 2.0, |_| -4.0, |_| 0.0);
    let plan = lump_plan(1, "20, 25", "swivel_deg = 2.5\n");
    let found = run(&body, &plan, &erring(8));
    assert_eq!(found.holes[0].reason, RefineReason::NoneHolds);
    assert_eq!(found.findings[0].code, "refine.none_holds");
    assert_eq!(found.plan, plan);
}

#[test]
fn any_thread_count_gives_the_same_plan() {
    let (body, plan) = (lump(5), lump_plan(5, "20, 25, 30, 35", "swivel_deg = 2.5\n"));
    let with = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("starts");
        pool.install(|| run(&body, &plan, &erring(16)))
    };
    assert_eq!(with(1), with(3));
}
