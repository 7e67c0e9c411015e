//! `NIfTI` files: the matrix to L, P, S, every data type, refusals.

use std::io::Write as _;
use std::path::Path;

use pilothole_intake::{Intake, Limits, open};

use crate::made::{code, has, hu, read};

const SIZE: [usize; 3] = [20, 16, 8];

/// A file with a sform (rows of R, A, S) and the made series' values.
fn file(rows: [[f32; 4]; 3], kind: i16, values: &dyn Fn(i16) -> Vec<u8>) -> Vec<u8> {
    let mut head = vec![0_u8; 352];
    head[0..4].copy_from_slice(&348_i32.to_le_bytes());
    for (at, value) in [(40, 3), (42, 20), (44, 16), (46, 8), (48, 1), (70, kind), (254, 1)] {
        head[at..at + 2].copy_from_slice(&i16::to_le_bytes(value));
    }
    head[108..112].copy_from_slice(&352_f32.to_le_bytes());
    head[123] = 2;
    for (row, numbers) in rows.iter().enumerate() {
        for (column, number) in numbers.iter().enumerate() {
            let at = 280 + 16 * row + 4 * column;
            head[at..at + 4].copy_from_slice(&number.to_le_bytes());
        }
    }
    head[344..348].copy_from_slice(b"n+1\0");
    for k in 0..SIZE[2] {
        for row in 0..SIZE[1] {
            for column in 0..SIZE[0] {
                head.extend(values(hu(column, row, k)));
            }
        }
    }
    head
}

/// Columns to the left, rows to the back, slices to the head: as most CT lie.
const LPS: [[f32; 4]; 3] =
    [[-0.8, 0.0, 0.0, 100.0], [0.0, -0.7, 0.0, -50.0], [0.0, 0.0, 1.25, 300.0]];

fn read_bytes(name: &str, bytes: &[u8]) -> Result<Intake, pilothole_intake::Refusal> {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join(name);
    std::fs::write(&path, bytes).expect("writes");
    read(&path)
}

fn shorts(value: i16) -> Vec<u8> {
    value.to_le_bytes().to_vec()
}

#[test]
fn a_nifti_file_is_the_dicom_series_that_it_was_made_from() {
    let intake = read_bytes("a.nii", &file(LPS, 4, &shorts)).expect("reads");
    assert!(has(&intake, "scan.provenance") && has(&intake, "kvp.unknown"));
    assert_eq!(intake.volume.voxels(), dicom().volume.voxels());
    for index in [[0, 0, 0], [19, 15, 7], [3, 9, 2]] {
        let (a, b) =
            (intake.volume.grid().centre_of(index), dicom().volume.grid().centre_of(index));
        assert!(a.distance_mm(b) < 1e-5, "{a:?} {b:?}");
    }
}

fn dicom() -> Intake {
    crate::made::Series::default().read().expect("reads")
}

#[test]
fn a_left_handed_file_keeps_every_voxel_in_place() {
    let mut rows = LPS;
    rows[0] = [0.8, 0.0, 0.0, -30.0];
    let intake = read_bytes("a.nii", &file(rows, 4, &shorts)).expect("reads");
    let grid = intake.volume.grid();
    let steps = grid.steps();
    assert!(steps[0].cross(steps[1]).dot(steps[2]) > 0.0);
    // Voxel (9, 7, 2) of the file: R, A, S = (-22.8, -54.9, 302.5).
    let at = grid.centre_of([9, 7, 5]).0;
    for (found, expected) in at.iter().zip([22.8, 54.9, 302.5]) {
        assert!((found - expected).abs() < 1e-5, "{at:?}");
    }
    assert!((intake.volume.hu_or_nan([9, 7, 5]) - f32::from(hu(9, 7, 2))).abs() < 1e-6);
}

#[test]
fn every_type_and_gzip_hold_the_same_values() {
    type Writer = (i16, fn(i16) -> Vec<u8>);
    let reference = read_bytes("a.nii", &file(LPS, 4, &shorts)).expect("reads");
    let writers: [Writer; 3] = [
        (8, |v| i32::from(v).to_le_bytes().to_vec()),
        (16, |v| f32::from(v).to_le_bytes().to_vec()),
        (64, |v| f64::from(v).to_le_bytes().to_vec()),
    ];
    for (kind, writer) in writers {
        let intake = read_bytes("a.nii", &file(LPS, kind, &writer)).expect("reads");
        for at in 0..reference.volume.voxels().len() {
            let (a, b) =
                (intake.volume.voxels().hu_or_nan(at), reference.volume.voxels().hu_or_nan(at));
            assert!((a - b).abs() < 1e-6);
        }
    }
    let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    encoder.write_all(&file(LPS, 4, &shorts)).expect("writes");
    let packed = encoder.finish().expect("finishes");
    assert_eq!(read_bytes("a.nii.gz", &packed).expect("reads").digest, reference.digest);
}

#[test]
fn what_is_no_ct_volume_is_refused() {
    let whole = file(LPS, 4, &shorts);
    assert_eq!(code(read_bytes("a.nii", &whole[..whole.len() - 10])), "pixels.truncated");
    let mut unplaced = whole.clone();
    unplaced[254] = 0;
    assert_eq!(code(read_bytes("a.nii", &unplaced)), "geometry.missing");
    let mut odd = whole.clone();
    odd[70] = 128;
    assert_eq!(code(read_bytes("a.nii", &odd)), "pixels.syntax");
    let mut flat = whole.clone();
    flat[40] = 2;
    assert_eq!(code(read_bytes("a.nii", &flat)), "pixels.size");
    let positive = file(LPS, 4, &|v| shorts(v.max(0)));
    assert_eq!(code(read_bytes("a.nii", &positive)), "units.not_hu");
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.nii");
    std::fs::write(&path, whole).expect("writes");
    let small = Limits { max_voxels: 100, ..Limits::default() };
    let scan = open(Path::new(&path), &small).expect("lists it");
    assert_eq!(scan.read(None, &small).expect_err("too large").0[0].code, "limits.too_large");
}
