//! A cortex by model: thickness and ends beside two thresholds, in boxes of
//! known walls and in the made hip.
//!
//! Tables are printed; `docs/methods/cortex.md` holds them.
#![expect(clippy::print_stdout, reason = "the tables are for a reader")]

use pilothole_assess::cortex::{CortexModel, cortex_thickness};
use pilothole_assess::path::{self, Axis, Path};
use pilothole_assess::{EdgeRule, JudgeParams, PathParams, Scene as Judged, judge_holes};
use pilothole_bone::{BlurSource, BoneParams, Bones, find_bones};
use pilothole_phantom::{Pose, Rounding, Scanner, Scene, Solid, Tissue, demo_hip};
use pilothole_volume::{Direction, Grid, Mask, Offset, PatientPoint, Region, Volume};

const CORTEX_HU: f64 = 1300.0;
const HALF_MM: f64 = 20.0;
const THICK_MM: f64 = 4.0;
/// Seats lie this far before the front wall, mm.
const BEFORE_MM: f64 = 3.0;

struct Scan {
    volume: Volume,
    bones: Bones,
    none: Mask,
    cortex: Option<CortexModel>,
}

impl Scan {
    fn of(volume: Volume) -> Self {
        let region = Region::whole(volume.grid());
        let bones = find_bones(&volume, region, &BoneParams::default()).expect("bone is found");
        let none = Mask::none(bones.grid.size());
        let mut scan = Self { volume, bones, none, cortex: None };
        scan.cortex =
            CortexModel::find(&scan.halfway(), &scan.bones, Some(120.0), &PathParams::OWN);
        scan
    }

    /// Without a model every end lies halfway.
    fn halfway(&self) -> Judged<'_> {
        Judged { cortex: None, ..self.modelled() }
    }

    fn modelled(&self) -> Judged<'_> {
        Judged {
            volume: &self.volume,
            field: &self.bones.field,
            labels: &self.bones.labels,
            metal: &self.none,
            cement: &self.none,
            untrusted: &self.none,
            threshold_hu: self.bones.threshold_hu,
            cortex: self.cortex.as_ref(),
        }
    }
}

/// A box of bone whose front wall is `wall_mm` thick and whose others are
/// 4 mm; its front normal is turned by the pose.
fn walled(wall_mm: f64, marrow_hu: f64, pose: &Pose) -> Scene {
    let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
    let brick = |low: [f64; 3], high: [f64; 3]| Solid::Brick {
        centre: PatientPoint(std::array::from_fn(|i| f64::midpoint(low[i], high[i]))),
        axes,
        half_mm: std::array::from_fn(|i| 0.5 * (high[i] - low[i])),
    };
    let inner = HALF_MM - THICK_MM;
    let mut scene = Scene::empty();
    let centre = PatientPoint([0.0; 3]);
    scene.paint(Solid::Ball { centre, radius_mm: 60.0 }, Tissue::Muscle, 50.0, 0);
    let outer = brick([-HALF_MM; 3], [HALF_MM; 3]);
    scene.paint(outer, Tissue::Cortical, CORTEX_HU, 1);
    let marrow = brick([-HALF_MM + wall_mm, -inner, -inner], [inner; 3]);
    scene.paint(marrow, Tissue::Cancellous, marrow_hu, 1);
    scene.moved(pose)
}

fn grid(spacing: [f64; 3]) -> Grid {
    let size = spacing.map(|s| (76.0 / s) as usize);
    let origin = PatientPoint(std::array::from_fn(|i| {
        -0.5 * spacing[i] * (size[i] - 1) as f64 + [0.13, -0.21, 0.34][i]
    }));
    let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
    Grid::from_axes(size, origin, axes, spacing).expect("square")
}

fn scanner(noise_hu: f64, seed: u64) -> Scanner {
    Scanner {
        blur_mm: [0.6; 3],
        noise_hu,
        seed,
        cells: 3,
        fineness: 2,
        ceiling_hu: Some(3071.0),
        rounding: Rounding::Whole,
    }
}

/// A path in through the front wall.
struct Pierced {
    axis: Axis,
    /// Cosine of its angle to the wall's normal.
    slant: f64,
    /// Whether it leaves by the back wall, away from the box's edges.
    by_the_back: bool,
}

impl Pierced {
    /// Where the front face is, mm from the seat.
    fn face_mm(&self) -> f64 {
        BEFORE_MM / self.slant
    }

    /// Where the back face is, mm from the seat.
    fn back_mm(&self) -> f64 {
        (BEFORE_MM + 2.0 * HALF_MM) / self.slant
    }
}

/// Paths in through the front wall, straight and slanting.
fn through_the_front(pose: &Pose) -> Vec<Pierced> {
    let mut paths = Vec::new();
    for i in 0..6_u32 {
        for j in 0..6_u32 {
            let (p, s) = (f64::from(i) * 3.1 - 7.7, f64::from(j) * 3.3 - 8.2);
            let tilt = 0.12 * f64::from((i + 2 * j) % 4);
            let inward = Direction::LEFT.tilted(tilt, f64::from(i * 6 + j));
            let seat = PatientPoint([-HALF_MM - BEFORE_MM, p, s]);
            let slant = inward.components()[0];
            let out = seat + inward * ((BEFORE_MM + 2.0 * HALF_MM) / slant);
            paths.push(Pierced {
                axis: Axis { seat: pose.point(seat), direction: pose.direction(inward) },
                slant,
                by_the_back: out.0[1].abs() < 13.0 && out.0[2].abs() < 13.0,
            });
        }
    }
    paths
}

#[derive(Default)]
struct Errors(Vec<f64>);

impl Errors {
    fn bias(&self) -> f64 {
        self.0.iter().sum::<f64>() / self.0.len().max(1) as f64
    }

    fn spread(&self) -> f64 {
        let bias = self.bias();
        let squares: f64 = self.0.iter().map(|e| (e - bias).powi(2)).sum();
        (squares / (self.0.len().max(2) - 1) as f64).sqrt()
    }

    fn worst(&self) -> f64 {
        self.0.iter().fold(0.0, |most, e| most.max(e.abs()))
    }

    fn words(&self) -> String {
        if self.0.is_empty() {
            return "-".to_owned();
        }
        format!("{:+.2} ± {:.2} ({})", self.bias(), self.spread(), self.0.len())
    }
}

/// Thickness along a path by a fixed threshold; `None` where it is not reached.
fn by_threshold(path: &Path, threshold_hu: f64, around_mm: f64) -> Option<f64> {
    let hu = |t: f64| path.profile.at_or_nan(t);
    let step = 0.02;
    let places: Vec<f64> = (0..400).map(|i| around_mm - 3.0 + f64::from(i) * step).collect();
    let first = places.iter().position(|t| hu(*t) >= threshold_hu)?;
    let last = places[first..].iter().position(|t| hu(*t) < threshold_hu)?;
    Some(last as f64 * step)
}

fn poses() -> [Pose; 3] {
    [
        Pose::new([0.11, -0.07, 0.2], Offset([0.3, 0.1, -0.2])),
        Pose::new([-0.3, 0.4, 0.6], Offset([-0.2, 0.4, 0.1])),
        Pose::new([0.2, 0.9, -0.4], Offset([0.1, -0.3, 0.2])),
    ]
}

#[test]
fn a_modelled_cortex_has_no_bias_from_six_tenths_of_a_millimetre_up() {
    println!("true mm | threshold 226 HU | halfway | model | model refused");
    for wall_mm in [0.4, 0.6, 0.8, 1.0, 1.5, 2.0, 3.0] {
        let mut errors: [Errors; 3] = Default::default();
        let mut refused = 0;
        for (seed, pose) in poses().iter().enumerate() {
            let scene = walled(wall_mm, 60.0, pose);
            let volume = scanner(15.0, seed as u64).scan(&scene, &grid([0.7, 0.7, 0.8]));
            let scan = Scan::of(volume.expect("fits"));
            for pierced in through_the_front(pose) {
                let axis = pierced.axis;
                let halfway = path::measure(&scan.halfway(), axis, &PathParams::OWN);
                let modelled = path::measure(&scan.modelled(), axis, &PathParams::OWN);
                let mut add = |method: usize, found_mm: Option<f64>| {
                    errors[method].0.extend(found_mm.map(|mm| mm * pierced.slant - wall_mm));
                };
                add(0, by_threshold(&halfway, 226.0, pierced.face_mm()));
                add(1, halfway.near.and_then(|edge| edge.width_mm));
                match modelled.near.filter(|edge| edge.rule == EdgeRule::Plate) {
                    Some(edge) => add(2, edge.cortex_mm),
                    None => refused += 1,
                }
            }
        }
        let [threshold, halfway, model] = &errors;
        println!(
            "{wall_mm:.1} | {} | {} | {} | {refused}",
            threshold.words(),
            halfway.words(),
            model.words()
        );
        if wall_mm >= 0.6 {
            assert!(model.0.len() > 80, "{wall_mm}: {} fitted", model.0.len());
            assert!(model.bias().abs() < 0.1, "{wall_mm}: bias {}", model.bias());
            assert!(model.spread() < 0.58, "{wall_mm}: spread {}", model.spread());
        }
    }
}

/// Errors of near and far ends of paths that leave by the back wall, in voxels
/// along the path, and how many paths lose their far cortex.
fn end_errors(scene: &Judged<'_>, pose: &Pose) -> (Errors, Errors, usize) {
    let (mut near, mut far, mut lost) = (Errors::default(), Errors::default(), 0);
    let mut plates = 0;
    for pierced in through_the_front(pose).iter().filter(|pierced| pierced.by_the_back) {
        let path = path::measure(scene, pierced.axis, &PathParams::OWN);
        let voxel_mm = scene.grid().voxel_step_mm(pierced.axis.direction);
        near.0.extend(path.near.map(|edge| (edge.at_mm - pierced.face_mm()) / voxel_mm));
        let found = path.far.map(|edge| edge.at_mm - pierced.back_mm());
        lost += usize::from(found.is_none_or(|mm| mm < -5.0));
        far.0.extend(found.map(|mm| mm / voxel_mm));
        let ends = [path.near, path.far].into_iter().flatten();
        plates += ends.filter(|edge| edge.rule == EdgeRule::Plate).count();
    }
    println!("  near {}, far {}, {plates} plates", near.words(), far.words());
    (near, far, lost)
}

#[test]
fn porotic_paths_keep_their_far_cortex_and_a_threshold_loses_them() {
    println!(
        "cortex mm, marrow HU | near worst voxel (halfway) | far worst voxel (halfway) | far lost | lost by 226 HU"
    );
    for (wall_mm, marrow_hu) in [(0.8, -80.0), (0.8, 80.0), (1.0, 0.0), (1.2, -80.0), (1.2, 80.0)] {
        let pose = &poses()[0];
        let voxel_mm = [0.7, 0.7, 0.8];
        let scene = porotic(wall_mm, THICK_MM, CORTEX_HU, marrow_hu, pose);
        let volume = scanner(15.0, 5).scan(&scene, &grid(voxel_mm)).expect("fits");
        let scan = Scan::of(volume);
        let (near, far, lost) = end_errors(&scan.modelled(), pose);
        let (half_near, half_far, _) = end_errors(&scan.halfway(), pose);
        let paths = through_the_front(pose);
        let leaves = |pierced: &&Pierced| leaves_at_a_threshold(&scan.volume, pierced.axis, 226.0);
        let by_226 = paths.iter().filter(leaves).count();
        println!(
            "{wall_mm:.1}, {marrow_hu:.0} | {:.2} ({:.2}) | {:.2} ({:.2}) | {lost} of {} | {by_226} of {}",
            near.worst(),
            half_near.worst(),
            far.worst(),
            half_far.worst(),
            far.0.len(),
            paths.len()
        );
        assert_eq!(lost, 0, "{wall_mm} {marrow_hu}");
        assert!(near.worst() <= 0.6, "{wall_mm} {marrow_hu}: near {}", near.worst());
        assert!(far.worst() <= 0.6, "{wall_mm} {marrow_hu}: far {}", far.worst());
        assert!(by_226 > 30, "a threshold should lose them: {by_226}");
    }
}

/// Nowhere thick: neither the blur nor the cortex's level shows by itself, and
/// the level is none that is assumed.
#[test]
fn porotic_paths_without_any_thick_cortex_end_within_six_tenths_of_a_voxel() {
    println!("cortex mm, HU, marrow HU | blur mm | near worst voxel (halfway) | far | far lost");
    for (wall_mm, cortex_hu, marrow_hu) in [
        (0.8, 1000.0, -80.0),
        (0.8, 1300.0, 80.0),
        (0.8, 1700.0, -80.0),
        (1.0, 1300.0, 0.0),
        (1.2, 1000.0, 80.0),
        (1.2, 1300.0, -80.0),
        (1.2, 1700.0, 80.0),
    ] {
        let pose = &poses()[0];
        let scene = porotic(wall_mm, wall_mm, cortex_hu, marrow_hu, pose);
        let volume = scanner(15.0, 6).scan(&scene, &grid([0.7, 0.7, 0.8])).expect("fits");
        let scan = Scan::of(volume);
        let blur = scan.cortex.as_ref().expect("plates show the blur").blur;
        assert!(matches!(blur.from, BlurSource::Plates { .. }), "{:?}", blur.from);
        let (near, far, lost) = end_errors(&scan.modelled(), pose);
        let (half_near, _, _) = end_errors(&scan.halfway(), pose);
        println!(
            "{wall_mm:.1}, {cortex_hu:.0}, {marrow_hu:.0} | {:.2} | {:.2} ({:.2}) | {:.2} | {lost} of {}",
            blur.in_plane_sigma_mm,
            near.worst(),
            half_near.worst(),
            far.worst(),
            far.0.len()
        );
        // 0.6 mm with what voxels of 0.7 mm and reading between them add.
        let known_mm = 0.6_f64.hypot(0.5 * 0.7);
        assert!((blur.in_plane_sigma_mm - known_mm).abs() < 0.1, "{blur:?}, {known_mm}");
        assert_eq!(lost, 0, "{wall_mm} {cortex_hu} {marrow_hu}");
        let worst = near.worst().max(far.worst());
        assert!(worst <= 0.6, "{wall_mm} {cortex_hu} {marrow_hu}: {worst}");
    }
}

/// A box all of whose walls are thin but one side's.
fn porotic(wall_mm: f64, back_mm: f64, cortex_hu: f64, marrow_hu: f64, pose: &Pose) -> Scene {
    let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
    let brick = |low: [f64; 3], high: [f64; 3]| Solid::Brick {
        centre: PatientPoint(std::array::from_fn(|i| f64::midpoint(low[i], high[i]))),
        axes,
        half_mm: std::array::from_fn(|i| 0.5 * (high[i] - low[i])),
    };
    let mut scene = Scene::empty();
    let centre = PatientPoint([0.0; 3]);
    scene.paint(Solid::Ball { centre, radius_mm: 60.0 }, Tissue::Muscle, 50.0, 0);
    scene.paint(brick([-HALF_MM; 3], [HALF_MM; 3]), Tissue::Cortical, cortex_hu, 1);
    let thin = HALF_MM - wall_mm;
    let marrow = brick([-thin, -thin, -thin], [thin, HALF_MM - back_mm, thin]);
    scene.paint(marrow, Tissue::Cancellous, marrow_hu, 1);
    scene.moved(pose)
}

/// Whether bone by a threshold ends within 10 mm of where it begins.
fn leaves_at_a_threshold(volume: &Volume, axis: Axis, threshold_hu: f64) -> bool {
    let bright = |i: u32| volume.sample_or_nan(axis.at(f64::from(i) * 0.05)) >= threshold_hu;
    let first = (0..200).find(|i| bright(*i));
    first.is_none_or(|first| (first..first + 200).any(|i| !bright(i)))
}

#[test]
fn ends_of_the_made_hip_come_nearer_to_the_truth() {
    let phantom = demo_hip().expect("the demo is sound");
    let scan = Scan::of(phantom.volume);
    let cortex = scan.cortex.as_ref().expect("its blur is measured");
    println!("blur {:?}", cortex.blur);
    println!("levels {:?}", cortex.levels);
    let halfway = judge_holes(&scan.halfway(), &phantom.plan, &JudgeParams::OWN);
    let modelled = judge_holes(&scan.modelled(), &phantom.plan, &JudgeParams::OWN);
    let mut all: [[Errors; 2]; 2] = Default::default();
    println!("hole | true wall mm | near: halfway, model, se | far: halfway, model, se");
    for ((truth, old), new) in phantom.truth.holes.iter().zip(&halfway).zip(&modelled) {
        let row = |known: Option<f64>,
                   old: Option<pilothole_assess::Edge>,
                   new: Option<pilothole_assess::Edge>| {
            let (known, old, new) = (known?, old?, new?);
            Some((old.at_mm - known, new.at_mm - known, new.se_mm, new.rule))
        };
        let near = row(truth.near_cortex_mm, old.near, new.near);
        let far = row(truth.far_cortex_mm, old.far, new.far);
        println!(
            "{} | {:?} {:?} | {near:.2?} | {far:.2?}",
            truth.id, truth.near_cortex_thickness_mm, truth.far_cortex_thickness_mm
        );
        for (end, row) in [near, far].into_iter().enumerate() {
            if let Some((old, new, _, rule)) = row
                && rule != EdgeRule::Seat
            {
                all[0][end].0.push(old);
                all[1][end].0.push(new);
            }
        }
    }
    for (name, [near, far]) in ["halfway", "model"].iter().zip(&all) {
        println!(
            "{name}: near {} worst {:.2}; far {} worst {:.2}",
            near.words(),
            near.worst(),
            far.words(),
            far.worst()
        );
    }
    for bone in 1..=scan.bones.records.len() as u8 {
        println!("bone {bone}: {:?}", cortex_thickness(&scan.modelled(), bone, &PathParams::OWN));
    }
    let [[old_near, old_far], [near, far]] = &all;
    assert!(near.0.len() >= 12 && old_near.bias() < -0.3, "thin walls, halfway, are too far out");
    assert!(near.bias().abs() < 0.2, "near ends are off by {}", near.bias());
    assert!(near.bias().abs() < 0.6 * old_near.bias().abs(), "half of it is gone");
    assert!(far.worst() <= old_far.worst() + 0.05, "no far end is worse: {}", far.worst());
}
