//! How much pull a screw would hold, with a band and what the band is from.
//!
//! Thread shear after Chapman, summed along the engaged thread: density from
//! HU by the scan's calibration, shear strength from density by a named law,
//! the cortex by its own. Laws differ by more than any measurement does, so
//! others are shown beside the one in use. It says nothing of cyclic loosening
//! or of bending, and no pelvic screw was tested against it.

mod chapman;
mod held;
mod law;
mod params;
mod spread;

pub use chapman::{CANNULATED, shear_mm, thread_shape_factor, thread_shear_n};
pub use law::{CortexLaw, DensityLine, LawDensity, Shear, ShearLaw, apparent_g_cm3, ash_g_cm3};
pub use params::StrengthParams;

pub(crate) use held::{Held, Reading};

use pilothole_plan::Screw;

use crate::finding::Finding;
use crate::hole::{Edge, EdgeRule, HoleResult, Pullout};
use crate::path::Axis;
use crate::scene::Scene;
use held::Slice;
use spread::{LooseEnds, sums};

/// A source of the spread, and its share of the variance, 0 to 1.
pub type Share = (&'static str, f64);

/// What a screw holds, and reservations about it.
#[derive(Clone, Debug, PartialEq)]
pub struct Strength {
    /// Pull-out; `None` without purchase, without a law, or where no part of
    /// the thread has a density that the law covers.
    pub pullout: Option<Pullout>,
    /// Reservations, with the hole's index.
    pub findings: Vec<Finding>,
}

/// Strength of a hole's screw at its recommended length.
///
/// The band holds the calibration, the law's own spread, the thread's shape
/// and the ends of the bone. What the cannulation of a screw or tapping costs
/// is not in it.
pub fn strength(
    scene: &Scene<'_>,
    screw: &Screw,
    hole: &HoleResult,
    params: &StrengthParams,
) -> Strength {
    let mut found = Strength { pullout: None, findings: Vec::new() };
    let (Some(law), Some(held)) = (params.laws.first(), held_by(screw, hole)) else {
        return found;
    };
    let slices = held.slices(scene, Reading::FULL);
    found.findings = reservations(&slices, law, params)
        .into_iter()
        .map(|finding| finding.of_hole(hole.hole))
        .collect();
    let middle = sums(&slices, &params.calibration, law, &params.cortex).total();
    if middle <= 0.0 {
        return found;
    }
    let scale = shear_mm(screw) * params.thread_scale;
    let ends = loose_ends(&slices, &held, [hole.near, hole.far], law, params);
    let spread = spread::spread(&slices, &ends, hole.stream, params, law);
    let other_laws = params.laws[1..]
        .iter()
        .map(|other| {
            let sum = sums(&slices, &params.calibration, other, &params.cortex).total();
            (other.name, scale * sum)
        })
        .collect();
    let (low, high) = if params.samples > 0 { (spread.low, spread.high) } else { (middle, middle) };
    found.pullout = Some(Pullout {
        estimate_n: scale * middle,
        low_n: scale * low,
        high_n: scale * high,
        method: format!(
            "thread shear (Chapman 1996); cancellous {}, cortex {}",
            law.name, params.cortex.name
        ),
        shares: if params.samples > 0 { spread.shares } else { Vec::new() },
        other_laws,
    });
    let core = core_yields(screw, scale * middle, params);
    found.findings.extend(core.map(|finding| finding.of_hole(hole.hole)));
    found
}

/// That the screw's own core gives way before its thread does.
fn core_yields(screw: &Screw, pullout_n: f64, params: &StrengthParams) -> Option<Finding> {
    let core_mm2 = std::f64::consts::FRAC_PI_4 * screw.core_diameter_mm.powi(2);
    let core_n = core_mm2 * params.yield_mpa;
    (pullout_n > core_n).then(|| {
        Finding::new(
            "strength.core_yields",
            "The screw's own core yields before the thread lets go: the pull-out is the bone's, not what the screw carries.",
        )
        .measured(pullout_n, Some(core_n), "N")
    })
}

/// The middle estimate alone, N; 0 without thread in bone or without a law.
/// With a full reading the same number as [`strength`] gives.
pub(crate) fn estimate_n(
    scene: &Scene<'_>,
    screw: &Screw,
    held: &Held<'_>,
    reading: Reading,
    params: &StrengthParams,
) -> f64 {
    let Some(law) = params.laws.first() else { return 0.0 };
    let sum = sums(&held.slices(scene, reading), &params.calibration, law, &params.cortex).total();
    shear_mm(screw) * params.thread_scale * sum
}

/// The thread in bone of a judged hole at its recommended length.
fn held_by<'a>(screw: &Screw, hole: &'a HoleResult) -> Option<Held<'a>> {
    let (from_mm, to_mm) = screw.thread_mm(hole.length_mm?);
    let (near, far) = (hole.near?, hole.far?);
    Some(Held {
        axis: Axis { seat: hole.seat, direction: hole.direction },
        bone: hole.bone?,
        thread_mm: [from_mm.max(near.at_mm), to_mm.min(far.at_mm)],
        segments: &hole.segments,
        radius_mm: 0.5 * screw.major_diameter_mm,
    })
}

/// The ends of the thread that are ends of the bone.
fn loose_ends(
    slices: &[Slice],
    held: &Held<'_>,
    edges: [Option<Edge>; 2],
    law: &ShearLaw,
    params: &StrengthParams,
) -> LooseEnds {
    let at = [slices.first(), slices.last()];
    std::array::from_fn(|end| {
        let (Some(slice), Some(edge)) = (at[end], edges[end]) else { return (0.0, 0.0) };
        if edge.rule == EdgeRule::Seat || (held.thread_mm[end] - edge.at_mm).abs() > 1e-9 {
            return (0.0, 0.0);
        }
        let one = std::slice::from_ref(slice);
        let sum = sums(one, &params.calibration, law, &params.cortex).total();
        (sum / slice.length_mm, edge.se_mm.unwrap_or(params.edge_sd_mm))
    })
}

fn reservations(slices: &[Slice], law: &ShearLaw, params: &StrengthParams) -> Vec<Finding> {
    let line = &params.calibration;
    let share_where = |counts: &dyn Fn(&Slice) -> bool| {
        let all: f64 = slices.iter().map(|s| s.engaged_mm).sum();
        let part: f64 = slices.iter().filter(|s| counts(s)).map(|s| s.engaged_mm).sum();
        if all > 0.0 { part / all } else { 0.0 }
    };
    let mut findings = Vec::new();
    let outside = share_where(&|s| !s.cortical && !law.shear(line.ha_g_cm3(s.hu)).inside);
    if outside > 0.0 {
        findings.push(
            Finding::new(
                "strength.outside_law",
                format!(
                    "Part of the thread lies in bone of a density that {} does not cover; below its range the bone is taken to hold nothing, above it what its densest holds.",
                    law.name
                ),
            )
            .measured(outside, Some(0.0), "1"),
        );
    }
    let beyond = share_where(&|s| s.hu < line.valid_hu[0] || s.hu > line.valid_hu[1]);
    if beyond > 0.0 {
        findings.push(
            Finding::new(
                "strength.beyond_calibration",
                "Part of the thread lies in bone whose HU the density calibration was not made over; its line is carried on.",
            )
            .measured(beyond, Some(0.0), "1"),
        );
    }
    findings
}
