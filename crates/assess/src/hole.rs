//! What is known about one hole once its path has been measured.

use pilothole_volume::{Direction, PatientPoint};

use crate::finding::Finding;

/// What a millimetre of the path runs through.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tissue {
    /// Outside the envelope.
    Outside,
    /// Dense bone of a wall.
    Cortical,
    /// Bone within the walls, marrow included.
    Cancellous,
    /// Inside the envelope and below -200 HU.
    Void,
    /// Bone cement.
    Cement,
    /// Metal.
    Metal,
}

/// A stretch of the path.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Segment {
    /// Start, mm from the seat.
    pub from_mm: f64,
    /// End, mm from the seat.
    pub to_mm: f64,
    /// What it runs through.
    pub tissue: Tissue,
}

/// Hounsfield units over a stretch of a cylinder, tube or line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HuStatistics {
    /// Volume-weighted mean, HU.
    pub mean: f64,
    /// Standard deviation with n - 1, HU; 0 for one sample.
    pub sd: f64,
    /// Least, HU.
    pub min: f64,
    /// 10th percentile, linear between order statistics (type 7), HU.
    pub p10: f64,
    /// Median, HU.
    pub p50: f64,
    /// 90th percentile, HU.
    pub p90: f64,
    /// Largest, HU.
    pub max: f64,
    /// Number of samples.
    pub samples: usize,
}

/// Hounsfield units over the purchase.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HuSet {
    /// Core cylinder.
    pub core: HuStatistics,
    /// From the core to the outer radius of the thread.
    pub thread: HuStatistics,
    /// The axis alone.
    pub axis: HuStatistics,
}

/// How an end of the bone was placed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EdgeRule {
    /// A blurred plate fitted to the profile.
    Plate,
    /// Halfway between the cortex's peak and what lies outside it.
    Halfway,
    /// Where the profile crosses the threshold; no cortex shows.
    Threshold,
    /// Where the envelope ends; neither shows.
    Envelope,
    /// The seat itself, inside bone.
    Seat,
}

/// One end of the bone on the path, and the cortex there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Edge {
    /// Position of the outer surface, mm from the seat.
    pub at_mm: f64,
    /// How it was placed.
    pub rule: EdgeRule,
    /// Standard error of the position, mm, where it is known.
    pub se_mm: Option<f64>,
    /// How far outside the bone a halfway end may lie, mm: that of a thin sheet in
    /// the scan's blur; `None` by any other rule, and where the blur is not known.
    pub most_off_mm: Option<f64>,
    /// Thickness of the cortex along the path, mm, by a fitted plate; `None`
    /// where none fits.
    pub cortex_mm: Option<f64>,
    /// Standard error of the thickness, mm, where it is known.
    pub cortex_se_mm: Option<f64>,
    /// From the end inwards to where the profile falls halfway behind the
    /// cortex's peak, mm: blur and slant are in it, so it bounds the thickness
    /// of a thin cortex and is none; `None` where no inner face shows.
    pub width_mm: Option<f64>,
    /// The cortex's highest value on the path, HU.
    pub peak_hu: Option<f64>,
    /// Angle between the path and the surface's normal, rad, 0 to π/2, where
    /// the surface can be told.
    pub incidence_rad: Option<f64>,
}

impl Edge {
    /// How far inwards the cortex may reach, mm: its thickness, else its width;
    /// `None` where no inner face shows.
    pub fn reach_mm(&self) -> Option<f64> {
        self.cortex_mm.or(self.width_mm)
    }
}

/// What lies along the axis past the tip (past the far cortex where there is
/// no length), mm from there; `None` where not met.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Beyond {
    /// Bone met again.
    pub bone_mm: Option<f64>,
    /// Metal.
    pub metal_mm: Option<f64>,
    /// Skin.
    pub skin_mm: Option<f64>,
    /// End of the scan.
    pub scan_end_mm: Option<f64>,
}

/// Pull-out strength of the screw, N.
#[derive(Clone, Debug, PartialEq)]
pub struct Pullout {
    /// Middle estimate, N.
    pub estimate_n: f64,
    /// 5th percentile, N.
    pub low_n: f64,
    /// 95th percentile, N.
    pub high_n: f64,
    /// Name of the formula and law.
    pub method: String,
    /// What the spread comes from: name and share of the variance, 0 to 1,
    /// largest first.
    pub shares: Vec<(&'static str, f64)>,
    /// The same under other laws: name and estimate, N.
    pub other_laws: Vec<(&'static str, f64)>,
}

/// What happens to the hole when the guide sits wrong.
#[derive(Clone, Debug, PartialEq)]
pub struct Robust {
    /// Share of placements whose tip keeps the far-cortex margin, 0 to 1.
    pub keeps_margin: f64,
    /// Share of placements that stay inside sideways, 0 to 1.
    pub stays_inside: f64,
    /// Share of placements that keep the hole's grade, 0 to 1.
    pub keeps_grade: f64,
    /// Standard error of the shares, at most.
    pub share_se: f64,
    /// 10th percentile of the purchase, mm.
    pub purchase_p10_mm: f64,
    /// Median purchase, mm.
    pub purchase_p50_mm: f64,
    /// Largest shift in the worst direction that the hole forgives, mm.
    pub forgiven_shift_mm: f64,
    /// Largest tilt in the worst direction that the hole forgives, rad.
    pub forgiven_tilt_rad: f64,
    /// Forgiven tilt by azimuth in the frame of `Direction::across`, rad,
    /// evenly spaced from azimuth 0.
    pub tilt_ring_rad: Vec<f64>,
    /// Purchase of every placement, mm, in order of the sample.
    pub purchases_mm: Vec<f64>,
    /// Placements tried.
    pub samples: usize,
}

/// How good the purchase is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Grade {
    /// The numbers cannot be trusted, or the path leaves the scan.
    Unknown,
    /// No bone to speak of.
    None,
    /// Bone, but little or soft.
    Poor,
    /// Enough bone to count.
    Fair,
    /// Long and dense.
    Good,
}

impl Grade {
    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Unknown => "unknown",
            Self::None => "none",
            Self::Poor => "poor",
            Self::Fair => "fair",
            Self::Good => "good",
        }
    }
}

/// Hounsfield units along the axis.
#[derive(Clone, Debug, PartialEq)]
pub struct Profile {
    /// Position of the first sample, mm from the seat; negative before it.
    pub from_mm: f64,
    /// Distance between samples, mm.
    pub step_mm: f64,
    /// HU; not-a-number where nothing was measured.
    pub hu: Vec<f64>,
}

/// Everything measured about one hole at one direction and length.
#[derive(Clone, Debug, PartialEq)]
pub struct HoleResult {
    /// Index of the hole in the plan.
    pub hole: usize,
    /// Its stream of random draws, [`pilothole_plan::Hole::stream`].
    pub stream: u64,
    /// Seat in the patient.
    pub seat: PatientPoint,
    /// Direction into bone.
    pub direction: Direction,
    /// The bone entered, by its label; `None` when none is met.
    pub bone: Option<u8>,
    /// First entry into the envelope.
    pub near: Option<Edge>,
    /// First exit from the envelope.
    pub far: Option<Edge>,
    /// Recommended length, seat to tip, mm; a stocked length.
    pub length_mm: Option<f64>,
    /// Threaded length inside the envelope at the recommended length, mm.
    pub purchase_mm: f64,
    /// The same at the planned length, where the plan states one.
    pub planned_purchase_mm: Option<f64>,
    /// Purchase weighted by the share of the thread's ring inside, mm.
    pub engaged_mm: f64,
    /// Hounsfield units over the purchase; `None` without purchase.
    pub hu: Option<HuSet>,
    /// From the seat to the far end, without gaps; empty when no bone is met.
    pub segments: Vec<Segment>,
    /// Cortices engaged, as far as is known.
    pub cortices: usize,
    /// Least distance from the screw's surface to the envelope's, mm.
    pub side_wall_mm: Option<f64>,
    /// Where along the path that is, mm from the seat.
    pub side_wall_at_mm: Option<f64>,
    /// What lies past the tip.
    pub beyond: Beyond,
    /// Pull-out strength; `None` without purchase or outside every law.
    pub pullout: Option<Pullout>,
    /// Under wrong placements.
    pub robust: Option<Robust>,
    /// How good it is.
    pub grade: Grade,
    /// Codes that led to the grade.
    pub reasons: Vec<&'static str>,
    /// Fraction of the purchase outside artefact zones and saturated voxels;
    /// `None` without purchase.
    pub trust: Option<f64>,
    /// Hounsfield units along the axis, from before the seat to past the end.
    pub profile: Profile,
    /// Reservations about this hole, in the order met.
    pub findings: Vec<Finding>,
}

impl HoleResult {
    /// Bone on the axis from first entry to first exit, mm.
    pub fn bone_depth_mm(&self) -> Option<f64> {
        Some(self.far?.at_mm - self.near?.at_mm)
    }

    /// The length at which the screw is judged in the set: recommended, else
    /// planned, mm.
    pub fn set_length_mm(&self, planned_mm: Option<f64>) -> Option<f64> {
        self.length_mm.or(planned_mm)
    }
}
