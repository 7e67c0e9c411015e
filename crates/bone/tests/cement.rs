//! Cement is suggested where a bright, even body is thick, and nowhere else.

mod solid;

use pilothole_bone::{BoneParams, find_bones, suggest_cement};
use pilothole_volume::{PatientPoint, Region, nearest_voxel};
use solid::{Bone, Scanner, lattice, scan};

fn length([x, y, z]: [f64; 3]) -> f64 {
    (x * x + y * y + z * z).sqrt()
}

/// A shell of 22 mm with a lump in its marrow, 20 HU of noise.
fn suggested(lump_hu: f64, lump_mm: f64) -> (usize, bool, f64) {
    let bone = Bone {
        depth: |at: [f64; 3]| 22.0 - length(at),
        cortex_mm: 2.0,
        cortex_hu: 1500.0,
        marrow_hu: 60.0,
    };
    let grid = lattice(32.0, [0.8; 3]);
    let volume = scan(&grid, Scanner { noise_hu: 20.0, seed: 3 }, |at| {
        let inside = lump_mm - length([at[0] - 6.0, at[1], at[2]]);
        let share = (0.5 + inside / 1.6).clamp(0.0, 1.0);
        bone.added_hu(at, 0.6) + share * (lump_hu - 60.0)
    });
    let bones =
        find_bones(&volume, Region::whole(&grid), &BoneParams::default()).expect("bone is found");
    let cement = suggest_cement(&volume, &bones);
    let middle = nearest_voxel(&grid, PatientPoint([6.0, 0.0, 0.0])).expect("in the region");
    (cement.count(), cement.has(middle), grid.voxel_mm3())
}

#[test]
fn a_bright_lump_of_a_cubic_centimetre_is_suggested_to_within_a_quarter() {
    let (count, middle, voxel_mm3) = suggested(1600.0, 8.0);
    let volume_mm3 = count as f64 * voxel_mm3;
    let known_mm3 = 4.0 / 3.0 * std::f64::consts::PI * 8.0_f64.powi(3);
    assert!(middle && (volume_mm3 / known_mm3 - 1.0).abs() < 0.25, "{volume_mm3} of {known_mm3}");
}

#[test]
fn cortex_alone_a_small_lump_and_sclerosis_are_not() {
    for (hu, mm) in [(60.0, 8.0), (1600.0, 3.0), (850.0, 8.0)] {
        let (count, ..) = suggested(hu, mm);
        assert_eq!(count, 0, "{hu} HU, {mm} mm");
    }
}
