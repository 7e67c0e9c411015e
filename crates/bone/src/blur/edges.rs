//! Blur by the outer edges of thick cortices.

use pilothole_volume::Volume;

use super::{OnSurface, POSSIBLE_MM, STEP_MM, profile};

/// Fewest profiles that make a measurement.
const LEAST_PROFILES: usize = 12;
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
pub(super) fn settled(volume: &Volume, points: &[OnSurface]) -> Option<(f64, usize)> {
    let edges: Vec<Edge> = points.iter().filter_map(|point| edge_blur(volume, *point)).collect();
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
fn edge_blur(volume: &Volume, point: OnSurface) -> Option<Edge> {
    let hu = profile(volume, point)?;
    // From outside inwards: the edge lies near the middle, the peak behind it.
    let middle = hu.len() / 2;
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
