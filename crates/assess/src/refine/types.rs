//! What a refinement answers.

use pilothole_plan::Plan;
use pilothole_volume::{Direction, PatientPoint};

use crate::finding::Finding;

/// What a hole is worth at one seat and direction.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Objectives {
    /// Recommended length, mm.
    pub length_mm: f64,
    /// Thread in bone, mm.
    pub purchase_mm: f64,
    /// Pull-out where it is planned, N.
    pub pullout_n: f64,
    /// Low quantile of the pull-out over placements, N.
    pub low_n: f64,
    /// Share of placements that keep the tip's margin and the side wall.
    pub keeps: f64,
    /// By how much `low_n * keeps` may be off for the ends of the bone and the
    /// number of placements, one standard deviation, N.
    pub noise_n: f64,
}

impl Objectives {
    /// What is made as large as it can be, N: the strength that most
    /// placements reach, times the share of placements that are safe. It grows
    /// with both, so the best is also Pareto-best.
    pub fn worth_n(&self) -> f64 {
        self.low_n * self.keeps
    }

    /// Whether another is as good in strength and robustness, and better in
    /// one.
    pub(crate) fn is_beaten_by(&self, other: &Self) -> bool {
        other.low_n >= self.low_n
            && other.keeps >= self.keeps
            && (other.low_n > self.low_n || other.keeps > self.keeps)
    }
}

/// A seat and direction that was tried.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Candidate {
    /// Seat of the screw.
    pub seat: PatientPoint,
    /// Direction into bone.
    pub direction: Direction,
    /// What it is worth.
    pub objectives: Objectives,
    /// Least distance between the screw's surface and another screw's of the
    /// set as it was left, mm; `None` without another.
    pub gap_mm: Option<f64>,
}

/// Why a hole moved or stayed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RefineReason {
    /// It is fixed: no swivel and no seat shift.
    Fixed,
    /// Nothing in its reach holds a screw.
    NoneHolds,
    /// Nothing better was found.
    AlreadyBest,
    /// Something better was found, by less than the measurement can tell.
    WithinNoise,
    /// It is better there.
    Better,
    /// It gives way to another screw.
    ClearsClash,
    /// No drill gets to where it was.
    OpensCorridor,
    /// No drill gets to where it is, nor to anything else that holds a screw.
    Blocked,
    /// The search was stopped before it.
    Interrupted,
}

impl RefineReason {
    /// The words for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Fixed => "fixed",
            Self::NoneHolds => "none holds",
            Self::AlreadyBest => "already best",
            Self::WithinNoise => "within noise",
            Self::Better => "better",
            Self::ClearsClash => "clears clash",
            Self::OpensCorridor => "opens corridor",
            Self::Blocked => "blocked",
            Self::Interrupted => "interrupted",
        }
    }
}

/// What became of a hole.
#[derive(Clone, Debug, PartialEq)]
pub struct RefinedHole {
    /// The hole.
    pub hole: usize,
    /// Where it was; `None` where it held no screw.
    pub before: Option<Candidate>,
    /// Where it is now; the same as before where it stays.
    pub after: Option<Candidate>,
    /// Angle from the planned direction, rad; at most the swivel.
    pub turned_rad: f64,
    /// Distance from the planned seat, mm; at most the seat's shift.
    pub moved_mm: f64,
    /// Why.
    pub reason: RefineReason,
    /// Worth gained, or what the best on its own would gain where the hole
    /// stays, N.
    pub gain_n: f64,
    /// What a gain is held against, one standard deviation, N.
    pub noise_n: f64,
    /// Directions that no other found beats in strength, robustness and
    /// distance to the other screws together, strongest first.
    pub front: Vec<Candidate>,
    /// Directions tried.
    pub tried: usize,
    /// Of those, left out since no drill gets there.
    pub blocked: usize,
}

/// A plan made better, and how.
#[derive(Clone, Debug, PartialEq)]
pub struct Refined {
    /// The new plan; holes that moved carry their recommended length.
    pub plan: Plan,
    /// The holes, in the plan's order.
    pub holes: Vec<RefinedHole>,
    /// Pairs of screws nearer than wanted, before and after.
    pub clashes: [usize; 2],
    /// Whether every hole was searched to the end.
    pub complete: bool,
    /// Reservations.
    pub findings: Vec<Finding>,
}
