//! How blurred is the scan: in the plane and across slices.

use pilothole_volume::{Direction, Offset, PatientPoint, Volume};

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
/// Fewest profiles that make a measurement.
const LEAST_PROFILES: usize = 12;
/// Surface points looked at.
const MOST_POINTS: usize = 4000;
/// A cortex must be this many blurs thick, at half height: thinner, its peak is
/// below its level and its rise steeper than an edge (0.67 of it for a sheet,
/// 0.87 at 3 blurs, 0.95 at 4).
const THICK: f64 = 5.0;
/// Rounds in which blur and what counts as thick settle on each other; each
/// cuts what is missing to a third or less.
const ROUNDS: usize = 8;
/// Least rise of an edge that is measured, HU: noise of 20 HU then moves the
/// quarter points by less than a tenth of the blur.
const LEAST_RISE_HU: f64 = 400.0;
/// Blurs outside of this are something else, mm.
const POSSIBLE_MM: std::ops::RangeInclusive<f64> = 0.15..=2.5;

/// Estimate the blur from the outer edges of thick cortices.
///
/// At surface points whose normal lies in the slices (or along their normal)
/// the distance between a quarter and three quarters of the rise is 1.349
/// standard deviations; the median over profiles counts. The blur of the
/// trilinear reading is in it, as it is in profiles to be fitted. `None` when
/// fewer than 12 profiles in the plane are usable.
pub fn estimate_blur(volume: &Volume, bones: &Bones) -> Option<Blur> {
    let steps = bones.grid.steps();
    let normal = Direction::along(steps[0].cross(steps[1]))?;
    let mut in_plane = Vec::new();
    let mut axial = Vec::new();
    for (at, outward) in surface_points(bones) {
        let cosine = outward.dot(normal).abs();
        let list = if cosine < 0.25 {
            &mut in_plane
        } else if cosine > 0.95 {
            &mut axial
        } else {
            continue;
        };
        list.extend(edge_blur(volume, at, outward));
    }
    let (in_plane_sigma_mm, in_plane_count) = settled(&in_plane)?;
    let (axial_sigma_mm, from) = if let Some((sigma, count)) = settled(&axial) {
        (sigma, BlurSource::Measured { in_plane: in_plane_count, axial: count })
    } else {
        let slice_mm = bones.grid.spacing_mm()[2];
        let sigma = in_plane_sigma_mm.hypot(slice_mm / 12.0_f64.sqrt());
        (sigma, BlurSource::MeasuredInPlane { in_plane: in_plane_count })
    };
    Some(Blur { in_plane_sigma_mm, axial_sigma_mm, normal, from })
}

/// Points on the surface, thinned, with outward normals;
/// none in untrusted places.
fn surface_points(bones: &Bones) -> Vec<(PatientPoint, Direction)> {
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
            bones.is_trusted(surface).then_some((surface, outward))
        })
        .collect()
}

/// One outer edge, mm.
#[derive(Clone, Copy, Debug)]
struct Edge {
    /// Standard deviation of its blur, as its rise shows it.
    sigma_mm: f64,
    /// Thickness of the cortex behind it, at half height.
    thickness_mm: f64,
}

/// The median blur over the edges of cortices that are thick by it, and how
/// many they are.
///
/// Thick is judged by the common blur, never by an edge's own: that would keep
/// the edges that look sharp by chance.
fn settled(edges: &[Edge]) -> Option<(f64, usize)> {
    let mut thinnest_mm = 0.0;
    let mut found = None;
    for _ in 0..ROUNDS {
        let thick = edges.iter().filter(|edge| edge.thickness_mm >= thinnest_mm);
        let mut sigmas: Vec<f64> = thick.map(|edge| edge.sigma_mm).collect();
        let sigma_mm = median(&mut sigmas)?;
        found = Some((sigma_mm, sigmas.len()));
        // Never thinner than before, so the rounds cannot swing.
        thinnest_mm = f64::max(thinnest_mm, THICK * sigma_mm);
    }
    found
}

/// One outer edge; `None` where it is no single clean rise.
fn edge_blur(volume: &Volume, at: PatientPoint, outward: Direction) -> Option<Edge> {
    let count = (2.0 * REACH_MM / STEP_MM) as usize;
    let hu: Vec<f64> = (0..=count)
        .map(|i| volume.sample_or_nan(at + outward * (REACH_MM - i as f64 * STEP_MM)))
        .collect();
    if hu.iter().any(|hu| hu.is_nan()) {
        return None;
    }
    // From outside inwards: the edge lies near the middle, the peak behind it.
    let middle = count / 2;
    let near = (1.5 / STEP_MM) as usize;
    let outside = mean(&hu[middle - 2 * near..middle - near]);
    let mut top = middle - near;
    while top + 1 < hu.len() && hu[top + 1] >= hu[top] {
        top += 1;
    }
    let rise = hu[top] - outside;
    if rise < LEAST_RISE_HU {
        return None;
    }
    let crossing = |share: f64| {
        let level = outside + share * rise;
        (middle - near..top)
            .find(|i| hu[*i] < level && hu[i + 1] >= level)
            .map(|i| (i as f64 + (level - hu[i]) / (hu[i + 1] - hu[i])) * STEP_MM)
    };
    let (low, half, high) = (crossing(0.25)?, crossing(0.5)?, crossing(0.75)?);
    let sigma_mm = (high - low) / 1.349;
    let level = outside + 0.5 * rise;
    let behind = (top..hu.len()).find(|i| hu[*i] < level).unwrap_or(hu.len());
    let thickness_mm = behind as f64 * STEP_MM - half;
    POSSIBLE_MM.contains(&sigma_mm).then_some(Edge { sigma_mm, thickness_mm })
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len().max(1) as f64
}

fn median(values: &mut [f64]) -> Option<f64> {
    if values.len() < LEAST_PROFILES {
        return None;
    }
    values.sort_by(f64::total_cmp);
    Some(values[values.len() / 2])
}
