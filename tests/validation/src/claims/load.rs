//! Load shared by screws, and screws bedded in bone.

use nalgebra::{Matrix3, Vector3};
use pilothole_assess::set::beam::{Beam, vesic_n_per_mm2};
use pilothole_assess::set::rigid::{Hold, Spring, total, wrench};

use super::{Section, World};
use crate::row::{ERROR_HEADS, Row, Tag, figures};
use crate::worked::{Worked, off};

/// Forces on springs under a force at a place.
fn forces(springs: &[Spring], force: Vector3<f64>, at: Vector3<f64>) -> Vec<Vector3<f64>> {
    let motion = Hold::new(&total(springs), 1e-9).motion(&wrench(force, at)).expect("held");
    springs.iter().map(|spring| spring.force(&motion)).collect()
}

fn bolts(worked: &Worked) -> Vec<f64> {
    let six =
        [[-40.0, -70.0], [-40.0, 0.0], [-40.0, 70.0], [40.0, -70.0], [40.0, 0.0], [40.0, 70.0]];
    let four = [[75.0, 60.0], [-75.0, 60.0], [75.0, -60.0], [-75.0, -60.0]];
    let plane = Matrix3::from_diagonal(&Vector3::new(1.0, 1.0, 0.0));
    let mut errors = Vec::new();
    for (case, places, force, arm) in
        [("six bolts", &six[..], 120.0, 200.0), ("four bolts", &four[..], 16.0, 425.0)]
    {
        let springs: Vec<_> =
            places.iter().map(|p| Spring::at_place(Vector3::new(p[0], p[1], 0.0), plane)).collect();
        let found = forces(&springs, Vector3::new(0.0, -force, 0.0), Vector3::new(arm, 0.0, 0.0));
        for (n, force) in found.iter().enumerate() {
            errors.push(off(force.norm(), worked.value("load", case, &format!("bolt {n}"))));
        }
    }
    errors
}

fn springs(worked: &Worked) -> Vec<f64> {
    let three = [[0.0, 0.0], [100.0, 0.0], [0.0, 100.0]];
    let four = [[-40.0, -30.0], [40.0, -30.0], [40.0, 30.0], [-40.0, 30.0]];
    let mut errors = Vec::new();
    for (case, places, at) in
        [("three springs", &three[..], [20.0, 30.0]), ("four springs", &four[..], [10.0, 12.0])]
    {
        let axial = Matrix3::from_diagonal(&Vector3::new(0.0, 0.0, 1000.0));
        let springs: Vec<_> =
            places.iter().map(|p| Spring::at_place(Vector3::new(p[0], p[1], 0.0), axial)).collect();
        let load = Vector3::new(0.0, 0.0, -1000.0);
        for (n, force) in forces(&springs, load, Vector3::new(at[0], at[1], 0.0)).iter().enumerate()
        {
            errors.push(off(-force.z, worked.value("load", case, &format!("spring {n}"))));
        }
    }
    errors
}

fn screws(worked: &Worked) -> Vec<f64> {
    let axes = [[0.35, 0.10, 0.93], [-0.20, 0.30, 0.93], [0.05, -0.95, 0.30], [-0.85, 0.15, 0.50]]
        .map(|d| Vector3::from(d).normalize());
    let seats = [[12.0, 5.0, 26.0], [-10.0, 12.0, 25.0], [4.0, -27.0, 8.0], [-26.0, 3.0, 14.0]]
        .map(Vector3::from);
    let screws: Vec<Spring> =
        (0..4).map(|i| Spring::screw(seats[i], axes[i], 2000.0, 500.0)).collect();
    let load = wrench(Vector3::new(-45.2, 14.1, 233.0) * 7.85, Vector3::zeros());
    let motion = Hold::new(&total(&screws), 1e-9).motion(&load).expect("held");
    let want = |quantity: String| worked.value("load", "four oblique screws", &quantity);
    let mut errors = Vec::new();
    for (n, axis) in axes.iter().enumerate() {
        let force = screws[n].force(&motion);
        let along = force.dot(axis);
        errors.push(off(along.abs(), want(format!("axial {n}"))));
        errors.push(off((force - axis * along).norm(), want(format!("lateral {n}"))));
    }
    for (n, axis) in ["x", "y", "z"].iter().enumerate() {
        errors.push(off(motion[n], want(format!("shift {axis}"))));
    }
    errors
}

fn beam(length_mm: f64, step_mm: f64, foundation: f64, bending: f64) -> Beam {
    let pieces = (length_mm / step_mm).round() as usize;
    Beam { step_mm, foundation_n_per_mm2: vec![foundation; pieces], bending_n_mm2: bending }
}

fn beams(worked: &Worked) -> Vec<f64> {
    let want = |case: &str, quantity: &str| worked.value("load", case, quantity);
    let wave = |k: f64, bending: f64| (k / (4.0 * bending)).powf(0.25);
    let (k, bending) = (10.0, 2e13);
    let beta = wave(k, bending);
    let long = beam(12.0 / beta, 0.02 / beta, k, bending).head_compliance().expect("founded");
    // Half of an infinite beam, its head held, carries half of the force.
    let half = 50_000.0;
    let mut errors = vec![
        off(half / long.held_n_per_mm(), want("infinite beam", "shift mm")),
        off(half * long.moment_per_force_held / 1e6, want("infinite beam", "moment kN m")),
    ];
    let (k, bending) = (66.1, 452_500.0);
    let beta = wave(k, bending);
    let free = beam(14.0 / beta, 0.01 / beta, k, bending).head_compliance().expect("founded");
    let share = |quantity| want("half-infinite beam", quantity);
    errors.push(off(free.shift_per_force * k / (2.0 * beta), share("shift share")));
    errors.push(off(free.turn_per_force * k / (2.0 * beta * beta), share("turn share")));
    errors.push(off(free.moment_per_force * beta, share("moment share")));
    let short = beam(20.0, 1.0, 100.0, 1e12).head_compliance().expect("founded");
    errors.push(off(short.shift_per_force, want("short rigid beam", "shift per N")));
    let founded = vesic_n_per_mm2(10.0, 0.3, 3000.0, 30_620.0 * 3125e7);
    errors.push(off(founded / 3000.0 * 1e6, want("foundation", "N per mm2 of 3 m in Pa/m")));
    errors
}

pub(super) fn section(world: &World) -> Section {
    let row = |id, what: &str, source: &str, tag, errors: Vec<f64>, test| Row {
        id,
        what: what.to_owned(),
        source: source.to_owned(),
        tag,
        figures: figures(&errors, "share"),
        test,
        needs_scan: false,
    };
    let worked = &world.worked;
    Section {
        title: "Load on the set",
        claim: "The hip's force is shared by the screws as statics and their bedding say.".to_owned(),
        heads: ERROR_HEADS.to_vec(),
        rows: vec![
            row(
                "load-bolts",
                "forces of two bolt groups",
                "AS 4100 example and Shigley's, by direct shear and moment, worked in Python",
                Tag::Derived,
                bolts(worked),
                "crates/assess/tests/set_checks.rs `six_bolts_carry_the_worked_forces`",
            ),
            row(
                "load-springs",
                "forces of three and four springs",
                "statics, worked in Python",
                Tag::Derived,
                springs(worked),
                "crates/assess/tests/set_checks.rs `four_equal_springs_share_by_their_places`",
            ),
            row(
                "load-screws",
                "forces and movement of four oblique screws",
                "six equations of statics, solved by numpy",
                Tag::Derived,
                screws(worked),
                "crates/assess/tests/set_checks.rs `four_oblique_screws_carry_the_worked_forces`",
            ),
            row(
                "load-beams",
                "infinite, half-infinite and short beams, and one foundation",
                "Hetényi 1946, Vesić 1961, worked in Python",
                Tag::Confirmed,
                beams(worked),
                "crates/assess/tests/set_checks.rs `an_infinite_beam_gives_the_worked_shift_and_moment`",
            ),
        ],
        remarks: "Beams are solved in pieces, so their errors fall with the piece. No measured stiffness of a pelvic screw was found to compare with.".to_owned(),
    }
}
