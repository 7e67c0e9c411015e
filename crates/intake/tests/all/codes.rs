//! Every refusal and every finding, each made to happen.

use dicom_core::VR;
use dicom_dictionary_std::tags;
use pilothole_intake::{Limits, Verdict, open};

use crate::made::{Series, bytes, code, has, number, read, remove, text, words};

#[test]
fn a_clean_series_is_read_without_reservation() {
    let intake = Series::default().read().expect("clean");
    assert!(intake.findings.is_empty(), "{:?}", intake.findings);
    assert_eq!(intake.volume.grid().size(), [20, 16, 8]);
    assert_eq!(intake.volume.ceiling_hu(), Some(3071.0));
    assert_eq!(intake.facts.kvp, Some(120.0));
    for index in [[0, 0, 0], [9, 7, 3], [19, 15, 7], [12, 5, 1]] {
        let expected = f32::from(crate::made::hu(index[0], index[1], index[2]));
        assert!((intake.volume.hu_or_nan(index) - expected).abs() < 1e-6);
    }
}

#[test]
fn a_folder_without_a_scan_is_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    assert_eq!(code(read(folder.path())), "scan.nothing");
    std::fs::write(folder.path().join("notes.txt"), "DICOM is mentioned here").expect("writes");
    assert_eq!(code(read(folder.path())), "scan.nothing");
    assert_eq!(code(read(&folder.path().join("absent"))), "scan.nothing");
}

#[test]
fn two_series_are_a_choice() {
    let folder = tempfile::tempdir().expect("a folder");
    Series::default().write(folder.path());
    let second = folder.path().join("more");
    std::fs::create_dir(&second).expect("makes a folder");
    let other = Series::default().with(|k, o| {
        text(o, tags::SERIES_INSTANCE_UID, VR::UI, "2.25.9");
        text(o, tags::SERIES_NUMBER, VR::IS, "2");
        text(o, tags::SOP_INSTANCE_UID, VR::UI, &format!("2.25.8{k}"));
        text(o, tags::KVP, VR::DS, "100");
    });
    other.write(&second);
    let limits = Limits::default();
    let scan = open(folder.path(), &limits).expect("two series");
    assert_eq!(scan.usable(), [1, 2]);
    let refusal = scan.read(None, &limits).expect_err("a choice");
    assert_eq!(refusal.0[0].code, "scan.several_series");
    assert!(refusal.to_string().contains("1, 2"));
    // The order is that of the series numbers, not of the names.
    assert_eq!(scan.read(Some(1), &limits).expect("the second").facts.kvp, Some(100.0));
    assert_eq!(scan.read(Some(2), &limits).expect("the first").facts.kvp, Some(120.0));
    let refusal = scan.read(Some(3), &limits).expect_err("no third");
    assert_eq!(refusal.0[0].code, "scan.no_such_series");
}

#[test]
fn what_is_not_a_ct_volume_is_refused() {
    let mr = Series::default().with(|_, o| {
        text(o, tags::SOP_CLASS_UID, VR::UI, "1.2.840.10008.5.1.4.1.1.4");
        text(o, tags::MODALITY, VR::CS, "MR");
    });
    assert_eq!(mr.refused(), "scan.not_ct");
    let capture = Series::default()
        .with(|_, o| text(o, tags::SOP_CLASS_UID, VR::UI, "1.2.840.10008.5.1.4.1.1.7"));
    assert_eq!(capture.refused(), "scan.not_ct");
    let scout = Series::default()
        .with(|_, o| text(o, tags::IMAGE_TYPE, VR::CS, "ORIGINAL\\PRIMARY\\LOCALIZER"));
    assert_eq!(scout.refused(), "scan.localizer");
    let colour = Series::default().with(|_, o| {
        number(o, tags::SAMPLES_PER_PIXEL, 3);
        text(o, tags::PHOTOMETRIC_INTERPRETATION, VR::CS, "RGB");
    });
    assert_eq!(colour.refused(), "pixels.colour");
}

#[test]
fn too_few_slices_are_counted() {
    let refusal = Series { slices: 3, ..Series::default() }.read().expect_err("three");
    let reason = &refusal.0[0];
    assert_eq!(
        (reason.code, reason.measured, reason.limit),
        ("scan.too_few_slices", Some(3.0), Some(4.0))
    );
}

#[test]
fn a_missing_slice_is_a_gap_with_its_place() {
    let folder = tempfile::tempdir().expect("a folder");
    Series::default().write(folder.path());
    std::fs::remove_file(folder.path().join("s003.dcm")).expect("removes");
    let refusal = read(folder.path()).expect_err("a gap");
    let reason = &refusal.0[0];
    assert_eq!(reason.code, "geometry.gap");
    assert!((reason.measured.expect("the step") - 2.5).abs() < 1e-9);
    assert!((reason.limit.expect("1.5 times the median") - 1.875).abs() < 1e-9);
    assert!(reason.text.contains("after slice 3 of 7"), "{}", reason.text);
    assert!(!reason.next.is_empty());
}

#[test]
fn geometry_that_is_not_one_stack_is_refused() {
    let repeated = Series::default()
        .with(|k, o| text(o, tags::IMAGE_POSITION_PATIENT, VR::DS, &format!("0\\0\\{}", k / 2)));
    assert_eq!(repeated.refused(), "geometry.duplicate_slice");
    let turned = Series::default().with(|k, o| {
        if k == 5 {
            text(o, tags::IMAGE_ORIENTATION_PATIENT, VR::DS, "1\\0\\0\\0\\0\\-1");
        }
    });
    assert_eq!(turned.refused(), "geometry.mixed_orientation");
    for tag in [tags::IMAGE_POSITION_PATIENT, tags::IMAGE_ORIENTATION_PATIENT, tags::PIXEL_SPACING]
    {
        let bare = Series::default().with(move |k, o| {
            if k == 2 {
                remove(o, tag);
            }
        });
        assert_eq!(bare.refused(), "geometry.missing");
        let broken = Series::default().with(move |_, o| text(o, tag, VR::DS, "1\\x\\3"));
        assert_eq!(broken.refused(), "geometry.missing");
    }
    let stretched = Series::default()
        .with(|_, o| text(o, tags::IMAGE_ORIENTATION_PATIENT, VR::DS, "1.1\\0\\0\\0\\1\\0"));
    assert_eq!(stretched.refused(), "geometry.orientation");
    let zoomed = Series::default().with(|k, o| {
        if k > 5 {
            text(o, tags::PIXEL_SPACING, VR::DS, "0.7\\0.9");
        }
    });
    assert_eq!(zoomed.refused(), "geometry.mixed_spacing");
    let shifted = Series::default().with(|k, o| {
        if k == 4 {
            text(o, tags::IMAGE_POSITION_PATIENT, VR::DS, "-99.5\\50\\305");
        }
    });
    assert_eq!(shifted.refused(), "geometry.sideways");
}

#[test]
fn pixels_that_are_not_all_there_are_refused() {
    let unread = bytes(Series::default().object(0), "1.2.840.10008.1.2.4.201");
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("one"), unread).expect("writes");
    let refusal = read(folder.path()).expect_err("a syntax without a decoder");
    assert_eq!(refusal.0[0].code, "pixels.syntax");
    assert!(refusal.0[0].text.contains("High-Throughput JPEG 2000"), "{refusal}");
    assert!(refusal.0[0].next[0].contains("convert"), "{:?}", refusal.0[0].next);

    let wide = Series::default().with(|_, o| number(o, tags::BITS_ALLOCATED, 32));
    assert_eq!(wide.refused(), "pixels.syntax");
    let short = Series::default().with(|k, o| {
        if k == 3 {
            words(o, &[0; 100]);
        }
    });
    let refusal = short.read().expect_err("100 words");
    assert_eq!((refusal.0[0].code, refusal.0[0].measured), ("pixels.size", Some(200.0)));
    assert!(refusal.to_string().contains("file 4 of 8"), "{refusal}");
    let absent = Series::default().with(|k, o| {
        if k == 6 {
            remove(o, tags::PIXEL_DATA);
        }
    });
    assert_eq!(absent.refused(), "pixels.truncated");
}

#[test]
fn a_truncated_file_is_named_by_its_ordinal() {
    let folder = tempfile::tempdir().expect("a folder");
    let series = Series::default();
    series.write(folder.path());
    let last = folder.path().join("s007.dcm");
    let whole = series.file(7);
    for (keep, expected) in [(whole.len() - 100, "pixels.truncated"), (400, "pixels.truncated")] {
        std::fs::write(&last, &whole[..keep]).expect("writes");
        let refusal = read(folder.path()).expect_err("truncated");
        assert_eq!(refusal.0[0].code, expected);
        assert!(refusal.to_string().contains("file 8 of 8"), "{refusal}");
    }
}

#[test]
fn numbers_that_are_not_hounsfield_units_are_refused() {
    for tag in [tags::RESCALE_SLOPE, tags::RESCALE_INTERCEPT] {
        let bare = Series::default().with(move |_, o| remove(o, tag));
        assert_eq!(bare.refused(), "units.not_hu");
    }
    for (tag, vr, value) in [
        (tags::RESCALE_TYPE, VR::LO, "US"),
        (tags::RESCALE_SLOPE, VR::DS, "0"),
        (tags::IMAGE_TYPE, VR::CS, "DERIVED\\SECONDARY\\AXIAL\\MIP"),
    ] {
        let odd = Series::default().with(move |_, o| text(o, tag, vr, value));
        assert_eq!(odd.refused(), "units.not_hu");
    }
}

/// Air, fat and muscle in thirds, stored for an intercept of -1024.
fn tissue(series: &Series) -> Vec<u16> {
    let count = usize::from(series.rows) * usize::from(series.columns);
    (0..count).map(|at| [24, 919, 1074][3 * at / count]).collect()
}

#[test]
fn a_wrong_intercept_does_not_pass() {
    let made = |intercept: &'static str| {
        let stored = tissue(&Series::default());
        Series::default().with(move |_, o| {
            words(o, &stored);
            text(o, tags::RESCALE_INTERCEPT, VR::DS, intercept);
        })
    };
    let right = made("-1024").read().expect("right");
    assert!(!has(&right, "units.air"));
    assert!(right.facts.air_hu.is_some_and(|hu| (hu + 1000.0).abs() < 5.0));
    assert!(right.facts.fat_hu.is_some_and(|hu| (hu + 105.0).abs() < 5.0));
    assert!(right.facts.muscle_hu.is_some_and(|hu| (hu - 50.0).abs() < 5.0));
    assert_eq!(made("0").refused(), "units.not_hu");
    assert_eq!(made("-2048").refused(), "units.not_hu");
    assert!(has(&made("-970").read().expect("54 HU off"), "units.air"));
}

#[test]
fn limits_hold() {
    let folder = tempfile::tempdir().expect("a folder");
    Series::default().write(folder.path());
    let first = |limits: &Limits| {
        let refused = match open(folder.path(), limits) {
            Ok(scan) => scan.read(None, limits).expect_err("over a limit"),
            Err(refused) => refused,
        };
        refused.0[0].code
    };
    let voxels = Limits { max_voxels: 20 * 16 * 7, ..Limits::default() };
    assert_eq!(first(&voxels), "limits.too_large");
    let files = Limits { max_files: 7, ..Limits::default() };
    assert_eq!(first(&files), "limits.too_large");
    let elements = Limits { max_elements: 10, ..Limits::default() };
    assert_eq!(first(&elements), "limits.too_large");
    let bytes = Limits { max_file_bytes: 500, ..Limits::default() };
    assert_eq!(first(&bytes), "limits.too_large");
}

#[test]
fn each_reservation_is_said() {
    let cases: [(&str, dicom_core::Tag, VR, &str); 10] = [
        ("identity.present", tags::PATIENT_NAME, VR::PN, "DOE^JANE"),
        ("identity.burned_in", tags::BURNED_IN_ANNOTATION, VR::CS, "YES"),
        ("kernel.sharp", tags::CONVOLUTION_KERNEL, VR::SH, "BONEPLUS"),
        ("kvp.unknown", tags::KVP, VR::DS, ""),
        ("pixels.lossy", tags::LOSSY_IMAGE_COMPRESSION, VR::CS, "01"),
        ("contrast.present", tags::CONTRAST_BOLUS_AGENT, VR::LO, "agent"),
        ("scan.reformatted", tags::IMAGE_TYPE, VR::CS, "DERIVED\\SECONDARY\\MPR"),
        ("units.multi_energy", tags::MULTIENERGY_CT_ACQUISITION, VR::CS, "YES"),
        ("voxel.coarse", tags::PIXEL_SPACING, VR::DS, "1.6\\0.8"),
        ("pixels.saturated", tags::RESCALE_INTERCEPT, VR::DS, "-1024"),
    ];
    for (code, tag, vr, value) in cases {
        let series = Series::default().with(move |_, o| {
            text(o, tag, vr, value);
            if code == "pixels.saturated" {
                let mut stored = Series::default().stored(0);
                stored[170] = 4095;
                words(o, &stored);
            }
        });
        let intake = series.read().expect(code);
        let codes: Vec<&str> = intake.findings.iter().map(|f| f.code).collect();
        let expected: &[&str] = match code {
            // The agent's name is on the profile's list too.
            "contrast.present" => &["contrast.present", "identity.present"],
            _ => &[code],
        };
        assert_eq!(codes, expected);
    }
}

#[test]
fn a_lossy_copy_states_its_ratio_and_metal_its_voxels() {
    let lossy = Series::default().with(|_, o| {
        text(o, tags::LOSSY_IMAGE_COMPRESSION, VR::CS, "01");
        text(o, tags::LOSSY_IMAGE_COMPRESSION_RATIO, VR::DS, "8.5");
    });
    let intake = lossy.read().expect("lossy");
    assert_eq!(intake.facts.lossy.and_then(|l| l.ratio), Some(8.5));
    assert!(intake.findings[0].text.contains("8.5"));
    // A scanner that clips at the top of 12 bits, stored with 16.
    let clipped = Series::default().with(|k, o| {
        number(o, tags::BITS_STORED, 16);
        number(o, tags::HIGH_BIT, 15);
        let mut stored = Series::default().stored(k);
        stored[170] = 4095;
        words(o, &stored);
    });
    let intake = clipped.read().expect("clipped");
    assert_eq!(intake.volume.ceiling_hu(), Some(3071.0));
    assert_eq!(intake.facts.saturated_voxels, 8);
}

#[test]
fn slices_thicker_or_thinner_than_their_step_are_said() {
    for (thickness, expected) in [("3", "geometry.overlap"), ("0.6", "geometry.between")] {
        let series =
            Series::default().with(move |_, o| text(o, tags::SLICE_THICKNESS, VR::DS, thickness));
        let intake = series.read().expect("reads");
        let finding = intake.findings.iter().find(|f| f.code == expected).expect(expected);
        assert_eq!(finding.limit, Some(1.25));
    }
}

#[test]
fn a_damaged_neighbour_is_said_where_it_may_belong_to_several() {
    let folder = tempfile::tempdir().expect("a folder");
    Series::default().write(folder.path());
    let second = folder.path().join("more");
    std::fs::create_dir(&second).expect("makes a folder");
    let other = Series::default().with(|_, o| text(o, tags::SERIES_INSTANCE_UID, VR::UI, "2.25.9"));
    other.write(&second);
    std::fs::write(folder.path().join("x"), &other.file(0)[..400]).expect("writes");
    let limits = Limits::default();
    let scan = open(folder.path(), &limits).expect("two series");
    assert!(has(&scan.read(Some(1), &limits).expect("reads"), "scan.damaged_file"));
    assert_eq!(scan.damaged(), 1);
}

#[test]
fn verdicts_differ_by_purpose() {
    let folder = tempfile::tempdir().expect("a folder");
    let series = Series { step: [0.0, 0.0, 6.0], ..Series::default() }
        .with(|_, o| text(o, tags::CONVOLUTION_KERNEL, VR::SH, "BONE"));
    series.write(folder.path());
    let limits = Limits::default();
    let scan = open(folder.path(), &limits).expect("opens");
    let verdicts = &scan.series()[0].verdicts;
    assert!(matches!(&verdicts.hu_along_path, Verdict::Reserved(why) if why.len() == 3));
    assert!(matches!(&verdicts.surface, Verdict::Refused(why) if why[0].code == "voxel.coarse"));
    assert_eq!(verdicts.screening, Verdict::Usable);
    assert_eq!(scan.series()[0].metal, None);
    assert_eq!(scan.surveyed(&limits)[0].metal, Some(false));
}

#[test]
fn an_object_without_class_or_series_is_taken_for_ct_by_its_modality() {
    let bare = Series::default().with(|_, o| {
        text(o, tags::SOP_CLASS_UID, VR::UI, "");
        text(o, tags::SERIES_INSTANCE_UID, VR::UI, "");
        text(o, tags::SOP_INSTANCE_UID, VR::UI, "");
    });
    let read = bare.read().expect("by its modality");
    assert!(has(&read, "scan.no_series_uid"));
    let nameless = Series::default().with(|_, o| {
        text(o, tags::SOP_CLASS_UID, VR::UI, "");
        text(o, tags::MODALITY, VR::CS, "");
    });
    assert_eq!(nameless.refused(), "scan.not_ct");
}
