//! Scans whose answers are known, through bones, paths and lengths.
//!
//! An egg of bone with a 3 mm cortex in muscle, pierced from all sides; the
//! answers are in closed form (`pilothole-phantom`), the tolerances are those
//! that the tool promises.

use pilothole_assess::cortex::CortexModel;
use pilothole_assess::{HoleResult, JudgeParams, Scene as Judged, judge_holes};
use pilothole_bone::{BoneParams, find_bones};
use pilothole_phantom::{Pose, Rounding, Scanner, Scene, Solid, Tissue, Truth};
use pilothole_plan::{Format, Plan};
use pilothole_tests::aloud;
use pilothole_volume::{Direction, Grid, Mask, Offset, PatientPoint, Region, Volume};

const CORTEX_MM: f64 = 3.0;

fn unit(v: [f64; 3]) -> Direction {
    Direction::along(Offset(v)).expect("has length")
}

/// The egg in muscle in air.
fn egg() -> Scene {
    let centre = PatientPoint([1.3, -0.7, 2.1]);
    let bone = Solid::Ellipsoid {
        centre,
        axes: [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR],
        radii_mm: [26.0, 22.0, 30.0],
    };
    let mut scene = Scene::empty();
    scene.paint(Solid::Ball { centre, radius_mm: 60.0 }, Tissue::Muscle, 50.0, 0);
    scene.paint(bone.clone(), Tissue::Cortical, 1300.0, 1);
    scene.paint(bone.inset(CORTEX_MM), Tissue::Cancellous, 240.0, 1);
    scene
}

/// Holes towards the egg's middle from all sides, off the axes of the lattice.
fn plan(pose: &Pose) -> Plan {
    let mut text = String::from(
        r#"schema = "pilothole/plan/1"
side = "left"
coordinates = "LPS"
[socket]
centre_mm = [0.0, 0.0, 0.0]
axis = [0.0, 0.0, -1.0]
outer_diameter_mm = 50.0
[policy]
far_cortex = "stop-short"
margin_mm = 2.0
side_margin_mm = 1.0
screw_gap_mm = 1.0
[[screw]]
name = "inner"
major_diameter_mm = 5.0
core_diameter_mm = 3.0
pitch_mm = 1.75
thread_start_mm = 11.0
tip_mm = 7.0
stocked_lengths_mm = [20, 22, 24, 26, 28, 30, 32, 34, 36, 38, 40, 42, 44, 46, 48, 50, 52, 54, 56, 58, 60]
"#,
    );
    for (index, v) in [
        [0.2, 0.1, 1.0],
        [-0.3, 0.25, -0.9],
        [0.9, 0.3, 0.2],
        [-0.8, -0.4, 0.35],
        [0.15, -0.95, 0.3],
        [-0.4, 0.8, -0.3],
        [0.5, 0.55, 0.6],
        [-0.6, 0.5, 0.62],
    ]
    .into_iter()
    .enumerate()
    {
        let out = unit(v);
        let seat = pose.point(PatientPoint([1.3, -0.7, 2.1]) + out * 32.5);
        let [x, y, z] = seat.0;
        let [a, b, c] = pose.direction(-out.tilted(0.08, index as f64)).components();
        let hole = format!(
            "[[hole]]\nid = \"{index}\"\nzone = \"cup\"\nseat_mm = [{x:.9}, {y:.9}, {z:.9}]\n\
             direction = [{a:.12}, {b:.12}, {c:.12}]\nscrew = \"inner\"\n"
        );
        text.push_str(&hole);
    }
    Plan::parse(&text, Format::Toml).expect("the plan is sound")
}

struct Lattice {
    name: &'static str,
    grid: Grid,
}

fn lattice(name: &'static str, steps: [Offset; 3]) -> Lattice {
    let size: [usize; 3] = std::array::from_fn(|i| (84.0 / steps[i].length_mm()).ceil() as usize);
    let middle = steps[0] * (0.5 * size[0] as f64)
        + steps[1] * (0.5 * size[1] as f64)
        + steps[2] * (0.5 * size[2] as f64);
    let origin = PatientPoint([0.31, 0.17, -0.23]) - middle;
    Lattice { name, grid: Grid::new(size, origin, steps).expect("spans a volume") }
}

fn lattices() -> Vec<Lattice> {
    let axis = |v: [f64; 3], mm: f64| unit(v) * mm;
    let (s, c) = 0.3_f64.sin_cos();
    let tilt = 18.0_f64.to_radians();
    vec![
        lattice(
            "isotropic",
            [axis([1.0, 0.0, 0.0], 0.8), axis([0.0, 1.0, 0.0], 0.8), axis([0.0, 0.0, 1.0], 0.8)],
        ),
        lattice(
            "anisotropic",
            [axis([1.0, 0.0, 0.0], 0.7), axis([0.0, 1.0, 0.0], 0.7), axis([0.0, 0.0, 1.0], 1.5)],
        ),
        lattice(
            "oblique",
            [axis([c, s, 0.0], 0.8), axis([-s, c, 0.0], 0.8), axis([0.0, 0.0, 1.0], 1.0)],
        ),
        lattice(
            "tilted gantry",
            [
                axis([1.0, 0.0, 0.0], 0.8),
                axis([0.0, tilt.cos(), -tilt.sin()], 0.8),
                axis([0.0, 0.0, 1.0], 1.0),
            ],
        ),
    ]
}

fn judge(volume: &Volume, plan: &Plan) -> Vec<HoleResult> {
    let region = Region::whole(volume.grid());
    let bones = find_bones(volume, region, &BoneParams::default()).expect("bone is found");
    let none = Mask::none(bones.grid.size());
    let bare = Judged {
        volume,
        field: &bones.field,
        labels: &bones.labels,
        metal: &bones.metal,
        cement: &none,
        untrusted: &none,
        threshold_hu: bones.threshold_hu,
        cortex: None,
    };
    let cortex = CortexModel::find(&bare, &bones, Some(120.0), &JudgeParams::OWN.path);
    let scene = Judged { cortex: cortex.as_ref(), ..bare };
    judge_holes(&scene, plan, &JudgeParams::OWN)
}

/// Whether everything within a distance of the purchase's cylinder is marrow.
fn keeps_clear(scene: &Scene, hole: &HoleResult, distance_mm: f64) -> bool {
    let Some(length_mm) = hole.length_mm else { return false };
    let (u, v) = hole.direction.across();
    let (from, to) = (11.0 - distance_mm, length_mm - 7.0 + distance_mm);
    (0..=40).all(|i| {
        let centre = hole.seat + hole.direction * (from + (to - from) * f64::from(i) / 40.0);
        (0..24).all(|j| {
            let angle = f64::from(j) * std::f64::consts::TAU / 24.0;
            let out = u * angle.cos() + v * angle.sin();
            scene.tissue_at(centre + out * (2.5 + distance_mm)) == Tissue::Cancellous
        })
    })
}

/// End errors in voxels along the path, and how often a length was wrong.
#[derive(Default)]
struct Errors {
    ends: Vec<f64>,
    hu: Vec<f64>,
    lengths: usize,
}

impl Errors {
    fn add(&mut self, scene: &Scene, grid: &Grid, truth: &Truth, found: &[HoleResult]) {
        for (hole, truth) in found.iter().zip(&truth.holes) {
            let step = grid.voxel_step_mm(hole.direction);
            let near = hole.near.expect("bone is met").at_mm;
            let far = hole.far.expect("bone is left").at_mm;
            self.ends.push((near - truth.near_cortex_mm.expect("known")).abs() / step);
            self.ends.push((far - truth.far_cortex_mm.expect("known")).abs() / step);
            if truth.length_room_mm.is_some_and(|room| room >= 0.5) {
                assert_eq!(hole.length_mm, truth.length_mm, "hole {}", truth.id);
                self.lengths += 1;
            }
            let clear = keeps_clear(scene, hole, 2.0 * step);
            if let (Some(hu), Some(thread), true) = (hole.hu, truth.thread_hu, clear) {
                self.hu.push((hu.thread.mean - thread).abs() / (0.02 * thread).max(8.0));
            }
        }
    }

    fn worst_and_median(&self) -> (f64, f64) {
        let mut ends = self.ends.clone();
        ends.sort_by(f64::total_cmp);
        (ends[ends.len() - 1], ends[ends.len() / 2])
    }
}

fn errors(scanner: &Scanner) -> Errors {
    let mut errors = Errors::default();
    for lattice in lattices() {
        for pose in [Pose::new([0.0; 3], Offset::ZERO), Pose::MIRRORED] {
            let (scene, plan) = (egg().moved(&pose), plan(&pose));
            let volume = scanner.scan(&scene, &lattice.grid).expect("fits");
            let truth = Truth::of(&scene, &plan, &lattice.grid, lattice.name);
            errors.add(&scene, &lattice.grid, &truth, &judge(&volume, &plan));
        }
    }
    errors
}

#[test]
fn without_blur_ends_lengths_and_hu_are_those_of_the_closed_form() {
    let scanner = Scanner { rounding: Rounding::Whole, ..Scanner::PERFECT };
    let errors = errors(&scanner);
    let (worst, median) = errors.worst_and_median();
    let hu = errors.hu.iter().copied().fold(0.0, f64::max);
    aloud(&format!(
        "ends: worst {worst:.3}, median {median:.3} voxels; {} lengths exact; HU {:.2} of the tolerance over {} paths",
        errors.lengths,
        hu,
        errors.hu.len()
    ));
    assert!(worst <= 0.5, "worst end {worst} voxels");
    assert!(median <= 0.2, "median end {median} voxels");
    assert!(errors.lengths >= 30 && errors.hu.len() >= 8, "something was compared");
    assert!(hu <= 1.0, "worst mean HU at {hu} of the tolerance");
}

/// Mean over the tube from core to thread by a plain dense sum, HU.
fn dense_thread_mean(volume: &Volume, hole: &HoleResult, [from, to]: [f64; 2]) -> f64 {
    let (inner, outer): (f64, f64) = (1.5, 3.25);
    let (along, rings, around) = (400, 24, 96);
    let (u, v) = hole.direction.across();
    let mut sum = 0.0;
    for i in 0..along {
        let t = from + (to - from) * (f64::from(i) + 0.5) / f64::from(along);
        for j in 0..rings {
            let share = (f64::from(j) + 0.5) / f64::from(rings);
            let radius = (inner.powi(2) + share * (outer.powi(2) - inner.powi(2))).sqrt();
            for k in 0..around {
                let angle = f64::from(k) * std::f64::consts::TAU / f64::from(around);
                let out = u * angle.cos() + v * angle.sin();
                sum += volume.sample_or_nan(hole.seat + hole.direction * t + out * radius);
            }
        }
    }
    sum / f64::from(along * rings * around)
}

#[test]
fn through_both_walls_the_mean_is_that_of_a_dense_trilinear_reader() {
    let pose = Pose::new([0.0; 3], Offset::ZERO);
    let mut plan = plan(&pose);
    for screw in &mut plan.screws {
        (screw.major_diameter_mm, screw.core_diameter_mm) = (6.5, 3.0);
        (screw.thread_start_mm, screw.tip_mm) = (0.0, 0.0);
    }
    let scanner = Scanner { rounding: Rounding::Whole, ..Scanner::PERFECT };
    for lattice in lattices() {
        let volume = scanner.scan(&egg(), &lattice.grid).expect("fits");
        for hole in judge(&volume, &plan) {
            let length_mm = hole.length_mm.expect("a stocked length is safe");
            let near = hole.near.expect("bone is met").at_mm;
            let want = dense_thread_mean(&volume, &hole, [near, length_mm]);
            let found = hole.hu.expect("measured").thread.mean;
            let name = lattice.name;
            assert!((found - want).abs() <= 1.0, "{name}, hole {}: {found} != {want}", hole.hole);
        }
    }
}

#[test]
fn with_blur_and_noise_ends_stay_within_six_tenths_of_a_voxel() {
    let scanner = Scanner {
        blur_mm: [0.6; 3],
        noise_hu: 15.0,
        seed: 7,
        rounding: Rounding::Whole,
        ..Scanner::PERFECT
    };
    let (worst, median) = errors(&scanner).worst_and_median();
    aloud(&format!("ends with blur and noise: worst {worst:.3}, median {median:.3} voxels"));
    assert!(worst <= 0.6, "worst end {worst} voxels");
}

#[test]
fn moving_patient_and_plan_together_changes_no_answer() {
    let scanner = Scanner { rounding: Rounding::Exact, ..Scanner::PERFECT };
    let lattice = lattices().remove(0);
    let still = Pose::new([0.0; 3], Offset::ZERO);
    let answers = |pose: &Pose| {
        let volume = scanner.scan(&egg().moved(pose), &lattice.grid).expect("fits");
        judge(&volume, &plan(pose))
    };
    let before = answers(&still);
    for pose in [
        Pose::new([0.2, -0.1, 0.4], Offset([2.3, -1.7, 0.9])),
        Pose::new([-0.5, 0.3, 0.1], Offset([-3.1, 0.4, 1.2])),
    ] {
        for (a, b) in before.iter().zip(answers(&pose)) {
            let off =
                |x: Option<f64>, y: Option<f64>| (x.expect("known") - y.expect("known")).abs();
            let near = off(a.near.map(|e| e.at_mm), b.near.map(|e| e.at_mm));
            let far = off(a.far.map(|e| e.at_mm), b.far.map(|e| e.at_mm));
            let limit = 0.25 * 0.8;
            assert!(near <= limit && far <= limit, "hole {}: near {near}, far {far} mm", a.hole);
        }
    }
}
