//! A whole made set: what must not change, what must be equal, what must be
//! said.

mod set_common;

use pilothole_assess::HoleResult;
use pilothole_assess::set::{
    Access, ApartReason, FrameSource, SetParams, SetResult, StepReason, Tier, judge_set,
};
use pilothole_plan::Plan;
use set_common::{MadeHole, Placing, USUAL, World, cup_hole, plain, plan, results};

/// Seven holes of the cup and two of a flange.
fn nine() -> Vec<MadeHole> {
    let mut holes = vec![
        cup_hole(10.0, 20.0, "ilium"),
        cup_hole(38.0, 0.0, "ilium"),
        cup_hole(42.0, 65.0, "ilium"),
        cup_hole(40.0, 130.0, "ischium"),
        cup_hole(45.0, 190.0, "ischium"),
        cup_hole(35.0, 250.0, "pubis"),
        cup_hole(48.0, 310.0, "pubis"),
        cup_hole(70.0, 15.0, "ilium"),
        cup_hole(72.0, 45.0, "ilium"),
    ];
    for (i, hole) in holes.iter_mut().enumerate() {
        hole.length_mm = 25.0 + 5.0 * (i % 3) as f64;
        if i >= 7 {
            hole.zone = "flange";
        }
    }
    holes
}

fn judge(holes: &[MadeHole], extra: &str, placing: &Placing) -> (Plan, SetResult) {
    let world = World::make(plain, placing, 2.0);
    let plan = plan(holes, extra, true, placing);
    let known = results(&plan);
    let set = judge_set(&world.scene(), &plan, &known, &SetParams::OWN);
    (plan, set)
}

fn same(a: f64, b: f64, what: &str) {
    assert!((a - b).abs() <= 1e-6 * a.abs().max(1.0), "{what}: {a} != {b}");
}

/// Everything without a direction of its own in both results is the same.
fn assert_same(a: &SetResult, b: &SetResult) {
    assert_eq!(a.clash.len(), b.clash.len());
    for (x, y) in a.clash.iter().chain(&a.sharing).zip(b.clash.iter().chain(&b.sharing)) {
        assert_eq!((x.a, x.b), (y.a, y.b));
        same(x.gap_mm, y.gap_mm, "gap");
    }
    for (x, y) in a.access.iter().zip(&b.access) {
        assert_eq!(x.blocks.len(), y.blocks.len(), "hole {}", x.hole);
        for (p, q) in x.blocks.iter().zip(&y.blocks) {
            assert_eq!(p.obstacle, q.obstacle);
            same(p.at_mm.unwrap_or(0.0), q.at_mm.unwrap_or(0.0), "block at");
            same(p.depth_mm.unwrap_or(0.0), q.depth_mm.unwrap_or(0.0), "block depth");
        }
        same(x.skin_mm.unwrap_or(-1.0), y.skin_mm.unwrap_or(-1.0), "skin");
        assert_eq!(x.frees.is_some(), y.frees.is_some());
        if let (Some(p), Some(q)) = (x.frees, y.frees) {
            same(p.tilt_rad, q.tilt_rad, "freeing tilt");
        }
    }
    let (g, h) = (a.guides.as_ref().expect("guides"), b.guides.as_ref().expect("guides"));
    assert_eq!(
        g.groups.iter().map(|x| &x.holes).collect::<Vec<_>>(),
        h.groups.iter().map(|x| &x.holes).collect::<Vec<_>>()
    );
    let (o, p) = (a.order.as_ref().expect("order"), b.order.as_ref().expect("order"));
    for (x, y) in o.proposed.steps.iter().zip(&p.proposed.steps) {
        assert_eq!((x.hole, x.reason, x.held), (y.hole, y.reason, y.held));
        same(x.held_by_hand_um, y.held_by_hand_um, "order");
    }
    let (l, m) = (a.load.as_ref().expect("load"), b.load.as_ref().expect("load"));
    same(l.spread_mm2, m.spread_mm2, "spread");
    for (x, y) in l.cases.iter().zip(&m.cases) {
        same(x.movement_um.expect("held").high, y.movement_um.expect("held").high, x.name);
        for (s, t) in x.screws.iter().zip(&y.screws) {
            same(s.axial_n, t.axial_n, "axial");
            same(s.lateral_n, t.lateral_n, "lateral");
            same(s.bending_use, t.bending_use, "bending");
        }
    }
    let (r, s) = (&a.reconstruction, &b.reconstruction);
    let angles = |x: &SetResult| {
        let o = x.reconstruction.in_app.expect("landmarks");
        [o.radiographic, o.operative, o.anatomical]
            .map(|y| [y.inclination_rad.value, y.anteversion_rad.value, y.anteversion_rad.se])
            .concat()
    };
    for (x, y) in angles(a).iter().zip(angles(b)) {
        same(*x, y, "angle");
    }
    for (x, y) in [
        (r.leg_change_mm, s.leg_change_mm),
        (r.offset_change_mm, s.offset_change_mm),
        (r.leg_difference_now_mm, s.leg_difference_now_mm),
        (r.leg_difference_after_mm, s.leg_difference_after_mm),
        (r.offset_difference_mm, s.offset_difference_mm),
        (r.from_mirrored.map(|f| f.lateral_mm), s.from_mirrored.map(|f| f.lateral_mm)),
    ] {
        let (x, y) = (x.expect("landmarks"), y.expect("landmarks"));
        same(x.value, y.value, "length");
        same(x.se, y.se, "error");
    }
    assert_eq!(a.kit, b.kit);
    let codes = |x: &SetResult| x.findings.iter().map(|f| (f.code, f.hole)).collect::<Vec<_>>();
    assert_eq!(codes(a), codes(b));
}

#[test]
fn a_rigid_motion_changes_nothing() {
    let (_, home) = judge(&nine(), USUAL, &Placing::HOME);
    let moved = Placing::turned([0.3, -0.8, 0.5], 0.7, [40.0, -120.0, 310.0]);
    let (_, away) = judge(&nine(), USUAL, &moved);
    assert_same(&home, &away);
}

#[test]
fn a_mirrored_patient_has_the_mirrored_answer() {
    let (_, left) = judge(&nine(), USUAL, &Placing::HOME);
    let (plan, right) = judge(&nine(), USUAL, &Placing::mirror());
    assert_eq!(plan.side.word(), "right");
    assert_same(&left, &right);
}

#[test]
fn a_sound_set_is_clear_held_and_orderly() {
    let (plan, set) = judge(&nine(), USUAL, &Placing::HOME);
    assert!(set.clash.is_empty(), "{:?}", set.clash);
    assert!(set.access[..7].iter().all(Access::is_clear), "{:#?}", set.access);
    let load = set.load.as_ref().expect("screws hold");
    assert_eq!((load.held, load.free.len()), (6, 0));
    assert_eq!(load.frame, FrameSource::AnteriorPelvicPlane);
    assert_eq!(load.cases.len(), 5);
    assert_eq!(load.poorest.len(), 3);
    for case in &load.cases {
        let total: f64 = case.screws.iter().map(|s| s.axial_share).sum();
        same(total, 1.0, "axial shares");
        let by = case.movement_by_stiffness_um.expect("held");
        assert!(by.low < by.middle && by.middle < by.high);
        assert!(case.poorest_low_um.expect("held") >= by.middle * (1.0 - 1e-9));
    }
    let order = set.order.as_ref().expect("screws hold");
    assert_eq!(order.proposed.steps.len(), 9);
    assert_eq!(order.proposed.steps[0].reason, StepReason::IliumFirst);
    assert_eq!(order.proposed.held_from, Some(3));
    assert!(order.proposed.steps[1].movement_um.is_none());
    let guides = set.guides.as_ref().expect("screws");
    assert!(guides.exact && guides.groups.len() >= 2);
    assert!(guides.apart.iter().any(|a| a.reason == ApartReason::Zone));
    same(guides.play_rad, (guides.clearance_mm / guides.sleeve_length_mm).atan(), "play");
    let count: usize = set.kit.iter().map(|line| line.count).sum();
    assert_eq!(count, plan.holes.len());
    let codes: Vec<&str> = set.findings.iter().map(|f| f.code).collect();
    assert!(!codes.contains(&"set.no_ischial_screw") && !codes.contains(&"set.not_held"));
    assert!(codes.contains(&"access.no_component"));
}

#[test]
fn a_set_without_an_ischial_screw_is_warned_of() {
    let holes: Vec<MadeHole> = nine().into_iter().filter(|h| h.region != "ischium").collect();
    let (_, set) = judge(&holes, USUAL, &Placing::HOME);
    assert!(set.findings.iter().any(|f| f.code == "set.no_ischial_screw"));
}

#[test]
fn two_screws_leave_a_turn_about_the_line_of_their_seats() {
    let holes = [cup_hole(30.0, 0.0, "ilium"), cup_hole(30.0, 180.0, "ischium")];
    let (_, set) = judge(&holes, USUAL, &Placing::HOME);
    let load = set.load.expect("screws hold");
    assert_eq!(load.held, 5);
    assert_eq!(load.free.len(), 1);
    assert!(load.free[0].turn.length_mm() > 0.5);
    // The line of the seats does not pass through the hip centre, so a force
    // there turns the part: nothing is claimed about its movement.
    assert!(load.cases.iter().all(|c| c.movement_um.is_none() && c.screws.is_empty()));
    assert_eq!(load.worst_um, None);
    assert!(load.worst_lost.expect("two screws").movement_um.is_none());
    let finding = set.findings.iter().find(|f| f.code == "set.not_held").expect("said");
    assert!(finding.text.contains("turn about"));
    assert!(set.findings.iter().any(|f| f.code == "set.rests_on_one"));
}

#[test]
fn no_screws_are_said_and_not_guessed() {
    let (plan, _) = judge(&nine(), USUAL, &Placing::HOME);
    let world = World::make(plain, &Placing::HOME, 4.0);
    let mut bare = plan;
    for hole in &mut bare.holes {
        hole.length_mm = None;
    }
    let known: Vec<HoleResult> = results(&bare);
    let set = judge_set(&world.scene(), &bare, &known, &SetParams::OWN);
    assert_eq!((set.load, set.order, set.guides), (None, None, None));
    assert!(set.kit.is_empty());
    let codes: Vec<&str> = set.findings.iter().map(|f| f.code).collect();
    assert!(codes.contains(&"set.no_screw") && codes.contains(&"set.no_ischial_screw"));
    assert_eq!(codes.iter().filter(|c| **c == "kit.no_length").count(), 9);
}

#[test]
fn without_landmarks_the_scanner_stands_in_and_it_is_said() {
    let world = World::make(plain, &Placing::HOME, 4.0);
    let plan = plan(&nine(), "", false, &Placing::HOME);
    let set = judge_set(&world.scene(), &plan, &results(&plan), &SetParams::OWN);
    let load = set.load.expect("screws hold");
    assert_eq!(load.frame, FrameSource::Scanner);
    assert!(!load.mass_stated && load.tilt_rad > 0.3);
    let codes: Vec<&str> = set.findings.iter().map(|f| f.code).collect();
    for code in [
        "load.frame_assumed",
        "load.mass_assumed",
        "access.no_approach",
        "reconstruction.landmarks",
    ] {
        assert!(codes.contains(&code), "{code} in {codes:?}");
    }
    assert!(set.reconstruction.in_app.is_none() && set.reconstruction.leg_change_mm.is_none());
    assert!(set.reconstruction.wanting.len() >= 5);
}

#[test]
fn the_plans_own_order_is_judged_the_same_way() {
    let order =
        "order = [\"h8\", \"h7\", \"h6\", \"h5\", \"h4\", \"h3\", \"h2\", \"h1\", \"h0\"]\n";
    let (_, set) = judge(&nine(), &format!("{order}{USUAL}"), &Placing::HOME);
    let order = set.order.expect("screws hold");
    let given = order.given.expect("stated");
    assert_eq!(
        given.steps.iter().map(|s| s.hole).collect::<Vec<_>>(),
        (0..9).rev().collect::<Vec<_>>()
    );
    assert!(given.steps.iter().all(|s| s.reason == StepReason::Given));
    let last = |s: &pilothole_assess::set::Sequence| s.steps[8].held_by_hand_um;
    same(last(&given), last(&order.proposed), "all screws filled");
    assert!(order.proposed.steps[2].held_by_hand_um <= given.steps[2].held_by_hand_um * 1.1);
}

#[test]
fn tiers_follow_what_bone_grows_into() {
    let (_, set) = judge(&nine(), USUAL, &Placing::HOME);
    let load = set.load.expect("screws hold");
    for case in &load.cases {
        let um = case.movement_um.expect("held").high;
        let want = match um {
            x if x <= 20.0 => Tier::Fine,
            x if x <= 40.0 => Tier::Doubtful,
            x if x <= 150.0 => Tier::Poor,
            _ => Tier::Bad,
        };
        assert_eq!(case.tier, Some(want));
    }
}

#[test]
fn three_screws_in_one_spot_are_barely_held() {
    let holes = [
        cup_hole(8.0, 0.0, "ilium"),
        cup_hole(12.0, 100.0, "ilium"),
        cup_hole(10.0, 210.0, "ilium"),
    ];
    let (_, set) = judge(&holes, USUAL, &Placing::HOME);
    let load = set.load.expect("screws hold");
    assert_eq!(load.held, 6);
    assert!(load.spread_mm2 < 60.0);
    let finding = set.findings.iter().find(|f| f.code == "set.barely_held").expect("said");
    assert!(finding.measured.expect("measured") > 1000.0);
    assert!(!set.findings.iter().any(|f| f.code == "load.movement"));
}

#[test]
fn the_answer_is_the_same_for_any_number_of_threads() {
    let world = World::make(plain, &Placing::HOME, 3.0);
    let plan = plan(&nine(), USUAL, true, &Placing::HOME);
    let known = results(&plan);
    let with = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("a pool");
        pool.install(|| judge_set(&world.scene(), &plan, &known, &SetParams::OWN))
    };
    assert_eq!(with(1), with(5));
}
