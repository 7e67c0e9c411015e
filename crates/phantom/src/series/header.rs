//! The data elements of one slice.

use dicom_core::value::PrimitiveValue;
use dicom_core::{DataElement, Tag, VR};
use dicom_dictionary_std::tags;
use dicom_object::InMemDicomObject;
use pilothole_volume::{Grid, Offset};

use super::{SeriesHeader, Storage, Uids};

pub(super) const CT_IMAGE_STORAGE: &str = "1.2.840.10008.5.1.4.1.1.2";

fn put(object: &mut InMemDicomObject, tag: Tag, vr: VR, text: impl Into<String>) {
    object.put(DataElement::new(tag, vr, PrimitiveValue::from(text.into())));
}

fn put_u16(object: &mut InMemDicomObject, tag: Tag, value: u16) {
    object.put(DataElement::new(tag, VR::US, PrimitiveValue::from(value)));
}

/// What the series is, and whose.
pub(super) fn describe(
    object: &mut InMemDicomObject,
    header: &SeriesHeader,
    uids: &Uids,
    slice: usize,
) {
    put(object, tags::SOP_CLASS_UID, VR::UI, CT_IMAGE_STORAGE);
    put(object, tags::SOP_INSTANCE_UID, VR::UI, uids.instance(slice));
    put(object, tags::STUDY_INSTANCE_UID, VR::UI, uids.of_kind("study"));
    put(object, tags::SERIES_INSTANCE_UID, VR::UI, uids.of_kind("series"));
    put(object, tags::FRAME_OF_REFERENCE_UID, VR::UI, uids.of_kind("frame"));
    put(object, tags::IMAGE_TYPE, VR::CS, "ORIGINAL\\PRIMARY\\AXIAL");
    put(object, tags::MODALITY, VR::CS, header.modality.as_str());
    put(object, tags::MANUFACTURER, VR::LO, "Pilothole phantom");
    put(object, tags::SERIES_DESCRIPTION, VR::LO, header.description.as_str());
    put(object, tags::PATIENT_POSITION, VR::CS, "HFS");
    put(object, tags::POSITION_REFERENCE_INDICATOR, VR::LO, "");
    put(object, tags::STUDY_ID, VR::SH, "1");
    put(object, tags::SERIES_NUMBER, VR::IS, "1");
    put(object, tags::ACQUISITION_NUMBER, VR::IS, "1");
    put(object, tags::INSTANCE_NUMBER, VR::IS, (slice + 1).to_string());
    put(object, tags::ACCESSION_NUMBER, VR::SH, "");
    put(object, tags::STUDY_TIME, VR::TM, "");
    put(object, tags::PATIENT_SEX, VR::CS, "");
    put(object, tags::KVP, VR::DS, header.kvp.map(decimal).unwrap_or_default());
    if let Some(kernel) = &header.kernel {
        put(object, tags::CONVOLUTION_KERNEL, VR::SH, kernel.as_str());
    }
    let nobody = super::Identity::default();
    let who = header.identity.as_ref().unwrap_or(&nobody);
    put(object, tags::PATIENT_NAME, VR::PN, who.patient_name.as_str());
    put(object, tags::PATIENT_ID, VR::LO, who.patient_id.as_str());
    put(object, tags::PATIENT_BIRTH_DATE, VR::DA, who.birth_date.as_str());
    put(object, tags::REFERRING_PHYSICIAN_NAME, VR::PN, who.physician.as_str());
    put(object, tags::STUDY_DATE, VR::DA, who.study_date.as_str());
    if header.identity.is_some() {
        put(object, tags::INSTITUTION_NAME, VR::LO, who.institution.as_str());
        put(object, tags::STUDY_DESCRIPTION, VR::LO, who.study_description.as_str());
    } else {
        put(object, tags::PATIENT_IDENTITY_REMOVED, VR::CS, "YES");
        put(object, tags::DEIDENTIFICATION_METHOD, VR::LO, "synthetic, nobody was scanned");
    }
}

/// Where the slice lies: orientation and position, nothing else.
pub(super) fn place(object: &mut InMemDicomObject, grid: &Grid, slice: usize) {
    let steps = grid.steps();
    let unit = |v: Offset| v * (1.0 / v.length_mm());
    let (row, column) = (unit(steps[0]).0, unit(steps[1]).0);
    let cosines: Vec<String> = row.into_iter().chain(column).map(decimal).collect();
    put(object, tags::IMAGE_ORIENTATION_PATIENT, VR::DS, cosines.join("\\"));
    let position = grid.centre_of([0, 0, slice]).0.map(decimal);
    put(object, tags::IMAGE_POSITION_PATIENT, VR::DS, position.join("\\"));
    let spacing = [steps[1].length_mm(), steps[0].length_mm()].map(decimal);
    put(object, tags::PIXEL_SPACING, VR::DS, spacing.join("\\"));
    let normal = Offset(row).cross(Offset(column));
    let thickness = steps[2].dot(normal).abs() * grid.spacing_mm()[2] / steps[2].length_mm();
    put(object, tags::SLICE_THICKNESS, VR::DS, decimal(thickness));
}

/// The voxels and how they are stored.
pub(super) fn pixels(
    object: &mut InMemDicomObject,
    header: &SeriesHeader,
    size: [usize; 3],
    words: Vec<u16>,
) {
    let signed = header.storage == Storage::Signed;
    put_u16(object, tags::SAMPLES_PER_PIXEL, 1);
    put(object, tags::PHOTOMETRIC_INTERPRETATION, VR::CS, "MONOCHROME2");
    put_u16(object, tags::ROWS, size[1] as u16);
    put_u16(object, tags::COLUMNS, size[0] as u16);
    put_u16(object, tags::BITS_ALLOCATED, 16);
    put_u16(object, tags::BITS_STORED, header.storage.bits());
    put_u16(object, tags::HIGH_BIT, header.storage.bits() - 1);
    put_u16(object, tags::PIXEL_REPRESENTATION, u16::from(signed));
    put(object, tags::RESCALE_INTERCEPT, VR::DS, decimal(header.intercept));
    put(object, tags::RESCALE_SLOPE, VR::DS, decimal(header.slope));
    put(object, tags::RESCALE_TYPE, VR::LO, "HU");
    if let Some(padding) = header.padding {
        let (vr, value) = if signed {
            (VR::SS, PrimitiveValue::from(padding as i16))
        } else {
            (VR::US, PrimitiveValue::from(padding as u16))
        };
        object.put(DataElement::new(tags::PIXEL_PADDING_VALUE, vr, value));
    }
    let words = PrimitiveValue::U16(words.into());
    object.put(DataElement::new(tags::PIXEL_DATA, VR::OW, words));
}

/// A decimal string: at most 16 characters, as many digits as fit.
fn decimal(value: f64) -> String {
    (0..=14)
        .rev()
        .map(|digits| format!("{value:.digits$}"))
        .find(|text| text.len() <= 16)
        .map(|text| {
            if text.contains('.') {
                text.trim_end_matches('0').trim_end_matches('.').to_owned()
            } else {
                text
            }
        })
        .filter(|text| !text.is_empty() && text != "-0")
        .unwrap_or_else(|| "0".to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decimals_fit_and_keep_their_digits() {
        assert_eq!(decimal(-0.0), "0");
        assert_eq!(decimal(120.0), "120");
        assert_eq!(decimal(-1024.0), "-1024");
        for value in [0.703_125, -123.456_789_012_345, 1.0 / 3.0, -0.999_999_999_999] {
            let text = decimal(value);
            assert!(text.len() <= 16, "{text}");
            assert!((text.parse::<f64>().expect("a number") - value).abs() < 1e-10);
        }
    }
}
