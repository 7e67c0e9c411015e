//! Where a voxel lies in the patient.

use pilothole_study::{Limits, open};
use pilothole_volume::{Grid, Offset, PatientPoint};

use super::{Section, World};
use crate::row::{ERROR_HEADS, Row, Tag, figures};

/// Headers of `worked.py`: origin, row and column direction, steps along a row
/// and along a column, from slice to slice.
fn lattices() -> Vec<(&'static str, PatientPoint, [Offset; 3])> {
    let (s, c) = 15_f64.to_radians().sin_cos();
    let head = |origin, row: [f64; 3], column: [f64; 3], mm: [f64; 2], slice| {
        (PatientPoint(origin), [Offset(row) * mm[0], Offset(column) * mm[1], Offset(slice)])
    };
    let (left, back) = ([1.0, 0.0, 0.0], [0.0, 1.0, 0.0]);
    [
        ("square", head([56.0, 34.2, 1.0], left, back, [0.5, 0.5], [0.0, 0.0, 1.0])),
        (
            "oblique",
            head(
                [-100.0, -120.0, 50.0],
                [0.8, 0.6, 0.0],
                [0.0, 0.0, -1.0],
                [0.75, 0.5],
                [0.6, -0.8, 0.0],
            ),
        ),
        (
            "real",
            head(
                [-158.135_803, -179.035_797, -75.699_997],
                left,
                back,
                [0.661_468, 0.661_468],
                [0.0, 0.0, 5.0],
            ),
        ),
        ("tilted", head([-120.0, -130.0, 20.0], left, [0.0, c, -s], [0.7, 0.7], [0.0, 0.0, 2.5])),
    ]
    .map(|(name, (origin, steps))| (name, origin, steps))
    .to_vec()
}

fn by_equation(world: &World) -> Vec<f64> {
    let mut errors = Vec::new();
    for (name, origin, steps) in lattices() {
        let grid = Grid::new([64, 64, 16], origin, steps).expect("spans a volume");
        for index in [[0, 10, 0], [5, 5, 1], [10, 20, 2], [3, 5, 7]] {
            let case = format!("{name} {} {} {}", index[0], index[1], index[2]);
            for (axis, found) in ["x", "y", "z"].iter().zip(grid.centre_of(index).0) {
                errors.push(found - world.worked.value("positions", &case, axis));
            }
        }
    }
    errors
}

/// Distances of our voxel centres from those recorded, mm, and of HU.
fn by_readers(world: &World) -> Option<(Vec<f64>, Vec<f64>)> {
    let scans = world.scans.as_ref()?;
    let table = world.root.join("fixtures/intake/positions.csv");
    let mut table = csv::Reader::from_path(table).expect("the recorded positions are there");
    let (mut last, mut apart, mut hu) = (None, Vec::new(), Vec::new());
    for record in table.records() {
        let row = record.expect("a row of text");
        let number = |at: usize| row[at].parse::<f64>().expect("a number");
        if last.as_ref().is_none_or(|(name, _)| *name != row[0]) {
            let limits = Limits { min_slices: 1, ..Limits::default() };
            let volume = open(&scans.join(&row[0]), &limits)
                .and_then(|scan| scan.read(None, &limits))
                .unwrap_or_else(|refusal| panic!("{}: {refusal:?}", &row[0]))
                .volume;
            last = Some((row[0].to_owned(), volume));
        }
        let (_, volume) = last.as_ref().expect("read above");
        let index = [number(1) as usize, number(2) as usize, number(3) as usize];
        let want = PatientPoint([number(4), number(5), number(6)]);
        apart.push(volume.grid().centre_of(index).distance_mm(want));
        let found = f64::from(volume.hu_or_nan(index));
        if found.is_finite() {
            hu.push(found - number(7));
        }
    }
    Some((apart, hu))
}

pub(super) fn section(world: &World) -> Section {
    let mut rows = vec![Row {
        id: "positions-equation",
        what: "voxel centres of four lattices: square, oblique with unequal spacing, a real header, a tilted gantry".to_owned(),
        source: "DICOM PS3.3 equation C.7.6.2.1-1, worked in Python".to_owned(),
        tag: Tag::Confirmed,
        figures: figures(&by_equation(world), "mm"),
        test: "crates/volume/src/grid.rs `the_standards_worked_positions_come_out`",
        needs_scan: false,
    }];
    let (apart, hu) = by_readers(world).unwrap_or_default();
    rows.push(Row {
        id: "positions-readers",
        what: "voxel centres of six real series, distance".to_owned(),
        source: "highdicom 0.28.2, equal to SimpleITK 2.5.7 within 1e-4 mm".to_owned(),
        tag: Tag::Recorded,
        figures: figures(&apart, "mm"),
        test: "crates/intake/tests/all/samples.rs `positions_are_those_of_other_readers`",
        needs_scan: true,
    });
    rows.push(Row {
        id: "positions-hu",
        what: "HU of the same voxels, padding left out".to_owned(),
        source: "SimpleITK 2.5.7".to_owned(),
        tag: Tag::Recorded,
        figures: figures(&hu, "HU"),
        test: "crates/intake/tests/all/samples.rs `positions_are_those_of_other_readers`",
        needs_scan: true,
    });
    Section {
        title: "Positions",
        claim: "A voxel lies where the standard says, for oblique and tilted stacks too.".to_owned(),
        heads: ERROR_HEADS.to_vec(),
        rows,
        remarks: "A tool of dicom3tools places voxels half a pixel away from the standard's text (seen by running both); it is not used.".to_owned(),
    }
}
