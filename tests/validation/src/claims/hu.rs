//! Hounsfield units along a path.

use pilothole_volume::{Direction, Offset, PatientPoint};

use super::{Section, World};
use crate::row::{ERROR_HEADS, Row, Tag, figures};

fn along_paths(world: &World) -> Option<Vec<f64>> {
    let volume = world.native()?;
    let table = world.root.join("fixtures/reference/hu_along_paths.csv");
    let mut table = csv::Reader::from_path(table).expect("the recorded values are there");
    let errors = table
        .records()
        .map(|record| {
            let row: Vec<f64> = record
                .expect("a row of text")
                .iter()
                .map(|cell| cell.parse().expect("a number"))
                .collect();
            let seat = PatientPoint([row[1], row[2], row[3]]);
            let along = Direction::along(Offset([row[4], row[5], row[6]])).expect("has length");
            volume.sample_or_nan(seat + along * row[7]) - row[8]
        })
        .collect();
    Some(errors)
}

pub(super) fn section(world: &World) -> Section {
    Section {
        title: "Hounsfield units along a path",
        claim: "HU are read between voxels by trilinear interpolation.".to_owned(),
        heads: ERROR_HEADS.to_vec(),
        rows: vec![Row {
            id: "hu-paths",
            what: "ten paths of 60 mm in a real pelvis, every 1.37 mm".to_owned(),
            source: "SimpleITK 2.5.7, linear".to_owned(),
            tag: Tag::Recorded,
            figures: figures(&along_paths(world).unwrap_or_default(), "HU"),
            test: "tests/outside.rs `hu_along_ten_paths_equal_simpleitks_linear_sampling`",
            needs_scan: true,
        }],
        remarks: "Held without a figure here: voxels of a written series against dicom-object and dicom-pixeldata (`tests/outside.rs` `voxels_equal_those_of_another_decoder`), stored values of every lossless syntax against recorded hashes (`crates/intake/tests/all/samples.rs`), and cylinder means against a dense sum (`tests/truth.rs` `through_both_walls_the_mean_is_that_of_a_dense_trilinear_reader`).".to_owned(),
    }
}
