//! What is asked of the bone stage: threshold, metal, and what is known of the hips.

use pilothole_volume::PatientPoint;

/// Lower threshold of bone, HU: 226, the common default of segmentation tools.
///
/// It equals about 136 mg HA/cm³ in water at 60 keV. Raising it opens porous
/// cortices; lowering it below about 180 lets contrast-filled vessels in.
pub const BONE_THRESHOLD_HU: f64 = 226.0;

/// Least HU of metal: 2500, no source.
///
/// Dense cortex stays below 2100 HU at any usual tube voltage and titanium
/// starts near 5000, so anything between separates them; metal smaller than a
/// voxel falls below and is missed.
pub const METAL_HU: f64 = 2500.0;

/// Least width of the artefact zone around metal, mm: 5, own choice.
///
/// No exclusion distance is published; wider zones are found from the data.
pub const METAL_MARGIN_MM: f64 = 5.0;

/// What is asked of the bone stage.
#[derive(Clone, Debug, PartialEq)]
pub struct BoneParams {
    /// Lower threshold of bone, HU; 100 to 1000.
    pub threshold_hu: f64,
    /// Least HU of metal; above the threshold, at most 3071.
    pub metal_hu: f64,
    /// Least width of the artefact zone around metal, mm; 0 to 50.
    pub metal_margin_mm: f64,
    /// What is known of the hips and of the bones' places.
    pub hips: HipHints,
}

impl Default for BoneParams {
    /// [`BONE_THRESHOLD_HU`], [`METAL_HU`], [`METAL_MARGIN_MM`], no hints.
    fn default() -> Self {
        Self {
            threshold_hu: BONE_THRESHOLD_HU,
            metal_hu: METAL_HU,
            metal_margin_mm: METAL_MARGIN_MM,
            hips: HipHints::default(),
        }
    }
}

/// What is known of the hips before the scan is read.
///
/// Without hints, bones are told apart only where no bright voxel joins them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct HipHints {
    /// Hip centres.
    pub hips: Vec<HipHint>,
    /// Points that are known to lie in, or within 6 mm of, a bone.
    pub points: Vec<KnownPoint>,
}

/// One hip joint.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HipHint {
    /// Which hip.
    pub side: Side,
    /// Centre of the joint, or of the planned component; good to about 6 mm.
    pub centre: PatientPoint,
    /// Radius of the joint, mm, where known; otherwise found, 19 to 31 mm.
    pub radius_mm: Option<f64>,
}

/// A point that is known to lie in a bone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KnownPoint {
    /// Where.
    pub at: PatientPoint,
    /// Which bone.
    pub bone: BoneName,
}

/// A side of the patient.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Side {
    /// The patient's left.
    Left,
    /// The patient's right.
    Right,
}

impl Side {
    /// Sign of the lateral direction along the patient's left axis.
    pub(crate) fn lateral(self) -> f64 {
        match self {
            Self::Left => 1.0,
            Self::Right => -1.0,
        }
    }

    pub(crate) fn hip(self) -> BoneName {
        match self {
            Self::Left => BoneName::HipLeft,
            Self::Right => BoneName::HipRight,
        }
    }

    pub(crate) fn femur(self) -> BoneName {
        match self {
            Self::Left => BoneName::FemurLeft,
            Self::Right => BoneName::FemurRight,
        }
    }
}

/// A bone around the hip.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[non_exhaustive]
pub enum BoneName {
    /// Left hip bone (ilium, ischium, pubis).
    HipLeft,
    /// Right hip bone.
    HipRight,
    /// Sacrum.
    Sacrum,
    /// Left femur.
    FemurLeft,
    /// Right femur.
    FemurRight,
}

impl BoneName {
    /// Whether it is a femur.
    pub fn is_femur(self) -> bool {
        matches!(self, Self::FemurLeft | Self::FemurRight)
    }

    /// Stable lower-case name for files: `hip-left`, `hip-right`, `sacrum`,
    /// `femur-left`, `femur-right`.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::HipLeft => "hip-left",
            Self::HipRight => "hip-right",
            Self::Sacrum => "sacrum",
            Self::FemurLeft => "femur-left",
            Self::FemurRight => "femur-right",
        }
    }
}
