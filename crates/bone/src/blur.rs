//! How blurred is the scan: in the plane and across slices.

mod edges;
mod plates;

use pilothole_volume::{Direction, Field, Offset, PatientPoint, Volume};

use crate::bones::Bones;

/// Gaussian blur of a scan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Blur {
    /// Standard deviation within slices, mm.
    pub in_plane_sigma_mm: f64,
    /// Standard deviation across slices, mm.
    pub axial_sigma_mm: f64,
    /// Unit normal of the slices.
    pub normal: Direction,
    /// Where the numbers come from.
    pub from: BlurSource,
}

/// Where a blur comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum BlurSource {
    /// Both measured at thick cortices.
    Measured {
        /// Profiles used within slices.
        in_plane: usize,
        /// Profiles used across slices.
        axial: usize,
    },
    /// Within slices measured; across slices the same widened by a slice as
    /// thick as the slice distance.
    MeasuredInPlane {
        /// Profiles used.
        in_plane: usize,
    },
    /// No cortex is thick: the blur with which plates fit best. Across slices
    /// the same widened by a slice as thick as the slice distance.
    Plates {
        /// Profiles used.
        in_plane: usize,
    },
}

impl Blur {
    /// Blur along a direction, mm: the two combined at its angle to the slices.
    pub fn along_mm(&self, direction: Direction) -> f64 {
        let cosine = direction.dot(self.normal);
        let (in_plane, axial) = (self.in_plane_sigma_mm, self.axial_sigma_mm);
        (in_plane * in_plane * (1.0 - cosine * cosine) + axial * axial * cosine * cosine).sqrt()
    }
}

/// Profiles reach this far to each side of the surface, mm.
const REACH_MM: f64 = 7.0;
/// Step of a profile, mm.
const STEP_MM: f64 = 0.2;
/// Over this reach a surface counts as flat that leaves its tangent plane by no
/// more than the second, mm: a radius of 5 mm.
const FLAT_REACH_MM: f64 = 2.0;
/// See [`FLAT_REACH_MM`].
const MOST_BEND_MM: f64 = 0.4;
/// Surface points looked at.
const MOST_POINTS: usize = 4000;
/// Blurs outside of this are something else, mm.
const POSSIBLE_MM: std::ops::RangeInclusive<f64> = 0.15..=2.5;
/// Edges sharper than this share of the plates' blur are no edges of thick
/// cortices: a line along a corner sees more of a thin wall than there is, and a
/// thin wall's edge is steeper than the blur's. Such edges showed 0.82 to 0.85
/// of it in boxes of thin walls; true ones 0.90 on an open scan and 0.97 to 1.03
/// on phantoms.
const LEAST_OF_PLATES: f64 = 0.875;
/// Cosine of the angle between a surface's normal and the slices' below which
/// the surface shows the blur within slices.
const WITHIN: f64 = 0.25;
/// The same above which it shows the blur across them.
const ACROSS: f64 = 0.95;

/// Estimate the blur from the bones' surface.
///
/// From the outer edges of thick cortices where there are any: at surface points
/// whose normal lies in the slices (or along their normal) the distance between
/// a quarter and three quarters of the rise is 1.349 standard deviations; their
/// median counts. Else, or where such edges are clearly sharper than whole
/// cortices, from these: plates of any thickness whose blur is fitted with them;
/// their lower quartile counts, over all plates less what a slice adds where too
/// few have their normal in the slices. The blur of the trilinear reading is in it, as it
/// is in profiles to be fitted. `None` when too few profiles within the slices
/// are usable: 12 edges, 40 plates.
///
/// - `level_hu`: what a cortex is likely to read, asked where none is thick
///   ([`crate::density::assumed_cortex`]).
pub fn estimate_blur(volume: &Volume, bones: &Bones, level_hu: f64) -> Option<Blur> {
    let steps = bones.grid.steps();
    let normal = Direction::along(steps[0].cross(steps[1]))?;
    let (mut within, mut across) = (Vec::new(), Vec::new());
    let all = surface_points(bones);
    for (at, outward) in all.iter().copied() {
        let cosine = outward.dot(normal).abs();
        if cosine < WITHIN {
            within.push((at, outward));
        } else if cosine > ACROSS {
            across.push((at, outward));
        }
    }
    let slice_mm = bones.grid.spacing_mm()[2];
    let by_slices = |sigma_mm: f64| sigma_mm.hypot(slice_mm / 12.0_f64.sqrt());
    let blur = |in_plane_sigma_mm, axial_sigma_mm, from| {
        Some(Blur { in_plane_sigma_mm, axial_sigma_mm, normal, from })
    };
    // What a slice adds along a plate's normal.
    let slice_mm2 = |outward: Direction| (outward.dot(normal) * slice_mm).powi(2) / 12.0;
    let plates = plates::quartile(volume, &within, level_hu, |_| 0.0)
        .or_else(|| plates::quartile(volume, &all, level_hu, slice_mm2));
    let believed = |(sigma_mm, _): &(f64, usize)| {
        plates.is_none_or(|(of_plates_mm, _)| *sigma_mm >= LEAST_OF_PLATES * of_plates_mm)
    };
    match (edges::settled(volume, &within).filter(believed), edges::settled(volume, &across)) {
        (Some((sigma_mm, in_plane)), Some((axial_mm, axial))) => {
            blur(sigma_mm, axial_mm, BlurSource::Measured { in_plane, axial })
        }
        (Some((sigma_mm, in_plane)), None) => {
            blur(sigma_mm, by_slices(sigma_mm), BlurSource::MeasuredInPlane { in_plane })
        }
        (None, _) => {
            let (sigma_mm, in_plane) = plates?;
            blur(sigma_mm, by_slices(sigma_mm), BlurSource::Plates { in_plane })
        }
    }
}

/// A point on a bone's surface and the way out of it.
type OnSurface = (PatientPoint, Direction);

/// Whether a surface is flat around a point on it, over 2 mm: lines along a
/// corner see more of a thin wall than there is.
pub fn is_flat(field: &Field, at: PatientPoint, normal: Direction) -> bool {
    field.bend_mm(at, normal, FLAT_REACH_MM) <= MOST_BEND_MM
}

/// Points on the surface where it is flat, thinned, with outward normals; none
/// in untrusted places.
fn surface_points(bones: &Bones) -> Vec<OnSurface> {
    let size = bones.labels.size();
    let depth = |at: usize| bones.field.at(at);
    let beside = bones.field.places_between(0.0, 0.6);
    let stride = beside.len().div_ceil(MOST_POINTS).max(1);
    beside
        .iter()
        .step_by(stride)
        .filter_map(|at| {
            let index = [at % size[0], at / size[0] % size[1], at / (size[0] * size[1])];
            let point = bones.grid.centre_of(index);
            let gradient: Offset = bones.field.gradient(point);
            let outward = Direction::along(-gradient)?;
            let surface = point + outward * f64::from(depth(*at));
            let usable = is_flat(&bones.field, surface, outward) && bones.is_trusted(surface);
            usable.then_some((surface, outward))
        })
        .collect()
}

/// HU on a line through a surface point, from outside inwards, a step apart;
/// the point is in the middle. `None` where the scan ends.
fn profile(volume: &Volume, (at, outward): OnSurface) -> Option<Vec<f64>> {
    let count = (2.0 * REACH_MM / STEP_MM) as usize;
    let hu: Vec<f64> = (0..=count)
        .map(|i| volume.sample_or_nan(at + outward * (REACH_MM - i as f64 * STEP_MM)))
        .collect();
    (!hu.iter().any(|hu| hu.is_nan())).then_some(hu)
}
