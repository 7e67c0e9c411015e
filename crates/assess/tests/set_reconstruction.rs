//! Where a made hip comes to lie, with lengths known from its landmarks, and
//! hip centres found on made surfaces.

mod set_common;

use std::fmt::Write as _;

use pilothole_assess::Scene;
use pilothole_assess::set::heads::likely_hips;
use pilothole_assess::set::landmarks::{SphereKind, SphereParams, propose_sphere};
use pilothole_assess::set::{Measured, MirrorSource, Reconstruction, SetParams, judge_set};
use pilothole_plan::{Format, Plan, Side};
use pilothole_volume::{
    Direction, Field, Grid, Labels, Mask, Offset, PatientPoint, Volume, Voxels,
};
use set_common::{LANDMARKS, Placing, Voxel, World, plain};

/// A pelvis whose anterior plane is the scanner's frontal plane and whose
/// midline is x = 0; left hip operated.
const SQUARE: [(&str, [f64; 3]); 12] = [
    ("asis-left", [120.0, -60.0, 80.0]),
    ("asis-right", [-120.0, -60.0, 80.0]),
    ("pubic-tubercle-left", [25.0, -60.0, -10.0]),
    ("pubic-tubercle-right", [-25.0, -60.0, -10.0]),
    ("hip-centre-left", [95.0, 2.0, 6.0]),
    ("hip-centre-right", [-90.0, 0.0, 0.0]),
    ("lesser-trochanter-left", [110.0, 15.0, -52.0]),
    ("lesser-trochanter-right", [-112.0, 15.0, -60.0]),
    ("teardrop-left", [50.0, -5.0, -20.0]),
    ("teardrop-right", [-50.0, -5.0, -20.0]),
    ("ischial-tuberosity-left", [60.0, 40.0, -80.0]),
    ("ischial-tuberosity-right", [-60.0, 40.0, -80.0]),
];

fn text(landmarks: &[(&str, [f64; 3])], centre: [f64; 3], axis: [f64; 3]) -> String {
    let mut text = format!(
        "schema = \"pilothole/plan/1\"\nside = \"left\"\ncoordinates = \"LPS\"\n[socket]\n\
         centre_mm = {centre:?}\naxis = {axis:?}\nouter_diameter_mm = 58.0\n"
    );
    for (name, at) in landmarks {
        writeln!(text, "[[landmark]]\nname = \"{name}\"\nat_mm = {at:?}")
            .expect("a string takes it");
    }
    text
}

/// Radiographic inclination 40°, anteversion 15°, in LPS for a left hip.
fn axis_40_15() -> [f64; 3] {
    let (si, ci) = 40_f64.to_radians().sin_cos();
    let (sa, ca) = 15_f64.to_radians().sin_cos();
    [si * ca, -sa, -ci * ca]
}

fn judge(landmarks: &[(&str, [f64; 3])], centre: [f64; 3]) -> (Reconstruction, Vec<String>) {
    let plan = Plan::parse(&text(landmarks, centre, axis_40_15()), Format::Toml).expect("sound");
    let world = World::make(plain, &Placing::HOME, 10.0);
    let set = judge_set(&world.scene(), &plan, &[], &SetParams::OWN);
    let codes = set.findings.iter().map(|f| f.code.to_owned()).collect();
    (set.reconstruction, codes)
}

fn close(found: Option<Measured>, value: f64, se: f64) {
    let found = found.expect("landmarks");
    assert!((found.value - value).abs() < 1e-6, "{} != {value}", found.value);
    assert!((found.se - se).abs() < 0.01 * se.max(0.1), "se {} != {se}", found.se);
}

#[test]
fn lengths_and_offsets_come_out_with_their_errors() {
    // Planned centre 90, 0, -6: present centre is 5 mm too wide and 12 mm too high.
    let (found, codes) = judge(&SQUARE, [90.0, 0.0, -6.0]);
    // Caudal of the present centre by 12 mm; the frame's own turn about the
    // landmarks adds to the landmark's own 2 mm.
    let leg = found.leg_change_mm.expect("landmarks");
    assert!((leg.value - 12.0).abs() < 1e-6 && leg.se >= 2.0 && leg.se < 2.2, "{leg:?}");
    let offset = found.offset_change_mm.expect("landmarks");
    assert!((offset.value + 5.0).abs() < 1e-6 && offset.se >= 2.0 && offset.se < 2.2);
    // Hip lengths 32 and 40 mm; two apices and both teardrops at 2 mm each.
    let now = found.leg_difference_now_mm.expect("landmarks");
    assert!((now.value + 8.0).abs() < 1e-6, "{now:?}");
    let after = found.leg_difference_after_mm.expect("landmarks");
    assert!((after.value - 4.0).abs() < 1e-6 && after.se > now.se);
    // Offset 40 mm on the healthy side, 40 mm planned.
    close(found.healthy_offset_mm, 40.0, 8_f64.sqrt());
    let difference = found.offset_difference_mm.expect("landmarks");
    assert!(difference.value.abs() < 1e-6);
    // The healthy centre's image is (90, 0, 0): 6 mm above the planned one.
    let shift = found.from_mirrored.expect("landmarks");
    assert!(shift.lateral_mm.value.abs() < 1e-6 && shift.anterior_mm.value.abs() < 1e-6);
    assert!((shift.superior_mm.value + 6.0).abs() < 1e-6);
    assert!((shift.length_mm.value - 6.0).abs() < 1e-6);
    let mirror = found.mirror.expect("pairs");
    assert!(mirror.rms_mm < 1e-9 && mirror.pairs == 4);
    assert!(codes.iter().any(|c| c == "reconstruction.length"));
    assert!(!codes.iter().any(|c| c == "reconstruction.offset"));
    // Only the posterior spines are not named.
    assert_eq!(found.wanting.len(), 1);
    assert_eq!(found.wanting[0].landmarks, ["psis-left", "psis-right"]);
    assert!(codes.iter().any(|c| c == "reconstruction.landmarks"));
}

#[test]
fn posterior_spines_switch_the_isb_frame_on() {
    let mut points = SQUARE.to_vec();
    // Level with the anterior ones: this frame and that of the anterior plane
    // share their axis across; the planes differ by the slant of the spines.
    points.extend([("psis-left", [45.0, 80.0, 100.0]), ("psis-right", [-45.0, 80.0, 100.0])]);
    let (found, _) = judge(&points, [90.0, 0.0, -6.0]);
    assert!(found.wanting.is_empty());
    let (app, isb) = (found.app.expect("landmarks"), found.isb.expect("landmarks"));
    assert!(isb.right.angle_rad(app.right) < 1e-9);
    let asis = app.origin.0;
    let slant = (asis[2] - 100.0).atan2(80.0 - asis[1]);
    assert!((isb.anterior.components()[2].asin() - slant).abs() < 1e-9);
    assert!(found.in_isb.is_some());
    assert_eq!(found.regressions.len(), 2);
}

#[test]
fn the_socket_is_told_in_three_definitions() {
    let (found, _) = judge(&SQUARE, [90.0, 0.0, 0.0]);
    let told = found.in_app.expect("landmarks");
    // First sheet §6.1, derived from Murray 1993.
    let rows = [
        (told.radiographic, 40.0, 15.0),
        (told.operative, 38.3808, 19.2790),
        (told.anatomical, 42.2735, 22.6291),
    ];
    for (found, inclination, anteversion) in rows {
        assert!((found.inclination_rad.value.to_degrees() - inclination).abs() < 5e-5);
        assert!((found.anteversion_rad.value.to_degrees() - anteversion).abs() < 5e-5);
        // 2 mm over a base of 90 to 240 mm: about a degree.
        let se = found.anteversion_rad.se.to_degrees();
        assert!(se > 0.3 && se < 3.0, "{se}");
    }
}

#[test]
fn errors_grow_with_the_landmarks_own() {
    let plan =
        Plan::parse(&text(&SQUARE, [90.0, 0.0, -6.0], axis_40_15()), Format::Toml).expect("sound");
    let world = World::make(plain, &Placing::HOME, 10.0);
    let with = |se_mm: f64| {
        let mut params = SetParams::OWN;
        params.reconstruction.landmark_se_mm = se_mm;
        let set = judge_set(&world.scene(), &plan, &[], &params);
        set.reconstruction.leg_difference_after_mm.expect("landmarks").se
    };
    assert!((with(4.0) / with(2.0) - 2.0).abs() < 1e-6);
    assert!(with(0.0).abs() < 1e-12);
}

#[test]
fn what_is_wanting_is_named_with_what_it_would_allow() {
    let fewer: Vec<_> =
        SQUARE.iter().copied().filter(|(name, _)| !name.starts_with("lesser")).collect();
    let (found, codes) = judge(&fewer, [90.0, 0.0, 0.0]);
    assert_eq!(found.leg_difference_now_mm, None);
    let wanting: Vec<_> =
        found.wanting.iter().filter(|w| w.allows.contains("difference of leg")).collect();
    assert_eq!(wanting.len(), 1);
    assert_eq!(wanting[0].landmarks, ["lesser-trochanter-left", "lesser-trochanter-right"]);
    assert!(found.leg_change_mm.is_some());
    assert!(codes.iter().any(|c| c == "reconstruction.landmarks"));
}

#[test]
fn lost_offset_is_warned_of() {
    let (found, codes) = judge(&SQUARE, [82.0, 0.0, 0.0]);
    let offset = found.offset_difference_mm.expect("landmarks");
    assert!((offset.value + 8.0).abs() < 1e-6);
    assert!(codes.iter().any(|c| c == "reconstruction.offset"));
}

#[test]
fn a_slanted_pelvis_is_measured_in_its_own_frame() {
    let (found, _) = judge(&LANDMARKS, [0.0, 0.0, 0.0]);
    let app = found.app.expect("landmarks");
    assert!((app.right.dot(app.superior)).abs() < 1e-12);
    assert!(found.leg_change_mm.expect("landmarks").value > 0.0);
}

/// Depth in an irregular bone about the origin: an ellipsoid with a socket and
/// two knobs, nothing symmetric about it.
fn lump(at: [f64; 3]) -> f64 {
    let ball = |centre: [f64; 3], radius: f64| {
        radius - (0..3).map(|i| (at[i] - centre[i]).powi(2)).sum::<f64>().sqrt()
    };
    let body = ball([0.0, 0.0, 0.0], 30.0);
    let knobs = ball([5.0, 22.0, 25.0], 16.0).max(ball([-20.0, -18.0, -14.0], 18.0));
    body.max(knobs).min(-ball([18.0, -8.0, -6.0], 20.0))
}

#[test]
fn the_healthy_bones_surface_corrects_the_landmarks_mirror() {
    // The operated bone lies about (90, 0, 0); the healthy one is its mirror
    // image across x = 0, moved by 2.9 mm and 2°.
    let off = Offset([2.0, -1.5, 1.5]);
    let (s, c) = 2_f64.to_radians().sin_cos();
    let grid = |from: [f64; 3], to: [f64; 3], step: f64| {
        let size = std::array::from_fn(|i| ((to[i] - from[i]) / step) as usize + 1);
        let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
        Grid::from_axes(size, PatientPoint(from), axes, [step; 3]).expect("spans")
    };
    let sampled = |grid: &Grid, value: &dyn Fn([f64; 3]) -> f64| -> Vec<f32> {
        let size = grid.size();
        (0..grid.voxel_count())
            .map(|i| {
                let index = [i % size[0], i / size[0] % size[1], i / (size[0] * size[1])];
                value(grid.centre_of(index).0) as f32
            })
            .collect()
    };
    let operated = |p: [f64; 3]| lump([p[0] - 90.0, p[1], p[2]]);
    let healthy = |p: [f64; 3]| {
        // Back from the moved place, turned about z, then mirrored over.
        let q = [p[0] + 90.0 - off.0[0], p[1] - off.0[1], p[2] - off.0[2]];
        lump([-(c * q[0] + s * q[1]), -s * q[0] + c * q[1], q[2]])
    };
    let whole = grid([-150.0, -60.0, -60.0], [150.0, 60.0, 60.0], 1.5);
    let blurred = |depth: f64| 226.0 + 400.0 * (depth / 2.0).clamp(-0.5, 0.5);
    let hu = sampled(&whole, &|p| blurred(operated(p).max(healthy(p))));
    let part = grid([40.0, -50.0, -50.0], [140.0, 50.0, 50.0], 1.5);
    let depth = sampled(&part, &operated);
    let labels = depth.iter().map(|d| u8::from(*d > 0.0)).collect();
    let none = Mask::none(part.size());
    let volume = Volume::new(whole, Voxels::F32(hu), None).expect("fits");
    let labels = Labels::new(part.size(), labels).expect("fits");
    let field = Field::new(part, depth).expect("fits");
    let scene = Scene {
        volume: &volume,
        field: &field,
        labels: &labels,
        metal: &none,
        cement: &none,
        untrusted: &none,
        threshold_hu: 226.0,
        cortex: None,
    };
    // The healthy centre is the image of (108, -8, -6), which the socket has.
    let local = [-18.0, -8.0, -6.0];
    let centre = [
        c * local[0] - s * local[1] - 90.0 + off.0[0],
        s * local[0] + c * local[1] + off.0[1],
        local[2] + off.0[2],
    ];
    let mut landmarks = SQUARE;
    landmarks[5].1 = centre;
    let plan = Plan::parse(&text(&landmarks, [108.0, -8.0, -6.0], axis_40_15()), Format::Toml)
        .expect("sound");
    let found = judge_set(&scene, &plan, &[], &SetParams::OWN).reconstruction;
    let mirror = found.mirror.expect("pairs");
    assert_eq!(mirror.source, MirrorSource::Surface, "{mirror:?}");
    assert!(mirror.rms_mm < 0.3 && mirror.pairs > 300, "{mirror:?}");
    let image = found.mirrored_centre.expect("landmarks");
    let truth = PatientPoint([108.0, -8.0, -6.0]);
    assert!(image.distance_mm(truth) < 0.3, "{image:?}");
    // The landmarks alone are off by the asymmetry.
    assert!(mirror.image(PatientPoint(centre)).distance_mm(truth) > 2.0);
    let shift = found.from_mirrored.expect("landmarks");
    assert!(shift.length_mm.value < 0.3 && shift.superior_mm.se > 1.9);
}

/// A head of 24 mm radius at (10, -5, 8) with a neck, in a socket of 26 mm.
fn hip(at: [f64; 3]) -> Voxel {
    let centre = [10.0, -5.0, 8.0];
    let from: [f64; 3] = std::array::from_fn(|i| at[i] - centre[i]);
    let radius = from.iter().map(|c| c * c).sum::<f64>().sqrt();
    let along = (from[0] - from[2]) / 2_f64.sqrt();
    let across = (radius * radius - along * along).max(0.0).sqrt();
    let neck = if along > 0.0 { (14.0 - across).min(60.0 - along) } else { -20.0 };
    let head = (24.0 - radius).max(neck);
    // The socket holds the head's upper inner side.
    let cup = (radius - 26.0).min(60.0 - radius).min(-along - 2.0);
    let (depth_mm, label) = if head > cup { (head, 2) } else { (cup, 1) };
    Voxel { depth_mm, label, hu: 300.0, metal: false }
}

#[test]
fn a_head_and_its_socket_are_found_from_a_hint() {
    let world = World::make(hip, &Placing::HOME, 1.0);
    let centre = PatientPoint([10.0, -5.0, 8.0]);
    let hint = centre + Offset([6.0, -4.0, 5.0]);
    let scene = world.scene();
    let head =
        propose_sphere(&scene, hint, 2, SphereKind::Head, &SphereParams::OWN).expect("a head");
    assert!(head.centre.distance_mm(centre) < 0.15, "{:?}", head.centre);
    assert!((head.radius_mm - 24.0).abs() < 0.15 && head.rms_mm < 0.4);
    assert!(head.findings.is_empty() && head.cap_rad > 1.5);
    let socket =
        propose_sphere(&scene, hint, 1, SphereKind::Socket, &SphereParams::OWN).expect("a socket");
    assert!(socket.centre.distance_mm(centre) < 0.3, "{:?}", socket.centre);
    assert!((socket.radius_mm - 26.0).abs() < 0.3);
    assert!(socket.worst_se_mm > head.worst_se_mm * 0.5);
}

/// The same hip with a dense shell in soft tissue.
fn dense(at: [f64; 3]) -> Voxel {
    let mut voxel = hip(at);
    voxel.hu = match voxel.depth_mm {
        depth if depth > 2.0 => 250.0,
        depth if depth > 0.0 => 500.0,
        _ => 40.0,
    };
    voxel
}

#[test]
fn a_hip_is_found_without_a_hint_and_a_lost_outline_tells_no_side() {
    let world = World::make(dense, &Placing::HOME, 2.0);
    let found = likely_hips(&world.volume);
    assert_eq!(found.len(), 1, "{found:?}");
    let off = found[0].centre.distance_mm(PatientPoint([10.0, -5.0, 8.0]));
    assert!(off < 3.0, "{found:?}");
    // Tissue reaches the scan's sides: the body's middle is not in it.
    assert_eq!(found[0].side, None);
}

/// Two hips 170 mm apart in a body of 300 mm, or the one on the left.
fn body(both: bool) -> Volume {
    let grid = Grid::from_axes(
        [120, 60, 60],
        PatientPoint([-178.5, -88.5, -88.5]),
        [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR],
        [3.0; 3],
    )
    .expect("square");
    let hu = |index: usize| {
        let PatientPoint([x, y, z]) =
            grid.centre_of([index % 120, index / 120 % 60, index / (120 * 60)]);
        let near = |side: f64| dense([side * (x - side * 95.0), y, z]);
        let hip = if x > 0.0 { near(1.0) } else { near(-1.0) };
        if hip.depth_mm > 0.0 && (both || x > 0.0) {
            return hip.hu as f32;
        }
        if x.hypot(1.8 * y) < 150.0 { 40.0 } else { -1000.0 }
    };
    let voxels = (0..grid.voxel_count()).map(hu).collect();
    Volume::new(grid, Voxels::F32(voxels), None).expect("fits")
}

#[test]
fn sides_are_told_by_each_other_or_by_the_bodys_middle() {
    let pair = likely_hips(&body(true));
    let sides: Vec<_> = pair.iter().map(|hip| hip.side).collect();
    assert_eq!(sides, [Some(Side::Left), Some(Side::Right)]);
    for (hip, x) in pair.iter().zip([105.0, -105.0]) {
        assert!(hip.centre.distance_mm(PatientPoint([x, -5.0, 8.0])) < 4.0, "{hip:?}");
    }
    let single = likely_hips(&body(false));
    assert_eq!(single.len(), 1);
    assert_eq!(single[0].side, Some(Side::Left));
}

#[test]
fn muscle_alone_holds_no_hip() {
    let muscle = |at: [f64; 3]| Voxel {
        depth_mm: -1.0,
        label: 0,
        hu: 50.0 + 20.0 * (at[0] * 0.3).sin() * (at[2] * 0.2).cos(),
        metal: false,
    };
    let world = World::make(muscle, &Placing::HOME, 3.0);
    assert_eq!(likely_hips(&world.volume), Vec::new());
}

/// A flat-topped cap of 40° of a head of 24 mm: all that is left of it.
fn remnant(at: [f64; 3]) -> Voxel {
    let radius = at.iter().map(|c| c * c).sum::<f64>().sqrt();
    // Rays from below meet the cap's surface only within 40° of z.
    let depth_mm = (24.0 - radius).min(at[2] - 24.0 * 40_f64.to_radians().cos());
    Voxel { depth_mm, label: 2, hu: 300.0, metal: false }
}

#[test]
fn a_remnant_of_a_head_says_that_its_depth_is_weak() {
    let world = World::make(remnant, &Placing::HOME, 0.75);
    let hint = PatientPoint([0.0, 0.0, 19.5]);
    let params = SphereParams { rays: 3000, ..SphereParams::OWN };
    let found = propose_sphere(&world.scene(), hint, 2, SphereKind::Head, &params).expect("a cap");
    assert!(found.cap_rad < 45_f64.to_radians(), "{}", found.cap_rad.to_degrees());
    assert!(found.findings.iter().any(|f| f.code == "landmark.cap"));
    assert!(found.worst_direction.components()[2].abs() > 0.95);
}

#[test]
fn nothing_round_makes_no_proposal() {
    let world = World::make(
        |at| Voxel { depth_mm: 20.0 - at[2].abs(), label: 2, hu: 300.0, metal: false },
        &Placing::HOME,
        2.0,
    );
    let hint = PatientPoint([0.0, 0.0, 0.0]);
    let found = propose_sphere(&world.scene(), hint, 2, SphereKind::Head, &SphereParams::OWN);
    assert!(found.is_none_or(|f| f.used < 0.5), "two planes are no sphere");
}
