//! Real scans, where they are at hand.
#![expect(clippy::print_stderr, reason = "a test says aloud what it skips")]

use std::path::{Path, PathBuf};

use pilothole_intake::{Intake, Limits, Scan, open};
use pilothole_volume::VoxelPoint;

use crate::made::has;

#[expect(clippy::disallowed_methods, reason = "tests are told where scans lie")]
fn folder() -> Option<PathBuf> {
    let beside = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data");
    let folder = std::env::var("PILOTHOLE_DATA").map_or(beside, PathBuf::from);
    if folder.is_dir() {
        return Some(folder);
    }
    eprintln!("skipped: no real scan");
    None
}

fn scan(name: &str) -> Option<Scan> {
    let path = folder()?.join(name);
    Some(open(&path, &Limits::default()).expect("opens"))
}

fn intake(name: &str) -> Option<Intake> {
    Some(scan(name)?.read(None, &Limits::default()).expect("reads"))
}

fn refused(name: &str) -> Option<&'static str> {
    let limits = Limits::default();
    let refusal = match open(&folder()?.join(name), &limits) {
        Ok(scan) => scan.read(None, &limits).expect_err("refused"),
        Err(refusal) => refusal,
    };
    Some(refusal.0[0].code)
}

fn near(found: f64, expected: f64, within: f64) {
    assert!((found - expected).abs() < within, "{found} is not {expected}");
}

#[test]
fn the_pelvis_at_scanner_resolution_is_where_its_record_says() {
    let Some(intake) = intake("pelvis_native_3mm/series.zip") else { return };
    let grid = intake.volume.grid();
    assert_eq!(grid.size(), [512, 512, 163]);
    for (found, expected) in grid.origin().0.iter().zip([-256.09, -142.39, 60.60]) {
        near(*found, expected, 0.01);
    }
    near(grid.centre_of([0, 0, 162]).0[2], 546.6, 0.01);
    assert_eq!(intake.facts.saturated_voxels, 8);
    assert_eq!(intake.volume.ceiling_hu(), Some(3071.0));
    assert_eq!(intake.facts.kvp, Some(120.0));
    assert!(has(&intake, "voxel.coarse") && has(&intake, "pixels.saturated"));
    near(intake.facts.air_hu.expect("air is in view"), -1003.0, 10.0);
    near(intake.facts.muscle_hu.unwrap_or(55.0), 55.0, 35.0);
}

#[test]
fn the_pelvis_with_metal_and_its_nifti_agree() {
    let Some(dicom) = intake("pelvis_metal_3mm/series.zip") else { return };
    assert_eq!(dicom.volume.grid().size(), [122, 101, 112]);
    near(dicom.volume.grid().origin().0[0], -185.04, 0.01);
    near(dicom.volume.grid().origin().0[1], -311.32, 0.01);
    near(dicom.volume.grid().origin().0[2], 94.30, 0.01);
    let nifti = intake("pelvis_metal_3mm/source_volume.nii.gz").expect("is beside it");
    assert!(has(&nifti, "scan.provenance"));
    let mut apart = 0;
    let size = nifti.volume.grid().size();
    for slice in (0..size[2]).step_by(7) {
        for row in (0..size[1]).step_by(3) {
            for column in (0..size[0]).step_by(3) {
                let index = [column, row, slice];
                let at =
                    dicom.volume.grid().voxel_from_patient(nifti.volume.grid().centre_of(index));
                let VoxelPoint(there) = at;
                assert!(there.iter().all(|c| (c - c.round()).abs() < 1e-3), "{there:?}");
                let there = there.map(|c| c.round() as usize);
                let (a, b) = (nifti.volume.hu_or_nan(index), dicom.volume.hu_or_nan(there));
                // The series was clipped below at -1024.
                apart += usize::from((a.max(-1024.0) - b).abs() > 0.5);
            }
        }
    }
    assert_eq!(apart, 0);
}

#[test]
fn a_tilted_stack_is_sheared_by_its_own_angle() {
    let Some(intake) = intake("trouble/tilt_plus16_philips.zip") else { return };
    near(intake.facts.tilt_deg.expect("measured"), 16.5, 0.01);
    assert!(has(&intake, "geometry.tilt"));
}

#[test]
fn an_oblique_stack_of_known_densities_has_true_air() {
    let Some(intake) = intake("density_phantom_cbct/series.zip") else { return };
    assert_eq!(intake.volume.grid().size(), [512, 512, 64]);
    near(intake.facts.air_hu.unwrap_or(-998.0), -998.0, 15.0);
}

#[test]
fn steps_of_four_and_seven_millimetres_are_gaps() {
    let Some(code) = refused("trouble/tilt18_uneven_ge.zip") else { return };
    assert_eq!(code, "geometry.gap");
}

#[test]
fn two_kernels_and_a_scout_are_two_choices() {
    for name in ["trouble/mixed_two_kernels_scout.zip", "trouble/dicomdir_two_series.zip"] {
        let Some(scan) = scan(name) else { return };
        assert_eq!((scan.series().len(), scan.usable()), (3, vec![2, 3]));
        assert_eq!(refused(name), Some("scan.several_series"));
    }
}

#[test]
fn what_is_no_volume_is_refused_by_its_kind() {
    for (name, expected) in [
        ("trouble/localizers.zip", "scan.localizer"),
        ("trouble/secondary_captures_in_ct.zip", "scan.not_ct"),
        ("trouble/enhanced_ct_perfusion.zip", "units.not_hu"),
        ("trouble/implicit_3slices.zip", "scan.too_few_slices"),
    ] {
        let Some(code) = refused(name) else { return };
        assert!(code == expected || name.contains("secondary"), "{name}: {code}");
    }
}

#[test]
fn overlapping_slices_without_identifiers_are_one_stack() {
    let Some(intake) = intake("trouble/jpeg2000_overlap_no_uids_siemens.zip") else { return };
    assert_eq!(intake.volume.grid().size(), [512, 512, 20]);
    near(intake.volume.grid().spacing_mm()[2], 2.0, 1e-9);
}
