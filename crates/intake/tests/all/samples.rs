//! Positions recorded from other readers.

use std::path::{Path, PathBuf};

use pilothole_intake::{Limits, open};

/// `fixtures/intake/positions.csv`, made by
/// `tests/reference/intake_positions.py`: patient positions of voxels by
/// `SimpleITK` and `highdicom`.
const POSITIONS: &str = include_str!("../../../../fixtures/intake/positions.csv");

#[expect(clippy::disallowed_methods, reason = "tests are told where scans lie")]
fn folder() -> Option<PathBuf> {
    let beside = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data");
    let folder = std::env::var("PILOTHOLE_DATA").map_or(beside, PathBuf::from);
    folder.is_dir().then_some(folder)
}

#[test]
fn positions_are_those_of_other_readers() {
    let Some(folder) = folder() else { return };
    let limits = Limits { min_slices: 1, ..Limits::default() };
    let mut open_now: Option<(String, pilothole_intake::Intake)> = None;
    let mut checked = 0;
    for line in POSITIONS.lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let [name, column, row, slice, x, y, z, hu] = cells[..] else { panic!("eight cells") };
        if open_now.as_ref().is_none_or(|(known, _)| known != name) {
            let scan = open(&folder.join(name), &limits).expect("opens");
            let ordinal = scan.usable().first().copied();
            open_now = Some((name.to_owned(), scan.read(ordinal, &limits).expect("reads")));
        }
        let (_, intake) = open_now.as_ref().expect("was opened");
        let index = [column, row, slice].map(|c| c.parse().expect("an index"));
        let at = intake.volume.grid().centre_of(index).0;
        let expected = [x, y, z].map(|c| c.parse::<f64>().expect("a number"));
        for axis in 0..3 {
            assert!((at[axis] - expected[axis]).abs() < 1e-3, "{line}: {at:?}");
        }
        let found = intake.volume.hu_or_nan(index);
        let expected: f32 = hu.parse().expect("a number");
        assert!(found.is_nan() || (found - expected).abs() < 0.5, "{line}: {found}");
        checked += 1;
    }
    assert!(checked >= 40, "something ran");
}
