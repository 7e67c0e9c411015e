//! One hole as it is written.

use pilothole_assess::{
    Beyond, Edge, EdgeRule, HoleResult, HuSet, HuStatistics, Profile, Pullout, Robust, Segment,
    Tissue,
};
use pilothole_plan::Plan;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::scan::{BandRecord, CalibrationRecord};
use crate::number::{deg, hu, kept, mm, newton, share};

/// Everything known about one hole; null where it could not be measured.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct HoleRecord {
    /// From the plan.
    pub id: String,
    /// `cup` or `flange`.
    pub zone: String,
    /// `ilium`, `ischium` or `pubis`, where the plan says.
    pub region: Option<String>,
    /// Name of the screw.
    pub screw: String,
    /// Outer diameter of its thread, mm.
    pub major_diameter_mm: f64,
    /// Diameter of its core, mm.
    pub core_diameter_mm: f64,
    /// Planned length, seat to tip, mm.
    pub planned_length_mm: Option<f64>,
    /// Seat, mm, LPS.
    pub seat_mm: [f64; 3],
    /// Into bone, unit, LPS.
    pub direction: [f64; 3],
    /// Angle allowed about the direction, degrees.
    pub swivel_deg: Option<f64>,
    /// Label of the bone entered.
    pub bone: Option<u8>,
    /// First entry into the envelope, mm from the seat.
    pub near_cortex_mm: Option<f64>,
    /// First exit from it, mm from the seat.
    pub far_cortex_mm: Option<f64>,
    /// How the entry was placed.
    pub near: Option<EdgeRecord>,
    /// How the exit was placed.
    pub far: Option<EdgeRecord>,
    /// Exit less entry, mm.
    pub bone_depth_mm: Option<f64>,
    /// Recommended length, mm; null when no stocked length is safe.
    pub length_mm: Option<f64>,
    /// Threaded length inside the envelope at the recommended length, mm.
    pub purchase_mm: Option<f64>,
    /// The same at the planned length.
    pub planned_purchase_mm: Option<f64>,
    /// Purchase weighted by the share of the thread's ring inside, mm.
    pub engaged_mm: Option<f64>,
    /// Hounsfield units over the purchase.
    pub hu: Option<HuRecord>,
    /// The mean of the thread's Hounsfield units as density.
    pub density_mg_cm3: Option<DensityRecord>,
    /// The thread's mean as it would be at 120 kVp, HU; null where the scan's
    /// voltage is not known, or the mean is not that of bone (0 HU or less).
    pub thread_hu_at_120_kvp: Option<BandRecord>,
    /// From the seat to the far cortex without gaps.
    pub segments: Vec<SegmentRecord>,
    /// Cortices engaged, as far as is known: one of unknown thickness counts
    /// where the thread passes all of its width.
    pub cortices: usize,
    /// Least distance from the screw's surface to the envelope's, mm.
    pub side_wall_mm: Option<f64>,
    /// Where that is, mm from the seat.
    pub side_wall_at_mm: Option<f64>,
    /// What lies past the tip.
    pub beyond: BeyondRecord,
    /// Pull-out strength.
    pub pullout_n: Option<PulloutRecord>,
    /// Under wrong placements.
    pub robust: Option<RobustRecord>,
    /// `good`, `fair`, `poor`, `none` or `unknown`.
    pub purchase: String,
    /// Codes that led to the grade.
    pub reasons: Vec<String>,
    /// Fraction of the purchase whose numbers can be trusted.
    pub trust: Option<f64>,
    /// Hounsfield units along the axis.
    pub profile: ProfileRecord,
}

/// One end of the bone on the path.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct EdgeRecord {
    /// mm from the seat.
    pub at_mm: Option<f64>,
    /// `plate`, `halfway`, `threshold`, `envelope` or `seat`.
    pub rule: String,
    /// Standard error of the position, mm.
    pub se_mm: Option<f64>,
    /// How far outside the bone a halfway end may lie, mm; null by any other rule,
    /// and where the scan's blur is not known.
    pub most_off_mm: Option<f64>,
    /// Thickness of the cortex along the path, mm, by a fitted plate; null where
    /// none fits.
    pub cortex_mm: Option<f64>,
    /// Standard error of the thickness, mm.
    pub cortex_se_mm: Option<f64>,
    /// Width of the cortex on the path at half of its height, mm; blur is in it,
    /// so it is no thickness.
    pub width_mm: Option<f64>,
    /// Highest value of the cortex on the path, HU.
    pub peak_hu: Option<f64>,
    /// Angle between path and surface normal, degrees.
    pub incidence_deg: Option<f64>,
}

/// Hounsfield units over the purchase.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct HuRecord {
    /// Core cylinder.
    pub core: StatisticsRecord,
    /// From core to outer radius of the thread.
    pub thread: StatisticsRecord,
    /// The axis alone.
    pub axis: StatisticsRecord,
}

/// Density of what the thread holds, by the report's calibration, mg/cm³.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct DensityRecord {
    /// Mean.
    pub mean: Option<f64>,
    /// Standard error from the calibration, where known.
    pub se: Option<f64>,
    /// Of what: `HA`, `K2HPO4`.
    pub material: String,
}

/// A summary of Hounsfield units.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StatisticsRecord {
    /// Volume-weighted mean.
    pub mean: Option<f64>,
    /// Standard deviation.
    pub sd: Option<f64>,
    /// Least.
    pub min: Option<f64>,
    /// 10th percentile.
    pub p10: Option<f64>,
    /// Median.
    pub p50: Option<f64>,
    /// 90th percentile.
    pub p90: Option<f64>,
    /// Largest.
    pub max: Option<f64>,
    /// Samples.
    pub samples: usize,
}

/// A stretch of the path.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SegmentRecord {
    /// mm from the seat.
    pub from_mm: f64,
    /// mm from the seat.
    pub to_mm: f64,
    /// `outside`, `cortical`, `cancellous`, `void`, `cement` or `metal`.
    pub tissue: String,
}

/// What lies past the tip, mm from it; null where not met.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BeyondRecord {
    /// Bone met again.
    pub bone_mm: Option<f64>,
    /// Metal.
    pub metal_mm: Option<f64>,
    /// Skin.
    pub skin_mm: Option<f64>,
    /// End of the scan.
    pub scan_end_mm: Option<f64>,
}

/// A name and a number.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Share {
    /// Of what.
    pub name: String,
    /// How much.
    pub value: Option<f64>,
}

/// Pull-out strength, N.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PulloutRecord {
    /// Middle estimate.
    pub estimate: Option<f64>,
    /// 5th percentile.
    pub low: Option<f64>,
    /// 95th percentile.
    pub high: Option<f64>,
    /// Formula and law.
    pub method: String,
    /// Share of the variance by cause, largest first.
    pub shares: Vec<Share>,
    /// Estimates under other laws, N.
    pub other_laws: Vec<Share>,
}

/// Under wrong placements.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RobustRecord {
    /// Share whose tip keeps the far-cortex margin.
    pub keeps_margin: Option<f64>,
    /// Share that stay inside sideways.
    pub stays_inside: Option<f64>,
    /// Share that keep the grade.
    pub keeps_grade: Option<f64>,
    /// Standard error of the shares, at most.
    pub share_se: Option<f64>,
    /// 10th percentile of the purchase.
    pub purchase_p10_mm: Option<f64>,
    /// Median purchase.
    pub purchase_p50_mm: Option<f64>,
    /// Largest shift forgiven in the worst direction.
    pub forgiven_shift_mm: Option<f64>,
    /// Largest tilt forgiven in the worst direction.
    pub forgiven_tilt_deg: Option<f64>,
    /// Forgiven tilt by azimuth, evenly spaced.
    pub tilt_ring_deg: Vec<Option<f64>>,
    /// Placements tried.
    pub samples: usize,
}

/// Hounsfield units along the axis; null where nothing was measured.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ProfileRecord {
    /// First sample, mm from the seat.
    pub from_mm: f64,
    /// Between samples, mm.
    pub step_mm: f64,
    /// HU.
    pub hu: Vec<Option<f64>>,
}

impl HoleRecord {
    /// The wire form of a result for a hole of the plan; `None` when the plan
    /// has no such hole.
    pub(crate) fn of(
        result: &HoleResult,
        plan: &Plan,
        calibration: Option<&CalibrationRecord>,
        to_120_kvp: Option<BandRecord>,
    ) -> Option<Self> {
        let hole = plan.holes.get(result.hole)?;
        let screw = plan.screw_of(hole);
        Some(Self {
            id: hole.id.clone(),
            zone: hole.zone.word().to_owned(),
            region: hole.region.map(|r| r.word().to_owned()),
            screw: screw.name.clone(),
            major_diameter_mm: screw.major_diameter_mm,
            core_diameter_mm: screw.core_diameter_mm,
            planned_length_mm: hole.length_mm.and_then(mm),
            seat_mm: result.seat.0.map(|c| mm(c).unwrap_or_default()),
            direction: result.direction.components().map(|c| kept(c, 6).unwrap_or_default()),
            swivel_deg: deg(hole.swivel_rad),
            bone: result.bone,
            near_cortex_mm: result.near.and_then(|e| mm(e.at_mm)),
            far_cortex_mm: result.far.and_then(|e| mm(e.at_mm)),
            near: result.near.map(edge),
            far: result.far.map(edge),
            bone_depth_mm: result.bone_depth_mm().and_then(mm),
            length_mm: result.length_mm.and_then(mm),
            purchase_mm: mm(result.purchase_mm),
            planned_purchase_mm: result.planned_purchase_mm.and_then(mm),
            engaged_mm: mm(result.engaged_mm),
            hu: result.hu.as_ref().map(hounsfield),
            density_mg_cm3: result
                .hu
                .as_ref()
                .zip(calibration)
                .map(|(hu, line)| density(hu.thread.mean, line)),
            thread_hu_at_120_kvp: result
                .hu
                .as_ref()
                .zip(to_120_kvp)
                .filter(|(hu, _)| hu.thread.mean > 0.0)
                .map(|(hu, factor)| scaled(hu.thread.mean, factor)),
            segments: result.segments.iter().filter_map(segment).collect(),
            cortices: result.cortices,
            side_wall_mm: result.side_wall_mm.and_then(mm),
            side_wall_at_mm: result.side_wall_at_mm.and_then(mm),
            beyond: beyond(result.beyond),
            pullout_n: result.pullout.as_ref().map(pullout),
            robust: result.robust.as_ref().map(robust),
            purchase: result.grade.word().to_owned(),
            reasons: result.reasons.iter().map(|r| (*r).to_owned()).collect(),
            trust: result.trust.and_then(share),
            profile: profile(&result.profile),
        })
    }

    /// The length the set is judged at: recommended, else planned, mm.
    pub fn set_length_mm(&self) -> Option<f64> {
        self.length_mm.or(self.planned_length_mm)
    }

    /// The planned length where it is not the one to order, mm.
    pub(crate) fn planned_otherwise_mm(&self) -> Option<f64> {
        self.planned_length_mm.filter(|planned| Some(*planned) != self.length_mm)
    }

    /// Whether it is known that no thread is in bone, so that numbers about
    /// the purchase do not exist rather than being unknown.
    pub(crate) fn has_no_purchase(&self) -> bool {
        self.purchase == "none"
    }
}

fn edge(edge: Edge) -> EdgeRecord {
    EdgeRecord {
        at_mm: mm(edge.at_mm),
        rule: match edge.rule {
            EdgeRule::Plate => "plate",
            EdgeRule::Halfway => "halfway",
            EdgeRule::Threshold => "threshold",
            EdgeRule::Envelope => "envelope",
            EdgeRule::Seat => "seat",
        }
        .to_owned(),
        se_mm: edge.se_mm.and_then(mm),
        most_off_mm: edge.most_off_mm.and_then(mm),
        cortex_mm: edge.cortex_mm.and_then(mm),
        cortex_se_mm: edge.cortex_se_mm.and_then(mm),
        width_mm: edge.width_mm.and_then(mm),
        peak_hu: edge.peak_hu.and_then(hu),
        incidence_deg: edge.incidence_rad.and_then(deg),
    }
}

fn hounsfield(set: &HuSet) -> HuRecord {
    HuRecord {
        core: statistics(&set.core),
        thread: statistics(&set.thread),
        axis: statistics(&set.axis),
    }
}

fn density(mean_hu: f64, line: &CalibrationRecord) -> DensityRecord {
    DensityRecord {
        mean: kept(line.slope * mean_hu + line.intercept, 2),
        se: line.se_at(mean_hu).and_then(|v| kept(v, 2)),
        material: line.material.clone(),
    }
}

fn scaled(mean_hu: f64, factor: BandRecord) -> BandRecord {
    let by = |factor: Option<f64>| factor.and_then(|factor| hu(mean_hu * factor));
    BandRecord { estimate: by(factor.estimate), low: by(factor.low), high: by(factor.high) }
}

fn statistics(s: &HuStatistics) -> StatisticsRecord {
    StatisticsRecord {
        mean: hu(s.mean),
        sd: hu(s.sd),
        min: hu(s.min),
        p10: hu(s.p10),
        p50: hu(s.p50),
        p90: hu(s.p90),
        max: hu(s.max),
        samples: s.samples,
    }
}

fn segment(segment: &Segment) -> Option<SegmentRecord> {
    Some(SegmentRecord {
        from_mm: mm(segment.from_mm)?,
        to_mm: mm(segment.to_mm)?,
        tissue: match segment.tissue {
            Tissue::Outside => "outside",
            Tissue::Cortical => "cortical",
            Tissue::Cancellous => "cancellous",
            Tissue::Void => "void",
            Tissue::Cement => "cement",
            Tissue::Metal => "metal",
        }
        .to_owned(),
    })
}

fn beyond(beyond: Beyond) -> BeyondRecord {
    BeyondRecord {
        bone_mm: beyond.bone_mm.and_then(mm),
        metal_mm: beyond.metal_mm.and_then(mm),
        skin_mm: beyond.skin_mm.and_then(mm),
        scan_end_mm: beyond.scan_end_mm.and_then(mm),
    }
}

fn pullout(pullout: &Pullout) -> PulloutRecord {
    let named = |list: &[(&'static str, f64)], round: fn(f64) -> Option<f64>| {
        list.iter().map(|(name, v)| Share { name: (*name).to_owned(), value: round(*v) }).collect()
    };
    PulloutRecord {
        estimate: newton(pullout.estimate_n),
        low: newton(pullout.low_n),
        high: newton(pullout.high_n),
        method: pullout.method.clone(),
        shares: named(&pullout.shares, share),
        other_laws: named(&pullout.other_laws, newton),
    }
}

fn robust(robust: &Robust) -> RobustRecord {
    RobustRecord {
        keeps_margin: share(robust.keeps_margin),
        stays_inside: share(robust.stays_inside),
        keeps_grade: share(robust.keeps_grade),
        share_se: share(robust.share_se),
        purchase_p10_mm: mm(robust.purchase_p10_mm),
        purchase_p50_mm: mm(robust.purchase_p50_mm),
        forgiven_shift_mm: mm(robust.forgiven_shift_mm),
        forgiven_tilt_deg: deg(robust.forgiven_tilt_rad),
        tilt_ring_deg: robust.tilt_ring_rad.iter().map(|t| deg(*t)).collect(),
        samples: robust.samples,
    }
}

fn profile(profile: &Profile) -> ProfileRecord {
    ProfileRecord {
        from_mm: mm(profile.from_mm).unwrap_or_default(),
        step_mm: kept(profile.step_mm, 6).unwrap_or_default(),
        hu: profile.hu.iter().map(|v| hu(*v)).collect(),
    }
}
