//! The envelope on closed-form bones: where its surface lies, what it encloses,
//! what it leaves open, and what noise and threads do to it.

mod solid;

use pilothole_bone::{
    BoneName, BoneParams, Bones, HipHint, HipHints, KnownPoint, Side, find_bones,
};
use pilothole_volume::{Direction, Grid, Offset, PatientPoint, Region, Volume};
use solid::{Bone, Scanner, lattice, scan};

const CLEAN: Scanner = Scanner { noise_hu: 0.0, seed: 1 };

fn length([x, y, z]: [f64; 3]) -> f64 {
    (x * x + y * y + z * z).sqrt()
}

fn ball(centre: [f64; 3], radius: f64) -> impl Fn([f64; 3]) -> f64 {
    move |p| radius - length([p[0] - centre[0], p[1] - centre[1], p[2] - centre[2]])
}

fn found(volume: &Volume) -> Bones {
    find_bones(volume, Region::whole(volume.grid()), &BoneParams::default()).expect("a region")
}

fn label(bones: &Bones, at: [f64; 3]) -> u8 {
    bones.label_at(PatientPoint(at)).expect("inside the region")
}

/// Distances from the centre at which 300 rays first meet the envelope.
fn radii(bones: &Bones, from_mm: f64) -> Vec<f64> {
    let golden = std::f64::consts::PI * (1.0 + 5.0_f64.sqrt());
    (0..300)
        .map(|i| {
            let z = 1.0 - 2.0 * (f64::from(i) + 0.5) / 300.0;
            let (sin, cos) = (golden * f64::from(i)).sin_cos();
            let across = (1.0 - z * z).sqrt();
            let ray = Direction::along(Offset([cos * across, sin * across, z])).expect("a unit");
            let at = |t: f64| bones.field.sample_or_nan(PatientPoint([0.0; 3]) + ray * t);
            let mut t = from_mm;
            while t > 0.0 && at(t) <= 0.0 {
                t -= 0.05;
            }
            let (inner, outer) = (at(t), at(t + 0.05));
            t + 0.05 * inner / (inner - outer)
        })
        .collect()
}

fn mean_and_spread(values: &[f64]) -> (f64, f64) {
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let square = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / values.len() as f64;
    (mean, square.sqrt())
}

#[test]
fn shells_of_any_cortex_are_within_half_a_voxel_and_full() {
    for spacing in [[0.8; 3], [1.0; 3], [0.7, 0.7, 1.5]] {
        for (cortex_mm, sigma_mm, marrow_hu, noise_hu) in [
            (0.4, 0.3, -80.0, 0.0),
            (0.8, 0.6, -80.0, 15.0),
            (1.2, 0.6, 0.0, 15.0),
            (2.0, 0.9, 300.0, 15.0),
            (4.0, 0.6, -80.0, 0.0),
            (1.2, 0.6, 80.0, 40.0),
        ] {
            let bone =
                Bone { depth: ball([0.0; 3], 22.0), cortex_mm, cortex_hu: 1400.0, marrow_hu };
            let grid = lattice(29.0, spacing);
            let scanner = Scanner { noise_hu, seed: 3 };
            let bones = found(&scan(&grid, scanner, |p| bone.added_hu(p, sigma_mm)));
            assert_eq!(bones.records.len(), 1);
            let (mean, spread) = mean_and_spread(&radii(&bones, 27.0));
            let case = format!("cortex {cortex_mm}, blur {sigma_mm}, voxel {spacing:?}");
            // Blur lifts the halfway level of a thin plate outwards: at most
            // 1.18 blurs, half of its full width at half maximum.
            assert!(mean - 22.0 > -0.1 && mean - 22.0 < 0.55, "{case}: {}", mean - 22.0);
            assert!(spread < 0.3, "{case}: spread {spread}");
            let truth = 4.0 / 3.0 * std::f64::consts::PI * 22.0_f64.powi(3);
            let volume = bones.records[0].volume_mm3;
            assert!(volume > 0.98 * truth && volume < 1.1 * truth, "{case}: {volume} of {truth}");
        }
    }
}

#[test]
fn a_thick_cortex_is_met_to_a_twentieth_of_a_millimetre() {
    let bone =
        Bone { depth: ball([0.0; 3], 22.0), cortex_mm: 4.0, cortex_hu: 1400.0, marrow_hu: -80.0 };
    for spacing in [0.6, 0.9, 1.2] {
        let grid = lattice(28.0, [spacing; 3]);
        let bones = found(&scan(&grid, CLEAN, |p| bone.added_hu(p, 0.6)));
        let (mean, spread) = mean_and_spread(&radii(&bones, 26.0));
        assert!((mean - 22.0).abs() < 0.05, "{spacing}: {mean}");
        assert!(spread < 0.06, "{spacing}: {spread}");
    }
}

#[test]
fn a_shaft_that_leaves_the_region_is_full_to_its_ends() {
    let bone = Bone {
        depth: |p: [f64; 3]| 14.0 - (p[0] * p[0] + p[1] * p[1]).sqrt(),
        cortex_mm: 1.0,
        cortex_hu: 1300.0,
        marrow_hu: -80.0,
    };
    for spacing in [[1.0; 3], [1.0, 1.0, 3.0]] {
        let grid = lattice(27.0, spacing);
        let bones = found(&scan(&grid, CLEAN, |p| bone.added_hu(p, 0.6)));
        let last = grid.centre_of(grid.size().map(|n| n - 1)).0[2];
        for z in [-last, -0.5 * last, 0.0, last] {
            for at in [[0.0, 0.0, z], [9.0, 4.0, z], [-11.0, 3.0, z]] {
                assert_eq!(label(&bones, at), 1, "{at:?}");
            }
            assert_eq!(label(&bones, [17.0, 0.0, z]), 0);
        }
        assert!(bones.records[0].cut);
    }
}

#[test]
fn a_hole_of_three_millimetres_in_the_cortex_costs_no_marrow_behind_it() {
    let bone =
        Bone { depth: ball([0.0; 3], 22.0), cortex_mm: 1.2, cortex_hu: 1300.0, marrow_hu: -60.0 };
    let hole = |p: [f64; 3]| p[2] > 0.0 && (p[0] * p[0] + p[1] * p[1]).sqrt() < 1.5;
    let grid = lattice(28.0, [0.8; 3]);
    let volume = scan(&grid, CLEAN, |p| {
        let full = bone.added_hu(p, 0.6);
        if hole(p) && length(p) > 20.0 { full.min(0.0) } else { full }
    });
    let bones = found(&volume);
    assert_eq!(label(&bones, [0.0, 0.0, 18.5]), 1);
    assert_eq!(label(&bones, [0.0, 0.0, 25.0]), 0);
    let truth = 4.0 / 3.0 * std::f64::consts::PI * 22.0_f64.powi(3);
    assert!(bones.records[0].volume_mm3 > 0.98 * truth);
}

#[test]
fn an_open_socket_stays_open() {
    // A block with a hemispherical socket of 26 mm radius in its face.
    let depth = |p: [f64; 3]| {
        let block = (34.0 - p[0].abs()).min(34.0 - p[1].abs()).min(10.0 - p[2]).min(p[2] + 34.0);
        block.min(length([p[0], p[1], p[2] - 10.0]) - 26.0)
    };
    let bone = Bone { depth, cortex_mm: 1.5, cortex_hu: 1200.0, marrow_hu: 60.0 };
    let grid = lattice(40.0, [1.0; 3]);
    let bones = found(&scan(&grid, CLEAN, |p| bone.added_hu(p, 0.6)));
    for depth_mm in [2.0, 5.0, 10.0, 15.0, 20.0, 24.0] {
        assert_eq!(label(&bones, [0.0, 0.0, 10.0 - depth_mm]), 0, "{depth_mm} mm deep");
    }
    assert_eq!(label(&bones, [17.0, 0.0, -6.0]), 0, "beside the pole");
    for inside in [[0.0, 0.0, -21.0], [29.0, 29.0, 0.0], [30.0, 0.0, -20.0], [0.0, 30.0, 4.0]] {
        assert_eq!(label(&bones, inside), 1, "{inside:?}");
    }
}

#[test]
fn a_ring_stays_open_and_a_cavity_inside_is_inside() {
    let ring = |p: [f64; 3]| {
        let across = (p[0] * p[0] + p[1] * p[1]).sqrt() - 24.0;
        8.0 - (across * across + p[2] * p[2]).sqrt()
    };
    let bone = Bone { depth: ring, cortex_mm: 1.2, cortex_hu: 1300.0, marrow_hu: 20.0 };
    let grid = lattice(36.0, [1.0; 3]);
    let volume = scan(&grid, CLEAN, |p| {
        let cavity = length([p[0] - 24.0, p[1], p[2]]) < 4.0;
        if cavity { -800.0 } else { bone.added_hu(p, 0.6) }
    });
    let bones = found(&volume);
    assert_eq!(label(&bones, [0.0; 3]), 0);
    assert_eq!(label(&bones, [0.0, 14.0, 0.0]), 0);
    assert_eq!(label(&bones, [24.0, 0.0, 0.0]), 1);
    assert_eq!(label(&bones, [-24.0, 0.0, 0.0]), 1);
}

fn two_plates(gap_mm: f64, voxel_mm: f64, sigma_mm: f64) -> (Grid, impl Fn([f64; 3]) -> f64) {
    let slab = move |side: f64| {
        move |p: [f64; 3]| {
            let x = side * p[0] - 0.5 * gap_mm;
            x.min(9.0 - x).min(14.0 - p[1].abs()).min(14.0 - p[2].abs())
        }
    };
    let (left, right) = (slab(1.0), slab(-1.0));
    let bone = |depth| (depth, 1.2_f64, 1300.0, 40.0);
    let (a, b) = (bone(left), bone(right));
    let added = move |p: [f64; 3]| {
        let one = Bone { depth: &a.0, cortex_mm: a.1, cortex_hu: a.2, marrow_hu: a.3 };
        let two = Bone { depth: &b.0, cortex_mm: b.1, cortex_hu: b.2, marrow_hu: b.3 };
        one.added_hu(p, sigma_mm) + two.added_hu(p, sigma_mm)
    };
    (lattice(18.0, [voxel_mm; 3]), added)
}

#[test]
fn two_bones_are_told_apart_down_to_half_a_millimetre() {
    // What is told apart must show: a gap of a voxel and of two blurs.
    for (gap_mm, voxel_mm, sigma_mm) in
        [(0.5, 0.4, 0.25), (1.0, 0.6, 0.4), (2.0, 0.8, 0.6), (4.0, 0.8, 0.6)]
    {
        let (grid, added) = two_plates(gap_mm, voxel_mm, sigma_mm);
        let volume = scan(&grid, Scanner { noise_hu: 10.0, seed: 9 }, added);
        let known = |x: f64, bone| KnownPoint { at: PatientPoint([x, 0.0, 0.0]), bone };
        let hips = HipHints {
            hips: Vec::new(),
            points: vec![known(8.5, BoneName::HipLeft), known(-8.5, BoneName::Sacrum)],
        };
        let params = BoneParams { hips, ..BoneParams::default() };
        let bones = find_bones(&volume, Region::whole(&grid), &params).expect("a region");
        let hip = bones.named(BoneName::HipLeft).expect("found").label;
        let sacrum = bones.named(BoneName::Sacrum).expect("found").label;
        for (x, expected) in [(5.0, hip), (-5.0, sacrum), (1.4 + 0.5 * gap_mm, hip)] {
            assert_eq!(label(&bones, [x, 3.0, -4.0]), expected, "gap {gap_mm}, x {x}");
        }
        if gap_mm >= 2.0 {
            assert_eq!(label(&bones, [0.0, 3.0, -4.0]), 0, "gap {gap_mm}");
        }
        let misplaced = bones
            .labels
            .values()
            .iter()
            .enumerate()
            .filter(|(at, own)| {
                let x = grid.centre_of([at % grid.size()[0], 0, 0]).0[0];
                (**own == hip && x < -1.0) || (**own == sacrum && x > 1.0)
            })
            .count();
        assert!(misplaced < 20, "gap {gap_mm}: {misplaced} voxels on the wrong side");
    }
}

#[test]
fn the_field_of_one_bone_ends_midway_to_its_neighbour() {
    let (grid, added) = two_plates(0.8, 0.6, 0.4);
    let volume = scan(&grid, CLEAN, added);
    let known = |x: f64, bone| KnownPoint { at: PatientPoint([x, 0.0, 0.0]), bone };
    let points = vec![known(8.5, BoneName::HipLeft), known(-8.5, BoneName::Sacrum)];
    let hips = HipHints { hips: Vec::new(), points };
    let params = BoneParams { hips, ..BoneParams::default() };
    let bones = find_bones(&volume, Region::whole(&grid), &params).expect("a region");
    let hip = bones.named(BoneName::HipLeft).expect("found").label;
    let field = bones.field_of(hip);
    for (at, own) in bones.labels.values().iter().enumerate() {
        assert_eq!(field.at(at) > 0.0, *own == hip);
    }
    let mut x = 3.0;
    while field.sample_or_nan(PatientPoint([x, 0.3, 0.2])) > 0.0 {
        x -= 0.05;
    }
    assert!(x.abs() < 0.85, "{x}");
}

#[test]
fn sign_and_label_agree_and_threads_change_nothing() {
    let bone =
        Bone { depth: ball([0.0; 3], 16.0), cortex_mm: 1.0, cortex_hu: 1300.0, marrow_hu: 0.0 };
    let grid = lattice(22.0, [0.9, 0.9, 1.3]);
    let scanner = Scanner { noise_hu: 25.0, seed: 5 };
    let volume = scan(&grid, scanner, |p| bone.added_hu(p, 0.6));
    let run = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("threads");
        pool.install(|| found(&volume))
    };
    let (one, many) = (run(1), run(5));
    assert_eq!(one.labels, many.labels);
    assert_eq!(one.field, many.field);
    assert_eq!(one.records, many.records);
    for (at, own) in one.labels.values().iter().enumerate() {
        let field = one.field.at(at);
        assert_eq!(field > 0.0, *own != 0);
    }
}

#[test]
fn a_sheared_lattice_gives_the_same_bone() {
    let bone =
        Bone { depth: ball([0.0; 3], 18.0), cortex_mm: 1.5, cortex_hu: 1300.0, marrow_hu: -40.0 };
    let (n, h) = (52_usize, 1.0);
    let tilt = 0.3;
    let steps = [Offset([h, 0.0, 0.0]), Offset([0.0, h, 0.0]), Offset([0.0, tilt * h, h])];
    let half = 0.5 * (n - 1) as f64 * h;
    let origin = PatientPoint([-half, -half * (1.0 + tilt), -half]);
    let grid = Grid::new([n; 3], origin, steps).expect("a lattice");
    let bones = found(&scan(&grid, CLEAN, |p| bone.added_hu(p, 0.6)));
    let (mean, spread) = mean_and_spread(&radii(&bones, 22.0));
    assert!((mean - 18.0).abs() < 0.4 && spread < 0.2, "{mean} {spread}");
}

#[test]
fn a_vessel_full_of_contrast_is_left_out_and_said() {
    let bone = Bone {
        depth: ball([-10.0, 0.0, 0.0], 14.0),
        cortex_mm: 1.2,
        cortex_hu: 1300.0,
        marrow_hu: 60.0,
    };
    let grid = lattice(30.0, [1.0; 3]);
    let scanner = Scanner { noise_hu: 10.0, seed: 2 };
    let volume = scan(&grid, scanner, |p| {
        let lumen = ((p[0] - 20.0).powi(2) + p[1] * p[1]).sqrt() < 5.0;
        bone.added_hu(p, 0.6) + if lumen { 260.0 } else { 0.0 }
    });
    let bones = found(&volume);
    assert_eq!(bones.records.len(), 1);
    assert_eq!(label(&bones, [20.0, 0.0, 0.0]), 0);
    assert!(bones.findings.iter().any(|f| f.code() == "bone.left_out"));
}

#[test]
fn a_vessel_that_a_plaque_joins_to_a_bone_stays_outside_it() {
    let bone = Bone {
        depth: ball([-12.0, 0.0, 0.0], 14.0),
        cortex_mm: 1.2,
        cortex_hu: 1300.0,
        marrow_hu: 60.0,
    };
    let grid = lattice(34.0, [1.0; 3]);
    for noise_hu in [8.0, 16.0] {
        let scanner = Scanner { noise_hu, seed: 5 };
        let volume = scan(&grid, scanner, |p| {
            let lumen = ((p[0] - 12.0).powi(2) + p[1] * p[1]).sqrt() < 7.0;
            let plaque = p[0] > 1.0 && p[0] < 7.0 && p[1].abs() < 2.0 && p[2].abs() < 4.0;
            let filled = if plaque { 650.0 } else { 180.0 };
            bone.added_hu(p, 0.6) + if lumen || plaque { filled } else { 0.0 }
        });
        let bones = found(&volume);
        for z in [-20.0, 0.0, 20.0] {
            assert_eq!(label(&bones, [12.0, 0.0, z]), 0, "noise {noise_hu}, {z}");
        }
        assert_ne!(label(&bones, [-12.0, 0.0, 0.0]), 0, "marrow of the bone");
        assert!(bones.findings.iter().any(|f| f.code() == "bone.left_out"));
    }
}

#[test]
fn even_cancellous_bone_is_no_lumen() {
    let bone =
        Bone { depth: ball([0.0; 3], 20.0), cortex_mm: 1.5, cortex_hu: 900.0, marrow_hu: 260.0 };
    let grid = lattice(28.0, [1.0; 3]);
    let bones = found(&scan(&grid, Scanner { noise_hu: 8.0, seed: 6 }, |p| bone.added_hu(p, 0.6)));
    assert_ne!(label(&bones, [0.0; 3]), 0);
    assert!(bones.findings.iter().all(|f| f.code() != "bone.left_out"));
}

#[test]
fn even_marrow_in_a_thin_shell_is_no_lumen() {
    // Blurred, the shell stays below 450 HU: as bright as contrast throughout.
    for (cortex_mm, sigma_mm, marrow_hu, noise_hu) in
        [(0.6, 0.9, 140.0, 5.0), (0.6, 0.9, 200.0, 25.0), (0.6, 0.5, 140.0, 40.0)]
    {
        let bone = Bone { depth: ball([0.0; 3], 15.0), cortex_mm, cortex_hu: 1400.0, marrow_hu };
        let volume = scan(&lattice(24.0, [0.8; 3]), Scanner { noise_hu, seed: 7 }, |p| {
            bone.added_hu(p, sigma_mm)
        });
        let bones = found(&volume);
        let case = format!("cortex {cortex_mm}, marrow {marrow_hu}, noise {noise_hu}");
        assert_ne!(label(&bones, [0.0; 3]), 0, "{case}");
        assert!(bones.findings.iter().all(|f| f.code() != "bone.left_out"), "{case}");
    }
}

/// A long thin-walled bone with a hip centre hinted beside it: there is no head
/// and no sacrum, so nothing may cut it where a femur would be.
#[test]
fn a_bone_that_is_no_pelvis_is_not_cut_by_a_hint() {
    let grid = lattice(36.0, [0.9; 3]);
    let tube = Bone {
        depth: |p: [f64; 3]| 13.0 - (p[1] * p[1] + p[2] * p[2]).sqrt(),
        cortex_mm: 1.0,
        cortex_hu: 1300.0,
        marrow_hu: -60.0,
    };
    let volume = scan(&grid, Scanner { noise_hu: 15.0, seed: 4 }, |p| tube.added_hu(p, 0.6));
    // Left is towards positive x.
    for (side, medial) in [(Side::Left, -1.0), (Side::Right, 1.0)] {
        let centre = PatientPoint([6.0 * medial, -30.0, 0.0]);
        let hips =
            HipHints { hips: vec![HipHint { side, centre, radius_mm: None }], points: Vec::new() };
        let params = BoneParams { hips, ..BoneParams::default() };
        let bones = find_bones(&volume, Region::whole(&grid), &params).expect("a region");
        let own = label(&bones, [0.0; 3]);
        for x in [-28.0, -20.0, -8.0, 8.0, 20.0, 28.0] {
            for (y, z) in [(0.0, 0.0), (0.0, 10.0), (10.0, 0.0), (-7.0, -7.0)] {
                assert_eq!(label(&bones, [x, y, z]), own, "{side:?} {x} {y} {z}");
            }
        }
        assert!(own > 0 && bones.records.len() == 1, "{side:?}: {:?}", bones.records);
    }
}
