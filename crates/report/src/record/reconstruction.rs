//! Where the hip comes to lie, as written.

use pilothole_assess::set::{
    CentreShift, Measured, Mirror, MirrorSource, Orientation, Orientations, Reconstruction,
    Regression, Wanting,
};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::number::{deg, mm};

/// Where the hip comes to lie; null where a landmark is wanting.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReconstructionRecord {
    /// Standard error of a landmark along each axis, mm.
    pub landmark_se_mm: Option<f64>,
    /// The socket in the anterior pelvic plane.
    pub in_app: Option<OrientationsRecord>,
    /// The socket in the frame of the International Society of Biomechanics.
    pub in_isb: Option<OrientationsRecord>,
    /// The plane that swaps left and right.
    pub mirror: Option<MirrorRecord>,
    /// The healthy side's centre, mirrored, mm, LPS.
    pub mirrored_centre_mm: Option<[f64; 3]>,
    /// Planned centre from the mirrored healthy one.
    pub from_mirrored: Option<ShiftRecord>,
    /// Planned centre from the present one.
    pub from_present: Option<ShiftRecord>,
    /// Change of leg length by the cup alone, mm; positive is longer.
    pub leg_change_mm: Option<MeasuredRecord>,
    /// Change of offset by the cup alone, mm; positive is wider.
    pub offset_change_mm: Option<MeasuredRecord>,
    /// Leg length against the healthy side now, mm.
    pub leg_difference_now_mm: Option<MeasuredRecord>,
    /// The same after the plan, mm.
    pub leg_difference_after_mm: Option<MeasuredRecord>,
    /// Acetabular offset planned less that of the healthy side, mm.
    pub offset_difference_mm: Option<MeasuredRecord>,
    /// The healthy side's acetabular offset, mm.
    pub healthy_offset_mm: Option<MeasuredRecord>,
    /// Hip centres by regression; may flag, may not plan.
    pub regressions: Vec<RegressionRecord>,
    /// Landmarks that are wanting, and what they would allow.
    pub wanting: Vec<WantingRecord>,
}

/// A value with its standard error from the landmarks' error alone.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct MeasuredRecord {
    /// The value.
    pub value: Option<f64>,
    /// Standard error, same unit.
    pub se: Option<f64>,
}

/// The socket's orientation in Murray's three definitions.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct OrientationsRecord {
    /// As seen on a radiograph.
    pub radiographic: OrientationRecord,
    /// As set in the operation.
    pub operative: OrientationRecord,
    /// As the anatomist measures it.
    pub anatomical: OrientationRecord,
}

/// Orientation of the socket.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct OrientationRecord {
    /// Degrees.
    pub inclination_deg: MeasuredRecord,
    /// Degrees.
    pub anteversion_deg: MeasuredRecord,
}

/// The plane that swaps left and right.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct MirrorRecord {
    /// A point of it, mm, LPS.
    pub point_mm: Option<[f64; 3]>,
    /// Its normal, LPS.
    pub normal: [f64; 3],
    /// Root mean square distance of mirrored points, mm.
    pub rms_mm: Option<f64>,
    /// Pairs or points it was fitted to.
    pub pairs: usize,
    /// `landmarks` or `surface`.
    pub source: String,
}

/// A displacement of the hip centre, mm.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ShiftRecord {
    /// Away from the midline.
    pub lateral_mm: MeasuredRecord,
    /// Forwards.
    pub anterior_mm: MeasuredRecord,
    /// Headwards.
    pub superior_mm: MeasuredRecord,
    /// Length.
    pub length_mm: MeasuredRecord,
}

/// A hip centre by regression.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RegressionRecord {
    /// Its name.
    pub name: String,
    /// Distance from the planned centre, mm.
    pub off_mm: Option<f64>,
}

/// Landmarks that are wanting.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct WantingRecord {
    /// Their words in plan files.
    pub landmarks: Vec<String>,
    /// What could be said with them.
    pub allows: String,
}

impl ReconstructionRecord {
    /// The wire form.
    pub(crate) fn of(from: &Reconstruction) -> Self {
        let length = |m: Option<Measured>| m.map(|m| measured(m, mm));
        Self {
            landmark_se_mm: mm(from.landmark_se_mm),
            in_app: from.in_app.map(orientations),
            in_isb: from.in_isb.map(orientations),
            mirror: from.mirror.as_ref().map(mirror),
            mirrored_centre_mm: from.mirrored_centre.and_then(super::point),
            from_mirrored: from.from_mirrored.map(shift),
            from_present: from.from_present.map(shift),
            leg_change_mm: length(from.leg_change_mm),
            offset_change_mm: length(from.offset_change_mm),
            leg_difference_now_mm: length(from.leg_difference_now_mm),
            leg_difference_after_mm: length(from.leg_difference_after_mm),
            offset_difference_mm: length(from.offset_difference_mm),
            healthy_offset_mm: length(from.healthy_offset_mm),
            regressions: from.regressions.iter().map(regression).collect(),
            wanting: from.wanting.iter().map(wanting).collect(),
        }
    }
}

fn measured(from: Measured, round: fn(f64) -> Option<f64>) -> MeasuredRecord {
    MeasuredRecord { value: round(from.value), se: round(from.se) }
}

fn orientation(from: Orientation) -> OrientationRecord {
    OrientationRecord {
        inclination_deg: measured(from.inclination_rad, deg),
        anteversion_deg: measured(from.anteversion_rad, deg),
    }
}

fn orientations(from: Orientations) -> OrientationsRecord {
    OrientationsRecord {
        radiographic: orientation(from.radiographic),
        operative: orientation(from.operative),
        anatomical: orientation(from.anatomical),
    }
}

fn mirror(from: &Mirror) -> MirrorRecord {
    MirrorRecord {
        point_mm: super::point(from.point),
        normal: super::unit(from.normal),
        rms_mm: mm(from.rms_mm),
        pairs: from.pairs,
        source: match from.source {
            MirrorSource::Landmarks => "landmarks",
            MirrorSource::Surface => "surface",
        }
        .to_owned(),
    }
}

fn shift(from: CentreShift) -> ShiftRecord {
    ShiftRecord {
        lateral_mm: measured(from.lateral_mm, mm),
        anterior_mm: measured(from.anterior_mm, mm),
        superior_mm: measured(from.superior_mm, mm),
        length_mm: measured(from.length_mm, mm),
    }
}

fn regression(from: &Regression) -> RegressionRecord {
    RegressionRecord { name: from.name.to_owned(), off_mm: mm(from.off_mm) }
}

fn wanting(from: &Wanting) -> WantingRecord {
    WantingRecord { landmarks: from.landmarks.clone(), allows: from.allows.to_owned() }
}
