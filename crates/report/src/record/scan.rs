//! What was measured, with what, on which numbers: scan, bones, parameters.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The program that wrote the report.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Tool {
    /// Its name.
    pub name: String,
    /// Its version.
    pub version: String,
}

/// Where a parameter's value came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum From {
    /// The plan file.
    Plan,
    /// The command line.
    Flag,
    /// The scan.
    Scan,
    /// A default of the program.
    Default,
}

impl From {
    /// The word in files.
    pub fn word(self) -> &'static str {
        match self {
            Self::Plan => "plan",
            Self::Flag => "flag",
            Self::Scan => "scan",
            Self::Default => "default",
        }
    }
}

/// A parameter's value.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Value {
    /// A number; finite.
    Number(f64),
    /// A word.
    Text(String),
}

/// A number or word that the result depends on, and who chose it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Parameter {
    /// Its name, with the stage it belongs to: `policy.margin`.
    pub name: String,
    /// Its value.
    pub value: Value,
    /// Unit of a number: `mm`, `deg`, `HU`, `1`; null for words.
    pub unit: Option<String>,
    /// Who chose it.
    pub from: From,
    /// Reference of a default, or `no source`.
    pub source: String,
}

/// The scan, by what can be known of it without knowing whose it is.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ScanRecord {
    /// SHA-256 over voxels and geometry, 64 hexadecimal digits.
    pub digest: String,
    /// Voxels along columns, rows, slices.
    pub size: [usize; 3],
    /// Distance between neighbouring voxel centres along each, mm; along
    /// slices the mean.
    pub voxel_mm: [f64; 3],
    /// How the lattice lies in the patient, in words: `axial`, `oblique`.
    pub orientation: Option<String>,
    /// Tube voltage, kV.
    pub kvp: Option<f64>,
    /// Factor from bone's Hounsfield units at that voltage to those at 120 kVp,
    /// with its band; null where the voltage is not known or outside 80 to 140.
    pub bone_hu_to_120_kvp: Option<BandRecord>,
    /// Class of the reconstruction kernel: `soft`, `medium`, `sharp`.
    pub kernel: Option<String>,
    /// Nominal slice thickness, mm.
    pub slice_thickness_mm: Option<f64>,
    /// Gantry tilt by geometry, degrees.
    pub tilt_deg: Option<f64>,
    /// Whether slices are unevenly spaced.
    pub uneven: Option<bool>,
    /// Whether the pixels once went through lossy compression.
    pub lossy: Option<bool>,
    /// How the pixels were stored, in words.
    pub syntax: Option<String>,
    /// Whether a contrast agent was given.
    pub contrast: Option<bool>,
    /// Voxels at the largest storable value.
    pub saturated_voxels: Option<u64>,
    /// Voxels of padding.
    pub padding_voxels: Option<u64>,
    /// Largest value the storage can hold, HU.
    pub ceiling_hu: Option<f64>,
}

/// What was taken for bone.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BonesRecord {
    /// Threshold in use, HU.
    pub threshold_hu: f64,
    /// How the envelope was found, in a sentence.
    pub method: String,
    /// The separate bones, by label.
    pub bones: Vec<BoneRecord>,
    /// Volume of metal in the region, mm³.
    pub metal_mm3: Option<f64>,
    /// Volume of cement in the region, mm³.
    pub cement_mm3: Option<f64>,
    /// Share of the region whose numbers are not to be trusted.
    pub untrusted_share: Option<f64>,
    /// The surface written as `bone.stl`.
    pub surface: Option<SurfaceRecord>,
}

/// One bone.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BoneRecord {
    /// Its label, from 1.
    pub label: u8,
    /// Its name, where known.
    pub name: Option<String>,
    /// Volume within the region, mm³.
    pub volume_mm3: Option<f64>,
}

/// A closed surface.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SurfaceRecord {
    /// Vertices.
    pub vertices: usize,
    /// Triangles.
    pub triangles: usize,
    /// Volume enclosed, mm³.
    pub volume_mm3: Option<f64>,
    /// Area, mm².
    pub area_mm2: Option<f64>,
}

/// A number with its band.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BandRecord {
    /// Best value.
    pub estimate: Option<f64>,
    /// Lower end.
    pub low: Option<f64>,
    /// Upper end.
    pub high: Option<f64>,
}

/// How Hounsfield units become density.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CalibrationRecord {
    /// mg/cm³ per HU.
    pub slope: f64,
    /// mg/cm³ at 0 HU.
    pub intercept: f64,
    /// Of what: `HA`, `K2HPO4`.
    pub material: String,
    /// Where it comes from: `plan`, `flag`, `inserts`, `references`, `assumed`.
    pub from: String,
    /// Reference, or what was assumed, in a sentence.
    pub source: String,
    /// Standard error of the density at 123 HU, mg/cm³, where known.
    pub se_mg_cm3: Option<f64>,
    /// Standard error of the slope, mg/cm³ per HU, where known.
    pub slope_se: Option<f64>,
    /// Standard error of the intercept, mg/cm³, where known.
    pub intercept_se: Option<f64>,
    /// Covariance of the two, where known.
    pub covariance: Option<f64>,
}

impl CalibrationRecord {
    /// Standard error of the density of a mean, mg/cm³; `None` where that of the
    /// line is not known.
    pub(crate) fn se_at(&self, mean_hu: f64) -> Option<f64> {
        let (slope_se, intercept_se) = (self.slope_se?, self.intercept_se?);
        let variance =
            (mean_hu * slope_se).powi(2) + intercept_se.powi(2) + 2.0 * mean_hu * self.covariance?;
        Some(variance.max(0.0).sqrt())
    }
}
