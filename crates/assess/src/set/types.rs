//! What is known about the holes as a set.
//!
//! Holes are named by their position in the plan. Angles are radians, lengths
//! millimetres, forces newtons, movements micrometres. What could not be
//! computed is `None`, and a finding of [`SetResult::findings`] says why.

mod load;
mod reach;
mod reconstruction;
mod sequence;

use crate::finding::Finding;
use crate::robust::SetRobust;

pub use load::{
    CaseResult, FrameSource, FreeDirection, LoadResult, Lost, Range, ScrewLoad, ScrewSpring, Tier,
    Unreached,
};
pub use reach::{Access, Bite, Block, Clash, Freeing, MetalNear, Obstacle};
pub use reconstruction::{
    CentreShift, Measured, Mirror, MirrorSource, Orientation, Orientations, PelvicFrame,
    Reconstruction, Regression, SphereProposal, Wanting,
};
pub use sequence::{
    Apart, ApartReason, GuideGroup, Guides, Order, OrderStep, Sequence, StepReason,
};

/// Everything about the holes as a set.
#[derive(Clone, Debug, PartialEq)]
pub struct SetResult {
    /// Pairs of screws nearer than the plan's screw gap, nearest first.
    pub clash: Vec<Clash>,
    /// Pairs of threads near enough to share bone and not in `clash`, nearest
    /// first.
    pub sharing: Vec<Clash>,
    /// Screws near metal that is in the scan, nearest first.
    pub metal: Vec<MetalNear>,
    /// Can a drill get there: one a hole, in the plan's order.
    pub access: Vec<Access>,
    /// Which holes share a guide; `None` when no hole can take a screw.
    pub guides: Option<Guides>,
    /// In which order to fill; `None` when no screw can be filled.
    pub order: Option<Order>,
    /// How the load is shared; `None` when no screw holds anything.
    pub load: Option<LoadResult>,
    /// Where the hip comes to lie.
    pub reconstruction: Reconstruction,
    /// What the plan needs, by screw and length.
    pub kit: Vec<KitLine>,
    /// What to have at hand beside the kit; never counted in it.
    pub spares: Vec<Spare>,
    /// What happens when the component and every guide sit wrong; not part of
    /// [`crate::set::judge_set`], which leaves it `None`.
    pub robust: Option<SetRobust>,
    /// Reservations about the set, in the order met.
    pub findings: Vec<Finding>,
}

/// One line of what the plan needs.
#[derive(Clone, Debug, PartialEq)]
pub struct KitLine {
    /// Name of the screw.
    pub screw: String,
    /// Length, seat to tip, mm.
    pub length_mm: f64,
    /// How many.
    pub count: usize,
    /// The holes they belong to, in the plan's order.
    pub holes: Vec<usize>,
}

/// Why a spare is proposed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum SpareReason {
    /// One stock step shorter than a length that is uncertain.
    Shorter,
    /// One stock step longer than a length that is uncertain.
    Longer,
}

impl SpareReason {
    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Shorter => "shorter",
            Self::Longer => "longer",
        }
    }
}

/// One line of what to have at hand beside the kit.
#[derive(Clone, Debug, PartialEq)]
pub struct Spare {
    /// Name of the screw.
    pub screw: String,
    /// Length, seat to tip, mm.
    pub length_mm: f64,
    /// How many: one for each hole named.
    pub count: usize,
    /// The holes they would serve, in the plan's order.
    pub holes: Vec<usize>,
    /// Why, for each of these holes.
    pub reasons: Vec<SpareReason>,
}
