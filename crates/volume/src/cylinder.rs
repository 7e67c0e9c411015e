//! Volume-weighted samples of a cylinder or a tube in the patient.

use crate::space::{Direction, Offset, PatientPoint, VoxelPoint};
use crate::volume::Volume;

/// A straight tube: from `from_mm` to `to_mm` along `axis` from `origin`,
/// between two radii; a cylinder when the inner radius is 0.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Annulus {
    /// Where the position along the axis is 0.
    pub origin: PatientPoint,
    /// Direction in which the position grows.
    pub axis: Direction,
    /// Start, mm.
    pub from_mm: f64,
    /// End, mm; at least `from_mm`.
    pub to_mm: f64,
    /// Inner radius, mm.
    pub inner_mm: f64,
    /// Outer radius, mm; above the inner one.
    pub outer_mm: f64,
}

/// How finely a tube is sampled: cells of equal angle and length, rings whose
/// radii halve each cell's area, one sample at each cell's centre.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quadrature {
    /// Longest step along the axis, mm.
    pub step_mm: f64,
    /// Longest step across, mm, radially and along the outer circle.
    pub across_mm: f64,
}

/// One sample: its value and the share of the tube's volume it stands for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weighted {
    /// Trilinear Hounsfield units; not-a-number where nothing was measured.
    pub hu: f64,
    /// Volume, mm³.
    pub mm3: f64,
}

/// Sample a tube: samples in order of position, then ring, then angle.
///
/// Empty when the tube has no length. Midpoint rule in all three coordinates,
/// so the error falls with the square of the steps.
pub fn sample_annulus(volume: &Volume, tube: &Annulus, steps: Quadrature) -> Vec<Weighted> {
    let length_mm = tube.to_mm - tube.from_mm;
    if length_mm.is_nan() || length_mm <= 0.0 {
        return Vec::new();
    }
    let along = (length_mm / steps.step_mm).ceil().max(1.0) as usize;
    let rings = ((tube.outer_mm - tube.inner_mm) / steps.across_mm).ceil().max(1.0) as usize;
    let around = (std::f64::consts::TAU * tube.outer_mm / steps.across_mm).ceil().max(6.0) as usize;
    let (u, v) = tube.axis.across();
    let area_mm2 = std::f64::consts::PI * (tube.outer_mm.powi(2) - tube.inner_mm.powi(2));
    let mm3 = area_mm2 * length_mm / (along * rings * around) as f64;
    let mut sides: Vec<Offset> = Vec::with_capacity(rings * around);
    for ring in 0..rings {
        let radius_mm = equal_area_radius(tube, (ring as f64 + 0.5) / rings as f64);
        for spoke in 0..around {
            let angle = std::f64::consts::TAU * (spoke as f64 + 0.5) / around as f64;
            sides.push(u * (radius_mm * angle.cos()) + v * (radius_mm * angle.sin()));
        }
    }
    let around_axis = sides.len();
    let centre_of = |step: usize| {
        let t = tube.from_mm + (step as f64 + 0.5) * length_mm / along as f64;
        tube.origin + tube.axis * t
    };
    let grid = volume.grid();
    let mut samples = Vec::with_capacity(along * around_axis);
    // Even slices: an offset in the patient is one in the lattice, everywhere.
    let lattice: Vec<[f64; 3]> = sides.iter().map(|side| grid.voxels_along(*side)).collect();
    for step in 0..along {
        let centre = centre_of(step);
        let [i, j, k] = grid.voxel_from_patient(centre).0;
        let hu = if grid.slice_places().is_some() {
            let place = |at: usize| grid.voxel_from_patient(centre + sides[at]);
            volume.samples_or_nan(around_axis, place)
        } else {
            volume.samples_or_nan(around_axis, |at| {
                let [di, dj, dk] = lattice[at];
                VoxelPoint([i + di, j + dj, k + dk])
            })
        };
        samples.extend(hu.into_iter().map(|hu| Weighted { hu, mm3 }));
    }
    samples
}

/// The radius within which a share of the tube's area lies, mm.
fn equal_area_radius(tube: &Annulus, share: f64) -> f64 {
    let (inner, outer) = (tube.inner_mm.powi(2), tube.outer_mm.powi(2));
    (inner + share * (outer - inner)).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Direction, Grid, Offset, Voxels};

    fn quadratic() -> Volume {
        let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
        let grid =
            Grid::from_axes([41; 3], PatientPoint([-10.0; 3]), axes, [0.5; 3]).expect("square");
        let hu = (0..grid.voxel_count())
            .map(|i| {
                let p = grid.centre_of([i % 41, i / 41 % 41, i / 1681]).0;
                (p[0] * p[0] + 3.0 * p[2]) as f32
            })
            .collect();
        Volume::new(grid, Voxels::F32(hu), None).expect("fits")
    }

    #[test]
    fn a_cylinder_of_a_quadratic_has_its_closed_form() {
        // Mean of x² over a disc of radius r is r²/4, over a tube (R² + r²)/4;
        // trilinear reading of a parabola adds h²/6 on average.
        let axis = Direction::along(Offset([0.0, 0.0, 1.0])).expect("unit");
        let tube = Annulus {
            origin: PatientPoint([0.0; 3]),
            axis,
            from_mm: 1.0,
            to_mm: 5.0,
            inner_mm: 1.5,
            outer_mm: 3.25,
        };
        let steps = Quadrature { step_mm: 0.25, across_mm: 0.1 };
        let samples = sample_annulus(&quadratic(), &tube, steps);
        let volume: f64 = samples.iter().map(|s| s.mm3).sum();
        let mean = samples.iter().map(|s| s.hu * s.mm3).sum::<f64>() / volume;
        let truth = (3.25_f64.powi(2) + 1.5_f64.powi(2)) / 4.0 + 9.0 + 0.25 / 6.0;
        assert!((mean - truth).abs() < 0.01, "{mean} != {truth}");
        let exact = std::f64::consts::PI * (3.25_f64.powi(2) - 1.5_f64.powi(2)) * 4.0;
        assert!((volume - exact).abs() < 1e-9);
    }
}
