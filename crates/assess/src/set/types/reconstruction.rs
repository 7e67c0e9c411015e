//! Where the hip comes to lie, and landmarks.

use pilothole_plan::LandmarkName;
use pilothole_volume::{Direction, PatientPoint};

use crate::finding::Finding;

/// A value with its standard error, from the landmarks' error alone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    /// The value.
    pub value: f64,
    /// Standard error, same unit.
    pub se: f64,
}

/// Orientation of the socket in one of Murray's three definitions.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Orientation {
    /// Inclination (abduction), rad.
    pub inclination_rad: Measured,
    /// Anteversion, rad.
    pub anteversion_rad: Measured,
}

/// The socket in a pelvic frame, in Murray's three definitions.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Orientations {
    /// As seen on a radiograph.
    pub radiographic: Orientation,
    /// As set in the operation.
    pub operative: Orientation,
    /// As the anatomist measures it.
    pub anatomical: Orientation,
}

/// Orthonormal axes of a pelvis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PelvicFrame {
    /// Midpoint of the iliac spines.
    pub origin: PatientPoint,
    /// Towards the patient's right.
    pub right: Direction,
    /// Forwards.
    pub anterior: Direction,
    /// Headwards.
    pub superior: Direction,
}

/// Where the mirror of the healthy side comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MirrorSource {
    /// Fitted to paired landmarks.
    Landmarks,
    /// Those, then the healthy bone's surface registered to the operated side.
    Surface,
}

/// The plane that swaps left and right.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mirror {
    /// A point of the plane.
    pub point: PatientPoint,
    /// Its normal, towards the patient's left.
    pub normal: Direction,
    /// Root mean square distance of mirrored points to their partners, mm.
    pub rms_mm: f64,
    /// Pairs, or surface points, that it was fitted to.
    pub pairs: usize,
    /// What it was fitted to.
    pub source: MirrorSource,
}

/// A displacement of the hip centre in the pelvic frame, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CentreShift {
    /// Away from the midline, mm.
    pub lateral_mm: Measured,
    /// Forwards, mm.
    pub anterior_mm: Measured,
    /// Headwards, mm.
    pub superior_mm: Measured,
    /// Length, mm.
    pub length_mm: Measured,
}

/// What landmarks are wanting, and what they would allow.
#[derive(Clone, Debug, PartialEq)]
pub struct Wanting {
    /// The landmarks that the plan does not name, by their words in files.
    pub landmarks: Vec<String>,
    /// What could be said with them.
    pub allows: &'static str,
}

/// A hip centre by regression; may flag, may not plan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Regression {
    /// Name of the regression.
    pub name: &'static str,
    /// The centre it gives.
    pub centre: PatientPoint,
    /// Distance from the planned centre, mm.
    pub off_mm: f64,
}

/// Where the hip comes to lie.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Reconstruction {
    /// Standard error of a landmark along each axis, mm.
    pub landmark_se_mm: f64,
    /// Frame of the anterior pelvic plane.
    pub app: Option<PelvicFrame>,
    /// Frame of the International Society of Biomechanics.
    pub isb: Option<PelvicFrame>,
    /// The socket in the anterior pelvic plane.
    pub in_app: Option<Orientations>,
    /// The socket in the ISB frame.
    pub in_isb: Option<Orientations>,
    /// The plane that swaps left and right.
    pub mirror: Option<Mirror>,
    /// The healthy side's centre, mirrored.
    pub mirrored_centre: Option<PatientPoint>,
    /// Planned centre from the mirrored healthy one.
    pub from_mirrored: Option<CentreShift>,
    /// Planned centre from the present one.
    pub from_present: Option<CentreShift>,
    /// Change of leg length by the cup alone against now, mm; positive is
    /// longer.
    pub leg_change_mm: Option<Measured>,
    /// Change of acetabular and, the femur unchanged, global offset against
    /// now, mm; positive is wider.
    pub offset_change_mm: Option<Measured>,
    /// Leg length against the healthy side now, mm; positive: operated longer.
    pub leg_difference_now_mm: Option<Measured>,
    /// The same after the plan, the femur unchanged, mm.
    pub leg_difference_after_mm: Option<Measured>,
    /// Acetabular offset planned less that of the healthy side, mm.
    pub offset_difference_mm: Option<Measured>,
    /// The healthy side's acetabular offset, centre to the teardrop, mm.
    pub healthy_offset_mm: Option<Measured>,
    /// Hip centres by regression.
    pub regressions: Vec<Regression>,
    /// Landmarks that are wanting.
    pub wanting: Vec<Wanting>,
}

/// A landmark found on the bone's surface, to be confirmed.
#[derive(Clone, Debug, PartialEq)]
pub struct SphereProposal {
    /// The landmark proposed; `None` when it was not asked for by name.
    pub name: Option<LandmarkName>,
    /// Centre of the sphere.
    pub centre: PatientPoint,
    /// Radius, mm.
    pub radius_mm: f64,
    /// Root mean square distance of the points used to the sphere, mm.
    pub rms_mm: f64,
    /// Points used.
    pub points: usize,
    /// Share of the points found that were used, 0 to 1.
    pub used: f64,
    /// Half-angle of the cap that the points span about their mean direction,
    /// rad.
    pub cap_rad: f64,
    /// Standard error of the centre in its worst direction, mm.
    pub worst_se_mm: f64,
    /// That direction.
    pub worst_direction: Direction,
    /// Standard error of the radius, mm.
    pub radius_se_mm: f64,
    /// The points used, for a picture to check it by.
    pub used_points: Vec<PatientPoint>,
    /// Reservations.
    pub findings: Vec<Finding>,
}
