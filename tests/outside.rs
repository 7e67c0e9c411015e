//! Against the outside world: Hounsfield units of a real scan by another
//! library.

use pilothole_study::{Limits, open};
use pilothole_tests::{real_scans, root};
use pilothole_volume::{Direction, Offset, PatientPoint};

/// Largest difference, HU: rounding of recorded positions and values.
const TOLERANCE_HU: f64 = 0.5;

#[test]
fn hu_along_ten_paths_equal_simpleitks_linear_sampling() {
    // fixtures/reference/hu_along_paths.csv: SimpleITK 2.5.7, made by
    // tests/reference/hu_along_paths.py.
    let Some(data) = real_scans() else { return };
    let limits = Limits::default();
    let scan = open(&data.join("pelvis_native_3mm/series.zip"), &limits)
        .and_then(|scan| scan.read(None, &limits))
        .expect("the scan is read");
    let table = std::fs::read_to_string(root().join("fixtures/reference/hu_along_paths.csv"))
        .expect("the recorded values are there");
    let mut compared = 0;
    let mut worst: f64 = 0.0;
    for line in table.lines().skip(1) {
        let row: Vec<f64> = line.split(',').map(|cell| cell.parse().expect("a number")).collect();
        let seat = PatientPoint([row[1], row[2], row[3]]);
        let along = Direction::along(Offset([row[4], row[5], row[6]])).expect("has length");
        let found = scan.volume.sample_or_nan(seat + along * row[7]);
        worst = worst.max((found - row[8]).abs());
        compared += 1;
    }
    assert_eq!(compared, 440, "something was compared");
    assert!(worst <= TOLERANCE_HU, "worst difference {worst} HU");
}
