//! The numbers a measurement is made with; every one is echoed in a report.

use pilothole_volume::Grid;

use crate::path::EdgeWindow;

/// How a path is sampled and its ends are placed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PathParams {
    /// Longest step along a path, mm; a quarter of the shortest voxel edge
    /// where that is less. Doubling it moves ends by a few micrometres.
    pub longest_step_mm: f64,
    /// Profile read before the seat, mm.
    pub before_seat_mm: f64,
    /// How far a path is followed, mm from the seat; longer than any pelvis.
    pub reach_mm: f64,
    /// Distance past an end at which another bone counts as touching, mm.
    pub touch_mm: f64,
    /// Ups and downs along a profile that are taken as noise, HU.
    pub wobble_hu: f64,
    /// Least rise from outside to a cortex's peak, HU; below it no cortex
    /// shows.
    pub least_contrast_hu: f64,
    /// Thickest cortex looked for along a path, mm; oblique paths stretch it.
    pub thickest_cortex_mm: f64,
    /// Metal along the axis, HU.
    pub metal_hu: f64,
    /// Air, HU: halfway between lung and fat.
    pub air_hu: f64,
    /// Air that goes on for this long is outside the body, mm.
    pub air_run_mm: f64,
}

impl PathParams {
    /// Own choices, no source, unless a field says otherwise.
    pub const OWN: Self = Self {
        longest_step_mm: 0.25,
        before_seat_mm: 12.0,
        reach_mm: 260.0,
        touch_mm: 0.6,
        wobble_hu: 40.0,
        least_contrast_hu: 100.0,
        thickest_cortex_mm: 15.0,
        metal_hu: 2500.0,
        air_hu: -500.0,
        air_run_mm: 40.0,
    };

    /// Step along a path, mm: at most half the shortest voxel edge.
    pub fn step_mm(&self, grid: &Grid) -> f64 {
        self.longest_step_mm.min(0.25 * grid.smallest_edge_mm())
    }

    /// Step across a path, and along it where a cylinder is filled, mm.
    pub fn across_mm(&self, grid: &Grid) -> f64 {
        0.5_f64.min(0.5 * grid.smallest_edge_mm())
    }

    /// How far around an envelope crossing an edge is looked for.
    ///
    /// - `voxel_step_mm`: path length of one voxel. The blur of a scanner
    ///   reaches about 3σ, 1 to 2 mm, past an edge; the voxel adds its own.
    pub fn edge_window(&self, voxel_step_mm: f64) -> EdgeWindow {
        EdgeWindow {
            outwards_mm: 1.0 + 1.5 * voxel_step_mm,
            inwards_mm: 1.5 + 2.0 * voxel_step_mm,
            trusted_mm: 1.0 + voxel_step_mm,
        }
    }
}
