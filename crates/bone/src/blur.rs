//! How blurred is the scan: in the plane and across slices.

use pilothole_volume::{Direction, Offset, PatientPoint, Volume};

use crate::bones::Bones;
use crate::plate::{PlateHints, fit_plate};

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

/// Blurs tried, mm; sharp bone kernels start near 0.27, 3 mm slices end at 1.1.
const TRIED_MM: [f64; 2] = [0.2, 2.0];
/// Step of the trial, mm.
const TRIED_STEP_MM: f64 = 0.05;
/// Profiles reach this far to each side of the surface, mm.
const REACH_MM: f64 = 6.0;
/// Fewest profiles that make a measurement.
const LEAST_PROFILES: usize = 12;
/// Most profiles looked at.
const MOST_PROFILES: usize = 400;
/// A cortex must be this many blurs thick for its edges to show the blur.
const THICK: f64 = 3.0;

/// Estimate the blur from thick cortices: at surface points whose normal lies
/// in the slices (or along their normal), the plate model is fitted with each
/// blur tried, and the one with the smallest residual is kept; the median over
/// profiles counts. `None` when fewer than 12 profiles in the plane are usable.
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
        if list.len() < MOST_PROFILES {
            list.extend(sharpest(volume, at, outward));
        }
    }
    let in_plane_sigma_mm = median(&mut in_plane)?;
    let (axial_sigma_mm, from) = match median(&mut axial) {
        Some(sigma) => {
            let from = BlurSource::Measured { in_plane: in_plane.len(), axial: axial.len() };
            (sigma, from)
        }
        None => {
            let slice_mm = bones.grid.spacing_mm()[2];
            let sigma = in_plane_sigma_mm.hypot(slice_mm / 12.0_f64.sqrt());
            (sigma, BlurSource::MeasuredInPlane { in_plane: in_plane.len() })
        }
    };
    Some(Blur { in_plane_sigma_mm, axial_sigma_mm, normal, from })
}

/// Points on the surface, thinned to a few thousand, with outward normals;
/// none in untrusted places.
fn surface_points(bones: &Bones) -> Vec<(PatientPoint, Direction)> {
    let size = bones.labels.size();
    let values = bones.field.values();
    let beside: Vec<usize> =
        (0..values.len()).filter(|at| values[*at] > 0.0 && values[*at] < 0.6).collect();
    let stride = beside.len().div_ceil(6000).max(1);
    beside
        .iter()
        .step_by(stride)
        .filter_map(|at| {
            let index = [at % size[0], at / size[0] % size[1], at / (size[0] * size[1])];
            let point = bones.grid.centre_of(index);
            let gradient: Offset = bones.field.gradient(point);
            let outward = Direction::along(-gradient)?;
            let surface = point + outward * f64::from(values[*at]);
            bones.is_trusted(surface).then_some((surface, outward))
        })
        .collect()
}

/// The blur that fits one profile best; `None` where no thick plate is.
fn sharpest(volume: &Volume, at: PatientPoint, outward: Direction) -> Option<f64> {
    let count = (2.0 * REACH_MM / 0.25) as usize;
    let profile: Vec<(f64, f64)> = (0..=count)
        .map(|i| {
            let t = i as f64 * 0.25 - REACH_MM;
            (t, volume.sample_or_nan(at - outward * t))
        })
        .collect();
    let mut best: Option<(f64, f64, f64)> = None;
    let mut sigma = TRIED_MM[0];
    while sigma <= TRIED_MM[1] {
        if let Ok(fit) = fit_plate(&profile, sigma, PlateHints::default())
            && best.is_none_or(|(residual, _, _)| fit.residual_hu < residual)
        {
            best = Some((fit.residual_hu, sigma, fit.thickness_mm));
        }
        sigma += TRIED_STEP_MM;
    }
    best.filter(|(residual, sigma, thickness)| {
        *thickness > THICK * sigma && *residual < 40.0 && *sigma > TRIED_MM[0] + 1e-9
    })
    .map(|(_, sigma, _)| sigma)
}

fn median(values: &mut [f64]) -> Option<f64> {
    if values.len() < LEAST_PROFILES {
        return None;
    }
    values.sort_by(f64::total_cmp);
    Some(values[values.len() / 2])
}
