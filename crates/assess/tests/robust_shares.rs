//! Shares of placements against the normal distribution, and forgiveness
//! against geometry.

mod robust_common;

use pilothole_assess::robust::{RobustParams, SetRobust, robust, robust_set};
use pilothole_assess::{HoleResult, JudgeParams, Robust, judge_hole, judge_holes};
use pilothole_plan::Plan;
use pilothole_volume::PatientPoint;
use robust_common::{Body, Drilled, normal_cdf, plan, unit};

const SEEDS: [u64; 5] = [1, 2, 3, 5, 8];
/// Radius of the thread.
const RADIUS: f64 = 3.25;

fn params(entry_mm: f64, angle_deg: f64, seed: u64) -> RobustParams {
    RobustParams {
        entry_sd_mm: entry_mm,
        angle_sd_rad: angle_deg.to_radians(),
        seed,
        ..RobustParams::OWN
    }
}

fn one(body: &Body, plan: &Plan, params: &RobustParams) -> (HoleResult, Robust) {
    let hole = judge_hole(&body.scene(), plan, 0, &JudgeParams::OWN);
    let found = robust(&body.scene(), plan, &hole, params).expect("has a length");
    (hole, found)
}

/// Bone below a plane that the screw meets at 40°; its seat lies in bone.
fn half_space() -> (Body, Plan) {
    half_space_of(0.8)
}

fn half_space_of(spacing_mm: f64) -> (Body, Plan) {
    let normal = unit([0.3, -0.2, 0.9]);
    let depth = move |at: PatientPoint| 12.0 - (at - PatientPoint([0.0; 3])).dot(normal.offset());
    let body = Body::new(40.0, spacing_mm, depth, |_| 400.0);
    let direction = normal.tilted(40.0_f64.to_radians(), 0.4).components();
    let hole = Drilled { seat: [1.0, 2.0, -10.0], direction, more: "" };
    (body, plan("15, 20, 25", "margin_mm = 1.0", &[hole]))
}

#[test]
fn a_half_space_keeps_its_margin_as_often_as_the_normal_distribution_says() {
    let (body, plan) = half_space();
    for seed in SEEDS {
        let (hole, found) = one(&body, &plan, &params(1.5, 0.0, seed));
        let far = hole.far.expect("ends").at_mm;
        let length = hole.length_mm.expect("safe");
        // A shift e across the axis moves the far end by e·n/cos 40°.
        let slack = far - length - 1.0;
        let want = normal_cdf(slack / (1.5 * 40.0_f64.to_radians().tan()));
        let off = (found.keeps_margin - want) / found.share_se;
        assert!(off.abs() < 3.0, "{} for {want}, seed {seed}", found.keeps_margin);
    }
}

#[test]
fn voxels_wider_than_the_longest_step_are_followed_too() {
    let (body, plan) = half_space_of(3.0);
    let (hole, found) = one(&body, &plan, &params(1.5, 0.0, 1));
    let slack = hole.far.expect("ends").at_mm - hole.length_mm.expect("safe") - 1.0;
    let want = normal_cdf(slack / (1.5 * 40.0_f64.to_radians().tan()));
    assert!((found.keeps_margin - want).abs() < 0.1, "{} for {want}", found.keeps_margin);
}

#[test]
fn a_tilt_in_a_half_space_has_the_share_of_a_cone() {
    let (body, plan) = half_space();
    for seed in SEEDS {
        let (hole, found) = one(&body, &plan, &params(0.0, 3.5, seed));
        let (far, length) = (hole.far.expect("ends").at_mm, hole.length_mm.expect("safe"));
        // Kept where cos(incidence) <= far cos 40° / (length + margin), over a
        // plane of normal tilts; a fine midpoint sum.
        let (incidence, sd) = (40.0_f64.to_radians(), 3.5_f64.to_radians());
        let limit = far * incidence.cos() / (length + 1.0);
        let (mut kept, mut all) = (0.0, 0.0);
        for i in -200..200 {
            for j in -200..200 {
                let [a, b] = [i, j].map(|k| (f64::from(k) + 0.5) * 0.03);
                let weight = (-0.5 * (a * a + b * b)).exp();
                let (angle, lean) = (a.hypot(b) * sd, a * sd);
                let along = lean / angle * angle.sin();
                let cosine = incidence.cos() * angle.cos() - incidence.sin() * along;
                all += weight;
                kept += if cosine <= limit { weight } else { 0.0 };
            }
        }
        let want = kept / all;
        let off = (found.keeps_margin - want) / found.share_se;
        assert!(off.abs() < 3.0, "{} for {want}, seed {seed}", found.keeps_margin);
    }
}

/// A plate whose two faces lie beside the axis, `half` mm from it on each side,
/// oblique to the lattice; it ends 34 mm past the seat.
fn plate(half: f64) -> (Body, Plan) {
    let direction = unit([0.2, 0.1, 0.95]);
    let side = direction.across().0;
    let depth = move |at: PatientPoint| {
        let from = at - PatientPoint([0.0, 0.0, -15.0]);
        let across = half - from.dot(side.offset()).abs();
        let along = from.dot(direction.offset());
        across.min(34.0 - along).min(along)
    };
    let body = Body::new(40.0, 0.8, depth, |_| 400.0);
    let seat = (PatientPoint([0.0, 0.0, -15.0]) + direction * -1.0).0;
    let hole = Drilled { seat, direction: direction.components(), more: "" };
    (body, plan("20, 25, 30", "margin_mm = 2.0", &[hole]))
}

#[test]
fn a_plate_holds_as_often_as_the_normal_distribution_says() {
    for (half, shift) in [(5.0, 1.5), (6.5, 1.5), (4.0, 1.0)] {
        let (body, plan) = plate(half);
        for seed in SEEDS {
            let (_, found) = one(&body, &plan, &params(shift, 0.0, seed));
            let want = 2.0 * normal_cdf((half - RADIUS) / shift) - 1.0;
            let off = (found.stays_inside - want) / found.share_se;
            assert!(off.abs() < 3.0, "{} for {want}, seed {seed}", found.stays_inside);
        }
    }
}

#[test]
fn a_plate_forgives_what_geometry_says() {
    let half = 6.0;
    let (body, plan) = plate(half);
    let (hole, found) = one(&body, &plan, &params(1.5, 3.5, 1));
    let room = half - RADIUS;
    assert!((found.forgiven_shift_mm - room).abs() < 0.05, "{}", found.forgiven_shift_mm);
    // Tilted by θ towards a face the far end moves to d/cos θ; the circle of
    // the last plane at p reaches p sin θ + r cos θ across.
    let [near, far] = [hole.near, hole.far].map(|e| e.expect("ends").at_mm);
    let length = hole.length_mm.expect("safe");
    let reaches = |tilt: f64| {
        let last = length.min(far / tilt.cos() - 2.0 * RADIUS);
        assert!(near + 2.0 * RADIUS < last);
        last * tilt.sin() + RADIUS * tilt.cos()
    };
    let (mut low, mut high) = (0.0_f64, 0.5_f64);
    for _ in 0..40 {
        let middle = f64::midpoint(low, high);
        if reaches(middle) < half { low = middle } else { high = middle }
    }
    let off_deg = (found.forgiven_tilt_rad - low).to_degrees();
    assert!(
        off_deg.abs() < 0.1,
        "{} for {}",
        found.forgiven_tilt_rad.to_degrees(),
        low.to_degrees()
    );
    assert_eq!(found.tilt_ring_rad.len(), 36);
    let least = found.tilt_ring_rad.iter().copied().fold(1.0, f64::min);
    assert!((least - found.forgiven_tilt_rad).abs() < 1e-12);
}

#[test]
fn a_cylinder_forgives_the_same_all_round() {
    let axis = unit([0.1, -0.3, 0.95]);
    let depth = move |at: PatientPoint| {
        let from = at - PatientPoint([0.0, 0.0, -15.0]);
        let along = from.dot(axis.offset());
        let across = (from - axis * along).length_mm();
        (7.0 - across).min(along).min(40.0 - along)
    };
    let body = Body::new(42.0, 0.6, depth, |_| 400.0);
    let hole = Drilled { seat: [0.0, 0.0, -15.0], direction: axis.components(), more: "" };
    let plan = plan("20, 25, 30", "margin_mm = 2.0", &[hole]);
    let (_, found) = one(&body, &plan, &params(1.5, 3.5, 1));
    // Trilinear reading of a curved wall puts it up to h²/8R = 0.006 mm off.
    assert!((found.forgiven_shift_mm - 3.75).abs() < 0.05, "{}", found.forgiven_shift_mm);
    let ring = &found.tilt_ring_rad;
    let spread = ring.iter().copied().fold(0.0, f64::max) - found.forgiven_tilt_rad;
    assert!(spread.to_degrees() < 0.2, "{}", spread.to_degrees());
}

#[test]
fn no_error_keeps_everything_and_a_breach_forgives_nothing() {
    let (body, plan) = plate(6.0);
    let (hole, found) = one(&body, &plan, &params(0.0, 0.0, 1));
    let kept = [found.keeps_margin, found.stays_inside, found.keeps_grade];
    assert!(kept.iter().all(|share| *share >= 1.0), "{kept:?}");
    assert!((found.purchase_p50_mm - hole.purchase_mm).abs() < 1e-3);
    let (body, plan) = plate(3.0);
    let (_, found) = one(&body, &plan, &params(0.0, 0.0, 1));
    assert!(found.forgiven_shift_mm <= 0.0 && found.forgiven_tilt_rad <= 0.0);
}

#[test]
fn a_hole_without_a_length_is_not_tried() {
    let (body, plan) = plate(6.0);
    let mut hole = judge_hole(&body.scene(), &plan, 0, &JudgeParams::OWN);
    hole.length_mm = None;
    assert_eq!(robust(&body.scene(), &plan, &hole, &RobustParams::OWN), None);
    let set = robust_set(&body.scene(), &plan, &[hole], &RobustParams::OWN);
    assert_eq!(set.keeps_every_grade, None);
}

fn set_of(body: &Body, plan: &Plan, params: &RobustParams) -> SetRobust {
    let holes = judge_holes(&body.scene(), plan, &JudgeParams::OWN);
    robust_set(&body.scene(), plan, &holes, params)
}

#[test]
fn a_component_that_sits_wrong_moves_every_hole_together() {
    // Two equal holes in one plate: with the common error alone they fail
    // together, with their own errors alone independently.
    let (body, single) = plate(5.0);
    let hole = &single.holes[0];
    let drilled =
        || Drilled { seat: hole.seat.0, direction: hole.direction.components(), more: "" };
    let two = plan("20, 25, 30", "margin_mm = 2.0", &[drilled(), drilled()]);
    let common = RobustParams { shift_sd_mm: 1.5, turn_sd_rad: 0.0, ..params(0.0, 0.0, 4) };
    let found = set_of(&body, &two, &common);
    let want = 2.0 * normal_cdf((5.0 - RADIUS) / 1.5) - 1.0;
    for hole in &found.holes {
        assert!((hole.stays_inside - want).abs() < 3.0 * found.share_se, "{hole:?} {want}");
    }
    let own = RobustParams { shift_sd_mm: 0.0, turn_sd_rad: 0.0, ..params(1.5, 0.0, 4) };
    let apart = set_of(&body, &two, &own);
    let keeps = |set: &SetRobust| set.keeps_every_grade.expect("tried");
    let alone = apart.holes[0].keeps_grade;
    assert!((keeps(&found) - found.holes[0].keeps_grade).abs() < 1e-12);
    assert!((keeps(&apart) - alone * alone).abs() < 4.0 * apart.share_se, "{apart:?}");
}

#[test]
fn the_same_seed_gives_the_same_bytes_for_any_thread_count() {
    let (body, plan) = plate(6.0);
    let run = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("starts");
        pool.install(|| {
            let (hole, found) = one(&body, &plan, &params(1.5, 3.5, 9));
            (found, robust_set(&body.scene(), &plan, &[hole], &RobustParams::OWN))
        })
    };
    assert_eq!(run(1), run(3));
    let other = one(&body, &plan, &params(1.5, 3.5, 10)).1;
    assert_ne!(run(1).0.purchases_mm, other.purchases_mm);
}
