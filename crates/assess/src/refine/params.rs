//! How better directions are looked for.

use pilothole_volume::{Direction, PatientPoint};

use crate::robust::RobustParams;
use crate::strength::StrengthParams;

/// How better directions are looked for.
#[derive(Clone, Debug, PartialEq)]
pub struct RefineParams {
    /// How placements are drawn; its `samples` and `forgive` are not used.
    pub robust: RobustParams,
    /// How strength is computed; its `samples` are not used.
    pub strength: StrengthParams,
    /// Placements tried for each direction.
    pub placements: usize,
    /// Quantile of the strength over placements that counts, 0 to 1.
    pub low_quantile: f64,
    /// Spacing of the directions first looked at, rad.
    pub spacing_rad: f64,
    /// Step at which a direction is not looked at more finely, rad.
    pub finest_rad: f64,
    /// Step at which a seat is not looked at more finely, mm.
    pub finest_mm: f64,
    /// From how many of the best first directions the search goes on.
    pub starts: usize,
}

impl RefineParams {
    /// Own choices, no source, for a way of drawing placements and a strength.
    ///
    /// A first look every 2° sees every column of bone as wide as a screw at
    /// 60 mm twice; a quarter of a degree there is 0.26 mm. One in ten
    /// placements may be weaker than what counts; of 32 that leaves three, and
    /// the noise that is stated holds how little three tell.
    pub fn with(robust: RobustParams, strength: StrengthParams) -> Self {
        Self {
            robust,
            strength,
            placements: 32,
            low_quantile: 0.1,
            spacing_rad: 2.0_f64.to_radians(),
            finest_rad: 0.2_f64.to_radians(),
            finest_mm: 0.1,
            starts: 6,
        }
    }
}

/// What keeps a drill from a direction.
///
/// Asked at most once a direction, from several threads.
pub trait Corridors: Sync {
    /// Whether a drill reaches a hole's seat along a direction into bone.
    fn reaches(&self, hole: usize, seat: PatientPoint, direction: Direction) -> bool;

    /// The direction nearest to a blocked one in which a drill is free, where
    /// one is known.
    fn nearest_free(&self, _seat: PatientPoint, _direction: Direction) -> Option<Direction> {
        None
    }
}

/// Nothing does.
#[derive(Clone, Copy, Debug, Default)]
pub struct OpenCorridors;

impl Corridors for OpenCorridors {
    fn reaches(&self, _hole: usize, _seat: PatientPoint, _direction: Direction) -> bool {
        true
    }
}
