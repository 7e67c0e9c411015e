//! A ball in a socket with hints, metal with streaks, and the blur of a scan.

mod solid;

use pilothole_bone::{
    BlurSource, BoneError, BoneName, BoneParams, Bones, HipHint, HipHints, Side, bone_region,
    estimate_blur, find_bones,
};
use pilothole_volume::{PatientPoint, Region, Volume, Voxels};
use solid::{Bone, Scanner, lattice, scan};

const NOISY: Scanner = Scanner { noise_hu: 12.0, seed: 4 };
const CLEAN_HIP: Scanner = Scanner { noise_hu: 0.0, seed: 4 };

fn length([x, y, z]: [f64; 3]) -> f64 {
    (x * x + y * y + z * z).sqrt()
}

/// A left hip: a head of 24 mm on a neck that runs lateral and down, in a block
/// with a hemispherical socket `gap_mm` wider whose mouth looks along the neck.
fn hip(gap_mm: f64, with_femur: bool, sigma_mm: f64) -> impl Fn([f64; 3]) -> f64 {
    let axis = [0.77, 0.1, -0.63];
    let scale = length(axis);
    let along = move |p: [f64; 3]| (p[0] * axis[0] + p[1] * axis[1] + p[2] * axis[2]) / scale;
    let pelvis = move |p: [f64; 3]| {
        let block = (40.0 - length(p)).min(8.0 - along(p)).min(20.0 - p[0]);
        block.min(length(p) - 24.0 - gap_mm)
    };
    let femur = move |p: [f64; 3]| {
        let t = along(p);
        let across = (length(p).powi(2) - t * t).max(0.0).sqrt();
        let neck = (14.0 - across).min(t);
        (24.0 - length(p)).max(neck)
    };
    move |p| {
        let pelvis = Bone { depth: &pelvis, cortex_mm: 1.5, cortex_hu: 1100.0, marrow_hu: 150.0 };
        let femur = Bone { depth: &femur, cortex_mm: 1.0, cortex_hu: 700.0, marrow_hu: 200.0 };
        let head = if with_femur { femur.added_hu(p, sigma_mm) } else { 0.0 };
        pelvis.added_hu(p, sigma_mm) + head
    }
}

fn hinted(volume: &Volume, centre: [f64; 3]) -> Bones {
    let hint = HipHint { side: Side::Left, centre: PatientPoint(centre), radius_mm: None };
    let hips = HipHints { hips: vec![hint], points: Vec::new() };
    let params = BoneParams { hips, ..BoneParams::default() };
    find_bones(volume, Region::whole(volume.grid()), &params).expect("a region")
}

fn label(bones: &Bones, at: [f64; 3]) -> u8 {
    bones.label_at(PatientPoint(at)).expect("inside the region")
}

#[test]
fn a_head_is_told_from_its_socket_with_a_centre_some_millimetres_off() {
    let near = [1.2, -1.2, 1.0];
    for (gap_mm, spacing, hint) in [
        (1.0, [0.9; 3], near),
        (1.0, [0.9; 3], [-2.3, 2.3, 2.3]),
        (2.0, [0.9; 3], near),
        (2.0, [0.9; 3], [4.0, 0.0, 0.0]),
        (3.0, [0.9; 3], near),
        (3.0, [0.9; 3], [0.0, -5.0, 3.3]),
        (3.0, [1.0, 1.0, 2.0], near),
    ] {
        let grid = lattice(46.0, spacing);
        let bones = hinted(&scan(&grid, NOISY, hip(gap_mm, true, 0.5)), hint);
        let joint = &bones.joints[0];
        assert!(
            joint.head && joint.centre.distance_mm(PatientPoint([0.0; 3])) < 2.0,
            "{gap_mm}, {spacing:?}: {joint:?}"
        );
        assert!((joint.radius_mm - 24.0 - 0.5 * gap_mm).abs() < 1.5, "{gap_mm}: {joint:?}");
        let pelvis = bones.named(BoneName::HipLeft).expect("found").label;
        let femur = bones.named(BoneName::FemurLeft).expect("found").label;
        for (at, expected) in [
            ([0.0; 3], femur),
            ([-18.0, 0.0, 8.0], femur),
            ([24.0, 3.0, -19.6], femur),
            ([-30.0, 0.0, 10.0], pelvis),
            ([-20.0, 5.0, 26.0], pelvis),
        ] {
            assert_eq!(label(&bones, at), expected, "{at:?}, gap {gap_mm}, {spacing:?}");
        }
        let size = grid.size();
        let count = |own: u8, wrong: &dyn Fn([f64; 3]) -> bool| {
            let all = bones.labels.values().iter().enumerate();
            all.filter(|(at, label)| {
                let index = [at % size[0], at / size[0] % size[1], at / (size[0] * size[1])];
                **label == own && wrong(grid.centre_of(index).0)
            })
            .count()
        };
        let in_head = count(pelvis, &|p| length(p) < 23.0);
        let in_pelvis = count(femur, &|p| p[0] - p[2] < -5.0 && length(p) > 24.6 + gap_mm);
        // A gap about a voxel wide shows no valley everywhere: 0.4 % of the
        // voxels then cross over.
        let most = if gap_mm < 1.5 { 500 } else { 60 };
        assert!(in_head < 30 && in_pelvis < most, "gap {gap_mm}: {in_head}, {in_pelvis}");
    }
}

#[test]
fn an_empty_socket_has_no_femur_and_stays_open() {
    let grid = lattice(46.0, [1.0; 3]);
    let bones = hinted(&scan(&grid, NOISY, hip(2.0, false, 0.6)), [1.0, 1.0, -1.0]);
    assert!(!bones.joints[0].head);
    assert!(bones.named(BoneName::FemurLeft).is_none());
    assert!(bones.findings.iter().any(|f| f.code() == "bone.no_head"));
    for deep in [0.0, 10.0, 20.0, 24.0] {
        assert_eq!(label(&bones, [-0.77 * deep, -0.1 * deep, 0.63 * deep]), 0, "{deep} mm deep");
    }
    assert_eq!(label(&bones, [-26.0, -3.0, 21.0]), 1);
}

#[test]
fn metal_and_its_dark_band_are_not_trusted_and_the_rest_is() {
    let bone = Bone {
        depth: |p: [f64; 3]| 15.0 - (p[0] * p[0] + p[1] * p[1]).sqrt(),
        cortex_mm: 2.0,
        cortex_hu: 1300.0,
        marrow_hu: 40.0,
    };
    let grid = lattice(40.0, [1.0; 3]);
    let volume = scan(&grid, NOISY, |p| {
        let rod = (p[0] * p[0] + p[1] * p[1]).sqrt() < 5.0 && p[2] < 0.0;
        let band = p[2] < 0.0 && p[1].abs() < 5.0 && p[0] > 18.0;
        if rod { 8000.0 } else { bone.added_hu(p, 0.6) - if band { 400.0 } else { 0.0 } }
    });
    let bones = find_bones(&volume, Region::whole(&grid), &BoneParams::default()).expect("bones");
    let trusted = |p| bones.is_trusted(PatientPoint(p));
    assert!(!trusted([0.0, 0.0, -20.0]) && !trusted([9.0, 0.0, -20.0]));
    assert!(!trusted([28.0, 0.0, -20.0]), "the dark band");
    assert!(trusted([28.0, 0.0, 20.0]), "the same place above the metal");
    assert!(trusted([-28.0, 20.0, -20.0]), "soft tissue that is right");
    assert!(trusted([0.0, 0.0, 20.0]), "marrow above the metal");
    assert_eq!(bones.records.len(), 1);
    assert_eq!(label(&bones, [0.0, 0.0, -20.0]), 1, "metal inside bone is inside");
    assert!(bones.saturated.has([40, 40, 10]) && bones.metal.has([40, 40, 10]));
}

#[test]
fn blur_is_measured_where_a_cortex_is_thick() {
    for sigma_mm in [0.5, 0.8] {
        let bone = Bone {
            depth: |p: [f64; 3]| 15.0 - (p[0] * p[0] + p[1] * p[1]).sqrt(),
            cortex_mm: 5.0,
            cortex_hu: 1400.0,
            marrow_hu: 0.0,
        };
        let grid = lattice(25.0, [0.7, 0.7, 1.0]);
        let volume = scan(&grid, NOISY, |p| bone.added_hu(p, sigma_mm));
        let params = BoneParams::default();
        let bones = find_bones(&volume, Region::whole(&grid), &params).expect("bones");
        let blur = estimate_blur(&volume, &bones, 1400.0).expect("a thick cortex");
        // The voxel and the trilinear reading add a third of a voxel each.
        let expected = (sigma_mm * sigma_mm + 0.7 * 0.7 * (1.0 / 12.0 + 1.0 / 6.0)).sqrt();
        assert!((blur.in_plane_sigma_mm - expected).abs() < 0.1, "{blur:?}, {expected}");
        assert!(matches!(blur.from, BlurSource::MeasuredInPlane { in_plane } if in_plane > 50));
        assert!(blur.axial_sigma_mm > blur.in_plane_sigma_mm);
    }
}

#[test]
fn a_region_without_a_measurement_and_a_threshold_out_of_range_are_refused() {
    let grid = lattice(5.0, [1.0; 3]);
    let voxels = Voxels::F32(vec![f32::NAN; grid.voxel_count()]);
    let volume = Volume::new(grid.clone(), voxels, None).expect("fits");
    let region = bone_region(&volume, PatientPoint([0.0; 3]), 4.0).expect("inside");
    let refused = find_bones(&volume, region, &BoneParams::default()).expect_err("nothing there");
    assert_eq!(refused, BoneError::NothingMeasured);
    let low = BoneParams { threshold_hu: 50.0, ..BoneParams::default() };
    let refused = find_bones(&volume, region, &low).expect_err("50 HU is no bone");
    assert!(refused.to_string().contains("threshold_hu is 50, expected 100 to 1000"));
    assert!(bone_region(&volume, PatientPoint([900.0, 0.0, 0.0]), 4.0).is_none());
}

#[test]
fn a_clamp_of_the_table_is_no_piece_of_the_femur() {
    let grid = lattice(110.0, [1.8; 3]);
    let hip = hip(3.0, true, 0.6);
    // The neck ends where the shaft would begin.
    let hip = |p: [f64; 3]| if length(p) < 60.0 { hip(p) } else { 0.0 };
    let clamp = |p: [f64; 3]| {
        let box_mm = [(p[0] - 95.0).abs() - 8.0, (p[1] - 90.0).abs() - 8.0, p[2].abs() - 30.0];
        box_mm.into_iter().fold(f64::NEG_INFINITY, f64::max) < 0.0
    };
    let volume = scan(&grid, CLEAN_HIP, |p| hip(p) + if clamp(p) { 700.0 } else { 0.0 });
    let bones = hinted(&volume, [0.0; 3]);
    let femur = bones.named(BoneName::FemurLeft).expect("found").label;
    let held = label(&bones, [95.0, 90.0, 0.0]);
    assert_ne!(held, 0, "the clamp is as bright as bone");
    assert_ne!(held, femur, "{:?}", bones.records);
    assert_eq!(bones.records[usize::from(held) - 1].name, None);
    assert_eq!(label(&bones, [0.0; 3]), femur);
}
