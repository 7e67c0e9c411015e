//! Narrow gaps between the fragments of a bone are outside; what only looks like
//! one is not.

mod solid;

use pilothole_bone::{BoneFinding, BoneParams, Bones, find_bones};
use pilothole_volume::{PatientPoint, Region, Volume};
use solid::{Bone, Scanner, lattice, scan};

const CORTEX_HU: f64 = 1400.0;

fn found(volume: &Volume) -> Bones {
    find_bones(volume, Region::whole(volume.grid()), &BoneParams::default()).expect("a region")
}

fn label(bones: &Bones, at: [f64; 3]) -> u8 {
    bones.label_at(PatientPoint(at)).expect("inside the region")
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

/// Three axes at right angles, none of them along a lattice line unless `slant`
/// is 0.
fn frame(slant: f64) -> [[f64; 3]; 3] {
    let ((s, c), (t, d)) = (slant.sin_cos(), (0.7 * slant).sin_cos());
    [[c * d, s, c * t], [-s * d, c, -s * t], [-t, 0.0, d]]
}

/// Depth in a brick from `low` to `high` along the axes of a frame.
fn brick(axes: [[f64; 3]; 3], low: [f64; 3], high: [f64; 3]) -> impl Fn([f64; 3]) -> f64 {
    move |p| {
        (0..3).fold(f64::INFINITY, |depth, a| {
            let at = dot(p, axes[a]);
            depth.min(at - low[a]).min(high[a] - at)
        })
    }
}

fn bone<F: Fn([f64; 3]) -> f64>(depth: F, cortex_mm: f64, marrow_hu: f64) -> Bone<F> {
    Bone { depth, cortex_mm, cortex_hu: CORTEX_HU, marrow_hu }
}

fn opened(bones: &Bones) -> usize {
    bones.findings.iter().filter(|f| matches!(f, BoneFinding::Gap { .. })).count()
}

#[test]
fn soft_tissue_between_fragments_is_outside_down_to_two_blurs() {
    for (gap_mm, sigma_mm, noise_hu, marrow_hu, slant) in [
        (1.0, 0.4, 15.0, 80.0, 0.0),
        (1.5, 0.6, 15.0, -80.0, 0.3),
        (2.0, 0.6, 0.0, 300.0, 0.0),
        (2.0, 0.6, 40.0, 80.0, 0.5),
        (2.5, 0.9, 25.0, 150.0, 0.2),
        (4.0, 0.6, 15.0, -80.0, 0.4),
    ] {
        let axes = frame(slant);
        let half = 0.5 * gap_mm;
        let one = bone(brick(axes, [-16.0, -13.0, -13.0], [-half, 13.0, 13.0]), 1.5, marrow_hu);
        let two = bone(brick(axes, [half, -13.0, -13.0], [16.0, 13.0, 13.0]), 1.5, marrow_hu);
        let added = |p| one.added_hu(p, sigma_mm) + two.added_hu(p, sigma_mm);
        let volume = scan(&lattice(30.0, [0.8; 3]), Scanner { noise_hu, seed: 5 }, added);
        let bones = found(&volume);
        let along = |a: f64| axes[0].map(|x| a * x);
        let case = format!("gap {gap_mm}, blur {sigma_mm}, noise {noise_hu}, slant {slant}");
        for (b, c) in [(0.0, 0.0), (5.0, -4.0), (-8.0, 7.0), (9.0, 9.0)] {
            let at =
                |a: f64| std::array::from_fn(|i| a * axes[0][i] + b * axes[1][i] + c * axes[2][i]);
            assert_eq!(label(&bones, at(0.0)), 0, "{case}, {b} {c}");
            assert!(label(&bones, at(-8.0)) != 0, "{case}, {b} {c}");
            assert!(label(&bones, at(8.0)) != 0, "{case}, {b} {c}");
        }
        assert!(opened(&bones) <= 1, "{case}: one gap is told once");
        for side in [-1.0, 1.0] {
            let depth = |t: f64| bones.field.sample_or_nan(PatientPoint(along(side * t)));
            let edge_mm = (0..400).map(|i| 0.01 * f64::from(i)).find(|t| depth(*t) > 0.0);
            let off_mm = edge_mm.expect("there is bone") - half;
            // 0.6 voxel.
            assert!(off_mm.abs() < 0.48, "{case}: {off_mm}");
        }
    }
}

#[test]
fn the_two_tables_of_a_thin_bone_hold_no_gap() {
    for (marrow_mm, marrow_hu, slant) in [(2.0, -80.0, 0.0), (2.0, 60.0, 0.4), (4.0, 60.0, 0.2)] {
        let axes = frame(slant);
        let half = 0.5 * marrow_mm + 1.2;
        let thin = bone(brick(axes, [-half, -15.0, -15.0], [half, 15.0, 15.0]), 1.2, marrow_hu);
        let volume = scan(&lattice(24.0, [0.8; 3]), Scanner { noise_hu: 15.0, seed: 2 }, |p| {
            thin.added_hu(p, 0.6)
        });
        let bones = found(&volume);
        assert_eq!(opened(&bones), 0, "{marrow_mm} {slant}");
        assert!(label(&bones, [0.0; 3]) != 0, "{marrow_mm} {slant}");
    }
}

#[test]
fn a_closed_cleft_and_the_hole_of_a_screw_stay_inside() {
    // Walls of cortex around 3 mm of fluid in the middle of a block of bone, and
    // around a channel of 4 mm that opens through the block's surface.
    let axes = frame(0.2);
    let block = bone(brick(axes, [-16.0; 3], [16.0; 3]), 1.5, 200.0);
    let shell = |low: [f64; 3], high: [f64; 3]| {
        let depth = brick(axes, low, high);
        move |p: [f64; 3]| {
            let depth = depth(p);
            let step = |d: f64| 1.0 / (1.0 + (-2.8 * d).exp());
            900.0 * step(depth + 1.5) - 1080.0 * step(depth)
        }
    };
    let cleft = shell([-1.5, -7.0, -7.0], [1.5, 7.0, 7.0]);
    let channel = shell([-2.0, -2.0, -25.0], [2.0, 2.0, 6.0]);
    let volumes: Vec<Volume> = [true, false]
        .map(|closed| {
            scan(&lattice(22.0, [0.8; 3]), Scanner { noise_hu: 15.0, seed: 4 }, |p| {
                let within = (block.depth)(p) > 0.0;
                let added = block.added_hu(p, 0.6);
                added
                    + if closed {
                        cleft(p)
                    } else if within {
                        channel(p)
                    } else {
                        0.0
                    }
            })
        })
        .into();
    for volume in volumes {
        let bones = found(&volume);
        assert_eq!(opened(&bones), 0);
        assert!(label(&bones, [0.0; 3]) != 0);
    }
}
