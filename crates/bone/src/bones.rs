//! The bones of a region: labels, surface field, metal, and what to know of them.

use pilothole_volume::{Field, Grid, Labels, Mask, PatientPoint, Region, nearest_voxel};
use rayon::prelude::*;

use crate::edge::FIELD_LIMIT_MM;
use crate::params::{BoneName, Side};
use crate::sacroiliac::Sacroiliac;

/// Bones of a region of a scan.
///
/// Invariant: all masks, `labels` and `field` share `grid`; the field is
/// positive exactly where the label is not 0.
#[derive(Clone, Debug)]
pub struct Bones {
    /// The region, in voxels of the scan.
    pub region: Region,
    /// Where the region's voxels lie.
    pub grid: Grid,
    /// 0 outside the envelope, else the label of the bone.
    pub labels: Labels,
    /// Depth below the nearest bone's surface, mm; negative outside, held to
    /// ±2 mm. Zero where the envelope's surface is.
    pub field: Field,
    /// One record a bone, in the order of the labels from 1.
    pub records: Vec<BoneRecord>,
    /// Metal.
    pub metal: Mask,
    /// Voxels at the ceiling of the scan's storage: their HU are a lower bound.
    pub saturated: Mask,
    /// Where HU are not to be trusted because of metal.
    pub artefact: Mask,
    /// The threshold used, HU.
    pub threshold_hu: f64,
    /// The hip joints that were looked for.
    pub joints: Vec<JointRecord>,
    /// Reservations, in the order in which they were found.
    pub findings: Vec<BoneFinding>,
}

/// One bone of a region.
#[derive(Clone, Debug, PartialEq)]
pub struct BoneRecord {
    /// Its label, from 1.
    pub label: u8,
    /// Which bone, where a hint tells.
    pub name: Option<BoneName>,
    /// Voxels inside its envelope.
    pub voxel_count: usize,
    /// Their volume, mm³; of the part of the bone in the region.
    pub volume_mm3: f64,
    /// Share of the envelope below the threshold: what thresholding loses.
    pub below_threshold_fraction: f64,
    /// Labels of bones with voxels beside this one's.
    pub touches: Vec<u8>,
    /// First voxel of its box, and first voxel beyond it, in the region.
    pub bounds: [[usize; 3]; 2],
    /// Whether the bone goes on beyond the region or the scan.
    pub cut: bool,
}

/// A hip joint that was looked for.
#[derive(Clone, Debug, PartialEq)]
pub struct JointRecord {
    /// Which hip.
    pub side: Side,
    /// Centre of the sphere through the joint.
    pub centre: PatientPoint,
    /// Its radius, mm, from the centre to the middle of the joint space.
    pub radius_mm: f64,
    /// Whether a femoral head was seen.
    pub head: bool,
    /// Share of the directions away from the neck in which the joint showed
    /// as a valley of 30 HU or more; the rest follows the sheet's stiffness.
    pub seen_fraction: f64,
    /// Share of the sacroiliac net in which that joint showed; `None` where the
    /// region does not reach it or it does not show, then the border
    /// between sacrum and hip bone is a guess.
    pub sacroiliac_fraction: Option<f64>,
}

impl JointRecord {
    /// Whether a point lies where the border between hip bone and sacrum is a
    /// guess: the sacroiliac joint of this side was not found, and the point lies
    /// where it may be or medial of that.
    pub fn border_is_guessed_at(&self, at: PatientPoint) -> bool {
        self.sacroiliac_fraction.is_none() && Sacroiliac::may_hold(self.side, self.centre, at)
    }
}

/// A result that holds, with a reservation.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum BoneFinding {
    /// Voxels of the region hold no measurement and count as outside.
    NotMeasured {
        /// Their share of the region.
        fraction: f64,
    },
    /// A hip centre that was given lies outside the region or the scan.
    HipOutside {
        /// Which hip.
        side: Side,
    },
    /// No femoral head fills the joint; the femur near it may be missing.
    NoHead {
        /// Which hip.
        side: Side,
    },
    /// The joint space shows in few directions; the border between femur and
    /// hip bone follows a stiff sheet there.
    JointNotResolved {
        /// Which hip.
        side: Side,
        /// Share of directions in which it shows.
        seen_fraction: f64,
        /// Share below which this is said.
        limit: f64,
    },
    /// Beside metal the middle of the joint follows the hint more than the scan.
    JointDoubtful {
        /// Which hip.
        side: Side,
        /// How far from it hints 4 mm beside the one given lead, mm.
        apart_mm: f64,
        /// Distance above which this is said, mm.
        limit_mm: f64,
    },
    /// What bears the sacrum's name is more: the lumbar spine is not told from it.
    SpineInSacrum {
        /// How far above the higher hip centre it reaches, mm.
        above_mm: f64,
        /// How far a sacrum reaches, mm.
        limit_mm: f64,
    },
    /// The sacroiliac joint does not show, or the region does not reach it; the
    /// border between sacrum and hip bone there is a guess.
    SacroiliacNotResolved {
        /// Side of the joint.
        side: Side,
    },
    /// Two bones lie against each other without outside between them.
    Touching {
        /// Lower label.
        label: u8,
        /// Higher label.
        other: u8,
        /// Faces of voxels that they share, mm².
        area_mm2: f64,
    },
    /// Bright bodies were left out: solid, even and never as dense as cortex,
    /// as vessels and bowel with contrast are.
    LeftOut {
        /// How many.
        count: usize,
        /// Their volume, mm³.
        volume_mm3: f64,
        /// A voxel of the largest.
        at: PatientPoint,
    },
    /// A dark sheet between two walls back to back, open to the outside, was
    /// counted as outside: a gap between fragments, or a joint of its own.
    Gap {
        /// Volume of its dark part, mm³.
        volume_mm3: f64,
        /// A voxel in its middle.
        at: PatientPoint,
    },
    /// Voxels at the storage ceiling.
    Saturated {
        /// How many.
        count: usize,
    },
    /// Metal in the region.
    Metal {
        /// Its volume, mm³.
        volume_mm3: f64,
        /// Volume of the artefact zone, metal included, mm³.
        artefact_mm3: f64,
    },
    /// The longest voxel edge is above the limit: a thin cortex is not resolved.
    Coarse {
        /// Longest edge, mm.
        edge_mm: f64,
        /// Limit, mm.
        limit_mm: f64,
    },
    /// Part of the surface shows no cortex and lies midway between voxels.
    NoCortex {
        /// Share of the surface's voxel faces.
        fraction: f64,
    },
}

impl BoneFinding {
    /// Stable code.
    pub fn code(&self) -> &'static str {
        match self {
            Self::NotMeasured { .. } => "bone.not_measured",
            Self::HipOutside { .. } => "bone.hip_outside",
            Self::NoHead { .. } => "bone.no_head",
            Self::JointNotResolved { .. } => "bone.joint_unresolved",
            Self::JointDoubtful { .. } => "bone.joint_doubtful",
            Self::SpineInSacrum { .. } => "bone.spine_in_sacrum",
            Self::SacroiliacNotResolved { .. } => "bone.sacroiliac_unresolved",
            Self::Touching { .. } => "bone.touching",
            Self::LeftOut { .. } => "bone.left_out",
            Self::Gap { .. } => "bone.gap",
            Self::Saturated { .. } => "pixels.saturated",
            Self::Metal { .. } => "metal.near",
            Self::Coarse { .. } => "voxel.coarse",
            Self::NoCortex { .. } => "bone.no_cortex",
        }
    }
}

impl Bones {
    /// Label of the voxel that holds a point; `None` outside the region.
    pub fn label_at(&self, at: PatientPoint) -> Option<u8> {
        nearest_voxel(&self.grid, at).map(|index| self.labels.at(index))
    }

    /// Whether the HU at a point can be trusted: inside the region, outside
    /// metal, artefact zone and saturated voxels.
    pub fn is_trusted(&self, at: PatientPoint) -> bool {
        nearest_voxel(&self.grid, at).is_some_and(|index| {
            !(self.metal.has(index) || self.saturated.has(index) || self.artefact.has(index))
        })
    }

    /// The record of a named bone; `None` where it was not found.
    pub fn named(&self, name: BoneName) -> Option<&BoneRecord> {
        self.records.iter().find(|record| record.name == Some(name))
    }

    /// The field of one bone, mm: voxels of other bones are outside, the
    /// border between two bones lies midway between their voxels.
    #[expect(clippy::missing_panics_doc, reason = "one value a voxel by construction")]
    pub fn field_of(&self, label: u8) -> Field {
        let labels = self.labels.values();
        let values = (0..labels.len()).into_par_iter().map(|at| {
            let inside = labels[at] == label;
            let free = inside || labels[at] == 0;
            let here = if free { self.field.at(at).abs() } else { FIELD_LIMIT_MM };
            let depth = here.min(self.half_way(at, label));
            if inside { depth } else { -depth }
        });
        Field::new(self.grid.clone(), values.collect()).expect("one value a voxel")
    }

    /// Distance, mm, from a voxel to the border midway between it and voxels
    /// of another bone, of which one is `label`; infinite without.
    fn half_way(&self, at: usize, label: u8) -> f32 {
        let size = self.labels.size();
        let labels = self.labels.values();
        let spacing = self.grid.spacing_mm();
        let index = [at % size[0], at / size[0] % size[1], at / (size[0] * size[1])];
        let own = labels[at];
        let meets =
            |other: u8| own != 0 && other != 0 && own != other && (own == label || other == label);
        let mut inverse_squares = 0.0_f64;
        for axis in 0..3 {
            let stride: usize = size[..axis].iter().product();
            let below = index[axis] > 0 && meets(labels[at - stride]);
            let above = index[axis] + 1 < size[axis] && meets(labels[at + stride]);
            if below || above {
                inverse_squares += 4.0 / (spacing[axis] * spacing[axis]);
            }
        }
        (1.0 / inverse_squares.sqrt()) as f32
    }
}
