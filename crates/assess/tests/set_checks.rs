//! Worked checks of load sharing, foundations and load cases, with their
//! sources: sheet 2 is the second list of published values.

use nalgebra::{Matrix3, Vector3, Vector6};
use pilothole_assess::set::beam::{Beam, axial_n_per_mm, shear_lag_n_per_mm2, vesic_n_per_mm2};
use pilothole_assess::set::cases::{CASES, GRAVITY};
use pilothole_assess::set::rigid::{Hold, Spring, total, wrench};
use pilothole_assess::set::{CoreSection, edge_depth_mm};

const TITANIUM: f64 = 113_800.0;

fn close(found: f64, want: f64, tolerance: f64) {
    assert!((found - want).abs() <= tolerance, "{found} != {want} within {tolerance}");
}

/// Springs at places, each with a stiffness; forces on them under a load.
fn forces(
    springs: &[(Vector3<f64>, Matrix3<f64>)],
    load: Vector6<f64>,
) -> (Vec<Vector3<f64>>, Vector6<f64>, usize) {
    let all: Vec<Spring> = springs.iter().map(|(at, own)| Spring::at_place(*at, *own)).collect();
    let hold = Hold::new(&total(&all), 1e-9);
    let motion = hold.motion(&load).expect("the load is held");
    (all.iter().map(|spring| spring.force(&motion)).collect(), motion, hold.held())
}

fn axial(stiffness: f64) -> Matrix3<f64> {
    Matrix3::from_diagonal(&Vector3::new(0.0, 0.0, stiffness))
}

/// Equal in-plane springs: a bolt group.
fn bolt_group(places: &[[f64; 2]], force: f64, arm: f64) -> Vec<f64> {
    let plane = Matrix3::from_diagonal(&Vector3::new(1.0, 1.0, 0.0));
    let springs: Vec<_> = places.iter().map(|p| (Vector3::new(p[0], p[1], 0.0), plane)).collect();
    let load = wrench(Vector3::new(0.0, -force, 0.0), Vector3::new(arm, 0.0, 0.0));
    forces(&springs, load).0.iter().map(Vector3::norm).collect()
}

// Sheet 2 §12: AS 4100 worked example (inputs confirmed by a second source), forces derived.
#[test]
fn six_bolts_carry_the_worked_forces() {
    let places =
        [[-40.0, -70.0], [-40.0, 0.0], [-40.0, 70.0], [40.0, -70.0], [40.0, 0.0], [40.0, 70.0]];
    let found = bolt_group(&places, 120.0, 200.0);
    let want = [58.9576, 12.8767, 58.9576, 78.1418, 52.8767, 78.1418];
    for (found, want) in found.iter().zip(want) {
        close(*found, want, 5e-5);
    }
    close(places.iter().map(|p| p[0] * p[0] + p[1] * p[1]).sum(), 29_200.0, 1e-9);
}

// Sheet 2 §12: derived; Shigley prints 17.7, 21.0, 14.8 (from memory, high).
#[test]
fn four_bolts_carry_the_worked_forces() {
    let places = [[75.0, 60.0], [-75.0, 60.0], [75.0, -60.0], [-75.0, -60.0]];
    let found = bolt_group(&places, 16.0, 425.0);
    for (found, want) in found.iter().zip([20.9726, 14.7888, 20.9726, 14.7888]) {
        close(*found, want, 5e-5);
    }
    // The part from the moment alone.
    let plane = Matrix3::from_diagonal(&Vector3::new(1.0, 1.0, 0.0));
    let springs: Vec<_> = places.iter().map(|p| (Vector3::new(p[0], p[1], 0.0), plane)).collect();
    let turning = Vector6::new(0.0, 0.0, 0.0, 0.0, 0.0, -6800.0);
    for force in forces(&springs, turning).0 {
        close(force.norm(), 17.6997, 5e-5);
    }
}

// Sheet 2 §12, derived.
#[test]
fn three_springs_share_by_statics_alone() {
    let places = [[0.0, 0.0], [100.0, 0.0], [0.0, 100.0]];
    for stiffness in [[1.0, 1.0, 1.0], [3.0, 7.0, 0.5]] {
        let springs: Vec<_> = places
            .iter()
            .zip(stiffness)
            .map(|(p, k)| (Vector3::new(p[0], p[1], 0.0), axial(1000.0 * k)))
            .collect();
        let load = wrench(Vector3::new(0.0, 0.0, -1000.0), Vector3::new(20.0, 30.0, 0.0));
        let (found, _, held) = forces(&springs, load);
        assert_eq!(held, 3);
        for (force, want) in found.iter().zip([500.0, 200.0, 300.0]) {
            close(-force.z, want, 1e-6);
        }
    }
}

// Sheet 2 §12, derived: P/4 (1 + x xi / 40² + y yi / 30²).
#[test]
fn four_equal_springs_share_by_their_places() {
    let places = [[-40.0, -30.0], [40.0, -30.0], [40.0, 30.0], [-40.0, 30.0]];
    let springs: Vec<_> =
        places.iter().map(|p| (Vector3::new(p[0], p[1], 0.0), axial(1000.0))).collect();
    let load = wrench(Vector3::new(0.0, 0.0, -1000.0), Vector3::new(10.0, 12.0, 0.0));
    for (force, want) in forces(&springs, load).0.iter().zip([87.5, 212.5, 412.5, 287.5]) {
        close(-force.z, want, 1e-6);
    }
}

// Sheet 2 §12, derived; inputs in `textbook_checks.py` B3.
#[test]
fn four_oblique_screws_carry_the_worked_forces() {
    let axes = [[0.35, 0.10, 0.93], [-0.20, 0.30, 0.93], [0.05, -0.95, 0.30], [-0.85, 0.15, 0.50]]
        .map(|d| Vector3::from(d).normalize());
    let seats = [[12.0, 5.0, 26.0], [-10.0, 12.0, 25.0], [4.0, -27.0, 8.0], [-26.0, 3.0, 14.0]]
        .map(Vector3::from);
    let screws: Vec<Spring> =
        (0..4).map(|i| Spring::screw(seats[i], axes[i], 2000.0, 500.0)).collect();
    let force = Vector3::new(-45.2, 14.1, 233.0) * 7.85;
    let hold = Hold::new(&total(&screws), 1e-9);
    assert_eq!(hold.held(), 6);
    let motion = hold.motion(&wrench(force, Vector3::zeros())).expect("held");
    let want = [(654.772, 121.854), (660.355, 53.547), (215.102, 192.933), (420.203, 109.499)];
    let mut sum = Vector3::zeros();
    let mut moment = Vector3::zeros();
    for (i, (along, across)) in want.into_iter().enumerate() {
        let f = screws[i].force(&motion);
        let found = f.dot(&axes[i]);
        close(found.abs(), along, 5e-4);
        close((f - axes[i] * found).norm(), across, 5e-4);
        sum += f;
        moment += seats[i].cross(&f);
    }
    for (i, want) in [-0.038_098, -0.001_178, 0.363_187].into_iter().enumerate() {
        close(motion[i], want, 5e-7);
    }
    assert!((sum - force).norm() < 1e-8 && moment.norm() < 1e-7);
}

// Sheet 2 §12, derived: rank 5, free to turn about their line.
#[test]
fn collinear_springs_are_refused_by_name_and_never_divided_by() {
    let springs: Vec<Spring> = [0.0, 10.0, 20.0]
        .map(|x| Spring::at_place(Vector3::new(x, 0.0, 0.0), Matrix3::identity() * 1000.0))
        .to_vec();
    let hold = Hold::new(&total(&springs), 1e-9);
    assert_eq!(hold.held(), 5);
    let free = hold.free();
    assert_eq!(free.len(), 1);
    assert!(free[0].fixed_rows::<3>(0).norm() < 1e-9);
    close(free[0][3].abs(), 1.0, 1e-9);
    assert_eq!(hold.motion(&Vector6::new(0.0, 0.0, 0.0, 1.0, 0.0, 0.0)), None);
    assert!(hold.motion(&Vector6::new(0.0, 1.0, 0.0, 0.0, 0.0, 0.0)).is_some());
}

fn beam(length_mm: f64, step_mm: f64, foundation: f64, bending: f64) -> Beam {
    let pieces = (length_mm / step_mm).round() as usize;
    Beam { step_mm, foundation_n_per_mm2: vec![foundation; pieces], bending_n_mm2: bending }
}

// Sheet 2 §12, derived: y = Pβ/2k, M = P/4β (Hetényi 1946, confirmed by a
// second source); half the beam with its head held and half the force.
#[test]
fn an_infinite_beam_gives_the_worked_shift_and_moment() {
    let (k, bending): (f64, f64) = (10.0, 2e13);
    let beta = (k / (4.0 * bending)).powf(0.25);
    let head = beam(12.0 / beta, 0.02 / beta, k, bending).head_compliance().expect("founded");
    let half = 50_000.0;
    close(half / head.held_n_per_mm(), 2.973_018, 5e-7);
    close(half * head.moment_per_force_held / 1e6, 42.0448, 5e-5);
}

// Sheet 2 §2.3, derived: y0 = 2Pβ/k, θ0 = -2Pβ²/k, |M| = 0.322397 P/β.
#[test]
fn a_half_infinite_beam_gives_its_closed_forms() {
    let (k, bending): (f64, f64) = (66.1, 452_500.0);
    let beta = (k / (4.0 * bending)).powf(0.25);
    // A node lies where the moment is largest, π/4β from the head.
    let step_mm = std::f64::consts::PI / (160.0 * beta);
    let head = beam(14.0 / beta, step_mm, k, bending).head_compliance().expect("founded");
    close(head.shift_per_force * k / (2.0 * beta), 1.0, 1e-6);
    close(head.turn_per_force * k / (2.0 * beta * beta), -1.0, 1e-6);
    close(head.moment_per_force * beta, 0.322_397, 5e-7);
    close(head.held_n_per_mm() * beta / k, 1.0, 1e-6);
}

// Sheet 2 §2.3, derived: a short rigid beam moves 4P/kL at its loaded end.
#[test]
fn a_short_rigid_beam_turns_about_its_lower_third() {
    let head = beam(20.0, 1.0, 100.0, 1e12).head_compliance().expect("founded");
    close(head.shift_per_force, 4.0 / (100.0 * 20.0), 1e-7);
}

// Sheet 2 §2.3, confirmed by a second source with numbers.
#[test]
fn vesics_foundation_has_the_published_number() {
    let k = vesic_n_per_mm2(10.0, 0.3, 3000.0, 30_620.0 * 3125e7);
    close(k / 3000.0 * 1e6, 2348.118, 5e-4);
}

// Sheet 2 §2.3, derived, HB 6.5 with a 3.0 mm core: bone (N/mm²), foundation
// (N/mm²), 1/β (mm), head free at 15, 30, 50 mm, head held and long (N/mm).
#[test]
fn a_screws_lateral_stiffness_has_the_printed_values() {
    let bending = TITANIUM * std::f64::consts::PI * 81.0 / 64.0;
    let rows = [
        (50.0, 31.2, 15.5, [116.0, 209.0, 241.0], 484.0),
        (100.0, 66.1, 12.9, [244.0, 401.0, 425.0], 850.0),
        (300.0, 217.3, 9.6, [772.0, 1034.0, 1038.0], 2076.0),
        (1000.0, 800.8, 6.9, [2533.0, 2759.0, 2761.0], 5522.0),
    ];
    for (bone, foundation, wave, free, held) in rows {
        let k = vesic_n_per_mm2(bone, 0.3, 6.5, bending);
        close(k, foundation, 0.05);
        close((k / (4.0 * bending)).powf(-0.25), wave, 0.05);
        for (length, want) in [15.0, 30.0, 50.0].into_iter().zip(free) {
            let head = beam(length, 0.05, k, bending).head_compliance().expect("founded");
            close(head.free_n_per_mm(), want, 0.5);
        }
        let long = beam(160.0, 0.05, k, bending).head_compliance().expect("founded");
        close(long.held_n_per_mm(), held, 0.5);
    }
}

// Sheet 2 §2.3, derived: beyond 30 mm length adds nothing laterally.
#[test]
fn length_beyond_thirty_millimetres_adds_little_across() {
    let bending = TITANIUM * std::f64::consts::PI * 81.0 / 64.0;
    let k = vesic_n_per_mm2(300.0, 0.3, 6.5, bending);
    let at = |length: f64| {
        beam(length, 1.0, k, bending).head_compliance().expect("founded").free_n_per_mm()
    };
    assert!(at(50.0) / at(30.0) < 1.01);
}

// Sheet 2 §2.3, derived: 2191 (50 N/mm²) to 29914 N/mm (1000 N/mm²) at 30 mm.
#[test]
fn the_shear_lag_bound_has_the_printed_values() {
    let stretch = TITANIUM * std::f64::consts::PI * 9.0 / 4.0;
    for (bone, want) in [(50.0, 2191.0), (1000.0, 29_914.0)] {
        let shear = shear_lag_n_per_mm2(bone, 0.3, 5.0);
        close(axial_n_per_mm(1.0, &[shear; 30], stretch), want, 0.5);
        close(axial_n_per_mm(0.25, &[shear; 120], stretch), want, 0.5);
    }
}

// Sheet 2 §2.3, derived at 795 N/mm²: core diameter (mm), shear (N), first
// yield (N mm), all of it yielded (N mm), tension (N).
#[test]
fn a_core_holds_what_was_derived() {
    let rows = [
        [3.0, 3244.0, 2107.0, 3578.0, 5620.0],
        [3.5, 4416.0, 3346.0, 5681.0, 7649.0],
        [4.5, 7300.0, 7112.0, 12_074.0, 12_644.0],
    ];
    for [diameter_mm, shear, first, plastic, tension] in rows {
        let core = CoreSection { diameter_mm, yield_mpa: 795.0 };
        close(core.shear_n(), shear, 0.5);
        close(core.first_yield_n_mm(), first, 0.5);
        close(core.plastic_n_mm(), plastic, 0.5);
        close(core.tension_n(), tension, 0.5);
    }
}

// Sheet 2 §6, derived: 6.5 mm at 15, 30, 45°.
#[test]
fn the_edge_depth_on_a_slope_has_the_derived_values() {
    for (degrees, want) in [(15.0_f64, 1.74), (30.0, 3.75), (45.0, 6.50)] {
        close(edge_depth_mm(6.5, degrees.to_radians()), want, 5e-3);
    }
}

// Sheet 2 §1.2, derived: angles from the up axis in the frontal plane (medial)
// and in the sagittal plane (forwards), degrees; the stumble has 870 %.
#[test]
fn load_cases_point_where_derived() {
    let angles = [(6.1, -13.5), (10.9, 20.7), (5.9, 0.5)];
    for (case, (frontal, sagittal)) in CASES.iter().zip(angles) {
        close(case.medial.atan2(case.superior).to_degrees(), frontal, 0.15);
        close(case.anterior.atan2(case.superior).to_degrees(), sagittal, 0.15);
    }
    close(CASES[3].anterior.atan2(CASES[3].superior).to_degrees(), -67.0, 0.5);
    let stumble = CASES[4];
    assert!(stumble.outlier);
    close(stumble.anterior.hypot(stumble.superior).hypot(stumble.medial), 870.0, 1e-6);
    // 80 kg: 870 % is 6827.8 N (first sheet §7, with 9.81 m/s²).
    let force = stumble.force_n(&Matrix3::identity(), 80.0, 0.0);
    close(force.norm() * 9.81 / GRAVITY, 6827.8, 0.05);
}

// Sheet 2 §1.2, derived: ±1° of flexion changes the anterior part by 4.1 % of
// body weight; ten degrees of tilt by 41.
#[test]
fn ten_degrees_of_tilt_move_the_force_as_derived() {
    let level = CASES[0].force_n(&Matrix3::identity(), 100.0 / GRAVITY, 0.0);
    let tilted = CASES[0].force_n(&Matrix3::identity(), 100.0 / GRAVITY, 10_f64.to_radians());
    close(tilted.x - level.x, 41.0, 1.5);
    close(tilted.norm(), level.norm(), 1e-9);
}
