//! The extraction from samples to triangles.

use pilothole_volume::{Grid, PatientPoint};
use rayon::prelude::*;

use super::count::{Count, count_layers};
use super::layer::{Layer, MOST_VERTICES, Placing};
use super::method::{Border, Extraction, Placement};
use super::place::Scene;
use super::quads::Quads;
use super::samples::Samples;
use super::signs::Signs;
use crate::error::SurfaceError;
use crate::mesh::TriMesh;

/// Slabs a thread, if there are layers enough. A slab places the layer before
/// its first one again, so many cost that much more; few leave threads idle at
/// the end.
const SLABS_A_THREAD: usize = 6;
/// Fewest layers of cells in a slab.
const FEWEST_LAYERS: usize = 8;

/// Extract the surface of samples that start at voxel `from` of a lattice.
pub(super) fn extract<S: Samples>(
    placement: Placement,
    grid: &Grid,
    from: [usize; 3],
    samples: &S,
) -> Result<Extraction, SurfaceError> {
    let signs = Signs::of(samples);
    let scene = Scene { placement, samples, signs: &signs };
    let counts = count_layers(&scene);
    let vertex_count: u64 = counts.iter().map(|c| c.vertices).sum();
    let triangle_count: u64 = counts.iter().map(|c| c.triangles).sum();
    if vertex_count >= MOST_VERTICES {
        return Err(SurfaceError::TooLarge { found: vertex_count, limit: MOST_VERTICES - 1 });
    }
    // Arrays of plain zeros are pages that nobody has touched yet.
    let mut vertices = vec![[0.0_f64; 3]; vertex_count as usize];
    let mut triangles = vec![[0_u32; 3]; triangle_count as usize];
    let slabs = slabs(&counts, &mut vertices, &mut triangles);
    let unmeasured = slabs
        .into_par_iter()
        .map_init(Default::default, |layers: &mut [Layer; 2], slab| {
            fill_slab(&scene, grid, from, slab, layers)
        })
        .sum();
    let [c0, c1, r0, r1, s0, s1] = signs.on_border();
    Ok(Extraction {
        mesh: TriMesh { vertices: vertices.into_iter().map(PatientPoint).collect(), triangles },
        border: Border { low: [c0, r0, s0], high: [c1, r1, s1], unmeasured },
    })
}

/// Some layers, and where their vertices and triangles go.
struct Slab<'a> {
    first_layer: usize,
    counts: &'a [Count],
    /// The layer before; `None` for the first.
    before: Option<&'a Count>,
    first_vertex: u64,
    vertices: &'a mut [[f64; 3]],
    triangles: &'a mut [[u32; 3]],
}

fn slabs<'a>(
    counts: &'a [Count],
    mut vertices: &'a mut [[f64; 3]],
    mut triangles: &'a mut [[u32; 3]],
) -> Vec<Slab<'a>> {
    let mut all = Vec::new();
    let mut first_vertex = 0;
    let mut before = None;
    let layers = counts.len() / (SLABS_A_THREAD * rayon::current_num_threads());
    let layers = layers.max(FEWEST_LAYERS);
    for (number, counts) in counts.chunks(layers).enumerate() {
        let vertex_count: u64 = counts.iter().map(|c| c.vertices).sum();
        let triangle_count: u64 = counts.iter().map(|c| c.triangles).sum();
        let (own_vertices, later) = vertices.split_at_mut(vertex_count as usize);
        vertices = later;
        let (own_triangles, later) = triangles.split_at_mut(triangle_count as usize);
        triangles = later;
        if vertex_count > 0 {
            all.push(Slab {
                first_layer: number * layers,
                counts,
                before,
                first_vertex,
                vertices: own_vertices,
                triangles: own_triangles,
            });
        }
        first_vertex += vertex_count;
        before = counts.last();
    }
    all
}

/// Fill one slab; the number of its caps against unmeasured samples.
fn fill_slab<S: Samples>(
    scene: &Scene<'_, S>,
    grid: &Grid,
    from: [usize; 3],
    slab: Slab<'_>,
    layers: &mut [Layer; 2],
) -> usize {
    let steps = grid.steps();
    let mirrored = steps[0].cross(steps[1]).dot(steps[2]) < 0.0;
    let [below, own] = layers;
    if let (Some(layer), Some(count)) = (slab.first_layer.checked_sub(1), slab.before) {
        let placing = Placing::of_layer(grid, from, layer);
        let first = (slab.first_vertex - count.vertices) as u32;
        below.fill(scene, &placing, (layer, &count.intricate), first);
    }
    let (mut vertices, mut triangles) = (slab.vertices, slab.triangles);
    let mut first = slab.first_vertex as u32;
    let mut unmeasured = 0;
    for (number, count) in slab.counts.iter().enumerate() {
        let layer = slab.first_layer + number;
        own.fill(scene, &Placing::of_layer(grid, from, layer), (layer, &count.intricate), first);
        let (own_vertices, later) = vertices.split_at_mut(count.vertices as usize);
        own_vertices.copy_from_slice(&own.vertices);
        vertices = later;
        let (own_triangles, later) = triangles.split_at_mut(count.triangles as usize);
        let mut quads = Quads { below, own, mirrored, triangles: own_triangles.iter_mut() };
        quads.write(scene.signs, layer);
        triangles = later;
        first += count.vertices as u32;
        unmeasured += own.unmeasured;
        std::mem::swap(below, own);
    }
    unmeasured
}
