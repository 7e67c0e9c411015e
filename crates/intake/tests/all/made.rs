//! Made CT series, written with a DICOM library of others.

use std::path::Path;

use dicom_core::value::DataSetSequence;
use dicom_core::{DataElement, PrimitiveValue, Tag, VR, dicom_value};
use dicom_dictionary_std::tags;
use dicom_object::{FileMetaTableBuilder, InMemDicomObject};
use pilothole_intake::{Intake, Limits, Refusal, open};

pub(crate) const CT: &str = "1.2.840.10008.5.1.4.1.1.2";
pub(crate) const IMPLICIT: &str = "1.2.840.10008.1.2";
pub(crate) const EXPLICIT: &str = "1.2.840.10008.1.2.1";
pub(crate) const DEFLATED: &str = "1.2.840.10008.1.2.1.99";
pub(crate) const BIG_ENDIAN: &str = "1.2.840.10008.1.2.2";

pub(crate) type Object = InMemDicomObject;

/// A change to slice `k` of a series.
pub(crate) type Change = Box<dyn Fn(usize, &mut Object)>;

/// A CT series: air around a body of muscle with a block of bone in it.
pub(crate) struct Series {
    pub columns: u16,
    pub rows: u16,
    pub slices: usize,
    pub origin: [f64; 3],
    /// Row and column cosines.
    pub orientation: [f64; 6],
    /// Between rows, between columns, mm.
    pub spacing: [f64; 2],
    /// From a slice to the next, mm.
    pub step: [f64; 3],
    pub syntax: &'static str,
    pub changes: Vec<Change>,
}

impl Default for Series {
    fn default() -> Self {
        Self {
            columns: 20,
            rows: 16,
            slices: 8,
            origin: [-100.0, 50.0, 300.0],
            orientation: [1.0, 0.0, 0.0, 0.0, 1.0, 0.0],
            spacing: [0.7, 0.8],
            step: [0.0, 0.0, 1.25],
            syntax: EXPLICIT,
            changes: Vec::new(),
        }
    }
}

/// Hounsfield units at a voxel.
pub(crate) fn hu(column: usize, row: usize, slice: usize) -> i16 {
    match (column, row) {
        (0..3 | 17.., _) | (_, 0..2 | 14..) => -1000,
        (8..12, 6..10) => 700 + slice as i16 + 10 * (column as i16),
        _ => 40 + (column % 2) as i16,
    }
}

impl Series {
    pub(crate) fn with(mut self, change: impl Fn(usize, &mut Object) + 'static) -> Self {
        self.changes.push(Box::new(change));
        self
    }

    /// The object of slice `k`.
    pub(crate) fn object(&self, k: usize) -> Object {
        let mut object = Object::new_empty();
        let position: [f64; 3] = std::array::from_fn(|a| self.origin[a] + k as f64 * self.step[a]);
        text(&mut object, tags::SOP_CLASS_UID, VR::UI, CT);
        text(&mut object, tags::SOP_INSTANCE_UID, VR::UI, &format!("2.25.7{k}"));
        text(&mut object, tags::MODALITY, VR::CS, "CT");
        text(&mut object, tags::IMAGE_TYPE, VR::CS, "ORIGINAL\\PRIMARY\\AXIAL");
        text(&mut object, tags::SERIES_INSTANCE_UID, VR::UI, "2.25.1");
        text(&mut object, tags::STUDY_INSTANCE_UID, VR::UI, "2.25.2");
        text(&mut object, tags::FRAME_OF_REFERENCE_UID, VR::UI, "2.25.3");
        text(&mut object, tags::SERIES_NUMBER, VR::IS, "4");
        text(&mut object, tags::INSTANCE_NUMBER, VR::IS, &(k + 1).to_string());
        text(&mut object, tags::KVP, VR::DS, "120");
        text(&mut object, tags::SLICE_THICKNESS, VR::DS, "1.25");
        text(&mut object, tags::CONVOLUTION_KERNEL, VR::SH, "STANDARD");
        text(&mut object, tags::IMAGE_POSITION_PATIENT, VR::DS, &decimals(&position));
        text(&mut object, tags::IMAGE_ORIENTATION_PATIENT, VR::DS, &decimals(&self.orientation));
        text(&mut object, tags::PIXEL_SPACING, VR::DS, &decimals(&self.spacing));
        text(&mut object, tags::RESCALE_INTERCEPT, VR::DS, "-1024");
        text(&mut object, tags::RESCALE_SLOPE, VR::DS, "1");
        text(&mut object, tags::PHOTOMETRIC_INTERPRETATION, VR::CS, "MONOCHROME2");
        number(&mut object, tags::SAMPLES_PER_PIXEL, 1);
        number(&mut object, tags::ROWS, self.rows);
        number(&mut object, tags::COLUMNS, self.columns);
        number(&mut object, tags::BITS_ALLOCATED, 16);
        number(&mut object, tags::BITS_STORED, 12);
        number(&mut object, tags::HIGH_BIT, 11);
        number(&mut object, tags::PIXEL_REPRESENTATION, 0);
        words(&mut object, &self.stored(k));
        for change in &self.changes {
            change(k, &mut object);
        }
        object
    }

    /// Stored values of slice `k`.
    pub(crate) fn stored(&self, k: usize) -> Vec<u16> {
        let (columns, rows) = (usize::from(self.columns), usize::from(self.rows));
        (0..columns * rows).map(|at| (hu(at % columns, at / columns, k) + 1024) as u16).collect()
    }

    /// The bytes of slice `k`'s file.
    pub(crate) fn file(&self, k: usize) -> Vec<u8> {
        bytes(self.object(k), self.syntax)
    }

    /// Write one file a slice.
    pub(crate) fn write(&self, folder: &Path) {
        for k in 0..self.slices {
            std::fs::write(folder.join(format!("s{k:03}.dcm")), self.file(k)).expect("writes");
        }
    }

    /// Write into a fresh folder, and read what is there.
    pub(crate) fn read(&self) -> Result<Intake, Refusal> {
        let folder = tempfile::tempdir().expect("a folder");
        self.write(folder.path());
        read(folder.path())
    }

    /// The code of the first reason of its refusal.
    pub(crate) fn refused(&self) -> &'static str {
        code(self.read())
    }
}

/// Open and read with the default limits.
pub(crate) fn read(path: &Path) -> Result<Intake, Refusal> {
    let limits = Limits::default();
    open(path, &limits)?.read(None, &limits)
}

/// The code of the first reason of a refusal.
pub(crate) fn code(read: Result<Intake, Refusal>) -> &'static str {
    let refusal = read.expect_err("a refusal");
    refusal.first().expect("a refusal has a reason").code
}

/// Whether a scan carries a finding.
pub(crate) fn has(intake: &Intake, code: &str) -> bool {
    intake.findings.iter().any(|finding| finding.code == code)
}

/// An object as the bytes of a file.
pub(crate) fn bytes(object: Object, syntax: &str) -> Vec<u8> {
    let meta = FileMetaTableBuilder::new()
        .transfer_syntax(syntax)
        .media_storage_sop_class_uid(CT)
        .media_storage_sop_instance_uid("2.25.7");
    let mut out = Vec::new();
    object.with_meta(meta).expect("complete").write_all(&mut out).expect("writes");
    out
}

pub(crate) fn text(object: &mut Object, tag: Tag, vr: VR, value: &str) {
    object.put(DataElement::new(tag, vr, PrimitiveValue::from(value)));
}

pub(crate) fn number(object: &mut Object, tag: Tag, value: u16) {
    object.put(DataElement::new(tag, VR::US, dicom_value!(U16, [value])));
}

pub(crate) fn words(object: &mut Object, stored: &[u16]) {
    let value = PrimitiveValue::U16(stored.iter().copied().collect());
    object.put(DataElement::new(tags::PIXEL_DATA, VR::OW, value));
}

pub(crate) fn sequence(object: &mut Object, tag: Tag, items: Vec<Object>) {
    object.put(DataElement::new(tag, VR::SQ, DataSetSequence::from(items)));
}

pub(crate) fn remove(object: &mut Object, tag: Tag) {
    assert!(object.remove_element(tag), "the element was there");
}

pub(crate) fn decimals(values: &[f64]) -> String {
    // A decimal string has 16 characters at most.
    let one = |v: &f64| {
        let mut text = format!("{v:.12}");
        text.truncate(16);
        text
    };
    values.iter().map(one).collect::<Vec<_>>().join("\\")
}
