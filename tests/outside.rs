//! Against the outside world: Hounsfield units by other libraries.

use dicom_pixeldata::{ConvertOptions, ModalityLutOption, PixelDecoder};
use pilothole_phantom::{Scanner, Scene, SeriesHeader, Solid, Storage, Tissue, write_series};
use pilothole_study::{Limits, open};
use pilothole_tests::{aloud, real_scans, real_volume, root};
use pilothole_volume::{Direction, Grid, Offset, PatientPoint};

/// Largest difference, HU: rounding of recorded positions and values.
const TOLERANCE_HU: f64 = 0.5;

#[test]
fn hu_along_ten_paths_equal_simpleitks_linear_sampling() {
    // fixtures/reference/hu_along_paths.csv: SimpleITK 2.5.7, made by
    // tests/reference/hu_along_paths.py.
    let Some(volume) = real_volume("pelvis_native_3mm") else { return };
    let table = std::fs::read_to_string(root().join("fixtures/reference/hu_along_paths.csv"))
        .expect("the recorded values are there");
    let mut compared = 0;
    let mut worst: f64 = 0.0;
    for line in table.lines().skip(1) {
        let row: Vec<f64> = line.split(',').map(|cell| cell.parse().expect("a number")).collect();
        let seat = PatientPoint([row[1], row[2], row[3]]);
        let along = Direction::along(Offset([row[4], row[5], row[6]])).expect("has length");
        let found = volume.sample_or_nan(seat + along * row[7]);
        worst = worst.max((found - row[8]).abs());
        compared += 1;
    }
    assert_eq!(compared, 440, "something was compared");
    assert!(worst <= TOLERANCE_HU, "worst difference {worst} HU");
}

#[test]
fn voxels_equal_those_of_another_decoder() {
    // dicom-object and dicom-pixeldata read the same files on their own.
    let centre = PatientPoint([0.0; 3]);
    let mut scene = Scene::empty();
    scene.paint(Solid::Ball { centre, radius_mm: 9.0 }, Tissue::Cortical, 1200.0, 1);
    let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
    let grid = Grid::from_axes([24, 20, 16], PatientPoint([-12.0, -10.0, -8.0]), axes, [1.0; 3])
        .expect("square");
    let volume = Scanner::PERFECT.scan(&scene, &grid).expect("fits");
    for (storage, intercept) in [(Storage::Signed, 0.0), (Storage::Twelve, -1024.0)] {
        let home = tempfile::tempdir().expect("a folder");
        let header = SeriesHeader { storage, intercept, padding: None, ..SeriesHeader::default() };
        let files = write_series(&volume, home.path(), &header).expect("written");
        let limits = Limits::default();
        let ours = open(home.path(), &limits)
            .and_then(|scan| scan.read(None, &limits))
            .expect("the series is read")
            .volume;
        for (slice, file) in files.iter().enumerate() {
            let object = dicom_object::open_file(file).expect("another library opens it");
            let options = ConvertOptions::new().with_modality_lut(ModalityLutOption::Default);
            let theirs: Vec<f64> = object
                .decode_pixel_data()
                .and_then(|pixels| pixels.to_vec_with_options(&options))
                .expect("another library decodes it");
            assert_eq!(theirs.len(), 24 * 20);
            for (at, hu) in theirs.iter().enumerate() {
                let found = f64::from(ours.hu_or_nan([at % 24, at / 24, slice]));
                assert!((found - hu).abs() < 1e-9, "slice {slice}, pixel {at}: {found} != {hu}");
            }
        }
    }
}

/// Python with highdicom: `PILOTHOLE_PYTHON`, or `python3`.
fn highdicom() -> Option<String> {
    #[expect(clippy::disallowed_methods, reason = "tests are told which Python to use")]
    let named = std::env::var("PILOTHOLE_PYTHON").ok();
    [named, Some("python3".to_owned())].into_iter().flatten().find(|python| {
        std::process::Command::new(python)
            .args(["-c", "import highdicom, pydicom"])
            .output()
            .is_ok_and(|run| run.status.success())
    })
}

#[test]
fn an_enhanced_object_of_another_writer_equals_its_classic_series() {
    let Some(data) = real_scans() else { return };
    let Some(python) = highdicom() else {
        aloud("skipped: no Python with highdicom");
        return;
    };
    for series in ["head_phantom_1mm.zip", "tilt_plus16_philips.zip"] {
        let classic = data.join("trouble").join(series);
        let home = tempfile::tempdir().expect("a folder");
        let object = home.path().join("object.dcm");
        let run = std::process::Command::new(&python)
            .arg(root().join("tests/reference/legacy_enhanced.py"))
            .args([&classic, &object])
            .status()
            .expect("python runs");
        assert!(run.success(), "highdicom writes the object");
        let limits = Limits::default();
        let read = |path: &std::path::Path| {
            open(path, &limits).and_then(|scan| scan.read(None, &limits)).expect("read").volume
        };
        let (ours, theirs) = (read(&classic), read(&object));
        assert_eq!(ours.grid().size(), theirs.grid().size());
        let [columns, rows, slices] = ours.grid().size();
        for corner in [[0, 0, 0], [columns - 1, rows - 1, slices - 1], [columns / 2, 0, slices / 2]]
        {
            let off = ours.grid().centre_of(corner).distance_mm(theirs.grid().centre_of(corner));
            assert!(off < 1e-3, "{series}: {off} mm at {corner:?}");
        }
        assert!(ours.voxels() == theirs.voxels(), "{series}: voxels differ");
    }
}
