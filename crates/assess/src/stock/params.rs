//! How a chart is made, and when it is refused.

use crate::params::PathParams;
use crate::strength::StrengthParams;

/// How a chart is made.
#[derive(Clone, Debug, PartialEq)]
pub struct StockParams {
    /// How paths are measured.
    pub path: PathParams,
    /// Position of the chosen screw in the plan's screws.
    pub screw: usize,
    /// Angle between neighbouring directions, rad.
    pub spacing_rad: f64,
    /// Half-angle about the socket's dome that is seen from its centre, rad.
    pub centre_half_angle_rad: f64,
    /// Distance between neighbouring seats on the socket and on patches, mm.
    pub seat_spacing_mm: f64,
    /// Half-angle about a seat's inward normal, rad.
    pub seat_half_angle_rad: f64,
    /// Whether the thread is read too, its HU, what it holds and the bone beside
    /// it; without, all are unknown in every direction, and no direction is
    /// marked for its side wall.
    pub thread: bool,
    /// What strength is computed with.
    pub strength: StrengthParams,
    /// Bone depth below which a wall is thin, mm.
    pub thin_wall_mm: f64,
    /// Half-angle about the patient's midline direction that counts as medial,
    /// rad.
    pub medial_half_angle_rad: f64,
    /// Most directions of all charts together.
    pub most_directions: usize,
}

impl StockParams {
    /// The numbers in use, for a screw and a strength.
    ///
    /// Own choices unless said: seats 10 mm apart (two 6.5 mm screws with bone
    /// between), cones of 15° (what a hole's swivel may be). A wall is thin
    /// below 10 mm: bone on the line to the external iliac artery was 4.6 to
    /// 20 mm deep (Ihn HE 2024, JAAOS 10.5435/jaaos-d-24-00483), and no screw
    /// through it counts as safe. Half a million directions take about 120 MB.
    pub fn with(screw: usize, strength: StrengthParams) -> Self {
        Self {
            path: PathParams::OWN,
            screw,
            spacing_rad: 1.0_f64.to_radians(),
            centre_half_angle_rad: 90.0_f64.to_radians(),
            seat_spacing_mm: 10.0,
            seat_half_angle_rad: 15.0_f64.to_radians(),
            thread: true,
            strength,
            thin_wall_mm: 10.0,
            medial_half_angle_rad: 60.0_f64.to_radians(),
            most_directions: 500_000,
        }
    }
}

/// Why a chart is refused.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum StockError {
    /// A spacing or an angle is out of range.
    #[error("{name} is {measured}, expected above {least} and at most {most}")]
    Range {
        /// Which parameter.
        name: &'static str,
        /// Its value, in the unit that its name ends with.
        measured: f64,
        /// Below this it is refused.
        least: f64,
        /// Above this it is refused.
        most: f64,
    },
    /// The spacing asks for more directions than are allowed.
    #[error(
        "the chart would have about {wanted:.0} directions, at most {limit} are allowed; widen the spacing"
    )]
    TooMany {
        /// About how many were asked for.
        wanted: f64,
        /// How many are allowed.
        limit: usize,
    },
    /// The plan has no such screw.
    #[error("screw {index} of a plan that has {count}")]
    Screw {
        /// The position asked for.
        index: usize,
        /// Screws of the plan.
        count: usize,
    },
}

impl StockError {
    /// Stable code.
    pub fn code(&self) -> &'static str {
        match self {
            Self::Range { .. } | Self::TooMany { .. } => "plan.range",
            Self::Screw { .. } => "plan.screw",
        }
    }
}

impl StockParams {
    /// The first parameter that is out of range.
    pub(crate) fn check(&self) -> Result<(), StockError> {
        let degrees = f64::to_degrees;
        let ranges = [
            ("spacing_deg", degrees(self.spacing_rad), 0.0, 30.0),
            ("centre_half_angle_deg", degrees(self.centre_half_angle_rad), -1e-9, 90.0),
            ("seat_half_angle_deg", degrees(self.seat_half_angle_rad), -1e-9, 90.0),
            ("seat_spacing_mm", self.seat_spacing_mm, 0.0, 200.0),
        ];
        for (name, measured, least, most) in ranges {
            // Degrees lose their last digit on the way through radians.
            if !(measured > least && measured <= most + 1e-9) {
                return Err(StockError::Range { name, measured, least: least.max(0.0), most });
            }
        }
        Ok(())
    }
}
