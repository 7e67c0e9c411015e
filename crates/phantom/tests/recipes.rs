//! Every scene and every recipe beside the code, and the answers to them.

use std::fs;
use std::path::Path;

use pilothole_phantom::{Case, Recipe, SceneKind, Truth};
use pilothole_plan::Side;
use pilothole_volume::Offset;

const SCENES: [SceneKind; 10] = [
    SceneKind::Plate,
    SceneKind::Ball,
    SceneKind::Tube,
    SceneKind::Ellipsoid,
    SceneKind::TwoBones,
    SceneKind::Cavity,
    SceneKind::Edge,
    SceneKind::Inserts,
    SceneKind::Metal,
    SceneKind::Hip,
];

fn case(recipe: &Recipe) -> Case {
    Case::of(recipe).unwrap_or_else(|e| panic!("{e}"))
}

fn close(found: Option<f64>, expected: f64) {
    let found = found.expect("a number");
    // Seats are written to a micrometre.
    assert!((found - expected).abs() < 3e-3, "{found} {expected}");
}

#[test]
fn every_recipe_beside_the_code_reads_and_its_first_case_is_answered() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fixtures/recipes");
    let mut count = 0;
    for entry in fs::read_dir(folder).expect("recipes") {
        let path = entry.expect("readable").path();
        let recipe = Recipe::parse(&fs::read_to_string(&path).expect("readable"))
            .unwrap_or_else(|e| panic!("{}: {e}", path.display()));
        let (first, varied) = recipe.varied().expect("in range").swap_remove(0);
        assert_eq!(varied.len(), recipe.vary.len());
        assert!(!case(&first).truth.holes.is_empty());
        count += 1;
    }
    assert!(count >= 8, "{count}");
}

#[test]
fn a_plates_answers_are_the_ones_on_paper() {
    let mut recipe = Recipe::of(SceneKind::Plate);
    recipe.bone.depth_mm = 36.0;
    recipe.bone.cortex_mm = 2.0;
    let truth = case(&recipe).truth;
    for (hole, tilt) in truth.holes.iter().zip([0.0_f64, 15.0, 30.0, 45.0]) {
        let slant = 1.0 / tilt.to_radians().cos();
        close(hole.near_cortex_mm, 3.0);
        close(hole.far_cortex_mm, 3.0 + 36.0 * slant);
        close(hole.near_cortex_thickness_mm, 2.0 * slant);
        close(hole.far_cortex_thickness_mm, 2.0 * slant);
    }
    let straight = &truth.holes[0];
    // 39 - 2 = 37: the longest of 15, 20, … is 35; 32 mm of it are in bone.
    assert_eq!(straight.length_mm, Some(35.0));
    close(straight.length_room_mm, 2.0);
    close(Some(straight.purchase_mm), 32.0);
    close(straight.axis_hu, (2.0 * 1400.0 + 30.0 * 250.0) / 32.0);
    close(straight.thread_hu, (2.0 * 1400.0 + 30.0 * 250.0) / 32.0);
    let inside = &truth.holes[4];
    close(inside.near_cortex_mm, 0.0);
    close(inside.far_cortex_mm, 28.0);
    close(inside.thread_hu, 250.0);
    assert!(inside.clearance_mm.expect("a number") > 2.5);
}

#[test]
fn gaps_cavities_and_side_walls_are_answered() {
    let mut recipe = Recipe::of(SceneKind::TwoBones);
    recipe.bone.gap_mm = 0.7;
    let truth = case(&recipe).truth;
    close(truth.holes[0].gap_to_next_bone_mm, 0.7);
    assert!(!truth.holes[0].crosses_joint);
    recipe.bone.gap_mm = 0.0;
    assert!(case(&recipe).truth.holes[0].crosses_joint);

    let truth = case(&Recipe::of(SceneKind::Cavity)).truth;
    let tissues: Vec<&str> = truth.holes[0].segments.iter().map(|s| s.tissue).collect();
    assert_eq!(tissues, ["air", "cortical", "cancellous", "void", "cancellous", "cortical"]);

    let truth = case(&Recipe::of(SceneKind::Edge)).truth;
    close(truth.holes[0].side_wall_mm, 9.0 - 3.25);
    close(truth.holes[1].side_wall_mm, 4.5 - 3.25);
    assert!(truth.holes[2].side_wall_mm.expect("a number") < 0.0);
}

#[test]
fn moving_patient_and_plan_together_changes_no_answer() {
    for scene in SCENES {
        let home = case(&Recipe::of(scene));
        let mut recipe = Recipe::of(scene);
        recipe.pose.turn_deg = [11.0, -7.0, 23.0];
        recipe.pose.shift_mm = [4.0, -9.0, 14.0];
        recipe.pose.mirrored = true;
        let moved = case(&recipe);
        assert_eq!(moved.plan.side, home.plan.side.other());
        for (a, b) in home.truth.holes.iter().zip(&moved.truth.holes) {
            assert_eq!(a.length_mm, b.length_mm, "{}", a.id);
            let near = |x: Option<f64>, y: Option<f64>, by: f64| match (x, y) {
                (Some(x), Some(y)) => (x - y).abs() < by,
                (x, y) => x == y,
            };
            assert!(near(a.near_cortex_mm, b.near_cortex_mm, 0.05), "{a:?} {b:?}");
            assert!(near(a.far_cortex_mm, b.far_cortex_mm, 0.05), "{a:?} {b:?}");
            assert!(near(a.side_wall_mm, b.side_wall_mm, 0.1), "{a:?} {b:?}");
            assert_eq!(a.segments.len(), b.segments.len(), "{a:?} {b:?}");
        }
    }
}

#[test]
fn a_ray_that_leaves_the_scan_says_so() {
    let mut recipe = Recipe::of(SceneKind::Plate);
    recipe.grid.extent_mm = [72.0, 72.0, 45.0];
    let hole = &case(&recipe).truth.holes[0];
    close(hole.far_cortex_mm, 39.0);
    recipe.bone.depth_mm = 60.0;
    recipe.pose.shift_mm = [0.0, 0.0, 15.0];
    recipe.grid.extent_mm = [72.0, 72.0, 72.0];
    let mut short = case(&recipe);
    let grid = pilothole_volume::Grid::new(
        [90, 90, 60],
        short.grid.origin(),
        short.grid.steps().map(|s| s * 1.0),
    );
    short.grid = grid.expect("a lattice");
    let truth = Truth::of(&short.scene, &short.plan, &short.grid, "short");
    assert!(truth.holes[0].leaves_scan && truth.holes[0].far_cortex_mm.is_none());
}

#[test]
fn the_same_recipe_gives_the_same_phantom_and_truth_is_json() {
    let mut recipe = Recipe::of(SceneKind::Metal);
    recipe.grid.extent_mm = [60.0, 60.0, 20.0];
    recipe.grid.spacing_mm = [1.5; 3];
    recipe.scanner.noise_hu = 10.0;
    let once = pilothole_phantom::build(&recipe).expect("builds");
    assert_eq!(once, pilothole_phantom::build(&recipe).expect("builds"));
    let json: serde_json::Value = serde_json::from_str(&once.truth.to_json()).expect("json");
    assert_eq!(json["schema"], "pilothole/truth/1");
    assert_eq!(json["holes"].as_array().map(Vec::len), Some(3));
}

#[test]
fn the_demos_holes_have_something_to_say() {
    let case = case(&Recipe::demo());
    assert_eq!(case.plan.side, Side::Right);
    assert_eq!(case.plan.holes.len(), 14);
    assert_eq!(case.plan.landmarks.len(), 12);
    let holes = &case.truth.holes;
    let count = |rule: &dyn Fn(&pilothole_phantom::HoleTruth) -> bool| {
        holes.iter().filter(|hole| rule(hole)).count()
    };
    assert!(holes.iter().all(|h| h.near_cortex_mm.is_some() && !h.leaves_scan));
    assert!(count(&|h| h.purchase_mm >= 25.0 && h.side_wall_mm.is_some_and(|w| w >= 0.0)) >= 4);
    assert!(count(&|h| (15.0..25.0).contains(&h.purchase_mm)) >= 1);
    assert!(count(&|h| h.purchase_mm > 5.0 && h.purchase_mm < 15.0) >= 1);
    assert!(count(&|h| h.side_wall_mm.is_some_and(|w| w < 0.0)) >= 1);
    assert!(count(&|h| h.length_mm.is_none()) >= 1);
    let closest = closest_gap_mm(&case);
    assert!(closest > 0.2 && closest < 1.0, "{closest}");
    for hole in &case.plan.holes {
        let inside = case.grid.holds(case.grid.voxel_from_patient(hole.seat));
        assert!(inside, "{} is outside the scan", hole.id);
        let from_centre: Offset = hole.seat - case.plan.socket.centre;
        assert!(from_centre.length_mm() < 120.0);
    }
}

/// Least distance between two screws' surfaces at their recommended lengths,
/// found by steps of a quarter millimetre.
fn closest_gap_mm(case: &Case) -> f64 {
    let holes: Vec<_> = case.plan.holes.iter().zip(&case.truth.holes).collect();
    let mut least = f64::INFINITY;
    for (i, (a, truth_a)) in holes.iter().enumerate() {
        for (b, truth_b) in holes.iter().skip(i + 1) {
            let (Some(la), Some(lb)) = (truth_a.length_mm, truth_b.length_mm) else { continue };
            let radius = |hole| case.plan.screw_of(hole).major_diameter_mm / 2.0;
            for s in 0..=(la * 4.0) as u32 {
                let p = a.seat + a.direction * (f64::from(s) * 0.25);
                for t in 0..=(lb * 4.0) as u32 {
                    let q = b.seat + b.direction * (f64::from(t) * 0.25);
                    least = least.min(p.distance_mm(q) - radius(a) - radius(b));
                }
            }
        }
    }
    least
}
