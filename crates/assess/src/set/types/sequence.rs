//! Guides, and the order of filling.

use pilothole_volume::Direction;

/// Which holes share a guide.
#[derive(Clone, Debug, PartialEq)]
pub struct Guides {
    /// The guides, fewest possible where `exact`; in order of first hole.
    pub groups: Vec<GuideGroup>,
    /// What keeps each pair of holes in different guides apart.
    pub apart: Vec<Apart>,
    /// Whether the number of guides is proven least.
    pub exact: bool,
    /// Outer radius of a sleeve, mm.
    pub sleeve_radius_mm: f64,
    /// Length of a sleeve, mm.
    pub sleeve_length_mm: f64,
    /// Difference of the diameters of sleeve and bit, mm.
    pub clearance_mm: f64,
    /// Angular play of a bit in a sleeve, rad: atan(clearance / length).
    pub play_rad: f64,
}

/// Holes that one guide serves.
#[derive(Clone, Debug, PartialEq)]
pub struct GuideGroup {
    /// The holes, rising.
    pub holes: Vec<usize>,
    /// Direction in which the guide is pushed on, into the patient; `None`
    /// when not even its one sleeve can be withdrawn.
    pub insertion: Option<Direction>,
    /// Largest angle between the insertion and one of its sleeves, rad.
    pub widest_rad: f64,
}

/// Why two holes are in different guides.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ApartReason {
    /// One is on the cup, one on a flange.
    Zone,
    /// Their sleeves come nearer than wanted; mm between surfaces.
    Sleeves {
        /// Room between the sleeves, mm; negative when they overlap.
        gap_mm: f64,
    },
    /// No direction frees both sleeves and passes the approach.
    Insertion {
        /// Angle between the two sleeves, rad.
        angle_rad: f64,
    },
    /// The two could share a guide, but not with the rest of either.
    Rest,
}

/// Two holes in different guides, and why.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Apart {
    /// The first hole.
    pub a: usize,
    /// The second hole, after the first in the plan.
    pub b: usize,
    /// Why.
    pub reason: ApartReason,
}

/// Why a hole comes where it does.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum StepReason {
    /// The surgeon's own order.
    Given,
    /// The ilium comes first by common practice.
    IliumFirst,
    /// It lies opposite an early screw and lowers the movement nearly as much
    /// as the best.
    Opposed,
    /// It lowers the movement nearly as much as the best, with the guide that
    /// is in place.
    SameGuide,
    /// With the screws so far it lowers the largest movement the most.
    Stiffest,
    /// It is the last.
    Last,
}

impl StepReason {
    /// The words for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Given => "given",
            Self::IliumFirst => "ilium first",
            Self::Opposed => "opposed",
            Self::SameGuide => "same guide",
            Self::Stiffest => "stiffest",
            Self::Last => "last",
        }
    }
}

/// One step of filling.
#[derive(Clone, Debug, PartialEq)]
pub struct OrderStep {
    /// The hole filled.
    pub hole: usize,
    /// Why now.
    pub reason: StepReason,
    /// Guide it is drilled through, position in [`Guides::groups`].
    pub guide: Option<usize>,
    /// Whether that is another guide than the step before.
    pub changes_guide: bool,
    /// Directions, of six, in which the part is held after the step.
    pub held: usize,
    /// Largest movement of the hip centre over all load cases and tilts after
    /// the step, µm, middle stiffness; `None` while a case is not held.
    pub movement_um: Option<f64>,
    /// The measure the order is chosen by: as above, with the hand that holds
    /// the part in place counted as a weak spring, µm.
    pub held_by_hand_um: f64,
}

/// A sequence to fill the holes in.
#[derive(Clone, Debug, PartialEq)]
pub struct Sequence {
    /// The steps.
    pub steps: Vec<OrderStep>,
    /// Changes from one guide to another.
    pub guide_changes: usize,
    /// Number of screws from which on the part is held in all six directions.
    pub held_from: Option<usize>,
}

/// In which order to fill.
#[derive(Clone, Debug, PartialEq)]
pub struct Order {
    /// The order proposed.
    pub proposed: Sequence,
    /// The plan's own order, judged the same way.
    pub given: Option<Sequence>,
    /// Holes without a screw that holds; in no sequence.
    pub unfilled: Vec<usize>,
}
