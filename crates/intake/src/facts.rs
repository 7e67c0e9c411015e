//! What is known of a scan besides its voxels; nothing of the patient.

use crate::series::KernelClass;

/// Facts of a scan that bear on how far its numbers can be trusted.
#[derive(Clone, Debug, PartialEq)]
pub struct ScanFacts {
    /// Always `CT`; of a `NIfTI` file, by assumption.
    pub modality: &'static str,
    /// Tube voltage, kV, where it is stated and the same for all slices.
    pub kvp: Option<f64>,
    /// How sharp the reconstruction is.
    pub kernel_class: KernelClass,
    /// Nominal thickness of a slice, mm, where stated; never used as spacing.
    pub slice_thickness_mm: Option<f64>,
    /// Angle between the slices' normal and the stack, degrees, from geometry.
    pub tilt_deg: Option<f64>,
    /// Gantry tilt as the header states it, degrees; never used.
    pub tilt_tag_deg: Option<f64>,
    /// Set when values were lost by compression.
    pub lossy: Option<Lossy>,
    /// Whether contrast medium was given; `None` when nothing is stated.
    pub contrast: Option<bool>,
    /// Whether the images are said to be derived from others.
    pub derived: bool,
    /// Whether they are a reformat or otherwise secondary.
    pub reformatted: bool,
    /// Whether they were computed from several tube voltages.
    pub multi_energy: bool,
    /// Number of slices.
    pub slice_count: usize,
    /// Number of files that they come from.
    pub file_count: usize,
    /// Name of the transfer syntax.
    pub syntax: Option<&'static str>,
    /// How the patient lay, as the standard's term, such as `HFS`; for the
    /// reader, since positions are the patient's own already.
    pub patient_position: Option<&'static str>,
    /// `HU` when the header says so; `None` when it leaves it to the default
    /// of CT images, which is HU too.
    pub rescale_type: Option<&'static str>,
    /// Bits that storage uses for a value.
    pub bits_stored: u16,
    /// Largest value, HU; `None` where all is padding.
    pub max_hu: Option<f64>,
    /// Voxels at the largest value that storage or scanner can hold.
    pub saturated_voxels: usize,
    /// Voxels that hold no measurement.
    pub padding_voxels: usize,
    /// Where air was found, HU; `None` when no air is in view.
    pub air_hu: Option<f64>,
    /// Where fat was found, HU; `None` when its peak is not in view.
    pub fat_hu: Option<f64>,
    /// Where muscle was found, HU; `None` when its peak is not in view.
    pub muscle_hu: Option<f64>,
}

/// Loss by compression.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lossy {
    /// Ratio of compression, where stated.
    pub ratio: Option<f64>,
}

impl Default for ScanFacts {
    fn default() -> Self {
        Self {
            modality: "CT",
            kvp: None,
            kernel_class: KernelClass::Unknown,
            slice_thickness_mm: None,
            tilt_deg: None,
            tilt_tag_deg: None,
            lossy: None,
            contrast: None,
            derived: false,
            reformatted: false,
            multi_energy: false,
            slice_count: 0,
            file_count: 0,
            syntax: None,
            patient_position: None,
            rescale_type: None,
            bits_stored: 0,
            max_hu: None,
            saturated_voxels: 0,
            padding_voxels: 0,
            air_hu: None,
            fat_hu: None,
            muscle_hu: None,
        }
    }
}
