//! How the set carries the hip's load, as written.

use pilothole_assess::set::{
    CaseResult, FrameSource, FreeDirection, LoadResult, Lost, Range, ScrewLoad, ScrewSpring,
};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::ids::Ids;
use crate::number::{deg, kept, newton, share};

/// How the set carries the hip's load: elastic model, no friction.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LoadRecord {
    /// Body mass in use, kg.
    pub body_mass_kg: Option<f64>,
    /// Whether the plan stated it.
    pub mass_stated: bool,
    /// `anterior pelvic plane` or `scanner axes`.
    pub frame: String,
    /// Tilt of the pelvis taken as uncertain, degrees, either way.
    pub tilt_deg: Option<f64>,
    /// Whether bone contact was counted.
    pub bone_contact: bool,
    /// The screws as springs.
    pub springs: Vec<SpringRecord>,
    /// Directions, of six, in which the part is held.
    pub held: usize,
    /// Those in which it is not, in words.
    pub free: Vec<String>,
    /// Load cases.
    pub cases: Vec<CaseRecord>,
    /// Largest movement over cases (outliers apart) and tilts, µm.
    pub worst_um: Option<f64>,
    /// `fine`, `doubtful`, `poor` or `bad`.
    pub tier: Option<String>,
    /// The worst single loss.
    pub worst_lost: Option<LostRecord>,
    /// Ids of the holes taken at their low value.
    pub poorest: Vec<String>,
    /// Area of the convex hull of the seats along the socket's axis, mm².
    pub spread_mm2: Option<f64>,
}

/// A range.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RangeRecord {
    /// Least.
    pub low: Option<f64>,
    /// Middle.
    pub middle: Option<f64>,
    /// Largest.
    pub high: Option<f64>,
}

/// A screw as a spring.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SpringRecord {
    /// Id of the hole.
    pub hole: String,
    /// Along the axis, N/mm.
    pub axial_n_per_mm: RangeRecord,
    /// Across the axis at the head, N/mm.
    pub lateral_n_per_mm: RangeRecord,
    /// Modulus of the bone along the thread, `MPa`.
    pub mean_modulus_mpa: Option<f64>,
}

/// How the set answers one load case.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CaseRecord {
    /// Name.
    pub name: String,
    /// Force on the part, N, LPS.
    pub force_n: [f64; 3],
    /// Whether it is an outlier.
    pub outlier: bool,
    /// Movement of the hip centre over the tilts, µm; null when not held.
    pub movement_um: Option<RangeRecord>,
    /// The same from the stiffest to the softest springs.
    pub movement_by_stiffness_um: Option<RangeRecord>,
    /// Turn of the part, degrees.
    pub turn_deg: Option<f64>,
    /// `fine`, `doubtful`, `poor` or `bad`.
    pub tier: Option<String>,
    /// What each screw carries.
    pub screws: Vec<ScrewLoadRecord>,
    /// Movement with the poorest third of the screws at their low value, µm.
    pub poorest_low_um: Option<f64>,
    /// Share carried by bone contact; null when not asked for.
    pub contact_share: Option<f64>,
}

/// What a screw carries in one case.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ScrewLoadRecord {
    /// Id of the hole.
    pub hole: String,
    /// Along the axis, N; positive pulls the screw out.
    pub axial_n: Option<f64>,
    /// Across the axis, N.
    pub lateral_n: Option<f64>,
    /// Share of all axial forces.
    pub axial_share: Option<f64>,
    /// Share of all lateral forces.
    pub lateral_share: Option<f64>,
    /// Axial force over pull-out strength.
    pub pullout_use: Option<f64>,
    /// The same over its low estimate.
    pub pullout_use_low: Option<f64>,
    /// Bending moment over the core's first yield.
    pub bending_use: Option<f64>,
}

/// What happens when one screw is lost.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LostRecord {
    /// Id of the hole whose loss does most harm.
    pub hole: String,
    /// Largest movement without it, µm; null when the part is then not held.
    pub movement_um: Option<f64>,
    /// Tier of that movement.
    pub tier: Option<String>,
    /// Largest use of pull-out among those left.
    pub pullout_use: Option<f64>,
    /// Largest use of bending among those left.
    pub bending_use: Option<f64>,
}

impl LoadRecord {
    /// The wire form.
    pub(crate) fn of(load: &LoadResult, ids: &Ids) -> Self {
        Self {
            body_mass_kg: kept(load.body_mass_kg, 1),
            mass_stated: load.mass_stated,
            frame: match load.frame {
                FrameSource::AnteriorPelvicPlane => "anterior pelvic plane",
                FrameSource::Scanner => "scanner axes",
            }
            .to_owned(),
            tilt_deg: deg(load.tilt_rad),
            bone_contact: load.bone_contact,
            springs: load.springs.iter().map(|s| spring(s, ids)).collect(),
            held: load.held,
            free: load.free.iter().map(|f: &FreeDirection| f.text.clone()).collect(),
            cases: load.cases.iter().map(|c| case(c, ids)).collect(),
            worst_um: load.worst_um.and_then(micron),
            tier: load.tier.map(|t| t.word().to_owned()),
            worst_lost: load.worst_lost.as_ref().map(|l| lost(l, ids)),
            poorest: ids.all(&load.poorest),
            spread_mm2: kept(load.spread_mm2, 1),
        }
    }
}

fn micron(value: f64) -> Option<f64> {
    kept(value, 2)
}

fn range(range: Range, decimals: i32) -> RangeRecord {
    RangeRecord {
        low: kept(range.low, decimals),
        middle: kept(range.middle, decimals),
        high: kept(range.high, decimals),
    }
}

fn spring(spring: &ScrewSpring, ids: &Ids) -> SpringRecord {
    SpringRecord {
        hole: ids.of(spring.hole),
        axial_n_per_mm: range(spring.axial_n_per_mm, 1),
        lateral_n_per_mm: range(spring.lateral_n_per_mm, 1),
        mean_modulus_mpa: kept(spring.mean_modulus_mpa, 1),
    }
}

fn case(case: &CaseResult, ids: &Ids) -> CaseRecord {
    CaseRecord {
        name: case.name.to_owned(),
        force_n: case.force_n.0.map(|c| newton(c).unwrap_or_default()),
        outlier: case.outlier,
        movement_um: case.movement_um.map(|r| range(r, 2)),
        movement_by_stiffness_um: case.movement_by_stiffness_um.map(|r| range(r, 2)),
        turn_deg: case.turn_rad.and_then(deg),
        tier: case.tier.map(|t| t.word().to_owned()),
        screws: case.screws.iter().map(|s| screw(s, ids)).collect(),
        poorest_low_um: case.poorest_low_um.and_then(micron),
        contact_share: case.contact_share.and_then(share),
    }
}

fn screw(screw: &ScrewLoad, ids: &Ids) -> ScrewLoadRecord {
    ScrewLoadRecord {
        hole: ids.of(screw.hole),
        axial_n: newton(screw.axial_n),
        lateral_n: newton(screw.lateral_n),
        axial_share: share(screw.axial_share),
        lateral_share: share(screw.lateral_share),
        pullout_use: screw.pullout_use.and_then(share),
        pullout_use_low: screw.pullout_use_low.and_then(share),
        bending_use: share(screw.bending_use),
    }
}

fn lost(lost: &Lost, ids: &Ids) -> LostRecord {
    LostRecord {
        hole: ids.of(lost.hole),
        movement_um: lost.movement_um.and_then(micron),
        tier: lost.tier.map(|t| t.word().to_owned()),
        pullout_use: lost.pullout_use.and_then(share),
        bending_use: lost.bending_use.and_then(share),
    }
}
