//! The checked plan: patient space LPS, mm, radians, every number finite.

use pilothole_volume::{Direction, PatientPoint};

use crate::check;
use crate::landmark::{Landmark, LandmarkName, Side};
use crate::problem::{Format, PlanRefusal};
use crate::screw::Screw;
use crate::tree::Node;
use crate::write;

/// A value, and where it came from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Resolved<T> {
    /// The value in use.
    pub value: T,
    /// Who said so.
    pub from: Origin,
}

/// Where a resolved value came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// The plan file.
    Plan,
    /// A default, with its source or "no source".
    Default(&'static str),
}

/// What is proposed for one hip.
///
/// Made only by [`Plan::parse`]; its fields may be read, and changed in a copy.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Plan {
    /// The operated hip.
    pub side: Side,
    /// The socket of the component.
    pub socket: Socket,
    /// What is wanted of a screw.
    pub policy: Policy,
    /// What the plan says of the bone.
    pub bone: BoneWishes,
    /// What limits a drill outside the bone.
    pub approach: Option<Approach>,
    /// The component's own shape.
    pub component: Option<Component>,
    /// The guide's sleeves.
    pub guide: Guide,
    /// How HU become density in this scan.
    pub calibration: Option<Calibration>,
    /// The load of the hip.
    pub load: Option<Load>,
    /// The screws of the holes and those the plan states, each once, in order
    /// of first mention; [`Hole::screw`] counts in it.
    pub screws: Vec<Screw>,
    /// The holes, in the plan's order; may be empty.
    pub holes: Vec<Hole>,
    /// The surgeon's own order of filling, as positions in [`Plan::holes`];
    /// holds every hole once. `None` when the plan states none.
    pub order: Option<Vec<usize>>,
    /// Patches of a flange on which seats may be looked for.
    pub patches: Vec<Patch>,
    /// Named points; no name twice.
    pub landmarks: Vec<Landmark>,
}

impl Plan {
    /// The value of `schema` in a plan file.
    pub const SCHEMA: &'static str = "pilothole/plan/1";

    /// Most bytes of a plan file; a plan of 512 holes takes a tenth of it.
    pub const MAX_BYTES: usize = 4 << 20;

    /// Largest difference from 1 of a direction's length.
    ///
    /// Three decimals an axis are off by less; a vector that was never
    /// normalised is off by more.
    pub const UNIT_TOLERANCE: f64 = 1e-3;

    /// Read and check a plan.
    ///
    /// Right-anterior-superior coordinates are turned to LPS; directions are
    /// made exactly unit; what was left out is resolved and marked so.
    ///
    /// # Errors
    ///
    /// [`PlanRefusal`] with everything that is wrong: with the file's shape
    /// (fields, kinds, ranges), and with the sense of every part that is well
    /// shaped. Wrong syntax hides both.
    pub fn parse(text: &str, format: Format) -> Result<Self, PlanRefusal> {
        check::plan_from_tree(&Node::parse(text, format)?)
    }

    /// The complete plan as TOML, LPS, every number resolved; where a number
    /// is a default, a comment names its source. Reading it gives this plan.
    pub fn resolved_toml(&self) -> String {
        write::plan_to_toml(self)
    }

    /// The screw of a hole.
    ///
    /// # Panics
    ///
    /// When the hole is of another plan and its screw is not in this one.
    pub fn screw_of(&self, hole: &Hole) -> &Screw {
        &self.screws[hole.screw]
    }

    /// Where a landmark lies, if the plan names it.
    pub fn landmark(&self, name: LandmarkName) -> Option<PatientPoint> {
        self.landmarks.iter().find(|l| l.name == name).map(|l| l.at)
    }
}

/// The socket of the component.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Socket {
    /// Planned hip centre.
    pub centre: PatientPoint,
    /// Out of the socket's mouth.
    pub axis: Direction,
    /// Outer diameter, mm, 20 to 120.
    pub outer_diameter_mm: f64,
}

/// What becomes of the far cortex.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FarCortex {
    /// The tip stays before it.
    StopShort,
    /// The tip passes it.
    Engage,
}

impl FarCortex {
    /// The word in files.
    pub fn word(self) -> &'static str {
        match self {
            Self::StopShort => "stop-short",
            Self::Engage => "engage",
        }
    }
}

/// What is wanted of a screw.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Policy {
    /// What becomes of the far cortex.
    pub far_cortex: Resolved<FarCortex>,
    /// Kept before the far cortex, or allowed beyond it, mm, 0 to 20.
    pub margin_mm: Resolved<f64>,
    /// Bone wanted around the screw, mm, 0 to 20.
    pub side_margin_mm: Resolved<f64>,
    /// Wanted between the surfaces of two screws, mm, 0 to 50.
    pub screw_gap_mm: Resolved<f64>,
}

/// What the plan says of the bone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BoneWishes {
    /// Threshold of bone, HU, -200 to 3000.
    pub threshold_hu: Option<f64>,
}

/// What limits a drill outside the bone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Approach {
    /// Out of the wound.
    pub axis: Direction,
    /// Half-angle of the cone about the axis, rad, above 0 to π/2.
    pub half_angle_rad: f64,
    /// Length of the drill behind its tip, mm.
    pub drill_length_mm: f64,
    /// Radius of what travels behind the bit (sleeve, chuck), mm.
    pub drill_radius_mm: f64,
}

/// The component's own shape.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Component {
    /// The mesh's file (mm, same frame), relative to the plan file; as text,
    /// not yet a path.
    pub mesh: String,
}

/// The sleeves of a drill guide.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Guide {
    /// Outer radius of a sleeve, mm.
    pub sleeve_radius_mm: Resolved<f64>,
    /// Length of a sleeve, mm.
    pub sleeve_length_mm: Resolved<f64>,
    /// Difference of the diameters of sleeve and bit, mm.
    pub clearance_mm: Resolved<f64>,
}

/// What a density phantom is made of; the two are never mixed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CalibrationMaterial {
    /// Hydroxyapatite.
    Ha,
    /// Dipotassium phosphate.
    K2hpo4,
}

impl CalibrationMaterial {
    /// The word in files.
    pub fn word(self) -> &'static str {
        match self {
            Self::Ha => "HA",
            Self::K2hpo4 => "K2HPO4",
        }
    }
}

/// How HU become density in this scan.
#[derive(Clone, Debug, PartialEq)]
pub enum Calibration {
    /// Density is `slope * HU + intercept`, mg/cm³.
    Line {
        /// Of what.
        material: CalibrationMaterial,
        /// mg/cm³ per HU, above 0.
        slope: f64,
        /// mg/cm³ at 0 HU.
        intercept: f64,
    },
    /// Inserts of known density in the scan; two or more.
    Inserts {
        /// Of what.
        material: CalibrationMaterial,
        /// Where, and how dense.
        inserts: Vec<Insert>,
    },
}

/// A piece of known density in the scan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Insert {
    /// Its centre.
    pub at: PatientPoint,
    /// Density, mg/cm³ of the calibration's material.
    pub density_mg_cm3: f64,
    /// Radius within which it is uniform, mm; `None` when not stated.
    pub radius_mm: Option<f64>,
}

/// The load of the hip.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Load {
    /// Body mass, kg, 10 to 400.
    pub body_mass_kg: f64,
    /// Whether the part may press on bone (compression only), beside its screws.
    pub bone_contact: bool,
}

/// Which part of the component a hole belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Zone {
    /// The hemispherical part.
    Cup,
    /// A flange outside it.
    Flange,
}

impl Zone {
    /// The word in files.
    pub fn word(self) -> &'static str {
        match self {
            Self::Cup => "cup",
            Self::Flange => "flange",
        }
    }
}

/// The bone that a hole is meant for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum BoneRegion {
    /// Ilium.
    Ilium,
    /// Ischium.
    Ischium,
    /// Pubis.
    Pubis,
}

impl BoneRegion {
    /// The word in files.
    pub fn word(self) -> &'static str {
        match self {
            Self::Ilium => "ilium",
            Self::Ischium => "ischium",
            Self::Pubis => "pubis",
        }
    }
}

/// A hole of the component, and the screw meant for it.
#[derive(Clone, Debug, PartialEq)]
pub struct Hole {
    /// Free text, unique in the plan: 1 to 64 characters, no control
    /// characters. Not escaped; whoever shows it does that.
    pub id: String,
    /// Which part of the component.
    pub zone: Zone,
    /// The bone meant.
    pub region: Option<BoneRegion>,
    /// Where the underside of the head seats.
    pub seat: PatientPoint,
    /// Into bone.
    pub direction: Direction,
    /// Position of its screw in [`Plan::screws`].
    pub screw: usize,
    /// Planned length, seat to tip, mm.
    pub length_mm: Option<f64>,
    /// Half-angle allowed about the direction, rad, 0 to below π/2; 0 is fixed.
    pub swivel_rad: f64,
    /// How far the seat may be moved on its surface, mm.
    pub seat_shift_mm: Option<f64>,
}

impl Hole {
    /// The stream of random draws that belongs to it: a hash of its id, so that
    /// draws follow the hole wherever it stands in the plan.
    ///
    /// # References
    ///
    /// Fowler, Noll, Vo 1991: FNV-1a, 64 bits.
    pub fn stream(&self) -> u64 {
        const BASIS: u64 = 0xcbf2_9ce4_8422_2325;
        const PRIME: u64 = 0x0100_0000_01b3;
        self.id.bytes().fold(BASIS, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(PRIME))
    }
}

/// A round patch of a flange on which seats may be looked for.
#[derive(Clone, Debug, PartialEq)]
pub struct Patch {
    /// Free text, unique among the patches; as [`Hole::id`].
    pub id: String,
    /// Its centre.
    pub centre: PatientPoint,
    /// Into bone, across the patch.
    pub direction: Direction,
    /// Radius, mm, above 0 to 60.
    pub radius_mm: f64,
}
