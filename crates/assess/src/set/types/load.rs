//! Screws as springs, and what they carry.

use pilothole_volume::Offset;

use crate::set::springs::CoreSection;

/// A range from the softest to the stiffest assumption, or the like.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Range {
    /// Least.
    pub low: f64,
    /// Middle estimate.
    pub middle: f64,
    /// Largest.
    pub high: f64,
}

/// Where the pelvic frame of the load came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FrameSource {
    /// Both iliac spines and pubic tubercles.
    AnteriorPelvicPlane,
    /// The scanner's axes, the patient taken to lie straight.
    Scanner,
}

/// Screws as springs.
#[derive(Clone, Debug, PartialEq)]
pub struct ScrewSpring {
    /// The hole.
    pub hole: usize,
    /// Stiffness along the axis, N/mm; the largest value is the shear-lag
    /// bound.
    pub axial_n_per_mm: Range,
    /// Stiffness across the axis at the head, N/mm.
    pub lateral_n_per_mm: Range,
    /// Modulus of the bone along the thread, N/mm²: mean over the purchase.
    pub mean_modulus_mpa: f64,
    /// Largest bending moment for a lateral force of 1 N at the head, mm.
    pub bending_arm_mm: f64,
    /// Its core.
    pub core: CoreSection,
    /// Pull-out strength used: middle and low, N; `None` when unknown.
    pub pullout_n: Option<(f64, f64)>,
}

/// What a screw carries in one case.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ScrewLoad {
    /// The hole.
    pub hole: usize,
    /// Force along the axis, N; positive pulls the screw out.
    pub axial_n: f64,
    /// Force across the axis, N.
    pub lateral_n: f64,
    /// Share of the sum of all axial forces' sizes, 0 to 1.
    pub axial_share: f64,
    /// Share of the sum of all lateral forces, 0 to 1.
    pub lateral_share: f64,
    /// Axial force, either way, over pull-out strength (middle estimate).
    pub pullout_use: Option<f64>,
    /// The same over its low estimate.
    pub pullout_use_low: Option<f64>,
    /// Bending moment over the core's first yield.
    pub bending_use: f64,
    /// What is used of the core before its metal first yields: bending and pull
    /// together, or the cut alone where that is more.
    pub core_use: f64,
}

/// How a movement compares with what bone grows into.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Tier {
    /// At most 20 µm.
    Fine,
    /// At most 40 µm.
    Doubtful,
    /// At most 150 µm.
    Poor,
    /// Above 150 µm.
    Bad,
}

impl Tier {
    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Fine => "fine",
            Self::Doubtful => "doubtful",
            Self::Poor => "poor",
            Self::Bad => "bad",
        }
    }
}

/// How the set answers one load case.
#[derive(Clone, Debug, PartialEq)]
pub struct CaseResult {
    /// Name of the case.
    pub name: &'static str,
    /// Force on the part at the hip centre, N, patient axes, at no tilt.
    pub force_n: Offset,
    /// Whether it is an outlier: a stumble.
    pub outlier: bool,
    /// Movement of the hip centre, µm, middle stiffness: over the tilts of the
    /// pelvis least, untilted, largest. `None` when not held.
    pub movement_um: Option<Range>,
    /// Movement at no tilt, µm, from the stiffest to the softest springs.
    pub movement_by_stiffness_um: Option<Range>,
    /// Turn of the part at no tilt, rad, middle stiffness.
    pub turn_rad: Option<f64>,
    /// Tier of the largest movement over the tilts.
    pub tier: Option<Tier>,
    /// What each screw carries at no tilt, middle stiffness; empty when not
    /// held.
    pub screws: Vec<ScrewLoad>,
    /// The same with the poorest third of the screws at their low value:
    /// movement at no tilt, µm.
    pub poorest_low_um: Option<f64>,
    /// Share of the force carried by bone contact, 0 to 1; `None`
    /// when contact was not asked for.
    pub contact_share: Option<f64>,
}

/// A direction in which the set does not hold the part.
#[derive(Clone, Debug, PartialEq)]
pub struct FreeDirection {
    /// Shift of the hip centre, patient axes; together with the turn scaled so
    /// that the larger of shift (mm) and turn at 30 mm (mm) is 1.
    pub shift: Offset,
    /// Turn about the hip centre, patient axes, mm at 30 mm.
    pub turn: Offset,
    /// In words.
    pub text: String,
}

/// What happens when one screw is lost.
#[derive(Clone, Debug, PartialEq)]
pub struct Lost {
    /// The hole whose loss does most harm.
    pub hole: usize,
    /// Largest movement over cases (outliers apart) and tilts without it, µm;
    /// `None` when the part is then not held.
    pub movement_um: Option<f64>,
    /// Tier of that movement.
    pub tier: Option<Tier>,
    /// Largest utilisation of pull-out (middle estimate) among those left.
    pub pullout_use: Option<f64>,
    /// Largest utilisation of bending among those left.
    pub bending_use: Option<f64>,
}

/// The set without the screws that no drill reaches as planned.
#[derive(Clone, Debug, PartialEq)]
pub struct Unreached {
    /// Their holes: the way is blocked, and no tilt within the swivel frees it.
    pub holes: Vec<usize>,
    /// Directions, of six, in which the others hold the part.
    pub held: usize,
    /// Largest movement over cases (outliers apart) and tilts without them, µm;
    /// `None` when the part is then not held.
    pub movement_um: Option<f64>,
}

/// How the set carries the hip's load: elastic model, no friction.
#[derive(Clone, Debug, PartialEq)]
pub struct LoadResult {
    /// Body mass in use, kg.
    pub body_mass_kg: f64,
    /// Whether the plan stated it.
    pub mass_stated: bool,
    /// Where the pelvic frame came from.
    pub frame: FrameSource,
    /// Tilt of the pelvis taken as uncertain, rad, either way.
    pub tilt_rad: f64,
    /// Whether bone contact was counted.
    pub bone_contact: bool,
    /// The screws as springs, in the plan's order.
    pub springs: Vec<ScrewSpring>,
    /// Directions, of six, in which the part is held.
    pub held: usize,
    /// Those in which it is not.
    pub free: Vec<FreeDirection>,
    /// Load cases.
    pub cases: Vec<CaseResult>,
    /// Largest movement over cases (outliers apart) and tilts, µm.
    pub worst_um: Option<f64>,
    /// Tier of that movement.
    pub tier: Option<Tier>,
    /// The worst single loss; `None` with fewer than two screws.
    pub worst_lost: Option<Lost>,
    /// What is left without the screws that no drill reaches; `None` when every
    /// screw that is counted can be reached.
    pub unreached: Option<Unreached>,
    /// The holes taken at their low value.
    pub poorest: Vec<usize>,
    /// Area of the convex hull of the seats seen along the socket's axis, mm²;
    /// an own measure of spread, no threshold is published.
    pub spread_mm2: f64,
}
