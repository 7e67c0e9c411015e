//! Enhanced CT: many frames in one object, one volume over several objects.

use dicom_core::VR;
use dicom_dictionary_std::tags;
use pilothole_intake::{Intake, Refusal};

use crate::made::{EXPLICIT, Object, Series, bytes, code, read, sequence, text, words};

const ENHANCED: &str = "1.2.840.10008.5.1.4.1.1.2.1";

fn item(fill: impl FnOnce(&mut Object)) -> Vec<Object> {
    let mut object = Object::new_empty();
    fill(&mut object);
    vec![object]
}

/// Frames `frames` of a made series as one enhanced object; the intercept of
/// frame `k` is `-1024 - k`, its stored values are as much higher.
fn enhanced(series: &Series, frames: std::ops::Range<usize>, rescale_type: &str) -> Object {
    let mut object = series.object(frames.start);
    text(&mut object, tags::SOP_CLASS_UID, VR::UI, ENHANCED);
    text(&mut object, tags::NUMBER_OF_FRAMES, VR::IS, &frames.len().to_string());
    for tag in [
        tags::IMAGE_POSITION_PATIENT,
        tags::IMAGE_ORIENTATION_PATIENT,
        tags::PIXEL_SPACING,
        tags::RESCALE_SLOPE,
        tags::RESCALE_INTERCEPT,
        tags::KVP,
        tags::CONVOLUTION_KERNEL,
        tags::SLICE_THICKNESS,
    ] {
        crate::made::remove(&mut object, tag);
    }
    let shared = item(|groups| {
        let o = crate::made::decimals(&series.orientation);
        sequence(
            groups,
            tags::PLANE_ORIENTATION_SEQUENCE,
            item(|i| {
                text(i, tags::IMAGE_ORIENTATION_PATIENT, VR::DS, &o);
            }),
        );
        sequence(
            groups,
            tags::PIXEL_MEASURES_SEQUENCE,
            item(|i| {
                text(i, tags::PIXEL_SPACING, VR::DS, &crate::made::decimals(&series.spacing));
                text(i, tags::SLICE_THICKNESS, VR::DS, "1.25");
            }),
        );
        sequence(
            groups,
            tags::CTX_RAY_DETAILS_SEQUENCE,
            item(|i| {
                text(i, tags::KVP, VR::DS, "100");
            }),
        );
        sequence(
            groups,
            tags::CT_RECONSTRUCTION_SEQUENCE,
            item(|i| {
                text(i, tags::CONVOLUTION_KERNEL, VR::SH, "B30f");
            }),
        );
    });
    sequence(&mut object, tags::SHARED_FUNCTIONAL_GROUPS_SEQUENCE, shared);
    let mut own = Vec::new();
    let mut stored = Vec::new();
    // Frames are written backwards: their order is not their place.
    for k in frames.rev() {
        stored.extend(series.stored(k).iter().map(|v| v + k as u16));
        own.extend(item(|groups| {
            let at: Vec<f64> =
                (0..3).map(|a| series.origin[a] + k as f64 * series.step[a]).collect();
            sequence(
                groups,
                tags::PLANE_POSITION_SEQUENCE,
                item(|i| {
                    text(i, tags::IMAGE_POSITION_PATIENT, VR::DS, &crate::made::decimals(&at));
                }),
            );
            sequence(
                groups,
                tags::PIXEL_VALUE_TRANSFORMATION_SEQUENCE,
                item(|i| {
                    text(i, tags::RESCALE_INTERCEPT, VR::DS, &format!("{}", -1024 - k as i32));
                    text(i, tags::RESCALE_SLOPE, VR::DS, "1");
                    text(i, tags::RESCALE_TYPE, VR::LO, rescale_type);
                }),
            );
        }));
    }
    sequence(&mut object, tags::PER_FRAME_FUNCTIONAL_GROUPS_SEQUENCE, own);
    words(&mut object, &stored);
    object
}

fn read_all(objects: Vec<Object>) -> Result<Intake, Refusal> {
    let folder = tempfile::tempdir().expect("a folder");
    for (at, object) in objects.into_iter().enumerate() {
        std::fs::write(folder.path().join(at.to_string()), bytes(object, EXPLICIT))
            .expect("writes");
    }
    read(folder.path())
}

#[test]
fn frames_are_placed_and_rescaled_one_by_one() {
    let series = Series::default();
    let classic = series.read().expect("classic");
    let intake = read_all(vec![enhanced(&series, 0..8, "HU")]).expect("enhanced");
    assert_eq!(intake.volume.voxels(), classic.volume.voxels());
    assert_eq!(intake.volume.grid(), classic.volume.grid());
    assert_eq!(intake.digest, classic.digest);
    assert_eq!(intake.facts.kvp, Some(100.0));
    assert_eq!(intake.facts.kernel_class.word(), "soft");
    assert_eq!((intake.facts.slice_count, intake.facts.file_count), (8, 1));
}

#[test]
fn a_concatenation_is_one_volume() {
    let series = Series::default();
    let mut parts = vec![enhanced(&series, 0..3, "HU"), enhanced(&series, 3..8, "HU")];
    for (at, part) in parts.iter_mut().enumerate() {
        text(part, tags::SOP_INSTANCE_UID, VR::UI, &format!("2.25.6{at}"));
        text(part, tags::CONCATENATION_UID, VR::UI, "2.25.61");
    }
    let intake = read_all(parts).expect("two objects");
    assert_eq!(intake.digest, series.read().expect("classic").digest);
}

#[test]
fn frames_without_place_or_unit_are_refused() {
    let series = Series::default();
    assert_eq!(code(read_all(vec![enhanced(&series, 0..8, "US")])), "units.not_hu");
    let mut bare = enhanced(&series, 0..8, "HU");
    crate::made::remove(&mut bare, tags::PER_FRAME_FUNCTIONAL_GROUPS_SEQUENCE);
    let refused = code(read_all(vec![bare]));
    assert!(matches!(refused, "units.not_hu" | "geometry.missing"), "{refused}");
    let mut many = enhanced(&series, 0..8, "HU");
    text(&mut many, tags::NUMBER_OF_FRAMES, VR::IS, "9");
    let refused = code(read_all(vec![many]));
    assert!(matches!(refused, "geometry.missing" | "pixels.size"), "{refused}");
}
