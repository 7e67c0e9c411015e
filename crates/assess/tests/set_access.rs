//! A made case for each way to be blocked, and for each way to be freed.

mod set_common;

use pilothole_assess::set::{Access, Bite, Obstacle, Part, SetParams, SetResult, judge_set};
use pilothole_volume::PatientPoint;
use set_common::{AXIS, Placing, USUAL, Voxel, World, cup_hole, plain, plan, results, unit};

/// Part of a point along the socket's axis, and its distance from it.
fn about_axis(at: [f64; 3]) -> (f64, f64) {
    let axis = unit(AXIS).components();
    let along: f64 = (0..3).map(|i| at[i] * axis[i]).sum();
    let square: f64 = at.iter().map(|c| c * c).sum();
    (along, (square - along * along).max(0.0).sqrt())
}

/// A bony ball of 4 mm on the axis, 45 mm out of the pole's seat.
fn spur(at: [f64; 3]) -> Voxel {
    let (along, away) = about_axis(at);
    let ball = 4.0 - (along - 16.0).hypot(away);
    let mut voxel = plain(at);
    voxel.depth_mm = voxel.depth_mm.max(ball);
    voxel
}

/// The same ball, but of another bone.
fn loose(at: [f64; 3]) -> Voxel {
    let (along, away) = about_axis(at);
    let ball = 4.0 - (along - 16.0).hypot(away);
    let mut voxel = plain(at);
    if ball > voxel.depth_mm {
        voxel.depth_mm = ball;
        voxel.label = 2;
    }
    voxel
}

/// A bony lid over the whole socket.
fn lid(at: [f64; 3]) -> Voxel {
    let (along, _) = about_axis(at);
    let mut voxel = plain(at);
    voxel.depth_mm = voxel.depth_mm.max(4.0 - (along - 20.0).abs());
    voxel
}

/// A slab beyond the skin.
fn slab(at: [f64; 3]) -> Voxel {
    let (along, away) = about_axis(at);
    let mut voxel = plain(at);
    if along > 30.0 {
        voxel.hu = -1000.0;
    }
    if along > 60.0 && away < 6.0 {
        voxel.hu = 100.0;
    }
    voxel
}

/// One hole at the socket's pole, its drill straight out along the axis.
fn judge_pole(made: fn([f64; 3]) -> Voxel, extra: &str, part: Option<Part>) -> SetResult {
    let world = World::make(made, &Placing::HOME, 1.5);
    let plan = plan(&[cup_hole(0.0, 0.0, "ilium")], extra, true, &Placing::HOME);
    let params = SetParams { part, ..SetParams::OWN };
    judge_set(&world.scene(), &plan, &results(&plan), &params)
}

fn access(set: &SetResult) -> &Access {
    &set.access[0]
}

fn only(access: &Access) -> Obstacle {
    assert_eq!(access.blocks.len(), 1, "{access:?}");
    access.blocks[0].obstacle
}

#[test]
fn an_open_way_is_clear_and_its_tissue_is_measured() {
    let set = judge_pole(plain, USUAL, None);
    let access = access(&set);
    assert!(access.is_clear() && access.frees.is_none());
    // Skin 55 mm out of the socket's centre, the seat 29 mm the other way.
    assert!((access.skin_mm.expect("skin") - 84.0).abs() < 1.1);
    assert!((access.soft_tissue_mm.expect("skin") - 84.0).abs() < 1.6);
    assert!(access.to_approach_rad.expect("approach") < 1e-6);
    assert_eq!(access.aside, Vec::<u8>::new());
}

#[test]
fn bone_in_the_way_is_placed_and_tilting_frees_it() {
    let set = judge_pole(spur, USUAL, None);
    let access = access(&set);
    assert_eq!(only(access), Obstacle::Bone);
    // The ball reaches from 41 to 49 mm behind the seat.
    let at_mm = access.blocks[0].at_mm.expect("placed");
    assert!((at_mm - 41.5).abs() < 2.1, "{at_mm}");
    // It lies on the axis, so the whole radius of the drill is in it.
    assert!((access.blocks[0].depth_mm.expect("known") - 5.0).abs() < 1e-9);
    // A drill of 5 mm passes a ball of 4 - 0.5 mm, 45 mm away, at asin(8.5 / 45).
    let freeing = access.frees.expect("tilting helps");
    let want = (8.5_f64 / 45.0).asin();
    assert!((freeing.tilt_rad - want).abs() < 0.02, "{} {want}", freeing.tilt_rad);
    assert!(!freeing.within_swivel);
    assert!(set.findings.iter().any(|f| f.code == "access.blocked" && f.hole == Some(0)));
}

#[test]
fn a_bone_that_no_hole_enters_is_to_be_moved_aside() {
    let set = judge_pole(loose, USUAL, None);
    assert!(access(&set).is_clear());
    assert_eq!(access(&set).aside, vec![2]);
    assert!(set.findings.iter().any(|f| f.code == "access.aside"));
}

#[test]
fn a_femur_that_one_hole_of_many_meets_does_not_block() {
    let world = World::make(loose, &Placing::HOME, 2.0);
    let tilts = [0.0, 30.0, 50.0, 40.0, 60.0];
    let holes: Vec<_> =
        tilts.iter().enumerate().map(|(i, t)| cup_hole(*t, 70.0 * i as f64, "ilium")).collect();
    let plan = plan(&holes, USUAL, true, &Placing::HOME);
    let judge = |meeting: usize| {
        let mut known = results(&plan);
        for result in &mut known[..meeting] {
            result.bone = Some(2);
        }
        judge_set(&world.scene(), &plan, &known, &SetParams::OWN).access[0].is_clear()
    };
    assert!(judge(1) && !judge(2));
}

#[test]
fn a_lid_of_bone_cannot_be_freed() {
    let set = judge_pole(lid, USUAL, None);
    let access = access(&set);
    assert!(access.blocks.iter().any(|b| b.obstacle == Obstacle::Bone));
    assert_eq!(access.frees, None);
}

#[test]
fn the_components_rim_blocks_and_tilting_frees_it() {
    // A plate across the way, from 3 mm off the axis outwards, 30 mm behind the seat.
    let axis = unit(AXIS);
    let (u, v) = axis.across();
    let at = |x: f64, y: f64| PatientPoint((axis * 1.0 + u * x + v * y).0);
    let part = Part {
        triangles: vec![
            [at(3.0, -40.0), at(60.0, -40.0), at(60.0, 40.0)],
            [at(3.0, -40.0), at(60.0, 40.0), at(3.0, 40.0)],
        ],
    };
    let set = judge_pole(plain, USUAL, Some(part));
    let access = access(&set);
    assert_eq!(only(access), Obstacle::Rim);
    let block = access.blocks[0];
    assert!((block.at_mm.expect("placed") - 30.0).abs() < 0.1);
    assert!((block.depth_mm.expect("known") - 2.0).abs() < 1e-6);
    // The edge lies atan(3 / 30) off the axis, the drill's side asin(5 / |edge|).
    let edge = 30.0_f64.hypot(3.0);
    let want = (5.0 / edge).asin() - (3.0_f64 / 30.0).atan();
    let freeing = access.frees.expect("tilting helps");
    assert!((freeing.tilt_rad - want).abs() < 0.01, "{} {want}", freeing.tilt_rad);
    assert!(freeing.within_swivel);
}

#[test]
fn the_wounds_cone_blocks_and_its_excess_frees() {
    let world = World::make(plain, &Placing::HOME, 2.0);
    let extra = USUAL.replace("half_angle_deg = 60.0", "half_angle_deg = 20.0");
    let plan = plan(&[cup_hole(26.0, 40.0, "ilium")], &extra, true, &Placing::HOME);
    let set = judge_set(&world.scene(), &plan, &results(&plan), &SetParams::OWN);
    let access = access(&set);
    assert_eq!(only(access), Obstacle::Cone);
    assert!((access.blocks[0].excess_rad.expect("cone").to_degrees() - 6.0).abs() < 1e-6);
    let freeing = access.frees.expect("tilting helps");
    assert!((freeing.tilt_rad.to_degrees() - 6.0).abs() < 0.01);
    assert!(freeing.within_swivel);
    assert!((freeing.direction.angle_rad(-plan.socket.axis).to_degrees() - 20.0).abs() < 0.01);
}

#[test]
fn something_beyond_the_skin_blocks_and_tilting_frees_it() {
    let set = judge_pole(slab, USUAL, None);
    let access = access(&set);
    assert_eq!(only(access), Obstacle::Table);
    assert!((access.blocks[0].at_mm.expect("placed") - 89.0).abs() < 1.6);
    assert!((access.skin_mm.expect("skin") - 59.0).abs() < 1.1);
    // The slab begins 89 mm out and reaches 6 mm to the side.
    let freeing = access.frees.expect("tilting helps");
    assert!((freeing.tilt_rad - (6.0_f64 / 89.0).atan()).abs() < 0.02, "{}", freeing.tilt_rad);
}

#[test]
fn a_slope_is_told_by_its_steepness() {
    let world = World::make(plain, &Placing::HOME, 4.0);
    let holes = [10.0, 35.0, 50.0].map(|tilt| cup_hole(tilt, 0.0, "ilium"));
    let plan = plan(&holes, USUAL, true, &Placing::HOME);
    let mut known = results(&plan);
    for (result, degrees) in known.iter_mut().zip([29.0_f64, 31.0, 46.0]) {
        if let Some(near) = &mut result.near {
            near.incidence_rad = Some(degrees.to_radians());
        }
    }
    let set = judge_set(&world.scene(), &plan, &known, &SetParams::OWN);
    let bites: Vec<Bite> = set.access.iter().filter_map(|a| a.bite).collect();
    assert_eq!(bites, [Bite::Sound, Bite::MaySkive, Bite::Unreliable]);
    for (access, want) in set.access.iter().zip([29.0_f64, 31.0, 46.0]) {
        let depth = access.edge_depth_mm.expect("known");
        assert!((depth - 6.5 * want.to_radians().tan()).abs() < 1e-9);
    }
    let told = |code: &str| set.findings.iter().filter(|f| f.code == code).count();
    assert_eq!((told("access.skives"), told("access.unreliable")), (1, 1));
}

#[test]
fn a_screw_that_no_drill_reaches_is_counted_and_said() {
    // Behind a lid nothing frees the only hole: without it nothing is held.
    let set = judge_pole(lid, USUAL, None);
    assert!(!access(&set).is_reached());
    let load = set.load.as_ref().expect("the screw holds");
    let unreached = load.unreached.as_ref().expect("the way is blocked");
    assert_eq!((&unreached.holes[..], unreached.held, unreached.movement_um), (&[0][..], 0, None));
    let said = |set: &SetResult| set.findings.iter().any(|f| f.code == "load.unreachable");
    assert!(said(&set));
    // A tilt within the swivel reaches the hole behind a cone that is too narrow.
    let world = World::make(plain, &Placing::HOME, 3.0);
    let narrow = USUAL.replace("half_angle_deg = 60.0", "half_angle_deg = 20.0");
    let holes = [
        cup_hole(10.0, 0.0, "ilium"),
        cup_hole(18.0, 120.0, "ilium"),
        cup_hole(26.0, 240.0, "pubis"),
        cup_hole(40.0, 60.0, "ischium"),
    ];
    let plan = plan(&holes, &narrow, true, &Placing::HOME);
    let set = judge_set(&world.scene(), &plan, &results(&plan), &SetParams::OWN);
    let reached: Vec<bool> = set.access.iter().map(Access::is_reached).collect();
    assert_eq!(reached, [true, true, true, false]);
    let load = set.load.as_ref().expect("the screws hold");
    let unreached = load.unreached.as_ref().expect("one way is blocked");
    assert_eq!((&unreached.holes[..], unreached.held), (&[3][..], 6));
    assert!(unreached.movement_um.expect("held") > load.worst_um.expect("held"));
    let finding = set.findings.iter().find(|f| f.code == "load.unreachable").expect("said");
    assert_eq!(finding.hole, Some(3));
    // The only ischial screw is the one that cannot be reached: it does not
    // keep the published warning away.
    assert!(set.findings.iter().any(|f| f.code == "set.no_ischial_screw"));
    assert!(!said(&judge_pole(plain, USUAL, None)));
}
