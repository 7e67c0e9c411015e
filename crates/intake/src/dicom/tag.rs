//! Attribute tags by name, and what the dictionary says about the others.

use dicom_core::dictionary::{DataDictionary, DataDictionaryEntry, VirtualVr};
use dicom_core::{Tag as CoreTag, VR};
use dicom_dictionary_std::StandardDataDictionary;

/// Group and element of an attribute.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Tag(pub u16, pub u16);

impl Tag {
    /// Whether a vendor defined it.
    pub(crate) fn is_private(self) -> bool {
        self.0 % 2 == 1
    }

    /// Value representation by the standard's dictionary; `UN` when unknown.
    pub(crate) fn dictionary_vr(self) -> [u8; 2] {
        let entry = StandardDataDictionary.by_tag(CoreTag(self.0, self.1));
        match entry.map(DataDictionaryEntry::vr) {
            Some(VirtualVr::Exact(VR::SQ)) => *b"SQ",
            Some(VirtualVr::Exact(vr)) => vr.to_bytes(),
            Some(VirtualVr::Xs) => *b"US",
            Some(_) => *b"OW",
            None => *b"UN",
        }
    }
}

macro_rules! tags {
    ($($name:ident = $group:literal, $element:literal;)*) => {
        impl Tag { $(pub(crate) const $name: Self = Self($group, $element);)* }
    };
}

tags! {
    TRANSFER_SYNTAX_UID = 0x0002, 0x0010;
    MEDIA_STORAGE_SOP_CLASS_UID = 0x0002, 0x0002;
    IMAGE_TYPE = 0x0008, 0x0008;
    SOP_CLASS_UID = 0x0008, 0x0016;
    SOP_INSTANCE_UID = 0x0008, 0x0018;
    ACQUISITION_DATE_TIME = 0x0008, 0x002A;
    ACQUISITION_TIME = 0x0008, 0x0032;
    MODALITY = 0x0008, 0x0060;
    FRAME_TYPE = 0x0008, 0x9007;
    PATIENT_IDENTITY_REMOVED = 0x0012, 0x0062;
    CONTRAST_BOLUS_AGENT = 0x0018, 0x0010;
    CONTRAST_BOLUS_AGENT_SEQUENCE = 0x0018, 0x0012;
    SLICE_THICKNESS = 0x0018, 0x0050;
    KVP = 0x0018, 0x0060;
    CONTRAST_BOLUS_ROUTE = 0x0018, 0x1040;
    RECONSTRUCTION_DIAMETER = 0x0018, 0x1100;
    GANTRY_DETECTOR_TILT = 0x0018, 0x1120;
    FILTER_TYPE = 0x0018, 0x1160;
    CONVOLUTION_KERNEL = 0x0018, 0x1210;
    PATIENT_POSITION = 0x0018, 0x5100;
    CT_RECONSTRUCTION_SEQUENCE = 0x0018, 0x9314;
    CT_X_RAY_DETAILS_SEQUENCE = 0x0018, 0x9325;
    CT_IMAGE_FRAME_TYPE_SEQUENCE = 0x0018, 0x9329;
    CONTRAST_BOLUS_USAGE_SEQUENCE = 0x0018, 0x9341;
    MULTIENERGY_CT_ACQUISITION = 0x0018, 0x9361;
    SERIES_INSTANCE_UID = 0x0020, 0x000E;
    SERIES_NUMBER = 0x0020, 0x0011;
    ACQUISITION_NUMBER = 0x0020, 0x0012;
    IMAGE_POSITION_PATIENT = 0x0020, 0x0032;
    IMAGE_ORIENTATION_PATIENT = 0x0020, 0x0037;
    FRAME_OF_REFERENCE_UID = 0x0020, 0x0052;
    TEMPORAL_POSITION_IDENTIFIER = 0x0020, 0x0100;
    STACK_ID = 0x0020, 0x9056;
    FRAME_CONTENT_SEQUENCE = 0x0020, 0x9111;
    PLANE_POSITION_SEQUENCE = 0x0020, 0x9113;
    PLANE_ORIENTATION_SEQUENCE = 0x0020, 0x9116;
    TEMPORAL_POSITION_INDEX = 0x0020, 0x9128;
    SAMPLES_PER_PIXEL = 0x0028, 0x0002;
    PHOTOMETRIC_INTERPRETATION = 0x0028, 0x0004;
    NUMBER_OF_FRAMES = 0x0028, 0x0008;
    ROWS = 0x0028, 0x0010;
    COLUMNS = 0x0028, 0x0011;
    PIXEL_SPACING = 0x0028, 0x0030;
    BITS_ALLOCATED = 0x0028, 0x0100;
    BITS_STORED = 0x0028, 0x0101;
    HIGH_BIT = 0x0028, 0x0102;
    PIXEL_REPRESENTATION = 0x0028, 0x0103;
    PIXEL_PADDING_VALUE = 0x0028, 0x0120;
    PIXEL_PADDING_RANGE_LIMIT = 0x0028, 0x0121;
    BURNED_IN_ANNOTATION = 0x0028, 0x0301;
    RESCALE_INTERCEPT = 0x0028, 0x1052;
    RESCALE_SLOPE = 0x0028, 0x1053;
    RESCALE_TYPE = 0x0028, 0x1054;
    LOSSY_IMAGE_COMPRESSION = 0x0028, 0x2110;
    LOSSY_IMAGE_COMPRESSION_RATIO = 0x0028, 0x2112;
    PIXEL_MEASURES_SEQUENCE = 0x0028, 0x9110;
    PIXEL_VALUE_TRANSFORMATION_SEQUENCE = 0x0028, 0x9145;
    SHARED_FUNCTIONAL_GROUPS_SEQUENCE = 0x5200, 0x9229;
    PER_FRAME_FUNCTIONAL_GROUPS_SEQUENCE = 0x5200, 0x9230;
    FLOAT_PIXEL_DATA = 0x7FE0, 0x0008;
    DOUBLE_FLOAT_PIXEL_DATA = 0x7FE0, 0x0009;
    PIXEL_DATA = 0x7FE0, 0x0010;
    ITEM = 0xFFFE, 0xE000;
    ITEM_DELIMITATION = 0xFFFE, 0xE00D;
    SEQUENCE_DELIMITATION = 0xFFFE, 0xE0DD;
}
