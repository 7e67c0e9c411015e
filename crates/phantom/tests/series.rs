//! A written series read back: geometry, voxels, silence about identity.

use dicom_dictionary_std::tags;
use dicom_object::open_file;
use pilothole_phantom::{
    Identity, Rounding, Scanner, Scene, SeriesError, SeriesHeader, Solid, Storage, Tissue,
    write_series,
};
use pilothole_volume::{Direction, Grid, Offset, PatientPoint, Volume, Voxels};

fn volume(steps: [[f64; 3]; 3]) -> Volume {
    let origin = PatientPoint([-9.5, -8.25, 31.125]);
    let grid = Grid::new([12, 10, 6], origin, steps.map(Offset)).expect("a lattice");
    let mut scene = Scene::empty();
    let ball = Solid::Ball { centre: grid.centre_of([6, 5, 3]), radius_mm: 3.0 };
    scene.paint(ball, Tissue::Cortical, 1500.0, 1);
    let scanner = Scanner { rounding: Rounding::Whole, ..Scanner::PERFECT };
    scanner.scan(&scene, &grid).expect("fits")
}

const OBLIQUE: [[f64; 3]; 3] = [[0.72, 0.0, -0.54], [0.0, 0.8, 0.0], [0.9, 0.3, 1.2]];

fn numbers(text: &str) -> Vec<f64> {
    text.split('\\').map(|n| n.trim().parse().expect("a number")).collect()
}

fn check(volume: &Volume, header: &SeriesHeader) {
    let folder = tempfile::tempdir().expect("a folder");
    let files = write_series(volume, folder.path(), header).expect("written");
    let grid = volume.grid();
    assert_eq!(files.len(), grid.size()[2]);
    let mut uids = std::collections::BTreeSet::new();
    for (slice, file) in files.iter().enumerate() {
        let object = open_file(file).expect("opens");
        let text = |tag| object.element(tag).expect("there").to_str().expect("text").into_owned();
        let whole = |tag| object.element(tag).expect("there").to_int::<i32>().expect("whole");
        let position = numbers(&text(tags::IMAGE_POSITION_PATIENT));
        for (found, asked) in position.iter().zip(grid.centre_of([0, 0, slice]).0) {
            assert!((found - asked).abs() < 1e-10);
        }
        let cosines = numbers(&text(tags::IMAGE_ORIENTATION_PATIENT));
        let spacing = numbers(&text(tags::PIXEL_SPACING));
        for axis in 0..3 {
            // PS3.3 C.7.6.2.1.1: the second spacing goes with the first cosines.
            assert!((cosines[axis] * spacing[1] - grid.steps()[0].0[axis]).abs() < 1e-10);
            assert!((cosines[3 + axis] * spacing[0] - grid.steps()[1].0[axis]).abs() < 1e-10);
        }
        assert_eq!((whole(tags::COLUMNS), whole(tags::ROWS)), (12, 10));
        let slope = numbers(&text(tags::RESCALE_SLOPE))[0];
        let intercept = numbers(&text(tags::RESCALE_INTERCEPT))[0];
        let words = object.element(tags::PIXEL_DATA).expect("there").to_bytes().expect("bytes");
        let signed = whole(tags::PIXEL_REPRESENTATION) == 1;
        for (i, word) in words.chunks_exact(2).enumerate() {
            let bits = u16::from_le_bytes([word[0], word[1]]);
            let stored = if signed { f64::from(bits as i16) } else { f64::from(bits) };
            let hu = f64::from(volume.hu_or_nan([i % 12, i / 12, slice]));
            assert!((stored * slope + intercept - hu).abs() <= slope / 2.0 + 1e-9);
        }
        assert!(uids.insert(text(tags::SOP_INSTANCE_UID)));
        assert!(text(tags::SERIES_INSTANCE_UID).starts_with("2.25."));
    }
}

#[test]
fn any_lattice_and_any_storage_is_read_back() {
    let straight = volume([[0.7, 0.0, 0.0], [0.0, 0.7, 0.0], [0.0, 0.0, 1.25]]);
    let header = SeriesHeader::default();
    check(&straight, &header);
    check(&volume(OBLIQUE), &header);
    let unsigned = SeriesHeader {
        storage: Storage::Unsigned,
        intercept: -1024.0,
        padding: None,
        ..header.clone()
    };
    check(&straight, &unsigned);
    let twelve = SeriesHeader { storage: Storage::Twelve, ..unsigned };
    check(&straight, &twelve);
    let scaled = SeriesHeader { slope: 2.0, intercept: -8192.0, ..header };
    check(&straight, &scaled);
}

#[test]
fn the_same_volume_gives_the_same_bytes_and_nobody_is_named() {
    let volume = volume(OBLIQUE);
    let header = SeriesHeader::default();
    let folders = [(); 2].map(|()| tempfile::tempdir().expect("a folder"));
    let written: Vec<Vec<Vec<u8>>> = folders
        .iter()
        .map(|folder| {
            let files = write_series(&volume, folder.path(), &header).expect("written");
            files.iter().map(|f| std::fs::read(f).expect("readable")).collect()
        })
        .collect();
    assert_eq!(written[0], written[1]);
    let object = open_file(folders[0].path().join("slice-0001.dcm")).expect("opens");
    let text = |tag| object.element(tag).expect("there").to_str().expect("text").into_owned();
    assert_eq!(text(tags::PATIENT_IDENTITY_REMOVED), "YES");
    assert_eq!(text(tags::PATIENT_NAME), "");
}

#[test]
fn a_planted_identity_is_in_the_file() {
    let identity = Identity { patient_name: "Planted^Name".to_owned(), ..Identity::default() };
    let header = SeriesHeader { identity: Some(identity), ..SeriesHeader::default() };
    let folder = tempfile::tempdir().expect("a folder");
    let files = write_series(&volume(OBLIQUE), folder.path(), &header).expect("written");
    let object = open_file(&files[0]).expect("opens");
    assert!(object.element(tags::PATIENT_IDENTITY_REMOVED).is_err());
    let name = object.element(tags::PATIENT_NAME).expect("there").to_str().expect("text");
    assert_eq!(name, "Planted^Name");
}

#[test]
fn a_skewed_plane_is_refused_and_padding_is_stored() {
    let skewed = volume([[0.7, 0.0, 0.0], [0.2, 0.7, 0.0], [0.0, 0.0, 1.25]]);
    let folder = tempfile::tempdir().expect("a folder");
    let refused = write_series(&skewed, folder.path(), &SeriesHeader::default());
    assert!(matches!(refused, Err(SeriesError::Skewed { .. })));

    let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
    let grid = Grid::from_axes([2, 1, 1], PatientPoint([0.0; 3]), axes, [1.0; 3]).expect("lattice");
    let nothing = Volume::new(grid, Voxels::F32(vec![f32::NAN, 7.0]), None).expect("fits");
    let files = write_series(&nothing, folder.path(), &SeriesHeader::default()).expect("written");
    let object = open_file(&files[0]).expect("opens");
    let words = object.element(tags::PIXEL_DATA).expect("there").to_bytes().expect("bytes");
    assert_eq!(words[..], [0x00, 0x80, 7, 0]);
}
