//! Voxels lie where position and orientation say, in any orientation.

use dicom_core::VR;
use dicom_dictionary_std::tags;

use crate::made::{Series, has, read, text};

fn cross(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

/// Every voxel of a made series against PS3.3 equation C.7.6.2.1-1; the step
/// may point either way along the normal.
fn check(series: &Series) {
    let intake = series.read().expect("one stack");
    let grid = intake.volume.grid();
    let o = series.orientation;
    let (x, y) = ([o[0], o[1], o[2]], [o[3], o[4], o[5]]);
    let n = cross(x, y);
    let along: f64 = (0..3).map(|a| n[a] * series.step[a]).sum();
    for k in 0..series.slices {
        let file = if along > 0.0 { k } else { series.slices - 1 - k };
        for (row, column) in [(0, 0), (3, 11), (15, 19)] {
            let found = grid.centre_of([column, row, k]).0;
            for axis in 0..3 {
                let expected = series.origin[axis]
                    + file as f64 * series.step[axis]
                    + x[axis] * series.spacing[1] * column as f64
                    + y[axis] * series.spacing[0] * row as f64;
                assert!((found[axis] - expected).abs() < 1e-6, "{found:?} {expected}");
            }
            let hu = f32::from(crate::made::hu(column, row, file));
            assert!((intake.volume.hu_or_nan([column, row, k]) - hu).abs() < 1e-6);
        }
    }
    let steps = grid.steps();
    assert!(steps[0].cross(steps[1]).dot(steps[2]) > 0.0, "the lattice is right-handed");
}

#[test]
fn every_way_to_lie_and_to_cut_keeps_its_place() {
    let s = std::f64::consts::FRAC_1_SQRT_2;
    let orientations = [
        [1.0, 0.0, 0.0, 0.0, 1.0, 0.0],        // head first supine
        [-1.0, 0.0, 0.0, 0.0, -1.0, 0.0],      // prone
        [0.0, 1.0, 0.0, -1.0, 0.0, 0.0],       // decubitus
        [-1.0, 0.0, 0.0, 0.0, 1.0, 0.0],       // feet first, as rows run
        [1.0, 0.0, 0.0, 0.0, 0.0, -1.0],       // coronal
        [0.0, 1.0, 0.0, 0.0, 0.0, -1.0],       // sagittal
        [0.8, 0.6, 0.0, -0.6 * s, 0.8 * s, s], // oblique
    ];
    for orientation in orientations {
        let n = cross(
            [orientation[0], orientation[1], orientation[2]],
            [orientation[3], orientation[4], orientation[5]],
        );
        for sign in [1.25, -1.25] {
            let step = n.map(|c| c * sign);
            check(&Series { orientation, step, ..Series::default() });
        }
    }
}

#[test]
fn a_tilted_gantry_is_a_shear_by_its_own_angle() {
    // PS3.3 C.7.6.2: rows along x, columns turned by 15 degrees, table along z.
    let (sin, cos) = 15_f64.to_radians().sin_cos();
    let series = Series {
        orientation: [1.0, 0.0, 0.0, 0.0, cos, -sin],
        step: [0.0, 0.0, 1.25],
        ..Series::default()
    }
    // A tag that disagrees is not believed.
    .with(|_, o| text(o, tags::GANTRY_DETECTOR_TILT, VR::DS, "-3"));
    check(&series);
    let intake = series.read().expect("tilted");
    assert!(has(&intake, "geometry.tilt"));
    let tilt = intake.facts.tilt_deg.expect("measured");
    assert!((tilt - 15.0).abs() < 1e-6, "{tilt}");
    assert!(!intake.volume.grid().is_orthogonal());
}

#[test]
fn uneven_slices_keep_their_own_places() {
    let places = [0.0, 1.0, 2.2, 3.0, 4.3, 5.3, 6.3, 7.3];
    let series = Series::default().with(move |k, o| {
        text(o, tags::IMAGE_POSITION_PATIENT, VR::DS, &format!("1\\2\\{}", places[k]));
    });
    let intake = series.read().expect("uneven");
    assert!(has(&intake, "geometry.uneven"));
    for (k, place) in places.iter().enumerate() {
        let z = intake.volume.grid().centre_of([0, 0, k]).0[2];
        assert!((z - place).abs() < 1e-9, "{z} {place}");
    }
}

#[test]
fn neither_names_nor_numbers_nor_order_of_files_matter() {
    let series = Series::default();
    let plain = series.read().expect("reads");
    let folder = tempfile::tempdir().expect("a folder");
    let misnumbered = Series::default().with(|k, o| {
        text(o, tags::INSTANCE_NUMBER, VR::IS, &((k * 5) % 8).to_string());
        text(o, tags::SLICE_LOCATION, VR::DS, &((k * 3) % 8).to_string());
    });
    for k in 0..8 {
        let name = format!("{}.bin", (k * 3 + 1) % 8);
        std::fs::write(folder.path().join(name), misnumbered.file(k)).expect("writes");
    }
    let shuffled = read(folder.path()).expect("reads");
    assert_eq!(plain.digest, shuffled.digest);
    assert_eq!(plain.volume, shuffled.volume);
    assert_eq!((plain.facts, plain.findings), (shuffled.facts, shuffled.findings));
}

#[test]
fn any_number_of_threads_gives_the_same() {
    let series = Series { slices: 40, ..Series::default() };
    let folder = tempfile::tempdir().expect("a folder");
    series.write(folder.path());
    let with = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("a pool");
        pool.install(|| read(folder.path())).expect("reads")
    };
    assert_eq!(with(1), with(7));
}

#[test]
fn two_reconstructions_in_one_series_are_two_choices() {
    let folder = tempfile::tempdir().expect("a folder");
    let twice = |kernel: &'static str, name: &str| {
        let series = Series::default().with(move |k, o| {
            text(o, tags::CONVOLUTION_KERNEL, VR::SH, kernel);
            text(o, tags::SOP_INSTANCE_UID, VR::UI, &format!("2.25.{}{k}", kernel.len()));
        });
        let inner = folder.path().join(name);
        std::fs::create_dir(&inner).expect("makes a folder");
        series.write(&inner);
    };
    twice("BONE", "a");
    twice("SOFT", "b");
    let limits = pilothole_intake::Limits::default();
    let scan = pilothole_intake::open(folder.path(), &limits).expect("opens");
    assert_eq!(scan.usable(), [1, 2]);
    for (series, class) in scan.series().iter().zip(["sharp", "soft"]) {
        assert_eq!(series.told_apart_by, Some("ConvolutionKernel"));
        assert_eq!((series.kernel_class.word(), series.slices), (class, 8));
    }
}

#[test]
fn a_digest_tells_geometry_and_voxels_apart() {
    let digest = |series: Series| series.read().expect("reads").digest;
    let plain = digest(Series::default());
    let moved = Series { origin: [-100.0, 50.0, 300.001], ..Series::default() };
    assert_ne!(plain, digest(moved));
    let changed = Series::default().with(|k, o| {
        if k == 0 {
            let mut stored = Series::default().stored(0);
            stored[0] += 1;
            crate::made::words(o, &stored);
        }
    });
    assert_ne!(plain, digest(changed));
}
