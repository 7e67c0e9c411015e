//! The cortex of whole bones: how dense it is where it is thick, and how thick
//! it is on the average.

use pilothole_bone::density::{AssumedCortex, assumed_cortex};
use pilothole_bone::{Blur, Bones, PlateFit, estimate_blur, is_flat};
use pilothole_volume::{Direction, PatientPoint};
use rayon::prelude::*;

use crate::hole::{Edge, EdgeRule};
use crate::params::PathParams;
use crate::path::{Axis, place_outer, sample_profile};
use crate::scene::Scene;

/// What plates are fitted with in a scan.
#[derive(Clone, Debug, PartialEq)]
pub struct CortexModel {
    /// The scan's blur.
    pub blur: Blur,
    /// Level of each bone's cortex, by label from 1.
    pub levels: Vec<CortexLevel>,
    /// A plate with a level of its own below this, HU, is dense cancellous bone.
    pub least_cortical_hu: f64,
}

/// Level of a bone's cortex.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CortexLevel {
    /// Median over thick places, or what is assumed, HU.
    pub hu: f64,
    /// Half of the range that holds the middle 68 %, HU.
    pub sd_hu: f64,
    /// Where it comes from.
    pub from: LevelSource,
}

/// Where a cortex's level comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LevelSource {
    /// So many thick places of the bone.
    ThickPlaces(usize),
    /// Too few of them: what cortical bone is likely to read.
    Assumed,
}

/// Thickness of a bone's cortex over its surface, square to it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CortexThickness {
    /// Mean over the places where a plate of cortex fitted, mm.
    pub mean_mm: f64,
    /// Median over those places, mm.
    pub median_mm: f64,
    /// Standard deviation over those places, mm.
    pub sd_mm: f64,
    /// Those places.
    pub fitted: usize,
    /// Places where the plate is dense cancellous bone.
    pub dense: usize,
    /// Places where a cortex shows and no plate fitted.
    pub refused: usize,
    /// Places where no cortex, or no inner face of one, shows.
    pub unseen: usize,
}

/// Places looked at on a bone's surface for its level.
const LEVEL_PLACES: usize = 400;
/// Places looked at on a bone's surface for its thickness.
const PLACES: usize = 1500;
/// Fewest thick places that make a level.
const LEAST_PLACES: usize = 12;
/// Least share of the places looked at that must be thick: where none is, one in
/// twenty still looks so, along corners. Own choice.
const LEAST_SHARE: f64 = 0.08;
/// Depths at which a voxel's centre counts as lying at the surface, mm.
const AT_SURFACE_MM: f32 = 0.6;
/// Profiles begin this far outside the surface, mm.
const BEFORE_MM: f64 = 8.0;
/// A thick place below this share of what cortical bone is likely to read holds
/// dense cancellous bone, not cortex; own choice.
const LEAST_CORTICAL: f64 = 0.7;
/// A normal is one where the field's slope is this near to 1.
const LEAST_SLOPE: f64 = 0.5;
/// Thickness in blurs from which a fitted plate's level is its own.
const THICK: f64 = 3.0;

impl CortexModel {
    /// Estimate the blur of a scan and read the level of every bone; `None` where
    /// the blur does not show. The scene's own model is not looked at.
    ///
    /// - `kvp`: the scan's; what a cortex is likely to read at it stands in where
    ///   too few thick places show its level.
    pub fn find(
        scene: &Scene<'_>,
        bones: &Bones,
        kvp: Option<f64>,
        params: &PathParams,
    ) -> Option<Self> {
        let assumed = assumed_cortex(kvp);
        let blur = estimate_blur(scene.volume, bones, assumed.hu)?;
        Some(Self::of(scene, blur, assumed, params))
    }

    fn of(scene: &Scene<'_>, blur: Blur, assumed: AssumedCortex, params: &PathParams) -> Self {
        let bones = scene.labels.values().par_iter().copied().max().unwrap_or(0);
        let least_cortical_hu = LEAST_CORTICAL * assumed.hu;
        let bare = Self { blur, levels: Vec::new(), least_cortical_hu };
        let scene = Scene { cortex: Some(&bare), ..*scene };
        let places = at_surface(&scene, bones);
        let levels = (1..=bones)
            .zip(&places)
            .map(|(bone, places)| {
                let faces = faces(&scene, bone, &thinned(places, LEVEL_PLACES), params);
                let levels: Vec<f64> = faces
                    .iter()
                    .filter_map(|face| face.own_level_hu(&scene, &blur))
                    .filter(|hu| *hu >= least_cortical_hu)
                    .collect();
                let looked_at = faces.len();
                CortexLevel::of(levels, looked_at).unwrap_or(CortexLevel::assumed(assumed))
            })
            .collect();
        Self { blur, levels, least_cortical_hu }
    }

    /// The level of a bone's cortex; `None` for what is no bone of the scene.
    pub fn level_of(&self, bone: u8) -> Option<CortexLevel> {
        self.levels.get(usize::from(bone).checked_sub(1)?).copied()
    }
}

impl CortexLevel {
    /// From the levels of thick places among so many looked at.
    fn of(mut levels: Vec<f64>, looked_at: usize) -> Option<Self> {
        let least = LEAST_SHARE * looked_at as f64;
        if levels.len() < LEAST_PLACES || (levels.len() as f64) < least {
            return None;
        }
        levels.sort_by(f64::total_cmp);
        let at = |share: f64| levels[((levels.len() - 1) as f64 * share).round() as usize];
        let from = LevelSource::ThickPlaces(levels.len());
        Some(Self { hu: at(0.5), sd_hu: 0.5 * (at(0.84) - at(0.16)), from })
    }

    const fn assumed(cortex: AssumedCortex) -> Self {
        Self { hu: cortex.hu, sd_hu: cortex.sd_hu, from: LevelSource::Assumed }
    }
}

/// The cortex of a bone, square to its surface, where HU can be trusted.
///
/// `None` where no plate fitted anywhere, as in a scan of unknown blur.
pub fn cortex_thickness(
    scene: &Scene<'_>,
    bone: u8,
    params: &PathParams,
) -> Option<CortexThickness> {
    let places = at_surface(scene, bone).pop()?;
    let faces = faces(scene, bone, &thinned(&places, PLACES), params);
    let least_hu = scene.cortex?.least_cortical_hu;
    let plates = || faces.iter().filter(|face| face.edge.rule == EdgeRule::Plate);
    let is_dense = |face: &&Face| face.fit.is_some_and(|fit| fit.peak_hu < least_hu);
    let dense = plates().filter(is_dense).count();
    let mut fitted: Vec<f64> =
        plates().filter(|face| !is_dense(face)).filter_map(|face| face.edge.cortex_mm).collect();
    fitted.sort_by(f64::total_cmp);
    let refused = faces
        .iter()
        .filter(|face| face.edge.rule == EdgeRule::Halfway && face.edge.width_mm.is_some())
        .count();
    let count = fitted.len() as f64;
    let mean_mm = fitted.iter().sum::<f64>() / count;
    let squares: f64 = fitted.iter().map(|mm| (mm - mean_mm).powi(2)).sum();
    (!fitted.is_empty()).then(|| CortexThickness {
        mean_mm,
        median_mm: fitted[fitted.len() / 2],
        sd_mm: (squares / (count - 1.0).max(1.0)).sqrt(),
        fitted: fitted.len(),
        dense,
        refused,
        unseen: faces.len() - fitted.len() - dense - refused,
    })
}

/// A place on a bone's surface.
struct Face {
    /// On the surface.
    seat: PatientPoint,
    /// Into the bone, square to its surface.
    inward: Direction,
    /// The outer face.
    edge: Edge,
    fit: Option<PlateFit>,
}

impl Face {
    /// Level of the plate there, HU, where it is flat and thick enough to show
    /// its own.
    fn own_level_hu(&self, scene: &Scene<'_>, blur: &Blur) -> Option<f64> {
        let thick_mm = THICK * blur.along_mm(self.inward);
        let fit = self.fit.filter(|fit| fit.thickness_mm >= thick_mm)?;
        is_flat(scene.field, self.seat, self.inward).then_some(fit.peak_hu)
    }
}

/// Voxels that lie at the surface of each bone, labels 1 to `bones`.
fn at_surface(scene: &Scene<'_>, bones: u8) -> Vec<Vec<usize>> {
    let mut places = vec![Vec::new(); usize::from(bones)];
    for at in scene.field.places_between(0.0, AT_SURFACE_MM) {
        let label = scene.labels.values()[at];
        if label > 0 && label <= bones {
            places[usize::from(label) - 1].push(at);
        }
    }
    places
}

/// Some of these places, evenly taken.
fn thinned(places: &[usize], most: usize) -> Vec<usize> {
    let stride = places.len().div_ceil(most).max(1);
    places.iter().copied().step_by(stride).collect()
}

/// The outer faces at these places, in their order; none where HU cannot be
/// trusted or the surface has no normal.
fn faces(scene: &Scene<'_>, bone: u8, places: &[usize], params: &PathParams) -> Vec<Face> {
    let size = scene.grid().size();
    let near = PathParams {
        before_seat_mm: BEFORE_MM,
        reach_mm: params.thickest_cortex_mm + BEFORE_MM,
        ..*params
    };
    places
        .par_iter()
        .filter_map(|at| {
            let at = *at;
            let index = [at % size[0], at / size[0] % size[1], at / (size[0] * size[1])];
            let centre = scene.grid().centre_of(index);
            let inward = inward(scene, centre)?;
            let seat = centre - inward * f64::from(scene.field.at(at));
            if scene.untrusted.has_at(scene.grid(), seat) {
                return None;
            }
            let axis = Axis { seat, direction: inward };
            let profile = sample_profile(scene, axis, &near);
            let (edge, fit) = place_outer(scene, axis, bone, &profile, params);
            Some(Face { seat, inward, edge, fit })
        })
        .collect()
}

/// The way in, square to the surface; `None` where the field is flat.
fn inward(scene: &Scene<'_>, at: PatientPoint) -> Option<Direction> {
    let gradient = scene.field.gradient(at);
    (gradient.length_mm() > LEAST_SLOPE).then(|| Direction::along(gradient))?
}
