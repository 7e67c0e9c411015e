//! A cortex on a path as a plate seen through the scan's blur.
//!
//! A plate a few blurs thick shows its own level and is fitted freely. A
//! thinner one shows only level times thickness: the level of the bone's thick
//! places stands in, or what cortical bone is likely to read, with its spread.

use pilothole_bone::{FitRefused, OWN_LEVEL_BLURS, PlateFit, PlateHints, fit_plate};
use pilothole_volume::{Direction, PatientPoint};

use crate::cortex::CortexLevel;
use crate::params::PathParams;
use crate::scene::Scene;

/// What a plate along a direction is fitted with.
#[derive(Clone, Copy, Debug)]
pub(super) struct PlateLook {
    /// Blur of the plate as the direction sees it, mm.
    sigma_mm: f64,
    /// Blur along the plate's normal, mm.
    normal_sigma_mm: f64,
    /// Angle between the direction and the plate's normal, rad; 0 where the
    /// surface has no normal.
    incidence_rad: f64,
    /// Level of the bone's cortex.
    level: Option<CortexLevel>,
    /// Length of a voxel along the direction, mm.
    voxel_mm: f64,
}

impl PlateLook {
    /// Of a bone's surface at a place; `None` where the scan's blur is not known.
    ///
    /// What blur does to a plate happens along its normal; a line that slants
    /// through sees that stretched by the cosine of the angle between them.
    pub(super) fn of(
        scene: &Scene<'_>,
        direction: Direction,
        bone: u8,
        at: PatientPoint,
    ) -> Option<Self> {
        let model = scene.cortex?;
        let normal = normal(scene, at).unwrap_or(direction);
        let cosine = normal.dot(direction).abs().min(1.0);
        let normal_sigma_mm = model.blur.along_mm(normal);
        Some(Self {
            sigma_mm: normal_sigma_mm / cosine.max(MOST_INCIDENCE_RAD.cos()),
            normal_sigma_mm,
            incidence_rad: cosine.acos(),
            level: model.level_of(bone),
            voxel_mm: scene.volume.grid().voxel_step_mm(direction),
        })
    }
}

impl PlateLook {
    /// How far outside a sheet its halfway face lies along the direction, mm: the
    /// most that a halfway face of any plate does.
    pub(super) fn most_off_mm(&self) -> f64 {
        SHEET * self.normal_sigma_mm / self.incidence_rad.cos()
    }
}

/// How far past a face a profile is fitted at most along a direction, mm; 0
/// where the scan's blur is not known.
pub(super) fn most_reach_mm(scene: &Scene<'_>) -> f64 {
    scene.cortex.map_or(0.0, |model| {
        let blur = &model.blur;
        REACH * blur.in_plane_sigma_mm.max(blur.axial_sigma_mm) / MOST_INCIDENCE_RAD.cos()
    })
}

/// The normal of the envelope, over more than a voxel: it is rough.
fn normal(scene: &Scene<'_>, at: PatientPoint) -> Option<Direction> {
    Direction::along(scene.field.gradient_over(at, NORMAL_REACH_MM))
}

/// A cortex as it shows before a fit; depths count inwards, mm.
#[derive(Clone, Copy, Debug)]
pub(super) struct Crest {
    /// Outer face, halfway.
    pub(super) outer_mm: f64,
    /// Inner face, halfway.
    pub(super) inner_mm: f64,
    /// Highest value, HU.
    pub(super) peak_hu: f64,
    /// Level outside, HU.
    pub(super) outside_hu: f64,
}

/// Half of the way over which the envelope's normal is taken, mm: less than the
/// field reaches to each side.
const NORMAL_REACH_MM: f64 = 1.5;
/// Largest angle to the surface's normal at which a line sees a plate, rad: 70°,
/// where it sees the blur three times as wide, and over that length a bone is
/// seldom flat. Own choice: on copies of an open scan with noise and blur, ends
/// move less with 70° than with 60°.
pub const MOST_INCIDENCE_RAD: f64 = 70.0 / 180.0 * std::f64::consts::PI;
/// The profile is fitted to this many blurs past both faces, where a blurred
/// step is within a thousandth of its level.
const REACH: f64 = 3.5;
/// What the blur may be off by, as a share of it: its two ways of being read
/// differ by 3 % on phantoms and by 11 % on an open scan. A plate that barely
/// shows its own level depends on it.
pub const BLUR_SD: f64 = 0.07;
/// Past this many blurs the level of elsewhere says nothing more.
const THICK: f64 = 4.0;
/// Fewest samples that a window is read in.
const SAMPLES: f64 = 16.0;
/// Rise behind a valley, as a share of the cortex's own, that is another
/// structure and ends the window.
const OTHER_SHARE: f64 = 0.15;
/// A halfway face of a thin sheet lies this many blurs outside it: half of the
/// width of a Gaussian at half height.
const SHEET: f64 = 1.18;
/// What a plate's thickness takes off that, at least: exact excesses are 0.73,
/// 0.39, 0.17 and 0.06 blurs at a thickness of 1, 2, 3 and 4 blurs.
const PER_THICKNESS: f64 = 0.38;
/// How far from its halfway face less that excess an edge may lie, in blurs;
/// further, something else than a plate was fitted. Own choice.
pub const MOST_OFF: f64 = 0.3;
/// What a cortex is off by that is no plate, in blurs: the root mean square
/// over the ends of the made hip, 0.2 mm.
pub const MODEL_SD: f64 = 0.3;

/// Fit a plate to the profile around a crest.
pub(super) fn fit(
    hu: impl Fn(f64) -> f64,
    step_mm: f64,
    crest: &Crest,
    look: &PlateLook,
    params: &PathParams,
) -> Result<PlateFit, FitRefused> {
    if look.incidence_rad > MOST_INCIDENCE_RAD {
        let (incidence_rad, limit_rad) = (look.incidence_rad, MOST_INCIDENCE_RAD);
        return Err(FitRefused::Grazing { incidence_rad, limit_rad });
    }
    let reach_mm = REACH * look.sigma_mm;
    let other_hu = params.wobble_hu.max(OTHER_SHARE * (crest.peak_hu - crest.outside_hu));
    let from_mm =
        crest.outer_mm - clear_mm(|d| hu(crest.outer_mm - d), reach_mm, step_mm, other_hu);
    let to_mm = crest.inner_mm + clear_mm(|d| hu(crest.inner_mm + d), reach_mm, step_mm, other_hu);
    let stride_mm = step_mm.max((0.5 * look.voxel_mm).min((to_mm - from_mm) / SAMPLES));
    let count = ((to_mm - from_mm) / stride_mm).floor() as usize;
    let samples: Vec<(f64, f64)> = (0..=count)
        .map(|i| from_mm + i as f64 * stride_mm)
        .map(|depth| (depth, hu(depth)))
        .collect();
    let with_blur = |sigma_mm: f64, cortex_hu: Option<f64>| {
        let samples_per_voxel = look.voxel_mm / stride_mm;
        let hints = PlateHints { cortex_hu, samples_per_voxel, ..PlateHints::default() };
        fit_plate(&samples, sigma_mm, hints)
    };
    let with = |cortex_hu| with_blur(look.sigma_mm, cortex_hu);
    let least_mm = OWN_LEVEL_BLURS * look.sigma_mm;
    let own = with(None).and_then(|fit| match fit.thickness_mm {
        thickness_mm if thickness_mm < least_mm => Err(FitRefused::Thin { thickness_mm, least_mm }),
        _ => Ok(fit),
    });
    if own.is_ok_and(|fit| fit.thickness_mm > THICK * look.sigma_mm) {
        return own;
    }
    let Some(level) = look.level.filter(|level| level.hu > crest.peak_hu) else { return own };
    let known = with(Some(level.hu)).and_then(|fit| {
        let denser = with(Some(level.hu + level.sd_hu))?;
        Ok(with_other(fit, &denser))
    });
    match (own, known) {
        (Ok(own), Ok(known)) => {
            let wider = with_blur((1.0 + BLUR_SD) * look.sigma_mm, None);
            let own = wider.map(|wider| with_other(own, &wider));
            Ok(own.ok().filter(|own| own.se_mm <= known.se_mm).unwrap_or(known))
        }
        (Err(_), known) => known,
        (own, Err(_)) => own,
    }
}

/// A fit with the errors of what it was given: what another level or blur, one
/// spread off, would change is added.
fn with_other(mut fit: PlateFit, other: &PlateFit) -> PlateFit {
    fit.se_mm = fit.se_mm.hypot(fit.thickness_mm - other.thickness_mm);
    fit.edge_se_mm[0] = fit.edge_se_mm[0].hypot(fit.near_edge_mm - other.near_edge_mm);
    fit.edge_se_mm[1] = fit.edge_se_mm[1].hypot(fit.far_edge_mm - other.far_edge_mm);
    fit
}

/// A fit whose outer edge stays where the crossing and the halfway face allow,
/// with what a real cortex is off by in its errors.
pub(super) fn held_to(
    mut fit: PlateFit,
    trusted_mm: f64,
    crest: &Crest,
    look: &PlateLook,
) -> Result<PlateFit, FitRefused> {
    let sigma_mm = look.sigma_mm;
    let moved_mm = fit.near_edge_mm - crest.outer_mm;
    let excess_mm = (SHEET * sigma_mm - PER_THICKNESS * fit.thickness_mm).max(0.0);
    let off_mm = MOST_OFF * sigma_mm;
    let possible = -off_mm..=excess_mm + off_mm;
    let from_envelope_mm = fit.near_edge_mm.abs();
    if from_envelope_mm > trusted_mm {
        return Err(FitRefused::FarFromEnvelope { off_mm: from_envelope_mm, limit_mm: trusted_mm });
    }
    if !possible.contains(&moved_mm) {
        let expected_mm = [*possible.start(), *possible.end()];
        return Err(FitRefused::OffItsFace { moved_mm, expected_mm });
    }
    fit.edge_se_mm = fit.edge_se_mm.map(|se| se.hypot(MODEL_SD * sigma_mm));
    Ok(fit)
}

/// How far, up to a reach, values go on before they have risen by more than
/// `other_hu` above their lowest; then back to the lowest.
fn clear_mm(hu: impl Fn(f64) -> f64, reach_mm: f64, step_mm: f64, other_hu: f64) -> f64 {
    let (mut lowest, mut at_mm, mut depth) = (f64::INFINITY, 0.0, 0.0);
    while depth <= reach_mm {
        let here = hu(depth);
        if here.is_nan() {
            return (depth - step_mm).max(0.0);
        }
        if here < lowest {
            (lowest, at_mm) = (here, depth);
        } else if here > lowest + other_hu {
            return at_mm;
        }
        depth += step_mm;
    }
    reach_mm
}
