//! Room between screws, and the way of a drill.

use pilothole_volume::{Direction, PatientPoint};

/// Two screws, and the room between their surfaces.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Clash {
    /// The first hole.
    pub a: usize,
    /// The second hole, after the first in the plan.
    pub b: usize,
    /// Least distance between the two surfaces, mm; negative when they
    /// overlap: then the shortest shift that parts them.
    pub gap_mm: f64,
    /// Where, on the first screw's axis, mm from its seat; negative before the
    /// seat, in its head. Where they overlap: where the axes are nearest.
    pub at_a_mm: f64,
    /// Where, on the second screw's axis, mm from its seat.
    pub at_b_mm: f64,
    /// Midway between the two nearest points, of the surfaces or, where they
    /// overlap, of the axes.
    pub at: PatientPoint,
}

/// A screw near metal that is in the scan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MetalNear {
    /// The hole.
    pub hole: usize,
    /// Distance from the screw's surface to the nearest metal voxel's centre,
    /// mm; negative inside the screw. True to about half a voxel.
    pub gap_mm: f64,
    /// Where, on the screw's axis, mm from the seat; negative in the head.
    pub at_mm: f64,
    /// The metal voxel's centre.
    pub at: PatientPoint,
}

/// What can stand in a drill's way.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Obstacle {
    /// Bone of those that the holes enter.
    Bone,
    /// The component itself.
    Rim,
    /// Something solid beyond the skin: the table, a support, a limb.
    Table,
    /// The edge of the wound's cone.
    Cone,
}

impl Obstacle {
    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Bone => "bone",
            Self::Rim => "rim",
            Self::Table => "table",
            Self::Cone => "cone",
        }
    }
}

/// One thing in the way.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Block {
    /// What it is.
    pub obstacle: Obstacle,
    /// Where the drill's body meets it first; `None` for the wound's cone,
    /// which is met everywhere.
    pub at: Option<PatientPoint>,
    /// The same along the drill, mm behind the seat.
    pub at_mm: Option<f64>,
    /// How far the drill's body reaches into it from the side, mm; for bone and
    /// component.
    pub depth_mm: Option<f64>,
    /// How far outside the wound's cone the drill points, rad; for the cone.
    pub excess_rad: Option<f64>,
}

/// The least tilt of the drill about its seat that frees it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Freeing {
    /// Angle between planned and free direction, rad.
    pub tilt_rad: f64,
    /// The free direction, into bone.
    pub direction: Direction,
    /// Whether that lies within the hole's swivel.
    pub within_swivel: bool,
}

/// How a bit meets the bone.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Bite {
    /// Steep enough.
    Sound,
    /// May skive along the surface.
    MaySkive,
    /// The bit cannot be relied on to stay.
    Unreliable,
}

impl Bite {
    /// The words for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Sound => "sound",
            Self::MaySkive => "may skive",
            Self::Unreliable => "unreliable",
        }
    }
}

/// Whether a drill gets to a hole.
#[derive(Clone, Debug, PartialEq)]
pub struct Access {
    /// The hole.
    pub hole: usize,
    /// What is in the way, each obstacle once; empty when clear.
    pub blocks: Vec<Block>,
    /// What frees a blocked drill; `None` when clear, and when no tilt up to
    /// the limit of the search does.
    pub frees: Option<Freeing>,
    /// Angle between the drill and the wound's axis, rad; `None` without an
    /// approach in the plan.
    pub to_approach_rad: Option<f64>,
    /// From the seat back to the skin, mm; `None` where the scan ends first.
    pub skin_mm: Option<f64>,
    /// Of that, soft tissue (not bone, not air), mm.
    pub soft_tissue_mm: Option<f64>,
    /// Length of the drill's body that lies outside the examined region, mm.
    pub unseen_mm: f64,
    /// Bones other than those that most holes enter that lie in the corridor, by
    /// label; they have to be moved aside.
    pub aside: Vec<u8>,
    /// Angle between the bit and the bone surface's normal, rad.
    pub incidence_rad: Option<f64>,
    /// What that angle means for the bit.
    pub bite: Option<Bite>,
    /// Difference in depth across the screw's diameter on that slope,
    /// `d tan α`, mm.
    pub edge_depth_mm: Option<f64>,
}

impl Access {
    /// Whether nothing is in the way.
    pub fn is_clear(&self) -> bool {
        self.blocks.is_empty()
    }

    /// Whether a drill gets there: nothing is in the way, or a tilt within the
    /// hole's swivel frees it.
    pub fn is_reached(&self) -> bool {
        self.is_clear() || self.frees.is_some_and(|freeing| freeing.within_swivel)
    }
}
